//! In: hands, lead arm, rest position, strikes. Out: impact, sub-frame, and where it is from.
//!
//! The club is not seen, so the body tells impact only through its habits: the lead wrist is
//! lowest before impact and the trail elbow about then, and the hands pass their address
//! position and are a little ahead of it. They are combined by least squares with what each
//! scatters from swing to swing, what the first two have in common, and how well each is
//! read. A strike in the sound that agrees within the tolerance settles it.
//!
//! Means and scatter of the habits: 388 rendered swings of the bodies that are not held out
//! (../shared/lifting, whole clips, true points; 12.1 ms together where arm and hands were
//! used before, 8.5 with these two), in line with common coaching practice (hands ahead of the
//! ball at impact); no published figures were read.

use super::ImpactSource;
use super::motion::{Motion, SMOOTH};
use super::series::Series;
use super::strike::Strike;
use crate::units::Estimate;

/// Hands ahead of the lower hub at impact less the same at address, toward the target, statures.
const AHEAD: Estimate = Estimate { value: 0.020, sd: 0.042 };
/// A sign of the body and impact some time after it.
#[derive(Clone, Copy)]
struct Habit {
    /// Share of the downswing.
    before: Estimate,
    /// Correlation with the lead wrist's; with the hands ahead all are below 0.1.
    shared: f64,
}

const WRIST: Habit = Habit { before: Estimate { value: 0.170, sd: 0.045 }, shared: 1.0 };
const ELBOW: Habit = Habit { before: Estimate { value: 0.025, sd: 0.035 }, shared: 0.37 };
/// The lead arm steepest: where the elbow is not seen, since wrist and arm tell much the same.
const STEEPEST: Habit = Habit { before: Estimate { value: 0.053, sd: 0.052 }, shared: 0.70 };
/// The hands are lowest after this share of the downswing.
const HANDS_LOWEST: f64 = 0.874;
/// Scatter of all three together, read without error, share of the downswing.
pub(super) const HABIT: f64 = 0.029;
/// The hands may be wrong by more than they say: so much beside their sd, seconds. In 20 rendered
/// swings without sound (`render_bodies/clips.py`, seeds 11 to 15 and 21 to 25) they missed by
/// 21 ms rms and said 10.
pub(super) const HANDS_DOUBT: f64 = 0.02;
/// A strike agrees when it is within this many sd of the hands' time, that doubt with them.
const TOLERANCE: f64 = 3.0;
/// A strike this much quieter than another that agrees is not it, dB.
const QUIETER: f64 = 12.0;

/// Impact from the hands alone. `lowest`: their rough low point. `None` when none of the
/// signs is in the clip.
pub(super) fn from_hands(
    motion: &Motion,
    rest_target: Option<f64>,
    top: f64,
    lowest: f64,
) -> Option<Estimate> {
    let rough = (lowest - top).max(0.1);
    let around = (top + 0.5 * rough, lowest + (0.7 * rough).max(3.5 * motion.step));
    let sharp = SMOOTH.max(0.15 * rough);
    let hands = minimum(&motion.v, around, sharp, motion.hand_sd);
    let down = hands.map_or(rough, |(at, _)| at - top) / HANDS_LOWEST;
    let sign = |s: &Series, noise: f64, habit: Habit| {
        let (at, read) = minimum(s, around, sharp, noise)?;
        let sd = habit.before.sd * down;
        let time = Estimate::new(at + habit.before.value * down, sd.hypot(read));
        Some((time, habit.shared * sd))
    };
    let wrist = sign(&motion.low[0], motion.low_sd[0], WRIST);
    let other = sign(&motion.low[1], motion.low_sd[1], ELBOW)
        .or_else(|| sign(&motion.arm, motion.arm_sd, STEEPEST));
    let low = match (wrist, other) {
        (Some(a), Some(b)) => Some(together(a.0, b.0, a.1 * b.1)),
        (one, other) => one.or(other).map(|(e, _)| e),
    };
    let ahead = rest_target.and_then(|rest| passing(motion, rest, around));
    low.into_iter().chain(ahead).reduce(Estimate::combined)
}

/// The best mean of two with a common covariance.
fn together(a: Estimate, b: Estimate, common: f64) -> Estimate {
    let (va, vb) = (a.sd * a.sd, b.sd * b.sd);
    let share = ((vb - common) / (va + vb - 2.0 * common)).clamp(0.0, 1.0);
    let variance =
        share * share * va + (1.0 - share).powi(2) * vb + 2.0 * share * (1.0 - share) * common;
    Estimate::new(share * a.value + (1.0 - share) * b.value, variance.sqrt())
}

