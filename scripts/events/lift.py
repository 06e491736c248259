"""Adds to the rendered swings what a trained corrector makes of the network's landmarks.

    python lift.py TRACKS.json LIFTING_DIR TRAIN_DIR lift.onnx OUT.json [--every N]

TRACKS.json comes from tracks.py --every 1; TRAIN_DIR holds the corrector's training scripts.
The pose network's raw wrists are left out of OUT.json. Needs numpy, torch and onnxruntime.
"""
import argparse
import json
import sys

import numpy as np
import onnxruntime
import torch

WRISTS = {"lead": "lead_wrist", "trail": "trail_wrist"}
OTHERS = {"lower": "lower_hub", "upper": "upper_hub", "head": "head"}
digits = lambda v, d: np.round(np.asarray(v, float), d).tolist()


def lift(raw, order, s, out, points):
    roi = raw["roi_full"][order].astype(float)
    sign = -1.0 if raw["left_handed"][s] else 1.0  # the corrector sees right-handers only
    value, sd = (out[k][:, :57].reshape(-1, 19, 3) for k in ("y", "sd"))
    x = (roi[:, 0] + 0.5)[:, None] + sign * value[..., 0] * roi[:, 2:3]
    y = (roi[:, 1] + 0.5)[:, None] + value[..., 1] * roi[:, 2:3]
    at = np.stack([x, y], -1)
    vector = out["y"][:, 58:].reshape(-1, 4, 3) * [sign, 1, 1]
    vector_sd = out["sd"][:, 58:].reshape(-1, 4, 3)
    got = {}
    for name, joint in {**WRISTS, **OTHERS}.items():
        got[name] = digits(at[:, points.index(joint)], 1)
    for name, joint in WRISTS.items():
        j = points.index(joint)
        got[name + "_z"] = digits(value[:, j, 2], 3)
        got[name + "_sd"] = digits(sd[:, j, :2].mean(-1) * roi[:, 2], 2)
        got[name + "_z_sd"] = digits(sd[:, j, 2], 4)
    got["arm"], got["arm_sd"] = digits(vector[:, 3], 3), digits(vector_sd[:, 3].mean(-1), 4)
    got["hips"] = digits(vector[:, 2], 3)
    got["camera"] = digits(out["clip"], 4)
    got["stature_px"] = digits(np.exp(out["y"][:, 57] + np.log(roi[:, 2])).mean(), 1)
    return got


class Corrector:
    """The exported network behind the call that evaluate.predict makes."""

    def __init__(self, path):
        self.run = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"]).run

    def __call__(self, x, mask):
        n = x.shape[1]
        rows, keep = np.zeros((1, 64, x.shape[2]), np.float32), np.zeros((1, 64), np.float32)
        rows[0, :n], rows[0, n:], keep[0, :n] = x[0].numpy(), x[0, -1].numpy(), 1
        out = [torch.from_numpy(o) for o in self.run(None, {"x": rows, "mask": keep})]
        return out[0][:, :n], out[1][:, :n], out[2], out[3]


def main():
    a = argparse.ArgumentParser()
    for name in ("tracks", "lifting", "train", "model", "out"):
        a.add_argument(name)
    a.add_argument("--every", type=int, default=1)
    a = a.parse_args()
    sys.path.insert(0, a.train)
    import data
    import evaluate

    swings = json.load(open(a.tracks))
    net, load = Corrector(a.model), data.reader(a.lifting)
    for name in dict.fromkeys(s["swing"].split("/")[0] for s in swings):
        rows, raw = data.read(a.lifting, [name]), load(f"{a.lifting}/{name}.npz")
        sorted_rows = np.argsort(raw["row"], kind="stable")
        number = {int(i): s for s, i in enumerate(raw["id"])}
        for swing in swings:
            if swing["swing"].split("/")[0] != name:
                continue
            s = number[int(swing["swing"].split("/")[1])]
            order = sorted_rows[int(rows.first[s]) : int(rows.first[s + 1])]
            swing["lift"] = lift(raw, order, s, evaluate.predict(net, rows, s, 0), data.POINTS)
    kept = swings[:: a.every]
    for swing in kept:
        del swing["lead_net"], swing["trail_net"]
    with open(a.out, "w") as f:
        json.dump(kept, f, separators=(",", ":"))
        f.write("\n")


main()
