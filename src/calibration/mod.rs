//! Stage 6. In: the lifted body of one clip, the coach's marks (pixels of the reference
//! picture, metres, radians). Out: the camera (attitude, focal length) and the scale with
//! their joint covariance.
//!
//! Method: everything known is one row of a small weighted least-squares problem with five
//! unknowns (pitch, roll, azimuth, log focal length, log metres in a stature) and five more that
//! rows share (height and depth of the ankles; zero and turn of the ground marks), solved by
//! Gauss-Newton with numeric derivatives: the corrector's own guess, a typical phone, the
//! line of the feet, stature, marks. Where a thing lies on the ground follows from the
//! feet, so the difference in depth between a rod and the hubs is part of the model (pinhole
//! camera: FACTS C1, C2).
//!
//! A lens with a known calibration is straightened before ([`Lens`]); without one the lens is
//! taken to be straight.
//!
//! A rod on the ground found by itself ([`find_sticks`]) takes the place of a marked target line
//! where there is none.
//!
//! Not done: a camera that moves (taken out in [`crate::track`]); a camera without a golfer before
//! it.

mod errors;
mod lens;
mod marks;
mod proportions;
mod request;
mod rod;
mod rows;
mod solve;

#[cfg(test)]
mod scatter;
#[cfg(test)]
pub(super) mod tests;

use nalgebra::SMatrix;

use crate::frames::{Attitude, Handed, PictureSize};
use crate::units::Estimate;

pub use errors::{Correlation, ErrorModel};
pub use lens::{Lens, LensError};
pub use request::{CalibrationRequest, CameraFacts, GroundMark, Place, Reference, Segment};
pub use rod::{ROD_WIDTH_M, find_sticks};
pub use solve::calibrate;

/// What fixed the scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ScaleMethod {
    Stature,
    Reference,
    Camera,
}

/// Face-on or down-the-line, as the coach says.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum View {
    FaceOn,
    DownTheLine,
}

impl View {
    /// As it is written in files and on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::FaceOn => "face-on",
            Self::DownTheLine => "down-the-line",
        }
    }

    /// Azimuth of a camera that stands where it should, radians.
    #[must_use]
    pub fn azimuth(self) -> f64 {
        match self {
            Self::FaceOn => 0.0,
            Self::DownTheLine => std::f64::consts::FRAC_PI_2,
        }
    }
}

/// Number of unknowns of a camera: see [`Calibration::covariance`].
pub const UNKNOWNS: usize = 5;

/// The camera of one clip and how long a stature is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    pub view: View,
    pub handed: Handed,
    pub size: PictureSize,
    pub attitude: Attitude,
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Metres in one stature as the lifted body counts it (the pupil's stature, or what a
    /// reference of known length makes of it).
    pub stature_m: Estimate,
    pub method: ScaleMethod,
    /// Of pitch, roll, azimuth (radians), log focal length, log metres in a stature.
    pub covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    /// Which of the request's sticks was taken for a rod along the target line.
    pub rod: Option<usize>,
}

impl Calibration {
    /// Sd of pitch, roll and azimuth, radians.
    #[must_use]
    pub fn attitude_sd(&self) -> Attitude {
        let sd = |i: usize| self.covariance[(i, i)].sqrt();
        Attitude { pitch: sd(0), roll: sd(1), azimuth: sd(2) }
    }

    /// Sd of the focal length over the focal length.
    #[must_use]
    pub fn focal_relative_sd(&self) -> f64 {
        self.covariance[(3, 3)].sqrt()
    }

    /// Sd of the scale over the scale.
    #[must_use]
    pub fn scale_relative_sd(&self) -> f64 {
        self.covariance[(4, 4)].sqrt()
    }
}

/// What is wrong with the marks, and what to do about it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    #[error(
        "no picture shows the pupil standing at address: check that the clip starts before the swing"
    )]
    NoAddress,
    #[error("{what} is {value}: it must be between {low} and {high}")]
    OutOfRange { what: &'static str, value: String, low: &'static str, high: &'static str },
    #[error(
        "the two points marked for {what} are too near each other: mark points at least {least} pixels apart"
    )]
    TooShort { what: &'static str, least: u32 },
    #[error(
        "a point marked for {what} lies outside the picture: mark points inside the {width} x {height} picture"
    )]
    Outside { what: &'static str, width: u32, height: u32 },
    #[error(
        "a point marked for {what} is not on the ground (it lies too high in the picture): mark the ends where they touch the ground"
    )]
    NotOnGround { what: &'static str },
    #[error(
        "{what} is far from what the rest says ({by:.0} times its uncertainty): check the marks, the length and the stature"
    )]
    Contradiction { what: &'static str, by: f64 },
    #[error(
        "the clip given as {given} was filmed from somewhere else (about {degrees:.0} degrees off): name it as the other view, or film it again"
    )]
    WrongView { given: &'static str, degrees: f64 },
    #[error(
        "one mark on the ground says nothing: give at least two with their places, four for the whole camera"
    )]
    LonelyMark,
    #[error("the camera could not be solved from the marks: leave some of them out")]
    Unsolved,
}
