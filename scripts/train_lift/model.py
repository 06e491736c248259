"""The network: a set transformer over the frames of one clip.

No time and no order goes in, so nothing can be read off the script of a swing. Attention, layer norm and
GELU are written out in simple operations so that any ONNX runtime has them.
"""
import torch
from torch import nn

from augment import FEATURES, MARKS
from data import POINTS

P = len(POINTS)
FRAME = P * 3 + 1 + 12  # values a frame: points u v depth, ratio, four vectors
CLIP = 4
SD_FLOOR = 0.02  # in units of a target's spread


class Norm(nn.Module):
    def __init__(self, d):
        super().__init__()
        self.g, self.b = nn.Parameter(torch.ones(d)), nn.Parameter(torch.zeros(d))

    def forward(self, x):
        if not torch.onnx.is_in_onnx_export():
            return nn.functional.layer_norm(x, x.shape[-1:], self.g, self.b, 1e-5)
        x = x - x.mean(-1, keepdim=True)
        return x / ((x * x).mean(-1, keepdim=True) + 1e-5).sqrt() * self.g + self.b


class Block(nn.Module):
    def __init__(self, d, heads, drop):
        super().__init__()
        self.heads, self.scale = heads, (d // heads) ** -0.5
        self.n1, self.n2 = Norm(d), Norm(d)
        self.q, self.k, self.v, self.o = (nn.Linear(d, d) for _ in range(4))
        self.up, self.down = nn.Linear(d, 3 * d), nn.Linear(3 * d, d)
        self.drop = nn.Dropout(drop)

    def forward(self, x, bias):
        b, n, d = x.shape
        h = self.n1(x)
        split = lambda a: a.reshape(b, n, self.heads, d // self.heads).transpose(1, 2)
        q, k, v = split(self.q(h)), split(self.k(h)), split(self.v(h))
        w = torch.softmax(q @ k.transpose(2, 3) * self.scale + bias, -1)
        x = x + self.drop(self.o((w @ v).transpose(1, 2).reshape(b, n, d)))
        h = torch.relu(self.up(self.n2(x)))
        return x + self.drop(self.down(h))


class Lift(nn.Module):
    """x B,N,F and mask B,N -> frame values, frame sd, clip values, clip sd (natural units)."""

    def __init__(self, stats, d=160, layers=4, heads=5, drop=0.05, alone=False):
        super().__init__()
        self.alone = alone  # ablation: every frame by itself
        self.f_factor = self.c_factor = torch.tensor(1.0)  # what calibrate.py found the sd to lack
        for k in ("x_mean", "x_sd", "y_mean", "y_sd", "c_mean", "c_sd"):
            self.register_buffer(k, stats[k])
        said = torch.zeros(FEATURES)
        said[MARKS:-1] = 1
        self.register_buffer("said", said, persistent=False)
        self.embed = nn.Linear(FEATURES, d)
        self.mix = nn.Sequential(nn.ReLU(), nn.Linear(d, d))
        self.token = nn.Parameter(torch.randn(1, 1, d) * 0.02)
        self.blocks = nn.ModuleList(Block(d, heads, drop) for _ in range(layers))
        self.n_f, self.n_c = Norm(d), Norm(d)
        self.out = nn.Linear(d, 2 * FRAME)
        self.skip = nn.Linear(FEATURES, FRAME)
        self.deep = nn.Linear(d, d)
        self.clip = nn.Linear(d, 2 * CLIP)
        with torch.no_grad():
            self.skip.weight.zero_(), self.skip.bias.zero_()
            self.out.weight.mul_(0.1), self.out.bias.zero_(), self.clip.weight.mul_(0.1), self.clip.bias.zero_()

    def raw(self, x, mask):
        """Standardised values and log sd."""
        b, n, _ = x.shape
        # where the golfer network was not asked its words are their own mean
        x = ((x - self.x_mean) / self.x_sd).clamp(-6, 6) * (1 - self.said * (1 - x[..., -1:]))
        h = self.embed(x)
        h = h + self.mix(h)
        keep = torch.cat([mask[:, :1] * 0 + 1, mask], 1)
        bias = ((keep - 1) * 1e4)[:, None, None, :]
        if self.alone:
            bias = bias + (torch.eye(n + 1, device=x.device) - 1) * 1e4 * (torch.arange(n + 1, device=x.device) > 0)[:, None]
        h = torch.cat([h[:, :1] * 0 + self.token, h], 1)
        for block in self.blocks:
            h = block(h, bias)
        f = self.n_f(h[:, 1:])
        f = self.out(f + torch.relu(self.deep(f)))
        c = self.clip(self.n_c(h[:, 0]))
        return f[..., :FRAME] + self.skip(x), f[..., FRAME:], c[:, :CLIP], c[:, CLIP:]

    def forward(self, x, mask):
        y, ys, c, cs = self.raw(x, mask)
        sd = lambda s: torch.exp(s.clamp(-6, 4)) + SD_FLOOR
        return y * self.y_sd + self.y_mean, sd(ys) * (self.y_sd * self.f_factor), c * self.c_sd + self.c_mean, sd(cs) * (self.c_sd * self.c_factor)


class Mean(nn.Module):
    """Several networks as one: mean of the values; where they differ, the sd grows by it."""

    def __init__(self, nets):
        super().__init__()
        self.nets = nn.ModuleList(nets)
        self.f_factor = self.c_factor = torch.tensor(1.0)

    def forward(self, x, mask):
        outs = [net(x, mask) for net in self.nets]
        mean = lambda k: sum(o[k] for o in outs) / len(outs)
        y, c = mean(0), mean(2)
        spread = lambda k, m: torch.sqrt(sum(o[k + 1] * o[k + 1] + (o[k] - m) * (o[k] - m) for o in outs) / len(outs))
        return y, spread(0, y) * self.f_factor, c, spread(2, c) * self.c_factor


def pack(batch):
    """Targets of a frame in the order of the network's output."""
    return torch.cat([batch.point.flatten(-2), batch.ratio, batch.vector.flatten(-2)], -1)
