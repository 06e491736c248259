"""Motions: a library made of the truth of the lifting files, smooth random changes of it, and motions made up freely.

A motion is a dict of curves over frames, free of any body's size (see `KEYS`); body.pose puts it on a body.
Build the library:  python motion.py ../shared/lifting ../shared/bodies library.npz
"""
import os
import sys

import numpy as np

from body import SIDES, Body, arc, frame, square, turned, unit

# P pelvis centre (x, y in statures from mid-stance, z over the rest height of the hips); Rp Rt Rh rotations; dir pelvis to thorax
# centre; clav change of the collar bone's direction (thorax frame); W mid of the wrists from mid-shoulder (arm lengths); D half of the
# way between the wrists (m); epole kpole where elbow and knee point; hd hg along the hand, across the palm to the index
# finger; ankle (x, y statures, z over its rest height, m); Rf foot; toe bend (rad)
SHAPE = {"P": (3,), "Rp": (3, 3), "Rt": (3, 3), "Rh": (3, 3), "dir": (3,), "clav": (2, 3), "W": (3,), "D": (3,), "epole": (2, 3), "kpole": (2, 3), "hd": (2, 3), "hg": (2, 3),
         "ankle": (2, 3), "Rf": (2, 3, 3), "toe": (2,)}
ROTATIONS = ("Rp", "Rt", "Rh", "Rf")
FLIP = np.diag([1.0, -1.0, 1.0])  # a left-hander faces +y: mirrored he is a right-hander who faces -y


def points_of(d, k, left):
    names = [str(n) for n in d["point_names"]]
    pts = d["pts"][k].astype(float)
    if left:
        pts = pts[:, d["swap"]] * [1, -1, 1]
    return lambda n: pts[:, names.index(n)]


def taken(body, P, R):
    """Motion of one swing from its truth points and rotations, on the body they were made with."""
    a, p = body.at, body.p
    Rp, Rt, Rh = R[:, 0], R[:, 1], R[:, 2]
    q = dict(Rp=Rp, Rt=Rt, Rh=Rh, dir=unit(P("thorax_centre") - P("pelvis_centre")))
    c = P("pelvis_centre")
    q["P"] = np.concatenate([c[:, :2] / body.stature, c[:, 2:] / a["pelvis"][2]], 1)
    centre = (p["sternum"] + p["back"]) / 2
    mid, arm = (P("shoulder.L") + P("shoulder.R")) / 2, body.lengths()
    q["W"], q["D"] = ((P("wrist.L") + P("wrist.R")) / 2 - mid) / arm, (P("wrist.L") - P("wrist.R")) / 2
    out = {k: [] for k in ("clav", "epole", "kpole", "hd", "hg", "ankle", "Rf", "toe")}
    grip = P("club_head") - P("club_butt")
    for s in SIDES:
        origin = P("thorax_centre") + np.einsum("fij,j->fi", Rt, a[f"clav.{s}"] - centre)
        out["clav"].append(unit(np.einsum("fji,fj->fi", Rt, P(f"shoulder.{s}") - origin)) - unit(a[f"ua1.{s}"] - a[f"clav.{s}"]))
        for key, names in (("epole", ("shoulder", "elbow", "wrist")), ("kpole", ("hip", "knee", "ankle"))):
            A, B, C = (P(f"{n}.{s}") for n in names)
            d = unit(C - A)
            out[key].append(unit(B - A - ((B - A) * d).sum(1, keepdims=True) * d))
        out["hd"].append(unit(P(f"knuckle.{s}") - P(f"wrist.{s}")))
        out["hg"].append(unit(grip))
        ank = P(f"ankle.{s}")
        out["ankle"].append(np.concatenate([ank[:, :2] / body.stature, ank[:, 2:] - p[f"ankle.{s}"][2]], 1))
        rest = frame(p[f"toe.{s}"] - p[f"heel.{s}"], p[f"ankle.{s}"] - p[f"heel.{s}"])
        out["Rf"].append(frame(P(f"toe.{s}") - P(f"heel.{s}"), ank - P(f"heel.{s}")) @ rest.T)
        out["toe"].append(np.zeros(len(c)))
    q.update({k: np.stack(v, 1) for k, v in out.items()})
    return q


