"""Reads the lifting files into plain tensors, mirrored to right-handed swings.

In: npz files of ../shared/lifting (see its README). Out: `Rows`, one entry per picture and network.
Frame: upright picture, centred on the picture's centre, in units of its long side; the half pixel
of the landmark convention is added here so that landmarks and truth share one frame. Truth: camera
axes (x right, y down, z away) in statures, seen from the camera. `L` is the lead side everywhere.
"""
import glob
import importlib.util
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import torch

POINTS = ["lower_hub", "upper_hub", "head"] + [
    f"{side}_{joint}"
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "toe")
    for side in ("lead", "trail")
]
SOURCE = ["pelvis_centre", "thorax_centre", "head"] + [
    f"{joint}.{side}"
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "toe")
    for side in ("L", "R")
]
TRAIN = ["train_0", "wide_0", "wide_1", "wide_2", "wild_0", "wild_1", "seq_train_0", "seq_wide_0", "seq_wide_1", "seq_wild"]
VAL = ["val", "wide_val", "wild_val", "seq_val", "seq_wide_val", "seq_wild_val"]
NETWORKS = ("full", "heavy")
HELD = ("m1", "f1", "m7")  # bodies kept out of training to measure what a new person costs
NOBODY = "p"  # people of ../render_bodies/people.py: each in one swing alone, so whoever a network has not learned from it has not seen
UNSEEN = (*HELD, NOBODY)  # of a FRESH folder
IMAGE = 76
# left/right partners of the 39 landmarks (0 nose, 1-6 eyes, 7-8 ears, 9-10 mouth, 11-32 pairs, 33-38 auxiliary)
MIRROR = [0, 4, 5, 6, 1, 2, 3, 8, 7, 10, 9]
MIRROR += [i + 1 if i % 2 == 1 else i - 1 for i in range(11, 33)] + list(range(33, 39))


@dataclass
class Rows:
    """Arrays over pictures (N), pictures x networks (2, N) and swings (S)."""

    land: torch.Tensor  # 2,N,39,8: x y (long sides from the picture's centre), z (sides), vis, pres, world xyz
    roi: torch.Tensor  # 2,N,4: x, y, side (long sides), rotation
    flag: torch.Tensor  # 2,N
    truth: torch.Tensor  # N,19,3 camera axes, statures
    row: torch.Tensor  # N swing of a picture
    t: torch.Tensor
    phase: torch.Tensor
    focal: torch.Tensor  # S, long sides
    aspect: torch.Tensor  # S,2: width, height over the long side
    pose: torch.Tensor  # S,2,3: up and target direction in camera axes
    stature: torch.Tensor  # S
    view: torch.Tensor  # S
    image: torch.Tensor  # N,76: what the golfer network says of the square (../train_golfer), in the square's frame
    two: torch.Tensor  # N: 1 where both landmark networks read the picture
    have: torch.Tensor  # N: 1 where it says anything, 0 where it was not asked or learned from that very picture
    kind: list = field(default_factory=list)  # S: file a swing came from
    body: list = field(default_factory=list)
    first: torch.Tensor = None  # S+1: first row of a swing
    long: list = field(default_factory=list)  # S: a whole clip

    def to(self, device):
        """The same on another device (names stay)."""
        return Rows(**{k: v.to(device) if torch.is_tensor(v) else v for k, v in vars(self).items()})


