"""Camera, clothes, light and scenery of one swing, at random within the ranges of ../shared/lifting/README.md.

World: origin on the ground mid-stance, x to the target, z up; the golfer faces -y. Camera x = K R (X - C).
"""
import colorsys

import numpy as np
import torch

import draw


def camera(rng, points):
    """Camera that has the whole golfer (points F,N,3) in the picture, or None after 60 tries."""
    for _ in range(60):
        size = np.array([540, 960]) if rng.random() < 0.6 else np.array([720, 1280])
        if rng.random() > 0.7:
            size = size[::-1]
        kind = rng.random()
        view = 0 if kind < 0.4 else 1 if kind < 0.8 else 2
        az = np.radians(rng.normal(0, 6) if view == 0 else rng.normal(90, 6) if view == 1 else rng.uniform(-25, 108))
        dist, height, fov = rng.uniform(2.2, 7), rng.uniform(0.5, 1.7), np.radians(rng.uniform(40, 80))
        f = size.max() / 2 / np.tan(fov / 2)
        C = dist * np.array([-np.sin(az), -np.cos(az), 0]) + [rng.normal(0, 0.1), rng.normal(0, 0.1), height]
        goal = np.array([0, 0.0, rng.uniform(0.7, 1.1)]) - C
        yaw, pitch, roll = np.radians(rng.normal(size=3) * [4, 3, 1.5])
        ahead = np.arctan2(goal[0], goal[1]) + yaw
        dip = np.arctan2(goal[2], np.hypot(goal[0], goal[1])) + pitch
        z = np.array([np.sin(ahead) * np.cos(dip), np.cos(ahead) * np.cos(dip), np.sin(dip)])
        x = np.cross(z, [0, 0, 1.0])
        x /= np.linalg.norm(x)
        y = np.cross(z, x)
        c, s = np.cos(roll), np.sin(roll)
        R = np.stack([c * x + s * y, -s * x + c * y, z])
        K = np.array([[f, 0, size[0] / 2], [0, f, size[1] / 2], [0, 0, 1.0]])
        q = (points - C) @ R.T @ K.T
        if q[..., 2].min() < 0.5:
            continue
        u = q[..., :2] / q[..., 2:]
        tall = np.ptp(u[..., 1], axis=1).max()
        if u.min() < 4 or (u.max((0, 1)) > size - 4).any() or tall < 0.3 * size[1]:
            continue
        return dict(K=K, R=R, C=C, size=size, view=view, azimuth=np.degrees(az), distance=dist, height=height, hfov=np.degrees(fov), misaim=np.degrees([yaw, pitch, roll]))
    return None


def colour(rng, dull=0.5):
    """A cloth's colour: greys, whites, blacks and hues; linear light."""
    if rng.random() < dull:
        v = rng.choice([0.03, 0.06, 0.12, 0.3, 0.6, 0.8]) * rng.uniform(0.7, 1.2)
        c = np.array([v, v, v]) * rng.uniform(0.85, 1.15, 3)
    else:
        c = np.array(colorsys.hsv_to_rgb(rng.random(), rng.uniform(0.3, 0.95), rng.uniform(0.15, 0.95))) ** 1.8
    return np.clip(c, 0.01, 0.9)