def library(lifting, bodies, out, files=("seq_train_0", "seq_wide_0", "seq_wide_1", "seq_wild"), without=("m1", "f1", "m7")):
    """Whole clips at 30 a second; the bodies held out of training stay out of it."""
    sys.path.insert(0, lifting)
    from load import load

    got = {k: [] for k in SHAPE}
    t, first = [], [0]
    for f in files:
        d = load(os.path.join(lifting, f + ".npz"), ("full",))
        for s in range(len(d["id"])):
            k = np.flatnonzero(d["row"] == s)
            if str(d["body"][s]) in without or len(k) < 55:
                continue
            left = bool(d["left_handed"][s])
            R = d["rot"][k].astype(float)
            R = FLIP @ R @ np.diag([-1.0, 1, 1]) if left else R
            body = Body(bodies, str(d["body"][s])).scaled(d["scale"][s])
            q = taken(body, points_of(d, k, left), R)
            for n in SHAPE:
                got[n].append(q[n])
            t.append(d["t"][k])
            first.append(first[-1] + len(k))
    data = {k: np.concatenate(v) for k, v in got.items()}
    for k in ROTATIONS:
        data[k] = data[k][..., :2]  # two columns: the third is their cross product
    np.savez_compressed(out, first=np.array(first), t=np.concatenate(t).astype(np.float32), **{k: v.astype(np.float16) for k, v in data.items()})
    print(len(first) - 1, "clips", first[-1], "frames", os.path.getsize(out), "bytes")


def cubic(known, v, t):
    """Natural cubic spline through v at the known times, read at t; beyond the ends the value there."""
    h, flat = np.diff(known), v.reshape(len(v), -1)
    A = np.diag(np.r_[1, 2 * (h[1:] + h[:-1]), 1]) + np.diag(np.r_[0, h[1:]], 1) + np.diag(np.r_[h[:-1], 0], -1)
    m = np.linalg.solve(A, np.concatenate([flat[:1] * 0, 6 * np.diff(np.diff(flat, axis=0) / h[:, None], axis=0), flat[:1] * 0]))
    t = np.clip(t, known[0], known[-1])
    j = np.clip(np.searchsorted(known, t) - 1, 0, len(known) - 2)
    f = ((t - known[j]) / h[j])[:, None]
    x = flat[j] * (1 - f) + flat[j + 1] * f + (h[j] ** 2)[:, None] / 6 * (((1 - f) ** 3 - 1 + f) * m[j] + (f**3 - f) * m[j + 1])
    return x.reshape(len(t), *v.shape[1:])


class Library:
    def __init__(self, path):
        z = np.load(path)
        self.first, self.t = z["first"], z["t"]
        self.q = {k: z[k].astype(np.float64) for k in SHAPE}

    def smooth(self, i, t):
        """Motion of clip i at golfer times t, without steps in speed."""
        a, b = self.first[i], self.first[i + 1]
        q = {}
        for k in SHAPE:
            x = cubic(self.t[a:b].astype(float), self.q[k][a:b], t)
            q[k] = square(x[..., 0], x[..., 1]) if k in ROTATIONS else x
        for k in ("epole", "kpole", "hd", "hg", "dir"):
            q[k] = unit(q[k])
        return q

    def clip(self, i, t):
        """Motion of clip i at golfer times t."""
        a, b = self.first[i], self.first[i + 1]
        ct = self.t[a:b]
        j = np.clip(np.searchsorted(ct, t) - 1, 0, b - a - 2)
        f = np.clip((t - ct[j]) / (ct[j + 1] - ct[j]), 0, 1)
        q = {}
        for k in SHAPE:
            v = self.q[k]
            w = f.reshape(-1, *([1] * (v.ndim - 1)))
            x = v[a + j] * (1 - w) + v[a + j + 1] * w
            q[k] = square(x[..., 0], x[..., 1]) if k in ROTATIONS else x
        for k in ("epole", "kpole", "hd", "hg", "dir"):
            q[k] = unit(q[k])
        return q


class Waves:
    """Smooth random curves over golfer time: a constant and a few slow waves, unit spread each."""

    def __init__(self, rng, t):
        self.rng, self.t = rng, t

    def __call__(self, still, moving, n=1, fast=1.3):
        r = self.rng
        f, ph, a = r.uniform(0.15, fast, (4, n)), r.uniform(0, 6.283, (4, n)), r.normal(size=(4, n))
        w = (a[:, None] * np.cos(6.283 * f[:, None] * self.t[None, :, None] + ph[:, None])).sum(0) / np.sqrt(2)
        v = r.normal(size=n) * still + w * moving
        return v[:, 0] if n == 1 else v


def about(R, wave, axial, bend, side):
    """R after changes about its own up, left and forward axes (deg)."""
    v = np.stack([wave(*bend), wave(*side), wave(*axial)], 1)
    return R @ turned(np.radians(v))


