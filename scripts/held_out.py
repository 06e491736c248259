#!/usr/bin/env python3
"""Held-out swings for `cargo test --lib held_out -- --ignored --nocapture` (src/geometry/held_out.rs).

    held_out.py --data ../shared/lifting --ckpt held.pt --out DIR     (numpy and PyTorch)

The checkpoint is the run of scripts/train_lift without the bodies m1, f1, m7. Writes what it makes of their whole
clips, with the truth beside it:
  one.jsonl     one camera
  same.jsonl    a face-on swing put before a second camera: the truth seen by the camera of a down-the-line clip of the
                swing most like it, with that clip's own errors, so that they hang together in time as real ones do; a
                line's error is turned with the line, so that what is wrong along an arm stays along it
  unlike.jsonl  a face-on clip and a down-the-line clip of another swing, stretched to the same events
"""
import argparse
import json
import os
import random
import sys
from collections import Counter

import numpy as np
import torch

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
sys.path.insert(0, os.path.join(ROOT, "scripts", "train_lift"))

import data  # noqa: E402
import evaluate  # noqa: E402

LINES = [(1, 0), (3, 4), (9, 10), (5, 3)]  # trunk, shoulders, hips, lead arm: to, from
FILES = ["seq_val", "seq_train_0", "seq_wide_0", "seq_wide_1", "seq_wide_val", "seq_wild", "seq_wild_val"]
LONG = 1280.0
SHAPES = {"px": (19, 2), "px_sd": (19, 2), "depth": (19,), "depth_sd": (19,), "lsp": (), "lsp_sd": (), "vec": (4, 3), "vec_sd": (4, 3), "truth": (19, 3)}


def flat(values):
    return [float(f"{x:.6g}") for x in np.ravel(values)]


def golf(pitch, roll, azimuth):
    """Rows: target, ball, up in camera axes (src/frames.rs)."""
    up = np.array([np.cos(pitch) * np.sin(roll), -np.cos(pitch) * np.cos(roll), -np.sin(pitch)])
    ahead = np.array([0, 0, 1.0]) - up[2] * up
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, up)
    target, ball = np.cos(azimuth) * right + np.sin(azimuth) * ahead, np.sin(azimuth) * right - np.cos(azimuth) * ahead
    return np.stack([target, ball, up])


def clip(rows, swing, result, factors, camera_factors):
    """One clip as src/geometry/held_out.rs reads it."""
    aspect = rows.aspect[swing].numpy()
    size = [round(aspect[0] * LONG), round(aspect[1] * LONG)]
    y, sd, roi = result["y"], result["sd"] * factors, result["roi"]
    n = len(y)
    point, point_sd = y[:, :57].reshape(n, 19, 3), sd[:, :57].reshape(n, 19, 3)
    truth = rows.truth[int(rows.first[swing]) : int(rows.first[swing + 1])].numpy() * result["stature"]
    return dict(
        kind=result["kind"], view=int(result["view"]), size=size, stature=result["stature"],
        t=flat(result["t"]), phase=[int(p) for p in result["phase"]],
        clip=flat(result["clip"]), clip_sd=flat(result["clip_sd"] * camera_factors), clip_truth=flat(result["clip_truth"]),
        px=flat((point[:, :, :2] * roi[:, None, 2:3] + roi[:, None, :2]) * LONG + np.array(size) / 2),
        px_sd=flat(point_sd[:, :, :2] * roi[:, None, 2:3] * LONG),
        depth=flat(point[:, :, 2]), depth_sd=flat(point_sd[:, :, 2]),
        lsp=flat(y[:, 57] + np.log(roi[:, 2] * LONG)), lsp_sd=flat(sd[:, 57]),
        vec=flat(y[:, 58:]), vec_sd=flat(sd[:, 58:]), truth=flat(truth),
    )


def array(c, key):
    return np.array(c[key]).reshape((len(c["t"]),) + SHAPES[key])


def seen(points, c):
    """What the camera of `c` sees of points in its axes, statures."""
    size = np.array(c["size"])
    focal = np.exp(c["clip_truth"][3]) * size.max()
    px = points[..., :2] / points[..., 2:] * focal + size / 2
    lines = np.stack([points[:, i] - points[:, j] for i, j in LINES], 1)
    return {"px": px, "depth": points[..., 2] - points[:, :1, 2], "lsp": np.log(focal / points[:, 0, 2]), "vec": lines}


def still(c):
    return [i for i, p in enumerate(c["phase"]) if p == 0]


def turned(errors, old, new):
    """Errors of the lines `old` carried over to the lines `new`: the least rotation between them, and their sizes."""
    size = lambda v: np.linalg.norm(v, axis=-1, keepdims=True)
    a, b = old / size(old), new / size(new)
    axis, cos = np.cross(a, b), (a * b).sum(-1, keepdims=True)
    along = np.cross(axis, errors)
    return (errors + along + np.cross(axis, along) / np.maximum(1 + cos, 1e-3)) * size(new) / size(old)


