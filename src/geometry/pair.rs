//! Two clips of one swing. In: two [`ViewInput`]s. Out: their common motion, or the reason
//! why they do not belong together.
//!
//! The offset of the clocks is the weighted mean of the events' differences; the events must
//! agree with it, and so must the curves that both views see best (rise of upper hub and head,
//! lead arm, shoulder turn): two swings of one pupil have much the same tempo, but not the same curves. The
//! offset is where the fit starts from, with its sd; what both clips see of the motion refines it.

use super::pose::{ARM, CHANNELS, DEPTHS, HIPS, LOG_STATURE_PX, SHOULDERS, TRUNK};
use super::swing::{Second, assemble};
use super::timing;
use super::view::View;
use super::{GeometryError, Measure, Motion, ViewInput};
use crate::events::{Event, Events};
use crate::units::Estimate;
use crate::warning::{Kind, Warned, Warning};

/// An event this many sd and this many seconds away from the common offset: not one swing.
const EVENT_LIMIT: (f64, f64) = (4.0, 0.06);
/// Yet one event of four may be misread in one clip, by less than this, seconds, where the bodies
/// move alike beyond doubt. Of 18 whole true pairs one had such an event with the first networks
/// (the top of a wild swing, 0.1 s early from behind), none of 37 has now; of 53 unlike ones with
/// such an event none is let through by it.
const MISREAD_S: f64 = 0.12;
const EVENTS_TO_SPARE: usize = 4;
/// Mean squared disagreement of the curves, in their own variance. Of 37 whole true pairs of bodies
/// that no network knew none has more than 1.6; of 456 pairs made of their unlike clips 17 lie below
/// this and have no event that tells (9 with a limit of 2.2, 31 with 3.0). Real people are read worse
/// than rendered ones.
const CURVE_LIMIT: f64 = 2.6;
/// Above this a note is due: one true pair, all of the 17.
const CURVE_DOUBT: f64 = 1.1;
/// Curves that both views see well and that tell swings apart: rise of the upper hub and the
/// head, lead arm, turn of the shoulders. Without the last 39 of those 456 were taken for one swing.
/// Neither the lower hub's rise nor the pelvis turn tells more: each view's own errors are as large as
/// what swings differ by.
const CURVES: [Measure; 4] =
    [Measure::UpperHubUp, Measure::HeadUp, Measure::LeadArm, Measure::ThoraxTurn];
const LOOKS: u32 = 24;
/// The lines that both views read whole, by the measure that shows each, and their channels.
const LINES: [(Measure, std::ops::Range<usize>); 3] = [
    (Measure::PelvisTurn, HIPS..ARM),
    (Measure::ThoraxTurn, SHOULDERS..HIPS),
    (Measure::LeadArm, ARM..CHANNELS),
];
/// Two views of one body are wrong together (of 17 whole true pairs of bodies that no network knew,
/// correlation of the same measure's errors at the same moment 0.24 to 0.45), so that two say less
/// than two independent ones: factors on the sd of points and trunk, and of lines. Without them the
/// pairs' errors were 1.1 to 1.6 of their sd, with them 0.8 to 1.1.
const TOGETHER: (f64, f64) = (1.25, 1.15);
/// How deep head, upper hub and trunk reach from the lower hub: what one view guesses of it the
/// other sees. Taken at its stated sd it pulled the better one: with this factor spine tilt of those pairs is
/// 1.4 / 4.3 degrees off instead of 1.9 / 4.7, hubs along the target line 0.55 / 1.6 cm instead of 0.52 / 2.0.
const GUESSED_DEPTH: f64 = 4.0;
/// The corrector's sd is the scale of a Student distribution with so many degrees of freedom
/// (its loss, models/lift.md).
const PRIOR_FREEDOM: f64 = 4.0;
/// Of a swing of 1.1 s: errors of a line change over about 0.25 s, and one part is common.
const INDEPENDENT_LOOKS: f64 = 3.0;

pub(super) fn motion(a: &ViewInput, b: &ViewInput) -> Result<Warned<Motion>, GeometryError> {
    if a.calibration.view == b.calibration.view {
        return Err(GeometryError::SameView);
    }
    let (mut first, mut second) = (View::new(a)?, View::new(b)?);
    let (offset, odd) = offset(a.events, b.events)?;
    let events = timing::joined(a.events, b.events, offset);
    let disagreement = disagreement(&first, &second, offset, &events);
    if disagreement > CURVE_LIMIT {
        let why = "the body moves differently in them".to_owned();
        return Err(GeometryError::DifferentSwings { why });
    }
    let mut warnings = Vec::new();
    if let Some(odd) = odd {
        if disagreement > CURVE_DOUBT {
            return Err(odd.different_swings());
        }
        warnings.push(Warning::of(Kind::RoughPair, odd.note()));
    } else if disagreement > CURVE_DOUBT {
        warnings.push(Warning::of(
            Kind::RoughPair,
            "The two clips agree only roughly: check that they show the same swing.",
        ));
    }
    for (measure, line) in LINES {
        let wider = widening(measure, &first, &second, offset, &events);
        first.widen(line.clone(), wider);
        second.widen(line, wider);
    }
    wrong_together(&mut first);
    wrong_together(&mut second);
    let second = Second { view: second, offset };
    Ok(Warned { output: assemble(&first, Some(&second))?, warnings })
}

fn wrong_together(view: &mut View) {
    let (points, lines) = TOGETHER;
    view.widen(0..LOG_STATURE_PX, points);
    view.widen(TRUNK..SHOULDERS, points);
    view.widen(SHOULDERS..CHANNELS, lines);
    for depth in DEPTHS.into_iter().chain([TRUNK + 2]) {
        view.widen(depth..depth + 1, GUESSED_DEPTH);
    }
}

