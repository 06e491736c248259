//! In: hands, rough top. Out: the moment at which the hands turn round, sub-frame.
//!
//! About the top the hands come in and leave on nearly one line. Along it the path is
//! two parabolas that share their vertex (the way down accelerates more than the way up
//! brakes): the vertex is searched, the rest is least squares. A pause at the top makes
//! the misfit flat, and so the sd wide.

use super::fit::{Fit, least_squares, search};
use super::motion::Motion;
use super::swings::SwingSpan;
use crate::units::Estimate;

/// The stretches that the parabolas describe: shares of the backswing and the downswing,
/// and limits in seconds.
const BACK: f64 = 0.18;
const DOWN: f64 = 0.45;
const REACH: (f64, f64) = (0.07, 0.2);
/// What remains with perfect hands: the hub's own motion and the wrists' loop at the top,
/// seconds (`accuracy.rs`, perfect points of rendered swings).
const METHOD_SD: f64 = 0.004;

/// `None` when the hands have no turn that can be told from noise.
pub(super) fn refine(motion: &Motion, rough: &SwingSpan) -> Option<Estimate> {
    let limit = |share: f64| share.clamp(REACH.0, REACH.1).max(2.2 * motion.step);
    let reach = (limit(BACK * rough.backswing()), limit(DOWN * rough.downswing()));
    let mut at = rough.top.0;
    let mut sd = reach.0;
    for _ in 0..3 {
        let along = Along::new(motion, at, reach)?;
        let bend = search(at - reach.1, at + reach.1, motion.hand_sd.powi(2) / 4.0, |t0| {
            along.fit(t0).filter(|f| f.coef[1] < 0.0 && f.coef[2] < 0.0).map(|f| (f.rss, f.freedom))
        })?;
        (at, sd) = (bend.at, bend.sd);
    }
    Some(Estimate::new(at, (sd * sd + METHOD_SD.powi(2) + (0.1 * motion.step).powi(2)).sqrt()))
}

/// Positions along the line on which the hands come and go.
struct Along {
    samples: Vec<(f64, f64, f64)>,
    reach: (f64, f64),
}

impl Along {
    fn new(motion: &Motion, at: f64, reach: (f64, f64)) -> Option<Self> {
        let (u, v) = (&motion.u, &motion.v);
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

    fn fit(&self, t0: f64) -> Option<Fit<3>> {
        let rows = self.samples.iter().map(|&(t, s, w)| {
            let x = (t - t0) / if t < t0 { self.reach.0 } else { self.reach.1 };
            // Samples fade out instead of leaving one by one as the vertex moves.
            let near = (1.0 - (x.abs() / 1.2).powi(3)).max(0.0).powi(3);
            ([1.0, x.min(0.0).powi(2), x.max(0.0).powi(2)], s, w * near)
        });
        least_squares(rows)
    }
}
