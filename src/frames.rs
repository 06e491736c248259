//! Frames of reference as types, so that pixels cannot be mixed with metres.
//!
//! | frame | axes | unit |
//! | --- | --- | --- |
//! | [`Image`] | x right, y down, origin at the outer top-left corner of the upright picture, first pixel centre (0.5, 0.5) | pixels |
//! | [`Camera`] | x right, y down, z forward, origin at the camera | metres, or statures where said |
//! | [`Golf`] | target, ball, up (MEASURES.md); origin on the ground midway between the ankles at address | metres |
//!
//! For a right-handed pupil (target, ball, up) is a left-handed set of axes, for a
//! left-handed one a right-handed set: golf axes mean the same in every lesson.
//!
//! ```compile_fail
//! use hubgauge::frames::{Camera, Golf, Vector};
//! let a = Vector::<Golf>::new(1.0, 0.0, 0.0);
//! let b = Vector::<Camera>::new(1.0, 0.0, 0.0);
//! let _ = a - b; // different frames do not subtract
//! ```
//! ```
//! use hubgauge::frames::{Golf, Vector};
//! let a = Vector::<Golf>::new(1.0, 0.0, 0.0);
//! let b = Vector::<Golf>::new(0.25, 0.0, 0.0);
//! assert_eq!((a - b).x(), 0.75);
//! ```

mod rectangle;

use std::marker::PhantomData;
use std::ops::{Add, Mul, Sub};

use nalgebra::{Matrix3, Vector3};

pub use rectangle::{Flat, Rectangle};

/// Position in the picture, pixels of the upright picture; written down as `[x, y]`.
#[derive(Clone, Copy, Debug, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct Pixel {
    pub x: f64,
    pub y: f64,
}

impl From<[f64; 2]> for Pixel {
    fn from([x, y]: [f64; 2]) -> Self {
        Self { x, y }
    }
}

impl From<Pixel> for [f64; 2] {
    fn from(at: Pixel) -> Self {
        [at.x, at.y]
    }
}

impl Pixel {
    #[must_use]
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

/// Width and height of the upright picture, pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct PictureSize {
    pub width: u32,
    pub height: u32,
}

impl PictureSize {
    /// The longer side, pixels.
    #[must_use]
    pub fn long(self) -> f64 {
        f64::from(self.width.max(self.height))
    }

    #[must_use]
    pub fn centre(self) -> Pixel {
        Pixel::new(f64::from(self.width) / 2.0, f64::from(self.height) / 2.0)
    }
}

/// Marker: x right, y down, z forward.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Camera;

/// Marker: target, ball, up.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Golf;

/// A displacement in frame `F`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vector<F> {
    pub coords: Vector3<f64>,
    frame: PhantomData<F>,
}

/// A position in frame `F`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point<F> {
    pub coords: Vector3<f64>,
    frame: PhantomData<F>,
}

impl<F> Vector<F> {
    #[must_use]
    pub fn new(x: f64, y: f64, z: f64) -> Self {
        Self::from(Vector3::new(x, y, z))
    }

    #[must_use]
    pub fn x(&self) -> f64 {
        self.coords.x
    }

    #[must_use]
    pub fn y(&self) -> f64 {
        self.coords.y
    }

    #[must_use]
    pub fn z(&self) -> f64 {
        self.coords.z
    }

    #[must_use]
    pub fn norm(&self) -> f64 {
        self.coords.norm()
    }
}

impl Vector<Golf> {
    #[must_use]
    pub fn target(&self) -> f64 {
        self.coords.x
    }

    #[must_use]
    pub fn ball(&self) -> f64 {
        self.coords.y
    }

    #[must_use]
    pub fn up(&self) -> f64 {
        self.coords.z
    }
}

impl<F> Point<F> {
    #[must_use]
    pub fn new(x: f64, y: f64, z: f64) -> Self {
        Self::from(Vector3::new(x, y, z))
    }
}

impl<F> From<Vector3<f64>> for Vector<F> {
    fn from(coords: Vector3<f64>) -> Self {
        Self { coords, frame: PhantomData }
    }
}

impl<F> From<Vector3<f64>> for Point<F> {
    fn from(coords: Vector3<f64>) -> Self {
        Self { coords, frame: PhantomData }
    }
}

impl<F> Default for Vector<F> {
    fn default() -> Self {
        Self::from(Vector3::zeros())
    }
}

impl<F> Default for Point<F> {
    fn default() -> Self {
        Self::from(Vector3::zeros())
    }
}

/// Written as its three components.
impl<F> serde::Serialize for Vector<F> {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        [self.coords.x, self.coords.y, self.coords.z].serialize(to)
    }
}

