//! In: hands, upper hub, head. Out: when the body comes to rest after the swing.
//! Rest: the hands and the body slower than a golfer who holds the finish, and so they stay.

use super::motion::Motion;
use super::series::Series;
use crate::units::Estimate;

/// Statures / s: about 0.45 m/s for the hands, 0.2 m/s for the body; common practice, no source.
const HANDS: f64 = 0.25;
const BODY: f64 = 0.12;
/// Rest lasts at least this long, seconds.
const LASTS: f64 = 0.12;
/// Half width of the speed's fit, seconds.
const HALF: f64 = 0.08;
/// Where exactly rest begins is a matter of taste, seconds.
const SD: f64 = 0.06;

/// `None` when the clip ends first.
pub(super) fn rest(motion: &Motion, impact: f64) -> Option<Estimate> {
    // The hands' slow moment right after the ball is no rest: the swing goes on around.
    let times: Vec<f64> = motion.u.t.iter().copied().filter(|t| *t > impact + 0.2).collect();
    let still: Vec<bool> = times.iter().map(|t| is_still(motion, *t)).collect();
    let last = motion.u.last();
    let k = (0..times.len()).find(|&k| {
        let stay = times.iter().zip(&still).skip(k);
        times[k] + LASTS <= last + motion.step / 2.0
            && stay.take_while(|(t, _)| **t <= times[k] + LASTS).all(|(_, s)| *s)
    })?;
    Some(Estimate::new(times[k], SD.hypot(motion.step / 2.0)))
}

fn is_still(motion: &Motion, t: f64) -> bool {
    let speed = |u: &Series, v: &Series| match (u.local(t, HALF), v.local(t, HALF)) {
        (Some(u), Some(v)) => u.slope.hypot(v.slope),
        _ => f64::INFINITY,
    };
    speed(&motion.u, &motion.v) < HANDS && motion.body.iter().all(|(u, v)| speed(u, v) < BODY)
}
