"""Whole clips of virtual golfers whom the held-out corrector never saw, laid out as ../shared/clips: an instrument for the whole program.

    python motion.py ../shared/lifting ../shared/bodies library.npz                  # once, seconds
    python clips.py --bodies ../shared/bodies --library library.npz --out DIR --swings 40 --seed 1 [--ffmpeg PATH]
    ../shared/measure-all PROGRAM DIR RESULTS; ../shared/score --all RESULTS DIR

Out: DIR/NAME.mp4 and .json for each clip, cases.json over all runs into DIR (several at a time with other seeds do not meet). Same seed,
same clips. Needs numpy, torch and a CUDA card with cupy, or gcc (about 1 s a picture), and an ffmpeg with libx264 and aac.

People: m1, f1, m7 in new shapes and clothes, or such as nobody has seen (--people); a fifth left-handed. Motion: clips of the library (other bodies), stretched and changed by
motion.changed; still at address but for a sway of about a millimetre, at rest after the finish. Half the swings stand before two cameras
whose clips start at different times. Cameras: scene.camera, face-on or down-the-line, a quarter hand-held; 30, 60, 120 or 240 frames a
second, slow motion with true or with stretched times. Sound: noise and the strike, later by its way to the camera; a quarter without.

True events are read off the true motion, a thousand moments a second (`events`); `clips.py --check DIR` sets them beside the event_times of truth
files. Ball: a club's head in front of its place at address; the club passes it somewhere within a few centimetres, and impact is when it
is nearest. Not here: rolling shutter, lens distortion, cloth that moves, other people, waggles, variable frame rates, HEVC, HDR.
"""
import argparse
import fcntl
import glob
import json
import os
import queue
import subprocess
import threading
import time
import wave

import numpy as np
import torch

import body as B
import draw
import motion
import people
import scene

NAMES = people.HELD  # and out of the library and the held-out corrector
# the script of the lifting files, golfer time: held before START, takeaway, top, impact, finish, held after END
START, TAKEAWAY, TOP, IMPACT, FINISH, END = 1.0, 1.0, 1.86, 2.13, 2.75, 2.76
FINE = 1000  # moments a second at which events are looked for
SLOWEST = 0.05  # m/s: hands that move on their way, not sway
RESTING = 0.1  # m/s: hands at rest in the finish
BALL = 0.021335  # radius, m: the rules' smallest ball
SOUND = 343.0  # m/s, air at 20 degrees C (ISO 9613-1)
POINTS = ("ankle.L", "ankle.R", "ball", "club_butt", "club_head", "crown", "elbow.L", "elbow.R", "eye.L", "eye.R", "grip", "head", "head_base", "heel.L", "heel.R", "hip.L", "hip.R", "knee.L", "knee.R",
          "knuckle.L", "knuckle.R", "mid_shoulder", "neck", "nose", "pelvis_centre", "shoulder.L", "shoulder.R", "sternum", "thorax_centre", "toe.L", "toe.R", "wrist.L", "wrist.R")
ANGLES = ("lead_arm_elevation", "pelvis_heading", "shoulder_line_heading", "trunk_forward_bend", "trunk_side_bend_toward_target", "trunk_to_mid_shoulder_forward_bend",
          "trunk_to_mid_shoulder_side_bend_toward_target")
HULL = ("crown", "wrist.L", "wrist.R", "elbow.L", "elbow.R", "toe.L", "toe.R", "heel.L", "heel.R")


def ramp(x, width):
    """0, then x, with a smooth bend."""
    return np.logaddexp(0, x / width) * width


