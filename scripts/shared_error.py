#!/usr/bin/env python3
"""How much of the error at the top is common to swings of one body before one camera.

    python render_bodies/motion.py ../../shared/lifting ../../shared/bodies library.npz           # once
    shared_error.py --library library.npz --bodies ../shared/bodies --data ../shared/lifting --ckpt held.pt --sets 36

The checkpoint is the run of train_lift without the bodies m1, f1, m7. Each set is one of these bodies in a new shape, in one dress, light
and scenery, before one camera: two motions ("before", "after"), two like swings of each, rendered with render_bodies on the
processor and read by the landmark and the golfer network (10 to 20 s a set). Printed: the share of the mean square error that repeats within a side, and how much of that
is common to both sides, with 95 % intervals from 400 draws of the sets. These are KEYPOINTS_REPEATED and SHARED_BY_SETUP of
src/compare. With fewer pictures a swing than the program reads, what averages out is rather overstated.
"""
import argparse
import os
import sys
import tempfile

import numpy as np
import onnxruntime
import torch

ROOT = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(ROOT, "train_lift"), os.path.join(ROOT, "render_bodies")]

import body as B  # noqa: E402
import data  # noqa: E402
import draw  # noqa: E402
import evaluate  # noqa: E402
import make  # noqa: E402
import measures as Q  # noqa: E402
import motion  # noqa: E402
import pose  # noqa: E402
import scene  # noqa: E402

T = np.array([0.72, 0.82, 0.92, 1.2, 1.45, 1.65, 1.80, 1.83, 1.86, 1.89, 1.92, 2.05, 2.13, 2.6])
PHASE = np.array([0, 0, 0, 1, 2, 2, 3, 3, 3, 3, 3, 5, 5, 7], np.uint8)
NEEDED = (PHASE == 0) | (PHASE == 3)
HULL = ("crown", "wrist.L", "wrist.R", "elbow.L", "elbow.R", "toe.L", "toe.R", "heel.L", "heel.R")
PIVOT, LIKE = 0.8, 0.2  # sizes of motion.changed: another pivot, the same one again
GROUPS = {
    "hubs along target and ball": ("lower_hub_target", "upper_hub_target", "lower_hub_ball", "upper_hub_ball"),
    "hubs up": ("lower_hub_up", "upper_hub_up"),
    "tilts, lead arm": ("spine_tilt", "forward_bend", "lead_arm"),
    "pelvis and shoulder turn": ("pelvis_turn", "thorax_turn"),
}
UNSEEN = {0: ("lower_hub_ball", "upper_hub_ball", "forward_bend"), 1: ("lower_hub_target", "upper_hub_target", "spine_tilt")}


def planned(seed, lib, bodies):
    """Body, camera and four motions; None where the camera does not hold them or looks from neither side."""
    rng = np.random.default_rng(seed)
    name = ("m1", "f1", "m7")[int(rng.integers(3))]
    b = B.Body(bodies, name).shaped(rng, rng.choice([0.6, 1.0]))
    clip = lib.clip(int(rng.integers(len(lib.first) - 1)), T)
    swings = []
    for side in range(2):
        q = motion.changed(clip, T, np.random.default_rng((*seed, side)), PIVOT)
        for i in range(2):
            like = motion.on_body(motion.changed(q, T, np.random.default_rng((*seed, side, i)), LIKE), b)
            M, shift, points = B.pose(b, like)
            swings.append(dict(q=like, M=M, T=shift, points=points))
    hull = np.concatenate([np.stack([s["points"][n] for n in HULL], 1) for s in swings])
    margin = np.concatenate([hull + [0, 0, 0.08], hull - [0, 0, 0.06], hull + [0.1, 0, 0], hull - [0.1, 0, 0]], 1)
    cam = scene.camera(rng, margin)
    if cam is None or cam["view"] == 2 or cam["size"].max() > 960:
        return None
    return int(rng.integers(1 << 30)), b, name, cam, swings


def words(golfer, img, roi):
    """What the golfer network says of the regions."""
    square = make.crop(img, roi).permute(0, 3, 1, 2).float().numpy() / 255
    return np.concatenate([golfer.run(None, {golfer.get_inputs()[0].name: one[None]})[0] for one in square])


