"""The BlazePose networks on a batch of pictures, in PyTorch: detector -> region -> landmarks -> region -> landmarks.

Same steps as ../convert_pose/reference.py (which see); check.py compares the two on one picture.
"""
import os

import numpy as np
import onnx
import torch
from onnx import numpy_helper

F = torch.nn.functional


class Net:
    """Runs the few operations these graphs use."""

    def __init__(self, path, dev):
        g = onnx.load(path).graph
        self.inp, self.outs = g.input[0].name, [o.name for o in g.output]
        self.const = {i.name: torch.from_numpy(numpy_helper.to_array(i).copy()).to(dev) for i in g.initializer}
        self.nodes = []
        for n in g.node:
            if n.op_type == "Cast" and n.input[0] in self.const:
                self.const[n.output[0]] = self.const[n.input[0]].float()
                continue
            self.nodes.append((n.op_type, list(n.input), list(n.output), {a.name: onnx.helper.get_attribute_value(a) for a in n.attribute}))
        self.ints = {k: v.tolist() for k, v in self.const.items() if v.dtype == torch.int64 or v.numel() <= 8}
        last = {n: k for k, (_, i, _, _) in enumerate(self.nodes) for n in i}
        self.free = [[n for n in set(i) if last[n] == k and n not in self.outs] for k, (_, i, _, _) in enumerate(self.nodes)]

    def __call__(self, x):
        v = {self.inp: x}
        get = lambda n: v[n] if n in v else self.const[n]
        for (op, i, o, a), done in zip(self.nodes, self.free):
            if op == "Conv":
                p = a.get("pads", [0, 0, 0, 0])
                y = get(i[0])
                if p[0] != p[2] or p[1] != p[3]:
                    y, p = F.pad(y, (p[1], p[3], p[0], p[2])), [0, 0]
                y = F.conv2d(y, get(i[1]), get(i[2]) if len(i) > 2 else None, a.get("strides", [1, 1]), p[:2], a.get("dilations", [1, 1]), a.get("group", 1))
            elif op == "Clip":
                low, high = (self.const[k].item() if k and k in self.const else None for k in (i[1:] + ["", ""])[:2])
                y = get(i[0]).clamp(low, high)
            elif op == "Add":
                y = get(i[0]) + get(i[1])
            elif op == "MaxPool":
                y = F.max_pool2d(get(i[0]), a["kernel_shape"], a["strides"])
            elif op == "Sigmoid":
                y = get(i[0]).sigmoid()
            elif op == "Concat":
                y = torch.cat([get(k) for k in i], a["axis"])
            elif op == "Transpose":
                y = get(i[0]).permute(a["perm"])
            elif op == "Reshape":
                s = list(self.ints[i[1]])
                y = get(i[0]).reshape(x.shape[0], *s[1:])
            elif op == "DepthToSpace":
                y = F.pixel_shuffle(get(i[0]), a["blocksize"]) if a.get("mode", b"DCR") == b"CRD" else dcr(get(i[0]), a["blocksize"])
            elif op == "Resize":
                s = self.const[i[2]] if i[2] else None
                size = [int(k) for k in self.const[i[3]][2:]] if s is None or s.numel() == 0 else [int(round(get(i[0]).shape[2 + k] * float(s[2 + k]))) for k in (0, 1)]
                y = F.interpolate(get(i[0]), size=size, mode="bilinear", align_corners=False)
            elif op == "Pad":
                p = [int(k) for k in self.const[i[1]].tolist()]
                n = len(p) // 2
                y = F.pad(get(i[0]), [p[k + n * e] for k in range(n - 1, -1, -1) for e in (0, 1)])
            else:
                raise ValueError(op)
            v[o[0]] = y
            for n in done:
                v.pop(n, None)
        return {k: v[k] for k in self.outs}


