//! Draws the ladder: words above, axis, bands, lines, rungs, words beside and below.

use super::frame::{BAND_SD, Frame, SMALL};
use super::rows::{column_heads, words};
use super::{Ladder, LadderInput, Rung};
use crate::chart::drawing::{Anchor, Drawing, Face, Point, Shape, Stroke};
use crate::chart::hub::Hub;
use crate::chart::legend::{Sign, legend};
use crate::chart::lettering::{Lettering, Weight};
use crate::chart::{Tone, flow};
use crate::events::Event;
use crate::results::{Unit, event_name};

const MARGIN: f64 = 10.0;
/// Between baselines of small text.
const LINE: f64 = 17.0;
/// Room over the plot for the directions and the tick values.
const AXIS_ROOM: f64 = 44.0;
const BAND_OPACITY: f64 = 0.16;

/// As wide as asked for; see the module for what it shows.
#[must_use]
pub fn ladder(input: &LadderInput, letters: &Lettering) -> Drawing {
    let (mut shapes, top) = signs(input, letters);
    let notes = notes(input, letters);
    let below = LINE * lines(notes.len()) + 2.0 * MARGIN;
    let frame = Frame::new(input, letters, top + AXIS_ROOM, below);
    shapes.extend(grid(input, letters, &frame));
    let swings = [Some(&input.swing), input.over.as_ref()];
    let drawn = || {
        let both = swings.into_iter().enumerate();
        both.filter_map(|(i, swing)| {
            Some(Drawn { input, frame: &frame, swing: swing?, over: i == 1 })
        })
    };
    // The signs last, so that no line hides one.
    shapes.extend(drawn().map(|swing| swing.lines()));
    shapes.extend(drawn().map(|swing| swing.signs()));
    shapes.extend(words(input, letters, &frame));
    shapes.extend(column_heads(input, letters, &frame));
    let mut y = frame.plot.bottom + MARGIN + 12.0;
    for note in notes {
        let at = Point::new(MARGIN, y);
        shapes.push(Shape::Text(SMALL.text(letters, at, Anchor::Start, &note)));
        y += LINE;
    }
    let (title, description) = said(input);
    Drawing { width: input.width, height: frame.plot.bottom + below, title, description, shapes }
}

fn lines(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// What the signs mean, and where the next thing may stand.
fn signs(input: &LadderInput, letters: &Lettering) -> (Vec<Shape>, f64) {
    let entries = [
        (Sign::Hub(Hub::Lower), "lower hub (pelvis)"),
        (Sign::Hub(Hub::Upper), "upper hub (breastbone)"),
        (Sign::Bands, "95 % range"),
    ];
    let (shapes, y) = legend(letters, &entries, MARGIN, input.width - MARGIN, MARGIN + 12.0);
    (shapes, y + 8.0)
}

/// Lines at round values, the values, and which way is which.
fn grid(input: &LadderInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let (plot, across) = (&frame.plot, &frame.across);
    let mut shapes = Vec::new();
    for tick in across.ticks() {
        let x = across.place(tick);
        let zero = tick.abs() < 1e-9;
        let stroke =
            if zero { Stroke::new(Tone::Quiet, 1.4) } else { Stroke::new(Tone::Rule, 1.0) };
        shapes.push(Shape::segment(Point::new(x, plot.top), Point::new(x, plot.bottom), stroke));
        let label = input.style.signed(tick, across.decimals());
        let label = if zero { format!("0 {}", input.style.length_unit()) } else { label };
        let at = Point::new(x, plot.top - 6.0);
        shapes.push(Shape::Text(SMALL.text(letters, at, Anchor::Middle, &label)));
    }
    for rung in input.swing.events.values() {
        let y = frame.down(rung.time_s - input.swing.zero());
        let stroke = Stroke::new(Tone::Rule, 1.0);
        shapes.push(Shape::segment(Point::new(plot.left, y), Point::new(plot.right, y), stroke));
    }
    let face = Face { weight: Weight::Bold, tone: Tone::Ink, ..SMALL };
    let name = input.line.name();
    let ways = [
        (Anchor::Start, plot.left, format!("← away from the {name}"), "← away".to_owned()),
        (Anchor::End, plot.right, format!("toward the {name} →"), format!("{name} →")),
    ];
    let room = plot.width() - 12.0;
    let long: f64 = ways.iter().map(|(_, _, long, _)| face.width(letters, long)).sum();
    for (anchor, x, full, short) in ways {
        let text = if long <= room { full } else { short };
        let at = Point::new(x, plot.top - 24.0);
        shapes.push(Shape::Text(face.text(letters, at, anchor, &text)));
    }
    shapes
}

/// One swing in the frame.
struct Drawn<'a> {
    input: &'a LadderInput,
    frame: &'a Frame,
    swing: &'a Ladder,
    over: bool,
}

