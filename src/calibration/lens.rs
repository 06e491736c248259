//! A camera's lens as a calibration with a chessboard found it. In: the calibration's text
//! (JSON), points of the picture as it was filmed. Out: the same points as a pinhole camera in
//! the middle of the picture would have seen them, the focal length with its sd, and the way
//! back. Pixels of the upright picture ([`crate::frames`]).
//!
//! Model: Zhang 2000 (IEEE TPAMI 22:1330) with Brown's tangential terms, as OpenCV writes it:
//! `k1 k2 p1 p2 k3`. The way to straight points is by Newton's method.
//!
//! Not done: fisheye models, more than five coefficients, a lens that zooms within a clip. The
//! motion of a hand-held camera is taken out before, in the picture as it was filmed.

use nalgebra::{Matrix2, Vector2};
use serde::Deserialize;

use crate::frames::{PictureSize, Pixel};
use crate::units::Estimate;

/// OpenCV counts from the centre of the first pixel, we from its corner.
const HALF_PIXEL: f64 = 0.5;
/// Sd of the focal length, as a share, where the file states none: focusing moves it by about
/// this (from memory, no source); the calibration itself is better.
const FOCAL_SD: f64 = 0.01;
/// Newton's method doubles its digits with each round.
const ROUNDS: usize = 20;
/// A point is straightened when it maps back to within this of where it was seen, pixels.
const CLOSE_PX: f64 = 1e-6;

/// What is wrong with a lens file, and what to do about it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LensError {
    #[error(
        "the lens file is not a camera calibration ({0}): it needs image_size, camera_matrix and dist_coeffs (k1 k2 p1 p2 k3) as OpenCV names them"
    )]
    NotALens(String),
    #[error(
        "the lens file is for pictures of {} x {}, the clip has {} x {}: calibrate the lens with pictures of the same shape and the same way up",
        .lens.width, .lens.height, .clip.width, .clip.height
    )]
    OtherPicture { lens: PictureSize, clip: PictureSize },
    #[error(
        "the lens file bends the picture so far that its corners cannot be straightened: calibrate again with the board in the corners, and give five coefficients at most"
    )]
    Folded,
}

/// The file as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    image_size: [u32; 2],
    camera_matrix: [[f64; 3]; 3],
    dist_coeffs: Coefficients,
    /// Of the focal length, pixels.
    focal_sd_px: Option<f64>,
    /// For people to read.
    #[serde(rename = "camera")]
    _camera: Option<String>,
}

/// OpenCV gives one row, or a matrix of one row.
#[derive(Deserialize)]
#[serde(untagged)]
enum Coefficients {
    Row(Vec<f64>),
    Matrix(Vec<Vec<f64>>),
}

/// A lens for pictures of one size.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Lens {
    width: u32,
    height: u32,
    /// Along x and y, pixels.
    focal: [f64; 2],
    /// Where the optical axis meets the picture, pixels from its corner.
    axis: [f64; 2],
    /// k1 k2 p1 p2 k3.
    bends: [f64; 5],
    focal_sd: f64,
}

impl Lens {
    /// Reads a lens file and fits it to pictures of `size`.
    ///
    /// # Errors
    /// When the text is no calibration, or not one of such pictures.
    pub fn parse(text: &str, size: PictureSize) -> Result<Self, LensError> {
        Self::read(text)?.fitted(size)?.unfolded()
    }

    /// Whether the text is a lens file at all; for which pictures is for [`Self::parse`] to say.
    ///
    /// # Errors
    /// When it is no calibration.
    pub fn check(text: &str) -> Result<(), LensError> {
        Self::read(text)?.unfolded().map(drop)
    }

    fn unfolded(self) -> Result<Self, LensError> {
        let (w, h) = (f64::from(self.width), f64::from(self.height));
        let edge = [(0.0, 0.0), (0.5, 0.0), (1.0, 0.0), (1.0, 0.5), (1.0, 1.0), (0.0, 0.5)];
        let straight = |(x, y)| self.straightened(Pixel::new(x * w, y * h)).is_some();
        edge.into_iter().all(straight).then_some(self).ok_or(LensError::Folded)
    }

