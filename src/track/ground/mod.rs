//! The camera's own motion. In: the clip's upright pictures in order, and about where the
//! golfer is. Out: for each picture the map from the reference picture (the first one), or
//! that the camera stood still, or that nobody can tell. Pixels.
//!
//! Corners of the background (Shi & Tomasi 1994, spread over a grid) are followed by pyramidal
//! Lucas-Kanade (Bouguet 2000) with a check forward and back, from a key picture straight to
//! each picture, so that errors do not add up; a new key is taken only when the camera has
//! moved on. [`fit`] makes a map of them that club, shadow and passers-by do not disturb; the
//! golfer is left out by a circle. That map is right for most of the background; when all is
//! seen, [`parallax`] makes it right at the golfer's distance.
//!
//! It runs beside the picture reader and keeps two small grey pictures and where the corners
//! were, some kilobytes a picture.

mod fit;
mod gray;
mod parallax;
#[cfg(test)]
mod trials;
mod verdict;

use image::{GrayImage, RgbImage};
use nalgebra::Matrix3;
use optical_flow_lk::{
    Corner, DetectorContext, Grid, TrackOptions, TrackParams, TrackStatus, TrackerContext,
};

use crate::frames::{PictureSize, Pixel};
use crate::keypoints::Roi;
use crate::units::Seconds;
use crate::warning::Warned;

use super::camera::project;
use super::{GroundMotion, PictureFromReference};
use fit::{Fit, Match, Pinhole};
pub(super) use gray::means;
use parallax::{Look, Origin};
use verdict::Step;

/// Focal length in long sides of the picture: 65 degrees of view along the long side, about
/// what a phone's main camera films with (common practice, no source). 20 % off leaves 20 %
/// of a correction that is some pixels at the picture's edge.
const FOCAL: f64 = 0.785;

/// Pictures closer in time than this are left to interpolation, s: hands shake below 15 Hz.
const STEP_S: f64 = 1.0 / 75.0;

/// Cells along the short and long side, and corners in each.
const CELLS: (u32, u32) = (8, 14);
const CORNERS: u32 = 3;
/// Corners at least this strong beside the strongest one, and at least this far apart.
const QUALITY: f32 = 0.0003;
const APART: u32 = 9;
/// Weakest corner, (grey levels a pixel) squared: video noise of 1 to 2 levels, averaged over
/// squares of pixels, makes corners of about 0.3.
const WEAKEST: f32 = 0.3;
/// Side of the window that is followed, pixels of the small picture; pyramid levels.
const WINDOW: usize = 15;
const LEVELS: usize = 4;
/// How far a corner followed forth and back may miss itself, pixels of the small picture.
const ROUND_TRIP: f32 = 0.5;

/// Fewest corners that carry a map.
const FEWEST: usize = 12;
/// Least share of the corners that must agree on it.
const AGREE: f64 = 0.35;
/// How far a corner may lie from a proposed map, and the least common factor, in these sd.
const TOLERANCE: f64 = 5.0;
const LEAST_SD: f64 = 0.25;

/// The background is at rest when its middle moved by no more than this and most corners by no
/// more than that, pixels of the small picture.
const AT_REST: f64 = 0.15;
const AT_REST_EACH: f64 = 0.5;

/// The golfer's circle, in sides of his square: the square reaches 1.25 times as far from the
/// hips as the body (POSE.md section 3), so 0.4 is the body and the rest the hands.
const CIRCLE: f64 = 0.45;

/// A key picture is replaced when the camera has moved by this share of the long side ...
const MOVED_ON: f64 = 0.06;
/// ... or by this and has lost half the corners.
const MOVED_A_LITTLE: f64 = 0.01;

/// A camera that jumps further than this from one picture to the next (share of the long
/// side) is more likely somebody who walks through the picture.
const JUMP: f64 = 0.06;

/// After this long without a map a new start is made, s: a passer-by is gone by then.
const LOST_S: f64 = 0.7;

