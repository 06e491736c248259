"""Trains the corrector that lies between the pose network and the fit.

    python train.py --data ../shared/lifting --ckpt held.pt                            # honest run: m1 f1 m7 held out
    python evaluate.py --data ../shared/lifting --ckpt held.pt --held                  # the honest table
    python calibrate.py --data ../shared/lifting --ckpt held.pt --out ../../models/lift.json
    python train.py --data ../shared/lifting --ckpt lift.pt --all --init held.pt --steps 5000 --lr 6e-4 --seed 2   # shipped
    python evaluate.py --data ../shared/lifting --ckpt lift.pt --everybody
    python export.py --ckpt lift.pt --calibration ../../models/lift.json --out ../../models/lift.onnx

Fixed seeds, CPU only, one thread: about 0.1 s a step, 25 minutes for both runs. `run.sh` does all of it.
"""
import argparse
import copy
import math
import time

import torch

import augment
import data
import model as M

HELD = ("m1", "f1", "m7")


def statistics(rows, pool, gen):
    """Means and spreads of inputs and targets, from augmented training batches."""
    xs, ys, cs = [], [], []
    for i in range(24):
        picks, mask = augment.choose(rows, pool, 48, 16, gen)
        b = augment.assemble(rows, picks, mask, torch.randint(2, (48,), generator=gen), gen, True)
        m = mask.bool()
        xs.append(b.x[m]), ys.append(M.pack(b)[m]), cs.append(b.clip)
    x, y, c = torch.cat(xs), torch.cat(ys), torch.cat(cs)
    # scores hardly vary in rendered pictures and will in real ones: a small change must stay a small change
    floor = torch.full((augment.FEATURES,), 1e-2)
    floor[:312].view(39, 8)[:, 3:5] = 0.2
    floor[-2] = 0.3
    return {"x_mean": x.mean(0), "x_sd": torch.maximum(x.std(0), floor), "y_mean": y.mean(0), "y_sd": y.std(0).clamp_min(1e-3),
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
    ahead = torch.tensor([0.0, 0.0, 1.0]) - up[:, 2:] * up
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
    k = torch.tensor([0, 1, 3, 4]), 3 * M.P
    common = (r * b.mask[..., None]).sum(1, keepdim=True) / b.mask.sum(1)[:, None, None]
    rel = (r - common)[..., k[0]]
    diff = (torch.nn.functional.smooth_l1_loss(rel, torch.zeros_like(rel), beta=0.02, reduction="none").mean(-1) * b.mask).sum() / n
    return frame + 0.15 * clip + 1.0 * diff + derived * derived_loss(net, y, c, b)


def plan(step, gen):
    """Set size and swings of a step: most short sets of any file, some long ones."""
    if torch.rand(1, generator=gen).item() < 0.65:
        n = int(torch.randint(12, 25, (1,), generator=gen))
        return "any", n, 768 // n
    n = int(torch.randint(24, 63, (1,), generator=gen))
    return "seq", n, 768 // n


def train(rows, pool, args, w):
    gen = torch.Generator().manual_seed(args.seed)
    torch.manual_seed(args.seed)
    seq = [s for s in pool if rows.kind[s].startswith("seq")]
    net = M.Lift(statistics(rows, pool, gen), d=args.width, layers=args.layers, heads=args.heads, alone=args.alone)
    if args.init:
        net.load_state_dict(torch.load(args.init))
    ema = copy.deepcopy(net)
    decay = [p for p in net.parameters() if p.dim() > 1]
    plain = [p for p in net.parameters() if p.dim() <= 1]
    opt = torch.optim.AdamW([{"params": decay, "weight_decay": 0.05}, {"params": plain, "weight_decay": 0.0}], lr=args.lr, betas=(0.9, 0.98))
    start, total = time.time(), 0.0
    for step in range(args.steps):
        frac = step / args.steps
        lr = args.lr * min(1, (step + 1) / 300) * (0.5 + 0.5 * math.cos(math.pi * frac))
        for g in opt.param_groups:
            g["lr"] = lr
        kind, n, count = plan(step, gen)
        picks, mask = augment.choose(rows, pool if kind == "any" else seq, count, n, gen)
        network = (torch.rand(count, generator=gen) < 0.3).long()
        b = augment.assemble(rows, picks, mask, network, gen, True)
        if args.no_world:
            b.x[..., : 39 * 8].view(*b.x.shape[:2], 39, 8)[..., 5:] = 0
        loss = step_loss(net, b, w, args.derived)
        opt.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        with torch.no_grad():
            k = min(0.999, (step + 1) / (step + 10))
            for p, q in zip(ema.parameters(), net.parameters()):
                p.lerp_(q, 1 - k)
        total += loss.item()
        if step % 250 == 249:
            print(f"step {step + 1} loss {total / 250:.4f} lr {lr:.2e} {(time.time() - start) / (step + 1):.3f} s/step", flush=True)
            total = 0.0
        if step % 2000 == 1999:
            torch.save(ema.state_dict(), args.ckpt)
    torch.save(ema.state_dict(), args.ckpt)
    return ema


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--data", default="../shared/lifting")
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--all", action="store_true")
    a.add_argument("--init", default="", help="checkpoint to go on from")
    a.add_argument("--steps", type=int, default=9000)
    a.add_argument("--width", type=int, default=160)
    a.add_argument("--layers", type=int, default=4)
    a.add_argument("--heads", type=int, default=5)
    a.add_argument("--lr", type=float, default=1e-3)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--threads", type=int, default=1)
    a.add_argument("--derived", type=float, default=0.05, help="weight of the loss on the measures")
    a.add_argument("--alone", action="store_true", help="ablation: every frame by itself")
    a.add_argument("--no-world", action="store_true", help="ablation: no world landmarks")
    args = a.parse_args()
    torch.set_num_threads(args.threads)
    rows = data.read(args.data, data.TRAIN)
    pool = data.swings(rows, lambda body, kind: args.all or body not in HELD)
    print(len(pool), "swings", sum(1 for s in pool if rows.kind[s].startswith("seq")), "whole clips", flush=True)
    net = train(rows, pool, args, weights())
    print("parameters", sum(p.numel() for p in net.parameters()))


if __name__ == "__main__":
    main()
