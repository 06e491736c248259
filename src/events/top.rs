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

use super::fit::{Bend, least_squares, search, shaken};
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
/// Beyond this share of the search lies its edge.
const EDGE: f64 = 0.97;
/// A frame whose points together stray by more than this many sd of a wrist counts little: with
/// 2.5 a swing whose curves are not these parabolas loses frames that were right (90 % of tops
/// down-the-line on one half of the held-out swings 18 ms, with 5 12; on the other 12 and 10).
const LOST: f64 = 5.0;
/// Limits of what a path counts for against the hands.
const WORTH: (f64, f64) = (0.3, 2.0);
/// Reweightings of such frames.
const ROUNDS: usize = 3;
/// What remains with true points, seconds: the curves are not quite these, the hub moves, the
/// wrists loop (316 rendered swings of bodies that are not held out: 5.3 and 3.9 ms median, 13 at 90 %). The same in every view of
/// one swing.
pub(super) const METHOD_SD: f64 = 0.0065;

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
    let misfit = |t0| turn.curves(t0, LOST * noise).map(|c| (c.loss, c.freedom));
    let bend = search(at - away, at + away, (noise / 2.0).powi(2), misfit)?;
    // least at the edge: the turn is not in what was searched
    if (bend.at - at).abs() > EDGE * away {
        return None;
    }
    let sd = turn.shaken(&bend, LOST * noise, motion.hand_sd).unwrap_or(bend.sd);
    Some(Estimate::new(bend.at, sd.hypot(METHOD_SD)))
}

/// What the best curves leave.
#[derive(Default)]
struct Curves {
    loss: f64,
    freedom: f64,
    /// Slope of the loss by every number of every frame.
    pulls: Vec<[f64; PATHS]>,
}

/// What turns round, frame by frame: time, weight, places.
struct Turn {
    frames: Vec<(f64, f64, [f64; PATHS])>,
    reach: (f64, f64),
}

/// Two wrists and the arm, right and up in the picture, and the hands' depth, each in units of
/// the hands' noise.
const PATHS: usize = 7;
/// Paths along one axis err together (about the top the wrists and the arm by 0.4 to 0.8).
const TOGETHER: [&[usize]; 3] = [&[0, 2, 4], &[1, 3, 5], &[6]];
const NUMBERS: f64 = 7.0;

impl Turn {
    fn new(motion: &Motion, (from, to): (f64, f64), reach: (f64, f64)) -> Self {
        let [lead, trail, arm] = &motion.turning;
        let paths: [&Series; PATHS] =
            [&lead.0, &lead.1, &trail.0, &trail.1, &arm.0, &arm.1, &motion.z];
        let [lead_sd, trail_sd, arm_sd] = motion
            .turning_sd
            .map(|sd| if sd > 0.0 { (motion.hand_sd / sd).clamp(WORTH.0, WORTH.1) } else { 1.0 });
        let worth = [lead_sd, lead_sd, trail_sd, trail_sd, arm_sd, arm_sd, 1.0];
        let frames = motion
            .u
            .between(from - 1.2 * reach.0, to + 1.2 * reach.1)
            .filter(|&i| paths.iter().all(|s| i < s.y.len()))
            .map(|i| (motion.u.t[i], motion.u.w[i], paths.map(|s| s.y[i])))
            .map(|(t, w, mut places)| {
                places.iter_mut().zip(&worth).for_each(|(p, f)| *p *= f);
                (t, w, places)
            })
            .collect();
        Self { frames, reach }
    }

    /// Sd that the points' errors give the vertex.
    fn shaken(&self, bend: &Bend, scale: f64, noise: f64) -> Option<f64> {
        if bend.curve <= 0.0 {
            return None;
        }
        let apart = 6.0 * bend.step;
        let before = self.curves(bend.at - apart / 2.0, scale)?.pulls;
        let after = self.curves(bend.at + apart / 2.0, scale)?.pulls;
        let times: Vec<f64> = self.frames.iter().map(|(t, _, _)| *t).collect();
        let path = |k: usize| {
            let one = |pulls: &[[f64; PATHS]]| pulls.iter().map(|p| p[k]).collect::<Vec<_>>();
            shaken(&times, (&one(&before), &one(&after)), apart, bend.curve, noise)
        };
        let axis = |paths: &[usize]| paths.iter().map(|k| path(*k)).sum::<f64>();
        Some(TOGETHER.iter().map(|paths| axis(paths).powi(2)).sum::<f64>().sqrt())
    }

    /// The best curves with their vertex at `t0`.
    fn curves(&self, t0: f64, scale: f64) -> Option<Curves> {
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
            let mut now = Curves::default();
            let mut weights = 0.0;
            for ((b, w, p), f) in near.iter().zip(&mut trust) {
                let miss: [f64; PATHS] = std::array::from_fn(|k| {
                    p[k] - coef[k].iter().zip(b).map(|(c, b)| c * b).sum::<f64>()
                });
                let left = miss.iter().map(|m| m * m).sum::<f64>() / (scale * scale);
                *f = 1.0 / (1.0 + left);
                now.loss += w * scale * scale * left.ln_1p();
                now.pulls.push(miss.map(|m| 2.0 * w * *f * m));
                weights += w;
            }
            now.freedom = NUMBERS * (weights - 3.0).max(0.5);
            found = Some(now);
        }
        found
    }
}
