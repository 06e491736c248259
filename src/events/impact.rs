//! In: hands, lead arm, rest position, strikes. Out: impact, sub-frame, and where it is from.
//!
//! The club is not seen, so the hands tell impact only through habits of the body, which
//! are combined by their inverse variance: the hands pass their address position and are
//! a few centimetres ahead of it at impact; the lead arm points most steeply down shortly
//! before; the hands are lowest a little earlier still. A strike in the sound that agrees
//! within the tolerance settles it.
//!
//! The habits' means and spreads: rendered swings `seq_train_0` with perfect points (200
//! swings, tempo 0.7 to 1.5, widely perturbed), in line with common coaching practice
//! (hands ahead of the ball at impact); no published figures were read.

use super::ImpactSource;
use super::motion::{Motion, SMOOTH};
use super::series::Series;
use super::strike::Strike;
use crate::units::Estimate;

/// Hands nearer the target at impact than at address, statures: 11 +- 6 cm.
const AHEAD: Estimate = Estimate { value: 0.06, sd: 0.035 };
/// Lead arm steepest, then impact: shares of the downswing.
const STEEPEST: Estimate = Estimate { value: 0.04, sd: 0.06 };
/// Hands lowest, then impact.
const LOWEST: Estimate = Estimate { value: 0.125, sd: 0.08 };
/// The three habits share their causes: together they are no better than this share of
/// the downswing.
const TOGETHER: f64 = 0.04;
/// A strike agrees when it is within this many sd of the hands' time.
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
    let around = (top + 0.5 * rough, lowest + (0.45 * rough).max(2.5 * motion.step));
    let sharp = SMOOTH.max(0.15 * rough);
    let bottom = minimum(&motion.v, around, sharp, motion.hand_sd);
    let down = bottom.map_or(rough, |(at, _)| at - top);
    let mut signs = Vec::new();
    if let Some((at, sd)) = bottom {
        signs.push(Estimate::new(at + LOWEST.value * down, sd.hypot(LOWEST.sd * down)));
    }
    if let Some((at, sd)) = minimum(&motion.arm, around, sharp, motion.arm_sd) {
        signs.push(Estimate::new(at + STEEPEST.value * down, sd.hypot(STEEPEST.sd * down)));
    }
    signs.extend(rest_target.and_then(|rest| passing(motion, rest, around)));
    let all = signs.into_iter().reduce(Estimate::combined)?;
    Some(Estimate::new(all.value, all.sd.hypot(TOGETHER * down).hypot(0.15 * motion.step)))
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
    let spread = hands.sd.hypot(Strike::sd());
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
            (strike.combined(hands), ImpactSource::Sound)
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
    fn a_faint_click_beside_a_loud_one_is_not_the_strike() {
        let hands = Estimate::new(2.0, 0.015);
        let (impact, _) = with_sound(hands, &[strike(2.001, 16.0), strike(2.03, 40.0)]);
        assert!((impact.value - 2.03).abs() < 0.005, "{impact:?}");
    }
}
