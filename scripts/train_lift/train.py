"""Trains one of the networks that lie between the pose network and the fit.

    python train.py --data ../shared/lifting [--extra EXTRA] --ckpt held.pt       # m1 f1 m7 held out of everything
    python train.py --data ../shared/lifting [--extra EXTRA] --ckpt lift.pt --init held.pt --all ...      # all bodies

`run.sh` holds the runs behind the shipped file, its tables, the calibration and the export; EXTRA is what ../render_bodies makes.
Fixed seeds; 0.12 s a step on one idle CPU core: both chains of run.sh, side by side on two cores, take 45 minutes.
`--device cuda` records each step as a graph and replays it: 4 ms a step on one H100.
"""
import argparse
import copy
import math
import random
import time

import torch

import augment
import data
import model as M
from data import HELD


def statistics(rows, pool, gen):
    """Means and spreads of inputs and targets, from augmented training batches."""
    xs, ys, cs = [], [], []
    for i in range(24):
        picks, mask = augment.choose(rows, pool, 48, 16, gen)
        network = torch.randint(2, (48,), generator=gen, device=pool.device) * (rows.two[picks[:, 0]] > 0)
        b = augment.assemble(rows, picks, mask, network, gen, True)
        m = mask.bool()
        xs.append(b.x[m]), ys.append(M.pack(b)[m]), cs.append(b.clip)
    x, y, c = torch.cat(xs), torch.cat(ys), torch.cat(cs)
    asked = x[x[:, -1] > 0]
    mean, sd = x.mean(0), x.std(0)
    if len(asked) > 100:
        mean[augment.MARKS : -1], sd[augment.MARKS : -1] = asked.mean(0)[augment.MARKS : -1], asked.std(0)[augment.MARKS : -1]
    mean[-1], sd[-1] = 0.5, 0.5
    # scores hardly vary in rendered pictures and will in real ones: a small change must stay a small change
    floor = torch.full((augment.FEATURES,), 1e-2, device=x.device)
    floor[:312].view(39, 8)[:, 3:5] = 0.2
    floor[augment.MARKS - 2] = 0.3
    return {"x_mean": mean, "x_sd": torch.maximum(sd, floor), "y_mean": y.mean(0), "y_sd": y.std(0).clamp_min(1e-3),
            "c_mean": c.mean(0), "c_sd": c.std(0).clamp_min(1e-3)}


def nll(r, s, nu=4.0, beta=0.5):
    """Student-t negative log likelihood of residual r, scale exp(s)+floor; weighted by scale^(2 beta) (Seitzer et al.
    2022, beta-NLL) so that hard frames are not given up."""
    sd = torch.exp(s.clamp(-6, 4)) + M.SD_FLOOR
    loss = torch.log(sd) + (nu + 1) / 2 * torch.log1p((r / sd) ** 2 / nu)
    return loss * sd.detach().clamp(0.02, 2.0) ** (2 * beta)


def weights():
    """Loss weights: the hubs and the axes carry the measures; the lower hub's depth is zero by definition."""
    w = torch.ones(M.P, 3)
    w[:2] *= 3
    w[:, 2] *= 0.5
    w[0, 2] = 0
    return torch.cat([w.flatten(), torch.tensor([4.0]), torch.full((12,), 4.0)])


def golf(c):
    """Rows target, ball, up in camera axes, from pitch, roll, azimuth (B,3)."""
    p, r, a = c[:, 0], c[:, 1], c[:, 2]
    up = torch.stack([p.cos() * r.sin(), -p.cos() * r.cos(), -p.sin()], 1)
    ahead = augment.on(augment.AHEAD, up) - up[:, 2:] * up
    ahead = ahead / ahead.norm(dim=1, keepdim=True)
    right = torch.linalg.cross(ahead, up)
    target = a.cos()[:, None] * right + a.sin()[:, None] * ahead
    return torch.stack([target, torch.linalg.cross(target, up), up], 1)


def measured(y, c, roi, mask):
    """What the coach reads, in golf axes: vectors, hubs against the clip's mean, headings of shoulders and hips."""
    g, focal = golf(c), torch.exp(c[:, 3])[:, None]
    vec = torch.einsum("bij,bnkj->bnki", g, y[..., 3 * M.P + 1 :].unflatten(-1, (4, 3)))
    z0 = focal / (torch.exp(y[..., 3 * M.P]) * roi[..., 2])
    p = y[..., :9].unflatten(-1, (3, 3))
    z = z0[..., None] + p[..., 2]
    xy = (p[..., :2] * roi[..., None, 2:3] + roi[..., None, :2]) / focal[..., None, None] * z[..., None]
    hub = torch.einsum("bij,bnkj->bnki", g, torch.cat([xy, z[..., None]], -1))
    hub = hub - ((hub * mask[..., None, None]).sum(1) / mask.sum(1)[:, None, None])[:, None]
    flat = vec[..., 1:3, :2]
    return vec, hub, flat / (flat.norm(dim=-1, keepdim=True) + 0.02)