def changed(q, t, rng, size):
    """A motion with everything changed a little, or a lot: pelvis, chest, head, hands, elbows, feet each by itself."""
    w = Waves(rng, t)
    s = size
    up = lambda R: R[:, :, 2]
    q = dict(q)
    old = q["Rt"]
    q["Rp"] = about(q["Rp"], w, (7 * s, 9 * s), (3 * s, 4 * s), (2 * s, 4 * s))
    extra = np.zeros((len(t), 3))
    extra[:, 2] = np.radians(w(6 * s, 10 * s))
    q["Rt"] = about(old @ turned(extra), w, (2 * s, 2 * s), (4 * s, 4 * s), (2 * s, 4 * s))
    lean = np.radians(np.stack([w(2 * s, 3 * s), w(2 * s, 3 * s), w(0, 0)], 1))
    q["dir"] = unit(np.einsum("fij,fj->fi", turned(lean) @ (q["Rt"] @ np.swapaxes(old, 1, 2) if rng.random() < 0.5 else np.eye(3)), q["dir"]))
    q["Rh"] = about(q["Rh"], w, (7 * s, 7 * s), (5 * s, 4 * s), (4 * s, 4 * s))
    q["P"] = q["P"] + np.stack([w(0.008 * s, 0.013 * s), w(0.008 * s, 0.01 * s), w(0.012 * s, 0.012 * s)], 1)
    q["P"][:, 2] = np.minimum(q["P"][:, 2], 0.995)
    follow = rng.random() ** 0.7  # how far the hands go along with the chest
    q["W"] = np.einsum("fij,fj->fi", turned(extra * follow), q["W"]) + w(0.03 * s, 0.06 * s, 3)
    q["clav"] = q["clav"] + 0.07 * s * np.stack([w(0.7, 0.7, 3), w(0.7, 0.7, 3)], 1)
    q["epole"] = q["epole"] + np.stack([w(0.2 * s, 0.2 * s, 3), w(0.2 * s, 0.2 * s, 3)], 1)
    q["kpole"] = q["kpole"] + np.stack([w(0.12 * s, 0.1 * s, 3), w(0.12 * s, 0.1 * s, 3)], 1)
    for k in ("hd", "hg"):
        q[k] = q[k] + np.stack([w(0.12 * s, 0.12 * s, 3), w(0.12 * s, 0.12 * s, 3)], 1)
    return feet(q, w, rng, s)


def feet(q, w, rng, s):
    """Stance width, toes out, heel lifted."""
    ankle, Rf = q["ankle"].copy(), q["Rf"].copy()
    ankle[:, :, 0] *= np.exp(rng.normal(0, 0.12 * s))
    ankle[:, :, 1] += rng.normal(0, 0.012 * s, 2)
    lift = np.maximum(0, w(0.3, 0.5)) * (rng.random() < 0.3 * s)
    out = np.radians(rng.normal(0, 7 * s, 2))
    for i in range(2):
        yaw = np.zeros((len(Rf), 3))
        yaw[:, 2] = out[i]
        Rf[:, i] = turned(yaw) @ Rf[:, i]
    # trail heel up: the foot turns about its toes
    tip = np.zeros((len(Rf), 3))
    tip[:, 0] = lift * 0.8
    Rf[:, 1] = Rf[:, 1] @ turned(tip)
    ankle[:, 1, 2] += 0.13 * np.sin(lift * 0.8)
    q["toe"] = q["toe"].copy()
    q["toe"][:, 1] -= lift * 0.8
    q["ankle"], q["Rf"] = ankle, Rf
    return q


def euler(bend, side, axial):
    """Forward bend (to the ball), side bend (to the target), turn about the own axis (+ away from the target), deg."""
    x, y, z = np.zeros((len(bend), 3)), np.zeros((len(bend), 3)), np.zeros((len(bend), 3))
    x[:, 0], y[:, 1], z[:, 2] = np.radians(bend), np.radians(side), np.radians(-axial)
    return turned(x) @ turned(y) @ turned(z)