impl Drawn<'_> {
    fn lines(&self) -> Shape {
        let mut shapes = Vec::new();
        for hub in Hub::BOTH {
            shapes.extend(self.pieces(hub).iter().filter_map(|piece| self.band(hub, piece)));
        }
        for hub in Hub::BOTH {
            let stroke = Stroke { tone: hub.tone(), width: 2.2, dashed: self.over };
            let line = |piece: Vec<(f64, f64, f64)>| Shape::Line {
                points: piece.iter().map(|(x, _, y)| Point::new(*x, *y)).collect(),
                stroke,
            };
            shapes.extend(self.pieces(hub).into_iter().filter(|p| p.len() > 1).map(line));
        }
        for (event, rung) in &self.swing.events {
            shapes.extend(self.rung(*event, rung));
        }
        Shape::Group { name: self.swing.name.clone(), offset: Point::default(), shapes }
    }

    fn signs(&self) -> Shape {
        let signs = self.swing.events.iter().flat_map(|(event, rung)| {
            Hub::BOTH
                .into_iter()
                .filter_map(|hub| Some(hub.sign(self.place(hub, *event, rung)?, 4.6, self.over)))
        });
        let name = format!("{}: events", self.swing.name);
        Shape::Group { name, offset: Point::default(), shapes: signs.collect() }
    }

    /// Unbroken runs of a hub's rows: place, half the band's width, height.
    fn pieces(&self, hub: Hub) -> Vec<Vec<(f64, f64, f64)>> {
        let (from, to) = self.swing.span();
        let mut pieces: Vec<Vec<(f64, f64, f64)>> = vec![Vec::new()];
        for row in self.swing.rows.iter().filter(|row| (from..=to).contains(&row.time_s)) {
            match (row.of(hub), pieces.last_mut()) {
                (Some(known), Some(piece)) => {
                    let value = self.input.style.shown(known.value, Unit::Cm);
                    let reach = self.input.style.shown(BAND_SD * known.sd, Unit::Cm);
                    let across = &self.frame.across;
                    let half = across.place(value + reach) - across.place(value);
                    piece.push((across.place(value), half, self.height(row.time_s)));
                }
                (None, Some(piece)) if !piece.is_empty() => pieces.push(Vec::new()),
                _ => {}
            }
        }
        pieces
    }

    /// Only the first swing has bands: two more would hide what they are for.
    fn band(&self, hub: Hub, piece: &[(f64, f64, f64)]) -> Option<Shape> {
        if self.over || piece.len() < 2 {
            return None;
        }
        let left = piece.iter().map(|(x, half, y)| Point::new(x - half, *y));
        let right = piece.iter().rev().map(|(x, half, y)| Point::new(x + half, *y));
        let fill = Some((hub.tone(), BAND_OPACITY));
        Some(Shape::Area { points: left.chain(right).collect(), fill, edge: None })
    }

    fn rung(&self, event: Event, rung: &Rung) -> Vec<Shape> {
        let places = [Hub::Lower, Hub::Upper].map(|hub| self.place(hub, event, rung));
        let [Some(lower), Some(upper)] = places else { return Vec::new() };
        let stroke = Stroke { tone: Tone::Ink, width: 1.8, dashed: self.over };
        let rung = Shape::segment(lower, upper, stroke);
        if !self.over {
            return vec![rung];
        }
        // Cuts the first swing's rung, so that the dashes on it can be seen.
        vec![Shape::segment(lower, upper, Stroke::new(Tone::Paper, 3.0)), rung]
    }

    fn place(&self, hub: Hub, event: Event, rung: &Rung) -> Option<Point> {
        let y = match (self.over, self.input.swing.events.get(&event)) {
            (true, Some(first)) => self.frame.down(first.time_s - self.input.swing.zero()),
            _ => self.height(rung.time_s),
        };
        let value = self.input.style.shown(rung.of(hub)?.value, Unit::Cm);
        Some(Point::new(self.frame.across.place(value), y))
    }

    /// A swing that is laid over has its events at the heights of the first one's; in between,
    /// time is stretched evenly, before the first and after the last it is not.
    fn height(&self, time_s: f64) -> f64 {
        let time = time_s - self.swing.zero();
        if !self.over {
            return self.frame.down(time);
        }
        let first = &self.input.swing;
        let mut pairs: Vec<(f64, f64)> = self
            .swing
            .events
            .iter()
            .filter_map(|(event, rung)| {
                let other = first.events.get(event)?;
                Some((rung.time_s - self.swing.zero(), other.time_s - first.zero()))
            })
            .collect();
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.frame.down(stretched(time, &pairs))
    }
}

