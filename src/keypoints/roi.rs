//! The square that the landmark network reads. In: two points of the picture, pixels. Out: a
//! [`Roi`], and the way from positions in it (0..1) back to the picture.
//!
//! Method: MediaPipe `alignment_points_to_rects_calculator.cc`, with the graph options of
//! `pose_detection_to_roi.pbtxt` and `pose_landmarks_to_roi.pbtxt` (google-ai-edge/mediapipe
//! at 85c0cdc7). It does not keep the square inside the picture.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::{Landmarks, Roi};
use crate::frames::Pixel;

/// The square is this much larger than the circle through the size point (`scale_x` of both graphs).
const MARGIN: f64 = 1.25;

/// Auxiliary landmark in the middle of the hips: the next centre.
const CENTRE: usize = 33;

/// Auxiliary landmark on the circle around the whole body: the next size and rotation.
const EDGE: usize = 34;

/// No picture that decodes is larger, pixels; a region beyond it is a mistake.
const LARGEST: f64 = 1e6;

impl Roi {
    /// The square around `centre` whose up direction points at `edge`.
    #[must_use]
    pub fn from_points(centre: Pixel, edge: Pixel) -> Self {
        let (dx, dy) = (edge.x - centre.x, edge.y - centre.y);
        let side = 2.0 * dx.hypot(dy) * MARGIN;
        Self { centre, side, rotation: wrap(FRAC_PI_2 - (-dy).atan2(dx)) }
    }

    /// Position in the picture of a place in the square: (0, 0) its first corner, (1, 1) its last.
    #[must_use]
    pub fn place(&self, across: f64, down: f64) -> Pixel {
        let (s, c) = self.rotation.sin_cos();
        let (x, y) = (self.side * (across - 0.5), self.side * (down - 0.5));
        Pixel::new(self.centre.x + c * x - s * y, self.centre.y + s * x + c * y)
    }

    /// Between this square (`share` 0) and `other` (`share` 1), turning the short way round.
    #[must_use]
    pub fn blend(&self, other: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        let turn = wrap(other.rotation - self.rotation);
        Self {
            centre: Pixel::new(
                mix(self.centre.x, other.centre.x),
                mix(self.centre.y, other.centre.y),
            ),
            side: mix(self.side, other.side),
            rotation: wrap(self.rotation + turn * share),
        }
    }

    /// How far `other` is from this square.
    pub(super) fn shift_to(&self, other: &Self) -> Shift {
        Shift {
            centre: self.centre.distance(other.centre) / self.side,
            size: (other.side / self.side).ln().abs(),
            rotation: wrap(other.rotation - self.rotation).abs(),
        }
    }

    /// Finite, not empty, and of a size that pictures have.
    pub(super) fn is_usable(&self) -> bool {
        let Pixel { x, y } = self.centre;
        self.side > 0.0
            && self.side < LARGEST
            && x.abs() < LARGEST
            && y.abs() < LARGEST
            && self.rotation.is_finite()
    }
}

impl Landmarks {
    /// The square to read next, from the auxiliary landmarks.
    #[must_use]
    pub fn next_roi(&self) -> Roi {
        Roi::from_points(self.points[CENTRE].at, self.points[EDGE].at)
    }

    /// Asks next for the square in the middle between this reading's and another's.
    pub(super) fn agree_on_square(&mut self, other: &Self) {
        for i in [CENTRE, EDGE] {
            let (here, there) = (self.points[i].at, other.points[i].at);
            self.points[i].at = Pixel::new(0.5 * (here.x + there.x), 0.5 * (here.y + there.y));
        }
    }
}

/// Difference of two squares: centre as a share of the side, size as |ln ratio|, rotation in radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shift {
    pub centre: f64,
    pub size: f64,
    pub rotation: f64,
}

impl Shift {
    /// No part is larger than that of `limit`. False where a part is not a number.
    pub(super) fn is_within(&self, limit: &Self) -> bool {
        self.centre <= limit.centre && self.size <= limit.size && self.rotation <= limit.rotation
    }
}

/// To -pi..pi.
fn wrap(angle: f64) -> f64 {
    angle - TAU * ((angle + PI) / TAU).floor()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_edge_point_comes_back_from_the_square() {
        for (dx, dy) in [(0.0, -90.0), (60.0, -70.0), (-30.0, 10.0), (-80.0, 0.0), (5.0, 44.0)] {
            let centre = Pixel::new(310.0, 420.0);
            let edge = Pixel::new(centre.x + dx, centre.y + dy);
            let roi = Roi::from_points(centre, edge);
            let back = roi.place(0.5, 0.5 - 0.5 / MARGIN);
            assert_relative_eq!(back.x, edge.x, epsilon = 1e-9);
            assert_relative_eq!(back.y, edge.y, epsilon = 1e-9);
        }
    }

    #[test]
    fn upright_people_give_an_upright_square() {
        let roi = Roi::from_points(Pixel::new(100.0, 200.0), Pixel::new(100.0, 120.0));
        assert_relative_eq!(roi.side, 200.0);
        assert_relative_eq!(roi.rotation, 0.0);
    }

    #[test]
    fn blending_turns_the_short_way() {
        let roi = |rotation| Roi { centre: Pixel::new(1.0, 2.0), side: 100.0, rotation };
        assert_relative_eq!(roi(3.1).blend(&roi(-3.1), 0.5).rotation.abs(), PI, epsilon = 1e-9);
        assert_relative_eq!(roi(0.1).blend(&roi(0.3), 0.25).rotation, 0.15, epsilon = 1e-9);
    }

    #[test]
    fn a_shift_that_is_no_number_is_within_nothing() {
        let roi = Roi { centre: Pixel::new(0.0, 0.0), side: 1.0, rotation: 0.0 };
        let lost = Roi { side: f64::NAN, ..roi };
        let wide = Shift { centre: 1e9, size: 1e9, rotation: 1e9 };
        assert!(roi.shift_to(&roi).is_within(&wide));
        assert!(!roi.shift_to(&lost).is_within(&wide));
        assert!(!lost.is_usable());
    }
}