def dressed(body, rng):
    """Vertex colours (linear), cloth class, offset along the normal (m), pattern kind, second colour, whether a cap is worn."""
    lin = np.clip(body.c, 0, 1) ** 2.2
    col, m = lin.copy(), body.m
    w = lambda *names: sum(body.w[:, body.seg.index(f"{n}.{s}")] for n in names for s in "LR")
    skin = m == 0
    tone = np.exp(rng.uniform(-1.6, 0.35)) * np.array([1, np.exp(rng.normal(-0.05, 0.08)), np.exp(rng.normal(-0.1, 0.12))])
    bare = skin & (lin.max(1) > 0.05)
    col[bare] = np.clip(lin[bare] * tone, 0.01, 0.85)
    face = np.median(col[bare], 0)
    shirt, legs = colour(rng), colour(rng, 0.7)
    cls = np.zeros(len(m), np.int32)
    top, low = m == 1, m == 2
    if not top.any():
        if rng.random() < 0.6:  # one-piece clothes as shirt and trousers
            waist = body.at["sp5"][2] + rng.uniform(-0.02, 0.08)
            top, low = low & (body.v[:, 2] > waist), low & (body.v[:, 2] <= waist)
    fore, lower, upper_arm = w("la1", "la2"), w("ll1", "ll2"), w("ua1", "ua2")
    sleeves = rng.random()
    if sleeves < 0.2:
        top = top | (skin & (fore > 0.5)) | (skin & (upper_arm > 0.3))
    knee = body.at["ll1.L"][2] + rng.uniform(-0.03, 0.12)
    shorts = low & (body.v[:, 2] < knee)
    col[top], col[low] = shirt, legs
    cls[top], cls[low] = 1, 2
    if sleeves > 0.85:
        cut = top & (w("la1", "la2", "ua2") > 0.6)
        col[cut], cls[cut] = face, 0
    if rng.random() < 0.25:
        col[shorts], cls[shorts] = face, 0
    shoe = m == 3
    col[shoe] = colour(rng, 0.8)
    hair = m == 4
    col[hair] = np.clip(lin[hair] * np.exp(rng.normal(0, 0.5)) + rng.choice([0, 0, 0.02, 0.25]), 0, 0.8)
    cap = rng.random() < 0.4
    if cap:
        brow = (body.p["eye.L"] + body.p["eye.R"])[2] / 2 + 0.04
        head = body.w[:, body.seg.index("head")] > 0.5
        col[head & (body.v[:, 2] > brow)] = colour(rng)
    if rng.random() < 0.4:  # a glove on the lead hand
        hand = sum(body.w[:, i] for i, s in enumerate(body.seg) if s.endswith(".L") and (s.startswith("hand") or (s[0] == "f" and s[1].isdigit()))) > 0.5
        col[hand & skin] = colour(rng, 0.9)
    if rng.random() < 0.25 and low.any():  # a belt
        top_of_legs = body.v[low, 2].max()
        col[low & (body.v[:, 2] > top_of_legs - 0.035)] = colour(rng, 0.9)
    ph = rng.uniform(0, 6.28, 6)
    v = body.v
    noise = np.sin(v[:, 0] * 9 + ph[0]) * np.sin(v[:, 2] * 7 + ph[1]) * np.sin(v[:, 1] * 8 + ph[2])
    loose = np.zeros(len(m))
    a, b = max(0, rng.normal(0.004, 0.008)), max(0, rng.normal(0.003, 0.007))
    loose[cls == 1], loose[cls == 2] = a * (1 + 0.7 * noise[cls == 1]), b * (1 + 0.7 * noise[cls == 2])
    kind = int(rng.integers(1, 8)) if rng.random() < 0.55 else 0
    return dict(col=col, cls=cls, loose=loose, kind=kind, second=colour(rng), cap=cap)


def light(rng):
    """Sun direction and the shader's numbers."""
    el, az = np.radians(rng.uniform(20, 80)), rng.uniform(0, 6.283)
    sun = np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
    s = rng.uniform(0.0, 1.4) if rng.random() < 0.8 else 0.0
    return dict(sun=sun, strength=s, sky=rng.uniform(0.35, 0.9), ground=rng.uniform(0.12, 0.4), shadow=min(0.7, 0.5 * s) * rng.uniform(0.6, 1), fold=rng.uniform(0, 0.35),
                fold_f=rng.uniform(18, 60), pattern_f=rng.choice([25, 45, 80, 140]) * rng.uniform(0.8, 1.3))


