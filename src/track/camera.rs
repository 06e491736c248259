//! The map between two pictures of one turning camera. In: points of the reference picture,
//! pixels. Out: points of another picture, pixels. A plane projective map (Hartley & Zisserman
//! 2004, ch. 2): a hand-held camera mostly turns, and turning bends straight shifts by some
//! pixels toward the picture's edges. It knows nothing of depth: of a
//! camera that also stepped it is right at one distance only, the golfer's where that is told.

use nalgebra::{Matrix3, Vector3};

use crate::frames::Pixel;

/// Takes a point of the reference picture into this frame's picture.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PictureFromReference {
    /// Rows of the homography, last entry 1.
    rows: [[f64; 3]; 3],
}

impl PictureFromReference {
    pub const STILL: Self = Self { rows: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] };

    /// `p -> scale * rotation * p + shift`, about the picture's origin; `scale` above 0,
    /// `rotation` clockwise in the picture, radians.
    #[must_use]
    pub fn similarity(scale: f64, rotation: f64, shift: Pixel) -> Self {
        let (s, c) = rotation.sin_cos();
        let (s, c) = (scale * s, scale * c);
        Self { rows: [[c, -s, shift.x], [s, c, shift.y], [0.0, 0.0, 1.0]] }
    }

    /// `None` for a matrix that does not turn the picture's points one to one, right side up.
    pub(super) fn from_matrix(m: &Matrix3<f64>) -> Option<Self> {
        let m = m / m[(2, 2)];
        let sound = m.iter().all(|v| v.is_finite()) && m.determinant() > 0.0;
        sound.then(|| Self { rows: std::array::from_fn(|r| std::array::from_fn(|c| m[(r, c)])) })
    }

    pub(super) fn matrix(&self) -> Matrix3<f64> {
        Matrix3::from_fn(|r, c| self.rows[r][c])
    }

    #[must_use]
    pub fn apply(&self, p: Pixel) -> Pixel {
        project(&self.matrix(), p)
    }

    #[must_use]
    pub fn undo(&self, p: Pixel) -> Pixel {
        // Sound by construction; the identity stands in for what cannot happen.
        project(&self.matrix().try_inverse().unwrap_or_else(Matrix3::identity), p)
    }

    /// Magnification and clockwise turn (radians) near a point of the reference picture.
    #[must_use]
    pub fn scale_and_turn(&self, at: Pixel) -> (f64, f64) {
        let here = self.apply(at);
        let right = self.apply(Pixel::new(at.x + 1.0, at.y));
        let down = self.apply(Pixel::new(at.x, at.y + 1.0));
        let (ax, ay) = (right.x - here.x, right.y - here.y);
        let (bx, by) = (down.x - here.x, down.y - here.y);
        ((ax * by - ay * bx).abs().sqrt(), (ay - bx).atan2(ax + by))
    }

    /// A share of the way to another map; for maps that are close.
    #[must_use]
    pub fn blend(&self, other: &Self, share: f64) -> Self {
        let mix =
            |r: usize, c: usize| self.rows[r][c] + share * (other.rows[r][c] - self.rows[r][c]);
        Self { rows: std::array::from_fn(|r| std::array::from_fn(|c| mix(r, c))) }
    }
}

pub(super) fn project(m: &Matrix3<f64>, p: Pixel) -> Pixel {
    let v = m * Vector3::new(p.x, p.y, 1.0);
    Pixel::new(v.x / v.z, v.y / v.z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn undo_undoes() {
        let m = Matrix3::new(1.01, -0.02, 7.0, 0.021, 0.99, -3.0, 1e-5, -2e-5, 1.0);
        let map = PictureFromReference::from_matrix(&m).unwrap();
        let p = Pixel::new(310.0, 480.0);
        let back = map.undo(map.apply(p));
        assert_relative_eq!(back.x, p.x, epsilon = 1e-9);
        assert_relative_eq!(back.y, p.y, epsilon = 1e-9);
        assert_eq!(PictureFromReference::STILL.apply(p), p);
    }

    #[test]
    fn scale_and_turn_of_a_similarity_are_its_own() {
        let map = PictureFromReference::similarity(1.1, 0.2, Pixel::new(5.0, 6.0));
        let (scale, turn) = map.scale_and_turn(Pixel::new(100.0, 200.0));
        assert_relative_eq!(scale, 1.1, epsilon = 1e-9);
        assert_relative_eq!(turn, 0.2, epsilon = 1e-9);
    }

    #[test]
    fn a_mirror_or_a_flat_map_is_refused() {
        assert!(PictureFromReference::from_matrix(&Matrix3::zeros()).is_none());
        let mirror = Matrix3::new(-1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0);
        assert!(PictureFromReference::from_matrix(&mirror).is_none());
    }
}
