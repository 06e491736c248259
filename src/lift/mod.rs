//! Stage 4. In: the golfer's landmarks through the clip. Out: the body's true points and
//! directions in camera axes, and the camera's attitude, each with its sd.
//!
//! The pose network's systematic error (turned or hidden hips and shoulders are squeezed)
//! is corrected by a small network over all frames of the clip, which weighs it against what the
//! golfer network says of each frame: `models/lift.md`.

mod input;
mod marks;
mod network;
mod output;
#[cfg(test)]
mod tests;

use crate::body::PerJoint;
use crate::frames::{Camera, Handed, Pixel, Vector};
use crate::keypoints::{Accuracy, Landmarks};
use crate::track::{Presence, Track, TrackedFrame};
use crate::units::{Estimate, Seconds};
use crate::warning::counted;

pub use marks::{JointMark, put};
pub use network::Corrector;

/// Why the landmarks could not be corrected.
#[derive(Debug, thiserror::Error)]
pub enum LiftError {
    #[error("the golfer was seen in {} only; give a clip that shows the whole swing", counted(.0, "frame"))]
    TooFewFrames(usize),
    #[error(
        "the built-in corrector network failed ({0}); please build hubgauge again from clean sources"
    )]
    Network(String),
}

/// Fewest frames to speak of a clip; the network was trained on sets of 12 to 62 (models/lift.md).
const FEWEST_FRAMES: usize = 8;

/// The corrector's view of the camera; angles as in [`crate::frames::Attitude`], radians.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct CameraGuess {
    pub pitch: Estimate,
    pub roll: Estimate,
    pub azimuth: Estimate,
    /// Natural logarithm of the focal length over the picture's longer side.
    pub log_focal: Estimate,
}

/// A point of the body.
#[derive(Clone, Copy, Debug, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct LiftedPoint {
    /// In the reference picture, [`crate::frames`] image axes.
    pub at: Pixel,
    /// Sd of `at` along x and y, pixels.
    pub sd: Pixel,
    /// How far behind the lower hub along the optical axis, statures.
    pub depth: Estimate,
}

/// A direction with length, statures, camera axes, sd by component.
#[derive(Clone, Copy, Debug, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct Bearing {
    pub vector: Vector<Camera>,
    pub sd: Vector<Camera>,
}

#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct LiftedFrame {
    pub time: Seconds,
    pub index: usize,
    /// Interpolated, not seen.
    pub filled: bool,
    pub points: PerJoint<LiftedPoint>,
    /// Natural logarithm of one stature in pixels at the lower hub's depth.
    pub log_stature_px: Estimate,
    /// Upper hub minus lower hub.
    pub trunk: Bearing,
    /// Lead minus trail shoulder joint.
    pub shoulders: Bearing,
    /// Lead minus trail hip joint.
    pub hips: Bearing,
    /// Lead wrist minus lead shoulder.
    pub lead_arm: Bearing,
}

#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Lifted {
    pub camera: CameraGuess,
    pub frames: Vec<LiftedFrame>,
}

/// Corrects the landmarks of a whole clip.
///
/// # Errors
/// When too few frames show the golfer, or the network fails.
pub fn lift(
    track: &Track,
    handed: Handed,
    accuracy: Accuracy,
    corrector: &Corrector,
) -> Result<Lifted, LiftError> {
    let seen: Vec<(&TrackedFrame, &Landmarks)> =
        track.frames.iter().filter_map(|frame| Some((frame, frame.landmarks.as_ref()?))).collect();
    if seen.len() < FEWEST_FRAMES {
        return Err(LiftError::TooFewFrames(seen.len()));
    }
    let row = |marks: &Landmarks| input::row(marks, track.size, handed, accuracy);
    let rows: Vec<_> = seen.iter().map(|(_, marks)| row(marks)).collect();
    let answers = corrector.run(&rows)?;
    let frames = seen.iter().zip(&answers.frames).map(|((frame, marks), answer)| {
        let id = output::FrameId {
            time: frame.time,
            index: frame.index,
            filled: frame.presence == Presence::Filled,
        };
        output::frame(
            answer,
            id,
            &input::region(&marks.roi, track.size, handed),
            track.size,
            handed,
        )
    });
    Ok(Lifted { camera: output::camera(&answers.cameras), frames: frames.collect() })
}