class Swing:
    """One person and one motion; scene time, takeaway at about 1 s."""

    def __init__(self, seed, names, bodies, lib, everyone=None):
        rng = np.random.default_rng(seed)
        if everyone is None:
            self.body = B.Body(bodies, names[int(rng.integers(len(names)))]).shaped(rng, rng.choice([0.6, 1.0]))
        else:
            self.body = everyone.draw(rng)
        self.name = self.body.name
        self.clip, self.lib = int(rng.integers(len(lib.first) - 1)), lib
        self.rate, self.size, self.left = rng.uniform(0.8, 1.25), rng.uniform(0.3, 0.8), bool(rng.random() < 0.2)
        self.seeds = rng.integers(1 << 30, size=3)
        self.length, self.rng = None, rng

    def scene_time(self, golfer):
        return 1 + (golfer - TAKEAWAY) / self.rate

    def at(self, t):
        """Motion on the body, segment motions and points at scene times."""
        g = TAKEAWAY + (t - 1) * self.rate
        g = END - ramp(END - START - ramp(g - START, 0.012), 0.012)
        q = self.lib.smooth(self.clip, g)
        # the changes begin after the takeaway and end before the finish: still is still
        waves = (ramp(t - self.scene_time(1.08), 0.04) - ramp(t - self.scene_time(2.66), 0.04)) + 5
        q = motion.changed(q, waves, np.random.default_rng(self.seeds[0]), self.size)
        sway = motion.Waves(np.random.default_rng(self.seeds[1]), t)
        q["P"] = q["P"] + sway(0, 0.0004, 3, fast=0.6) * [1, 1, 0.2]
        q["W"] = q["W"] + sway(0, 0.0008, 3, fast=0.6)
        q = motion.on_body(q, self.body)
        M, T, points = B.pose(self.body, q)
        hands, way = (points["knuckle.L"] + points["knuckle.R"]) / 2, B.unit(q["hg"].mean(1))
        points["club_butt"], points["grip"] = hands - 0.12 * way, hands
        if self.length is None:  # the head rests on the ground at address
            self.length = float((points["club_butt"][0, 2] - 0.03) / max(0.1, -way[0, 2]))
        points["club_head"], points["mid_shoulder"] = points["club_butt"] + self.length * way, (points["shoulder.L"] + points["shoulder.R"]) / 2
        return M, T, points


def lowest(t, v):
    """Time of the least of v, between the samples by a parabola."""
    i = int(np.clip(np.argmin(v), 1, len(v) - 2))
    a, b, c = v[i - 1 : i + 2]
    return t[i] + (t[i + 1] - t[i]) * np.clip(0.5 * (a - c) / max(a - 2 * b + c, 1e-12), -1, 1)


def crossing(t, v):
    """Times at which v goes up through 0."""
    i = np.flatnonzero((v[:-1] < 0) & (v[1:] >= 0))
    return t[i] - v[i] * (t[i + 1] - t[i]) / (v[i + 1] - v[i])


def events(t, p, ball, lead="L"):
    """Events of MEASURES.md from points at dense times; None where one is missing. The hands turn round where they are slowest between
    the lead arm's levels; they have left address when they are never again slower than SLOWEST on their way to the first level."""
    hands = (p["wrist.L"] + p["wrist.R"]) / 2
    speed = np.linalg.norm(np.gradient(hands, t, axis=0), axis=1)
    arm = p[f"wrist.{lead}"][:, 2] - p[f"shoulder.{lead}"][:, 2]
    up, down = crossing(t, arm), crossing(t, -arm)
    if not len(up) or not (down > up[0]).any():
        return None
    back = up[0]
    forth = down[down > back][0]
    before = np.flatnonzero((t < back) & (speed < SLOWEST))
    mid = (t > back) & (t < forth)
    late = (t > forth) & (t < forth + 0.35)
    if not len(before) or mid.sum() < 5 or late.sum() < 5:
        return None
    out = dict(takeaway=t[before[-1]], lead_arm_parallel=back, top=lowest(t[mid], speed[mid] ** 2))
    hips = p["hip.L"] - p["hip.R"]
    turn = np.unwrap(np.arctan2(hips[:, 1], hips[:, 0]))
    about = (t > out["top"] - 0.3) & (t < forth)
    away = -1 if lead == "L" else 1
    out["transition"] = t[about][np.argmax(away * turn[about])]
    out["lead_arm_parallel_down"] = forth
    out["impact"] = lowest(t[late], (np.linalg.norm(p["club_head"] - ball, axis=1) ** 2)[late])
    moving = np.flatnonzero((t > out["impact"]) & (speed > RESTING))
    out["finish"] = t[moving[-1]] if len(moving) else None
    return {k: v if v is None else float(v) for k, v in out.items()}