impl<'de, F> serde::Deserialize<'de> for Vector<F> {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        <[f64; 3]>::deserialize(from).map(|[x, y, z]| Self::new(x, y, z))
    }
}

impl<F> Add for Vector<F> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::from(self.coords + other.coords)
    }
}

impl<F> Sub for Vector<F> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::from(self.coords - other.coords)
    }
}

impl<F> Mul<f64> for Vector<F> {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::from(self.coords * factor)
    }
}

impl<F> Sub for Point<F> {
    type Output = Vector<F>;
    fn sub(self, other: Self) -> Vector<F> {
        Vector::from(self.coords - other.coords)
    }
}

impl<F> Add<Vector<F>> for Point<F> {
    type Output = Self;
    fn add(self, step: Vector<F>) -> Self {
        Self::from(self.coords + step.coords)
    }
}

/// Right- or left-handed pupil.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Handed {
    #[default]
    Right,
    Left,
}

/// Where a level camera's frame stands among the golf axes.
///
/// * `pitch`: + = the camera looks down.
/// * `roll`: + = the true vertical leans to the right in the picture.
/// * `azimuth`: 0 = face-on, pi/2 = down-the-line, turning about the vertical.
///
/// All three are stated for a right-handed pupil; a left-handed one is the same in
/// a mirror, so his `roll` is that of the mirrored picture.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Attitude {
    pub pitch: f64,
    pub roll: f64,
    pub azimuth: f64,
}

impl Attitude {
    /// Golf axes from camera axes: `golf_from_camera * v`. The rows are the target, ball and
    /// up directions in camera axes. Orthogonal; its determinant is -1 for right-handers.
    #[must_use]
    pub fn golf_from_camera(&self, handed: Handed) -> GolfFromCamera {
        let (sp, cp) = self.pitch.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let (sa, ca) = self.azimuth.sin_cos();
        let up = Vector3::new(sr * cp, -cr * cp, -sp);
        let axis = Vector3::z();
        let ahead = (axis - up * up.dot(&axis)).normalize();
        let right = ahead.cross(&up);
        let target = right * ca + ahead * sa;
        let ball = right * sa - ahead * ca;
        let mut rows = Matrix3::from_rows(&[target.transpose(), ball.transpose(), up.transpose()]);
        if handed == Handed::Left {
            rows.column_mut(0).neg_mut();
        }
        GolfFromCamera(rows)
    }
}

/// Turns camera directions into golf directions. See [`Attitude::golf_from_camera`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GolfFromCamera(pub Matrix3<f64>);

impl Mul<Vector<Camera>> for GolfFromCamera {
    type Output = Vector<Golf>;
    fn mul(self, v: Vector<Camera>) -> Vector<Golf> {
        Vector::from(self.0 * v.coords)
    }
}

impl GolfFromCamera {
    #[must_use]
    pub fn back(&self, v: Vector<Golf>) -> Vector<Camera> {
        Vector::from(self.0.transpose() * v.coords)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn golf(a: &Attitude, handed: Handed, x: f64, y: f64, z: f64) -> Vector3<f64> {
        (a.golf_from_camera(handed) * Vector::new(x, y, z)).coords
    }

    #[test]
    fn level_face_on_camera_sees_the_target_on_the_right_of_a_right_hander() {
        let a = Attitude::default();
        assert_relative_eq!(golf(&a, Handed::Right, 1.0, 0.0, 0.0), Vector3::x());
        assert_relative_eq!(golf(&a, Handed::Left, 1.0, 0.0, 0.0), -Vector3::x());
        assert_relative_eq!(golf(&a, Handed::Right, 0.0, -1.0, 0.0), Vector3::z());
        assert_relative_eq!(golf(&a, Handed::Right, 0.0, 0.0, 1.0), -Vector3::y());
    }

    #[test]
    fn level_down_the_line_camera_looks_along_the_target_line() {
        let a = Attitude { azimuth: std::f64::consts::FRAC_PI_2, ..Attitude::default() };
        assert_relative_eq!(golf(&a, Handed::Right, 0.0, 0.0, 1.0), Vector3::x(), epsilon = 1e-12);
        assert_relative_eq!(golf(&a, Handed::Right, 1.0, 0.0, 0.0), Vector3::y(), epsilon = 1e-12);
    }

    #[test]
    fn the_matrix_is_orthogonal_and_a_camera_that_looks_down_sees_the_ground() {
        let a = Attitude { pitch: 0.1, roll: -0.05, azimuth: 0.4 };
        let m = a.golf_from_camera(Handed::Right).0;
        assert_relative_eq!(m * m.transpose(), Matrix3::identity(), epsilon = 1e-12);
        assert_relative_eq!(m.determinant(), -1.0, epsilon = 1e-12);
        assert!((m * Vector3::z()).z < 0.0);
    }
}
