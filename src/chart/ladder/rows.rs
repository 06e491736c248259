//! The words beside the ladder: at the left each event with its time, at the right what the hubs
//! measured there, each row joined to its rung by a thin line.

use super::frame::{Frame, NAME, SIGN, SMALL, name, times, value};
use super::{Ladder, LadderInput};
use crate::chart::Tone;
use crate::chart::drawing::{Anchor, Face, Point, Shape, Stroke};
use crate::chart::flow;
use crate::chart::hub::Hub;
use crate::chart::lettering::{Lettering, Weight};
use crate::events::Event;

/// Baselines of a row's two lines from its middle.
const LINES: [f64; 2] = [-3.0, 12.0];
/// From the words to the thin line, and from that to the plot.
const REST: f64 = 5.0;

/// Every event's name, time and values.
pub fn words(input: &LadderInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let mut shapes = Vec::new();
    for (event, middle) in &frame.rows {
        let Some(rung) = input.swing.events.get(event) else { continue };
        let right = frame.plot.left - 16.0;
        let at = |line: f64| Point::new(right, middle + line);
        let time = times(input, *event, rung);
        let name = name(input, *event);
        shapes.push(Shape::Text(NAME.text(letters, at(LINES[0]), Anchor::End, name)));
        shapes.push(Shape::Text(SMALL.text(letters, at(LINES[1]), Anchor::End, &time)));
        let rung_y = frame.down(rung.time_s - input.swing.zero());
        shapes.push(leader(&[(right + REST, *middle), (frame.plot.left, rung_y)]));
        shapes.extend(values(input, letters, frame, *event, *middle));
        if let Some((left, _)) = frame.columns.first() {
            shapes.push(leader(&[(frame.plot.right, rung_y), (left - REST, *middle)]));
        }
    }
    shapes
}

fn leader(points: &[(f64, f64)]) -> Shape {
    let points = points.iter().map(|(x, y)| Point::new(*x, *y)).collect();
    Shape::Line { points, stroke: Stroke::new(Tone::Rule, 1.0) }
}

fn values(
    input: &LadderInput,
    letters: &Lettering,
    frame: &Frame,
    event: Event,
    middle: f64,
) -> Vec<Shape> {
    let swings = std::iter::once(&input.swing).chain(&input.over);
    let mut shapes = Vec::new();
    for (index, (swing, (left, _))) in swings.zip(&frame.columns).enumerate() {
        let Some(rung) = swing.events.get(&event) else { continue };
        for (hub, line) in Hub::BOTH.into_iter().zip(LINES) {
            let at = Point::new(*left, middle + line);
            shapes.push(hub.sign(Point::new(at.x + 4.0, at.y - 4.0), 3.6, index == 1));
            let face = Face { tone: hub.tone(), ..SMALL };
            let text = value(input, rung.of(hub));
            let at = Point::new(at.x + SIGN, at.y);
            shapes.push(Shape::Text(face.text(letters, at, Anchor::Start, &text)));
        }
    }
    shapes
}

/// What stands over the columns of values.
pub fn column_heads(input: &LadderInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let swings: Vec<&Ladder> = std::iter::once(&input.swing).chain(&input.over).collect();
    let unit = format!("{} ± sd", input.style.length_unit());
    let mut shapes = Vec::new();
    for (swing, (left, width)) in swings.iter().zip(&frame.columns) {
        let at = |up: f64| Point::new(*left, frame.plot.top - up);
        if swings.len() > 1 {
            let face = Face { weight: Weight::Bold, tone: Tone::Ink, ..SMALL };
            let name = flow::shortened(letters, face, &swing.name, *width);
            shapes.push(Shape::Text(face.text(letters, at(22.0), Anchor::Start, &name)));
        }
        shapes.push(Shape::Text(SMALL.text(letters, at(6.0), Anchor::Start, &unit)));
    }
    shapes
}
