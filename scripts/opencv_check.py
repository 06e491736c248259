#!/usr/bin/env python3
"""What OpenCV makes of synthetic cameras, for the tests in src/calibration and src/geometry.

    opencv_check.py fixtures/geometry/opencv.json        (pip: numpy, opencv-python-headless)

Fixed seed. World: metres, x along the target line, y away from the ball, z up (right-handed).
Pixels as OpenCV counts them: (0, 0) is the centre of the first pixel.
  cameras   projection without and with Zhang distortion (cv2.projectPoints), and the way back
            (cv2.undistortPoints), normalised
  two_views a face-on and a down-the-line camera, three points of a moving body, triangulated
            (cv2.triangulatePoints) from pixels with a little noise
  marks     a camera's attitude from marks on the ground and a post (cv2.solvePnP), noisy pixels
"""
import json
import sys

import cv2
import numpy as np

SIZES = [(720, 1280), (1280, 720), (1080, 1920)]
DIGITS = 9


def plain(a):
    return np.round(np.asarray(a, float), DIGITS).tolist()


def look(centre, azimuth, pitch, roll):
    """World to camera (x right, y down, z forward) for a camera at `centre`."""
    ahead = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    right = np.array([np.cos(azimuth), -np.sin(azimuth), 0.0])
    down = np.array([0.0, 0.0, -1.0])
    level = np.stack([right, down, ahead])
    tilt = cv2.Rodrigues(np.array([pitch, 0.0, 0.0]))[0]
    turn = cv2.Rodrigues(np.array([0.0, 0.0, roll]))[0]
    rotation = turn @ tilt @ level
    return rotation, -rotation @ np.asarray(centre, float)


def matrix(size, focal, skew=1.0, off=(0.0, 0.0)):
    return np.array([[focal, 0, size[0] / 2 - 0.5 + off[0]], [0, focal * skew, size[1] / 2 - 0.5 + off[1]], [0, 0, 1]])


def project(world, rotation, shift, k, dist=None):
    return cv2.projectPoints(np.asarray(world, float), cv2.Rodrigues(rotation)[0], shift, k, dist)[0][:, 0]


def cameras(rng):
    out = []
    for n in range(6):
        size = SIZES[n % 3]
        focal = max(size) * rng.uniform(0.6, 1.1)
        k = matrix(size, focal, rng.uniform(0.995, 1.005), rng.uniform(-12, 12, 2))
        # k1 k2 p1 p2 k3 as phone lenses have them, the last camera as wide ones do
        dist = rng.normal(0, 1, 5) * [0.08, 0.04, 0.001, 0.001, 0.01]
        if n == 5:
            dist = np.array([-0.26637, -0.03859, 0.001783, -0.000281, 0.05])
        azimuth = [0.05, 1.5, -0.1][n % 3]
        ahead = np.array([np.sin(azimuth), np.cos(azimuth)])
        rotation, shift = look([*(-ahead * rng.uniform(3, 5)), rng.uniform(0.8, 1.4)], azimuth, rng.uniform(-0.05, 0.1), rng.uniform(-0.05, 0.05))
        world = rng.uniform([-1.0, -0.6, 0.0], [1.0, 0.6, 2.1], (12, 3))
        grid = rng.uniform([0, 0], size, (12, 2))
        back = cv2.undistortPoints(grid[:, None], k, dist, None, None, None, (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 500, 1e-14))[:, 0]
        out.append(dict(
            size=size, camera_matrix=plain(k), dist_coeffs=plain(dist), rotation=plain(rotation), shift=plain(shift), world=plain(world),
            pinhole=plain(project(world, rotation, shift, k)), distorted=plain(project(world, rotation, shift, k, dist)),
            pixels=plain(grid), normalised=plain(back),
        ))
    return out


def two_views(rng):
    size, times = (720, 1280), np.arange(20) / 30
    views = [look([0.1, -4.0, 1.1], 0.03, 0.04, -0.02), look([-4.5, -0.2, 1.0], 1.55, 0.02, 0.015)]
    focals = [1010.0, 1130.0]
    lower = np.stack([-0.08 * np.sin(3 * times) ** 2, 0.03 * np.sin(4 * times), 0.95 - 0.03 * np.sin(3 * times)], 1)
    upper = lower + np.stack([-0.05 + 0.06 * np.sin(3 * times), -0.22 + 0.0 * times, 0.38 + 0.01 * np.cos(4 * times)], 1)
    head = upper + np.stack([0.02 * np.sin(2 * times), -0.08 + 0.0 * times, 0.3 + 0.0 * times], 1)
    points = np.stack([lower, upper, head], 1)
    seen, solved = [], []
    for (rotation, shift), focal in zip(views, focals):
        px = project(points.reshape(-1, 3), rotation, shift, matrix(size, focal))
        seen.append(np.round(px + rng.normal(0, 0.05, px.shape), 6))
    poses = [matrix(size, f) @ np.column_stack([r, t]) for (r, t), f in zip(views, focals)]
    four = cv2.triangulatePoints(*poses, seen[0].T, seen[1].T)
    solved = (four[:3] / four[3]).T.reshape(points.shape)
    return dict(
        size=size, times=plain(times), focals=focals, rotations=[plain(r) for r, _ in views], shifts=[plain(t) for _, t in views],
        pixels=[plain(p.reshape(*points.shape[:2], 2)) for p in seen], triangulated=plain(solved), worst_from_truth_m=float(abs(solved - points).max()),
    )


def marks(rng):
    """A rod along the target line, one across, a post: enough for the pose of a camera of known focal length."""
    world = np.array([[-0.6, -1.0, 0], [0.6, -1.0, 0], [-0.6, 0.9, 0], [0.6, 0.9, 0], [0.8, 0.6, 0], [0.8, 0.6, 1.9], [-0.9, 0.5, 0.0], [-0.9, 0.5, 1.6]])
    out = []
    for n in range(6):
        size, focal = (720, 1280), 1000.0
        azimuth = rng.uniform(-0.05, 0.05)
        rotation, shift = look([rng.uniform(-0.1, 0.1), -4.6, rng.uniform(0.9, 1.3)], azimuth, rng.uniform(-0.03, 0.09), rng.uniform(-0.04, 0.04))
        px = project(world, rotation, shift, matrix(size, focal)) + rng.normal(0, 0.3, (len(world), 2))
        ok, turn, place = cv2.solvePnP(world, px, matrix(size, focal), None, flags=cv2.SOLVEPNP_SQPNP)
        # FACTS C14: the solution in front of the camera
        assert ok and (cv2.Rodrigues(turn)[0] @ world.T + place)[2].min() > 0
        turn, place = cv2.solvePnPRefineLM(world, px, matrix(size, focal), None, turn, place)
        out.append(dict(size=size, focal=focal, world=plain(world), pixels=plain(px), rotation=plain(cv2.Rodrigues(turn)[0]), shift=plain(place[:, 0]), truth=plain(rotation)))
    return out


def main():
    rng = np.random.default_rng(11)
    found = dict(opencv=cv2.__version__, cameras=cameras(rng), two_views=two_views(rng), marks=marks(rng))
    with open(sys.argv[1], "w") as f:
        json.dump(found, f, separators=(",", ":"))
        f.write("\n")


main()
