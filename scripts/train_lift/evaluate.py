"""Validation: errors of the measures on chosen swings, and of the raw outputs.

    python evaluate.py --data ../shared/lifting --ckpt lift.pt [--held] [--network full]
"""
import argparse
import collections
import os

import numpy as np
import torch

import augment
import data
import measures as Q
import model as M
from data import HELD

EVENTS = {"arm_level": 2, "top": 3, "transition": 4, "impact": 5}
SHOW = {
    0: ("lower_hub_target", "upper_hub_target", "head_target", "lower_hub_up", "upper_hub_up", "hub_offset", "spine_tilt", "shoulder_slope", "hip_slope"),
    1: ("lower_hub_ball", "upper_hub_ball", "head_ball", "lower_hub_up", "upper_hub_up", "forward_bend"),
}
BOTH = ("pelvis_turn", "thorax_turn", "separation", "lead_arm")


def predict(net, rows, s, network):
    """Outputs and truth of one swing, all its frames as one set (interleaved groups of at most 64)."""
    a, b = int(rows.first[s]), int(rows.first[s + 1])
    idx = torch.arange(a, b)
    groups = -(-len(idx) // 64)
    y, sd = np.zeros((len(idx), M.FRAME)), np.zeros((len(idx), M.FRAME))
    clip = []
    truth = None
    for g in range(groups):
        part = torch.arange(g, len(idx), groups)
        bt = augment.assemble(rows, idx[part][None], torch.ones(1, len(part)), torch.tensor([network]))
        with torch.no_grad():
            o = net(bt.x, bt.mask)
        y[part.numpy()], sd[part.numpy()] = o[0][0].numpy(), o[1][0].numpy()
        clip.append((o[2][0].numpy(), o[3][0].numpy()))
        if truth is None:
            truth = np.zeros_like(y)
            ctruth = bt.clip[0].numpy()
        truth[part.numpy()] = M.pack(bt)[0].numpy()
    c = np.mean([k[0] for k in clip], 0), np.mean([k[1] for k in clip], 0)
    return dict(y=y, sd=sd, truth=truth, clip=c[0], clip_sd=c[1], clip_truth=ctruth, roi=rows.roi[network, idx].numpy().astype(float),
                phase=rows.phase[idx].numpy(), t=rows.t[idx].numpy(), stature=float(rows.stature[s]), view=int(rows.view[s]), kind=rows.kind[s], body=rows.body[s])


def both(r):
    """Measured and true measures of a swing."""
    got = Q.measures(r["y"], r["roi"], np.exp(r["clip"][3]), r["clip"][:3], r["stature"], r["phase"])
    want = Q.measures(r["truth"], r["roi"], np.exp(r["clip_truth"][3]), r["clip_truth"][:3], r["stature"], r["phase"])
    return got, want


def table(results, title):
    print(f"\n## {title}: {len(results)} swings, median / 90 % of absolute error")
    for view, name in ((0, "face-on"), (1, "down-the-line")):
        err = collections.defaultdict(lambda: collections.defaultdict(list))
        for r in results:
            if r["view"] != view or (r["phase"] == 0).sum() < 2:
                continue
            got, want = both(r)
            for k in SHOW[view] + BOTH:
                e = np.abs(got[k] - want[k])
                if "turn" in k or k == "separation":
                    e = np.abs(Q.wrap(got[k] - want[k]))
                for ev, ph in EVENTS.items():
                    err[k][ev] += e[r["phase"] == ph].tolist()
        if not err:
            continue
        print(f"{name:24s} " + " ".join(f"{e:>11s}" for e in (*EVENTS, "together")))
        for k in SHOW[view] + BOTH:
            cols = [err[k][e] for e in EVENTS] + [sum((err[k][e] for e in EVENTS), [])]
            print(f"{k:24s} " + " ".join(f"{np.median(c):5.2f}/{np.quantile(c, 0.9):5.2f}" if c else "          -" for c in cols))
    e = np.stack([r["clip"] - r["clip_truth"] for r in results])
    s = np.stack([r["clip_sd"] for r in results])
    for i, n in enumerate(("pitch", "roll", "azimuth", "log focal")):
        k = 1 if i == 3 else 180 / np.pi
        print(f"{n:10s} median {np.median(abs(e[:, i])) * k:.3f} 90 % {np.quantile(abs(e[:, i]), 0.9) * k:.3f} in 1 sd {np.mean(abs(e[:, i]) < s[:, i]):.2f} 2 sd {np.mean(abs(e[:, i]) < 2 * s[:, i]):.2f}")


def outputs(results):
    """Raw outputs: median error (ROI %, statures %) and coverage."""
    e = np.concatenate([r["y"] - r["truth"] for r in results])
    s = np.concatenate([r["sd"] for r in results])
    print("\noutput                median     sd within 1 sd, 2 sd")
    names = [f"{p}.{c}" for p in data.POINTS for c in ("u", "v", "z")] + ["ratio"] + [f"{v}.{c}" for v in ("trunk", "shoulders", "hips", "arm") for c in "xyz"]
    for i, n in enumerate(names):
        if n == "lower_hub.z":
            continue
        print(f"{n:20s} {np.median(abs(e[:, i])) * 100:7.3f} {np.median(s[:, i]) * 100:7.3f} {np.mean(abs(e[:, i]) < s[:, i]):.2f} {np.mean(abs(e[:, i]) < 2 * s[:, i]):.2f}")


def load_net(ckpt, alone=False):
    """One checkpoint, or several with commas between: their mean."""
    if "," in ckpt:
        return M.Mean([load_net(c, alone) for c in ckpt.split(",")]).eval()
    state = torch.load(ckpt, map_location="cpu")
    d = state["embed.weight"].shape[0]
    layers = len({k.split(".")[1] for k in state if k.startswith("blocks.")})
    net = M.Lift({k: state[k] for k in ("x_mean", "x_sd", "y_mean", "y_sd", "c_mean", "c_sd")}, d=d, layers=layers, heads=d // 32, alone=alone)
    net.load_state_dict(state)
    return net.eval()


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--held", action="store_true", help="held-out bodies of every file instead of the val files")
    a.add_argument("--everybody", action="store_true", help="val files with all bodies")
    a.add_argument("--network", default="full")
    a.add_argument("--limit", type=int, default=400)
    a.add_argument("--extra", default="", help="folder of files made by ../render_bodies: their held-out bodies too")
    a.add_argument("--raw", action="store_true")
    a.add_argument("--alone", action="store_true")
    args = a.parse_args()
    torch.set_num_threads(1)
    more = data.rendered(args.extra)
    files = [f for f in (data.TRAIN + data.VAL if args.held else data.VAL) if os.path.exists(os.path.join(args.data, f + ".npz"))]
    rows = data.read(args.data, files, more)
    net = load_net(args.ckpt, args.alone)
    for title, test in (("plain", lambda k: "wild" not in k and "extra" not in k), ("wild", lambda k: "wild" in k and "extra" not in k),
                        ("extra", lambda k: "extra" in k and "wild" not in k), ("extra wild", lambda k: "extra" in k and "wild" in k)):
        if "extra" in title and not more:
            continue
        pool = data.swings(rows, lambda b, k: test(k) and (b in data.UNSEEN if args.held else b not in HELD or args.everybody))[:: 1]
        step = max(1, len(pool) // args.limit)
        res = [predict(net, rows, s, data.NETWORKS.index(args.network)) for s in pool[::step]]
        table(res, f"{title}, {args.network}{', held-out bodies' if args.held else ''}")
        if args.raw:
            outputs(res)


if __name__ == "__main__":
    main()
