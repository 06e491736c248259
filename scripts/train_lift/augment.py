"""Turns chosen rows into a network's input and target, after random changes of camera and landmarks.

The camera changes are exact: turning a camera about its own centre moves its picture by a homography,
so landmarks, region, truth and camera pose are moved together. Landmark noise and dropped joints change
the input alone.
"""
import math
from dataclasses import dataclass

import torch

# what a tree, a bag or the picture's edge can hide: face, one arm, a hand, hips, a knee, the feet
PARTS = [list(range(11)), [13, 15, 17, 19, 21], [14, 16, 18, 20, 22], list(range(15, 23)), [23, 24], [25, 26], list(range(27, 33)), [11], [12]]
FEATURES = 39 * 8 + 9  # landmarks; region x y side, sin and cos of its rotation, picture width height, flag, network


@dataclass
class Batch:
    x: torch.Tensor  # B,N,F input as the program gives it
    mask: torch.Tensor  # B,N
    point: torch.Tensor  # B,N,19,3: u, v (region sides from its centre), depth after the lower hub (statures)
    ratio: torch.Tensor  # B,N,1
    vector: torch.Tensor  # B,N,4,3
    clip: torch.Tensor  # B,4: pitch, roll, azimuth (rad), log focal


def turn(a, b, c):
    """Rotation about x (a), y (b), z (c), small angles, B,3,3."""
    one, zero = torch.ones_like(a), torch.zeros_like(a)
    rx = torch.stack([one, zero, zero, zero, a.cos(), -a.sin(), zero, a.sin(), a.cos()], -1).view(-1, 3, 3)
    ry = torch.stack([b.cos(), zero, b.sin(), zero, one, zero, -b.sin(), zero, b.cos()], -1).view(-1, 3, 3)
    rz = torch.stack([c.cos(), -c.sin(), zero, c.sin(), c.cos(), zero, zero, zero, one], -1).view(-1, 3, 3)
    return rz @ ry @ rx


def warp(xy, rot, focal, zoom):
    """Picture points (long sides from the centre) after the camera turned by rot and zoomed."""
    ray = torch.cat([xy / focal[:, None, None, None], torch.ones_like(xy[..., :1])], -1)
    ray = torch.einsum("bij,bnpj->bnpi", rot, ray)
    return ray[..., :2] / ray[..., 2:] * (focal * zoom)[:, None, None, None]


def pose_angles(pose):
    """Pitch (+ looking down), roll (+ picture's up leans right), azimuth (0 face-on, 90 deg down-the-line)."""
    up, target = pose[:, 0], pose[:, 1]
    pitch = torch.asin((-up[:, 2]).clamp(-1, 1))
    roll = torch.atan2(up[:, 0], -up[:, 1])
    ahead = torch.tensor([0.0, 0.0, 1.0], dtype=pose.dtype) - up[:, 2:] * up
    ahead = ahead / ahead.norm(dim=1, keepdim=True)
    right = torch.linalg.cross(ahead, up)
    azimuth = torch.atan2((target * ahead).sum(1), (target * right).sum(1))
    return torch.stack([pitch, roll, azimuth], 1)


def features(land, roi, aspect, flag, network):
    """The input row: everything a program knows about one frame."""
    side = roi[..., 2:3]
    xy = (land[..., :2] - roi[..., None, :2]) / side[..., None]
    joints = torch.cat([xy, land[..., 2:]], -1).flatten(-2)
    rest = torch.cat([roi[..., :3], roi[..., 3:].sin(), roi[..., 3:].cos(), aspect, flag[..., None], network[..., None]], -1)
    return torch.cat([joints, rest], -1)


def targets(truth, roi, focal):
    """Exact outputs for the moved camera."""
    pixel = truth[..., :2] / truth[..., 2:] * focal[:, None, None, None]
    uv = (pixel - roi[..., None, :2]) / roi[..., None, 2:3]
    depth = truth[..., 2:] - truth[..., :1, 2:]
    ratio = torch.log(focal[:, None, None] / (truth[..., 0, 2:] * roi[..., 2:3]))
    p = lambda i, j: truth[..., i, :] - truth[..., j, :]
    vector = torch.stack([p(1, 0), p(3, 4), p(9, 10), p(7, 3)], -2)
    return torch.cat([uv, depth], -1), ratio, vector


