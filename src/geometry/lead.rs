//! Measures of the swing as a whole. In: the fitted course, the events. Out: backswing,
//! downswing, tempo, gain of separation, lead of the pelvis (seconds, radians).

use super::swing::Course;
use super::{Measure, Missing};
use crate::events::Events;
use crate::units::Estimate;

/// Longest time before `top` at which a pelvis is taken to start back, seconds: a backswing
/// lasts 0.7 to 1 s (FACTS A3.5); common practice.
const EARLIEST_LEAD_S: f64 = 0.35;
/// Step at which curves are searched for their peak, seconds.
const SEARCH_STEP_S: f64 = 0.004;
/// Errors of the turns change over about this time, seconds ([`crate::calibration::ErrorModel`]):
/// it sets how sharp a peak's time is, and what two moments share.
const TURN_ERROR_TIME_S: f64 = 0.25;

/// Seconds and radians; missing where an event is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwingMeasures {
    pub backswing_s: Result<Estimate, Missing>,
    pub downswing_s: Result<Estimate, Missing>,
    /// Backswing over downswing.
    pub tempo: Result<Estimate, Missing>,
    /// Radians.
    pub separation_gain: Result<Estimate, Missing>,
    pub pelvis_lead_s: Result<Estimate, Missing>,
}

pub(super) fn swing_measures(course: &Course, events: &Events) -> SwingMeasures {
    let span = |from: Option<Estimate>, to: Option<Estimate>| match (from, to) {
        (Some(from), Some(to)) => Ok(Estimate::new(to.value - from.value, to.sd.hypot(from.sd))),
        _ => Err(Missing::NoEvent),
    };
    let top = Some(events.top);
    let start = pelvis_start(course, events);
    SwingMeasures {
        backswing_s: span(events.takeaway, top),
        downswing_s: span(top, events.impact),
        tempo: tempo(events),
        separation_gain: separation_gain(course, events, start),
        pelvis_lead_s: span(start, top),
    }
}

/// The top's own error lengthens one part and shortens the other.
fn tempo(events: &Events) -> Result<Estimate, Missing> {
    let (Some(takeaway), Some(impact)) = (events.takeaway, events.impact) else {
        return Err(Missing::NoEvent);
    };
    let (back, down) = (events.top.value - takeaway.value, impact.value - events.top.value);
    if down <= 0.0 {
        return Err(Missing::NoEvent);
    }
    let by_top = (1.0 / down + back / (down * down)) * events.top.sd;
    let by_impact = back / (down * down) * impact.sd;
    let variance = by_top.powi(2) + (takeaway.sd / down).powi(2) + by_impact.powi(2);
    Ok(Estimate::new(back / down, variance.sqrt()))
}

/// When the pelvis stops turning away and starts back. The sd follows from how flat the peak
/// is: a slope error of sd / correlation time moves it by that over the curvature.
fn pelvis_start(course: &Course, events: &Events) -> Option<Estimate> {
    const H: f64 = 0.04;
    let until = events.transition.map_or(events.top.value + 0.1, |t| t.value);
    let from = events.top.value - EARLIEST_LEAD_S;
    let turn = |t: f64| course.value(Measure::PelvisTurn, t);
    let peak = peak_time(from, until, turn);
    let curvature = (turn(peak - H) - 2.0 * turn(peak) + turn(peak + H)) / (H * H);
    // camera and scale are wrong throughout and do not move a peak
    let wandering = course.one(Measure::PelvisTurn, peak)?.budget.keypoints.sqrt();
    let slope_error = wandering / TURN_ERROR_TIME_S;
    let sd = slope_error / curvature.abs().max(1e-6);
    Some(Estimate::new(peak, sd.clamp(SEARCH_STEP_S, (until - from) / 2.0)))
}

/// Largest separation from the pelvis starting back to transition, less that at `top`.
fn separation_gain(
    course: &Course,
    events: &Events,
    start: Option<Estimate>,
) -> Result<Estimate, Missing> {
    let (Some(start), Some(transition)) = (start, events.transition) else {
        return Err(Missing::NoEvent);
    };
    let separation = |t: f64| course.one(Measure::Separation, t).ok_or(Missing::NotSeen);
    let from = start.value.min(events.top.value);
    let peak = peak_time(from, transition.value, |t| course.value(Measure::Separation, t));
    let (most, top) = (separation(peak)?, separation(events.top.value)?);
    // errors a moment apart share what is slower than their correlation time
    let apart = 1.0 - (-(peak - events.top.value).abs() / TURN_ERROR_TIME_S).exp();
    let variance = (most.budget.variance() + top.budget.variance()) * apart.max(0.05);
    Ok(Estimate::new(most.value - top.value, variance.sqrt()))
}

/// Time of the largest value on a fine grid.
fn peak_time(from: f64, to: f64, value: impl Fn(f64) -> f64) -> f64 {
    let (mut best, mut most) = (from, f64::NEG_INFINITY);
    let mut t = from;
    while t <= to {
        let v = value(t);
        if v > most {
            (best, most) = (t, v);
        }
        t += SEARCH_STEP_S;
    }
    best
}
