//! Stage 2. In: upright pictures. Out: the pose network's landmarks for each picture.
//!
//! Landmarks keep the network's own convention: crop position i/256 measured on pixel
//! indices, about half a pixel up-left of [`crate::frames::Image`] coordinates. Lengths in
//! the picture are pixels, world landmarks network metres.
//!
//! Method: BlazePose (Bazarevsky et al. 2020, arXiv 2006.10204). A detector finds people in
//! the whole picture, each gives a rotated square, a second network reads 39 landmarks in
//! it. A third, the landmark network taught on rendered golfers (`models/golfer.md`), reads the
//! true joint centres and axes in the same square. All are embedded (`models/README.md`) and
//! run by tract, several pictures at a time.
//!
//! It does not smooth over time, choose the golfer, fill gaps or bring the landmarks to
//! joint centres: that is for [`crate::track`] and [`crate::lift`].

mod crop;
mod detector;
mod follow;
mod landmarks;
mod network;
mod roi;
mod scan;
mod workers;
mod written;
#[cfg(test)]
mod speed;
#[cfg(test)]
mod tests;

use crate::frames::Pixel;
use crate::units::Confidence;

pub use crop::{Facing, Sampling};
pub use follow::{follow, place_at};
pub use network::{KeypointsError, Networks, Square};
pub use scan::scan;

/// Landmarks of the network: 33 of the body and 6 auxiliary ones.
pub const LANDMARKS: usize = 39;

/// Which of the two landmark networks to use.
///
/// A picture costs 34 ms with full and 120 ms with heavy on one thread, 18 and 63 with two
/// (whole pictures in parallel; tract's own threads gain a quarter where this gains half). Since the
/// golfer network reads beside it heavy brings nothing (DEVELOPERS.md, accuracy).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub enum Accuracy {
    #[default]
    Full,
    Heavy,
}

/// The rotated square of the picture that the landmark network reads.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Roi {
    pub centre: Pixel,
    /// Side, pixels.
    pub side: f64,
    /// Clockwise in the picture, radians.
    pub rotation: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct Landmark {
    pub at: Pixel,
    /// Network depth, pixels of the picture, smaller = nearer.
    pub z: f64,
    pub visibility: Confidence,
    pub presence: Confidence,
    /// Network metres, x right, y down, z away, unrotated to the picture, origin mid-hip.
    pub world: [f64; 3],
}

impl Landmark {
    /// What lies between the network's pixel indices, which count from the first pixel's centre,
    /// and [`crate::frames::Image`], which counts from its corner; pixels.
    pub const HALF_PIXEL: f64 = 0.5;
}

/// One person in one picture.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Landmarks {
    #[serde(with = "written")]
    pub points: [Landmark; LANDMARKS],
    /// The network's own score that a person is there.
    pub person: Confidence,
    /// The region the landmarks were read in.
    pub roi: Roi,
    /// What the golfer network says of the same region; nothing where nobody asked.
    pub golfer: Option<GolferReading>,
}

/// Numbers of the golfer network, in the order of `models/golfer.md`.
pub const GOLFER_VALUES: usize = 76;

/// The golfer network's reading of a region, as for a right-hander (a left-hander's region is
/// mirrored) and in the region's own frame: turned by its rotation, lengths in its sides or in
/// statures, directions along the ray through its centre.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct GolferReading(#[serde(with = "written::numbers")] pub Box<[f32; GOLFER_VALUES]>);

/// A person found by the detector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Detection {
    pub score: Confidence,
    pub roi: Roi,
}

/// Everybody seen in one picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Sighting {
    pub time: crate::decode::Timestamp,
    pub index: usize,
    pub people: Vec<Landmarks>,
}

/// Where to look for the golfer: region by file time (seconds), in time order.
pub type Guide = Vec<(f64, Roi)>;