def reader(folder):
    """The loader that comes with the data."""
    spec = importlib.util.spec_from_file_location("lifting_load", os.path.join(folder, "load.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.load


def kinds_of(name, d):
    """A name for every swing: of its file; rendered people by motion, `seq` first for whole clips as in the lifting files."""
    if not name.startswith("extra"):
        return [name] * len(d["id"])
    frames = np.bincount(d["row"], minlength=len(d["id"]))
    return [("seq_" if n > 28 else "") + "extra" + ("" if m == 0 else "_wild") for n, m in zip(frames, d["motion"])]


def learned(ids, bodies):
    """Swings that the golfer network learned from (../train_golfer/learn.py): of these it says more than it will of new ones."""
    return np.array([i % 10 < 7 and b not in HELD for i, b in zip(ids, bodies)])


def rendered(folders):
    """Files made by ../render_bodies, of folders joined by commas."""
    return [p for folder in folders.split(",") if folder for p in sorted(glob.glob(os.path.join(folder, "extra_*.npz")))]


def seed_of(path):
    """The seed that a file of `rendered` was made with."""
    return os.path.basename(path).split("_")[1]


def said(path, d):
    """What the golfer network said of every row, and whether the corrector may learn from it. golfer_SEED.npy beside the file is what it
    says now; words in the file itself (make.py --golfer) are of one that had learned from none of these rows."""
    folder, name = os.path.split(path)
    now = os.path.join(folder, f"golfer_{seed_of(path)}.npy") if name.startswith("extra_") else ""
    if os.path.exists(now):
        words, have = np.load(now), ~learned(d["id"], d["body"])[d["row"]]
    elif "words" in d:
        words, have = d["words"], np.ones(len(d["row"]), bool)
    else:
        return np.zeros((len(d["row"]), IMAGE), np.float32), np.zeros(len(d["row"]), np.float32)
    return words.astype(np.float32) * have[:, None], have.astype(np.float32)


def read_file(load, path, networks=NETWORKS):
    """One file as a Rows, mirrored, rows sorted by swing. A file without `heavy` has `full` in its place."""
    name = os.path.basename(path)[:-4]
    with np.load(path) as z:
        there = [m for m in networks if "roi_" + m in z]
    d = load(path, tuple(there))
    image, have = said(path, d)
    order = np.argsort(d["row"], kind="stable")
    row = d["row"][order].astype(np.int64)
    size = d["size"][row].astype(np.float64)
    long = size.max(1)
    sign = np.where(d["left_handed"][row], -1.0, 1.0)
    left = d["left_handed"][row]
    names = [str(n) for n in d["point_names"]]
    pick = np.array([names.index(s) for s in SOURCE])
    swapped = d["swap"][pick]
    lands, rois, flags = [], [], []
    for m in (m if m in there else there[0] for m in networks):
        xy = (d["xy_" + m][order] + 0.5 - size[:, None] / 2) / long[:, None, None]
        roi = d["roi_" + m][order].astype(np.float64)
        r = np.stack([(roi[:, 0] + 0.5 - size[:, 0] / 2) / long * sign, (roi[:, 1] + 0.5 - size[:, 1] / 2) / long, roi[:, 2] / long, roi[:, 3] * sign], 1)
        world = d["world_" + m][order].astype(np.float64)
        xy[..., 0] *= sign[:, None]
        world[..., 0] *= sign[:, None]
        land = np.concatenate([xy, (d["z_" + m][order] / roi[:, 2:3])[..., None], d["vp_" + m][order], world], 2)
        land[left] = land[left][:, MIRROR]
        lands.append(land.astype(np.float32))
        rois.append(r.astype(np.float32))
        flags.append(d["flag_" + m][order].astype(np.float32))
    points = np.where(left[:, None, None], d["pts"][order][:, swapped], d["pts"][order][:, pick]).astype(np.float64)
    cam = np.einsum("nij,npj->npi", d["R"][row], points - d["C"][row][:, None]) / d["stature"][row][:, None, None]
    cam[..., 0] *= sign[:, None]
    pose = np.stack([d["R"][:, :, 2], d["R"][:, :, 0]], 1)
    pose[..., 0] *= np.where(d["left_handed"], -1.0, 1.0)[:, None]
    swing_long = d["size"].max(1)
    f32 = lambda a: torch.from_numpy(np.ascontiguousarray(a, dtype=np.float32))
    return Rows(
        land=torch.from_numpy(np.stack(lands)), roi=torch.from_numpy(np.stack(rois)), flag=torch.from_numpy(np.stack(flags)),
        truth=f32(cam), row=torch.from_numpy(row), t=f32(d["t"][order]), phase=torch.from_numpy(d["phase"][order].astype(np.int64)),
        focal=f32(d["K"][:, 0, 0] / swing_long), aspect=f32(d["size"] / swing_long[:, None]), pose=f32(pose),
        stature=f32(d["stature"]), view=torch.from_numpy(d["view"].astype(np.int64)), image=f32(image[order]), two=torch.full((len(row),), float(len(there) == len(networks))), have=f32(have[order]),
        kind=kinds_of(name, d), body=[str(b) for b in d["body"]],
    )


def read(folder, names, more=()):
    """Several files joined; `more` are paths of files made by ../render_bodies."""
    load = reader(folder)
    with ThreadPoolExecutor(4) as pool:
        parts = list(pool.map(lambda path: read_file(load, path), [os.path.join(folder, n + ".npz") for n in names] + list(more)))
    base = 0
    for p in parts:
        p.row = p.row + base
        base += len(p.body)
    cat = lambda key, dim=0: torch.cat([getattr(p, key) for p in parts], dim)
    out = Rows(*[cat(k, 1) for k in ("land", "roi", "flag")], *[cat(k) for k in ("truth", "row", "t", "phase", "focal", "aspect", "pose", "stature", "view", "image", "two", "have")],
               kind=sum((p.kind for p in parts), []), body=sum((p.body for p in parts), []))
    out.first = torch.searchsorted(out.row, torch.arange(base + 1))
    out.long = ((out.first[1:] - out.first[:-1]) > 28).tolist()  # whole clips: scattered files have 24 rows a swing
    return out


def swings(rows, keep):
    """Swings for which keep(body, kind) holds and which have frames enough to be a set."""
    n = rows.first[1:] - rows.first[:-1]
    return [s for s in range(len(rows.body)) if n[s] >= 8 and keep(rows.body[s], rows.kind[s])]
