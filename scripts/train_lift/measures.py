"""The measures of MEASURES.md from one clip's outputs, as the program takes them, and their sd.

In: per-frame values in camera axes (network or truth). Out: golf axes (target, ball, up), metres and degrees.
"""
import numpy as np

from data import POINTS

P = len(POINTS)
WS = POINTS.index("lead_wrist"), POINTS.index("lead_shoulder")


def golf(pitch, roll, azimuth):
    """3x3 matrix of rows target, ball, up in camera axes."""
    up = np.array([np.cos(pitch) * np.sin(roll), -np.cos(pitch) * np.cos(roll), -np.sin(pitch)])
    ahead = np.array([0, 0, 1.0]) - up[2] * up
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, up)
    target = np.cos(azimuth) * right + np.sin(azimuth) * ahead
    return np.stack([target, np.cross(target, up), up])


def positions(y, roi, focal):
    """19 points in camera axes, statures: from u, v, depth and the ratio."""
    pt = y[:, : 3 * P].reshape(-1, P, 3)
    z0 = focal / (np.exp(y[:, 3 * P]) * roi[:, 2])
    z = z0[:, None] + pt[:, :, 2]
    xy = pt[:, :, :2] * roi[:, None, 2:3] + roi[:, None, :2]
    return np.concatenate([xy / focal * z[..., None], z[..., None]], 2)


def wrap(a):
    return (a + 180) % 360 - 180


def measures(y, roi, focal, pose, stature, phase, depth=None):
    """dict of per-frame measures. y N,70 natural units; depth: clip depth to use instead of each frame's own."""
    g = golf(*pose)
    still = phase == 0
    pos = positions(y, roi, focal) if depth is None else depth
    world = pos[:, :3] @ g.T * stature * 100
    vec = y[:, 3 * P + 1 :].reshape(-1, 4, 3) @ g.T
    out = {}
    for i, hub in enumerate(("lower_hub", "upper_hub", "head")):
        travel = world[:, i] - world[still, i].mean(0)
        for k, axis in enumerate(("target", "ball", "up")):
            out[f"{hub}_{axis}"] = travel[:, k]
    out["hub_offset"] = vec[:, 0, 0] * stature * 100
    out["spine_tilt"] = np.degrees(np.arctan2(-vec[:, 0, 0], vec[:, 0, 2]))
    out["forward_bend"] = np.degrees(np.arctan2(vec[:, 0, 1], vec[:, 0, 2]))
    for name, i in (("thorax_turn", 1), ("pelvis_turn", 2)):
        a = vec[:, i]
        ref = a[still].mean(0)
        out[name] = np.degrees(np.unwrap(np.arctan2(a[:, 1], a[:, 0]) - np.arctan2(ref[1], ref[0])))
        out[name] = wrap(out[name])
    out["separation"] = wrap(out["thorax_turn"] - out["pelvis_turn"])
    out["lead_arm"] = np.degrees(np.arcsin(np.clip(vec[:, 3, 2] / np.linalg.norm(vec[:, 3], axis=1), -1, 1)))
    out["shoulder_slope"] = np.degrees(np.arctan2(-vec[:, 1, 2], np.abs(vec[:, 1, 0])))
    out["hip_slope"] = np.degrees(np.arctan2(-vec[:, 2, 2], np.abs(vec[:, 2, 0])))
    return out
