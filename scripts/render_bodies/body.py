"""A rendered person: rest mesh, random change of shape, joints, and the pose by linear blend skinning.

In: ../shared/bodies/body_X.npz. Out: vertices (m) and the truth points of ../shared/lifting/README.md, by the same
definitions (checked by check.py): joint centres are rigid on their segment, thorax_centre is the middle of the skin
points over breastbone and spine, head the middle of the head's base and crown. Frame: a golfer at rest faces -y, left
is +x, up +z, metres.
"""
import os

import numpy as np

SIDES = ("L", "R")
# segment: (joint it turns about, parent)
TREE = {"pelvis": (None, None), "sp5": ("spine05", "pelvis"), "sp4": ("spine04", "sp5"), "sp3": ("spine03", "sp4"), "thorax": ("spine02", "sp3"),
        "neck1": ("neck01", "thorax"), "neck2": ("neck02", "neck1"), "neck3": ("neck03", "neck2"), "head": ("head", "neck3")}
for s in SIDES:
    chain = [("clav", "clavicle"), ("ua1", "upperarm01"), ("ua2", "upperarm02"), ("la1", "lowerarm01"), ("la2", "lowerarm02"), ("hand", "wrist")]
    up = "thorax"
    for seg, bone in chain:
        TREE[f"{seg}.{s}"] = (f"{bone}.{s}", up)
        up = f"{seg}.{s}"
    for k in range(1, 6):
        up = f"hand.{s}"
        for j in range(1, 4):
            TREE[f"f{k}{j}.{s}"] = (f"finger{k}-{j}.{s}", up)
            up = f"f{k}{j}.{s}"
    up = "pelvis"
    for seg, bone in [("ul1", "upperleg01"), ("ul2", "upperleg02"), ("ll1", "lowerleg01"), ("ll2", "lowerleg02"), ("foot", "foot"), ("toe", None)]:
        TREE[f"{seg}.{s}"] = (f"{bone}.{s}" if bone else None, up)
        up = f"{seg}.{s}"
# truth point: (key of the body file, segment that carries it)
CARRIED = {"sternum": ("sternum_skin", "thorax"), "back": ("back_skin", "thorax"), "crown": ("crown", "head"), "nose": ("nose", "head"), "head_base": ("head____head", "head"),
           "neck": ("neck01____head", "thorax")}
for s in SIDES:
    CARRIED.update({f"shoulder.{s}": (f"upperarm01.{s}____head", f"clav.{s}"), f"elbow.{s}": (f"lowerarm01.{s}____head", f"ua2.{s}"), f"wrist.{s}": (f"wrist.{s}____head", f"la2.{s}"),
                    f"hip.{s}": (f"upperleg01.{s}____head", "pelvis"), f"knee.{s}": (f"lowerleg01.{s}____head", f"ul2.{s}"), f"ankle.{s}": (f"foot.{s}____head", f"ll2.{s}"),
                    f"heel.{s}": (f"heel.{s}", f"foot.{s}"), f"toe.{s}": (f"toetip.{s}", f"toe.{s}"), f"knuckle.{s}": (f"finger3-1.{s}____head", f"hand.{s}"),
                    f"index.{s}": (f"finger2-1.{s}____head", f"hand.{s}"), f"little.{s}": (f"finger5-1.{s}____head", f"hand.{s}"), f"eye.{s}": (f"eye.{s}____head", "head")})
WRITTEN = ["ankle.L", "ankle.R", "crown", "elbow.L", "elbow.R", "head", "heel.L", "heel.R", "hip.L", "hip.R", "knee.L", "knee.R", "neck", "nose", "pelvis_centre",
           "shoulder.L", "shoulder.R", "sternum", "thorax_centre", "toe.L", "toe.R", "wrist.L", "wrist.R"]


def unit(a):
    return a / np.maximum(np.linalg.norm(a, axis=-1, keepdims=True), 1e-9)


def frame(d, p):
    """Columns: d, p made square to it, their cross product."""
    x = unit(d)
    y = unit(p - (p * x).sum(-1, keepdims=True) * x)
    return np.stack([x, y, np.cross(x, y)], -1)


def square(a, b):
    """Rotation from two noisy columns."""
    return frame(a, b)