def damage(land, roi, gen):
    """Landmark noise, and a few joints lost or put elsewhere."""
    b, n = land.shape[:2]
    rand = lambda *s: torch.rand(*s, generator=gen)
    side = roi[..., None, 2:3]
    noise = lambda *s: torch.randn(*s, generator=gen)
    size = 0.0015 * (rand(b, 1, 1, 1) * 2)
    land[..., :2] += noise(b, n, 39, 2) * size * side
    land[..., 5:] += noise(b, n, 39, 3) * size * 3
    # another person: where the network sees a joint is shifted for a whole clip
    person = 0.006 * rand(b, 1, 1, 1)
    land[..., :2] += noise(b, 1, 39, 2) * person * side
    land[..., 5:] += noise(b, 1, 39, 3) * person * 2
    # other pictures, other confidence: scores are duller for a whole clip, a part of the body is hidden all through it
    dull = torch.where(rand(b, 1, 1, 1) < 0.3, 1 - 0.5 * rand(b, 1, 39, 2) * rand(b, 1, 1, 1), torch.ones(b, 1, 39, 2))
    land[..., 3:5] *= dull
    part = torch.stack([torch.zeros(39).index_fill_(0, torch.tensor(p), 1) for p in PARTS])[torch.randint(len(PARTS), (b,), generator=gen)]
    hidden = part[:, None, :, None] * (rand(b, 1, 1, 1) < 0.07)
    land[..., :2] += hidden * side * 0.05 * (noise(b, 1, 39, 2) + noise(b, n, 39, 2))
    land[..., 5:] += hidden * 0.05 * (noise(b, 1, 39, 3) + noise(b, n, 39, 3))
    land[..., 3:5] *= 1 - hidden * rand(b, 1, 1, 1)
    hit = (rand(b, n, 39) < 0.06) & (rand(b, n, 1) < 0.15)
    gone = hit & (rand(b, n, 39) < 0.5)
    jump = noise(b, n, 39, 2) * 0.1 * side
    land[..., :2] += jump * hit[..., None]
    land[..., 3:5] *= (~gone)[..., None]
    return land


def assemble(rows, picks, mask, network, gen=None, augment=False):
    """picks B,N row numbers, mask B,N, network B."""
    land, roi, flag = (a[network[:, None], picks].clone() for a in (rows.land, rows.roi, rows.flag))
    truth = rows.truth[picks]
    swing = rows.row[picks[:, 0]]
    focal, aspect, pose = rows.focal[swing], rows.aspect[swing], rows.pose[swing]
    if augment:
        b = len(swing)
        rand = lambda: torch.rand(b, generator=gen) * 2 - 1
        rot = turn(rand() * math.radians(4), rand() * math.radians(4), rand() * math.radians(3))
        zoom = torch.exp(rand() * 0.2)
        land[..., :2] = warp(land[..., :2], rot, focal, zoom)
        centre = warp(roi[..., None, :2], rot, focal, zoom)[..., 0, :]
        spin = torch.atan2(rot[:, 1, 0], rot[:, 0, 0])
        # the network saw the same crop, so its own 3-D answer only turns with the picture's plane
        c, s = spin.cos()[:, None, None], spin.sin()[:, None, None]
        wx, wy = land[..., 5].clone(), land[..., 6].clone()
        land[..., 5], land[..., 6] = wx * c - wy * s, wx * s + wy * c
        roi = torch.cat([centre, roi[..., 2:3] * zoom[:, None, None], roi[..., 3:] + spin[:, None, None]], -1)
        truth = torch.einsum("bij,bnpj->bnpi", rot, truth)
        pose = torch.einsum("bij,bkj->bki", rot, pose)
        focal = focal * zoom
        flag = (flag * (1 - 0.3 * torch.rand(b, 1, generator=gen) * (torch.rand(b, 1, generator=gen) < 0.3))).clamp(0.5, 1)
        cut = torch.rand(b, 2, generator=gen) * 0.5 + 0.5  # the short side is cropped: other formats
        cut = torch.where((torch.rand(b, 1, generator=gen) < 0.2) & (aspect < 1), cut, aspect)
        aspect = cut
        land = damage(land, roi, gen)
    point, ratio, vector = targets(truth, roi, focal)
    net = network.float()[:, None].expand(*picks.shape)
    x = features(land, roi, aspect[:, None].expand(*picks.shape, 2), flag, net)
    clip = torch.cat([pose_angles(pose), torch.log(focal)[:, None]], 1)
    return Batch(x, mask, point, ratio, vector, clip)


def choose(rows, pool, count, size, gen):
    """Random swings and random subsets of their rows: B,N picks and a mask."""
    s = torch.tensor(pool)[torch.randint(len(pool), (count,), generator=gen)]
    picks = torch.zeros(count, size, dtype=torch.long)
    mask = torch.zeros(count, size)
    for i, k in enumerate(s.tolist()):
        a, n = int(rows.first[k]), int(rows.first[k + 1] - rows.first[k])
        low, span = 0, n
        if torch.rand(1, generator=gen).item() < 0.3:  # a clip that starts late or stops early
            span = max(8, int(n * (0.6 + 0.4 * torch.rand(1, generator=gen).item())))
            low = int(torch.randint(n - span + 1, (1,), generator=gen))
        take = min(span, size)
        picks[i] = a
        picks[i, :take] = a + low + torch.randperm(span, generator=gen)[:take]
        mask[i, :take] = 1
    return picks, mask
