//! When the ball leaves its place. In: the clip's upright pictures about impact, where the golfer
//! is, the camera's motion. Out: moments at which a patch of a ball's size before the golfer
//! changed from one thing that stood still to another, real time, with how clear each is.
//!
//! The ball lies still from address on and is gone from one picture to the next: nothing else about
//! a swing does that, since body, club and shadows move on. [`leave`] looks for such patches;
//! which of them, if any, is the ball is told by the hands ([`crate::events`]). No ball
//! (a practice swing), one outside the picture or as bright as the ground gives none.
//!
//! It keeps the ground before the golfer from the pictures about impact, reduced and in two colours:
//! at most 101 of about 0.5 megabytes.

mod leave;
mod patch;
#[cfg(test)]
mod trials;

use image::{GrayImage, RgbImage};
use imageproc::geometric_transformations::{Border, Interpolation, Projection, warp};
use nalgebra::Matrix3;

use super::ground::means;
use super::{CameraMotion, GroundMotion, HandSample};
use crate::frames::PictureSize;
use crate::keypoints::Roi;
use crate::units::Seconds;

pub use leave::Departure;

/// Pictures this near the hands' rough impact are kept, seconds.
const KEPT_S: f64 = 0.4;
/// The stature in a kept picture, pixels at most: a ball is nine across then.
const STATURE_PX: f64 = 380.0;
/// Radius of a ball, metres: 42.67 mm across at least (Rules of Golf, Equipment Rules part 4).
const RADIUS_M: f64 = 0.021_335;
/// A stature, metres: good enough for how large a ball looks.
const STATURE_M: f64 = 1.7;
/// Where a ball may lie, statures from the hips: to both sides, and down.
const ASIDE: f64 = 0.85;
const BELOW: (f64, f64) = (0.3, 1.25);

/// Keeps the ground before the golfer from the pictures about impact.
pub struct BallWatcher {
    /// Size of the clip's pictures.
    picture: (u32, u32),
    /// The kept part of them: its first corner, and its size when reduced.
    from: (u32, u32),
    size: (u32, u32),
    factor: u32,
    /// Of a ball as far away as the golfer, pixels of the kept pictures.
    radius: f64,
    impact: f64,
    pictures: Vec<Kept>,
}

struct Kept {
    index: usize,
    time: f64,
    ground: [GrayImage; 2],
}

impl BallWatcher {
    /// `golfer`: his square about impact; `hands`: of the whole scan, for how large he looks.
    /// `None` when no ground before him is in the picture.
    #[must_use]
    pub fn new(
        size: PictureSize,
        golfer: Roi,
        hands: &[HandSample],
        impact: Seconds,
    ) -> Option<Self> {
        let sizes: Vec<f64> = hands.iter().map(|h| h.size_px).collect();
        let stature = crate::signal::median(&sizes).filter(|s| s.is_finite() && *s > 0.0)?;
        let factor = (stature / STATURE_PX).ceil().max(1.0);
        let (width, height) = (f64::from(size.width), f64::from(size.height));
        let left = (golfer.centre.x - ASIDE * stature).clamp(0.0, width);
        let right = (golfer.centre.x + ASIDE * stature).clamp(0.0, width);
        let top = (golfer.centre.y + BELOW.0 * stature).clamp(0.0, height);
        let bottom = (golfer.centre.y + BELOW.1 * stature).clamp(0.0, height);
        let kept = (whole((right - left) / factor), whole((bottom - top) / factor));
        (kept.0 > 0 && kept.1 > 0).then(|| Self {
            picture: (size.width, size.height),
            from: (whole(left), whole(top)),
            size: kept,
            factor: whole(factor),
            radius: RADIUS_M / STATURE_M * stature / factor,
            impact: impact.0,
            pictures: Vec::new(),
        })
    }

    /// Takes the next picture: its position among the displayed ones and its real time.
    pub fn push(&mut self, index: usize, time: Seconds, picture: &RgbImage) {
        let fits = picture.dimensions() == self.picture;
        if fits && (time.0 - self.impact).abs() <= KEPT_S {
            self.pictures.push(Kept { index, time: time.0, ground: self.ground(picture) });
        }
    }

    /// What left its place, clearest first; nothing where the camera's motion is not known.
    #[must_use]
    pub fn finish(self, camera: &GroundMotion) -> Vec<Departure> {
        let (radius, impact) = (self.radius, self.impact);
        let times: Vec<f64> = self.pictures.iter().map(|k| k.time).collect();
        let steady: Option<Vec<[GrayImage; 2]>> = match camera.motion {
            CameraMotion::Untrusted => None,
            CameraMotion::Still => Some(self.pictures.into_iter().map(|k| k.ground).collect()),
            CameraMotion::Compensated { .. } => {
                self.pictures.iter().map(|k| self.steadied(k, camera)).collect()
            }
        };
        let Some(grounds) = steady else { return Vec::new() };
        let stacks = [0, 1].map(|colour| {
            times.iter().copied().zip(grounds.iter().map(|g| &g[colour])).collect::<Vec<_>>()
        });
        leave::find(&stacks, radius, impact)
    }

    /// Red and blue together, in which turf is dark, and green, for ground of another colour.
    fn ground(&self, picture: &RgbImage) -> [GrayImage; 2] {
        let Self { from, size, factor, .. } = *self;
        [means(picture, from, size, factor, [0, 2]), means(picture, from, size, factor, [1])]
    }

    /// A kept picture in the axes of the reference picture.
    fn steadied(&self, kept: &Kept, camera: &GroundMotion) -> Option<[GrayImage; 2]> {
        let factor = f64::from(self.factor);
        let shift = |start: u32| f64::from(start) + 0.5 * factor;
        let (x, y) = (shift(self.from.0), shift(self.from.1));
        let enlarge = Matrix3::new(factor, 0.0, x, 0.0, factor, y, 0.0, 0.0, 1.0);
        let map = camera.at(kept.index).matrix();
        let back = enlarge.try_inverse()? * map.try_inverse()? * enlarge;
        let rows: [f32; 9] = std::array::from_fn(|i| narrow(back[(i / 3, i % 3)]));
        let map = Projection::from_matrix(rows)?;
        let turned = |ground| warp(ground, map, Interpolation::Bilinear, Border::Replicate);
        Some([turned(&kept.ground[0]), turned(&kept.ground[1])])
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within a picture")]
fn whole(pixels: f64) -> u32 {
    pixels.max(0.0) as u32
}

#[expect(clippy::cast_possible_truncation, reason = "positions need no more than f32")]
fn narrow(value: f64) -> f32 {
    value as f32
}