def outfit(b, rng, plain=False):
    """Mesh with clothes on, and what the shader needs to know of them."""
    look = dressed(b, rng)
    if plain:
        look["loose"][:] = 0
    n = draw.normals(b.v, b.f)
    v, f, w, col, cls = b.v + n * look["loose"][:, None], b.f, b.w, look["col"], look["cls"]
    if look["cap"]:
        bv, bf = draw.brim(b)
        hw = np.zeros((len(bv), w.shape[1]), np.float32)
        hw[:, b.seg.index("head")] = 1
        f = np.concatenate([f, bf + len(v)])
        v, n, w = np.concatenate([v, bv]), np.concatenate([n, np.tile([0, -0.3, 0.95], (len(bv), 1))]), np.concatenate([w, hw])
        col, cls = np.concatenate([col, np.tile(colour(rng), (len(bv), 1))]), np.concatenate([cls, np.zeros(len(bv), np.int32)])
    return dict(v=v, n=n, w=w, f=f, obj=np.concatenate([v, v[:, 2:] / b.stature], 1), col=col, cls=cls), look


def exposed(lamp, rng):
    """Exposure, softness, noise and JPEG of one picture."""
    dim = 1 / max(0.5, lamp["strength"] * 0.6 + lamp["sky"])
    return dict(gain=dim * np.exp(rng.normal(0, 0.3)) * 0.9, soft=rng.uniform(0.5, 1.3) if rng.random() < 0.25 else 0, noise=rng.uniform(0.002, 0.02), jpeg=int(rng.integers(35, 93)) if rng.random() < 0.65 else 0,
                seed=int(rng.integers(1 << 30)))


def noise(table, x, y):
    """Value noise, bilinear on a table that repeats."""
    n = table.shape[0]
    i, j = torch.floor(x), torch.floor(y)
    fx, fy = x - i, y - j
    fx, fy = fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)
    i, j = i.long() % n, j.long() % n
    k, l = (i + 1) % n, (j + 1) % n
    return (table[i, j] * (1 - fx) + table[k, j] * fx) * (1 - fy) + (table[i, l] * (1 - fx) + table[k, l] * fx) * fy


def octaves(table, x, y, scales, foot):
    """Sum of noise at scales (m), each fading where a pixel covers more than it."""
    out = 0
    for k, s in enumerate(scales):
        out = out + (noise(table, x / s + 17.3 * k, y / s + 5.1 * k) - 0.5) * torch.clamp(1.5 - foot / s, 0, 1)
    return out