fn stretched(time: f64, pairs: &[(f64, f64)]) -> f64 {
    let after = pairs.partition_point(|(own, _)| *own <= time);
    match (after.checked_sub(1).and_then(|i| pairs.get(i)), pairs.get(after)) {
        (Some((a, b)), Some((c, d))) => b + (time - a) * (d - b) / (c - a).max(1e-6),
        (Some((a, b)), None) | (None, Some((a, b))) => b + time - a,
        (None, None) => time,
    }
}

/// What one must know to read it.
fn notes(input: &LadderInput, letters: &Lettering) -> Vec<String> {
    let mut text = "Travel since address; seconds from the takeaway.".to_owned();
    if let Some(over) = &input.over {
        let (first, second) = (&input.swing.name, &over.name);
        text = format!(
            "{text} Dashed, hollow: {second}, stretched in time so that its events lie level with \
             those of {first}."
        );
    }
    flow::lines(letters, SMALL, &text, input.width - 2.0 * MARGIN)
}

/// Title and description for those who do not see it.
fn said(input: &LadderInput) -> (String, String) {
    let name = &input.swing.name;
    let title = match &input.over {
        Some(over) => format!("Hub ladder: {name}, with {} over it", over.name),
        None => format!("Hub ladder: {name}"),
    };
    let swings = std::iter::once(&input.swing).chain(&input.over);
    let told = swings.map(|swing| {
        let events = swing.events.iter().map(|(event, rung)| {
            let hubs = Hub::BOTH.map(|hub| told(input, hub, rung));
            format!("At {}: {}.", event_name(*event), hubs.join(", "))
        });
        let events: Vec<String> = events.collect();
        format!("{}. {}", swing.name, events.join(" "))
    });
    (title, told.collect::<Vec<_>>().join(" "))
}

fn told(input: &LadderInput, hub: Hub, rung: &Rung) -> String {
    let (name, target) = (hub.name(), input.line.name());
    let Some(known) = rung.of(hub) else { return format!("{name} not measured") };
    let size = input.style.size(known, Unit::Cm);
    let way = if known.value < 0.0 { "away from" } else { "toward" };
    format!("{name} {size} {way} the {target}")
}