/// An event that the two clips show at different times, seconds apart.
struct Odd {
    event: Event,
    apart: f64,
}

impl Odd {
    fn different_swings(&self) -> GeometryError {
        let why = format!("{} comes {:.2} s apart", name(self.event), self.apart);
        GeometryError::DifferentSwings { why }
    }

    fn note(&self) -> String {
        format!(
            "The two clips show {} {:.2} s apart, all else agrees: check that they show the same swing, and where {} is.",
            name(self.event),
            self.apart,
            name(self.event)
        )
    }
}

/// Clock of the second clip less that of the first; the event, if any, that is read so far off in
/// one of them that the clock was taken from the others. The hands set off so slowly that two
/// views can see it 0.3 s apart: the takeaway tells no swings from each other.
fn offset(a: &Events, b: &Events) -> Result<(Estimate, Option<Odd>), GeometryError> {
    // what both views share would cancel, but no two views share it fully (with it taken off 53 %
    // of held-out clocks lay within one sd); below a millisecond no two phones' clocks are known
    let difference = |event: Event| {
        let (here, there) = (a.at(event)?, b.at(event)?);
        let sd = here.sd.hypot(there.sd).max(1e-3);
        Some((event, Estimate::new(there.value - here.value, sd)))
    };
    let telling = |e: &Event| !matches!(e, Event::Address | Event::Takeaway | Event::Finish);
    let seen: Vec<_> = Event::ALL.into_iter().filter(telling).filter_map(difference).collect();
    let Some((clock, odd)) = agreed(&seen) else {
        let why = "no event is seen in both".to_owned();
        return Err(GeometryError::DifferentSwings { why });
    };
    let Some(first) = odd else { return Ok((clock, None)) };
    if seen.len() >= EVENTS_TO_SPARE {
        for &(left_out, there) in &seen {
            let rest: Vec<_> = seen.iter().copied().filter(|(e, _)| *e != left_out).collect();
            let Some((clock, None)) = agreed(&rest) else { continue };
            let odd = Odd { event: left_out, apart: (there.value - clock.value).abs() };
            if odd.apart < MISREAD_S {
                return Ok((clock, Some(odd)));
            }
        }
    }
    Err(first.different_swings())
}

/// Whether two readings of one event, seconds apart, cannot both be right.
pub(super) fn at_odds(apart: f64, sd: f64) -> bool {
    apart > EVENT_LIMIT.0 * sd && apart > EVENT_LIMIT.1
}

/// What differences of clocks say together, and the first of them that does not go with that.
fn agreed(seen: &[(Event, Estimate)]) -> Option<(Estimate, Option<Odd>)> {
    let mean = seen.iter().map(|(_, clock)| *clock).reduce(Estimate::combined)?;
    let miss = |&(event, clock): &(Event, Estimate)| {
        let apart = (clock.value - mean.value).abs();
        at_odds(apart, clock.sd).then_some(Odd { event, apart })
    };
    Some((mean, seen.iter().find_map(miss)))
}

fn name(event: Event) -> &'static str {
    match event {
        Event::Address => "address",
        Event::Takeaway => "takeaway",
        Event::ArmLevelBack => "arm level back",
        Event::Top => "top",
        Event::Transition => "transition",
        Event::Impact => "impact",
        Event::Finish => "finish",
    }
}

/// Mean squared disagreement of the curves in their own variance.
fn disagreement(a: &View, b: &View, offset: Estimate, events: &Events) -> f64 {
    let means: Vec<f64> = CURVES.iter().filter_map(|m| parting(*m, a, b, offset, events)).collect();
    means.iter().sum::<f64>() / f64::from(u32::try_from(means.len().max(1)).unwrap_or(1))
}

/// The same of one measure; `None` where no moment shows it in both.
fn parting(m: Measure, a: &View, b: &View, offset: Estimate, events: &Events) -> Option<f64> {
    let from = events.takeaway.map_or(events.top.value - 0.8, |e| e.value);
    let to = events.impact.map_or(events.top.value + 0.25, |e| e.value);
    let (mut sum, mut seen) = (0.0, 0.0);
    for k in 0..LOOKS {
        let t = from + (to - from) * f64::from(k) / f64::from(LOOKS - 1);
        let here = a.at(Estimate::new(t, 0.0))[m as usize];
        let there = b.at(Estimate::new(t + offset.value, offset.sd))[m as usize];
        let (Ok(x), Ok(y)) = (here, there) else { continue };
        let off = x.value - y.value;
        let off = if m.is_length() { off } else { super::pose::wrap(off) };
        sum += off * off / (x.budget.variance() + y.budget.variance()).max(1e-12);
        seen += 1.0;
    }
    (seen > 0.0).then(|| sum / seen)
}

/// Factor on the sd of a line that two views read more unlike than they say: what is then known
/// of an unsure scale (inverse gamma, Gelman et al., Bayesian Data Analysis, 2.6). It narrows
/// nothing, for a clip's own variances are wide: true pairs part by 0.65 of them in the mean. On
/// wild motion the third of the pairs that part most has squared errors of 2.5 to 3.7 times the
/// fit's variance, the third that parts least 0.9 to 1.6.
fn widening(m: Measure, a: &View, b: &View, offset: Estimate, events: &Events) -> f64 {
    let Some(parting) = parting(m, a, b, offset, events) else { return 1.0 };
    ((PRIOR_FREEDOM + INDEPENDENT_LOOKS * parting) / (PRIOR_FREEDOM + INDEPENDENT_LOOKS))
        .sqrt()
        .max(1.0)
}