def free(t, rng):
    """A motion of no script: trunk, pelvis, arms and feet move each in its own time."""
    w = Waves(rng, t)
    n = len(t)
    slow = rng.uniform(0.4, 1.0)
    wave = lambda a, b, k=1: w(a, b, k, fast=1.4 * slow)
    bend = np.clip(rng.normal(30, 12) + wave(0, 6), -5, 65)
    turn_t = np.clip(wave(20, 40) + rng.normal(15, 10), -110, 125)
    share = rng.uniform(0.0, 0.75)
    turn_p = np.clip(share * turn_t + wave(10, 17), -80, 70)
    side = wave(5, 9)
    q = {"Rt": euler(bend + wave(3, 4), side + wave(3, 5), turn_t), "Rp": euler(bend * rng.uniform(0.3, 0.95) + wave(2, 4), side * rng.uniform(-0.2, 0.8) + wave(2, 4), turn_p)}
    if rng.random() < 0.3:  # turned as a whole: badly aimed, or not a golf swing
        yaw = np.zeros((n, 3))
        yaw[:, 2] = np.radians(wave(15, 8))
        q["Rt"], q["Rp"] = turned(yaw) @ q["Rt"], turned(yaw) @ q["Rp"]
    up = euler(bend + wave(4, 4), side + wave(3, 4), np.zeros(n))[:, :, 2]
    q["dir"] = unit(up)
    look = rng.uniform(0, 1)
    q["Rh"] = euler(bend * rng.uniform(0.6, 1.2) + wave(6, 5), side * rng.uniform(-0.3, 1) + wave(5, 5), np.clip(look * turn_t, -70, 70) + wave(8, 10))
    height = rng.uniform(0.88, 0.985)
    q["P"] = np.stack([wave(0.01, 0.03), wave(0.01, 0.02) + 0.06, np.clip(height + wave(0, 0.015), 0.75, 0.99)], 1)
    az, el = np.radians(np.clip(wave(10, 30), -75, 75)), np.radians(np.clip(rng.normal(-50, 25) + wave(0, 40), -85, 70))
    reach = np.clip(rng.uniform(0.75, 1.0) + wave(0, 0.12), 0.35, 0.99)
    local = np.stack([np.sin(az) * np.cos(el), -np.cos(az) * np.cos(el), np.sin(el)], 1) * reach[:, None]
    q["W"] = np.einsum("fij,fj->fi", q["Rt"], local)
    apart = rng.uniform(0.0, 0.06) if rng.random() < 0.8 else rng.uniform(0.1, 0.45)
    q["D"] = unit(np.einsum("fij,fj->fi", q["Rt"], np.array([1.0, 0, 0]) + wave(0.1, 0.3, 3))) * apart
    down = np.einsum("fij,j->fi", q["Rt"], np.array([0.0, 0.35, -1.0]))
    sideways = np.einsum("fij,j->fi", q["Rt"], np.array([1.0, 0, 0]))
    q["epole"] = np.stack([unit(down + k * sideways * rng.uniform(0.1, 0.9) + 0.3 * wave(0.5, 0.5, 3)) for k in (1, -1)], 1)
    q["clav"] = 0.12 * np.stack([wave(0.7, 0.7, 3), wave(0.7, 0.7, 3)], 1)
    q["hd"] = np.stack([unit(q["W"] + 0.3 * wave(0.6, 0.8, 3)) for _ in SIDES], 1)
    grip = unit(q["W"] + wave(0.3, 0.6, 3))
    q["hg"] = np.stack([grip, grip], 1)
    half = rng.uniform(0.06, 0.17)
    q["ankle"] = np.zeros((n, 2, 3))
    q["ankle"][:, 0, 0], q["ankle"][:, 1, 0] = half, -half
    out = np.radians(rng.normal(12, 9, 2)) * [1, -1]
    z = np.zeros((n, 2, 3))
    z[:, :, 2] = out
    q["Rf"] = turned(z)
    forward = q["Rf"] @ np.array([0, -1.0, 0])
    q["kpole"] = unit(forward + 0.15 * np.stack([wave(0.7, 0.7, 3), wave(0.7, 0.7, 3)], 1) + 0.3 * (q["Rp"] @ np.array([0, -1.0, 0]))[:, None])
    q["toe"] = np.zeros((n, 2))
    return feet(q, w, rng, 1.0)


def on_body(q, body):
    """The motion in metres on one person; the pelvis comes down where a leg would be too short."""
    q = dict(q)
    a = body.at
    P = q["P"] * [body.stature, body.stature, a["pelvis"][2]]
    ankle = q["ankle"] * [body.stature, body.stature, 1]
    leg = np.linalg.norm(a["ll1.L"] - a["ul1.L"]) + np.linalg.norm(a["foot.L"] - a["ll1.L"])
    for i, s in enumerate(SIDES):
        ankle[:, i, 2] += body.p[f"ankle.{s}"][2]
    for _ in range(3):
        over = 0.0
        for i, s in enumerate(SIDES):
            hip = P + np.einsum("fij,j->fi", q["Rp"], a[f"ul1.{s}"] - a["pelvis"])
            d = hip - ankle[:, i]
            flat = (d[:, :2] ** 2).sum(1)
            over = np.maximum(over, d[:, 2] - np.sqrt(np.maximum((0.997 * leg) ** 2 - flat, 0.01)))
        P[:, 2] -= np.maximum(over, 0)
    q["P"], q["ankle"] = P, ankle
    return q


if __name__ == "__main__":
    library(*sys.argv[1:4])