/// Lowest point inside a stretch of time and its sd.
fn minimum(s: &Series, around: (f64, f64), half: f64, noise: f64) -> Option<(f64, f64)> {
    let inside = s.between(around.0, around.1);
    let smooth = |i: usize| s.local(s.t[i], half).map(|l| l.value);
    let values: Vec<(f64, f64)> =
        inside.map(|i| smooth(i).map(|v| (s.t[i], v))).collect::<Option<_>>()?;
    let k = (0..values.len()).min_by(|&a, &b| values[a].1.total_cmp(&values[b].1))?;
    if k == 0 || k + 1 == values.len() {
        return None;
    }
    let mut at = values[k].0;
    for _ in 0..3 {
        let local = s.local(at, half)?;
        if local.curve <= 0.0 {
            return None;
        }
        at = (at - local.slope / local.curve).clamp(values[k - 1].0, values[k + 1].0);
    }
    let local = s.local(at, half)?;
    // A slope error of noise / half moves the vertex by that over the curvature.
    let sd = noise.max(local.variance.sqrt()) / half / local.curve.max(1e-6);
    Some((at, sd.min(half)))
}

/// Hands come back past their address position along the target axis, and a bit more.
fn passing(motion: &Motion, rest: f64, around: (f64, f64)) -> Option<Estimate> {
    let s = &motion.target;
    let goal = rest + AHEAD.value;
    let inside = s.between(around.0, around.1);
    let times: Vec<(f64, f64)> =
        inside.filter_map(|i| s.local(s.t[i], SMOOTH).map(|l| (s.t[i], l.value - goal))).collect();
    let pair = times.windows(2).find(|w| w[0].1 < 0.0 && w[1].1 >= 0.0)?;
    let share = -pair[0].1 / (pair[1].1 - pair[0].1);
    let at = pair[0].0 + share * (pair[1].0 - pair[0].0);
    let rate = s.local(at, SMOOTH)?.slope;
    if rate < 0.3 {
        return None;
    }
    // Rest and passage both carry the depth's error.
    Some(Estimate::new(at, AHEAD.sd.hypot(1.4 * motion.target_sd) / rate))
}

/// Joins the hands' impact with the strike that agrees best, if one does.
pub(super) fn with_sound(hands: Estimate, strikes: &[Strike]) -> (Estimate, ImpactSource) {
    let spread = hands.sd.hypot(Strike::sd()).hypot(HANDS_DOUBT);
    let off = |s: &Strike| (s.time.0 - hands.value).abs() / spread;
    let agree: Vec<&Strike> = strikes.iter().filter(|s| off(s) <= TOLERANCE).collect();
    let loudest = agree.iter().map(|s| s.loudness).fold(0.0, f64::max);
    let heard = agree
        .into_iter()
        .filter(|s| s.loudness >= loudest - QUIETER)
        .min_by(|a, b| off(a).total_cmp(&off(b)));
    match heard {
        Some(s) => {
            let strike = Estimate::new(s.time.0, Strike::sd());
            // Hands that are off by more than they say do not draw it to them.
            let apart = (s.time.0 - hands.value).abs();
            let doubted = Estimate::new(hands.value, hands.sd.max(apart));
            (strike.combined(doubted), ImpactSource::Sound)
        }
        None => (hands, ImpactSource::Hands),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn strike(at: f64, loudness: f64) -> Strike {
        Strike { time: Seconds(at), loudness }
    }

    #[test]
    fn only_a_strike_that_agrees_with_the_hands_counts() {
        let hands = Estimate::new(2.0, 0.015);
        let (impact, source) = with_sound(hands, &[strike(1.2, 40.0), strike(2.02, 30.0)]);
        assert_eq!(source, ImpactSource::Sound);
        assert!((impact.value - 2.02).abs() < 0.003 && impact.sd < 0.006, "{impact:?}");
        assert_eq!(with_sound(hands, &[strike(1.9, 40.0)]), (hands, ImpactSource::Hands));
        assert_eq!(with_sound(hands, &[]), (hands, ImpactSource::Hands));
    }

    #[test]
    fn hands_that_are_far_off_do_not_draw_the_strike() {
        let (impact, source) = with_sound(Estimate::new(2.0, 0.009), &[strike(2.04, 30.0)]);
        assert_eq!(source, ImpactSource::Sound);
        assert!((impact.value - 2.04).abs() < 0.002, "{impact:?}");
    }

    #[test]
    fn a_faint_click_beside_a_loud_one_is_not_the_strike() {
        let hands = Estimate::new(2.0, 0.015);
        let (impact, _) = with_sound(hands, &[strike(2.001, 16.0), strike(2.03, 40.0)]);
        assert!((impact.value - 2.03).abs() < 0.005, "{impact:?}");
    }
}