def dcr(x, b):
    n, c, h, w = x.shape
    return x.reshape(n, b, b, c // b**2, h, w).permute(0, 3, 4, 1, 5, 2).reshape(n, c // b**2, h * b, w * b)


def warp(img, roi, n, replicate):
    """img B,3,h,w; roi B,4 (cx, cy, side, rotation); B,3,n,n: crop pixel i reads place i/n, on pixel indices."""
    B, _, h, w = img.shape
    u = (torch.arange(n, device=img.device) / n - 0.5)[None] * roi[:, 2:3]
    c, s = roi[:, 3].cos()[:, None, None], roi[:, 3].sin()[:, None, None]
    X, Y = u[:, None, :], u[:, :, None]
    sx, sy = roi[:, 0, None, None] + c * X - s * Y, roi[:, 1, None, None] + s * X + c * Y
    x0, y0 = sx.floor(), sy.floor()
    fx, fy = (sx - x0)[:, None], (sy - y0)[:, None]
    flat = img.flatten(2)

    def at(x, y):
        k = (y.clamp(0, h - 1) * w + x.clamp(0, w - 1)).long().flatten(1)
        v = flat.gather(2, k[:, None].expand(-1, 3, -1)).view(B, 3, n, n)
        return v if replicate else v * ((x >= 0) & (x < w) & (y >= 0) & (y < h))[:, None]

    top = at(x0, y0) * (1 - fx) + at(x0 + 1, y0) * fx
    low = at(x0, y0 + 1) * (1 - fx) + at(x0 + 1, y0 + 1) * fx
    return top * (1 - fy) + low * fy


def roi_from(a, b):
    d = b - a
    r = np.pi / 2 - torch.atan2(-d[:, 1], d[:, 0])
    r = r - 2 * np.pi * torch.floor((r + np.pi) / (2 * np.pi))
    return torch.cat([a, 2 * d.norm(dim=1, keepdim=True) * 1.25, r[:, None]], 1)


def anchors():
    out = []
    for n, k in ((28, 2), (14, 2), (7, 6)):
        y, x = np.divmod(np.arange(n * n), n)
        out.append(np.repeat(np.stack([(x + 0.5) / n, (y + 0.5) / n], 1), k, 0))
    return np.concatenate(out)


class Pose:
    def __init__(self, folder, dev, names=("full",)):
        self.det = Net(os.path.join(folder, "pose_detection.onnx"), dev)
        self.lm = {n: Net(os.path.join(folder, f"pose_landmark_{n}.onnx"), dev) for n in names}
        self.anchor = torch.tensor(anchors(), dtype=torch.float32, device=dev)

    def detect(self, img):
        """Best person of every picture: B,2,2 points (middle of the hips, size), and its score."""
        B, _, h, w = img.shape
        L = max(h, w)
        roi = torch.tensor([[w / 2, h / 2, L, 0.0]], device=img.device).expand(B, 4)
        o = self.det(warp(img, roi, 224, False) / 127.5 - 1)
        p, b = o["scores"][:, :, 0].clamp(-80, 80).sigmoid(), o["boxes"] / 224
        c, wh = b[..., :2] + self.anchor, b[..., 2:4]
        kp = b[..., 4:12].unflatten(-1, (4, 2)) + self.anchor[:, None]
        box = torch.cat([c - wh / 2, c + wh / 2], -1)
        best, k = p.max(1)
        a = box[torch.arange(B, device=img.device), k][:, None]
        iw = (torch.minimum(a[..., 2], box[..., 2]) - torch.maximum(a[..., 0], box[..., 0])).clamp_min(0)
        ih = (torch.minimum(a[..., 3], box[..., 3]) - torch.maximum(a[..., 1], box[..., 1])).clamp_min(0)
        area = lambda q: (q[..., 2] - q[..., 0]) * (q[..., 3] - q[..., 1])
        iou = iw * ih / (area(a) + area(box) - iw * ih).clamp_min(1e-9)
        m = p * ((iou > 0.3) & (p >= 0.5))
        m.scatter_(1, k[:, None], best[:, None])
        pt = (kp * m[..., None, None]).sum(1) / m.sum(1)[:, None, None]
        return pt[:, :2] * L + torch.tensor([(w - L) / 2, (h - L) / 2], device=img.device), best

    def landmarks(self, name, img, roi):
        B = len(img)
        o = self.lm[name](warp(img, roi, 256, True) / 255)
        l = o["landmarks"].reshape(B, 39, 5).clone()
        l[..., :3] /= 256
        l[..., 3:] = l[..., 3:].clamp(-80, 80).sigmoid()
        l[..., :2] = refined(l[..., :2], o["heatmap"])
        q = l[..., :2] - 0.5
        c, s = roi[:, 3].cos()[:, None], roi[:, 3].sin()[:, None]
        side = roi[:, 2:3]
        xy = torch.stack([roi[:, 0:1] + side * (c * q[..., 0] - s * q[..., 1]), roi[:, 1:2] + side * (s * q[..., 0] + c * q[..., 1])], -1)
        wl = o["world"].reshape(B, 39, 3)
        world = torch.stack([wl[..., 0] * c - wl[..., 1] * s, wl[..., 0] * s + wl[..., 1] * c, wl[..., 2]], -1)
        return o["flag"].reshape(B), xy, l[..., 2] * side, l[..., 3:], world

    @torch.no_grad()
    def read(self, img, names=("full",)):
        """img B,h,w,3 uint8 -> per network xy z vp world roi flag and one mask of good rows."""
        img = img.permute(0, 3, 1, 2).float()
        pt, score = self.detect(img)
        ok = score >= 0.5
        first = roi_from(pt[:, 0], pt[:, 1])
        out = {}
        for n in names:
            flag, xy, *_ = self.landmarks(n, img, first)
            good = flag >= 0.5
            roi = roi_from(xy[:, 33], xy[:, 34])
            roi = torch.where(torch.isfinite(roi).all(1, keepdim=True), roi, first)
            flag, xy, z, vp, world = self.landmarks(n, img, roi)
            ok = ok & good & (flag >= 0.5)
            out[n] = dict(xy=xy, z=z, vp=vp, world=world, roi=roi, flag=flag)
        return out, ok


def refined(xy, heat):
    """Weighted mean over the 7 x 7 cells round each point, where the map is sure."""
    B, K = xy.shape[:2]
    g = heat.clamp(-80, 80).sigmoid()
    g = F.pad(g, (3, 3, 3, 3))
    ij = (xy * 64).long()
    inside = ((xy >= 0) & (ij >= 0) & (ij < 64)).all(-1)
    ij = ij.clamp(0, 63)
    o = torch.arange(7, device=xy.device)
    rows, cols = ij[..., 1, None] + o, ij[..., 0, None] + o
    flat = (rows[..., :, None] * 70 + cols[..., None, :]).flatten(2)
    win = g.flatten(2).gather(2, flat).view(B, K, 7, 7)
    total = win.sum((2, 3)).clamp_min(1e-9)
    x = (win.sum(2) * (cols - 3)).sum(-1) / total / 64
    y = (win.sum(3) * (rows - 3)).sum(-1) / total / 64
    use = inside & (win.amax((2, 3)) >= 0.5)
    return torch.where(use[..., None], torch.stack([x, y], -1), xy)
