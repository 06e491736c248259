"""Reference numbers for the tests of src/keypoints: numpy and ONNX Runtime on committed pictures.

    python reference.py MODELS FIXTURES    # reads FIXTURES/*.png, writes FIXTURES/reference.json

Written after the MediaPipe graphs (google-ai-edge/mediapipe at 85c0cdc7), independently of the
Rust code; the same processing was compared with the mediapipe 0.10.14 wheel's own pipeline on 25
photographs (median difference 0.17 % of the body's height).
"""
import json
import math
import pathlib
import sys

import numpy as np
import onnxruntime as ort
from PIL import Image


def anchors():
    """2254 centres: 28x28x2, 14x14x2, 7x7x6 (rows outer); the anchor size is 1."""
    out = []
    for n, copies in ((28, 2), (14, 2), (7, 6)):
        y, x = np.divmod(np.arange(n * n), n)
        out.append(np.repeat(np.stack([(x + 0.5) / n, (y + 0.5) / n], 1), copies, 0))
    return np.concatenate(out)


def sigmoid(v):
    return 1 / (1 + np.exp(-np.clip(v, -80, 80)))


def warp(img, roi, n, replicate):
    """n x n crop of a rotated square; crop pixel i reads place i/n, on pixel indices."""
    cx, cy, side, rot = roi
    u = (np.arange(n) / n - 0.5) * side
    across, down = np.meshgrid(u, u)
    c, s = math.cos(rot), math.sin(rot)
    sx, sy = cx + c * across - s * down, cy + s * across + c * down
    h, w = img.shape[:2]
    x0, y0 = np.floor(sx).astype(int), np.floor(sy).astype(int)
    fx, fy = (sx - x0)[..., None], (sy - y0)[..., None]

    def at(x, y):
        v = img[np.clip(y, 0, h - 1), np.clip(x, 0, w - 1)]
        return v if replicate else v * ((x >= 0) & (x < w) & (y >= 0) & (y < h))[..., None]

    top = at(x0, y0) * (1 - fx) + at(x0 + 1, y0) * fx
    low = at(x0, y0 + 1) * (1 - fx) + at(x0 + 1, y0 + 1) * fx
    return top * (1 - fy) + low * fy


def roi_from(a, b):
    """Square around a, up towards b."""
    d = b - a
    r = math.pi / 2 - math.atan2(-d[1], d[0])
    r -= 2 * math.pi * math.floor((r + math.pi) / (2 * math.pi))
    return float(a[0]), float(a[1]), 2 * math.hypot(*d) * 1.25, r


def tensor(crop):
    return crop.transpose(2, 0, 1)[None].astype(np.float32)


def detect(net, img):
    h, w = img.shape[:2]
    side = max(h, w)
    boxes, scores = net.run(None, {"image": tensor(warp(img, (w / 2, h / 2, side, 0), 224, False) / 127.5 - 1)})
    p, b, a = sigmoid(scores[0, :, 0].astype(float)), boxes[0].astype(float) / 224, anchors()
    ok = np.flatnonzero(p >= 0.5)
    c, wh, kp = b[ok, :2] + a[ok], b[ok, 2:4], b[ok, 4:].reshape(-1, 4, 2) + a[ok][:, None]
    rows, p = np.concatenate([c - wh / 2, c + wh / 2, kp.reshape(-1, 8)], 1), p[ok]
    out, left = [], list(np.argsort(-p, kind="stable"))
    while left:  # weighted: everything that overlaps the best box is averaged into it
        best, q = rows[left[0]], rows[left]
        iw = np.clip(np.minimum(best[2], q[:, 2]) - np.maximum(best[0], q[:, 0]), 0, None)
        ih = np.clip(np.minimum(best[3], q[:, 3]) - np.maximum(best[1], q[:, 1]), 0, None)
        both = iw * ih
        area = (q[:, 2] - q[:, 0]) * (q[:, 3] - q[:, 1])
        near = both / np.maximum(area[0] + area - both, 1e-9) > 0.3
        near[0] = True
        g = np.array(left)[near]
        mean = (rows[g] * p[g, None]).sum(0) / p[g].sum()
        points = mean.reshape(6, 2) * side + [(w - side) / 2, (h - side) / 2]
        out.append({"score": float(p[left[0]]), "roi": roi_from(points[2], points[3])})
        left = [l for l, n in zip(left, near) if not n]
    return out


def landmarks(net, img, roi):
    cx, cy, side, rot = roi
    names = [v.name for v in net.get_outputs()]
    o = dict(zip(names, net.run(None, {"image": tensor(warp(img, roi, 256, True) / 255)})))
    l = o["landmarks"].reshape(39, 5).astype(float)
    l[:, :3] /= 256
    l[:, 3:] = sigmoid(l[:, 3:])
    for k in range(39):
        c, r = int(l[k, 0] * 64), int(l[k, 1] * 64)
        if not (0 <= c < 64 and 0 <= r < 64):
            continue
        c0, c1, r0, r1 = max(0, c - 3), min(64, c + 4), max(0, r - 3), min(64, r + 4)
        g = sigmoid(o["heatmap"][0, k, r0:r1, c0:c1].astype(float))
        if g.max() >= 0.5:
            l[k, 0] = (g * np.arange(c0, c1)).sum() / g.sum() / 64
            l[k, 1] = (g * np.arange(r0, r1)[:, None]).sum() / g.sum() / 64
    q, c, s = l[:, :2] - 0.5, math.cos(rot), math.sin(rot)
    x, y = cx + side * (c * q[:, 0] - s * q[:, 1]), cy + side * (s * q[:, 0] + c * q[:, 1])
    world = o["world"].reshape(39, 3).astype(float)
    world[:, :2] = world[:, :2] @ np.array([[c, s], [-s, c]])
    return {
        "roi": roi,
        "flag": float(o["flag"][0, 0]),
        "xyz": np.stack([x, y, l[:, 2] * side], 1).round(4).tolist(),
        "visibility_presence": l[:, 3:].round(6).tolist(),
        "world": world.round(6).tolist(),
        "next_roi": roi_from(np.array([x[33], y[33]]), np.array([x[34], y[34]])),
    }


def main():
    models, fixtures = map(pathlib.Path, sys.argv[1:3])
    nets = {n: ort.InferenceSession(str(models / f"{n}.onnx"), providers=["CPUExecutionProvider"])
            for n in ("pose_detection", "pose_landmark_full", "pose_landmark_heavy")}
    out = {}
    for path in sorted(fixtures.glob("*.png")):
        img = np.asarray(Image.open(path).convert("RGB"), np.float64)
        found = detect(nets["pose_detection"], img)
        case = {"detections": found}
        for name in ("full", "heavy"):
            first = landmarks(nets[f"pose_landmark_{name}"], img, found[0]["roi"]) if found else None
            second = first and landmarks(nets[f"pose_landmark_{name}"], img, first["next_roi"])
            case[name] = [first, second] if found else []
        out[path.name] = case
    (fixtures / "reference.json").write_text(json.dumps(out) + "\n")


if __name__ == "__main__":
    main()