    fn read(text: &str) -> Result<Self, LensError> {
        let wrong = |what: &str| LensError::NotALens(what.to_owned());
        let file: Written =
            serde_json::from_str(text).map_err(|e| LensError::NotALens(e.to_string()))?;
        let given = match file.dist_coeffs {
            Coefficients::Row(row) => row,
            Coefficients::Matrix(rows) => rows.into_iter().flatten().collect(),
        };
        if given.len() > 5 {
            return Err(wrong("more than five coefficients"));
        }
        let mut bends = [0.0; 5];
        bends.iter_mut().zip(&given).for_each(|(b, g)| *b = *g);
        let [[fx, skew, cx], [_, fy, cy], _] = file.camera_matrix;
        let [width, height] = file.image_size;
        let long = f64::from(width.max(height));
        let possible = |f: f64| f > 0.2 * long && f < 20.0 * long;
        if width < 16 || height < 16 || !possible(fx) || !possible(fy) || skew.abs() > 0.01 * fx {
            return Err(wrong("the focal lengths do not go with the picture's size"));
        }
        if !(0.0..=f64::from(width)).contains(&cx) || !(0.0..=f64::from(height)).contains(&cy) {
            return Err(wrong("the optical axis lies outside the picture"));
        }
        let focal_sd = file.focal_sd_px.map_or(FOCAL_SD, |sd| sd / fx);
        if !(focal_sd > 0.0 && focal_sd < 0.5) || bends.iter().any(|b| !b.is_finite()) {
            return Err(wrong("a number is out of range"));
        }
        let axis = [cx + HALF_PIXEL, cy + HALF_PIXEL];
        Ok(Self { width, height, focal: [fx, fy], axis, bends, focal_sd })
    }

    /// The same lens when the pictures are stored larger or smaller.
    fn fitted(self, clip: PictureSize) -> Result<Self, LensError> {
        let lens = PictureSize { width: self.width, height: self.height };
        let (x, y) = (
            f64::from(clip.width) / f64::from(lens.width),
            f64::from(clip.height) / f64::from(lens.height),
        );
        // a side may be rounded to whole blocks of pixels
        if (x / y - 1.0).abs() > 0.01 {
            return Err(LensError::OtherPicture { lens, clip });
        }
        let scaled = |[a, b]: [f64; 2]| [a * x, b * y];
        let (focal, axis) = (scaled(self.focal), scaled(self.axis));
        Ok(Self { width: clip.width, height: clip.height, focal, axis, ..self })
    }

    /// Focal length of the straight picture, pixels.
    fn pinhole_px(&self) -> f64 {
        (self.focal[0] * self.focal[1]).sqrt()
    }

    /// Natural logarithm of the straight picture's focal length over its longer side.
    #[must_use]
    pub fn log_focal(&self) -> Estimate {
        let long = f64::from(self.width.max(self.height));
        Estimate::new((self.pinhole_px() / long).ln(), self.focal_sd)
    }

    fn centre(&self) -> [f64; 2] {
        [f64::from(self.width) / 2.0, f64::from(self.height) / 2.0]
    }

    /// Where a pinhole camera in the middle of the picture would have seen the point; `None`
    /// far outside the picture, where the model folds over.
    #[must_use]
    pub fn straightened(&self, seen: Pixel) -> Option<Pixel> {
        let goal = Vector2::new(
            (seen.x - self.axis[0]) / self.focal[0],
            (seen.y - self.axis[1]) / self.focal[1],
        );
        let mut at = goal;
        for _ in 0..ROUNDS {
            let (bent, slope) = self.bend(at);
            let miss = goal - bent;
            if miss.norm() * self.pinhole_px() < CLOSE_PX {
                let (f, [x, y]) = (self.pinhole_px(), self.centre());
                return Some(Pixel::new(x + f * at.x, y + f * at.y));
            }
            if slope.determinant() <= 0.0 {
                return None;
            }
            at += slope.try_inverse()? * miss;
        }
        None
    }

