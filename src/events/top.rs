//! In: hands, rough top. Out: the moment at which the hands turn round, sub-frame.
//!
//! About the top the hands come in and leave on nearly one line. Along it they brake from a
//! steady speed to rest and gather speed again until it is steady: two parabolas that share
//! their vertex, each going over into a line. Both wrists and the lead arm's direction in the
//! picture, and the hands' depth, share one vertex and each have their own parabolas (fitted
//! one by one they missed it by 21 and 30 ms at 90 % on held-out bodies, together by 13 and
//! 17). The vertex is searched; the rest is
//! robust least squares, since the network loses the hands most easily just here, behind head
//! and arms. A pause at the top makes the misfit flat, and so the sd wide.

use super::fit::{least_squares, search};
use super::motion::Motion;
use super::series::Series;
use super::swings::SwingSpan;
use crate::units::Estimate;

/// What is looked at: shares of the backswing before and of the downswing after the vertex.
/// A window too long on one side draws the vertex to that side: these two are in balance for
/// the swings of `accuracy.rs`.
const BACK: f64 = 0.3;
const DOWN: f64 = 0.5;
/// The rough swing starts when the hands have risen: its backswing is this share of the whole.
const RISEN: f64 = 0.73;
/// Braking and gathering speed last these shares of that.
const BENDS: (f64, f64) = (1.2, 0.8);
/// Limits of both stretches, seconds.
const REACH: (f64, f64) = (0.09, 0.4);
/// The vertex is searched this share of the downswing to both sides, first and again.
const AWAY: (f64, f64) = (0.5, 0.25);
/// A frame whose points together stray by more than this many sd of a wrist counts little.
const LOST: f64 = 2.5;
/// Reweightings of such frames.
const ROUNDS: usize = 3;
/// On the sd that the misfit's curvature gives: seven numbers a frame err largely together and
/// the kernel of [`search`] counts on more of that than there is (92 and 86 % of held-out tops
/// lay within one sd without it).
const CALM: f64 = 0.65;
/// What remains with perfect hands: the hub's own motion and the wrists' loop at the top,
/// seconds (`accuracy.rs`, perfect points of rendered swings).
const METHOD_SD: f64 = 0.007;

/// From the rough swing. `None` when the hands have no turn that can be told from noise.
pub(super) fn find(motion: &Motion, rough: &SwingSpan) -> Option<Estimate> {
    let back = rough.backswing() / RISEN;
    vertex(motion, rough.top.0, (back, rough.downswing()), AWAY.0)
}

/// Again, now that takeaway and impact say how long the two parts last.
pub(super) fn refine(motion: &Motion, top: f64, takeaway: f64, impact: f64) -> Option<Estimate> {
    vertex(motion, top, (top - takeaway, impact - top), AWAY.1)
}

fn vertex(motion: &Motion, at: f64, (back, down): (f64, f64), away: f64) -> Option<Estimate> {
    let limit = |length: f64| length.clamp(REACH.0, REACH.1).max(2.2 * motion.step);
    let reach = (limit(BACK * back), limit(DOWN * down));
    let away = (away * down).max(motion.step);
    let noise = motion.hand_sd.max(0.003);
    let turn = Turn::new(motion, (at - away, at + away), reach);
    let misfit = |t0| turn.misfit(t0, LOST * noise);
    let bend = search(at - away, at + away, (noise / 2.0).powi(2), misfit)?;
    Some(Estimate::new(bend.at, (CALM * bend.sd).hypot(METHOD_SD).hypot(0.1 * motion.step)))
}

/// What turns round, frame by frame: time, weight, places.
struct Turn {
    frames: Vec<(f64, f64, [f64; PATHS])>,
    reach: (f64, f64),
}

/// Two wrists and the arm, right and up in the picture, and the hands' depth.
const PATHS: usize = 7;
const NUMBERS: f64 = 7.0;

impl Turn {
    fn new(motion: &Motion, (from, to): (f64, f64), reach: (f64, f64)) -> Self {
        let [lead, trail, arm] = &motion.turning;
        let paths: [&Series; PATHS] =
            [&lead.0, &lead.1, &trail.0, &trail.1, &arm.0, &arm.1, &motion.z];
        let frames = motion
            .u
            .between(from - 1.2 * reach.0, to + 1.2 * reach.1)
            .filter(|&i| paths.iter().all(|s| i < s.y.len()))
            .map(|i| (motion.u.t[i], motion.u.w[i], paths.map(|s| s.y[i])))
            .collect();
        Self { frames, reach }
    }

    /// What the best curves with their vertex at `t0` leave, and its degrees of freedom.
    fn misfit(&self, t0: f64, scale: f64) -> Option<(f64, f64)> {
        let (back, down) = self.reach;
        // A parabola until `end`, then its tangent.
        let part = |x: f64, end: f64| if x < end { x * x } else { end * (2.0 * x - end) };
        let near: Vec<([f64; 3], f64, &[f64; PATHS])> = self
            .frames
            .iter()
            .map(|(t, w, places)| {
                let before = ((t0 - t) / back).max(0.0);
                let after = ((t - t0) / down).max(0.0);
                // Samples fade out instead of leaving one by one as the vertex moves.
                let near = (1.0 - ((before + after) / 1.2).powi(3)).max(0.0);
                ([1.0, part(before, BENDS.0), part(after, BENDS.1)], w * near, places)
            })
            .filter(|(_, w, _)| *w > 0.0)
            .collect();
        let mut trust = vec![1.0; near.len()];
        let mut found = None;
        for _ in 0..=ROUNDS {
            let mut coef = [[0.0; 3]; PATHS];
            for (k, slot) in coef.iter_mut().enumerate() {
                let rows = near.iter().zip(&trust).map(|((b, w, p), f)| (*b, p[k], w * f));
                *slot = least_squares(rows)?.coef;
            }
            let together: f64 = coef.iter().map(|c| c[1] * c[2]).sum();
            if together <= 0.0 {
                return None;
            }
            let (mut loss, mut weights) = (0.0, 0.0);
            for ((b, w, p), f) in near.iter().zip(&mut trust) {
                let left: f64 = coef
                    .iter()
                    .zip(p.iter())
                    .map(|(c, y)| (y - c.iter().zip(b).map(|(c, b)| c * b).sum::<f64>()).powi(2))
                    .sum::<f64>()
                    / (scale * scale);
                *f = 1.0 / (1.0 + left);
                loss += w * scale * scale * left.ln_1p();
                weights += w;
            }
            found = Some((loss, NUMBERS * (weights - 3.0).max(0.5)));
        }
        found
    }
}