def turned(vec):
    """Rotation matrices of rotation vectors."""
    ang = np.linalg.norm(vec, axis=-1)[..., None, None]
    k = vec / np.maximum(np.linalg.norm(vec, axis=-1, keepdims=True), 1e-12)
    z = np.zeros_like(k[..., 0])
    K = np.stack([np.stack([z, -k[..., 2], k[..., 1]], -1), np.stack([k[..., 2], z, -k[..., 0]], -1), np.stack([-k[..., 1], k[..., 0], z], -1)], -2)
    return np.eye(3) + np.sin(ang) * K + (1 - np.cos(ang)) * (K @ K)


def vector(R):
    """Rotation vectors of matrices (angles under 180 degrees)."""
    c = np.clip((np.trace(R, axis1=-2, axis2=-1) - 1) / 2, -1, 1)
    ang = np.arccos(c)[..., None]
    a = np.stack([R[..., 2, 1] - R[..., 1, 2], R[..., 0, 2] - R[..., 2, 0], R[..., 1, 0] - R[..., 0, 1]], -1)
    return a * ang / np.maximum(2 * np.sin(ang), 1e-6)


def between(a, b, f):
    """Rotation a, a fraction f of the way to b."""
    return a @ turned(vector(np.swapaxes(a, -1, -2) @ b) * f)


def arc(a, b):
    """Smallest rotation that takes direction a to b."""
    a, b = np.broadcast_arrays(unit(a), unit(b))
    v, c = np.cross(a, b), (a * b).sum(-1)
    s = np.linalg.norm(v, axis=-1)
    return turned(unit(v) * np.arctan2(s, c)[..., None])