/// A golfer whose circle leaves less than this share of the picture fills it.
const LEFT: f64 = 0.3;

/// Exposure changes below this are left alone.
const EXPOSED: f64 = 0.01;

/// Follows the background from picture to picture.
pub struct GroundFollower {
    size: PictureSize,
    factor: u32,
    pinhole: Pinhole,
    tracker: TrackerContext,
    detector: DetectorContext,
    key: Option<Key>,
    golfer: Option<Roi>,
    steps: Vec<Step>,
    looks: Vec<Look>,
    /// All keys there were.
    origins: Vec<Origin>,
    /// Counts the new starts.
    start: usize,
    /// Time of the last map, s.
    followed_s: f64,
}

struct Key {
    /// Among the origins.
    origin: usize,
    gray: GrayImage,
    /// Corners, pixels of the small picture.
    corners: Vec<(f32, f32)>,
    /// Sd of each corner, pixels.
    sds: Vec<f64>,
    from_reference: Matrix3<f64>,
    /// Of `from_reference` at the golfer, pixels squared.
    variance: f64,
    /// Corners that agreed the first time.
    agreed: Option<usize>,
    /// The last map from this key, where the next search begins.
    last: Matrix3<f64>,
}

impl GroundFollower {
    #[must_use]
    pub fn new(size: PictureSize) -> Self {
        Self {
            size,
            factor: gray::factor(size),
            pinhole: Pinhole { centre: size.centre(), focal: FOCAL * size.long() },
            tracker: TrackerContext::new(),
            detector: DetectorContext::new(),
            key: None,
            golfer: None,
            steps: Vec::new(),
            looks: Vec::new(),
            origins: Vec::new(),
            start: 0,
            followed_s: f64::NEG_INFINITY,
        }
    }

    /// Takes the next picture: its position among the displayed ones, its real time, and the
    /// golfer's square in it where known.
    pub fn push(&mut self, index: usize, time: Seconds, picture: &RgbImage, golfer: Option<Roi>) {
        let too_soon = self.steps.last().is_some_and(|s| time.0 - s.time < STEP_S);
        let fits = picture.width() == self.size.width && picture.height() == self.size.height;
        if too_soon || !fits {
            return;
        }
        self.golfer = golfer.or(self.golfer);
        let mut gray = gray::shrink(picture, self.factor);
        let map = self.key.take().and_then(|key| self.follow(key, &mut gray));
        let step = match map {
            Some(step) => step,
            None => self.lost(time, gray),
        };
        if step.camera.is_some() {
            self.followed_s = time.0;
        }
        self.steps.push(Step { index, time: time.0, ..step });
    }

    /// What the camera did, and what a coach should know about it.
    #[must_use]
    pub fn finish(self) -> Warned<GroundMotion> {
        let near = || parallax::refined(&self.steps, &self.looks, &self.origins, self.pinhole);
        verdict::judge(&self.steps, near, self.size, self.is_filled())
    }

    /// The golfer leaves little of the picture to see.
    fn is_filled(&self) -> bool {
        let (width, height) = (f64::from(self.size.width), f64::from(self.size.height));
        let places = (0..400u32).map(|i| {
            let (column, row) = (f64::from(i % 20), f64::from(i / 20));
            Pixel::new(width * (column + 0.5) / 20.0, height * (row + 0.5) / 20.0)
        });
        share(places.filter(|p| self.background(*p)).count(), 400) < LEFT
    }

    fn background(&self, at: Pixel) -> bool {
        is_outside(self.golfer, at)
    }

    /// Where the map must be right.
    fn places(&self) -> [Pixel; 3] {
        match self.golfer {
            Some(roi) => places(roi.centre, roi.side),
            None => places(self.size.centre(), 0.5 * f64::from(self.size.height)),
        }
    }

