//! Both hubs from above: the target line across (target at the right), to and from the ball down
//! the page, at one scale; a line for each hub's way, a sign at every event with its range.
//!
//! In: [`MapInput`], from a result with both views and its series. Out: a [`Drawing`]. For a
//! right-handed golfer the ball is at the foot of the map, for a left-handed one at its head:
//! so it looks from above.

use std::collections::BTreeMap;

use super::axis::Axis;
use super::drawing::{Anchor, Bounds, Drawing, Face, Point, Shape, Stroke};
use super::hub::Hub;
use super::legend::{Sign, legend};
use super::lettering::{Lettering, Weight};
use super::{ChartError, Style, Tone, place};
use crate::events::Event;
use crate::frames::Handed;
use crate::geometry::Measure;
use crate::results::{Series, SwingResult, Unit, event_name};
use crate::units::Estimate;

const MARGIN: f64 = 10.0;
const SIDE: f64 = 22.0;
const SMALL: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Quiet };
const NAME: Face = Face { size: 12.0, weight: Weight::Bold, tone: Tone::Ink };
/// Ranges reach this many sd along each axis (95 of 100 errors along one axis are smaller).
const RANGE_SD: f64 = 2.0;
const ELLIPSE_CORNERS: u32 = 36;
/// The map is at least this high, of its width.
const FLATTEST: f64 = 0.35;

/// Travel along the target line and toward the ball, cm.
pub type Place = (Estimate, Estimate);

/// One hub's way.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Way {
    pub rows: Vec<Place>,
    pub events: BTreeMap<Event, Place>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct MapInput {
    pub name: String,
    pub handed: Handed,
    pub lower: Way,
    pub upper: Way,
    pub style: Style,
    /// 1/96 inch.
    pub width: f64,
}

impl MapInput {
    /// # Errors
    /// When the swing was not filmed from both sides.
    pub fn new(
        name: &str,
        result: &SwingResult,
        series: &Series,
        style: Style,
        width: f64,
    ) -> Result<Self, ChartError> {
        let way = |target, ball| {
            let times = result.events.values().map(|event| event.time_s);
            let (from, to) =
                times.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
            let columns = series.of(target).iter().zip(series.of(ball));
            let rows = series
                .times
                .iter()
                .zip(columns)
                .filter(|(time, _)| (from..=to).contains(*time))
                .filter_map(|(_, (target, ball))| Some(((*target)?, (*ball)?)));
            let events = result.events.keys().filter_map(|event| {
                Some((*event, (result.known(*event, target)?, result.known(*event, ball)?)))
            });
            Way { rows: rows.collect(), events: events.collect() }
        };
        let lower = way(Measure::LowerHubTarget, Measure::LowerHubBall);
        let upper = way(Measure::UpperHubTarget, Measure::UpperHubBall);
        if lower.events.is_empty() && upper.events.is_empty() {
            return Err(ChartError::NeedsBothViews(name.to_owned()));
        }
        let handed = result.pupil.handed;
        Ok(Self { name: name.to_owned(), handed, lower, upper, style, width })
    }

    fn ways(&self) -> [(Hub, &Way); 2] {
        [(Hub::Lower, &self.lower), (Hub::Upper, &self.upper)]
    }
}

/// Where values stand.
struct Frame {
    plot: Bounds,
    across: Axis,
    down: Axis,
    style: Style,
}

impl Frame {
    fn new(input: &MapInput, top: f64) -> Self {
        let shown = |cm: f64| input.style.shown(cm, Unit::Cm);
        let all = || {
            input.ways().into_iter().flat_map(|(_, way)| way.rows.iter().chain(way.events.values()))
        };
        let ends = |known: &Estimate| {
            [known.value - RANGE_SD * known.sd, known.value + RANGE_SD * known.sd].map(shown)
        };
        let (left, right) = (MARGIN + SIDE, input.width - MARGIN - SIDE);
        let across = Axis::around(all().flat_map(|(t, _)| ends(t)).chain([0.0]), left, right);
        let scale = (right - left) / (across.high - across.low);
        let balls: Vec<f64> = all().flat_map(|(_, b)| ends(b)).chain([0.0]).collect();
        let low = balls.iter().copied().fold(f64::INFINITY, f64::min);
        let high = balls.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let least = FLATTEST * (across.high - across.low);
        let spare = (least - (high - low)).max(0.0) / 2.0;
        let bottom = top + (high - low + 2.0 * spare) * scale;
        let down = match input.handed {
            Handed::Right => across.between(low - spare, high + spare, top, bottom),
            Handed::Left => across.between(low - spare, high + spare, bottom, top),
        };
        Self { plot: Bounds::new(left, top, right, bottom), across, down, style: input.style }
    }