class Body:
    """Rest mesh: v vertices, f faces, w weights, m material, c colour; at joint places; p truth points."""

    def __init__(self, folder, name):
        d = np.load(os.path.join(folder, f"body_{name}.npz"), allow_pickle=True)
        self.name, self.stature = name, float(d["stature"])
        self.v, self.f, self.c, self.m = d["v"].astype(float), d["f"].astype(np.int32), d["c"].astype(float), d["m"].astype(int)
        self.w = d["w"].astype(np.float32)
        self.w /= self.w.sum(1, keepdims=True)
        self.seg = [str(s) for s in d["seg"]]
        self.cap = d["cap"].astype(float)
        self.joints({str(n): np.array(p, float) for n, p in zip(d["jn"], d["jp"])})

    def joints(self, J):
        """Places of the rest mesh's joints and truth points, from the bones' ends."""
        self.at = {}
        for s, (bone, _) in TREE.items():
            if s == "pelvis":
                self.at[s] = (J["upperleg01.L____head"] + J["upperleg01.R____head"]) / 2
            elif s.startswith("toe."):
                self.at[s] = np.mean([J[f"toe{k}-1.{s[-1]}____head"] for k in range(1, 6)], 0)
            else:
                self.at[s] = J[f"{bone}____head"]
        self.p = {n: J[k].copy() for n, (k, _) in CARRIED.items()}

    def scaled(self, factor):
        """The lifting files' own change: x, y, z factors."""
        f = np.asarray(factor, float)
        self.v, self.stature = self.v * f, self.stature * float(f[2])
        self.at, self.p = {k: a * f for k, a in self.at.items()}, {k: a * f for k, a in self.p.items()}
        return self

    def shaped(self, rng, size=1.0, apart=0.0):
        """Another person: lengths, breadths and girths changed segment by segment (sd in per cent), belly, stature; and, as
        much as `apart` says, how parts lie to each other (0: as in the body that it is made from)."""
        own = rng.spawn(1)[0]  # leaves what rng draws next as it was
        rest = lambda sd: float(np.clip(own.normal(), -2.2, 2.2) * sd * size * apart)
        n = lambda sd: float(np.exp(np.clip(rng.normal(), -2.2, 2.2) * sd * size))
        leg, trunk, arm, shin, fore = n(0.04), n(0.04), n(0.045), n(0.02), n(0.02)
        wide, deep, hips, shoulders, girth = n(0.06), n(0.08), n(0.06), n(0.055), n(0.08)
        neck, head, foot = n(0.1), n(0.035), n(0.04)
        I = np.eye(3)
        along = lambda d, l, g: g * I + (l - g) * np.outer(d, d) / (d @ d)
        S = {"pelvis": np.diag([hips, deep, trunk]), "thorax": np.diag([wide, deep, trunk]), "head": I * head}
        for i, s in enumerate(("sp5", "sp4", "sp3")):
            S[s] = np.diag([hips + (wide - hips) * (i + 1) / 4, deep, trunk])
        for s in ("neck1", "neck2", "neck3"):
            S[s] = np.diag([girth, girth, neck])
        for s in SIDES:
            a = self.at
            S[f"clav.{s}"] = np.diag([shoulders, deep, trunk])
            for p, q, segs, l in (("ua1", "la1", ("ua1", "ua2"), arm / fore), ("la1", "hand", ("la1", "la2"), arm * fore), ("ul1", "ll1", ("ul1", "ul2"), leg / shin), ("ll1", "foot", ("ll1", "ll2"), leg * shin)):
                for g in segs:
                    S[f"{g}.{s}"] = along(a[f"{q}.{s}"] - a[f"{p}.{s}"], l, girth if p[0] == "u" else (1 + girth) / 2)
            for g in TREE:
                if g.endswith("." + s) and g not in S:
                    S[g] = I * foot
        # The 16 bodies differ by 6 thousandths of the stature in how far the shoulders lie before the upper hub, by 10 in the neck:
        # a round or straight upper back, shoulders rolled forward or high, a chest deeper than the belly, hips under the skin
        S["thorax"][1] *= np.exp(rest(0.05))
        S["thorax"][1, 2] = rest(0.06)
        forward, high = rest(0.055), rest(0.025)
        for s, side in zip(SIDES, (1, -1)):
            S[f"clav.{s}"][1:, 0] = side * forward, side * high
        hull = np.array([0, rest(0.0025), rest(0.0025)]) * self.stature
        new = {"pelvis": self.at["pelvis"].copy()}
        for s, (_, up) in TREE.items():
            if up:
                new[s] = new[up] + S[up] @ (self.at[s] - self.at[up]) + (hull if s == "sp5" else 0)
        carried = {n: (new[s] + S[s] @ (self.p[n] - self.at[s])) for n, (_, s) in CARRIED.items()}
        v = np.zeros_like(self.v)
        for i, s in enumerate(self.seg):
            v += self.w[:, i : i + 1] * (new[s] + (self.v - self.at[s]) @ S[s].T + (hull if s == "pelvis" else 0))
        navel = (new["sp4"] + new["sp3"]) / 2
        belly = max(0.0, rng.normal(0, 0.035)) * size
        trunkish = self.w[:, [self.seg.index(s) for s in ("pelvis", "sp5", "sp4", "sp3", "thorax")]].sum(1)
        d = (v - navel) / [0.16, 1, 0.13]
        front = np.clip((navel[1] - v[:, 1]) / 0.12, -0.3, 1)
        v[:, 1] -= belly * trunkish * front * np.exp(-0.5 * (d[:, 0] ** 2 + d[:, 2] ** 2))
        for point, sd in (("sternum", 0.006), ("back", 0.005)):  # breast and shoulder blades, full or flat
            middle, full = carried[point].copy(), rest(sd)
            swell = lambda q: full * np.exp(-0.5 * (((q - middle) / [0.11, 0.09, 0.1]) ** 2).sum(-1))
            v[:, 1] += swell(v) * trunkish
            carried[point][1] += full
        low = v[:, 2].min()
        tall = np.clip(rng.normal(1, 0.045), 0.9, 1.1)
        f = np.array([tall * n(0.015), tall * n(0.015), tall])
        move = lambda q: (q - [0, 0, low]) * f
        self.stature *= float(move(carried["crown"])[2] / self.p["crown"][2])
        self.v, self.at, self.p = move(v), {k: move(q) for k, q in new.items()}, {k: move(q) for k, q in carried.items()}
        return self

    def lengths(self):
        a, n = self.at, np.linalg.norm
        return n(a["la1.L"] - a["ua1.L"]) + n(a["hand.L"] - a["la1.L"])


