//! In: hands before the top. Out: takeaway (sub-frame) and the still window before it.
//!
//! Takeaway is where a still stretch bends into the start of the backswing: position =
//! rest, then a parabola. The bend is searched, the rest least squares, over the still
//! part and the first [`EARLY`] of the way. A threshold on the speed would be late by an
//! amount that depends on the noise (compare Botzer and Karniel 2009, Front Neurosci 3:61).

use super::fit::{Bend, Fit, least_squares, search, shaken};
use super::motion::{Motion, SMOOTH};
use super::series::Series;
use crate::units::{Estimate, Seconds};

/// Speed below which the hands count as not yet swinging, statures / s, and as a share of
/// the fastest part of the backswing: forward presses and sway are slower.
const SLOW: f64 = 0.15;
const SLOW_SHARE: f64 = 0.12;
/// For this long, seconds.
const LASTS: f64 = 0.08;
/// How far the hands are followed, statures: about 12 cm.
const EARLY: f64 = 0.07;
/// Rest is looked at this far back, seconds.
const REST: f64 = 0.35;
/// The rest position is the median over this last bit before the start, seconds.
const SETTLED: f64 = 0.2;
/// The address window is at most this long, seconds.
const LONGEST: f64 = 0.8;
/// The hands stay this near, statures (about 2.5 cm), or 4 sd.
const NEAR: f64 = 0.015;
/// Forward presses and sway before the start, statures / s.
const DRIFT: f64 = 0.08;
/// People do not start as a parabola exactly, seconds: 316 rendered swings of bodies that are not
/// held out, true points, against the script's start: 17 and 28 ms median, 51 and 65 at 90 %
/// (face-on and down-the-line).
const METHOD_SD: f64 = 0.034;

/// How the swing starts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub takeaway: Estimate,
    pub window: (Seconds, Seconds),
}

/// `None` when the clip starts with the hands already on their way. `from`: rough start.
pub(super) fn find(motion: &Motion, from: f64, top: f64) -> Option<Start> {
    let slow = last_slow(motion, from, top)?;
    let rest = Rest::new(motion, slow)?;
    let far = rest.leaves(slow, top)?;
    let still_from = rest.still_since(slow);
    let samples = rest.along(far, still_from.max(slow - REST))?;
    let floor = motion.hand_sd.powi(2) / 4.0;
    let bend = search(slow - REST, far, floor, |t0| {
        hinge(&samples, t0, motion.hand_sd).filter(|f| f.coef[2] > 0.0).map(|f| (f.rss, f.freedom))
    })?;
    if bend.at < motion.u.first() + motion.step {
        return None;
    }
    let own = unsteady(&samples, &bend, motion.hand_sd).unwrap_or(bend.sd);
    let sd = own.hypot(METHOD_SD);
    let end = (bend.at - 0.02).max(motion.u.first());
    let start = still_from.max(end - LONGEST).min(end);
    let window = (Seconds(start), Seconds(end));
    Some(Start { takeaway: Estimate::new(bend.at, sd), window })
}

/// Sd that the hands' errors give the start. At rest they hardly change: their scatter about the
/// curve says by how much, the corrector's sd would say four times as much.
fn unsteady(samples: &[(f64, f64, f64)], bend: &Bend, hand_sd: f64) -> Option<f64> {
    if bend.curve <= 0.0 {
        return None;
    }
    let apart = 6.0 * bend.step;
    let pulls = |t0: f64| -> Option<Vec<f64>> {
        let fit = hinge(samples, t0, hand_sd)?;
        let basis = |t: f64| [1.0, t - t0, (t - t0).max(0.0).powi(2)];
        Some(samples.iter().map(|&(t, s, w)| 2.0 * w * fit.residual(&basis(t), s)).collect())
    };
    let (before, after) = (pulls(bend.at - apart / 2.0)?, pulls(bend.at + apart / 2.0)?);
    let times: Vec<f64> = samples.iter().map(|(t, _, _)| *t).collect();
    Some(shaken(&times, (&before, &after), apart, bend.curve, bend.scatter))
}

