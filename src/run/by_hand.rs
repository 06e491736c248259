//! What the coach has set by hand, brought to one clip. In: the list of corrections, what the
//! clip shows. Out: events with their times, points in the reference picture, marks for the
//! camera. A correction that fits no clip or no frame is an error, never left out.

use crate::calibration::{CalibrationRequest, Reference, Segment, View};
use crate::error::Error;
use crate::events::{Event, Events};
use crate::lift::JointMark;
use crate::options::{Correction, Options};
use crate::track::PictureFromReference;
use crate::units::{Estimate, Seconds};
use crate::warning::{Warning, counted};

use super::lens;
use super::observe::Observed;

/// An event of the other clip tells nothing about one set by hand in this clip, seconds.
const UNTOLD_S: f64 = 1.0;
/// Pictures of the swing are read at least this close together; farther off nothing was read.
const NEAR_S: f64 = 0.1;

/// The corrections of one clip.
pub struct ByHand<'a> {
    view: View,
    list: Vec<&'a Correction>,
}

impl<'a> ByHand<'a> {
    pub fn new(options: &'a Options, view: View) -> Self {
        let list = options.corrections().iter();
        Self { view, list: list.filter(|c| view_of(c) == Some(view)).collect() }
    }

    pub fn view(&self) -> View {
        self.view
    }

    /// When the marked events were; a frame is one moment within its own length.
    ///
    /// # Errors
    /// When a frame is not in the clip.
    pub fn events(&self, seen: &Observed) -> Result<Vec<(Event, Estimate)>, Error> {
        let marked = self.list.iter().filter_map(|c| match c {
            Correction::Event { event, frame, .. } => Some((*event, *frame, *c)),
            _ => None,
        });
        marked.map(|(event, frame, c)| Ok((event, moment(seen, frame, c)?))).collect()
    }

    /// The marked points of the body.
    ///
    /// # Errors
    /// When a frame is not in the clip, or the golfer was not read about then.
    pub fn points(&self, seen: &Observed) -> Result<Vec<JointMark>, Error> {
        let marked = self.list.iter().filter_map(|c| match c {
            Correction::Point { frame, joint, at, .. } => Some((*frame, *joint, *at, *c)),
            _ => None,
        });
        let mark = |(frame, joint, at, c)| {
            let time = moment(seen, frame, c)?.value;
            let near = seen.lifted.frames.iter().map(|f| (f.time.0 - time).abs());
            if near.fold(f64::INFINITY, f64::min) > NEAR_S {
                return Err(wrong(c, "the golfer was not read on that frame".to_owned()));
            }
            let filmed = camera_at(seen, frame).undo(at);
            let at = lens::straight_point(seen.lens.as_ref(), filmed);
            Ok(JointMark { joint, time, at })
        };
        marked.map(mark).collect()
    }

    /// Marks for the camera take the place of what was stated.
    pub fn request(&self, request: &mut CalibrationRequest) {
        for &correction in &self.list {
            match correction {
                &Correction::Reference { from, to, length_m, place, .. } => {
                    let marks = Segment { from, to };
                    request.references = vec![Reference::stated(marks, length_m, place)];
                }
                &Correction::Vertical { from, to, .. } => {
                    request.vertical = Some(Segment { from, to });
                }
                &Correction::TargetLine { from, to, .. } => {
                    request.target_line = Some(Segment { from, to });
                }
                Correction::Ground { marks, .. } => request.ground.clone_from(marks),
                Correction::NoRod { .. } => request.sticks.clear(),
                _ => {}
            }
        }
    }

    fn has(&self, event: Event) -> bool {
        self.list.iter().any(|c| matches!(c, Correction::Event { event: e, .. } if *e == event))
    }
}

