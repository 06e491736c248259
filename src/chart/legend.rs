//! A row of signs with their meanings, broken into lines where the width ends.

use super::Tone;
use super::drawing::{Anchor, Face, Point, Shape, Stroke};
use super::hub::Hub;
use super::lettering::{Lettering, Weight};

const FACE: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Ink };
const LINE: f64 = 17.0;
const INDENT: f64 = 18.0;
const GAP: f64 = 16.0;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sign {
    Hub(Hub),
    /// A little of each hub's band.
    Bands,
    Dot {
        tone: Tone,
        hollow: bool,
    },
    Bar(Tone),
    Dash(Tone),
    /// The same, lying.
    Level(Tone),
}

/// The shapes between `left` and `right` with the first baseline at `y`, and the last baseline.
pub fn legend(
    letters: &Lettering,
    entries: &[(Sign, &str)],
    left: f64,
    right: f64,
    y: f64,
) -> (Vec<Shape>, f64) {
    let (mut shapes, mut x, mut y) = (Vec::new(), left, y);
    for (sign, text) in entries {
        let width = INDENT + FACE.width(letters, text);
        if x > left && x + width > right {
            (x, y) = (left, y + LINE);
        }
        shapes.extend(sign.drawn(Point::new(x + 6.0, y - 4.0)));
        let at = Point::new(x + INDENT, y);
        shapes.push(Shape::Text(FACE.text(letters, at, Anchor::Start, text)));
        x += width + GAP;
    }
    (shapes, y)
}

impl Sign {
    fn drawn(self, at: Point) -> Vec<Shape> {
        let place = |x: f64, y: f64| at.moved(Point::new(x, y));
        let block = |left: f64, right: f64, tone, opacity| {
            let corners = [(left, -6.0), (right, -6.0), (right, 6.0), (left, 6.0)];
            let points = corners.map(|(x, y)| place(x, y)).to_vec();
            Shape::Area { points, fill: Some((tone, opacity)), edge: None }
        };
        match self {
            Self::Hub(hub) => vec![hub.sign(at, 4.6, false)],
            Self::Bands => {
                vec![block(-6.0, 0.0, Tone::Lower, 0.3), block(0.0, 6.0, Tone::Upper, 0.3)]
            }
            Self::Dot { tone, hollow } => {
                let fill = Some(if hollow { Tone::Paper } else { tone });
                vec![Shape::circle(at, 4.2, fill, Some(Stroke::new(tone, 1.6)))]
            }
            Self::Bar(tone) => {
                vec![Shape::segment(place(-6.0, 0.0), place(6.0, 0.0), Stroke::new(tone, 5.0))]
            }
            Self::Level(tone) => {
                vec![Shape::segment(place(-8.0, 0.0), place(6.0, 0.0), Stroke::dashed(tone, 1.8))]
            }
            Self::Dash(tone) => {
                vec![Shape::segment(place(0.0, -7.0), place(0.0, 6.0), Stroke::dashed(tone, 1.8))]
            }
        }
    }
}
