//! In: the lead arm's elevation. Out: when it is level with the ground, sub-frame.
//! A crossing between two frames is refined with the local parabola.

use super::motion::Motion;
use crate::units::Estimate;

/// Half width of the local parabola, seconds.
const HALF: f64 = 0.06;
/// The arm must stay on the other side this long, or it only touches level.
const STAYS: f64 = 0.05;
/// The arm's mean rate is taken over this to both sides, seconds.
const AROUND: f64 = 0.1;

/// About level, where the arm often points along the line of sight, the corrector's arm is
/// this much worse than its stated sd (`accuracy.rs`: 0.52 of 408 within 1 sd without it).
const LASTING: f64 = 1.4;

/// First time in `from..=to` at which the arm rises through level and stays above.
pub(super) fn rising(motion: &Motion, from: f64, to: f64) -> Option<Estimate> {
    crossing(motion, from, to, 1.0)
}

/// First time at which it falls through level and stays below.
pub(super) fn falling(motion: &Motion, from: f64, to: f64) -> Option<Estimate> {
    crossing(motion, from, to, -1.0)
}

fn crossing(motion: &Motion, from: f64, to: f64, sign: f64) -> Option<Estimate> {
    let arm = &motion.arm;
    let local = |t: f64| arm.local_robust(t, HALF, motion.arm_sd.max(0.01));
    let times: Vec<f64> = arm.between(from, to).map(|i| arm.t[i]).collect();
    let value: Vec<f64> =
        times.iter().map(|t| local(*t).map(|l| sign * l.value)).collect::<Option<_>>()?;
    let k = (1..times.len()).find(|&k| {
        let later = times.iter().zip(&value).skip(k);
        value[k - 1] < 0.0
            && later.take_while(|(t, _)| **t <= times[k] + STAYS).all(|(_, v)| *v >= 0.0)
    })?;
    let share = -value[k - 1] / (value[k] - value[k - 1]);
    let mut at = times[k - 1] + share * (times[k] - times[k - 1]);
    for _ in 0..4 {
        let here = local(at)?;
        if here.slope * sign <= 0.0 {
            break;
        }
        at = (at - here.value / here.slope).clamp(times[k - 1], times[k]);
    }
    let here = local(at)?;
    let (early, late) = ((at - AROUND).max(arm.first()), (at + AROUND).min(arm.last()));
    let mean = sign * (local(late)?.value - local(early)?.value) / (late - early);
    // Noise makes the arm look quicker just where it crosses.
    let rate = mean.min(here.slope * sign).max(0.7);
    // The sd of the arm's bearing is mostly a lasting error: it does not average out.
    let sd = (LASTING * motion.arm_sd).hypot(here.variance.sqrt() / 2.0) / rate;
    Some(Estimate::new(at, sd.hypot(0.1 * motion.step)))
}