def limb(a0, b0, c0, p0, a, c, e):
    """Two bones: rest joints a0 b0 c0 and rest pole p0; posed ends a, c and pole e. Returns c reached, b, rotations."""
    u, l = np.linalg.norm(b0 - a0), np.linalg.norm(c0 - b0)
    d = c - a
    r = np.clip(np.linalg.norm(d, axis=-1, keepdims=True), abs(u - l) * 1.05 + 0.02, (u + l) * 0.9985)
    d = unit(d)
    e = unit(e - (e * d).sum(-1, keepdims=True) * d)
    x = (r * r + u * u - l * l) / (2 * r)
    b = a + d * x + e * np.sqrt(np.maximum(u * u - x * x, 0))
    c = a + d * r
    up = frame(b - a, e) @ frame(b0 - a0, p0).T
    low = frame(c - b, e) @ frame(c0 - b0, p0).T
    return c, b, up, low


def curl(body, s, hand_R, amount):
    """Rotations of the finger segments: bent about the line across the palm."""
    p = body.p
    across = unit(p[f"index.{s}"] - p[f"little.{s}"])
    # fingers bend towards the palm: the rest hand's own bend says which way
    a = body.at
    bend = np.cross(a[f"f32.{s}"] - a[f"f31.{s}"], a[f"f33.{s}"] - a[f"f32.{s}"])
    sign = 1.0 if bend @ across > 0 else -1.0
    out = {}
    for k in range(1, 6):
        for j in range(1, 4):
            ang = np.radians(amount) * (0.35 * j if k == 1 else j) * sign
            out[f"f{k}{j}.{s}"] = hand_R @ turned(across * ang)
    return out


STRETCH = 0.985  # pelvis centre to thorax centre against the rest pose: measured in the lifting files, the same in all


def bend_spine(body, R, at, direction):
    """Turns the three lumbar segments together until the thorax stands where the trunk's direction puts it."""
    a = body.at
    centre = (body.p["sternum"] + body.p["back"]) / 2
    tall = STRETCH * np.linalg.norm(centre - a["pelvis"])
    goal = at["pelvis"] + tall * unit(direction) - np.einsum("fij,j->fi", R["thorax"], centre - a["thorax"])
    chain = ("sp5", "sp4", "sp3", "thorax")
    for _ in range(3):
        end = at["sp5"]
        for s, n in zip(chain, chain[1:]):
            at[n] = end = end + np.einsum("fij,j->fi", R[s], a[n] - a[s])
        A = arc(end - at["sp5"], goal - at["sp5"])
        for s in chain[:3]:
            R[s] = A @ R[s]
    end = at["sp5"]
    for s, n in zip(chain, chain[1:]):
        at[n] = end = end + np.einsum("fij,j->fi", R[s], a[n] - a[s])
    rest = goal - at["thorax"]
    for f, n in ((0.33, "sp4"), (0.67, "sp3"), (1.0, "thorax")):
        at[n] = at[n] + f * rest