    fn at(&self, target: f64, ball: f64) -> Point {
        let shown = |cm: f64| self.style.shown(cm, Unit::Cm);
        Point::new(self.across.place(shown(target)), self.down.place(shown(ball)))
    }
}

#[must_use]
pub fn map(input: &MapInput, letters: &Lettering) -> Drawing {
    let entries = [
        (Sign::Hub(Hub::Lower), "lower hub (pelvis)"),
        (Sign::Hub(Hub::Upper), "upper hub (breastbone)"),
        (Sign::Bands, "95 % range along each axis"),
    ];
    let (mut shapes, y) = legend(letters, &entries, MARGIN, input.width - MARGIN, MARGIN + 12.0);
    let frame = Frame::new(input, y + 66.0);
    shapes.extend(grid(input, letters, &frame));
    for (hub, way) in input.ways() {
        shapes.extend(ranges(&frame, hub, way));
    }
    for (hub, way) in input.ways() {
        shapes.extend(path(&frame, hub, way));
    }
    shapes.extend(names(input, letters, &frame));
    let title = format!("Both hubs from above: {}", input.name);
    let bottom = frame.plot.bottom + 24.0 + MARGIN;
    Drawing { width: input.width, height: bottom, title, description: said(input), shapes }
}

fn grid(input: &MapInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let (plot, mut shapes) = (&frame.plot, Vec::new());
    let rule = |value: f64| {
        let zero = value.abs() < 1e-9;
        if zero { Stroke::new(Tone::Quiet, 1.2) } else { Stroke::new(Tone::Rule, 1.0) }
    };
    for tick in frame.across.ticks() {
        let x = frame.across.place(tick);
        let ends = (Point::new(x, plot.top), Point::new(x, plot.bottom));
        shapes.push(Shape::segment(ends.0, ends.1, rule(tick)));
        let text = input.style.signed(tick, frame.across.decimals());
        let unit = input.style.length_unit();
        let text = if tick.abs() < 1e-9 { format!("0 {unit}") } else { text };
        let at = Point::new(x, plot.top - 6.0);
        shapes.push(Shape::Text(SMALL.text(letters, at, Anchor::Middle, &text)));
    }
    for tick in frame.down.ticks() {
        let y = frame.down.place(tick);
        let ends = (Point::new(plot.left, y), Point::new(plot.right, y));
        shapes.push(Shape::segment(ends.0, ends.1, rule(tick)));
    }
    let middle = f64::midpoint(plot.left, plot.right);
    let (head, foot) = match input.handed {
        Handed::Right => ("↑ away from the ball", "↓ toward the ball"),
        Handed::Left => ("↑ toward the ball", "↓ away from the ball"),
    };
    for (anchor, x, y, text) in [
        (Anchor::Start, plot.left, plot.top - 24.0, "← away from the target"),
        (Anchor::End, plot.right, plot.top - 24.0, "target →"),
        (Anchor::Middle, middle, plot.top - 42.0, head),
        (Anchor::Middle, middle, plot.bottom + 18.0, foot),
    ] {
        shapes.push(Shape::Text(NAME.text(letters, Point::new(x, y), anchor, text)));
    }
    shapes
}

fn ranges(frame: &Frame, hub: Hub, way: &Way) -> Vec<Shape> {
    let ellipse = |(target, ball): &Place| {
        let corner = |i: u32| {
            let angle = f64::from(i) / f64::from(ELLIPSE_CORNERS) * std::f64::consts::TAU;
            let (along, out) = (angle.cos() * RANGE_SD, angle.sin() * RANGE_SD);
            frame.at(target.value + along * target.sd, ball.value + out * ball.sd)
        };
        let points = (0..ELLIPSE_CORNERS).map(corner).collect();
        Shape::Area { points, fill: Some((hub.tone(), 0.13)), edge: None }
    };
    way.events.iter().filter(|(event, _)| is_named(**event)).map(|(_, at)| ellipse(at)).collect()
}

fn path(frame: &Frame, hub: Hub, way: &Way) -> Vec<Shape> {
    let points = way.rows.iter().map(|(t, b)| frame.at(t.value, b.value)).collect::<Vec<_>>();
    let mut shapes = Vec::new();
    if points.len() > 1 {
        shapes.push(Shape::Line { points, stroke: Stroke::new(hub.tone(), 2.2) });
    }
    let named = way.events.iter().filter(|(event, _)| is_named(**event));
    shapes.extend(named.map(|(_, (t, b))| hub.sign(frame.at(t.value, b.value), 4.6, false)));
    shapes
}

/// Nothing has moved yet at the takeaway: it would stand on the address.
fn is_named(event: Event) -> bool {
    event != Event::Takeaway
}