def filmed(rng, s, hull_times, view, paired):
    """Camera and clip of one view, or None: no camera that holds the golfer."""
    points = s.at(hull_times)[2]
    hull = np.stack([points[n] for n in HULL], 1)
    margin = np.concatenate([hull + [0, 0, 0.08], hull - [0, 0, 0.06], hull + [0.1, 0, 0], hull - [0.1, 0, 0]], 1)
    for _ in range(40):
        cam = scene.camera(rng, margin)
        if cam is None or cam["view"] != view:
            continue
        fps = int(rng.choice([30, 60] if paired else [30, 60, 120, 240], p=[0.5, 0.5] if paired else [0.4, 0.35, 0.1, 0.15]))
        slow = fps > 60
        factor = fps // 30 if slow and rng.random() < 0.5 else 1
        size = 1920 if not slow and rng.random() < 0.3 else 1280
        scale = size / cam["size"].max()
        cam["size"], cam["K"] = np.round(cam["size"] * scale).astype(int), cam["K"] * [[scale, 1, scale], [1, scale, scale], [1, 1, 1]]
        first = 1 - rng.uniform(0.6, 1.0) + rng.uniform(0, 1 / fps)
        last = s.scene_time(FINISH) + rng.uniform(0.3, 0.5)
        if slow:
            first, last = 1 - rng.uniform(0.5, 0.7), s.scene_time(FINISH) + 0.2
        t = first + np.arange(int((last - first) * fps)) / fps
        shake = None
        if not slow and rng.random() < 0.25:
            shake = dict(deg=rng.uniform(0.4, 1.1), cm=rng.uniform(0.4, 1.5), tremor_deg=rng.uniform(0.02, 0.06))
            w = motion.Waves(rng, t)
            turn = np.radians(w(0, shake["deg"], 3, fast=0.8) * [1, 1, 0.5] + w(0, shake["tremor_deg"], 3, fast=6))
            cam["Rs"], cam["Cs"] = motion.turned(turn) @ cam["R"], cam["C"] + w(0, shake["cm"] / 100, 3, fast=0.8)
            now = s.at(t)[2]
            held = np.einsum("fij,fnj->fni", cam["Rs"], np.stack([now[n] for n in HULL], 1) - cam["Cs"][:, None])
            uv = held[..., :2] / held[..., 2:] * cam["K"][0, 0] + cam["size"] / 2
            if uv.min() < 8 or (uv.max((0, 1)) > cam["size"] - 8).any():
                continue
        K = 1 if slow else int(rng.choice([1, 2, 3], p=[0.4, 0.3, 0.3]))
        return dict(cam=cam, fps=fps, factor=factor, t=t, shake=shake, K=K, shutter=rng.uniform(0.001, 0.008) if K > 1 else 0.0, sound=factor == 1 and bool(rng.random() < 0.75),
                    seed=int(rng.integers(1 << 30)), view=view)
    return None


def sphere():
    """Ball: an octahedron cut once."""
    v = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1.0]])
    f = [[a, b, c] for a in (0, 1) for b in (2, 3) for c in (4, 5)]
    mid, faces, v = {}, [], list(v)
    for t in f:
        m = []
        for i, j in ((0, 1), (1, 2), (2, 0)):
            k = tuple(sorted((t[i], t[j])))
            if k not in mid:
                mid[k] = len(v)
                v.append(B.unit(v[k[0]] + v[k[1]]))
            m.append(mid[k])
        faces += [[t[0], m[0], m[2]], [t[1], m[1], m[0]], [t[2], m[2], m[1]], m]
    return np.array(v) * BALL, np.array(faces, np.int32)


