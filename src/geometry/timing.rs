//! Events on the fitted motion. In: the fitted course, the events of each clip by itself. Out:
//! the events with the lead arm's levels taken from the fit, seconds, with sd.
//!
//! An arm level is where the fitted lead arm crosses level, so that time and angle agree; its
//! sd is the arm's own over the speed at which it crosses; one set by hand stays. Takeaway, top, impact and finish are
//! those of [`crate::events`]: the fit holds neither both hands nor the sound.

use super::Measure;
use super::swing::Course;
use crate::events::{Event, Events};
use crate::units::Estimate;

/// A crossing further from the clip's own than this is another one, seconds.
const NEAR_S: f64 = 0.15;
/// Step of the search, seconds.
const STEP_S: f64 = 0.004;
/// The arm's rate is taken over this to both sides, seconds.
const AROUND_S: f64 = 0.03;
/// Slower crossings say little about when, radians a second.
const SLOWEST: f64 = 0.7;
/// Left over with perfect arms: knots of 1/60 s, seconds (`accuracy.rs`, transition).
const METHOD_SD_S: f64 = 0.003;

pub(super) fn refined(course: &Course, events: &Events) -> Events {
    let level = |event: Event, sign: f64| {
        let near = events.at(event)?;
        let found = crossing(course, near, sign).filter(|_| !events.by_hand.contains(&event));
        Some(found.unwrap_or(near))
    };
    Events {
        arm_level_back: level(Event::ArmLevelBack, 1.0),
        transition: level(Event::Transition, -1.0),
        ..events.clone()
    }
}

/// Where the fitted arm passes level upwards (`sign` 1) or downwards (-1), nearest to `near`.
fn crossing(course: &Course, near: Estimate, sign: f64) -> Option<Estimate> {
    let arm = |t: f64| sign * course.value(Measure::LeadArm, t);
    let steps = (NEAR_S / STEP_S).round();
    let mut found: Option<f64> = None;
    let mut k = -steps;
    while k < steps {
        let (t, next) = (near.value + k * STEP_S, near.value + (k + 1.0) * STEP_S);
        let (a, b) = (arm(t), arm(next));
        if a < 0.0 && b >= 0.0 {
            let at = t + STEP_S * a / (a - b);
            let nearer = |f: f64| (at - near.value).abs() < (f - near.value).abs();
            if found.is_none_or(nearer) {
                found = Some(at);
            }
        }
        k += 1.0;
    }
    let at = found?;
    let rate = (arm(at + AROUND_S) - arm(at - AROUND_S)) / (2.0 * AROUND_S);
    let sd = course.one(Measure::LeadArm, at)?.estimate().sd / rate.max(SLOWEST);
    Some(Estimate::new(at, sd.hypot(METHOD_SD_S)))
}
