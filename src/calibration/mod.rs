//! Stage 6. In: the lifted body of one clip, the coach's marks. Out: the camera (attitude,
//! focal length) and the scale, each with its uncertainty.

use crate::frames::{Attitude, Handed, PictureSize};
use crate::units::Estimate;

/// What fixed the scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
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
#[serde(rename_all = "kebab-case")]
pub enum View {
    FaceOn,
    DownTheLine,
}

/// The camera of one clip and how long a stature is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    pub view: View,
    pub handed: Handed,
    pub size: PictureSize,
    pub attitude: Attitude,
    /// Sd of pitch, roll and azimuth, radians.
    pub attitude_sd: Attitude,
    /// Focal length, pixels; sd relative.
    pub focal_px: f64,
    pub focal_relative_sd: f64,
    /// Metres in one stature as the lifted body counts it (the pupil's stature, or what a
    /// reference of known length makes of it).
    pub stature_m: Estimate,
    pub method: ScaleMethod,
}