    /// The map from the key to a picture; keeps the key, or makes the picture the new one.
    /// Without a map the key is kept for the next picture.
    fn follow(&mut self, mut key: Key, gray: &mut GrayImage) -> Option<Step> {
        self.expose_alike(&key, gray);
        let matches = self.matches(&key, gray);
        let Some((fit, variance)) = self.map(&key, &matches) else {
            self.key = Some(key);
            return None;
        };
        let matrix = fit.matrix * key.from_reference;
        let variance = key.variance + variance;
        let now = self.steps.len();
        self.looks.push(Look::new(now, key.origin, &matches, &fit.matrix, self.size.long()));
        let step = Step {
            camera: PictureFromReference::from_matrix(&matrix),
            variance,
            moved: self.moved(&matrix),
            at_rest: key.from_reference == Matrix3::identity()
                && is_at_rest(&matches, f64::from(self.factor)),
            ..Step::lost(self.start)
        };
        key.last = fit.matrix;
        let agreed = *key.agreed.get_or_insert(fit.inliers);
        let moved = self.moved(&fit.matrix) / self.size.long();
        let weak = 2 * fit.inliers < agreed && moved > MOVED_A_LITTLE;
        let next = if moved > MOVED_ON || weak {
            self.key_from(gray.clone(), matrix, variance, Some(now))
        } else {
            None
        };
        self.key = Some(next.unwrap_or(key));
        Some(step)
    }

    /// The map from the key and its variance at the golfer, if it can be believed.
    fn map(&self, key: &Key, matches: &[Match]) -> Option<(Fit, f64)> {
        let fit = fit::fit(matches, &self.pinhole, TOLERANCE, LEAST_SD)
            .filter(|f| f.inliers >= FEWEST)
            .filter(|f| share(f.inliers, key.corners.len()) >= AGREE)?;
        let jump = self
            .places()
            .iter()
            .map(|p| project(&fit.matrix, *p).distance(project(&key.last, *p)))
            .fold(0.0, f64::max);
        let variance = fit.variance_at(matches, &self.pinhole, &self.places());
        (jump <= JUMP * self.size.long() && variance.is_finite()).then_some((fit, variance))
    }

    fn moved(&self, matrix: &Matrix3<f64>) -> f64 {
        let places = self.places();
        places.iter().map(|p| project(matrix, *p).distance(*p)).fold(0.0, f64::max)
    }

    /// Brings a picture to the key's exposure, by the mean of what is background in both.
    fn expose_alike(&self, key: &Key, gray: &mut GrayImage) {
        let golfer_then = self.origins[key.origin].golfer;
        let background = |at: Pixel| self.background(at) && is_outside(golfer_then, at);
        let before = gray::brightness(&key.gray, self.factor, background);
        let now = gray::brightness(gray, self.factor, background);
        let gain = (before / now.max(1.0)).clamp(0.25, 4.0);
        if (gain - 1.0).abs() > EXPOSED {
            gray::expose(gray, gain);
        }
    }

    /// Corners found again in a picture, in full pixels.
    fn matches(&mut self, key: &Key, gray: &GrayImage) -> Vec<Match> {
        let factor = self.factor;
        let expected: Vec<(f32, f32)> = key
            .corners
            .iter()
            .map(|&c| gray::reduce(project(&key.last, gray::enlarge(c, factor)), factor))
            .collect();
        let params =
            TrackParams { window_size: WINDOW, max_iterations: 20, min_eigen_threshold: 0.01 };
        let options = TrackOptions::new().with_fb_levels(1);
        self.tracker.prepare(&key.gray, gray, LEVELS);
        let found =
            self.tracker.track_fb_with(&key.corners, Some(&expected), params, ROUND_TRIP, options);
        key.corners
            .iter()
            .zip(&key.sds)
            .zip(found)
            .enumerate()
            .filter(|(_, (_, f))| f.status == TrackStatus::Tracked)
            .map(|(corner, ((&c, &sd), f))| Match {
                from: gray::enlarge(c, factor),
                to: gray::enlarge(f.pos, factor),
                corner,
                sd,
            })
            .collect()
    }