def derived_loss(net, y, c, b):
    """Errors of the measures themselves, so that the outputs' errors learn to cancel in them."""
    roi = b.x[..., 312:315]
    got = measured(y * net.y_sd + net.y_mean, c * net.c_sd + net.c_mean, roi, b.mask)
    with torch.no_grad():
        want = measured(M.pack(b), b.clip, roi, b.mask)
    # typical errors at the time of writing: 2 % and 1 % of the stature, 8 degrees
    loss = 0
    for g, w, size, part in zip(got, want, (0.02, 0.008, 0.15), (1.0, 1.0, 0.7)):
        d = (g - w) / size
        loss = loss + part * (torch.nn.functional.smooth_l1_loss(d, torch.zeros_like(d), reduction="none").mean((2, 3)) * b.mask).sum() / b.mask.sum()
    return loss


def step_loss(net, b, w, derived=0.05):
    y, ys, c, cs = net.raw(b.x, b.mask)
    ty = (M.pack(b) - net.y_mean) / net.y_sd
    tc = (b.clip - net.c_mean) / net.c_sd
    n = b.mask.sum()
    r = ty - y
    frame = ((nll(r, ys) * w).sum(-1) * b.mask).sum() / n / w.sum()
    clip = nll(tc - c, cs).mean()
    # travel is a difference within the clip: errors against the clip's own mean error count once more
    common = (r * b.mask[..., None]).sum(1, keepdim=True) / b.mask.sum(1)[:, None, None]
    rel = torch.cat([r[..., :2] - common[..., :2], r[..., 3:5] - common[..., 3:5]], -1)
    diff = (torch.nn.functional.smooth_l1_loss(rel, torch.zeros_like(rel), beta=0.02, reduction="none").mean(-1) * b.mask).sum() / n
    return frame + 0.15 * clip + 1.0 * diff + derived * derived_loss(net, y, c, b)


SIZES = {"any": (12, 16, 20, 24), "seq": (28, 36, 46, 62)}


def plan(rng):
    """Set size and swings of a step: most short sets of any file, some long ones of whole clips."""
    kind = "any" if rng.random() < 0.65 else "seq"
    return kind, rng.choice(SIZES[kind])