def background(cam, rng, dev, eye=None):
    """Ground, a wall or trees or a net, sky: h,w,3 linear light. eye: R and C of a hand-held camera now; the scenery is that of cam."""
    w, h = (int(v) for v in cam["size"])
    t = lambda a: torch.tensor(np.asarray(a), dtype=torch.float32, device=dev)
    table = t(rng.random((256, 256)))
    yy, xx = torch.meshgrid(torch.arange(h, device=dev) + 0.5, torch.arange(w, device=dev) + 0.5, indexing="ij")
    f = cam["K"][0, 0]
    ray = torch.stack([(xx - w / 2) / f, (yy - h / 2) / f, torch.ones_like(xx)], -1) @ t(cam["R"] if eye is None else eye[0])
    C = t(cam["C"] if eye is None else eye[1])
    out_dir = t(cam["R"][2] * [1, 1, 0])
    out_dir = out_dir / out_dir.norm()
    side = torch.stack([out_dir[1], -out_dir[0], out_dir[2]])
    far = cam["distance"] + (rng.uniform(1.2, 5) if rng.random() < 0.5 else rng.uniform(5, 40))
    skew = rng.normal(0, 0.3)
    ahead = (ray @ out_dir) + skew * (ray @ side)
    if eye is not None:  # the wall stays where it is
        moved = C - t(cam["C"])
        far = far - float(moved @ out_dir + skew * (moved @ side))
    tw = far / ahead.clamp_min(1e-3)
    tg = torch.where(ray[..., 2] < -1e-4, -C[2] / ray[..., 2].clamp_max(-1e-4), torch.full_like(tw, 1e6))
    ground = tg < tw
    foot = torch.where(ground, tg, tw) / f
    g = C + ray * tg[..., None].clamp_max(400)
    tint = np.array([0.16, 0.3, 0.08]) * rng.uniform(0.5, 1.4) * rng.uniform(0.8, 1.2, 3) if rng.random() < 0.6 else colour(rng, 0.6)
    contrast = rng.uniform(0.1, 0.9)
    gn = octaves(table, g[..., 0], g[..., 1], (0.015, 0.06, 0.3, 1.5, 6), foot * 4)
    col = t(tint) * (1 + contrast * gn[..., None])
    if rng.random() < 0.3:  # mown stripes, tiles, a mat
        per, yaw = rng.uniform(0.4, 2.5), rng.uniform(0, 3.14)
        band = ((g[..., 0] * np.cos(yaw) + g[..., 1] * np.sin(yaw)) / per) % 1 > 0.5
        col = torch.where(band[..., None], col * rng.uniform(0.75, 1.2), col)
    if rng.random() < 0.35:
        x0, y0, mw, ml = rng.normal(0, 0.2), rng.normal(-0.3, 0.2), rng.uniform(0.6, 1.0), rng.uniform(0.6, 1.2)
        on = (abs(g[..., 0] - x0) < mw) & (abs(g[..., 1] - y0) < ml)
        col = torch.where(on[..., None], t(colour(rng)) * (1 + 0.3 * gn[..., None]), col)
    p = C + ray * tw[..., None].clamp(0, 400)
    across, up = p @ side, p[..., 2]
    sky = t(rng.choice([[0.35, 0.55, 0.9], [0.75, 0.8, 0.85], [0.5, 0.5, 0.55]])) * rng.uniform(0.5, 1.2) * (1 + 0.15 * octaves(table, ray[..., 0] * 3, ray[..., 2] * 6, (0.3, 1.0), foot * 0)[..., None])
    kind = rng.choice(["wall", "boards", "trees", "net", "open"])
    top = rng.uniform(2, 5) if kind != "open" else 0.3
    wn = octaves(table, across + 31, up, (0.04, 0.2, 0.9, 3.0), foot * 3)
    base = t(np.array([0.08, 0.16, 0.05]) * rng.uniform(0.5, 2) if kind == "trees" else colour(rng))
    wall = base * (1 + (1.6 if kind == "trees" else 0.25) * wn[..., None]).clamp_min(0.05)
    if kind == "boards":
        wall = wall * (1 - rng.uniform(0.1, 0.5) * ((across / rng.uniform(0.1, 1.5)) % 1 > rng.uniform(0.5, 0.95))[..., None].float())
    if kind == "net":
        mesh = ((across / 0.1) % 1 < 0.1) | ((up / 0.1) % 1 < 0.1)
        wall = torch.where(mesh[..., None], base * 0.5, sky * 0.8 + base * 0.2)
    edge = top + (0.6 * noise(table, across / 0.8, across * 0 + 3.3) if kind == "trees" else 0)
    above = torch.where((up < edge)[..., None], wall, sky)
    col = torch.where(ground[..., None], col, above)
    if eye is not None:  # things stand where cam sees them on ground or wall
        seen = (torch.where(ground[..., None], g, p) - t(cam["C"])) @ t(cam["R"]).T
        xx, yy = seen[..., 0] / seen[..., 2] * f + w / 2, seen[..., 1] / seen[..., 2] * f + h / 2
    for _ in range(int(rng.integers(0, 4))):  # things that stand about: posts, bags, boxes
        u0, v0 = rng.uniform(0, w), rng.uniform(0.2, 0.9) * h
        bw, bh = rng.uniform(0.01, 0.15) * w, rng.uniform(0.05, 0.4) * h
        on = (abs(xx - u0) < bw) & (abs(yy - v0) < bh)
        col = torch.where(on[..., None], t(colour(rng)) * (1 + 0.2 * wn[..., None]), col)
    return col.clamp(0.003, 1.5).contiguous()