def flight(ball, impact, t):
    """Centre of the ball: at rest, then off the face at 50 m/s, 17 degrees up."""
    d = np.maximum(t - impact, 0)[:, None]
    return ball + d * [47.8, 0, 14.6] - 4.9 * d**2 * [0, 0, 1]


def plan(job):
    """A swing with its one or two views; None when none of 30 draws is a swing like the script's that cameras hold."""
    seed, names, bodies, library, pack = job
    if not hasattr(plan, "lib"):
        plan.lib, plan.everyone = motion.Library(library), people.People(pack) if pack else None
    for k in range(30):
        s = Swing((seed, k), names, bodies, plan.lib, plan.everyone)
        s.at(np.array([0.3]))
        if not 0.8 < s.length < 1.2 or not 1.45 < s.body.stature < 2.0:
            continue
        t = np.arange(0.0, s.scene_time(FINISH) + 0.5, 1 / FINE)
        p = s.at(t)[2]
        ball = p["club_head"][0] * [1, 1, 0] + [0.028, 0, BALL]
        e = events(t, p, ball)
        if e is None or e["finish"] is None or abs(e["top"] - s.scene_time(TOP)) > 0.04 or abs(e["impact"] - s.scene_time(IMPACT)) > 0.04 or abs(e["takeaway"] - 1) > 0.06:
            continue
        rng = s.rng
        views = [0, 1] if rng.random() < 0.5 else [int(rng.random() < 0.4)]
        shots = [filmed(rng, s, np.arange(0.5, t[-1], 0.04), v, len(views) > 1) for v in views]
        if any(f is None for f in shots):
            continue
        for f in shots:
            pose(s, f, ball, e["impact"])
        return dict(seed=seed, shots=shots, events=e, ball=ball, body=s.body, name=s.name, left=s.left, look=int(s.seeds[2]), length=s.length,
                    made=dict(clip=s.clip, rate=s.rate, size=s.size, draw=k))
    return None


def pose(s, f, ball, impact):
    """Fills in what the renderer needs for all moments and the true points of all frames."""
    t, K = f["t"], f["K"]
    sub = (t[:, None] + (np.linspace(-0.5, 0.5, K) if K > 1 else np.zeros(1))[None] * f["shutter"]).ravel()
    M, T, p = s.at(sub)
    cv, cf = draw.club(p["club_butt"], B.unit(p["club_head"] - p["club_butt"]), s.length)
    bv, bf = sphere()
    there = flight(ball, impact, sub)
    f["M"], f["T"], f["extra"], f["faces"] = M.astype(np.float32), T, np.concatenate([cv, there[:, None] + bv], 1), np.concatenate([np.asarray(cf, np.int32), bf + cv.shape[1]])
    f["points"] = s.at(t)[2] if K > 1 else p
    f["points"]["ball"] = flight(ball, impact, t)


def mirrored(names):
    return [n[:-1] + {"L": "R", "R": "L"}[n[-1]] if n.endswith((".L", ".R")) else n for n in names]


def angles(p, lead, toward_ball):
    """The angles of the truth files that follow from the points alone, deg."""
    deg = lambda y, x: np.degrees(np.arctan2(y, x))
    arm = p[f"wrist.{lead}"] - p[f"shoulder.{lead}"]
    trail = "R" if lead == "L" else "L"
    hips, line = p[f"hip.{lead}"] - p[f"hip.{trail}"], p[f"shoulder.{lead}"] - p[f"shoulder.{trail}"]
    out = [np.degrees(np.arcsin(arm[:, 2] / np.linalg.norm(arm, axis=1)))]
    out += [deg(toward_ball * v[:, 1], v[:, 0]) for v in (hips, line)]
    for top in ("thorax_centre", "mid_shoulder"):
        v = p[top] - p["pelvis_centre"]
        out += [deg(toward_ball * v[:, 1], v[:, 2]), deg(v[:, 0], v[:, 2])]
    return np.stack(out, 1)


