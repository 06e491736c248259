"""Renders more virtual golfers to train the corrector on: other bodies, other motions, other clothes, exact truth.

    python motion.py ../shared/lifting ../shared/bodies library.npz                  # once, seconds
    python make.py --bodies ../shared/bodies --library library.npz --models ../../models --out extra --swings 3000 --seed 1
    python check.py ../shared/lifting ../shared/bodies ../../models                  # same definitions as the lifting files?

Needs numpy, torch, onnx; a CUDA card with cupy (five of these side by side on each of four H200 made 3,500 pictures a second, `full` and the
golfer network read; ../train_golfer/run.sh says how), or gcc (about 1 s a picture, network full alone). Same seed, same swings. The pictures are not
kept, but for the squares that ../train_golfer learns from (--crops). Files have the arrays of ../shared/lifting/README.md that train_lift reads (no `rot`, `ang`, `mp`, and 23 of
the points), in the same fixed-point form: its load.py reads them.

What differs from the lifting files, on purpose:
  bodies   each swing a new shape: lengths of legs, trunk, arms, shins, forearms, breadth of hips and shoulders, girths, belly, neck,
           head, feet changed at random, chest, shoulders, neck and hips against each other (--apart), clothes that stand off,
           sleeves, shorts, glove, belt, cap
  motions  a third the script with changes of everything, a third with changes three times as large (pelvis, chest, head,
           hands, elbows, collar bones, feet, each in its own time), a third of no script at all (turns of pelvis and chest
           apart, slow or quick, hands anywhere in front, together or not); the library holds no clip of m1, f1, m7
  pictures shading with folds, shadow on the ground and of the body on itself, ground and walls by noise, motion blur of 1 to 5 moments, softness, noise,
           JPEG with halved colour in two thirds
A fifth is mirrored (left-handed). Rows without a person, or with a score below 0.5, are dropped.
"""
import argparse
import collections
import json
import os
import sys
import time

import numpy as np
import torch

import body as B
import draw
import motion
import people
import pose
import scene

PHASES = (1.0, 1.3, 1.78, 1.94, 2.05, 2.18, 2.6)  # script times between the lifting files' phases 0 to 7
BODIES = ("m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8", "m9", "f1", "f2", "f3", "f4", "f5", "f6", "y1")


def rendered(kern, b, M, T, points, q, cam, rng, K, plain=False):
    """Pictures of posed frames (K moments each) with random clothes, light and scenery."""
    mesh, look = scene.outfit(b, rng, plain)
    extra = None
    if rng.random() < 0.93 or plain:
        hands = (points["knuckle.L"] + points["knuckle.R"]) / 2
        way = B.unit(q["hg"].mean(1))
        cv, cf = draw.club(hands - 0.12 * way, way, rng.uniform(0.85, 1.15))
        cc = np.tile(rng.uniform(0.02, 0.6) * np.ones(3), (cv.shape[1], 1))
        cc[:6] = 0.03
        extra = cv, np.asarray(cf, np.int32), cc
    lamp = scene.light(rng)
    post = scene.exposed(lamp, rng)
    bg = scene.background(cam, rng, kern.dev)
    return draw.pictures(kern, mesh, M, T, extra, cam, look, lamp, K, bg, post)


def times(rng, whole, same_time=False):
    """Golfer times of the pictures, and the exposure with its moments."""
    if whole and same_time:
        t = 0.7 + np.arange(63) / 30
    elif whole:
        t0 = rng.uniform(0.6, 0.9)
        t = t0 + np.arange(int(rng.integers(40, 60))) / 30
    else:
        t = np.sort(np.concatenate([rng.uniform(0.7, 1.0, 3), rng.uniform(1.0, 2.8, 21)]))
    K = int(rng.choice([1, 1, 2, 3] if whole else [1, 1, 2, 3, 5]))
    return t, K, rng.uniform(0.002, 0.009) if K > 1 else 0.0


