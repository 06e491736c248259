"""Teaches the landmark network the golfer's true points, on the squares that ../render_bodies/make.py --crops wrote.

    python learn.py --rows EXTRA --crops CROPS --lifting LIFTING --models ../../models --ckpt golfer.pt --seconds 600
    torchrun --nproc-per-node 2 learn.py ...              # one network on two cards, each with half the files
    python learn.py ... --ckpt golfer.pt --read OUT       # writes what it says of every row: OUT/golfer_SEED.npy

Bodies m1, f1, m7 are never learned from. Of the other swings those whose number ends in 0 to 6 are learned from; from the
rest (7 to 9) the corrector learns how far this network can be trusted; and, where it learns on from one before (--init), from what
that one said of all of them (make.py --golfer). Needs a GPU; time is given, not steps.
"""
import argparse
import math
import os
import time

import numpy as np
import torch
import torch.distributed as dist

import net as N

import data  # of ../train_lift, whose folder net.py puts on the path

HELD = data.HELD
F = torch.nn.functional
RANK, RANKS = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))


def squares(args, path):
    """What --crops wrote beside a file of rows, n,256,256,3."""
    return np.memmap(os.path.join(args.crops, f"crops_{data.seed_of(path)}.bin"), np.uint8, "r").reshape(-1, 256, 256, 3)


class Set:
    """Rows and squares of this card's share of the files."""

    def __init__(self, args, dev, keep):
        load = data.reader(args.lifting)
        self.parts, wanted = [], []
        for path in data.rendered(args.rows)[RANK::RANKS]:
            raw = load(path, ("full",))
            r = data.read_file(lambda p, models, raw=raw: raw, path, ("full",))
            assert (np.diff(raw["row"]) >= 0).all()
            use = keep(raw["id"], raw["body"])[raw["row"]]
            c = squares(args, path)
            assert len(c) == len(use), (path, len(c), len(use))
            left = raw["left_handed"][raw["row"]]
            self.parts.append((raw["id"], r, use, left))
            wanted.append((c, np.flatnonzero(use)))
        self.crop = torch.empty((sum(len(w) for _, w in wanted), 256, 256, 3), dtype=torch.uint8, device=dev)
        at = 0
        for c, where in wanted:
            for i in range(0, len(where), 2048):
                part = torch.from_numpy(c[where[i : i + 2048]])
                self.crop[at : at + len(part)] = part.to(dev)
                at += len(part)
        cat = lambda f: torch.cat([f(r)[torch.from_numpy(use)] for _, r, use, _ in self.parts]).to(dev)
        swing = lambda a: lambda r: getattr(r, a)[r.row]
        self.truth, self.roi = cat(lambda r: r.truth), cat(lambda r: r.roi[0])
        self.focal, self.pose = cat(swing("focal")), cat(swing("pose"))
        self.left = torch.from_numpy(np.concatenate([left[use] for _, _, use, left in self.parts])).to(dev)
        self.body = np.concatenate([np.array(r.body)[r.row.numpy()][use] for _, r, use, _ in self.parts])
        print(len(self.crop), "squares", flush=True)

    def batch(self, k, gen=None):
        x, roi = N.square(self.crop[k], self.left[k]), self.roi[k]
        if gen is not None:
            x, roi = moved(x, roi, gen)
            x = changed(x, gen)
        return x, N.targets(self.truth[k], roi, self.focal[k], self.pose[k])


def moved(x, roi, gen):
    """Another square on the same picture: as another frame or detection would have put it."""
    b, dev = len(x), x.device
    rand = lambda *s: torch.rand(*s, generator=gen, device=dev) * 2 - 1
    d, angle, scale = 0.03 * rand(b, 2), 0.1 * rand(b), torch.exp(0.07 * rand(b))
    g = torch.arange(256, device=dev) / 256 - 0.5
    p = torch.stack(torch.meshgrid(g, g, indexing="xy"), -1)[None].expand(b, -1, -1, -1)
    p = N.turned(p * scale[:, None, None, None], angle[:, None, None]) + d[:, None, None]
    x = F.grid_sample(x, 2 * p + 1 / 256, mode="bilinear", padding_mode="border", align_corners=False)
    centre = roi[:, :2] + roi[:, 2:3] * N.turned(d, roi[:, 3])
    return x, torch.cat([centre, (roi[:, 2] * scale)[:, None], (roi[:, 3] + angle)[:, None]], 1)


