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
HIDDEN = torch.stack([torch.zeros(39).index_fill_(0, torch.tensor(p), 1) for p in PARTS])
AHEAD = torch.tensor([0.0, 0.0, 1.0])
LONGEST = 96  # frames of the longest clip in any file, rounded up
MARKS = 39 * 8 + 9  # landmarks; region x y side, sin and cos of its rotation, picture width height, flag, network
FEATURES = MARKS + 76 + 1  # and what the golfer network says, in picture axes; whether it was asked


@dataclass
class Batch:
    x: torch.Tensor  # B,N,F input as the program gives it
    mask: torch.Tensor  # B,N
    point: torch.Tensor  # B,N,19,3: u, v (region sides from its centre), depth after the lower hub (statures)
    ratio: torch.Tensor  # B,N,1
    vector: torch.Tensor  # B,N,4,3
    clip: torch.Tensor  # B,4: pitch, roll, azimuth (rad), log focal


_COPIES = {}


def on(constant, like):
    """The constant on the device of `like`, copied once."""
    key = (id(constant), like.device)
    if key not in _COPIES:
        _COPIES[key] = constant.to(like.device)
    return _COPIES[key]


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
    ahead = on(AHEAD, pose) - up[:, 2:] * up
    ahead = ahead / ahead.norm(dim=1, keepdim=True)
    right = torch.linalg.cross(ahead, up)
    azimuth = torch.atan2((target * ahead).sum(1), (target * right).sum(1))
    return torch.stack([pitch, roll, azimuth], 1)


def turned(xy, angle):
    """Picture vectors (...,2) turned by angle (...), y down."""
    c, s = angle.cos(), angle.sin()
    return torch.stack([c * xy[..., 0] - s * xy[..., 1], s * xy[..., 0] + c * xy[..., 1]], -1)


def unturned(image, rotation):
    """The golfer network's words, turned from its square's frame to the picture's. image ...,76; rotation ...."""
    p, v, r = image[..., :57].unflatten(-1, (19, 3)), image[..., 58:].unflatten(-1, (6, 3)), rotation[..., None]
    p = torch.cat([turned(p[..., :2], r), p[..., 2:]], -1)
    v = torch.cat([turned(v[..., :2], r), v[..., 2:]], -1)
    return torch.cat([p.flatten(-2), image[..., 57:58], v.flatten(-2)], -1)


def features(land, roi, aspect, flag, network, image, have):
    """The input row: everything a program knows about one frame."""
    side = roi[..., 2:3]
    xy = (land[..., :2] - roi[..., None, :2]) / side[..., None]
    joints = torch.cat([xy, land[..., 2:]], -1).flatten(-2)
    rest = torch.cat([roi[..., :3], roi[..., 3:].sin(), roi[..., 3:].cos(), aspect, flag[..., None], network[..., None]], -1)
    return torch.cat([joints, rest, unturned(image, roi[..., 3]) * have[..., None], have[..., None]], -1)


def targets(truth, roi, focal):
    """Exact outputs for the moved camera."""
    pixel = truth[..., :2] / truth[..., 2:] * focal[:, None, None, None]
    uv = (pixel - roi[..., None, :2]) / roi[..., None, 2:3]
    depth = truth[..., 2:] - truth[..., :1, 2:]
    ratio = torch.log(focal[:, None, None] / (truth[..., 0, 2:] * roi[..., 2:3]))
    p = lambda i, j: truth[..., i, :] - truth[..., j, :]
    vector = torch.stack([p(1, 0), p(3, 4), p(9, 10), p(7, 3)], -2)
    return torch.cat([uv, depth], -1), ratio, vector