/// Rest or slow drift, then a parabola on top of it.
fn hinge(samples: &[(f64, f64, f64)], t0: f64, hand_sd: f64) -> Option<Fit<3>> {
    let still = ([0.0, 1.0, 0.0], 0.0, (hand_sd.max(0.001) / DRIFT).powi(2));
    let rows = samples.iter().map(|&(t, s, w)| ([1.0, t - t0, (t - t0).max(0.0).powi(2)], s, w));
    least_squares(rows.chain(std::iter::once(still)))
}

/// Last frame at which the hands have been slow for a while and have not risen yet; a
/// moment's slowness will do when there is no better.
fn last_slow(motion: &Motion, from: f64, top: f64) -> Option<f64> {
    let times: Vec<f64> = motion.u.t.iter().copied().filter(|t| *t < top).collect();
    let speed: Vec<f64> = times.iter().map(|t| motion.speed(*t, SMOOTH)).collect();
    let fastest = times.iter().zip(&speed).filter(|(t, _)| **t >= from).map(|(_, s)| *s);
    let limit = SLOW.max(SLOW_SHARE * fastest.fold(0.0, f64::max));
    let risen = times.partition_point(|t| *t <= from);
    let slow = |i: usize| speed[i] < limit;
    let lasting = |i: usize| (0..=i).rev().take_while(|&k| times[k] >= times[i] - LASTS).all(slow);
    let found = (0..risen).rev().find(|&i| lasting(i));
    found.or_else(|| (0..risen).rev().find(|&i| slow(i))).map(|i| times[i])
}

/// The hands' place at rest: right and up in the picture, shrunk depth.
struct Rest<'a> {
    motion: &'a Motion,
    place: [f64; 3],
}

impl<'a> Rest<'a> {
    fn new(motion: &'a Motion, slow: f64) -> Option<Self> {
        let at = |s: &Series| s.median(slow - SETTLED, slow);
        let place = [at(&motion.u)?, at(&motion.v)?, at(&motion.z)?];
        Some(Self { motion, place })
    }

    fn offset(&self, i: usize) -> [f64; 3] {
        let m = self.motion;
        [m.u.y[i] - self.place[0], m.v.y[i] - self.place[1], m.z.y[i] - self.place[2]]
    }

    fn distance(&self, i: usize) -> f64 {
        norm(self.offset(i))
    }

    /// First frame after `slow` at which the hands are [`EARLY`] away.
    fn leaves(&self, slow: f64, top: f64) -> Option<f64> {
        let mut later = self.motion.u.between(slow, top);
        later.find(|&i| self.distance(i) > EARLY).map(|i| self.motion.u.t[i])
    }

    /// Way gone in the direction in which the hands leave: (time, statures, weight).
    fn along(&self, far: f64, from: f64) -> Option<Vec<(f64, f64, f64)>> {
        let m = self.motion;
        let at = |s: &Series| s.local(far, SMOOTH).map(|l| l.value);
        let there = [at(&m.u)?, at(&m.v)?, at(&m.z)?];
        let away = [0, 1, 2].map(|k| there[k] - self.place[k]);
        let length = norm(away).max(1e-6);
        let way =
            |i: usize| self.offset(i).iter().zip(&away).map(|(o, a)| o * a).sum::<f64>() / length;
        Some(m.u.between(from, far).map(|i| (m.u.t[i], way(i), m.u.w[i])).collect())
    }

    /// Since when the hands have stayed near, looking back from `slow`.
    fn still_since(&self, slow: f64) -> f64 {
        let times = &self.motion.u.t;
        let limit = NEAR.max(4.0 * self.motion.hand_sd);
        let mut since = slow;
        let mut strays = 0;
        for i in self.motion.u.between(slow - REST - LONGEST, slow).rev() {
            if self.distance(i) <= limit {
                since = times[i];
                strays = 0;
            } else {
                strays += 1;
                // One stray frame is noise.
                if strays > 1 {
                    break;
                }
            }
        }
        since
    }
}

fn norm(v: [f64; 3]) -> f64 {
    v[0].hypot(v[1]).hypot(v[2])
}
