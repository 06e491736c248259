"""How far the stated sd can be believed: constants for models/lift.json, from bodies the network never saw.

    python calibrate.py --data ../shared/lifting --extra FRESH --ckpt lift.pt --out ../../models/lift.json

FRESH: people of ../render_bodies whom neither network saw, with what the golfer network says of them.

For every output and every measure: the factor that makes 68 % of errors lie within one sd; the share of its
variance that is common to a clip (and leaves travel since address); the correlation time of the rest in the
whole clips. Plain and wild motion apart. Network `full`.
"""
import argparse
import json

import numpy as np
import torch

import data
import evaluate as E
import measures as Q
import model as M
import spread
from train import HELD

NAMES = [f"{p}.{c}" for p in data.POINTS for c in ("u", "v", "depth")] + ["log_ratio"]
NAMES += [f"{v}.{c}" for v in ("trunk", "shoulders", "hips", "lead_arm") for c in ("x", "y", "z")]
CLIP = ("pitch", "roll", "azimuth", "log_focal")


def coverage(z):
    z = np.abs(np.concatenate(z)) if isinstance(z, list) else np.abs(z)
    return {"in_1_sd": round(float(np.mean(z < 1)), 3), "in_2_sd": round(float(np.mean(z < 2)), 3)}


def factor(z):
    """Scale of sd: the larger of what 68.3 % and 95.4 % ask for, pulled half way when they differ."""
    z = np.abs(z)
    a, b = np.quantile(z, 0.683), np.quantile(z, 0.954) / 2
    return float(np.sqrt(a * b))


def split(zs):
    """Share of the variance that is common to a clip, by an analysis of variance robust to outliers."""
    zs = [np.clip(z, -5, 5) for z in zs if len(z) >= 6]
    within = np.mean([z.var(ddof=1) for z in zs])
    between = max(0.0, np.mean([z.mean() ** 2 - z.var(ddof=1) / len(z) for z in zs]))
    return between / (between + within)


def decay(clips):
    """Correlation of what is left after the clip's mean, at lags of 1/30 s: exponential time in s, and the curve."""
    lags = range(0, 13)
    num, den = np.zeros(13), np.zeros(13)
    for z in clips:
        if len(z) < 30:
            continue
        z = np.clip(z, -5, 5)
        z = z - z.mean()
        for k in lags:
            num[k] += np.sum(z[: len(z) - k] * z[k:])
            den[k] += len(z) - k
    c = num / den / (num[0] / den[0])
    use = [k for k in range(1, 13) if c[k] > 0.1]
    tau = np.median([-k / 30 / np.log(min(c[k], 0.999)) for k in use]) if use else 0.01
    return float(tau), [round(float(v), 3) for v in c]


def results_of(net, rows, test):
    pool = data.swings(rows, lambda b, k: test(k) and b in data.UNSEEN)
    return [E.predict(net, rows, s, 0) for s in pool]


def outputs(res):
    """Calibration of every output component."""
    out = {}
    for i, name in enumerate(NAMES):
        if name == "lower_hub.depth":
            continue
        z = [(r["y"][:, i] - r["truth"][:, i]) / r["sd"][:, i] for r in res]
        f = factor(np.concatenate(z))
        seq = [(r["y"][:, i] - r["truth"][:, i]) / r["sd"][:, i] for r in res if r["kind"].startswith("seq")]
        tau, curve = decay(seq)
        out[name] = {"factor": round(f, 3), "common": round(split(z), 3), "tau_s": round(tau, 3),
                     "lag_1_frame": curve[1], "median_error": round(float(np.median(np.abs(np.concatenate([r["y"][:, i] - r["truth"][:, i] for r in res])))), 5),
                     **coverage(np.concatenate(z) / f)}
    return out


def camera(res):
    out = {}
    for i, name in enumerate(CLIP):
        z = np.array([(r["clip"][i] - r["clip_truth"][i]) / r["clip_sd"][i] for r in res])
        f = factor(z)
        out[name] = {"factor": round(f, 3), "median_error": round(float(np.median([abs(r["clip"][i] - r["clip_truth"][i]) for r in res])), 5), **coverage(z / f)}
    return out