def truth(sw, f, name):
    """The truth file of one clip, as those of ../shared/clips; of a left-hander everything is mirrored."""
    p, cam, left, e = f["points"], f["cam"], sw["left"], sw["events"]
    flip = np.array([1, -1, 1]) if left else np.ones(3)
    names = mirrored(POINTS) if left else POINTS
    p = {n: p[k] * flip for n, k in zip(POINTS, names)}
    pts = f["factor"] * (f["t"] - f["t"][0])
    R, C = cam.get("Rs", cam["R"][None]), cam.get("Cs", cam["C"][None])
    if left:
        C, R = C * flip, np.diag([-1.0, 1, 1]) @ R @ np.diag(flip)
    P = cam["K"] @ np.concatenate([R, -(R @ C[..., None])], -1)
    xyz = np.stack([p[n] for n in POINTS], 1)
    uv = np.einsum("fij,fnj->fni", np.broadcast_to(P, (len(xyz), 3, 4)), np.concatenate([xyz, np.ones_like(xyz[..., :1])], -1))
    uv = uv[..., :2] / uv[..., 2:]
    lead, ahead = ("R", 1) if left else ("L", -1)
    turn = angles(p, lead, ahead)
    file_time = lambda v: None if v is None else round(f["factor"] * (v - f["t"][0]), 5)
    ball, eye = sw["ball"] * flip, C.mean(0)
    heard = e["impact"] + np.linalg.norm(ball - eye) / SOUND
    a = {n: v[0] for n, v in p.items()}
    travel = {}
    for k, v in e.items():
        i = lambda x: np.array([np.interp(v, f["t"], c) for c in x.T])
        travel[k] = {n: np.round((i(p[n]) - a[n]) * [1, ahead, 1], 4).tolist() for n in ("pelvis_centre", "thorax_centre", "sternum", "mid_shoulder", "head")}
        travel[k]["angles"] = dict(zip(ANGLES, np.round(i(turn), 3).tolist()))
    r = lambda x, d: np.round(x, d).tolist()
    w, h = (int(v) for v in cam["size"])
    return dict(
        name=name,
        conventions={"world": "metres; origin on the ground mid-stance; +x toward target, +z up; right-handed golfer faces -y, left-handed +y", "pixels": "displayed picture, (0,0) = outer top-left corner",
                     "time": "t = scene seconds; pts = presentation time in the file", "hub_travel": "[toward target, toward ball, up] metres since the first frame"},
        golfer=dict(body=sw["name"], stature_m=round(sw["body"].stature, 4), left_handed=left, motion="changed", motion_params=sw["made"], tempo=round(1 / sw["made"]["rate"], 4), club_length_m=round(sw["length"], 4)),
        camera=dict(view=("face-on", "down-the-line")[f["view"]], distance_m=cam["distance"], height_m=cam["height"], hfov_long_deg=cam["hfov"], yaw_deg=cam["misaim"][0], pitch_deg=cam["misaim"][1],
                    roll_deg=cam["misaim"][2], azimuth_deg=cam["azimuth"], K=r(cam["K"], 4), R0=r(R[0], 6), centre0=r(C[0], 4), moving=f["shake"] is not None, shake=f["shake"], display_size=[w, h]),
        video=dict(codec="h264", pix_fmt="yuv420p", stored_size=[w, h], rotation=0, capture_fps=f["fps"], slow_motion_factor=f["factor"], transfer="bt709", vfr=False, audio=f["sound"], frames=len(pts),
                   exposure_s=f["shutter"]),
        objects=dict(ball_radius_m=BALL, ball_start=r(ball, 4)),
        event_times={k: v if v is None else round(v, 5) for k, v in e.items()},
        event_pts={k: file_time(v) for k, v in e.items()},
        audio_click_pts=file_time(heard) if f["sound"] else None,
        hub_travel=travel,
        point_names=list(POINTS),
        angle_names=list(ANGLES),
        frames=dict(t=r(f["t"], 5), pts=r(pts, 5), P=r(P, 4), points=r(xyz, 4), pixels=r(uv, 2), angles=r(turn, 3)),
    )


