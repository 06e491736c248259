"""Are the rendered pictures and the definitions those of the lifting files? Rows of a few swings are rendered again from their
truth (same body, camera, pose; other clothes, light, ground) and read; the landmarks are set beside the stored ones.

    python check.py LIFTING BODIES MODELS [DEVICE] [swings] [picture.png]
"""
import os
import sys

import numpy as np
import torch

import body as B
import draw
import make
import motion
import pose
import scene


def again(d, s, bodies, kern, net, every, networks):
    k = np.flatnonzero(d["row"] == s)[::every]
    left = bool(d["left_handed"][s])
    P, R = motion.points_of(d, k, left), d["rot"][k].astype(float)
    C, RC = d["C"][s].copy(), d["R"][s].copy()
    if left:
        R, C, RC = motion.FLIP @ R @ np.diag([-1.0, 1, 1]), C * [1, -1, 1], np.diag([-1.0, 1, 1]) @ RC @ np.diag([1.0, -1, 1])
    b = B.Body(bodies, str(d["body"][s])).scaled(d["scale"][s])
    q = motion.on_body(motion.taken(b, P, R), b)
    M, T, points = B.pose(b, q)
    off = max(np.linalg.norm(points[n] - P(n), axis=1).max() for n in B.WRITTEN if not n.startswith(("toe", "heel")))
    cam = dict(K=d["K"][s], R=RC, C=C, size=d["size"][s], distance=float(d["distance"][s]))
    rng = np.random.default_rng(s)
    img = make.rendered(kern, b, M, T, points, q, cam, rng, 1, plain=True)
    if left:
        img = img.flip(2)
    out, ok = net.read(img, networks)
    return k, img, {n: {a: v.cpu().numpy() for a, v in o.items()} for n, o in out.items()}, ok.cpu().numpy(), off


def main():
    lifting, bodies, models = sys.argv[1:4]
    dev = sys.argv[4] if len(sys.argv) > 4 else "cpu"
    count = int(sys.argv[5]) if len(sys.argv) > 5 else 4
    sys.path.insert(0, lifting)
    from load import load

    networks = ("full", "heavy") if dev != "cpu" else ("full",)
    kern, net = draw.Kernels(dev), pose.Pose(models, dev, networks)
    for name in ("train_0", "wide_0"):
        if not os.path.exists(os.path.join(lifting, name + ".npz")):
            continue
        d = load(os.path.join(lifting, name + ".npz"), networks)
        dist = {n: [] for n in networks}
        world, sides = {n: [] for n in networks}, []
        for s in range(count):
            k, img, got, ok, off = again(d, s, bodies, kern, net, 2, networks)
            side = d["roi_full"][k][:, 2]
            for n in networks:
                e = np.linalg.norm(got[n]["xy"] - d["xy_" + n][k], axis=2) / d["roi_" + n][k][:, 2:3]
                dist[n].append(e[ok])
                world[n].append(np.linalg.norm(got[n]["world"] - d["world_" + n][k], axis=2)[ok])
            print(name, s, d["body"][s], "view", d["view"][s], f"truth off {off * 1000:.2f} mm", f"read {ok.mean():.2f}", f"full: median {np.median(dist['full'][-1][:, :33]) * 100:.2f} % of the region, {np.median(world['full'][-1][:, :33]) * 100:.1f} cm world", flush=True)
            if len(sys.argv) > 6 and name == "train_0":
                from PIL import Image
                pick = img[[0, len(img) // 2, len(img) - 1]].cpu().numpy()
                h = np.concatenate(list(pick), 1)
                Image.fromarray(h).save(sys.argv[6].replace(".png", f"_{s}.png"))
        for n in networks:
            e, w = np.concatenate(dist[n])[:, :33], np.concatenate(world[n])[:, :33]
            print(f"{name} {n}: landmarks median {np.median(e) * 100:.2f} 90 % {np.quantile(e, 0.9) * 100:.2f} % of the region; world median {np.median(w) * 100:.1f} 90 % {np.quantile(w, 0.9) * 100:.1f} cm")


if __name__ == "__main__":
    main()
