//! The two hubs: name, colour, sign.

use super::Tone;
use super::drawing::{Point, Shape, Stroke};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hub {
    Lower,
    Upper,
}

impl Hub {
    pub const BOTH: [Self; 2] = [Self::Lower, Self::Upper];

    pub fn tone(self) -> Tone {
        match self {
            Self::Lower => Tone::Lower,
            Self::Upper => Tone::Upper,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Self::Lower => "lower hub",
            Self::Upper => "upper hub",
        }
    }

    /// Round for the lower hub, on its corner for the upper one, as in the stills; hollow for the
    /// swing that is laid over.
    pub fn sign(self, at: Point, radius: f64, hollow: bool) -> Shape {
        let fill = if hollow { Tone::Paper } else { self.tone() };
        let edge = Some(Stroke::new(self.tone(), 1.6));
        match self {
            Self::Lower => Shape::circle(at, radius, Some(fill), edge),
            Self::Upper => Shape::diamond(at, radius, Some(fill), edge),
        }
    }
}
