"""Pictures of one swing: skinning, projection, z-buffer, shading, exposure, JPEG. On a CUDA card, or slowly by gcc.

In: rest mesh, segment motions, camera, looks. Out: uint8 pictures n,h,w,3 (torch, on the device).
"""
import ctypes
import math
import os
import subprocess
import tempfile

import numpy as np
import torch

HERE = os.path.dirname(os.path.abspath(__file__))
S = 2  # samples a pixel, each way


class Kernels:
    def __init__(self, dev):
        self.dev = dev
        src = os.path.join(HERE, "raster.c")
        if dev == "cpu":
            so = os.path.join(tempfile.mkdtemp(), "raster.so")
            subprocess.check_call(["gcc", "-O3", "-march=native", "-shared", "-fPIC", "-o", so, src, "-lm"])
            self.lib = ctypes.CDLL(so)
        else:
            import cupy

            self.cp = cupy
            code = open(src).read()
            opts = ("-D__CUDACC__", "--use_fast_math")
            self.lib = {k: cupy.RawKernel(code, k, options=opts) for k in ("raster", "shade")}

    def __call__(self, name, count, *args):
        if self.dev == "cpu":
            conv = [ctypes.c_void_p(a.data_ptr()) if torch.is_tensor(a) else ctypes.c_void_p(0) if a is None else ctypes.c_int(a) for a in args]
            getattr(self.lib, name)(*conv)
            return
        conv = [np.uint64(a.data_ptr()) if torch.is_tensor(a) else np.uint64(0) if a is None else np.int32(a) for a in args]
        with self.cp.cuda.ExternalStream(torch.cuda.current_stream().cuda_stream):
            self.lib[name]((-(-count // 128),), (128,), tuple(conv))


def normals(v, f):
    """Vertex normals of a rest mesh (numpy)."""
    n = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
    i = f.T.ravel()
    out = np.stack([np.bincount(i, np.tile(n[:, d], 3), len(v)) for d in range(3)], 1)
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)


def brim(body):
    """A cap's peak: rest vertices and faces, carried by the head."""
    eye = (body.p["eye.L"] + body.p["eye.R"]) / 2 + [0, 0, 0.042]
    a = np.linspace(-1.2, 1.2, 9)
    inner = eye + np.stack([0.075 * np.sin(a), 0.045 - 0.075 * np.cos(a), 0 * a], 1)
    outer = eye + np.stack([0.08 * np.sin(a), 0.02 - 0.13 * np.cos(a), -0.015 + 0 * a], 1)
    i = np.arange(8)
    f = np.concatenate([np.stack([i, i + 1, i + 9], 1), np.stack([i + 1, i + 10, i + 9], 1)])
    return np.concatenate([inner, outer]), f


def club(butt, way, length, thick=0.006):
    """Shaft of six sides and a head: vertices F,N,3 and faces."""
    side = np.cross(way, [0.1, 0.9, 0.3])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    other = np.cross(way, side)
    a = np.arange(6) * math.pi / 3
    ring = np.cos(a)[None, :, None] * side[:, None] + np.sin(a)[None, :, None] * other[:, None]
    end = butt + way * length
    tip = lambda k, m: end + 0.05 * k * side + 0.03 * m * other
    head = np.stack([tip(1, 1), tip(1, -1), tip(-1, -1), tip(-1, 1), end + 0.03 * way + 0.02 * side, end - 0.03 * way], 1)
    v = np.concatenate([butt[:, None] + ring * thick * 1.6, end[:, None] + ring * thick * 0.8, head], 1)
    i = np.arange(6)
    j = (i + 1) % 6
    f = np.concatenate([np.stack([i, j, i + 6], 1), np.stack([j, j + 6, i + 6], 1), [[12 + k, 12 + (k + 1) % 4, 16] for k in range(4)], [[12 + k, 12 + (k + 1) % 4, 17] for k in range(4)]])
    return v, f


def jpeg(img, quality, gen_dev):
    """Exact JPEG rounding with halved colour: n,h,w,3 in 0..255 -> same."""
    n, h, w, _ = img.shape
    x = img.permute(0, 3, 1, 2)
    x = torch.nn.functional.pad(x, (0, -w % 16, 0, -h % 16), mode="replicate")
    M = torch.tensor([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]], device=gen_dev)
    y = torch.einsum("ij,njhw->nihw", M, x)
    scale = 5000 / quality if quality < 50 else 200 - 2 * quality
    q = lambda t: torch.tensor(np.clip(np.floor((np.array(t).reshape(8, 8) * scale + 50) / 100), 1, 255), dtype=torch.float32, device=gen_dev)
    k = torch.arange(8, device=gen_dev).float()
    D = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * torch.where(k[:, None] == 0, math.sqrt(1 / 8), 0.5)

    def coded(p, table):
        hh, ww = p.shape[-2:]
        b = p.reshape(-1, hh // 8, 8, ww // 8, 8).transpose(2, 3)
        c = D @ (b - (128 if table is LUM else 0)) @ D.T
        t = q(table)
        c = torch.round(c / t) * t
        b = D.T @ c @ D + (128 if table is LUM else 0)
        return b.transpose(2, 3).reshape(p.shape)

    lum = coded(y[:, 0], LUM)
    chroma = coded(torch.nn.functional.avg_pool2d(y[:, 1:], 2).flatten(0, 1), CHROMA).view(n, 2, *(s // 2 for s in y.shape[-2:]))
    chroma = torch.nn.functional.interpolate(chroma, scale_factor=2, mode="bilinear", align_corners=False)
    y = torch.cat([lum[:, None], chroma], 1)
    return torch.einsum("ij,njhw->nihw", torch.linalg.inv(M), y)[:, :, :h, :w].permute(0, 2, 3, 1)


# the example tables of ITU-T T.81, annex K
LUM = [16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,
       18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99]
CHROMA = [17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99, 99, 99, 99] + [99] * 32


def skin(v0, n0, w, M, T):
    """Vertices and normals F,V,3 by linear blend skinning."""
    F = M.shape[0]
    A = torch.cat([M, T[..., None]], -1).permute(1, 0, 2, 3).reshape(w.shape[1], -1)
    B = (w @ A).view(len(v0), F, 3, 4)
    v = torch.einsum("vfij,vj->fvi", B[..., :3], v0) + B[..., 3].permute(1, 0, 2)
    n = torch.einsum("vfij,vj->fvi", B[..., :3], n0)
    return v.contiguous(), n.contiguous()


AT_ONCE = 64  # moments held on the card together
LAMP = 512  # side of the picture from the sun, which tells what lies in the shade
FAR = 50.0  # the sun stands so far away, metres: rays all but parallel


def pictures(kern, mesh, M, T, extra, cam, look, lamp, K, bg, post):
    """n pictures of K moments each. mesh: v n w f obj col cls (numpy); extra: posed club F,N,3, its faces and colours, or None."""
    step = max(1, AT_ONCE // K) * K
    out = []
    for i in range(0, len(M), step):
        s = slice(i, i + step)
        more = None if extra is None else (extra[0][s], *extra[1:])
        out.append(some(kern, mesh, M[s], T[s], more, cam, look, lamp, K, bg, {**post, "seed": post["seed"] + i}))
    return torch.cat(out)


def some(kern, mesh, M, T, extra, cam, look, lamp, K, bg, post):
    dev = kern.dev
    t = lambda a, d=torch.float32: torch.as_tensor(np.ascontiguousarray(a), dtype=d, device=dev)
    v, n = skin(t(mesh["v"]), t(mesh["n"]), t(mesh["w"]), t(M), t(T))
    F, V0 = v.shape[:2]
    f, obj, col, cls = mesh["f"], mesh["obj"], mesh["col"], mesh["cls"]
    if extra is not None:
        cv, cf, cc = extra
        k = cv.shape[1]
        v = torch.cat([v, t(cv)], 1)
        n = torch.cat([n, t(np.broadcast_to([0.3, -0.3, 0.9], cv.shape))], 1)
        f = np.concatenate([f, cf + V0])
        obj, col, cls = np.concatenate([obj, np.zeros((k, 4))]), np.concatenate([col, cc]), np.concatenate([cls, np.zeros(k)])
    V = v.shape[1]
    w, h = (int(x) for x in cam["size"])
    R, C, foc = t(cam["R"]), t(cam["C"]), float(cam["K"][0, 0])

    def screen(p):
        c = (p - C) @ R.T
        return torch.cat([(c[..., :2] / c[..., 2:] * foc + t([w / 2, h / 2])) * S, c[..., 2:]], -1).contiguous()

    scr, tri = screen(v), t(f, torch.int32)
    H, W = h * S, w * S
    z = torch.full((F, H, W), -1, dtype=torch.int64, device=dev)
    kern("raster", F * len(f), scr, tri, z, F, V, len(f), H, W)
    shadow = None
    if lamp["shadow"] > 0.03:
        sun = t(lamp["sun"])
        down = v - sun * (v[..., 2:] / sun[2])
        shadow = torch.full((F, H, W), -1, dtype=torch.int64, device=dev)
        kern("raster", F * len(f), screen(down), tri, shadow, F, V, len(f), H, W)
    seen, sunny = from_sun(kern, v, tri, lamp) if lamp["strength"] > 0.03 else (None, None)
    par = t(np.concatenate([lamp["sun"], [lamp["strength"], lamp["sky"], lamp["ground"], lamp["fold"], lamp["fold_f"], lamp["pattern_f"]], look["second"], [lamp["shadow"]]]))
    out = torch.zeros((F // K, h, w, 3), device=dev)
    kern("shade", F // K * h * w, scr, tri, z, shadow, seen, sunny, n, t(obj), t(col), t(cls, torch.int32), bg, par, out, F // K, K, S, V, H, W, look["kind"], LAMP)
    return finish(out, post, dev)


def from_sun(kern, v, tri, lamp):
    """Z-buffer of the moments F,LAMP,LAMP seen from the sun, and the vertices F,V,3 in it (cells, metres away)."""
    sun = np.asarray(lamp["sun"])
    right = np.cross([0.3, 0.2, 0.9], sun)
    right /= np.linalg.norm(right)
    axes = torch.as_tensor(np.stack([right, np.cross(sun, right), -sun]), dtype=torch.float32, device=v.device)
    p = v @ axes.T
    low, high = p[..., :2].amin((0, 1)), p[..., :2].amax((0, 1))
    cell = (LAMP - 4) / (high - low).max()
    sunny = torch.cat([(p[..., :2] - low) * cell + 2, p[..., 2:] + FAR], -1).contiguous()
    F, V = v.shape[:2]
    seen = torch.full((F, LAMP, LAMP), -1, dtype=torch.int64, device=v.device)
    kern("raster", F * len(tri), sunny, tri, seen, F, V, len(tri), LAMP, LAMP)
    return seen, sunny


def finish(x, post, dev):
    """Exposure, softness, gamma, noise, JPEG, 8 bits."""
    x = (x * post["gain"]).clamp(0, 1) ** (1 / 2.2) * 255
    if post["soft"] > 0:
        r = 3
        g = torch.exp(-0.5 * (torch.arange(-r, r + 1, device=dev) / post["soft"]) ** 2)
        g = g / g.sum()
        y = x.permute(0, 3, 1, 2).flatten(0, 1)[:, None]
        y = torch.nn.functional.pad(y, (r, r, r, r), mode="replicate")
        y = torch.nn.functional.conv2d(torch.nn.functional.conv2d(y, g.view(1, 1, 1, -1)), g.view(1, 1, -1, 1))
        x = y.view(x.shape[0], 3, *x.shape[1:3]).permute(0, 2, 3, 1)
    gen = torch.Generator(device=dev).manual_seed(post["seed"])
    x = x + torch.randn(x.shape, generator=gen, device=dev) * post["noise"] * 255
    x = x.clamp(0, 255)
    if post["jpeg"]:
        x = jpeg(x, post["jpeg"], dev)
    return x.clamp(0, 255).round().to(torch.uint8)