def swing(seed, names, bodies, lib, whole, kinds=None, same_time=False, apart=1.0, everyone=None, share=0.0):
    """Everything about one swing but its pictures; None when no camera holds it. kinds: chances of the three sorts of
    motion; same_time: the script's events stay at their times; apart: as Body.shaped; everyone: people.People, of whom
    a share of the golfers come."""
    rng = np.random.default_rng(seed)
    name = names[int(rng.integers(len(names)))]
    if everyone is not None and rng.random() < share:
        b = everyone.draw(rng).shaped(rng, rng.choice([0.2, 0.4]), 0.5 * apart)
        name = b.name
    else:
        b = B.Body(bodies, name).shaped(rng, rng.choice([0.6, 1.0, 1.4]), apart)
    t, K, shutter = times(rng, whole, same_time)
    sub = (t[:, None] + (np.linspace(-0.5, 0.5, K) if K > 1 else np.zeros(1))[None] * shutter).ravel()
    kind = int(rng.integers(3)) if kinds is None else int(rng.choice(3, p=kinds))
    stretch = 1.0
    if kind < 2:
        i = int(rng.integers(len(lib.first) - 1))
        if not same_time:
            stretch = rng.uniform(0.8, 1.25)
        q = lib.clip(i, np.clip(1.9 + (sub - 1.9) * stretch, 0.7, 2.8))
        q = motion.changed(q, sub, rng, rng.uniform(0.3, 0.8) if kind == 0 else rng.uniform(0.9, 2.2))
    else:
        q = motion.free(sub, rng)
    q = motion.on_body(q, b)
    M, T, points = B.pose(b, q)
    hull = np.stack([points[n] for n in ("crown", "wrist.L", "wrist.R", "elbow.L", "elbow.R", "toe.L", "toe.R", "heel.L", "heel.R")], 1)
    margin = np.concatenate([hull + [0, 0, 0.08], hull - [0, 0, 0.06], hull + [0.1, 0, 0], hull - [0.1, 0, 0]], 1)
    cam = scene.camera(rng, margin)
    if cam is None:
        return None
    phase = np.searchsorted(PHASES, 1.9 + (t - 1.9) * stretch, side="right").astype(np.uint8)
    return dict(rng=rng, b=b, q=q, M=M, T=T, points=points, cam=cam, t=t, K=K, kind=kind, phase=phase, body=name, left=bool(rng.random() < 0.2), whole=whole, seed=seed)


def rows_of(sw, got, ok):
    """Truth and landmarks of one swing, mirrored when it is left-handed."""
    pts = np.stack([sw["points"][n][:: sw["K"]] for n in B.WRITTEN], 1)[ok]
    C, R, left = sw["cam"]["C"].copy(), sw["cam"]["R"].copy(), sw["left"]
    if left:
        swap = [B.WRITTEN.index(n[:-1] + {"L": "R", "R": "L"}[n[-1]] if n.endswith((".L", ".R")) else n) for n in B.WRITTEN]
        pts = pts[:, swap] * [1, -1, 1]
        C, R = C * [1, -1, 1], np.diag([-1.0, 1, 1]) @ R @ np.diag([1.0, -1, 1])
    return dict(pts=pts, C=C, R=R, t=sw["t"][ok], phase=sw["phase"][ok], got={n: {a: v[ok] for a, v in o.items()} for n, o in got.items()})


def fixed(a, scale):
    """High and low byte planes, as lifting/load.py unpacks them."""
    q = np.clip(np.round(np.asarray(a, float) * scale), -32768, 32767).astype(np.int32) + 32768
    return np.stack([q >> 8, q & 255]).astype(np.uint8)