/// Event names beside their signs. A name that finds no free place is left out; the description
/// has them all.
fn names(input: &MapInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let places = |keep: fn(Event) -> bool| {
        input.ways().into_iter().flat_map(move |(hub, way)| {
            let named = way.events.iter().filter(move |(event, _)| keep(**event));
            named.map(move |(event, (t, b))| (hub, *event, frame.at(t.value, b.value)))
        })
    };
    let sign = |p: Point| Bounds::new(p.x, p.y, p.x, p.y).grown(6.5);
    let mut taken: Vec<Bounds> = places(is_named).map(|(_, _, at)| sign(at)).collect();
    let rows = input.ways().into_iter().flat_map(|(_, way)| &way.rows);
    taken.extend(rows.map(|(t, b)| {
        let p = frame.at(t.value, b.value);
        Bounds::new(p.x, p.y, p.x, p.y).grown(1.5)
    }));
    // Beside the plot there is nothing; above and below it stand the axes' words.
    let plot = &frame.plot;
    let reach = SIDE - 2.0;
    let inside = Bounds::new(plot.left - reach, plot.top, plot.right + reach, plot.bottom);
    let mut shapes = Vec::new();
    for (hub, event, at) in places(is_named) {
        let both_at_zero = event == Event::Address && hub == Hub::Upper;
        if both_at_zero {
            continue;
        }
        let face = Face { tone: hub.tone(), ..NAME };
        let face = if event == Event::Address { NAME } else { face };
        let size = Point::new(face.width(letters, event_name(event)) + 4.0, 17.0);
        let Some(free) = place::beside(at, size, 7.0, &inside, &taken) else {
            continue;
        };
        let near = Point::new(at.x.clamp(free.left, free.right), at.y.clamp(free.top, free.bottom));
        shapes.push(Shape::segment(at, near, Stroke::new(face.tone, 0.8)));
        let baseline = Point::new(free.left + 2.0, free.bottom - 4.5);
        shapes.push(Shape::Text(face.text(letters, baseline, Anchor::Start, event_name(event))));
        taken.push(free);
    }
    shapes
}

fn said(input: &MapInput) -> String {
    let mut told = Vec::new();
    for (hub, way) in input.ways() {
        for (event, (target, ball)) in &way.events {
            let size = |known: &Estimate| input.style.size(*known, Unit::Cm);
            let way = |known: &Estimate| if known.value < 0.0 { "away from" } else { "toward" };
            told.push(format!(
                "At {}: {} {} {} the target, {} {} the ball.",
                event_name(*event),
                hub.name(),
                size(target),
                way(target),
                size(ball),
                way(ball)
            ));
        }
    }
    told.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::drawing::assert_tidy;

    /// Invented.
    fn input(handed: Handed, width: f64, spread: f64) -> MapInput {
        let known = |value| Estimate::new(value, 0.8);
        let way = |sign: f64| {
            let at = |i: f64| {
                (known(sign * spread * (i / 9.0).sin()), known(0.5 * spread * (i / 14.0).cos()))
            };
            let events = Event::ALL.into_iter().zip([0.0, 1.0, 14.0, 24.0, 28.0, 33.0, 60.0]);
            Way {
                rows: (0..60).map(|i| at(f64::from(i))).collect(),
                events: events.map(|(event, i)| (event, at(i))).collect(),
            }
        };
        let (lower, upper, style) = (way(-1.0), way(0.9), Style::default());
        MapInput { name: "before".to_owned(), handed, lower, upper, style, width }
    }

    #[test]
    fn words_never_overlap() {
        let letters = Lettering::new(false);
        for width in [320.0, 360.0, 700.0] {
            for spread in [0.1, 6.0, 30.0] {
                for handed in [Handed::Right, Handed::Left] {
                    assert_tidy(&map(&input(handed, width, spread), &letters));
                }
            }
        }
    }

    #[test]
    fn the_ball_is_below_for_the_right_handed_and_above_for_the_left_handed() {
        for (handed, below) in [(Handed::Right, true), (Handed::Left, false)] {
            let frame = Frame::new(&input(handed, 500.0, 6.0), 100.0);
            assert_eq!(frame.at(0.0, 2.0).y > frame.at(0.0, 0.0).y, below);
            assert!(frame.at(2.0, 0.0).x > frame.at(0.0, 0.0).x);
            let (origin, along, out) = (frame.at(0.0, 0.0), frame.at(3.0, 0.0), frame.at(0.0, 3.0));
            assert!(((along.x - origin.x) - (out.y - origin.y).abs()).abs() < 1e-6, "one scale");
        }
    }

    #[test]
    fn the_description_has_every_event() {
        let said = map(&input(Handed::Right, 500.0, 6.0), &Lettering::new(false)).description;
        assert_eq!(said.matches("At ").count(), 14);
    }
}
