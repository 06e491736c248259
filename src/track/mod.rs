//! Stage 3. In: landmarks of every picture (several people at first). Out: the golfer
//! through time, in the axes of one reference picture, with the camera's motion taken out.
//!
//! 1. [`choose`]: people linked through a coarse scan; the one whose hands swing.
//! 2. [`GroundFollower`]: the camera's motion from the background of the pictures.
//! 3. [`BallWatcher`]: when the ball leaves its place.
//! 4. [`assemble`]: the golfer in every picture; gross failures out, short gaps filled.
//!
//! Landmarks are not smoothed here: the lifting network was trained on raw ones.

mod assemble;
mod ball;
mod body;
mod camera;
mod choose;
mod ground;
mod people;
#[cfg(test)]
mod puppets;
mod swing;

use crate::frames::{PictureSize, Pixel};
use crate::keypoints::{Guide, Landmarks};
use crate::units::Seconds;

pub use assemble::assemble;
pub use ball::{BallWatcher, Departure};
pub use camera::PictureFromReference;
pub use choose::choose;
pub use ground::GroundFollower;

/// Why the golfer could not be followed. Each says what to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TrackError {
    #[error(
        "nobody was found in the picture: film so that the whole golfer is in view, in good light"
    )]
    Nobody,
    #[error(
        "nobody in the picture swings: choose a clip that shows one whole swing, from address to finish"
    )]
    NoSwing,
    #[error("nobody was found where the golfer was pointed at: point at the golfer's hips")]
    NobodyThere,
    #[error("the person pointed at does not swing: point at the golfer's hips")]
    MarkedDoesNotSwing,
}

/// Where somebody has pointed at the golfer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marked {
    /// File time of the picture, seconds.
    pub file_s: f64,
    pub at: Pixel,
}

/// The one who swings, from the coarse scan.
#[derive(Clone, Debug, PartialEq)]
pub struct Golfer {
    /// Where to look for him, by file time.
    pub guide: Guide,
    pub hands: Vec<HandSample>,
}

/// Where the hands are in one picture of the scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandSample {
    /// Real time since the first displayed frame.
    pub time: Seconds,
    /// In the picture, camera motion not taken out.
    pub hands: Pixel,
    /// The golfer's stature as it looks in the picture, pixels; one value for the clip, good
    /// to about 10 %: for comparing speeds and distances, not for scale.
    pub size_px: f64,
}

/// How a frame of the track came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Presence {
    Seen,
    /// Interpolated across a short gap.
    Filled,
    Missing,
}

#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct TrackedFrame {
    /// Real time since the first displayed frame of the clip.
    pub time: Seconds,
    /// Position among the clip's displayed frames.
    pub index: usize,
    pub presence: Presence,
    /// In the axes of the reference picture. `None` when missing.
    pub landmarks: Option<Landmarks>,
    pub camera: PictureFromReference,
}

/// What was done about the camera's own motion.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub enum CameraMotion {
    /// The camera stood still: nothing to do.
    Still,
    /// Taken out; `residual_px` is the sd that remains at the golfer.
    Compensated { residual_px: f64 },
    /// The camera moved and the background could not be followed, or nobody can tell.
    Untrusted,
}

/// The camera's motion through the clip.
#[derive(Clone, Debug, PartialEq)]
pub struct GroundMotion {
    pub motion: CameraMotion,
    /// By picture index, rising. Empty for a camera that stood still.
    frames: Vec<(usize, PictureFromReference)>,
    /// Pictures strictly between the two are not known; `None` is an end of the clip.
    holes: Vec<(Option<usize>, Option<usize>)>,
}

impl GroundMotion {
    #[must_use]
    pub fn still() -> Self {
        Self { motion: CameraMotion::Still, frames: Vec::new(), holes: Vec::new() }
    }

    /// Whether the camera was followed around a displayed frame.
    #[must_use]
    pub fn covers(&self, index: usize) -> bool {
        let inside = |&(from, to): &(Option<usize>, Option<usize>)| {
            from.is_none_or(|from| index > from) && to.is_none_or(|to| index < to)
        };
        !self.holes.iter().any(inside)
    }

    /// The camera at a displayed frame; between followed pictures interpolated, outside held.
    #[must_use]
    pub fn at(&self, index: usize) -> PictureFromReference {
        let after = self.frames.partition_point(|(i, _)| *i < index);
        match (after.checked_sub(1).and_then(|i| self.frames.get(i)), self.frames.get(after)) {
            (Some((i, before)), Some((j, next))) => {
                let share = crate::signal::real(index - i) / crate::signal::real(j - i);
                before.blend(next, share)
            }
            (None, Some((_, only))) | (Some((_, only)), None) => *only,
            (None, None) => PictureFromReference::STILL,
        }
    }
}

/// The golfer through the clip, frames in time order.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Track {
    pub size: PictureSize,
    pub frames: Vec<TrackedFrame>,
    pub motion: CameraMotion,
}
