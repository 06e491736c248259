//! In: hands, rough top. Out: the moment at which the hands turn round, sub-frame.
//!
//! About the top the hands come in and leave on nearly one line. Along it they brake from a
//! steady speed to rest and gather speed again until it is steady: two parabolas that share
//! their vertex, each going over into a line. The vertex is searched, also how long the
//! braking and the gathering last; the rest is robust least squares, since the network loses
//! the hands most easily just here, behind head and arms. A pause at the top makes the
//! misfit flat, and so the sd wide.

use super::fit::{Bend, Fit, robust, search};
use super::motion::Motion;
use super::series::Series;
use super::swings::SwingSpan;
use crate::units::Estimate;

/// What is looked at: shares of the backswing before and of the downswing after the vertex.
const BACK: f64 = 0.3;
const DOWN: f64 = 0.55;
/// Braking and gathering speed last one of these shares of that.
const BENDS: [(f64, f64); 4] = [(0.5, 0.35), (0.5, 0.8), (1.2, 0.35), (1.2, 0.8)];
/// Limits of both stretches, seconds.
const REACH: (f64, f64) = (0.09, 0.4);
/// Residuals beyond this many sd of a wrist count little.
const LOST: f64 = 0.7;
/// What remains with perfect hands: the hub's own motion and the wrists' loop at the top,
/// seconds (`accuracy.rs`, perfect points of rendered swings).
const METHOD_SD: f64 = 0.004;

/// `None` when the hands have no turn that can be told from noise.
pub(super) fn refine(motion: &Motion, rough: &SwingSpan) -> Option<Estimate> {
    let limit = |share: f64| share.clamp(REACH.0, REACH.1).max(2.2 * motion.step);
    let reach = (limit(BACK * rough.backswing()), limit(DOWN * rough.downswing()));
    let paths = std::iter::once((&motion.u, &motion.v));
    let paths = paths.chain(motion.turning.iter().map(|(u, v)| (u, v)));
    let turns: Vec<Estimate> = paths
        .filter_map(|(u, v)| turn(u, v, rough.top.0, reach, motion.hand_sd.max(0.003)))
        .collect();
    let agreed = agree(turns)?;
    Some(Estimate::new(agreed.value, agreed.sd.hypot(METHOD_SD).hypot(0.1 * motion.step)))
}

/// When a path turns round near `rough`.
fn turn(u: &Series, v: &Series, rough: f64, reach: (f64, f64), noise: f64) -> Option<Estimate> {
    let mut at = rough;
    let mut sd = reach.0;
    for _ in 0..2 {
        let along = Along::new(u, v, at, reach)?;
        let bent = BENDS.iter().filter_map(|bends| along.vertex(at, *bends, noise));
        let (bend, _) = bent.min_by(|a, b| a.1.total_cmp(&b.1))?;
        (at, sd) = (bend.at, bend.sd);
    }
    Some(Estimate::new(at, sd))
}

/// Weighted median of several views of one moment: one wrist that the network has lost
/// does not drag the others along. The sd is the best one's, widened by their disagreement.
fn agree(mut turns: Vec<Estimate>) -> Option<Estimate> {
    turns.sort_by(|a, b| a.value.total_cmp(&b.value));
    let weight = |e: &Estimate| e.sd.max(1e-4).powi(-2);
    let total: f64 = turns.iter().map(weight).sum();
    let mut below = 0.0;
    let middle = turns.iter().find(|e| {
        below += weight(e);
        below >= total / 2.0
    })?;
    let best = turns.iter().map(|e| e.sd).fold(f64::INFINITY, f64::min);
    let scatter: f64 = turns
        .iter()
        .map(|e| weight(e) * (e.value - middle.value).abs().min(4.0 * e.sd.max(0.005)))
        .sum();
    Some(Estimate::new(middle.value, best.hypot(scatter / total)))
}

/// Positions along the line on which the hands come and go.
struct Along {
    samples: Vec<(f64, f64, f64)>,
    reach: (f64, f64),
}

impl Along {
    fn new(u: &Series, v: &Series, at: f64, reach: (f64, f64)) -> Option<Self> {
        let half = reach.1 / 3.0;
        let place = |t: f64| Some((u.local(t, half)?.value, v.local(t, half)?.value));
        let (before, here, after) = (place(at - reach.0)?, place(at)?, place(at + reach.1)?);
        let away = (2.0 * here.0 - before.0 - after.0, 2.0 * here.1 - before.1 - after.1);
        let length = away.0.hypot(away.1);
        if length < 1e-6 {
            return None;
        }
        let samples = u
            .between(at - 2.5 * reach.0, at + 2.5 * reach.1)
            .map(|i| (u.t[i], (u.y[i] * away.0 + v.y[i] * away.1) / length, u.w[i]))
            .collect();
        Some(Self { samples, reach })
    }

    /// The vertex and its misfit.
    fn vertex(&self, at: f64, bends: (f64, f64), noise: f64) -> Option<(Bend, f64)> {
        let away = 0.7 * self.reach.1;
        let misfit = |t0| {
            let fit = self.fit(t0, bends, LOST * noise)?;
            (fit.coef[1] < 0.0 && fit.coef[2] < 0.0).then_some((fit.rss, fit.freedom))
        };
        let bend = search(at - away, at + away, (noise / 2.0).powi(2), misfit)?;
        let (rss, freedom) = misfit(bend.at)?;
        Some((bend, rss / freedom))
    }

    fn fit(&self, t0: f64, bends: (f64, f64), scale: f64) -> Option<Fit<3>> {
        let (back, down) = self.reach;
        // A parabola until `end`, then its tangent.
        let part = |x: f64, end: f64| if x < end { x * x } else { end * (2.0 * x - end) };
        let rows = self.samples.iter().map(move |&(t, s, w)| {
            let before = ((t0 - t) / back).max(0.0);
            let after = ((t - t0) / down).max(0.0);
            // Samples fade out instead of leaving one by one as the vertex moves.
            let near = (1.0 - ((before + after) / 1.2).powi(3)).max(0.0);
            ([1.0, part(before, bends.0), part(after, bends.1)], s, w * near)
        });
        robust(rows, scale)
    }
}