def lines(c):
    """Directions of trunk, shoulders, hips and lead arm, golf axes."""
    p = array(c, "truth") @ golf(*c["clip_truth"][:3]).T
    v = np.stack([p[:, i] - p[:, j] for i, j in LINES], 1)
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def unlikeness(a, b):
    """Mean square angle between the lines of two swings on one clock."""
    at = [int(np.argmin(abs(np.array(b["t"]) - t))) for t in a["t"]]
    return (np.arccos(np.clip((lines(a) * lines(b)[at]).sum(-1), -1, 1)) ** 2).mean()


def between(t, points, at):
    """Points at other times: a cubic with the slopes of the frames around (Catmull-Rom), the ends held."""
    t, at = np.array(t), np.clip(at, t[0], t[-1])
    k = np.clip(np.searchsorted(t, at) - 1, 0, len(t) - 2)
    slope = np.gradient(points, t, axis=0)
    gap = (t[k + 1] - t[k])[:, None, None]
    u = ((at - t[k]) / (t[k + 1] - t[k]))[:, None, None]
    rise = points[k + 1] - points[k]
    return points[k] + u * u * (3 - 2 * u) * rise + u * (1 - u) ** 2 * slope[k] * gap - u * u * (1 - u) * slope[k + 1] * gap


def same(a, b, shift):
    """The swing of `a` before the camera of `b`, with the errors of `b`, its pictures `shift` seconds later."""
    pa, pb = array(a, "truth") / a["stature"], array(b, "truth") / b["stature"]
    world = pa @ golf(*a["clip_truth"][:3]).T
    world = between(a["t"], world - world[still(a), 0].mean(0), np.array(a["t"]) + shift)
    points = world @ golf(*b["clip_truth"][:3]) + pb[still(b), 0].mean(0)
    at = [int(np.argmin(abs(np.array(b["t"]) - t - shift))) for t in a["t"]]
    new, old = seen(points, b), seen(pb, b)
    out = dict(b, shift=shift, t=a["t"], phase=a["phase"], stature=a["stature"], truth=flat(points * a["stature"]))
    for key in new:
        errors = (array(b, key) - old[key])[at]
        out[key] = flat(new[key] + (turned(errors, old[key][at], new[key]) if key == "vec" else errors))
        out[key + "_sd"] = flat(array(b, key + "_sd")[at])
    return out


def unlike(a, b):
    """`b` as it is, on the clock of `a` by their events."""
    def events(c):
        t, phase = np.array(c["t"]), np.array(c["phase"])
        return [t[0]] + [t[phase == k][len(t[phase == k]) // 2] for k in range(1, 6)] + [t[-1]]

    at = [int(np.argmin(abs(np.array(b["t"]) - t))) for t in np.interp(a["t"], events(a), events(b))]
    return dict(b, t=a["t"], phase=a["phase"], **{k: flat(array(b, k)[at]) for k in SHAPES})


def write(folder, name, clips):
    with open(os.path.join(folder, name), "w") as f:
        for c in clips:
            f.write(json.dumps(c) + "\n")
    print(name, len(clips))


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--extra", default="", help="folder of ../render_bodies with what the golfer network says: these swings instead of the lifting files'")
    a.add_argument("--ckpt", required=True)
    a.add_argument("--out", required=True)
    args = a.parse_args()
    torch.set_num_threads(1)
    ship = json.load(open(os.path.join(ROOT, "models", "lift.json")))["calibration"]["ship"]
    factors = [v["factor"] for v in ship["outputs"].values()]
    factors.insert(2, 1.0)  # the lower hub's depth is zero by definition
    camera_factors = np.array([v["factor"] for v in ship["camera"].values()])
    more = data.rendered(args.extra)
    rows = data.read(args.data, [] if more else FILES, more)
    net = evaluate.load_net(args.ckpt)
    pool = data.swings(rows, lambda body, kind: body in data.UNSEEN and kind.startswith("seq"))
    clips = [clip(rows, s, evaluate.predict(net, rows, s, 0), np.array(factors), camera_factors) for s in pool]
    whole = [c for c in clips if set(range(6)) <= set(c["phase"])]
    rng = random.Random(4)
    pairs, ranked = [], []
    for i, c in enumerate(c for c in whole if c["view"] == 0):
        others = [k for k, b in enumerate(whole) if b["view"] == 1 and ("wild" in b["kind"]) == ("wild" in c["kind"])]
        pairs.append((c, whole[rng.choice(others)]))
        ranked += [(unlikeness(c, whole[k]), i, k) for k in others]
    likest, used = {}, Counter()
    for _, i, k in sorted(ranked):  # no clip lends its errors to more than two swings
        if i not in likest and used[k] < 2:
            likest[i] = whole[k]
            used[k] += 1
    alike = [(pairs[i][0], likest[i]) for i in sorted(likest)]
    os.makedirs(args.out, exist_ok=True)
    write(args.out, "one.jsonl", clips)
    write(args.out, "same.jsonl", [dict(c, second=same(c, b, rng.uniform(-0.5, 0.5) / 30)) for c, b in alike])
    write(args.out, "unlike.jsonl", [dict(c, second=unlike(c, b)) for c, b in pairs])


if __name__ == "__main__":
    main()
