//! In: impact as the hands or a strike tell it, what left its place on the ground. Out: the
//! departure that is the ball's, impact within it. Seconds.
//!
//! The ball is there in one picture and gone in the next; between the two any moment is as good
//! as any other, so that hands and strike decide inside and hardly outside.

use super::impact::HANDS_DOUBT;
use super::strike::Strike;
use crate::track::Departure;
use crate::units::{Estimate, Seconds};

/// A departure agrees with the hands, and a strike with a departure, within so many sd.
const TOLERANCE: f64 = 3.0;
/// Another departure this clear, as a share of the clearest, must not contradict it.
const RIVAL: f64 = 0.5;
/// When in its exposure a picture's timestamp lies differs between phones, seconds: pictures of
/// swings are exposed for 8 ms at most or the club is a smear (common practice, no source).
const STAMP_SD: f64 = 0.003;
/// Steps of the sum over the moments.
const STEPS: u32 = 200;
/// Degrees of freedom of the tails of what the hands say.
const FREEDOM: f64 = 4.0;

/// The departure that is the ball's: the clearest of those at the hands' time, unless another as
/// good says another time.
pub(super) fn left(hands: Estimate, departures: &[Departure]) -> Option<Departure> {
    let reach = TOLERANCE * hands.sd.hypot(HANDS_DOUBT);
    let mut near: Vec<&Departure> =
        departures.iter().filter(|d| outside(hands.value, d) <= reach).collect();
    near.sort_by(|a, b| b.clear.total_cmp(&a.clear));
    let ball = **near.first()?;
    let contradicts = |d: &&&Departure| {
        d.clear >= RIVAL * ball.clear && (d.from.0 >= ball.to.0 || d.to.0 <= ball.from.0)
    };
    near.iter().skip(1).find(contradicts).is_none().then_some(ball)
}

/// The strike that was heard as the ball left.
pub(super) fn heard(ball: &Departure, strikes: &[Strike]) -> Option<Strike> {
    let reach = TOLERANCE * Strike::sd().hypot(STAMP_SD);
    let agree = strikes.iter().filter(|s| outside(s.time.0, ball) <= reach);
    agree.copied().max_by(|a, b| a.loudness.total_cmp(&b.loudness))
}

/// Of impact as the departure alone tells it, seconds.
pub(super) fn sd(ball: &Departure) -> f64 {
    ((ball.to.0 - ball.from.0) / 12f64.sqrt()).hypot(STAMP_SD)
}

/// Impact from both: mean and sd over all moments, each as likely as the departure allows times
/// as the other says (Student's t, so that a departure far from it is still believed).
pub(super) fn within(other: Estimate, ball: &Departure) -> Estimate {
    let (Seconds(from), Seconds(to)) = (ball.from, ball.to);
    let start = from - 4.0 * STAMP_SD;
    let step = (to - from + 8.0 * STAMP_SD) / f64::from(STEPS);
    // The logistic curve stands for the normal one's sum: they differ by 0.01 at most.
    let past = |t: f64| 1.0 / (1.0 + (-1.702 * t / STAMP_SD).exp());
    let (mut all, mut first, mut second) = (0.0, 0.0, 0.0);
    for i in 0..=STEPS {
        let t = start + step * f64::from(i);
        let off = (t - other.value) / other.sd;
        let said = (1.0 + off * off / FREEDOM).powf(-0.5 * (FREEDOM + 1.0));
        let weight = past(t - from) * past(to - t) * said;
        let away = t - from;
        all += weight;
        first += weight * away;
        second += weight * away * away;
    }
    let mean = first / all;
    Estimate::new(from + mean, (second / all - mean * mean).max(0.0).sqrt())
}

/// How far a moment lies outside a departure.
fn outside(time: f64, departure: &Departure) -> f64 {
    (departure.from.0 - time).max(time - departure.to.0).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn departure(from: f64, to: f64, clear: f64) -> Departure {
        Departure { from: Seconds(from), to: Seconds(to), clear }
    }

    #[test]
    fn the_clearest_at_the_hands_time_is_the_ball() {
        let hands = Estimate::new(2.0, 0.01);
        let ball = departure(2.03, 2.06, 3000.0);
        let shoe = departure(1.99, 2.02, 800.0);
        let late = departure(2.2, 2.23, 9000.0);
        assert_eq!(left(hands, &[late, ball, shoe]), Some(ball));
        assert_eq!(left(hands, &[late]), None);
        assert_eq!(left(hands, &[]), None);
    }

    #[test]
    fn two_as_clear_that_disagree_are_none() {
        let hands = Estimate::new(2.0, 0.01);
        let one = departure(1.98, 2.0, 3000.0);
        assert_eq!(left(hands, &[one, departure(2.02, 2.04, 2000.0)]), None);
        // The ball and its shadow leave together.
        assert_eq!(left(hands, &[one, departure(1.98, 2.0, 2000.0)]), Some(one));
    }

    #[test]
    fn vague_hands_leave_the_middle_and_sure_ones_decide_inside() {
        let ball = departure(2.0, 2.0333, 3000.0);
        let vague = within(Estimate::new(2.0, 0.2), &ball);
        assert!((vague.value - 2.0167).abs() < 0.001, "{vague:?}");
        assert!((vague.sd - sd(&ball)).abs() < 0.001, "{vague:?} {}", sd(&ball));
        let sure = within(Estimate::new(2.025, 0.004), &ball);
        assert!((sure.value - 2.025).abs() < 0.002 && sure.sd < 0.006, "{sure:?}");
        let wrong = within(Estimate::new(1.93, 0.01), &ball);
        assert!((2.0..2.02).contains(&wrong.value) && wrong.sd > 0.004, "{wrong:?}");
    }

    #[test]
    fn only_a_strike_heard_as_it_left_counts() {
        let ball = departure(2.0, 2.0333, 3000.0);
        let strike = |at: f64| Strike { time: Seconds(at), loudness: 30.0 };
        assert_eq!(heard(&ball, &[strike(1.9), strike(2.04)]), Some(strike(2.04)));
        assert_eq!(heard(&ball, &[strike(1.9), strike(2.1)]), None);
    }
}