def sound(path, length, click, rng, rate=48000):
    """Wind, some hum, and the strike: a burst that dies within hundredths of a second. No click: None."""
    n = int(length * rate)
    x = rng.uniform(0.001, 0.012) * rng.normal(size=n) + rng.uniform(0, 0.01) * np.sin(np.arange(n) * 2 * np.pi * rng.uniform(50, 300) / rate)
    i = int(round(click * rate))
    k = np.arange(min(int(0.08 * rate), max(0, n - i)))
    burst = rng.normal(size=len(k)) * np.exp(-k / (rng.uniform(0.002, 0.01) * rate))
    burst[:1] = 1
    x[i : i + len(k)] += rng.uniform(0.15, 0.6) * burst
    with wave.open(path, "wb") as w:
        w.setnchannels(1), w.setsampwidth(2), w.setframerate(rate)
        w.writeframes((np.clip(x, -1, 1) * 32767).astype("<i2").tobytes())


def planar(x):
    """uint8 RGB pictures -> bytes of yuv420p pictures, BT.709 in studio range."""
    y = x.permute(0, 3, 1, 2).float()
    M = torch.tensor([[0.2126, 0.7152, 0.0722], [-0.114572, -0.385428, 0.5], [0.5, -0.454153, -0.045847]], device=x.device)
    y = torch.einsum("ij,njhw->nihw", M, y)
    c = torch.nn.functional.avg_pool2d(y[:, 1:], 2) * (224 / 255) + 128
    out = torch.cat([(y[:, 0] * (219 / 255) + 16).flatten(1), c.flatten(1)], 1)
    return out.round().clamp(0, 255).to(torch.uint8).cpu().numpy()


