//! Stage 4. In: the golfer's landmarks through the clip. Out: the body's true points and
//! directions in camera axes, and the camera's attitude, each with its sd.
//!
//! The pose network's systematic error (turned or hidden hips and shoulders are squeezed)
//! is corrected by a small network over all frames of the clip: `models/lift.md`.

use crate::body::PerJoint;
use crate::frames::{Camera, Pixel, Vector};
use crate::units::{Estimate, Seconds};

/// The corrector's view of the camera; angles as in [`crate::frames::Attitude`], radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameraGuess {
    pub pitch: Estimate,
    pub roll: Estimate,
    pub azimuth: Estimate,
    /// Natural logarithm of the focal length over the picture's longer side.
    pub log_focal: Estimate,
}

/// A point of the body.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct LiftedPoint {
    /// In the reference picture, [`crate::frames`] image axes.
    pub at: Pixel,
    /// Sd of `at` along x and y, pixels.
    pub sd: Pixel,
    /// How far behind the lower hub along the optical axis, statures.
    pub depth: Estimate,
}

/// A direction with length, statures, camera axes, sd by component.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Bearing {
    pub vector: Vector<Camera>,
    pub sd: Vector<Camera>,
}

#[derive(Clone, Debug, PartialEq)]
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

#[derive(Clone, Debug, PartialEq)]
pub struct Lifted {
    pub camera: CameraGuess,
    pub frames: Vec<LiftedFrame>,
}