def changed(x, gen):
    """Other light, colours, sharpness and noise; a patch hidden."""
    b, dev = len(x), x.device
    rand = lambda *s: torch.rand(*s, generator=gen, device=dev)
    randn = lambda *s: torch.randn(*s, generator=gen, device=dev)
    x = x.clamp_min(1e-3) ** torch.exp(0.25 * randn(b, 1, 1, 1)) * torch.exp(0.15 * randn(b, 1, 1, 1) + 0.07 * randn(b, 3, 1, 1))
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * torch.where(rand(b, 1, 1, 1) < 0.15, 2 * rand(b, 1, 1, 1) ** 2, torch.ones(b, 1, 1, 1, device=dev))
    k = torch.tensor([1.0, 2, 1], device=dev)
    k = (k[:, None] * k / 16).expand(3, 1, 3, 3)
    blur = F.conv2d(F.pad(x, (1, 1, 1, 1), mode="replicate"), k, groups=3)
    x = torch.where(rand(b, 1, 1, 1) < 0.3, x + (blur - x) * 2 * rand(b, 1, 1, 1), x)
    small = F.interpolate(F.interpolate(x, scale_factor=0.5, mode="area"), size=256, mode="bilinear", align_corners=False)
    x = torch.where(rand(b, 1, 1, 1) < 0.15, small, x)
    k = torch.randperm(b, generator=gen, device=dev)[: round(0.35 * b)]
    x = x.index_copy(0, k, coded(x[k], gen))
    g = torch.arange(256, device=dev) / 256
    c, h = rand(b, 2), 0.03 + 0.12 * rand(b, 2)
    hide = ((g[None] - c[:, :1]).abs() < h[:, :1])[:, None, None, :] & ((g[None] - c[:, 1:]).abs() < h[:, 1:])[:, None, :, None]
    x = torch.where(hide & (rand(b, 1, 1, 1) < 0.2), rand(b, 3, 1, 1).expand_as(x), x)
    x = x + randn(*x.shape) * 0.03 * rand(b, 1, 1, 1)
    return x.clamp(0, 1)