def damage(land, roi, gen, strength):
    """Landmark noise (times strength), and a few joints lost or put elsewhere."""
    b, n = land.shape[:2]
    dev = land.device
    rand = lambda *s: torch.rand(*s, generator=gen, device=dev)
    side = roi[..., None, 2:3]
    noise = lambda *s: torch.randn(*s, generator=gen, device=dev)
    size = 0.0015 * strength * (rand(b, 1, 1, 1) * 2)
    land[..., :2] += noise(b, n, 39, 2) * size * side
    land[..., 5:] += noise(b, n, 39, 3) * size * 3
    # another person: where the network sees a joint is shifted for a whole clip
    person = 0.006 * strength * rand(b, 1, 1, 1)
    land[..., :2] += noise(b, 1, 39, 2) * person * side
    land[..., 5:] += noise(b, 1, 39, 3) * person * 2
    # other pictures, other confidence: scores are duller for a whole clip, a part of the body is hidden all through it
    dull = torch.where(rand(b, 1, 1, 1) < 0.3, 1 - 0.5 * rand(b, 1, 39, 2) * rand(b, 1, 1, 1), torch.ones(b, 1, 39, 2, device=dev))
    land[..., 3:5] *= dull
    part = on(HIDDEN, land)[torch.randint(len(PARTS), (b,), generator=gen, device=dev)]
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


# sizes of what other codecs, squares and clothes change in the golfer network's words: points u v depth, ratio, vectors, up and target
WORDS = torch.cat([torch.tensor([0.0015, 0.0015, 0.01]).repeat(19), torch.tensor([0.01]), torch.full((12,), 0.015), torch.full((6,), 0.03)])


def blurred(image, gen):
    """The golfer network's words less sharp, frame by frame and half as much through the clip: a small change in a picture
    must not turn the body."""
    b, n = image.shape[:2]
    dev = image.device
    noise = lambda *s: torch.randn(*s, generator=gen, device=dev)
    size = 1.5 * torch.rand(b, 1, 1, generator=gen, device=dev) * on(WORDS, image)
    return image + size * (noise(b, n, 76) + 0.5 * noise(b, 1, 76))


def assemble(rows, picks, mask, network, gen=None, augment=False, strength=1.0):
    """picks B,N row numbers, mask B,N, network B; strength of the landmark noise."""
    land, roi, flag = (a[network[:, None], picks].clone() for a in (rows.land, rows.roi, rows.flag))
    truth = rows.truth[picks]
    image, have = rows.image[picks], rows.have[picks]  # moved cameras do not change what is in the square
    swing = rows.row[picks[:, 0]]
    focal, aspect, pose = rows.focal[swing], rows.aspect[swing], rows.pose[swing]
    if augment:
        b, dev = len(swing), swing.device
        rand = lambda: torch.rand(b, generator=gen, device=dev) * 2 - 1
        chance = lambda *s: torch.rand(*s, generator=gen, device=dev)
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
        flag = (flag * (1 - 0.3 * chance(b, 1) * (chance(b, 1) < 0.3))).clamp(0.5, 1)
        cut = chance(b, 2) * 0.5 + 0.5  # the short side is cropped: other formats
        cut = torch.where((chance(b, 1) < 0.2) & (aspect < 1), cut, aspect)
        aspect = cut
        land = damage(land, roi, gen, strength)
        have = have * (chance(b, 1) > 0.1)
        image = blurred(image, gen)
    point, ratio, vector = targets(truth, roi, focal)
    net = network.float()[:, None].expand(*picks.shape)
    x = features(land, roi, aspect[:, None].expand(*picks.shape, 2), flag, net, image, have)
    clip = torch.cat([pose_angles(pose), torch.log(focal)[:, None]], 1)
    return Batch(x, mask, point, ratio, vector, clip)


def choose(rows, pool, count, size, gen):
    """Random swings of the pool (a tensor) and random subsets of their rows: B,N picks and a mask."""
    dev = pool.device
    rand = lambda *s: torch.rand(*s, generator=gen, device=dev)
    s = pool[torch.randint(len(pool), (count,), generator=gen, device=dev)]
    a, n = rows.first[s], rows.first[s + 1] - rows.first[s]
    # a third of the clips start late or stop early
    part = torch.where(rand(count) < 0.3, 0.6 + 0.4 * rand(count), torch.ones(count, device=dev))
    span = torch.maximum((n * part).long(), n.clamp_max(8))
    low = (rand(count) * (n - span + 1)).long()
    key = rand(count, LONGEST) + 2 * (torch.arange(LONGEST, device=dev) >= span[:, None])
    picks = a[:, None] + (low[:, None] + key.argsort(1)[:, :size])
    mask = (torch.arange(size, device=dev) < span[:, None]).float()
    return torch.where(mask > 0, picks, a[:, None]), mask
