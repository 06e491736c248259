//! Events on the fitted motion. In: the fitted course, the events of each clip by itself. Out:
//! the events with the lead arm's levels taken from the fit, seconds, with sd.
//!
//! An arm level is where the fitted lead arm crosses level, so that time and angle agree; its
//! sd is the arm's own over the speed at which it crosses; one set by hand stays. An impact that
//! was heard moves by what the camera's distance says of the sound's way. Takeaway, top and finish are
//! those of [`crate::events`]: the fit holds neither both hands nor the sound.

use nalgebra::Vector3;

use super::pair::at_odds;
use super::pose::{Lens, observe, theta};
use super::swing::Course;
use super::{Measure, ViewInput};
use crate::events::{Event, Events, ImpactSource};
use crate::units::Estimate;

/// A crossing further from the clip's own than this is another one, seconds.
const NEAR_S: f64 = 0.15;
/// No event is surer, seconds.
const SUREST_S: f64 = 1e-4;
/// Step of the search, seconds.
const STEP_S: f64 = 0.004;
/// The arm's rate is taken over this to both sides, seconds.
const AROUND_S: f64 = 0.03;
/// Slower crossings say little about when, radians a second.
const SLOWEST: f64 = 0.7;
/// Left over with perfect arms: knots of 1/60 s, seconds (`accuracy.rs`, transition).
const METHOD_SD_S: f64 = 0.003;

/// Ball in front of the lower hub and below it: 0.72 m in front of the ankles
/// ([`crate::calibration`]), the hub 0.1 m behind them and at 0.52 of the stature, knees bent
/// (Winter's hip height is 0.53, FACTS B2).
const BALL_FRONT_M: f64 = 0.82;
const HUB_HEIGHT: f64 = 0.52;

/// The events with a heard impact moved by what the sound's way differs from the way assumed.
pub(super) fn heard(input: &ViewInput) -> Events {
    let mut events = input.events.clone();
    if events.impact_source != ImpactSource::Sound || events.by_hand.contains(&Event::Impact) {
        return events;
    }
    if let (Some(impact), Some(way)) = (events.impact.as_mut(), sounds_way(input)) {
        impact.value += (Events::HEARD_FROM_M - way) / Events::SOUND_SPEED;
    }
    events
}

/// From the ball to the camera, metres.
fn sounds_way(input: &ViewInput) -> Option<f64> {
    let (calibration, address) = (input.calibration, input.events.address);
    let frame = input.lifted.frames.iter().find(|f| f.time.0 >= address.0.0)?;
    let lens = Lens::new(&theta(calibration), calibration.handed, calibration.size.centre());
    let hub = lens.body(&observe(frame).0).lower;
    let down = HUB_HEIGHT * calibration.stature_m.value;
    let way = (hub + Vector3::new(0.0, BALL_FRONT_M, -down)).norm();
    way.is_finite().then_some(way)
}

/// The events of both clips on the first one's clock, the second's being ahead by `offset`.
///
/// The mean of both leans on the second clip by its weight, and on the clock by as much: what
/// the two make of the clock (their difference) says nothing about their mean. What both have in
/// common does not average out. Where the two cannot both be right the surer one counts, with the
/// other for a doubt.
pub(super) fn joined(a: &Events, b: &Events, offset: Estimate) -> Events {
    let both = |event: Event| {
        let (Some(mut here), Some(mut there)) = (a.at(event), b.at(event)) else {
            let moved = |e: Estimate| Estimate::new(e.value - offset.value, e.sd.hypot(offset.sd));
            return a.at(event).or(b.at(event).map(moved));
        };
        let shared = a.shared_sd(event).min(b.shared_sd(event));
        let own = |sd: f64| (sd * sd - shared * shared).max(SUREST_S * SUREST_S).sqrt();
        (here.sd, there.sd) = (own(here.sd), own(there.sd));
        there.value -= offset.value;
        let apart = (here.value - there.value).abs();
        if at_odds(apart, here.sd.hypot(there.sd)) {
            let surer = if here.sd <= there.sd { here } else { there };
            return Some(Estimate::new(surer.value, surer.sd.hypot(shared).hypot(apart / 2.0)));
        }
        let share = here.sd.powi(2) / (here.sd.powi(2) + there.sd.powi(2));
        let mean = here.combined(there);
        Some(Estimate::new(mean.value, mean.sd.hypot(share * offset.sd).hypot(shared)))
    };
    let told = |by: ImpactSource| [a, b].iter().any(|e| e.impact_source == by);
    let impact_source = [ImpactSource::Sound, ImpactSource::Ball]
        .into_iter()
        .find(|by| told(*by))
        .unwrap_or(ImpactSource::Hands);
    Events {
        address: a.address,
        takeaway: both(Event::Takeaway),
        arm_level_back: both(Event::ArmLevelBack),
        top: both(Event::Top).unwrap_or(a.top),
        transition: both(Event::Transition),
        impact: both(Event::Impact),
        finish: both(Event::Finish),
        impact_source,
        by_hand: [a.by_hand.as_slice(), b.by_hand.as_slice()].concat(),
    }
}

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