/// Refuses corrections of a view that no clip shows; says which were used.
pub fn note(options: &Options, views: &[View]) -> Result<Option<Warning>, Error> {
    let list = options.corrections();
    for correction in list {
        if let Some(view) = view_of(correction).filter(|view| !views.contains(view)) {
            return Err(wrong(correction, format!("no clip is {}", view.name())));
        }
    }
    let words: Vec<String> = list.iter().map(Correction::words).collect();
    Ok((!words.is_empty()).then(|| Warning::new(format!("Set by hand: {}.", words.join("; ")))))
}

/// An event set by hand in one of two clips counts for both: what was found in the other says
/// nothing about it any more. Its clock is read off the other events.
pub fn agree(
    (first, by_first): (&mut Events, &ByHand<'_>),
    (second, by_second): (&mut Events, &ByHand<'_>),
) {
    let lonely: Vec<Event> =
        Event::ALL.into_iter().filter(|e| by_first.has(*e) != by_second.has(*e)).collect();
    if lonely.is_empty() {
        return;
    }
    let offset = offset(first, second, &lonely);
    for event in lonely {
        if by_first.has(event) {
            carry(first, second, event, offset);
        } else {
            carry(second, first, event, -offset);
        }
    }
}

/// Clock of the second clip less that of the first, from events that both tell alike.
fn offset(first: &Events, second: &Events, lonely: &[Event]) -> f64 {
    let told = |lonely: &[Event]| -> Vec<f64> {
        let both = Event::ALL.into_iter().filter(|e| !lonely.contains(e));
        let both = both.filter(|e| !matches!(e, Event::Address | Event::Finish));
        both.filter_map(|e| Some(second.at(e)?.value - first.at(e)?.value)).collect()
    };
    let all = || second.top.value - first.top.value;
    crate::signal::median(&told(lonely)).unwrap_or_else(all)
}

fn carry(from: &Events, to: &mut Events, event: Event, offset: f64) {
    let moved = |e: Estimate| Estimate::new(e.value + offset, UNTOLD_S);
    match event {
        Event::Address => {
            let (Seconds(start), Seconds(end)) = from.address;
            to.address = (Seconds(start + offset), Seconds(end + offset));
        }
        Event::Takeaway => to.takeaway = from.takeaway.map(moved),
        Event::ArmLevelBack => to.arm_level_back = from.arm_level_back.map(moved),
        Event::Top => to.top = moved(from.top),
        Event::Transition => to.transition = from.transition.map(moved),
        Event::Impact => to.impact = from.impact.map(moved),
        Event::Finish => to.finish = from.finish.map(moved),
    }
}

fn view_of(correction: &Correction) -> Option<View> {
    match correction {
        Correction::Event { view, .. }
        | Correction::Point { view, .. }
        | Correction::Reference { view, .. }
        | Correction::Vertical { view, .. }
        | Correction::TargetLine { view, .. }
        | Correction::Ground { view, .. }
        | Correction::NoRod { view }
        | Correction::Person { view, .. } => Some(*view),
        Correction::View { .. } | Correction::Handed { .. } => None,
    }
}

/// A frame's time; the event was somewhere within half a frame of it.
fn moment(seen: &Observed, frame: usize, correction: &Correction) -> Result<Estimate, Error> {
    let frames = seen.info.frames.len();
    let counted = counted(frames, "frame");
    let no_frame = || wrong(correction, format!("the clip has {counted}, counted from 0"));
    let time = seen.time(frame).ok_or_else(no_frame)?;
    let (before, after) = (frame.saturating_sub(1), (frame + 1).min(frames - 1));
    let span = seen.time(after).unwrap_or(time) - seen.time(before).unwrap_or(time);
    let steps = crate::signal::real((after - before).max(1));
    Ok(Estimate::new(time, span / steps / 2.0))
}

fn camera_at(seen: &Observed, index: usize) -> PictureFromReference {
    let nearest = seen.track.frames.iter().min_by_key(|f| f.index.abs_diff(index));
    nearest.map_or(PictureFromReference::STILL, |f| f.camera)
}

fn wrong(correction: &Correction, why: String) -> Error {
    Error::Correction { what: correction.words(), why }
}