def looked_at(plan, kern, net, golfer, number):
    """Landmarks and the golfer network's words beside truth of the four swings, or None where a picture at address or top shows nobody."""
    look, b, name, cam, swings = plan
    rows, plain = [], draw.pictures
    for k, s in enumerate(swings):
        # the same clothes, light and scenery; only the noise of the pictures is new
        draw.pictures = lambda *x: plain(*x[:-1], {**x[-1], "seed": x[-1]["seed"] + 1000 * k})
        try:
            img = make.rendered(kern, b, s["M"], s["T"], s["points"], s["q"], cam, np.random.default_rng(look), 1)
        finally:
            draw.pictures = plain
        out, ok = net.read(img, ("full",))
        ok = ok.numpy()
        if not ok[NEEDED].all():
            return None
        keep = dict(points=s["points"], cam=cam, t=T, K=1, kind=k, phase=PHASE, body=name, left=False, seed=10 * number + k, b=b)
        row = make.rows_of(keep, {n: {a: v.numpy() for a, v in o.items()} for n, o in out.items()}, ok)
        row["got"]["full"]["words"] = words(golfer, img[ok], row["got"]["full"]["roi"])
        rows.append((keep, row))
    return rows


def errors(net, rows, s):
    """View, and the mean error at the top of every measure this view shows."""
    r = evaluate.predict(net, rows, s, 0)
    of = lambda y, clip: Q.measures(y, r["roi"], np.exp(clip[3]), clip[:3], r["stature"], r["phase"])
    got, want, top = of(r["y"], r["clip"]), of(r["truth"], r["clip_truth"]), r["phase"] == 3
    keys = [k for group in GROUPS.values() for k in group if k not in UNSEEN[r["view"]]]
    return {k: float(np.mean((got[k] - want[k] if "hub" in k else Q.wrap(got[k] - want[k]))[top])) for k in keys}


def shares(sets, keys):
    """Repeating within a side over all, common to both sides over repeating, of the mean square error."""
    e = np.array([[swing[k] for swing in four] for four in sets for k in keys if k in four[0]])
    within = (e[:, 0] * e[:, 1] + e[:, 2] * e[:, 3]).mean() / 2
    between = (e[:, :2].mean(1) * e[:, 2:].mean(1)).mean()
    return within / (e**2).mean(), between / within


def main():
    a = argparse.ArgumentParser()
    for name in ("library", "bodies", "data", "ckpt"):
        a.add_argument("--" + name, required=True)
    a.add_argument("--models", default=os.path.join(os.path.dirname(ROOT), "models"))
    a.add_argument("--sets", type=int, default=36)
    a.add_argument("--seed", type=int, default=11)
    args = a.parse_args()
    torch.set_num_threads(1)
    lib, kern, reader = motion.Library(args.library), draw.Kernels("cpu"), pose.Pose(args.models, "cpu", ("full",))
    golfer = onnxruntime.InferenceSession(os.path.join(args.models, "golfer.onnx"), providers=["CPUExecutionProvider"])
    done, number = [], 0
    while len(done) < 4 * args.sets:
        number += 1
        plan = planned((args.seed, number), lib, args.bodies)
        done += plan and looked_at(plan, kern, reader, golfer, number) or []
    with tempfile.TemporaryDirectory() as folder:
        path, load = os.path.join(folder, "extra_0_0.npz"), data.reader(args.data)
        make.write(path, done, ("full",))
        rows = data.read_file(load, path, ("full",))
    rows.first = torch.cat([torch.zeros(1, dtype=torch.long), torch.cumsum(torch.bincount(rows.row), 0)])
    net = evaluate.load_net(args.ckpt)
    each = [errors(net, rows, s) for s in range(len(rows.body))]
    sets = [each[i : i + 4] for i in range(0, len(each), 4)]
    rng = np.random.default_rng(1)
    for name, keys in GROUPS.items():
        draws = [shares([sets[i] for i in rng.integers(0, len(sets), len(sets))], keys) for _ in range(400)]
        low, high = np.percentile(draws, [2.5, 97.5], 0)
        (repeats, common) = shares(sets, keys)
        print(f"{name:28} repeats within a side {repeats:.2f} ({low[0]:.2f} to {high[0]:.2f}), of that common {common:.2f} ({low[1]:.2f} to {high[1]:.2f})")


if __name__ == "__main__":
    main()
