//! The whole swing. In: one or two clips ready to be asked. Out: [`Motion`]: every frame,
//! every event, and the measures of the swing as a whole.

use super::view::{Row, View};
use super::{AtEvent, Measure, Measured, Missing, Motion, MotionFrame};
use crate::events::{Event, Events};
use crate::units::{Estimate, Seconds};

/// Longest time before `top` at which a pelvis is taken to start back, seconds: a backswing
/// lasts 0.7 to 1 s (FACTS A3.5); common practice.
const EARLIEST_LEAD_S: f64 = 0.35;
/// Step at which curves are searched for their peak, seconds.
const SEARCH_STEP_S: f64 = 0.004;
/// Errors of the turn change over about this time, seconds; sets how sharp a peak's time is.
const TURN_ERROR_TIME_S: f64 = 0.1;

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

/// A second clip and how its clock runs against the first.
pub(super) struct Second<'a> {
    pub view: View<'a>,
    pub offset: Estimate,
    /// Events of both together, on the first clip's clock.
    pub events: Events,
}

pub(super) fn assemble(first: &[View; 1], second: Option<&Second>) -> Motion {
    let [view] = first;
    let events = second.map_or_else(|| view.input.events.clone(), |s| s.events.clone());
    let joined = Joined { view, second };
    let frames = view
        .times()
        .map(|(time, filled)| MotionFrame {
            time: Seconds(time),
            filled,
            values: joined.at(Estimate::new(time, 0.0)),
        })
        .collect();
    let at_events = Event::ALL
        .into_iter()
        .filter_map(|event| {
            let time = events.at(event)?;
            let values =
                if event == Event::Address { joined.at_address() } else { joined.at(time) };
            let frame = MotionFrame {
                time: Seconds(time.value),
                filled: view.is_filled(time.value),
                values,
            };
            Some(AtEvent { event, time, frame })
        })
        .collect();
    let swing = swing_measures(&joined, &events);
    Motion { frames, at_events, swing, events, offset: second.map(|s| s.offset) }
}

/// One or two clips as one.
struct Joined<'a> {
    view: &'a View<'a>,
    second: Option<&'a Second<'a>>,
}

impl Joined<'_> {
    fn at(&self, time: Estimate) -> Row {
        let row = self.view.at(time);
        let Some(second) = self.second else { return row };
        let there =
            Estimate::new(time.value + second.offset.value, time.sd.hypot(second.offset.sd));
        combine(&row, &second.view.at(there))
    }

    fn at_address(&self) -> Row {
        let row = self.view.at_address();
        self.second.map_or(row, |s| combine(&row, &s.view.at_address()))
    }

    fn one(&self, measure: Measure, time: f64) -> Option<Measured> {
        self.at(Estimate::new(time, 0.0))[measure as usize].ok()
    }
}

/// Inverse-variance mean, cause by cause.
fn combine(a: &Row, b: &Row) -> Row {
    let mut out = *a;
    for (m, slot) in Measure::ALL.iter().zip(out.iter_mut()) {
        let i = *m as usize;
        *slot = match (a[i], b[i]) {
            (Ok(a), Ok(b)) => Ok(weighted(*m, &a, &b)),
            (Ok(one), Err(_)) | (Err(_), Ok(one)) => Ok(one),
            // turned too far in the view that could say is the better reason
            (Err(Missing::NeedsFaceOn | Missing::NeedsDownTheLine), Err(why))
            | (Err(why), Err(_)) => Err(why),
        };
    }
    out
}