def weighed(rows, pool, share):
    """The pool with swings repeated so that those with the golfer network's words are `share` of it."""
    asked = [s for s in pool if rows.have[rows.first[s]] > 0]
    if not asked or share < 0:
        return pool
    other = [s for s in pool if rows.have[rows.first[s]] == 0]
    want = int(len(other) * share / (1 - share)) if other else len(asked)
    return other + (asked * (want // len(asked) + 1))[: max(want, 1)]


class Trainer:
    """One optimiser step on a drawn batch. On a CUDA card each set size is recorded once as a graph and replayed."""

    def __init__(self, rows, pools, net, args, gen):
        self.rows, self.pools, self.net, self.args, self.gen = rows, pools, net, args, gen
        self.dev = rows.land.device
        self.w = weights().to(self.dev)
        self.ema = copy.deepcopy(net)
        self.keep = torch.zeros((), device=self.dev)  # how much of the running mean stays
        self.lr = torch.tensor(args.lr, device=self.dev)
        decay = [p for p in net.parameters() if p.dim() > 1]
        plain = [p for p in net.parameters() if p.dim() <= 1]
        cuda = self.dev.type == "cuda"
        self.opt = torch.optim.AdamW([{"params": decay, "weight_decay": args.decay}, {"params": plain, "weight_decay": 0.0}], lr=self.lr if cuda else args.lr, betas=(0.9, 0.98), capturable=cuda)
        self.total = torch.zeros((), device=self.dev)
        self.graphs = {} if cuda else None

    def body(self, kind, n):
        args, gen, dev = self.args, self.gen, self.dev
        count = args.frames // n
        picks, mask = augment.choose(self.rows, self.pools[kind], count, n, gen)
        network = ((torch.rand(count, generator=gen, device=dev) < 0.3) & (self.rows.two[picks[:, 0]] > 0)).long()
        b = augment.assemble(self.rows, picks, mask, network, gen, True, args.noise)
        if args.no_world:
            b.x[..., : 39 * 8].view(*b.x.shape[:2], 39, 8)[..., 5:] = 0
        loss = step_loss(self.net, b, self.w, args.derived)
        self.opt.zero_grad(set_to_none=False)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self.opt.step()
        with torch.no_grad():
            for p, q in zip(self.ema.parameters(), self.net.parameters()):
                p.mul_(self.keep).add_((1 - self.keep) * q)
            self.total += loss.detach()

    def step(self, kind, n):
        if self.graphs is None:
            return self.body(kind, n)
        key = kind, n
        if key not in self.graphs:
            side = torch.cuda.Stream()
            side.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(side):
                for _ in range(2):
                    self.body(kind, n)
            torch.cuda.current_stream().wait_stream(side)
            self.graphs[key] = torch.cuda.CUDAGraph()
            with torch.cuda.graph(self.graphs[key]):
                self.body(kind, n)
        self.graphs[key].replay()


def train(rows, pool, args):
    cuda = args.device != "cpu"
    gen = None if cuda else torch.Generator().manual_seed(args.seed)
    torch.manual_seed(args.seed)
    rng = random.Random(args.seed)
    as_tensor = lambda p: torch.tensor(p, device=args.device)
    pools = {"any": as_tensor(weighed(rows, pool, args.share)), "seq": as_tensor(weighed(rows, [s for s in pool if rows.long[s]], args.share))}
    rows = rows.to(args.device)
    stats = statistics(rows, pools["any"], gen)
    net = M.Lift(stats, d=args.width, layers=args.layers, heads=args.width // 32, drop=args.drop, alone=args.alone).to(args.device)
    if args.init:
        net.load_state_dict(torch.load(args.init, map_location=args.device))
    t = Trainer(rows, pools, net, args, gen)
    start = time.time()
    rise, slow = min(300, args.steps / 16), max(0.001, 4 / args.steps)
    for step in range(args.steps):
        lr = args.lr * min(1, (step + 1) / rise) * (0.5 + 0.5 * math.cos(math.pi * step / args.steps))
        t.keep.fill_(min(1 - slow, (step + 1) / (step + 10)))
        t.lr.fill_(lr)
        if not cuda:
            for g in t.opt.param_groups:
                g["lr"] = lr
        t.step(*plan(rng))
        if step % 500 == 499:
            print(f"step {step + 1} loss {t.total.item() / 500:.4f} lr {lr:.2e} {(time.time() - start) / (step + 1):.4f} s/step", flush=True)
            t.total.zero_()
        if step % 500 == 499 or step == args.steps - 1:
            torch.save({k: v.cpu() for k, v in t.ema.state_dict().items()}, args.ckpt)
    return t.ema


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--all", action="store_true")
    a.add_argument("--init", default="", help="checkpoint to go on from")
    a.add_argument("--steps", type=int, default=9000)
    a.add_argument("--width", type=int, default=160)
    a.add_argument("--layers", type=int, default=4)
    a.add_argument("--frames", type=int, default=768, help="frames a step")
    a.add_argument("--extra", default="", help="folder of files made by ../render_bodies")
    a.add_argument("--share", type=float, default=-1, help="of the draws, swings with the golfer network's words")
    a.add_argument("--noise", type=float, default=1.0, help="strength of the landmark noise")
    a.add_argument("--drop", type=float, default=0.05)
    a.add_argument("--decay", type=float, default=0.05)
    a.add_argument("--files", default="", help="names of lifting files, instead of all for training")
    a.add_argument("--device", default="cpu")
    a.add_argument("--lr", type=float, default=1e-3)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--threads", type=int, default=1)
    a.add_argument("--derived", type=float, default=0.05, help="weight of the loss on the measures")
    a.add_argument("--alone", action="store_true", help="ablation: every frame by itself")
    a.add_argument("--no-world", action="store_true", help="ablation: no world landmarks")
    args = a.parse_args()
    torch.set_num_threads(args.threads)
    rows = data.read(args.data, args.files.split(",") if args.files else data.TRAIN, data.rendered(args.extra))
    pool = data.swings(rows, lambda body, kind: args.all or body not in HELD)
    print(len(pool), "swings", sum(rows.long[s] for s in pool), "whole clips", flush=True)
    net = train(rows, pool, args)
    print("parameters", sum(p.numel() for p in net.parameters()))


if __name__ == "__main__":
    main()
