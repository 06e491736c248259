"""The landmark network of the pose package, taught what the landmarks leave out: the golfer's joint centres, hubs and axes.

In: the square that the landmark network reads, B,3,256,256, 0..1, right-handers (left-handers mirrored). Out: VALUES numbers
and their log sd, in the square's own frame (turned by the region's rotation, along the ray through its centre): 19 points
(u v in region sides, depth behind the lower hub in statures), log of one stature over the side, four vectors, up, target.
"""
import os
import sys

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "..", "render_bodies"))
sys.path.insert(0, os.path.join(HERE, "..", "train_lift"))
import pose  # noqa: E402
from augment import turned  # noqa: E402

VALUES = 19 * 3 + 1 + 12 + 6
SD_FLOOR = 0.02


class Body(nn.Module):
    """The graph up to the map that every output is read off (288 x 2 x 2), its weights free to learn."""

    def __init__(self, path):
        super().__init__()
        net = pose.Net(path, "cpu")
        made = {o[0]: i for _, i, o, _ in net.nodes}
        self.last = made[made["landmarks"][0]][0]
        need, todo = set(), [self.last]
        while todo:
            n = todo.pop()
            if n in made and n not in need:
                need.add(n)
                todo += made[n]
        self.nodes = [k for k in net.nodes if k[2][0] in need]
        self.inp = net.inp
        used = {n for _, i, _, _ in self.nodes for n in i}
        self.ints = net.ints
        self.weight = nn.ParameterDict({n: nn.Parameter(v) for n, v in net.const.items() if n in used and v.dtype == torch.float32 and v.numel() > 8})
        self.const = {n: v for n, v in net.const.items() if n in used and n not in self.weight}
        last = {n: k for k, (_, i, _, _) in enumerate(self.nodes) for n in i}
        self.free = [[n for n in set(i) if last[n] == k] for k, (_, i, _, _) in enumerate(self.nodes)]

    def forward(self, x):
        v = {self.inp: x}
        get = lambda n: v[n] if n in v else self.weight[n] if n in self.weight else self.const[n].to(x.device)
        for (op, i, o, a), done in zip(self.nodes, self.free):
            v[o[0]] = self.apply_op(op, i, a, get, x)
            for n in done:
                v.pop(n, None)
        return v[self.last]

    def apply_op(self, op, i, a, get, x):
        F = nn.functional
        if op == "Conv":
            p, y = a.get("pads", [0, 0, 0, 0]), get(i[0])
            if p[0] != p[2] or p[1] != p[3]:
                y, p = F.pad(y, (p[1], p[3], p[0], p[2])), [0, 0]
            return F.conv2d(y, get(i[1]), get(i[2]) if len(i) > 2 else None, a.get("strides", [1, 1]), p[:2], a.get("dilations", [1, 1]), a.get("group", 1))
        if op == "Clip":
            low, high = (float(self.const[k]) if k and k in self.const else None for k in (i[1:] + ["", ""])[:2])
            return get(i[0]).clamp(low, high)
        if op == "Add":
            return get(i[0]) + get(i[1])
        if op == "MaxPool":
            return F.max_pool2d(get(i[0]), a["kernel_shape"], a["strides"])
        if op == "Sigmoid":
            return get(i[0]).sigmoid()
        if op == "Concat":
            return torch.cat([get(k) for k in i], a["axis"])
        if op == "DepthToSpace":
            return F.pixel_shuffle(get(i[0]), a["blocksize"]) if a.get("mode", b"DCR") == b"CRD" else pose.dcr(get(i[0]), a["blocksize"])
        if op == "Resize":
            s = self.const[i[2]] if i[2] else None
            size = [int(k) for k in self.const[i[3]][2:]] if s is None or s.numel() == 0 else [int(round(get(i[0]).shape[2 + k] * float(s[2 + k]))) for k in (0, 1)]
            return F.interpolate(get(i[0]), size=size, mode="bilinear", align_corners=False)
        if op == "Pad":
            p = [int(k) for k in self.const[i[1]].tolist()]
            n = len(p) // 2
            return F.pad(get(i[0]), [p[k + n * e] for k in range(n - 1, -1, -1) for e in (0, 1)])
        raise ValueError(op)


class Golfer(nn.Module):
    def __init__(self, path, stats=None):
        super().__init__()
        self.body = Body(path)
        self.wide = nn.Linear(1152, 512)
        self.head = nn.Linear(512, 2 * VALUES)
        self.skip = nn.Linear(1152, VALUES)
        self.register_buffer("mean", torch.zeros(VALUES) if stats is None else stats[0])
        self.register_buffer("sd", torch.ones(VALUES) if stats is None else stats[1])

    def raw(self, x):
        f = self.body(x).flatten(1).float()
        h = self.head(torch.relu(self.wide(f)))
        return h[:, :VALUES] + self.skip(f), h[:, VALUES:]

    def forward(self, x):
        y, s = self.raw(x)
        return y * self.sd + self.mean, (torch.exp(s.clamp(-6, 4)) + SD_FLOOR) * self.sd


def square(crop, left):
    """Squares B,256,256,3 of 8 bits as the network reads them, 0..1; left-handers B mirrored about the region's centre (pixel i stands at
    i/256 - 1/2)."""
    x = crop.permute(0, 3, 1, 2).float() / 255
    m = x.flip(3).roll(1, 3)
    m[..., 0] = m[..., 1]
    return torch.where(left[:, None, None, None], m, x)


def ray_axes(roi, focal):
    """Rotation from camera axes to axes whose z goes through the region's centre, B,3,3 (the smallest such turn)."""
    d = torch.nn.functional.normalize(torch.cat([roi[:, :2], focal[:, None]], 1), dim=1)
    x, y, z = d.unbind(1)
    k = 1 / (1 + z)
    rows = [torch.stack(r, 1) for r in ((1 - k * x * x, -k * x * y, -x), (-k * x * y, 1 - k * y * y, -y), (x, y, z))]
    return torch.stack(rows, 1)


def targets(truth, roi, focal, pose_):
    """truth B,19,3 camera axes in statures; roi B,4 (long sides from the picture's centre, rotation); focal B; pose B,2,3."""
    pixel = truth[..., :2] / truth[..., 2:] * focal[:, None, None]
    back = -roi[:, 3]
    uv = turned((pixel - roi[:, None, :2]) / roi[:, None, 2:3], back[:, None])
    q = ray_axes(roi, focal)
    p = torch.einsum("bij,bnj->bni", q, truth)
    depth = p[..., 2:] - p[:, :1, 2:]
    ratio = torch.log(focal / (p[:, 0, 2] * roi[:, 2]))[:, None]
    d = lambda i, j: p[:, i] - p[:, j]
    v = torch.cat([torch.stack([d(1, 0), d(3, 4), d(9, 10), d(7, 3)], 1), torch.einsum("bij,bkj->bki", q, pose_)], 1)
    v = torch.cat([turned(v[..., :2], back[:, None]), v[..., 2:]], -1)
    return torch.cat([torch.cat([uv, depth], -1).flatten(1), ratio, v.flatten(1)], 1)
