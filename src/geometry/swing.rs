//! The whole swing. In: one or two clips ready to be asked, fitted together. Out: [`Motion`]:
//! every frame, every event, and the measures of the swing as a whole.

use super::fit::{self, Posterior};
use super::lead;
use super::pose::{Values, wrap};
use super::support::Support;
use super::timing;
use super::view::{Row, View};
use super::{AtEvent, Budget, GeometryError, Measure, Measured, Missing, Motion, MotionFrame};
use crate::events::{Event, Events};
use crate::units::{Estimate, Seconds};

/// Variances change slowly: between events they are worked out this far apart, seconds.
const BUDGET_STEP_S: f64 = 0.1;

/// A second clip and how its clock runs against the first.
pub(super) struct Second<'a> {
    pub view: View<'a>,
    /// Before the fit.
    pub offset: Estimate,
}

/// Events of all clips on the first one's clock.
fn events(view: &View, second: Option<&Second>, offset: Option<Estimate>) -> Events {
    let own = view.input.events;
    match (second, offset) {
        (Some(s), Some(offset)) => timing::joined(own, s.view.input.events, offset),
        _ => own.clone(),
    }
}

/// Fits the swing and reads everything off.
pub(super) fn assemble(view: &View, second: Option<&Second>) -> Result<Motion, GeometryError> {
    let before = events(view, second, second.map(|s| s.offset));
    let mut views = vec![(view, Estimate::new(0.0, 0.0))];
    views.extend(second.map(|s| (&s.view, s.offset)));
    let (first, last) = view.span();
    let event_times: Vec<f64> = Event::ALL
        .iter()
        .filter(|e| **e != Event::Address)
        .filter_map(|e| before.at(*e))
        .map(|e| e.value)
        .filter(|t| (first..=last).contains(t))
        .collect();
    let times = fit::knots(view.times().map(|(t, _)| t), &event_times);
    let window = (before.address.0.0, before.address.1.0);
    let posterior = fit::fit(&views, &times, window).ok_or(GeometryError::Unsettled)?;
    let support = Support::of(&views.iter().map(|(v, _)| *v).collect::<Vec<_>>());
    let mut course = Course::new(&posterior, support, &event_times);
    let offset = second.map(|_| posterior.offset(1));
    let events = timing::refined(&course, &events(view, second, offset));
    for event in Event::ALL.into_iter().filter(|e| *e != Event::Address) {
        if let Some(time) = events.at(event) {
            course.look_closely(time.value);
        }
    }
    let frames = view
        .times()
        .map(|(time, filled)| MotionFrame {
            time: Seconds(time),
            filled,
            values: course.row(Estimate::new(time, 0.0)),
        })
        .collect();
    let at_events = Event::ALL
        .into_iter()
        .filter_map(|event| {
            let time = events.at(event)?;
            let mut values =
                if event == Event::Address { course.address_row() } else { course.row(time) };
            if let (Event::ArmLevelBack | Event::Transition, Ok(arm)) =
                (event, &mut values[Measure::LeadArm as usize])
                && !events.by_hand.contains(&event)
            {
                // the arm's own error is what made the time unsure: it counts once
                if let Some(known) = course.one(Measure::LeadArm, time.value) {
                    arm.budget.timing = known.budget.timing;
                }
            }
            let filled = view.is_filled(time.value);
            let frame = MotionFrame { time: Seconds(time.value), filled, values };
            Some(AtEvent { event, time, frame })
        })
        .collect();
    let swing = lead::swing_measures(&course, &events);
    Ok(Motion { frames, at_events, swing, events, offset })
}

/// The fitted swing as a function of time.
pub(super) struct Course<'a> {
    posterior: &'a Posterior,
    support: Support,
    values: Vec<Values>,
    /// Knots whose variances are worked out, in order.
    known: Vec<(usize, Vec<Budget>)>,
}

impl<'a> Course<'a> {
    fn new(posterior: &'a Posterior, support: Support, events: &[f64]) -> Self {
        let times = posterior.times();
        let values = (0..times.len()).map(|k| posterior.values(k)).collect();
        let mut known = Vec::new();
        let mut due = f64::NEG_INFINITY;
        for (k, t) in times.iter().enumerate() {
            let event = events.iter().any(|e| (e - t).abs() < 1e-4);
            if event || *t >= due - 1e-6 || k + 1 == times.len() {
                known.push((k, posterior.budgets(k)));
                due = t + BUDGET_STEP_S;
            }
        }
        Self { posterior, support, values, known }
    }

