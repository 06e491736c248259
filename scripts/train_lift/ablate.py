"""What the network does without parts of its input, on bodies it never saw: no retraining, the input is damaged.

    python ablate.py --data ../shared/lifting --ckpt lift.pt

Rows: smaller sets of frames (the clip's camera and the other frames help), no 3-D landmarks of the pose network,
joints hidden (visibility 0, put at the region's centre), the other network.
"""
import argparse

import numpy as np
import torch

import augment
import data
import evaluate as E
import measures as Q
import model as M
from train import HELD

COLUMNS = {0: ("lower_hub_target", "upper_hub_target", "spine_tilt", "pelvis_turn", "thorax_turn", "lead_arm"), 1: ("lower_hub_ball", "upper_hub_ball", "forward_bend", "pelvis_turn", "thorax_turn")}
HIDE = {"wrists hidden": (15, 16, 17, 18, 19, 20, 21, 22), "hips hidden": (23, 24), "lead shoulder hidden": (11,), "feet hidden": (27, 28, 29, 30, 31, 32), "face hidden": tuple(range(11))}


def swing(net, rows, s, network, size, change):
    """Like evaluate.predict, in sets of `size` frames drawn evenly over the clip."""
    idx = torch.arange(int(rows.first[s]), int(rows.first[s + 1]))
    groups = -(-len(idx) // size)
    bt = augment.assemble(rows, idx[None], torch.ones(1, len(idx)), torch.tensor([network]))
    change(bt.x[..., :312].view(1, len(idx), 39, 8))
    y, clip = np.zeros((len(idx), M.FRAME)), []
    for g in range(groups):
        part = torch.arange(g, len(idx), groups)
        with torch.no_grad():
            o = net(bt.x[:, part], bt.mask[:, part])
        y[part.numpy()] = o[0][0].numpy()
        clip.append(o[2][0].numpy())
    return dict(y=y, truth=M.pack(bt)[0].numpy(), clip=np.mean(clip, 0), clip_truth=bt.clip[0].numpy(), roi=rows.roi[network, idx].numpy().astype(float),
                phase=rows.phase[idx].numpy(), stature=float(rows.stature[s]), view=int(rows.view[s]))


def hide(joints):
    def change(land):
        land[..., list(joints), :3] = 0
        land[..., list(joints), 3:5] = 0
        land[..., list(joints), 5:] = 0
    return change


def no_world(land):
    land[..., 5:] = 0


def line(title, res):
    out = []
    for view in (0, 1):
        err = {k: [] for k in COLUMNS[view]}
        for r in res:
            if r["view"] == view and (r["phase"] == 0).sum() >= 2:
                got, want = E.both(r)
                at = np.isin(r["phase"], list(E.EVENTS.values()))
                for k in err:
                    e = got[k] - want[k]
                    err[k] += np.abs(Q.wrap(e) if "turn" in k else e)[at].tolist()
        out += [f"{np.median(v):.2f}/{np.quantile(v, 0.9):.1f}" for v in err.values()]
    print(f"| {title} | " + " | ".join(out) + " |", flush=True)


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--every", type=int, default=3)
    args = a.parse_args()
    torch.set_num_threads(1)
    rows = data.read(args.data, ["seq_train_0", "seq_val", "seq_wide_0", "seq_wide_1", "seq_wide_val"])
    net = E.load_net(args.ckpt)
    pool = data.swings(rows, lambda b, k: b in HELD)
    print("| input | " + " | ".join(COLUMNS[0] + COLUMNS[1]) + " |")
    keep = lambda land: None
    runs = [("all (full)", 0, 64, keep), ("heavy network", 1, 64, keep), ("sets of 16 frames", 0, 16, keep), ("sets of 4", 0, 4, keep), ("single frames", 0, 1, keep), ("no 3-D landmarks", 0, 64, no_world)]
    runs += [(n, 0, 64, hide(j)) for n, j in HIDE.items()]
    for title, network, size, change in runs:
        line(title, [swing(net, rows, s, network, size, change) for s in pool[:: args.every]])


if __name__ == "__main__":
    main()
