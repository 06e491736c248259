"""Sd of the measures from the calibrated sd of the outputs, by sampling, and how well it holds.

Each output's error = factor * sd * (sqrt(common) * clip part + sqrt(1 - common) * part that fades with tau).
A measure's own factor is taken on all but one held-out body and checked on that one.
"""
import numpy as np

import evaluate as E
import measures as Q

DRAWS = 24


def fading(t, tau, rng, n):
    """Unit normal noise over times t with correlation exp(-dt / tau): draws, frames, values."""
    out = np.zeros((DRAWS, len(t), n))
    order = np.argsort(t, kind="stable")
    prev, last = None, None
    for i in order:
        fresh = rng.standard_normal((DRAWS, n))
        k = 0 if prev is None else np.exp(-(t[i] - last) / tau)
        prev = fresh if prev is None else k * prev + np.sqrt(1 - k * k) * fresh
        out[:, i], last = prev, t[i]
    return out


def sampled(r, cal, rng):
    """Sd of every measure of a clip."""
    names = list(cal["outputs"])
    f, c, tau = (np.insert([cal["outputs"][n][k] for n in names], 2, 0.0 if k != "tau_s" else 0.1) for k in ("factor", "common", "tau_s"))
    tempo_t = r["t"]
    frame = fading(tempo_t, float(np.median(tau)), rng, len(f))
    clip = rng.standard_normal((DRAWS, 1, len(f)))
    noise = r["sd"] * f * (np.sqrt(c) * clip + np.sqrt(1 - c) * frame)
    cam = r["clip"] + rng.standard_normal((DRAWS, 4)) * r["clip_sd"] * [cal["camera"][k]["factor"] for k in ("pitch", "roll", "azimuth", "log_focal")]
    draws = []
    for n, k in zip(noise, cam):
        draws.append(Q.measures(r["y"] + n, r["roi"], np.exp(k[3]), k[:3], r["stature"], r["phase"]))
    base = Q.measures(r["y"], r["roi"], np.exp(r["clip"][3]), r["clip"][:3], r["stature"], r["phase"])
    out = {}
    for key in base:
        d = np.stack([x[key] for x in draws]) - base[key]
        if key in ("pelvis_turn", "thorax_turn", "separation"):
            d = Q.wrap(d)
        out[key] = np.sqrt((d**2).mean(0))
    return out


def check(res, cal, view):
    """Per measure: factor over all bodies, and coverage of each body with the factor of the others."""
    rng = np.random.default_rng(7)
    keys = E.SHOW[view] + E.BOTH
    z = {k: {} for k in keys}
    for r in res:
        if r["view"] != view or (r["phase"] == 0).sum() < 2:
            continue
        got, want = E.both(r)
        sd = sampled(r, cal, rng)
        at = np.isin(r["phase"], list(E.EVENTS.values()))
        for k in keys:
            e = got[k] - want[k]
            e = Q.wrap(e) if k in ("pelvis_turn", "thorax_turn", "separation") else e
            z[k].setdefault(r["body"], []).append((e / np.maximum(sd[k], 1e-6))[at])
    out = {}
    for k in keys:
        by = {b: np.concatenate(v) for b, v in z[k].items()}
        fac = lambda a: float(np.sqrt(np.quantile(abs(a), 0.683) * np.quantile(abs(a), 0.954) / 2))
        seen = []
        for b in by:
            rest = [by[o] for o in by if o != b]
            if rest:
                seen.append(by[b] / fac(np.concatenate(rest)))
        seen = np.abs(np.concatenate(seen)) if seen else np.array([0.0])
        out[k] = {"factor": round(fac(np.concatenate(list(by.values()))), 3), "unseen_body_in_1_sd": round(float(np.mean(seen < 1)), 3),
                  "unseen_body_in_2_sd": round(float(np.mean(seen < 2)), 3)}
    return out
