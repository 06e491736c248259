//! Events set by hand. In: the events found, the marks. Out: the events with the marks in their
//! place and what hangs on them looked for again between them.
//!
//! The arm's level going back lies between takeaway and top, coming down between top and impact;
//! the finish follows impact; the still window ends before takeaway. What was marked is
//! not doubted; what was found and no longer fits is an error that names both.

use super::motion::Motion;
use super::{Event, Events, EventsError, finish, level};
use crate::units::{Estimate, Seconds};

/// The still window ends this long before takeaway, seconds, as where it is found.
const BEFORE_TAKEAWAY: f64 = 0.02;

/// `struck`: a rough impact for clips in which none was found.
pub(super) fn settle(
    motion: &Motion,
    mut events: Events,
    marks: &[(Event, Estimate)],
    struck: f64,
) -> Result<Events, EventsError> {
    let at = |event| marks.iter().rev().find(|(e, _)| *e == event).map(|(_, time)| *time);
    let (takeaway, top, impact) = (at(Event::Takeaway), at(Event::Top), at(Event::Impact));
    events.takeaway = takeaway.or(events.takeaway);
    events.top = top.unwrap_or(events.top);
    events.impact = impact.or(events.impact);
    events.address = window(motion, &events, at(Event::Address), takeaway.is_some());
    if takeaway.is_some() || top.is_some() {
        let from = events.takeaway.map_or(motion.u.first(), |t| t.value);
        events.arm_level_back = level::rising(motion, from, events.top.value);
    }
    if top.is_some() || impact.is_some() {
        let until = events.impact.map_or(struck, |i| i.value);
        events.transition = level::falling(motion, events.top.value, until);
    }
    if impact.is_some() {
        events.finish = events.impact.and_then(|i| finish::rest(motion, i.value));
    }
    events.arm_level_back = at(Event::ArmLevelBack).or(events.arm_level_back);
    events.transition = at(Event::Transition).or(events.transition);
    events.finish = at(Event::Finish).or(events.finish);
    events.by_hand = marks.iter().map(|(event, _)| *event).collect();
    check(&events)?;
    Ok(events)
}

/// The still window: about the marked address, and over before takeaway.
fn window(
    motion: &Motion,
    events: &Events,
    address: Option<Estimate>,
    moved: bool,
) -> (Seconds, Seconds) {
    let (Seconds(from), Seconds(to)) = events.address;
    let first = motion.u.first();
    let end = events.takeaway.map_or(to, |t| t.value - BEFORE_TAKEAWAY);
    if let Some(Estimate { value: middle, sd }) = address {
        let half = ((to - from) / 2.0).min(end - middle).min(middle - first).max(sd);
        return (Seconds(middle - half), Seconds(middle + half));
    }
    if moved && (to > end || to <= from) {
        let from = (end - (to - from)).max(first).min(end);
        return (Seconds(from), Seconds(end));
    }
    events.address
}

/// Each event comes after the ones before it.
fn check(events: &Events) -> Result<(), EventsError> {
    let address = events.takeaway.and(Some(f64::midpoint(events.address.0.0, events.address.1.0)));
    let times = Event::ALL.into_iter().filter_map(|event| {
        let time = match event {
            Event::Address => address,
            event => events.at(event).map(|e| e.value),
        };
        Some((event, time?))
    });
    let mut last: Option<(Event, f64)> = None;
    for (event, time) in times {
        if let Some((first, _)) = last.filter(|(_, before)| *before >= time) {
            return Err(EventsError::OutOfOrder { first, second: event });
        }
        last = Some((event, time));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::synthetic::{Script, lifted};
    use super::super::{Signs, detect, detect_marked};
    use super::*;
    use crate::decode::Clock;

    const CLOCK: Clock = Clock { first_s: 0.0, stretch: 1.0 };

    fn marked(script: &Script, marks: &[(Event, Estimate)]) -> Result<Events, EventsError> {
        let signs = Signs { sound: None, clock: &CLOCK, departures: &[] };
        detect_marked(&lifted(script), script.handed, &signs, marks).map(|w| w.output)
    }

    fn at(time: f64) -> Estimate {
        Estimate::new(time, 0.008)
    }

    #[test]
    fn no_mark_changes_nothing() {
        let script = Script::default();
        let found = detect(&lifted(&script), script.handed, None, &CLOCK).unwrap().output;
        assert_eq!(marked(&script, &[]).unwrap(), found);
    }

    #[test]
    fn a_mark_is_kept_and_what_hangs_on_it_follows() {
        let script = Script::default();
        let plain = marked(&script, &[]).unwrap();
        // The arm is level again only after the marked top.
        let late = at(plain.transition.unwrap().value + 0.02);
        let moved = marked(&script, &[(Event::Top, at(1.0)), (Event::Top, late)]).unwrap();
        assert_eq!(moved.top, late);
        assert!(moved.transition.is_none_or(|t| t.value > late.value));
        assert_eq!((moved.takeaway, moved.impact), (plain.takeaway, plain.impact));

        let earlier = at(plain.takeaway.unwrap().value - 0.5);
        let moved = marked(&script, &[(Event::Takeaway, earlier)]).unwrap();
        assert_eq!(moved.takeaway, Some(earlier));
        assert!(moved.address.1.0 < earlier.value && moved.address.0.0 < moved.address.1.0);
        assert_eq!((moved.top, moved.impact), (plain.top, plain.impact));

        let middle = plain.address.0.0 + 0.1;
        let moved = marked(&script, &[(Event::Address, at(middle))]).unwrap();
        assert!((moved.at(Event::Address).unwrap().value - middle).abs() < 1e-9);
        assert_eq!(moved.takeaway, plain.takeaway);
    }

    #[test]
    fn marks_out_of_order_are_refused() {
        let error = marked(&Script::default(), &[(Event::Impact, at(1.3))]).unwrap_err();
        assert!(matches!(error, EventsError::OutOfOrder { second: Event::Impact, .. }), "{error}");
    }
}
