//! The ladder's frame: how the width is shared out, where times and values stand.

use std::collections::BTreeMap;

use super::{Ladder, LadderInput, Rung};
use crate::chart::axis::Axis;
use crate::chart::drawing::{Bounds, Face};
use crate::chart::lettering::{Lettering, Weight};
use crate::chart::{Tone, place};
use crate::events::Event;
use crate::results::{Unit, event_name};
use crate::units::Estimate;

/// Bands and the range across reach this many sd: 95 of 100 errors are smaller (MEASURES.md).
pub const BAND_SD: f64 = 2.0;
/// Narrower drawings leave out the values beside the rungs.
const ROOM_FOR_VALUES: f64 = 520.0;
/// Narrower drawings shorten the events' names.
const ROOM_FOR_NAMES: f64 = 460.0;
/// Two lines of text.
pub const ROW: f64 = 31.0;
const MARGIN: f64 = 10.0;
const GAP: f64 = 16.0;
/// The last tick value reaches over the plot's edge.
const TICK_REACH: f64 = 12.0;

pub const NAME: Face = Face { size: 13.0, weight: Weight::Bold, tone: Tone::Ink };
pub const SMALL: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Quiet };

/// Everything that drawing needs to know about places.
pub struct Frame {
    pub plot: Bounds,
    pub across: Axis,
    /// Time since takeaway, seconds, to places.
    from_s: f64,
    pixels_per_s: f64,
    /// Middle of each event's row of text.
    pub rows: BTreeMap<Event, f64>,
    /// Left end and width of each swing's column of values.
    pub columns: Vec<(f64, f64)>,
}

impl Frame {
    /// `top`: where the plot starts; its height follows from the width unless one is given.
    pub fn new(input: &LadderInput, letters: &Lettering, top: f64, bottom_room: f64) -> Self {
        let label = input.swing.events.iter().map(|(event, rung)| {
            let name = NAME.width(letters, name(input, *event));
            name.max(SMALL.width(letters, &times(input, *event, rung)))
        });
        let left = MARGIN + label.fold(0.0, f64::max) + GAP;
        let columns = columns(input, letters);
        let taken: f64 = columns.iter().map(|width| width + GAP).sum();
        let right = input.width - MARGIN - taken - TICK_REACH;
        let least = ROW * f64::from(u32::try_from(input.swing.events.len()).unwrap_or(0)) + ROW;
        let height = match input.height {
            Some(height) => (height - top - bottom_room).max(least),
            None => (input.width * 0.85).clamp(420.0, 640.0).max(least),
        };
        let plot = Bounds::new(left, top, right, top + height);
        let mut end = right + TICK_REACH;
        let columns = columns.into_iter().map(|width| {
            let start = end + GAP;
            end = start + width;
            (start, width)
        });
        let (from, to) = input.swing.span();
        // Half a row of air above and below, for the labels of the first and the last event.
        let inner = (plot.top + ROW * 0.6, plot.bottom - ROW * 0.6);
        let pixels_per_s = (inner.1 - inner.0) / (to - from).max(0.1);
        let from_s = from - input.swing.zero() - ROW * 0.6 / pixels_per_s;
        let mut frame = Self {
            plot,
            across: Axis::around(spread_of(input), left + 6.0, right - 6.0),
            from_s,
            pixels_per_s,
            rows: BTreeMap::new(),
            columns: columns.collect(),
        };
        frame.rows = frame.event_rows(&input.swing);
        frame
    }

    /// The place of a time since the takeaway.
    pub fn down(&self, time_s: f64) -> f64 {
        self.plot.top + (time_s - self.from_s) * self.pixels_per_s
    }

    fn event_rows(&self, swing: &Ladder) -> BTreeMap<Event, f64> {
        let mut order: Vec<(Event, f64)> = swing
            .events
            .iter()
            .map(|(event, rung)| (*event, self.down(rung.time_s - swing.zero())))
            .collect();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        let wanted: Vec<f64> = order.iter().map(|(_, y)| *y).collect();
        let half = ROW / 2.0;
        let places = place::spread(&wanted, ROW, self.plot.top + half, self.plot.bottom - half);
        order.iter().map(|(event, _)| *event).zip(places).collect()
    }
}

/// What an event is called here.
pub fn name(input: &LadderInput, event: Event) -> &'static str {
    match event {
        Event::ArmLevelBack if input.width < ROOM_FOR_NAMES => "arm level",
        other => event_name(other),
    }
}

/// `0.87 s`, and the other swing's time after it.
pub fn times(input: &LadderInput, event: Event, rung: &Rung) -> String {
    let said = |swing: &Ladder, rung: &Rung| input.style.number(rung.time_s - swing.zero(), 2);
    let first = said(&input.swing, rung);
    match input.over.as_ref().and_then(|over| Some((over, over.events.get(&event)?))) {
        Some((over, other)) => format!("{first} / {} s", said(over, other)),
        None => format!("{first} s"),
    }
}

/// What stands beside a rung for one hub.
pub fn value(input: &LadderInput, known: Option<Estimate>) -> String {
    known.map_or_else(|| "not measured".to_owned(), |k| input.style.signed_plus_minus(k, Unit::Cm))
}

/// Room for a hub's sign before its value.
pub const SIGN: f64 = 15.0;

/// Width of each swing's column of values; none where there is no room.
fn columns(input: &LadderInput, letters: &Lettering) -> Vec<f64> {
    if input.width < ROOM_FOR_VALUES {
        return Vec::new();
    }
    let swings = std::iter::once(&input.swing).chain(&input.over);
    let width = |swing: &Ladder| {
        let values = swing.events.values().flat_map(|rung| [rung.lower, rung.upper]);
        let widest = values.map(|known| SMALL.width(letters, &value(input, known)));
        SIGN + widest.fold(0.0, f64::max)
    };
    swings.map(width).collect()
}

/// Every value that is drawn and its band's ends, in the reader's unit.
fn spread_of(input: &LadderInput) -> Vec<f64> {
    let swings = std::iter::once(&input.swing).chain(&input.over);
    let mut all = vec![0.0];
    for swing in swings {
        let (from, to) = swing.span();
        let drawn = swing.rows.iter().filter(|row| (from..=to).contains(&row.time_s));
        for known in drawn.chain(swing.events.values()).flat_map(|r| [r.lower, r.upper]).flatten() {
            let reach = BAND_SD * known.sd;
            all.extend([known.value - reach, known.value + reach]);
        }
    }
    all.into_iter().map(|cm| input.style.shown(cm, Unit::Cm)).collect()
}