def pictures(kern, sw, f, at_once):
    """Batches of uint8 pictures n,h,w,3 of one clip."""
    mesh, look = scene.outfit(sw["body"], np.random.default_rng(sw["look"]))
    rng = np.random.default_rng((sw["look"], 1))
    lamp = scene.light(rng)
    rng = np.random.default_rng(f["seed"])
    post = {**scene.exposed(lamp, rng), "jpeg": 0}  # the video's own coding takes its place
    post["noise"] *= 0.5
    cam, K = f["cam"], f["K"]
    club = f["extra"].shape[1] - 18
    colour = np.concatenate([np.tile(rng.uniform(0.02, 0.6) * np.ones(3), (club, 1)), np.full((18, 3), 0.85)])
    colour[:6] = 0.03
    held = "Rs" in cam
    scenery = int(rng.integers(1 << 30))
    bg = None if held else scene.background(cam, np.random.default_rng(scenery), kern.dev)
    step = 1 if held else max(1, at_once // K)
    for i in range(0, len(f["t"]), step):
        if held:
            eye = cam["Rs"][i], cam["Cs"][i]
            bg, now = scene.background(cam, np.random.default_rng(scenery), kern.dev, eye), {**cam, "R": eye[0], "C": eye[1]}
        else:
            now = cam
        k = slice(i * K, (i + step) * K)
        x = draw.some(kern, mesh, f["M"][k], f["T"][k], (f["extra"][k], f["faces"], colour), now, look, lamp, K, bg, {**post, "seed": post["seed"] + i})
        yield x.flip(2) if sw["left"] else x


def encoder(args, f, path, wav):
    """A running ffmpeg that takes yuv420p pictures. The size of a clip is bounded by the rate that the decoder's buffer allows."""
    w, h = (int(v) for v in f["cam"]["size"])
    rate = f["fps"] // f["factor"]
    kbit = int(args.megabytes * (2 if f["fps"] > 60 else 1) * 8000 / (len(f["t"]) / rate + 0.5))
    cmd = [args.ffmpeg, "-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", f"{w}x{h}", "-framerate", str(rate), "-i", "-"]
    cmd += ["-i", wav, "-c:a", "aac", "-b:a", "96k"] if wav else []
    cmd += ["-c:v", "libx264", "-preset", args.preset, "-crf", str(args.crf), "-maxrate", f"{kbit}k", "-bufsize", f"{kbit // 2}k", "-pix_fmt", "yuv420p", "-color_range", "tv", "-colorspace", "bt709",
            "-color_primaries", "bt709", "-color_trc", "bt709", "-threads", str(args.threads), "-video_track_timescale", "90000", "-f", "mp4", path]
    return subprocess.Popen(cmd, stdin=subprocess.PIPE)


def film(kern, sw, f, name, args):
    """One clip and its truth into the folder; nothing half written stays."""
    base = os.path.join(args.out, name)
    true = truth(sw, f, name)
    wav = base + ".part.wav" if f["sound"] else None
    if wav:
        sound(wav, len(f["t"]) / f["fps"], true["audio_click_pts"], np.random.default_rng((f["seed"], 7)))
    code = encoder(args, f, base + ".part", wav)
    waiting, failed = queue.Queue(4), []

    def feed():
        while (x := waiting.get()) is not None:
            try:
                code.stdin.write(memoryview(x).cast("B"))
            except OSError as e:
                failed.append(e)

    feeder = threading.Thread(target=feed)
    feeder.start()
    try:
        for x in pictures(kern, sw, f, args.at_once):
            waiting.put(np.ascontiguousarray(planar(x)))
    finally:
        waiting.put(None)
        feeder.join()
        try:
            code.stdin.close()
        except OSError as e:
            failed.append(e)
        ok = code.wait() == 0 and not failed
        if wav:
            os.remove(wav)
    if not ok:
        raise SystemExit(f"{name}: ffmpeg did not take the pictures; try the program by hand: {args.ffmpeg}")
    with open(base + ".json.part", "w") as out:
        json.dump(true, out, separators=(",", ":"))
    os.replace(base + ".part", base + ".mp4")
    os.replace(base + ".json.part", base + ".json")


def cases(sw, names, each):
    """Rows of cases.json; with `each`, both sides of a pair also by themselves."""
    key = ("face_on", "down_the_line")
    common = dict(stature_m=round(sw["body"].stature, 2), handed="left" if sw["left"] else "right")
    files = {key[f["view"]]: n + ".mp4" for f, n in zip(sw["shots"], names)}
    fps = next((f["fps"] for f in sw["shots"] if f["factor"] > 1), None)
    stem = names[0].rsplit("_", 1)[0]
    out = [dict(case=stem, **files, **common, **({"capture_fps": fps} if fps else {}))]
    if each and len(files) > 1:
        out += [dict(case=n, **{key[f["view"]]: n + ".mp4"}, **common) for f, n in zip(sw["shots"], names)]
    return out


def list_cases(folder, seed, rows):
    """Writes this run's list, then all runs' lists as one."""
    put = lambda path, x: (json.dump(x, open(path + f".{seed}.part", "w"), indent=1), os.replace(path + f".{seed}.part", path))
    put(os.path.join(folder, f"cases_{seed}.list"), rows)
    with open(os.path.join(folder, ".lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        put(os.path.join(folder, "cases.json"), [c for p in sorted(glob.glob(os.path.join(folder, "cases_*.list"))) for c in json.load(open(p))])


def check(folder):
    """This file's events beside those of truth files with a frame grid of their own, ms."""
    for path in sorted(glob.glob(os.path.join(folder, "*.json"))):
        if path.endswith("cases.json"):
            continue
        d = json.load(open(path))
        t, xyz = np.array(d["frames"]["t"]), np.array(d["frames"]["points"])
        lead = "R" if d["golfer"]["left_handed"] else "L"
        fine = np.arange(t[0], t[-1], 1 / FINE)
        p = dict(zip(d["point_names"], motion.cubic(t, xyz, fine).transpose(1, 0, 2)))
        e = events(fine, p, np.array(d["objects"]["ball_start"]), lead)
        want = d["event_times"]
        off = {k: round(1000 * (e[k] - want[k]), 1) for k in e or {} if e[k] is not None and want.get(k) is not None}
        print(d["name"], d["video"]["capture_fps"], off)


def main():
    a = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    a.add_argument("--check", metavar="DIR", help="only set events of truth files beside those found here")
    a.add_argument("--bodies", default="../../../shared/bodies")
    a.add_argument("--library", default="library.npz")
    a.add_argument("--out")
    a.add_argument("--swings", type=int, default=40)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--names", default=",".join(NAMES))
    a.add_argument("--people", default="", help="file of people.py: new people instead of the bodies")
    a.add_argument("--ffmpeg", default="ffmpeg")
    a.add_argument("--crf", type=int, default=21)
    a.add_argument("--megabytes", type=float, default=0.65, help="bound on the pictures of one clip, twice that in slow motion")
    a.add_argument("--preset", default="medium")
    a.add_argument("--threads", type=int, default=4, help="of one ffmpeg")
    a.add_argument("--each", action="store_true", help="cases also for each side of a pair")
    a.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    a.add_argument("--workers", type=int, default=3, help="processes that plan; 0: none")
    a.add_argument("--at-once", type=int, default=24, help="moments rendered together")
    a.add_argument("--limit", type=float, default=1e9, help="seconds after which no new swing is begun")
    a.add_argument("--shrink", type=int, default=1, help="only every Nth frame, pictures N times smaller: to try things out")
    args = a.parse_args()
    if args.check:
        return check(args.check)
    if not args.out:
        a.error("--out DIR is needed")
    os.makedirs(args.out, exist_ok=True)
    began = time.time()
    jobs = [(args.seed * 1000000 + i, args.names.split(","), args.bodies, args.library, args.people) for i in range(args.swings)]
    import multiprocessing as mp

    pool = mp.get_context("spawn").Pool(args.workers) if args.workers > 0 else None
    torch.backends.cudnn.allow_tf32 = False
    kern, rows, clips, frames = draw.Kernels(args.device), [], 0, 0
    for i, sw in enumerate(pool.imap(plan, jobs) if pool else map(plan, jobs)):
        if time.time() - began > args.limit:
            break
        if sw is None:
            continue
        names = [f"s{args.seed}_{i:03d}_{('faceon', 'dtl')[f['view']]}" for f in sw["shots"]]
        for f, name in zip(sw["shots"], names):
            shrunk(f, args.shrink)
            film(kern, sw, f, name, args)
            clips, frames = clips + 1, frames + len(f["t"])
        rows += cases(sw, names, args.each)
        list_cases(args.out, args.seed, rows)
        print(f"{names} {frames} frames {time.time() - began:.0f} s", flush=True)
    if pool:
        pool.terminate()
    print(json.dumps({"swings": len({c["case"].split("_")[1] for c in rows}), "clips": clips, "frames": frames, "seconds": round(time.time() - began)}))


def shrunk(f, n):
    """Every nth frame at an nth of the size."""
    if n == 1:
        return
    cam, K = f["cam"], f["K"]
    pick = np.arange(0, len(f["t"]), n)
    moments = (pick[:, None] * K + np.arange(K)).ravel()
    f["t"], f["fps"], f["points"] = f["t"][pick], f["fps"] // n, {k: v[pick] for k, v in f["points"].items()}
    f["M"], f["T"], f["extra"] = f["M"][moments], f["T"][moments], f["extra"][moments]
    new = cam["size"] // n // 2 * 2
    cam["K"] = cam["K"] * np.array([[new[0] / cam["size"][0], 1, 1], [1, new[0] / cam["size"][0], 1], [1, 1, 1]])
    cam["K"][:2, 2] = new / 2
    cam["size"] = new
    for k in ("Rs", "Cs"):
        if k in cam:
            cam[k] = cam[k][pick]


if __name__ == "__main__":
    main()