def write(path, swings, networks):
    """One npz in the lifting files' form."""
    out = {}
    cat = lambda f: np.concatenate([f(r) for _, r in swings])
    out["row"] = np.concatenate([np.full(len(r["t"]), i, np.int32) for i, (_, r) in enumerate(swings)])
    out["t"], out["phase"] = cat(lambda r: r["t"]).astype(np.float32), cat(lambda r: r["phase"])
    put = lambda k, a, s: out.update({"q_" + k: fixed(a, s), "s_" + k: np.float64(s)})
    put("pts", cat(lambda r: r["pts"]), 10000)
    for n in networks:
        g = lambda k: cat(lambda r: r["got"][n][k])
        roi = g("roi")
        put(f"xy_{n}", (g("xy") - roi[:, None, :2]) / roi[:, None, 2:3], 4096)
        put(f"z_{n}", g("z") / roi[:, 2:3], 2048)
        put(f"world_{n}", g("world"), 500)
        out[f"vp_{n}"] = np.round(g("vp") * 255).astype(np.uint8)
        out[f"roi_{n}"], out[f"flag_{n}"] = roi.astype(np.float32), g("flag").astype(np.float16)
    if "words" in swings[0][1]["got"].get("full", {}):
        out["words"] = cat(lambda r: r["got"]["full"]["words"])
    one = lambda f, d=None: np.array([f(s, r) for s, r in swings], dtype=d)
    out["id"], out["body"], out["left_handed"] = one(lambda s, r: s["seed"]), one(lambda s, r: s["body"]), one(lambda s, r: s["left"])
    out["lead"] = np.where(out["left_handed"], "R", "L")
    for k in ("view", "azimuth", "distance", "height", "hfov", "misaim", "size", "K"):
        out[k] = one(lambda s, r: s["cam"][k])
    out["R"], out["C"] = one(lambda s, r: r["R"]), one(lambda s, r: r["C"])
    out["stature"], out["motion"] = one(lambda s, r: s["b"].stature, np.float32), one(lambda s, r: s["kind"])
    swap = [B.WRITTEN.index(n[:-1] + {"L": "R", "R": "L"}[n[-1]] if n.endswith((".L", ".R")) else n) for n in B.WRITTEN]
    out["point_names"], out["swap"] = np.array(B.WRITTEN), np.array(swap)
    np.savez_compressed(path + ".part.npz", **out)
    os.replace(path + ".part.npz", path)
    print(path, len(swings), "swings", len(out["row"]), "rows", os.path.getsize(path), "bytes", flush=True)


def plan_swing(job):
    seed, names, bodies, library, whole, *sort, pack, share = job
    if not hasattr(plan_swing, "lib"):
        plan_swing.lib, plan_swing.everyone = motion.Library(library), people.People(pack) if pack else None
    for k in range(20):
        s = swing((seed, k), names, bodies, plan_swing.lib, whole, *sort, plan_swing.everyone, share)
        if s is not None:
            s["seed"] = seed
            return s
    return None


def crop(img, roi):
    """The square that the landmark network reads, uint8 n,256,256,3."""
    x = pose.warp(img.permute(0, 3, 1, 2).float(), torch.as_tensor(roi, device=img.device), 256, True)
    return x.round().clamp(0, 255).to(torch.uint8).permute(0, 2, 3, 1).contiguous()


def golfer(args):
    """What the golfer network of a checkpoint says of squares and handedness, float16 in the square's frame."""
    sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "train_golfer"))
    import net as N

    net = N.Golfer(os.path.join(args.models, "pose_landmark_full.onnx")).to(args.device)
    net.load_state_dict(torch.load(args.golfer, map_location=args.device))

    @torch.no_grad()
    def words(squares, left):
        return net(N.square(squares, torch.full((len(squares),), left, device=squares.device)))[0].half().cpu().numpy()

    return words


def ahead(pool, jobs, most):
    """Plans in order, at most so many ahead of the pictures: a pool left alone fills the memory with them."""
    waiting = collections.deque()
    for job in jobs:
        waiting.append(pool.apply_async(plan_swing, (job,)))
        if len(waiting) > most:
            yield waiting.popleft().get()
    while waiting:
        yield waiting.popleft().get()