    /// Works out the variances at the knots around a time.
    fn look_closely(&mut self, time: f64) {
        let after = self.posterior.times().partition_point(|t| *t < time);
        for knot in [after.saturating_sub(1), after.min(self.values.len() - 1)] {
            if let Err(place) = self.known.binary_search_by_key(&knot, |(k, _)| *k) {
                self.known.insert(place, (knot, self.posterior.budgets(knot)));
            }
        }
    }

    /// One measure at an exactly known time.
    pub fn one(&self, measure: Measure, time: f64) -> Option<Measured> {
        self.row(Estimate::new(time, 0.0))[measure as usize].ok()
    }

    /// The value alone.
    pub fn value(&self, measure: Measure, time: f64) -> f64 {
        self.values_at(time)[measure as usize]
    }

    /// All measures at a time known with some sd.
    pub fn row(&self, time: Estimate) -> Row {
        let times = self.posterior.times();
        let (first, last) = (times[0], times[times.len() - 1]);
        if !(first - 0.05..=last + 0.05).contains(&time.value) {
            return [Err(Missing::NotSeen); Measure::ALL.len()];
        }
        let values = self.values_at(time.value);
        let budgets = self.budgets_at(time);
        self.checked(&values, &budgets)
    }

    fn address_row(&self) -> Row {
        self.checked(&self.posterior.address_values(), &self.posterior.address_budgets())
    }

    fn checked(&self, values: &Values, budgets: &[Budget]) -> Row {
        Measure::ALL.map(|m| {
            self.support.check(m, values)?;
            Ok(Measured { value: values[m as usize], budget: budgets[m as usize] })
        })
    }

    /// Between knots by a cubic that has the slopes of the knots around it (Catmull-Rom).
    fn values_at(&self, time: f64) -> Values {
        let times = self.posterior.times();
        let high = times.partition_point(|t| *t < time).clamp(1, times.len() - 1);
        let low = high - 1;
        let (before, after) = (low.saturating_sub(1), (high + 1).min(times.len() - 1));
        let gap = times[high] - times[low];
        let u = ((time - times[low]) / gap).clamp(0.0, 1.0);
        let mut out = self.values[low];
        for m in Measure::ALL {
            let i = m as usize;
            let step = |a: usize, b: usize| difference(m, self.values[a][i], self.values[b][i]);
            let rise = step(low, high);
            let slope_low = (step(before, low) + rise) / (times[high] - times[before]) * gap;
            let slope_high = (rise + step(high, after)) / (times[after] - times[low]) * gap;
            out[i] += u * u * (3.0 - 2.0 * u) * rise + u * (1.0 - u).powi(2) * slope_low
                - u * u * (1.0 - u) * slope_high;
        }
        out
    }

    /// Variances between the knots where they are known, and what an unsure time adds.
    fn budgets_at(&self, time: Estimate) -> Vec<Budget> {
        const STEP: f64 = 0.01;
        let times = self.posterior.times();
        let high = self.known.partition_point(|(k, _)| times[*k] < time.value);
        let high = high.clamp(1, self.known.len() - 1);
        let ((a, low), (b, high)) = (&self.known[high - 1], &self.known[high]);
        let share = ((time.value - times[*a]) / (times[*b] - times[*a])).clamp(0.0, 1.0);
        let before = self.values_at(time.value - STEP);
        let after = self.values_at(time.value + STEP);
        Measure::ALL
            .iter()
            .map(|m| {
                let i = *m as usize;
                let rate = difference(*m, before[i], after[i]) / (2.0 * STEP);
                let mixed = low[i].mixed(&high[i], share);
                Budget { timing: mixed.timing + (rate * time.sd).powi(2), ..mixed }
            })
            .collect()
    }
}

fn difference(measure: Measure, from: f64, to: f64) -> f64 {
    if measure.is_length() { to - from } else { wrap(to - from) }
}
