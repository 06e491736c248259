"""Writes the rendered swings for the tests of src/events (fixtures/events/README.md).

    python tracks.py LIFTING_DIR OUT.json [SET ...] [--every N]

LIFTING_DIR holds load.py and the seq_*.npz files. Needs numpy.
"""
import argparse
import json
import sys

import numpy as np

WRIST = {"L": 15, "R": 16}  # landmark numbers of the pose network


def swing(d, s, name, ix):
    r = np.where(d["row"] == s)[0]
    lead = d["lead"][s]
    trail = "R" if lead == "L" else "L"
    world = d["pts"][r].astype(float)
    k, rot, centre = d["K"][s], d["R"][s], d["C"][s]
    cam = (world - centre) @ rot.T
    px = cam[..., :2] / cam[..., 2:] * k[0, 0] + k[:2, 2]
    stature = float(d["stature"][s])
    hub = cam[:, ix("pelvis_centre"), 2]
    depth = (cam[..., 2] - hub[:, None]) / stature
    arm = cam[:, ix("wrist." + lead)] - cam[:, ix("shoulder." + lead)]
    up = rot @ np.array([0, 0, 1.0])
    elevation = np.degrees(np.arcsin(arm @ up / np.linalg.norm(arm, axis=1)))
    # The network counts pixel centres from 0, the truth from the picture's corner.
    net = lambda side: d["xy_full"][r][:, WRIST[side]].astype(float) + 0.5
    digits = lambda a, n: np.round(np.asarray(a, float), n).tolist()
    return {
        "swing": f"{name}/{int(d['id'][s])}",
        "tempo": float(d["tempo"][s]),
        "view": int(d["view"][s]),
        "left": bool(d["left_handed"][s]),
        "up": digits(up, 4),
        "target": digits(rot @ np.array([1, 0, 0.0]), 4),
        "stature_px": digits((k[0, 0] * stature / hub).mean(), 1),
        "t": digits(d["t"][r], 4),
        "lead": digits(px[:, ix("wrist." + lead)], 1),
        "trail": digits(px[:, ix("wrist." + trail)], 1),
        "lead_z": digits(depth[:, ix("wrist." + lead)], 3),
        "trail_z": digits(depth[:, ix("wrist." + trail)], 3),
        "lead_net": digits(net(lead), 1),
        "trail_net": digits(net(trail), 1),
        "lower": digits(px[:, ix("pelvis_centre")], 1),
        "upper": digits(px[:, ix("thorax_centre")], 1),
        "head": digits(px[:, ix("head")], 1),
        "arm": digits(arm / stature, 3),
        "hips": digits((cam[:, ix("hip." + lead)] - cam[:, ix("hip." + trail)]) / stature, 3),
        "elev": digits(elevation, 2),
    }


def main():
    a = argparse.ArgumentParser()
    a.add_argument("lifting")
    a.add_argument("out")
    a.add_argument("sets", nargs="*", default=["seq_val", "seq_wide_val"])
    a.add_argument("--every", type=int, default=6)
    a = a.parse_args()
    sys.path.insert(0, a.lifting)
    from load import load

    swings = []
    for name in a.sets:
        d = load(f"{a.lifting}/{name}.npz", ("full",))
        ix = list(d["point_names"]).index
        for s in range(len(d["id"])):
            if (d["row"] == s).sum() >= 50:  # else frames are missing
                swings.append(swing(d, s, name, ix))
    with open(a.out, "w") as f:
        json.dump(swings[:: a.every], f, separators=(",", ":"))
        f.write("\n")


main()