def coded(x, gen):
    """As video coding leaves a picture: cosine transform in blocks, rounded, colour and fine detail more coarsely."""
    b, dev = len(x), x.device
    n, (i, j) = 4 << int(torch.randint(2, (1,)).item()), torch.randint(8, (2,)).tolist()
    k = torch.arange(n, device=dev).float()
    D = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / (2 * n)) * torch.where(k[:, None] == 0, math.sqrt(1 / n), math.sqrt(2 / n))
    grey = x.mean(1, keepdim=True)
    p = torch.cat([grey, x - grey], 1).roll((i, j), (2, 3)).view(b, 4, 256 // n, n, 256 // n, n).transpose(3, 4)
    coarse = 0.01 + 0.09 * torch.rand(b, 1, 1, 1, 1, 1, generator=gen, device=dev) * (1 + 0.7 * (k[:, None] + k[None]) * 4 / n)
    coarse = coarse * torch.tensor([1.0, 2, 2, 2], device=dev).view(4, 1, 1, 1, 1)
    both = lambda p, m: (((p @ m).transpose(-1, -2)) @ m).transpose(-1, -2)  # m.T @ p @ m, as two large products
    p = both(torch.round(both(p, D.T) / coarse) * coarse, D)
    p = p.transpose(3, 4).reshape(b, 4, 256, 256).roll((-i, -j), (2, 3))
    return p[:, :1] + p[:, 1:]


def loss_weights(dev):
    w = torch.ones(19, 3)
    w[:2] *= 3
    w[:, 2] *= 0.5
    w[0, 2] = 0
    return torch.cat([w.flatten(), torch.tensor([2.0]), torch.full((12,), 4.0), torch.full((6,), 1.0)]).to(dev)


def nll(r, s, nu=4.0, beta=0.5):
    """As ../train_lift: Student-t, beta-NLL (Seitzer et al. 2022)."""
    sd = torch.exp(s.clamp(-6, 4)) + N.SD_FLOOR
    return (torch.log(sd) + (nu + 1) / 2 * torch.log1p((r / sd) ** 2 / nu)) * sd.detach().clamp(0.02, 2.0) ** (2 * beta)


def apart(a, b, s, nu=4.0, beta=0.5):
    """As nll, of the difference between what is said of two pictures of one square: their half square is the variance."""
    sd = (torch.exp(s.clamp(-6, 4)) + N.SD_FLOOR).detach()
    return (nu + 1) / 2 * torch.log1p((a - b) ** 2 / (2 * sd**2 * nu)) * sd.clamp(0.02, 2.0) ** (2 * beta)


@torch.no_grad()
def errors(net, s, k):
    """Median and 90 % of errors in the square's own frame: hubs (share of stature), trunk, lines (deg)."""
    if len(k) == 0:
        return "none"
    y, t = [], []
    for i in range(0, len(k), 512):
        x, want = s.batch(k[i : i + 512])
        y.append(net(x)[0]), t.append(want)
    y, t = torch.cat(y), torch.cat(t)
    per = torch.exp(-t[:, 57:58])  # region sides to statures
    out = {}
    for name, c in (("lower hub", (0, 1)), ("upper hub", (3, 4))):
        e = ((y[:, c] - t[:, c]) * per).abs().flatten()
        out[name] = (100 * e.median().item(), 100 * e.quantile(0.9).item())
    for name, i in (("trunk", 58), ("shoulders", 61), ("hips", 64), ("lead arm", 67), ("up", 70), ("target", 73)):
        a = torch.rad2deg(torch.acos(F.cosine_similarity(y[:, i : i + 3], t[:, i : i + 3]).clamp(-1, 1)))
        out[name] = (a.median().item(), a.quantile(0.9).item())
        if i == 58:
            e = torch.rad2deg(torch.atan2(y[:, 58], -y[:, 59]) - torch.atan2(t[:, 58], -t[:, 59])).abs()
            out["trunk in picture"] = (e.median().item(), e.quantile(0.9).item())
    return "  ".join(f"{n} {a:.2f}/{b:.2f}" for n, (a, b) in out.items())


def shared(net, f):
    """The mean of all cards' gradients, put back in place; and of the share of the time that is gone, so that all stop together."""
    grads = [p.grad for p in net.parameters() if p.grad is not None]
    flat = torch.cat([g.flatten() for g in grads] + [torch.tensor([f], device=grads[0].device)])
    if RANKS > 1:
        dist.all_reduce(flat)
        flat /= RANKS
    flat = torch.nan_to_num(flat, 0.0, 0.0, 0.0)  # half precision can run over: such a step is left out
    for g, new in zip(grads, flat.split([g.numel() for g in grads] + [1])):
        g.copy_(new.view_as(g))
    return flat[-1].item()


def learn(args, dev):
    s = Set(args, dev, lambda ids, bodies: data.learned(ids, bodies) | (ids % 10 == 9))
    ids = np.concatenate([ids[r.row.numpy()][use] for ids, r, use, _ in s.parts])
    mine = torch.from_numpy(np.flatnonzero(data.learned(ids, s.body))).to(dev)
    known = torch.from_numpy(np.flatnonzero((ids % 10 == 9) & ~np.isin(s.body, HELD))[:6000]).to(dev)
    fresh = torch.from_numpy(np.flatnonzero((ids % 10 == 9) & np.isin(s.body, HELD))[:6000]).to(dev)
    print(len(mine), "learned from", len(known), "known bodies", len(fresh), "unseen bodies", flush=True)
    t = torch.cat([N.targets(s.truth[k], s.roi[k], s.focal[k], s.pose[k]) for k in mine.split(20000)])
    stats = t.mean(0), t.std(0).clamp_min(1e-3)
    torch.manual_seed(args.seed)
    net = N.Golfer(os.path.join(args.models, "pose_landmark_full.onnx"), stats).to(dev)
    if args.init:
        net.load_state_dict(torch.load(args.init, map_location=dev))
    net = net.to(memory_format=torch.channels_last)
    if RANKS > 1:
        for p in [*net.parameters(), *net.buffers()]:
            dist.broadcast(p.data, 0)
    ema = N.Golfer(os.path.join(args.models, "pose_landmark_full.onnx"), stats).to(dev)
    ema.load_state_dict(net.state_dict())
    head = [p for n, p in net.named_parameters() if not n.startswith("body.")]
    body = list(net.body.parameters())
    opt = torch.optim.AdamW([{"params": body, "lr": args.lr, "base": args.lr, "weight_decay": 1e-3}, {"params": head, "lr": 2e-3, "base": 2e-3, "weight_decay": 1e-2}], betas=(0.9, 0.98))
    gen = torch.Generator(dev).manual_seed(args.seed + 1000 * RANK)
    w = loss_weights(dev)
    scale = 4096.0 if args.half else 1.0  # keeps small gradients above what fp16 can hold
    began, step, total, f = time.time(), 0, 0.0, 0.0
    while f < 1:
        for g in opt.param_groups:
            g["lr"] = g["base"] * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * f))
        k = mine[torch.randint(len(mine), (args.batch // 2,), generator=gen, device=dev)].repeat(2)
        x, want = s.batch(k, gen)
        with torch.autocast(dev.type, torch.float16, enabled=args.half):
            y, sd = net.raw(x.contiguous(memory_format=torch.channels_last))
        r, sd = (want - net.mean) / net.sd - y.float(), sd.float()
        one, two = r.chunk(2)
        loss = ((nll(r, sd) * w).sum(1) / w.sum()).mean() + args.alike * ((apart(one, two, sd.chunk(2)[0]) * w).sum(1) / w.sum()).mean()
        opt.zero_grad(set_to_none=True)
        (loss * scale).backward()
        f = shared(net, (time.time() - began) / args.seconds)
        torch._foreach_div_([p.grad for p in net.parameters() if p.grad is not None], scale)
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        with torch.no_grad():
            keep = min(0.999, (step + 1) / (step + 10))
            torch._foreach_lerp_(list(ema.parameters()), list(net.parameters()), 1 - keep)
        total += loss.detach()
        step += 1
        if step % args.every == 0:
            print(f"step {step} {time.time() - began:.0f} s loss {total.item() / args.every:.4f}", flush=True)
            total = 0.0
    if RANK:
        return
    torch.save({k: v.cpu() for k, v in ema.state_dict().items()}, args.ckpt)
    print("times round, two pictures each time", step * args.batch / 2 / max(1, len(mine)), flush=True)
    for name, k in (("learned from", mine[:: max(1, len(mine) // 6000)]), ("known bodies", known), ("unseen bodies", fresh)):
        print(name, errors(ema, s, k), flush=True)


@torch.no_grad()
def read(args, dev):
    """What the network says of every row, in the square's frame, float16."""
    net = N.Golfer(os.path.join(args.models, "pose_landmark_full.onnx")).to(dev)
    net.load_state_dict(torch.load(args.ckpt, map_location=dev))
    os.makedirs(args.read, exist_ok=True)
    load = data.reader(args.lifting)
    for path in data.rendered(args.rows)[RANK::RANKS]:
        raw = load(path, ("full",))
        c = squares(args, path)
        left = torch.from_numpy(raw["left_handed"][raw["row"]]).to(dev)
        out = []
        for i in range(0, len(c), 512):
            x = N.square(torch.from_numpy(c[i : i + 512]).to(dev), left[i : i + 512])
            out.append(net(x)[0].half().cpu().numpy())
        np.save(os.path.join(args.read, f"golfer_{data.seed_of(path)}.npy"), np.concatenate(out))


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--rows", required=True, help="folders of files, joined by commas")
    a.add_argument("--crops", required=True)
    a.add_argument("--lifting", required=True)
    a.add_argument("--models", required=True)
    a.add_argument("--ckpt", required=True)
    a.add_argument("--read", default="")
    a.add_argument("--init", default="", help="a checkpoint to learn on from")
    a.add_argument("--seconds", type=float, default=400)
    a.add_argument("--batch", type=int, default=384)
    a.add_argument("--lr", type=float, default=5e-4)
    a.add_argument("--half", action="store_true")
    a.add_argument("--alike", type=float, default=2.0, help="weight of saying the same of two pictures of one square")
    a.add_argument("--every", type=int, default=100)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--device", default="cuda")
    args = a.parse_args()
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    dev = torch.device(args.device)
    if RANKS > 1:
        if dev.type == "cuda":
            dev = torch.device("cuda", int(os.environ["LOCAL_RANK"]))
            torch.cuda.set_device(dev)
        dist.init_process_group("nccl" if dev.type == "cuda" else "gloo")
    (read if args.read else learn)(args, dev)
    if RANKS > 1:
        dist.destroy_process_group()


if __name__ == "__main__":
    main()