def measured(res, view):
    """Errors of the measures at the events: for each the median, 90 %, rms, and how they hang together."""
    keys = E.SHOW[view] + E.BOTH
    out = {}
    use = [r for r in res if r["view"] == view and (r["phase"] == 0).sum() >= 2]
    pairs = [E.both(r) for r in use]
    for k in keys:
        wrap = Q.wrap if ("turn" in k or k == "separation") else (lambda v: v)
        errs = [wrap(g[k] - w[k]) for g, w in pairs]
        ev = np.concatenate([e[np.isin(r["phase"], list(E.EVENTS.values()))] for e, r in zip(errs, use)])
        tau, curve = decay([e / 3 for e, r in zip(errs, use) if r["kind"].startswith("seq")])
        out[k] = {"median": round(float(np.median(abs(ev))), 3), "q90": round(float(np.quantile(abs(ev), 0.9)), 3),
                  "sd_like": round(float(np.quantile(abs(ev), 0.683)), 3), "tau_s": round(tau, 3)}
    return out


def shipped(cal):
    """What the program uses: the geometric mean of plain and wild motion, for real swings lie between the scripts."""
    mid = lambda a, b: round(float(np.sqrt(max(a, 1e-3) * max(b, 1e-3))), 3)
    both = lambda group, name, key: mid(cal["plain"][group][name][key], cal["wild"][group][name][key])
    out = {"outputs": {n: {k: both("outputs", n, k) for k in ("factor", "common", "tau_s")} for n in cal["plain"]["outputs"]},
           "camera": {n: {"factor": both("camera", n, "factor")} for n in CLIP}}
    # the same by kind of output, as src/calibration/errors.rs holds it
    kind = {"pixel": [n for n in NAMES if n.endswith((".u", ".v"))], "depth": [n for n in NAMES if n.endswith(".depth") and n != "lower_hub.depth"],
            "log_stature_px": ["log_ratio"], "hub_pixel": [n for n in NAMES if "hub." in n and n[-1] in "uv"]}
    kind.update({v: [f"{v}.{c}" for c in "xyz"] for v in ("trunk", "shoulders", "hips", "lead_arm")})
    mean = lambda names, k: round(float(np.mean([out["outputs"][n][k] for n in names])), 3)
    out["groups"] = {g: {"common": mean(n, "common"), "time_s": mean(n, "tau_s"), "inflation": mean(n, "factor")} for g, n in kind.items()}
    out["measures"] = {v: {n: {k: mid(m[n][k], cal["wild"]["measures"][v][n][k]) for k in ("factor", "sd_like", "tau_s")} for n in m}
                       for v, m in cal["plain"]["measures"].items()}
    return out


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--extra", required=True)
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--out", default="lift.json")
    args = a.parse_args()
    torch.set_num_threads(1)
    rows = data.read(args.data, [], data.rendered(args.extra))
    net = E.load_net(args.ckpt)
    cal = {"provenance": f"bodies {' '.join(HELD)} held out of training and people of scripts/render_bodies/people.py, rendered anew with scripts/render_bodies, network full, the held-out run of scripts/train_lift"}
    for kind, test in (("plain", lambda k: "wild" not in k), ("wild", lambda k: "wild" in k)):
        res = results_of(net, rows, test)
        cal[kind] = {"swings": len(res), "outputs": outputs(res), "camera": camera(res)}
        cal[kind]["measures"] = {}
        for view, title in ((0, "face_on"), (1, "down_the_line")):
            found = measured(res, view)
            for k, v in spread.check(res, cal[kind], view).items():
                found[k].update(v)
            cal[kind]["measures"][title] = found
    cal["ship"] = shipped(cal)
    layout = {"x": "[1,64,398] f32: 39 landmarks of x, y (region sides from its centre), z (sides), visibility, presence, world x y z (m); region x, y, side "
                   "(long sides from the picture's centre), sin and cos of its rotation; picture width, height over the long side; person score; network (0 full, 1 heavy); what golfer.onnx says (golfer.md), turned by the region's rotation; 1 where it was asked",
              "mask": "[1,64] f32, 1 = a frame", "frame": NAMES, "clip": list(CLIP),
              "units": "u, v region sides from its centre; depth and vectors statures (camera axes, x right, y down, z away; depth counted from lower_hub); "
                       "log_ratio = ln(pixels of a stature at the lower hub's depth / region side); angles rad; log_focal = ln(focal / long side)",
              "sd": "frame_sd and clip_sd of lift.onnx hold the factors of calibration.ship already",
              "handed": "right-handed only: mirror left-handers; lead = L"}
    json.dump({"layout": layout, "calibration": cal}, open(args.out, "w"), indent=1)


if __name__ == "__main__":
    main()
