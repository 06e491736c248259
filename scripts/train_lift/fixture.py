"""Writes fixtures/lift.json: landmarks of two rendered swings and what ONNX Runtime makes of them with models/lift.onnx.

    python fixture.py --data ../shared/lifting --extra FRESH --model ../../models/lift.onnx --out ../../fixtures/lift.json

One left-handed swing read by the full network and the golfer network (the first of FRESH, files of ../render_bodies), one
right-handed by the heavy one alone: the mirror is in the check, and a golfer network that was not asked.
"""
import argparse
import json
import os

import numpy as np
import onnxruntime
import torch

import augment
import data


def clip(raw, rows, s, network, run):
    a, b = int(rows.first[s]), int(rows.first[s + 1])
    idx = np.arange(a, b)[:16]
    bt = augment.assemble(rows, torch.from_numpy(idx)[None], torch.ones(1, len(idx)), torch.tensor([network]))
    x, mask = np.zeros((1, 64, augment.FEATURES), np.float32), np.zeros((1, 64), np.float32)
    x[0, : len(idx)], x[0, len(idx) :], mask[0, : len(idx)] = bt.x[0].numpy(), bt.x[0, -1].numpy(), 1
    y, sd, c, csd = (o[0] for o in run.run(None, {"x": x, "mask": mask}))
    name = data.NETWORKS[network]
    order = np.argsort(raw["row"], kind="stable")[idx]
    left = bool(raw["left_handed"][s])
    w, h = (int(v) for v in raw["size"][s])
    roi = raw["roi_" + name][order].astype(float)
    cx = (roi[:, 0] + 0.5)[:, None]
    point = y[: len(idx), :57].reshape(-1, 19, 3).astype(float)
    sign = -1.0 if left else 1.0
    vec = y[: len(idx), 58:].reshape(-1, 4, 3).astype(float) * [sign, 1, 1]
    r = lambda v, d=4: np.round(np.asarray(v, float), d).tolist()
    return {
        "handed": "left" if left else "right", "network": name, "width": w, "height": h,
        "landmarks": [[r(np.concatenate([raw["xy_" + name][i], raw["z_" + name][i][:, None], raw["vp_" + name][i], raw["world_" + name][i]], 1)[k], 5) for k in range(39)] for i in order],
        "golfer": r(rows.image[torch.from_numpy(idx)], 5) if rows.have[idx[0]] else [],
        "roi": r(roi, 5), "person": r(raw["flag_" + name][order]),
        "want": {
            "at": r(np.stack([cx + sign * point[..., 0] * roi[:, 2:3], (roi[:, 1] + 0.5)[:, None] + point[..., 1] * roi[:, 2:3]], -1), 3),
            "depth": r(point[..., 2]), "log_stature_px": r(y[: len(idx), 57] + np.log(roi[:, 2])), "vectors": r(vec), "vector_sd": r(sd[: len(idx), 58:].reshape(-1, 4, 3), 5),
            "camera": r(c, 5), "camera_sd": r(csd, 5)},
    }


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--extra", required=True)
    a.add_argument("--model", default="lift.onnx")
    a.add_argument("--out", default="lift_fixture.json")
    args = a.parse_args()
    rows = data.read(args.data, ["wide_val"])
    raw = data.reader(args.data)(os.path.join(args.data, "wide_val.npz"))
    fresh = data.rendered(args.extra)[0]
    more, more_raw = data.read(args.data, [], [fresh]), data.reader(args.data)(fresh, ("full",))
    run = onnxruntime.InferenceSession(args.model, providers=["CPUExecutionProvider"])
    lefts = [s for s in range(len(more_raw["id"])) if more_raw["left_handed"][s]]
    rights = [s for s in range(len(raw["id"])) if not raw["left_handed"][s]]
    origin = "rendered swings of scripts/render_bodies and shared/lifting/wide_val.npz (CC0 bodies), outputs by ONNX Runtime; scripts/train_lift/fixture.py"
    json.dump({"origin": origin, "clips": [clip(more_raw, more, lefts[0], 0, run), clip(raw, rows, rights[1], 1, run)]}, open(args.out, "w"), separators=(",", ":"))
    print(os.path.getsize(args.out), "bytes")


if __name__ == "__main__":
    main()