    /// Where the lens shows a point of the straight picture.
    #[must_use]
    pub fn seen(&self, straight: Pixel) -> Pixel {
        let (f, [x, y]) = (self.pinhole_px(), self.centre());
        let (bent, _) = self.bend(Vector2::new((straight.x - x) / f, (straight.y - y) / f));
        Pixel::new(self.axis[0] + self.focal[0] * bent.x, self.axis[1] + self.focal[1] * bent.y)
    }

    /// The bent point and its slopes, normalised.
    fn bend(&self, p: Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        let [k1, k2, p1, p2, k3] = self.bends;
        let (x, y) = (p.x, p.y);
        let r = x * x + y * y;
        let stretch = 1.0 + r * (k1 + r * (k2 + r * k3));
        let rise = k1 + r * (2.0 * k2 + 3.0 * k3 * r);
        let bent = Vector2::new(
            x * stretch + 2.0 * p1 * x * y + p2 * (r + 2.0 * x * x),
            y * stretch + p1 * (r + 2.0 * y * y) + 2.0 * p2 * x * y,
        );
        let mixed = 2.0 * x * y * rise + 2.0 * p1 * x + 2.0 * p2 * y;
        let slope = Matrix2::new(
            stretch + 2.0 * x * x * rise + 2.0 * p1 * y + 6.0 * p2 * x,
            mixed,
            mixed,
            stretch + 2.0 * y * y * rise + 6.0 * p1 * y + 2.0 * p2 * x,
        );
        (bent, slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PHONE: &str = r#"{"image_size": [720, 1280], "camera_matrix": [[990.0, 0, 355.5], [0, 992.0, 645.5], [0, 0, 1]],
        "dist_coeffs": [[0.11, -0.19, 0.0008, -0.0006, 0.02]], "focal_sd_px": 5.0}"#;
    const PICTURE: PictureSize = PictureSize { width: 720, height: 1280 };

    #[test]
    fn there_and_back_is_the_same_point_and_the_axis_goes_to_the_middle() {
        let lens = Lens::parse(PHONE, PICTURE).unwrap();
        for (x, y) in [(0.0, 0.0), (100.0, 1200.0), (360.0, 640.0), (719.0, 3.0)] {
            let seen = Pixel::new(x, y);
            let back = lens.seen(lens.straightened(seen).unwrap());
            assert!(back.distance(seen) < 1e-5, "{back:?}");
        }
        let middle = lens.straightened(Pixel::new(356.0, 646.0)).unwrap();
        assert!(middle.distance(PICTURE.centre()) < 1e-6);
        assert!((lens.log_focal().value - (991.0_f64 / 1280.0).ln()).abs() < 1e-5);
    }

    #[test]
    fn a_clip_stored_smaller_keeps_its_lens() {
        let whole = Lens::parse(PHONE, PICTURE).unwrap();
        let half = Lens::parse(PHONE, PictureSize { width: 360, height: 640 }).unwrap();
        let p = whole.straightened(Pixel::new(40.0, 100.0)).unwrap();
        let q = half.straightened(Pixel::new(20.0, 50.0)).unwrap();
        assert!((p.x / 2.0 - q.x).abs() < 1e-6 && (p.y / 2.0 - q.y).abs() < 1e-6);
        assert!((whole.log_focal().value - half.log_focal().value).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_lens_is_said_in_one_line() {
        let turned = PictureSize { width: 1280, height: 720 };
        let cases = [
            Lens::parse("{}", PICTURE),
            Lens::parse("not json", PICTURE),
            Lens::parse(&PHONE.replace("990.0", "9.0"), PICTURE),
            Lens::parse(&PHONE.replace("0.02", "0.02, 1, 2, 3"), PICTURE),
            Lens::parse(&PHONE.replace("-0.19", "-9.0"), PICTURE),
            Lens::parse(PHONE, turned),
        ];
        for case in cases {
            let text = case.unwrap_err().to_string();
            assert!(!text.contains('\n') && text.len() > 30, "{text}");
        }
    }
}