fn weighted(measure: Measure, a: &Measured, b: &Measured) -> Measured {
    let (va, vb) = (a.budget.variance(), b.budget.variance());
    if va + vb <= 0.0 {
        return *a;
    }
    let w = vb / (va + vb);
    let difference = b.value - a.value;
    let difference = if measure.is_length() { difference } else { super::pose::wrap(difference) };
    let mix = |x: f64, y: f64| w * w * x + (1.0 - w).powi(2) * y;
    let (p, q) = (a.budget, b.budget);
    let budget = super::Budget {
        keypoints: mix(p.keypoints, q.keypoints),
        timing: mix(p.timing, q.timing),
        scale: mix(p.scale, q.scale),
        tilt: mix(p.tilt, q.tilt),
        aim: mix(p.aim, q.aim),
        depth: mix(p.depth, q.depth),
        ground: mix(p.ground, q.ground),
    };
    Measured { value: a.value + (1.0 - w) * difference, budget }
}

fn swing_measures(joined: &Joined, events: &Events) -> SwingMeasures {
    let span = |from: Option<Estimate>, to: Option<Estimate>| match (from, to) {
        (Some(from), Some(to)) => Ok(Estimate::new(to.value - from.value, to.sd.hypot(from.sd))),
        _ => Err(Missing::NoEvent),
    };
    let top = Some(events.top);
    let backswing_s = span(events.takeaway, top);
    let downswing_s = span(top, events.impact);
    let start = pelvis_start(joined, events);
    SwingMeasures {
        backswing_s,
        downswing_s,
        tempo: tempo(events),
        separation_gain: separation_gain(joined, events, start),
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
    let variance =
        by_top.powi(2) + (takeaway.sd / down).powi(2) + (back / (down * down) * impact.sd).powi(2);
    Ok(Estimate::new(back / down, variance.sqrt()))
}

/// When the pelvis stops turning away and starts back. The sd follows from how flat the peak
/// is: a slope error of sd / correlation time moves it by that over the curvature.
fn pelvis_start(joined: &Joined, events: &Events) -> Option<Estimate> {
    let until = events.transition.map_or(events.top.value + 0.1, |t| t.value);
    let from = events.top.value - EARLIEST_LEAD_S;
    let turn = |t: f64| joined.one(Measure::PelvisTurn, t);
    let peak = peak_time(from, until, |t| turn(t).map(|m| m.value))?;
    let h = 0.04;
    let (a, b, c) = (turn(peak - h)?, turn(peak)?, turn(peak + h)?);
    let curvature = (a.value - 2.0 * b.value + c.value) / (h * h);
    let slope_error = b.estimate().sd / TURN_ERROR_TIME_S;
    let sd = (slope_error / curvature.abs().max(1e-6)).clamp(SEARCH_STEP_S, (until - from) / 2.0);
    Some(Estimate::new(peak, sd))
}

/// Largest separation from the pelvis starting back to transition, less that at `top`.
fn separation_gain(
    joined: &Joined,
    events: &Events,
    start: Option<Estimate>,
) -> Result<Estimate, Missing> {
    let (Some(start), Some(transition)) = (start, events.transition) else {
        return Err(Missing::NoEvent);
    };
    let separation = |t: f64| joined.one(Measure::Separation, t);
    let value = |t: f64| separation(t).map(|m| m.value);
    let from = start.value.min(events.top.value);
    let peak = peak_time(from, transition.value, value).ok_or(Missing::NotSeen)?;
    let (most, top) = (separation(peak), separation(events.top.value));
    let (Some(most), Some(top)) = (most, top) else { return Err(Missing::NotSeen) };
    // errors a moment apart share what is slower than their correlation time
    let apart = 1.0 - (-(peak - events.top.value).abs() / TURN_ERROR_TIME_S).exp();
    let variance = (most.budget.variance() + top.budget.variance()) * apart.max(0.05);
    Ok(Estimate::new(most.value - top.value, variance.sqrt()))
}

/// Time of the largest value on a fine grid.
fn peak_time(from: f64, to: f64, value: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let mut best: Option<(f64, f64)> = None;
    let mut t = from;
    while t <= to {
        if let Some(v) = value(t)
            && best.is_none_or(|(_, most)| v > most)
        {
            best = Some((t, v));
        }
        t += SEARCH_STEP_S;
    }
    best.map(|(t, _)| t)
}