def pose(body, q):
    """Segment rotations F,S,3,3, segment joints F,S,3 and truth points. q: dict of the motion (see motion.py)."""
    R, at = {}, {}
    a = body.at
    R["pelvis"], R["thorax"], R["head"] = q["Rp"], q["Rt"], q["Rh"]
    for s, f in (("sp5", 0.25), ("sp4", 0.5), ("sp3", 0.75)):
        R[s] = between(R["pelvis"], R["thorax"], f)
    for s, f in (("neck1", 0.25), ("neck2", 0.5), ("neck3", 0.75)):
        R[s] = between(R["thorax"], R["head"], f)
    at["pelvis"] = q["P"]

    def place(s):
        up = TREE[s][1]
        at[s] = at[up] + np.einsum("fij,j->fi", R[up], a[s] - a[up])

    place("sp5")
    bend_spine(body, R, at, q["dir"])
    for s in ("neck1", "neck2", "neck3", "head"):
        place(s)
    for i, s in enumerate(SIDES):
        place(f"clav.{s}")
        d0 = unit(a[f"ua1.{s}"] - a[f"clav.{s}"])
        R[f"clav.{s}"] = R["thorax"] @ arc(d0, d0 + q["clav"][:, i])
        place(f"ua1.{s}")
    mid = (at["ua1.L"] + at["ua1.R"]) / 2
    arm = body.lengths()
    for i, s in enumerate(SIDES):
        want = mid + arm * q["W"] + (q["D"] if s == "L" else -q["D"])
        S0, E0, W0 = (a[f"{n}.{s}"] for n in ("ua1", "la1", "hand"))
        p0 = E0 - (S0 + W0) / 2
        wrist, elbow, up, low = limb(S0, E0, W0, p0, at[f"ua1.{s}"], want, q["epole"][:, i])
        free = arc(np.einsum("fij,j->fi", R[f"clav.{s}"], E0 - S0), elbow - at[f"ua1.{s}"]) @ R[f"clav.{s}"]
        R[f"ua1.{s}"], R[f"ua2.{s}"], R[f"la1.{s}"] = between(free, up, 0.5), up, low
        p = body.p
        hand = frame(q["hd"][:, i], q["hg"][:, i]) @ frame(p[f"knuckle.{s}"] - W0, p[f"index.{s}"] - p[f"little.{s}"]).T
        # the forearm shares half of the hand's twist about its own axis
        axis = unit(wrist - elbow)
        twist = (vector(np.swapaxes(low, 1, 2) @ hand) * np.einsum("fji,fj->fi", low, axis)).sum(-1, keepdims=True)
        R[f"la2.{s}"] = turned(axis * twist * 0.5) @ low
        R[f"hand.{s}"] = hand
        at[f"la1.{s}"], at[f"hand.{s}"] = elbow, wrist
        at[f"ua2.{s}"] = at[f"ua1.{s}"] + np.einsum("fij,j->fi", R[f"ua2.{s}"], a[f"ua2.{s}"] - a[f"ua1.{s}"])
        at[f"la2.{s}"] = elbow + np.einsum("fij,j->fi", low, a[f"la2.{s}"] - a[f"la1.{s}"])
        R.update(curl(body, s, hand, q.get("curl", 55.0)))
        for k in range(1, 6):
            for j in range(1, 4):
                place(f"f{k}{j}.{s}")
        place(f"ul1.{s}")
        ankle = q["ankle"][:, i]
        H0, K0, A0 = (a[f"{n}.{s}"] for n in ("ul1", "ll1", "foot"))
        reached, knee, up, low = limb(H0, K0, A0, np.array([0, -1.0, 0]), at[f"ul1.{s}"], ankle, q["kpole"][:, i])
        R[f"ul1.{s}"], R[f"ul2.{s}"], R[f"ll1.{s}"], R[f"ll2.{s}"] = between(R["pelvis"], up, 0.75), up, low, low
        # what carries the joint is the full rotation
        at[f"ul2.{s}"] = at[f"ul1.{s}"] + np.einsum("fij,j->fi", up, a[f"ul2.{s}"] - a[f"ul1.{s}"])
        at[f"ll1.{s}"], at[f"foot.{s}"] = knee, reached
        at[f"ll2.{s}"] = knee + np.einsum("fij,j->fi", low, a[f"ll2.{s}"] - a[f"ll1.{s}"])
        R[f"foot.{s}"] = q["Rf"][:, i]
        place(f"toe.{s}")
        side = np.array([1.0, 0, 0])
        R[f"toe.{s}"] = R[f"foot.{s}"] @ turned(side * q["toe"][:, i, None])
    points = {}
    for n, (_, s) in CARRIED.items():
        points[n] = at[s] + np.einsum("fij,j->fi", R[s], body.p[n] - a[s])
    for s in SIDES:
        points[f"shoulder.{s}"], points[f"elbow.{s}"], points[f"wrist.{s}"] = at[f"ua1.{s}"], at[f"la1.{s}"], at[f"hand.{s}"]
        points[f"knee.{s}"], points[f"ankle.{s}"] = at[f"ll1.{s}"], at[f"foot.{s}"]
    points["pelvis_centre"] = at["pelvis"]
    points["thorax_centre"] = (points["sternum"] + points["back"]) / 2
    points["head"] = (points["head_base"] + points["crown"]) / 2
    M = np.stack([R[s] for s in body.seg], 1)
    T = np.stack([at[s] - np.einsum("fij,j->fi", R[s], a[s]) for s in body.seg], 1)
    return M, T, points