def start(kern, net, sw, networks):
    img = rendered(kern, sw["b"], sw["M"], sw["T"], sw["points"], sw["q"], sw["cam"], sw["rng"], sw["K"])
    if sw["left"]:
        img = img.flip(2)
    out, ok = net.read(img, networks)
    return img, {n: {a: v.cpu().numpy() for a, v in o.items()} for n, o in out.items()}, ok.cpu().numpy()


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--bodies", required=True)
    a.add_argument("--library", required=True)
    a.add_argument("--models", required=True)
    a.add_argument("--out", required=True)
    a.add_argument("--swings", type=int, default=100)
    a.add_argument("--kinds", default="", help="chances of the three sorts of motion, as 0.6,0.25,0.15; even when left out")
    a.add_argument("--same-time", action="store_true", help="events stay where the script has them")
    a.add_argument("--apart", type=float, default=1.0, help="how much parts of a body move against each other; 0: seeds before 600 as they were")
    a.add_argument("--crops", default="", help="folder: what the landmark network saw of every kept row, raw 256x256x3, rows in the npz's order")
    a.add_argument("--golfer", default="", help="checkpoint of a golfer network that learns from none of these: what it says of every row goes into the file")
    a.add_argument("--digits", default="0123456789", help="last digits of the swings' numbers: 0 to 6 are those that ../train_golfer learns from")
    a.add_argument("--whole", type=float, default=0.15, help="share of whole clips")
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--names", default=",".join(BODIES))
    a.add_argument("--people", default="", help="file of people.py: new people beside the bodies")
    a.add_argument("--share", type=float, default=0.75, help="share of swings by new people")
    a.add_argument("--networks", default="full,heavy")
    a.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    a.add_argument("--card", type=float, default=1.0, help="share of the card's memory for this process; a swing that needs more is left out")
    a.add_argument("--workers", type=int, default=8)
    a.add_argument("--file", type=int, default=500, help="swings a file")
    a.add_argument("--limit", type=float, default=1e9, help="seconds after which to stop")
    a.add_argument("--pictures", default="", help="folder: keep a few pictures to look at")
    args = a.parse_args()
    torch.set_num_threads(max(1, torch.get_num_threads() // 2))
    os.makedirs(args.out, exist_ok=True)
    names, networks = args.names.split(","), tuple(args.networks.split(","))
    began = time.time()
    rng = np.random.default_rng(args.seed)
    kinds = [float(k) for k in args.kinds.split(",")] if args.kinds else None
    jobs = [(args.seed * 1000000 + i, names, args.bodies, args.library, bool(rng.random() < args.whole), kinds, args.same_time, args.apart, args.people, args.share) for i in range(args.swings) if str(i % 10) in args.digits]
    import multiprocessing as mp

    pool = mp.get_context("spawn").Pool(args.workers) if args.workers > 0 else None
    stream = ahead(pool, jobs, 2 * args.workers) if pool else map(plan_swing, jobs)
    torch.backends.cudnn.allow_tf32 = False
    if args.device != "cpu":
        torch.cuda.set_per_process_memory_fraction(args.card)
    kern, net = draw.Kernels(args.device), pose.Pose(args.models, args.device, networks)
    words = golfer(args) if args.golfer else None
    crops = open(os.path.join(args.crops, f"crops_{args.seed}.bin"), "wb") if args.crops else None
    done, files, rows, seen = [], 0, 0, 0
    for i, sw in enumerate(stream):
        if sw is None:
            continue
        try:
            img, got, ok = start(kern, net, sw, networks)
        except torch.OutOfMemoryError as e:
            print("left out", sw["seed"], str(e)[:80], flush=True)
            torch.cuda.empty_cache()
            continue
        seen, rows = seen + len(ok), rows + int(ok.sum())
        if args.pictures and i < 40:
            from PIL import Image

            os.makedirs(args.pictures, exist_ok=True)
            Image.fromarray(np.concatenate([x for x in img[:: max(1, len(img) // 4)].cpu().numpy()[:4]], 1)[::2, ::2]).save(os.path.join(args.pictures, f"{i}.jpg"))
        if ok.sum() >= 8:
            if crops or words:
                squares = crop(img, got["full"]["roi"])
            if crops:
                crops.write(squares[torch.from_numpy(ok).to(img.device)].cpu().numpy().tobytes())
            if words:
                got["full"]["words"] = words(squares, sw["left"])
            keep = {k: sw[k] for k in ("points", "cam", "t", "K", "kind", "phase", "body", "left", "seed", "b")}
            done.append((keep, rows_of(keep, got, ok)))
            keep.pop("points")
        if len(done) == args.file:
            write(os.path.join(args.out, f"extra_{args.seed}_{files}.npz"), done, networks)
            done, files = [], files + 1
        if i % 100 == 99:
            print(f"{i + 1} swings {rows} rows of {seen} {time.time() - began:.0f} s", flush=True)
        if time.time() - began > args.limit:
            break
    if done:
        write(os.path.join(args.out, f"extra_{args.seed}_{files}.npz"), done, networks)
    if crops:
        crops.close()
    if pool:
        pool.terminate()
    print(json.dumps({"rows": rows, "pictures": seen, "seconds": round(time.time() - began)}))


if __name__ == "__main__":
    main()