    /// No map: after a while a new start is made from this picture.
    fn lost(&mut self, time: Seconds, gray: GrayImage) -> Step {
        if self.key.is_some() && time.0 - self.followed_s < LOST_S {
            return Step::lost(self.start);
        }
        let restart = self.steps.iter().any(|s| s.camera.is_some());
        match self.key_from(gray, Matrix3::identity(), 0.0, None) {
            Some(key) => {
                self.key = Some(key);
                self.start += usize::from(restart);
                Step {
                    camera: Some(PictureFromReference::STILL),
                    at_rest: true,
                    ..Step::lost(self.start)
                }
            }
            None => Step::lost(self.start),
        }
    }

    /// A key picture with its corners, made of a step or where a start is made; `None` when it
    /// has too few.
    fn key_from(
        &mut self,
        gray: GrayImage,
        from_reference: Matrix3<f64>,
        variance: f64,
        step: Option<usize>,
    ) -> Option<Key> {
        let upright = gray.height() >= gray.width();
        let (cols, rows) = if upright { CELLS } else { (CELLS.1, CELLS.0) };
        let grid = Grid { cols, rows, max_per_cell: CORNERS };
        let found = self.detector.detect_grid(&gray, grid, QUALITY, APART, &[]);
        let found: Vec<Corner> = found.iter().filter(|c| c.score >= WEAKEST).copied().collect();
        let (corners, sds): (Vec<(f32, f32)>, Vec<f64>) = found
            .iter()
            .map(|c| (c.position(), f64::from(self.factor) * fit::corner_sd(c.score)))
            .filter(|&(at, _)| self.background(gray::enlarge(at, self.factor)))
            .unzip();
        if corners.len() < FEWEST {
            return None;
        }
        let places = corners.iter().map(|&c| gray::enlarge(c, self.factor)).collect();
        self.origins.push(Origin { golfer: self.golfer, corners: places, step });
        Some(Key {
            origin: self.origins.len() - 1,
            gray,
            corners,
            sds,
            from_reference,
            variance,
            agreed: None,
            last: Matrix3::identity(),
        })
    }
}

/// Places on a golfer at which a map must be right: hips, and a third of his square up and down.
fn places(hips: Pixel, side: f64) -> [Pixel; 3] {
    [-0.33, 0.0, 0.33].map(|up| Pixel::new(hips.x, hips.y - up * side))
}

/// Outside the golfer's circle.
fn is_outside(golfer: Option<Roi>, at: Pixel) -> bool {
    golfer.is_none_or(|g| g.centre.distance(at) > CIRCLE * g.side)
}

/// Whether the background lies where it lay in the key: its middle (which half the corners
/// could not falsify) does, and so do most corners. Judged on the corners and not on the map,
/// because an encoder may shift a faint sky by pixels.
fn is_at_rest(matches: &[Match], factor: f64) -> bool {
    let near = |m: &&Match| m.from.distance(m.to) <= AT_REST_EACH * factor;
    let weight = |m: &Match| 1.0 / m.sd;
    let all: f64 = matches.iter().map(weight).sum();
    let resting: f64 = matches.iter().filter(near).map(weight).sum();
    drift(matches) <= AT_REST * factor && resting >= 0.5 * all
}

/// Length of the middle displacement, pixels; surer corners count more.
fn drift(matches: &[Match]) -> f64 {
    let middle = |along: fn(&Match) -> f64| {
        let mut sorted: Vec<(f64, f64)> = matches.iter().map(|m| (along(m), 1.0 / m.sd)).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = sorted.iter().map(|s| s.1).sum::<f64>() / 2.0;
        let mut sum = 0.0;
        let at = sorted.iter().find(|s| {
            sum += s.1;
            sum >= half
        });
        at.map_or(0.0, |s| s.0)
    };
    middle(|m| m.to.x - m.from.x).hypot(middle(|m| m.to.y - m.from.y))
}

fn share(part: usize, whole: usize) -> f64 {
    crate::signal::real(part) / crate::signal::real(whole.max(1))
}
