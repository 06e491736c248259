//! Stage 7. In: lifted body, events, calibration of one or two clips. Out: the motion of
//! hubs, head, trunk, turns and lead arm in golf axes, each value with its sd by cause.

use crate::units::{Estimate, Seconds};

/// What is measured at an event (MEASURES.md). Travel is since address.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    LowerHubTarget,
    LowerHubBall,
    LowerHubUp,
    UpperHubTarget,
    UpperHubBall,
    UpperHubUp,
    HeadTarget,
    HeadBall,
    HeadUp,
    HubOffset,
    SpineTilt,
    ForwardBend,
    PelvisTurn,
    ThoraxTurn,
    Separation,
    LeadArm,
    ShoulderSlope,
    HipSlope,
}

impl Measure {
    pub const ALL: [Self; 18] = [
        Self::LowerHubTarget,
        Self::LowerHubBall,
        Self::LowerHubUp,
        Self::UpperHubTarget,
        Self::UpperHubBall,
        Self::UpperHubUp,
        Self::HeadTarget,
        Self::HeadBall,
        Self::HeadUp,
        Self::HubOffset,
        Self::SpineTilt,
        Self::ForwardBend,
        Self::PelvisTurn,
        Self::ThoraxTurn,
        Self::Separation,
        Self::LeadArm,
        Self::ShoulderSlope,
        Self::HipSlope,
    ];

    /// Lengths are metres inside and centimetres outside, all else radians and degrees.
    #[must_use]
    pub fn is_length(self) -> bool {
        (self as usize) <= Self::HubOffset as usize
    }
}

/// Variance of a value by cause, in the value's unit squared.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Budget {
    /// Keypoints and corrector.
    pub keypoints: f64,
    pub timing: f64,
    pub scale: f64,
    /// Camera pitch and roll.
    pub tilt: f64,
    /// Camera azimuth against the target line.
    pub aim: f64,
    /// Distance from the camera and perspective.
    pub depth: f64,
    /// Motion of the camera left over.
    pub ground: f64,
}

impl Budget {
    #[must_use]
    pub fn variance(&self) -> f64 {
        self.keypoints + self.timing + self.scale + self.tilt + self.aim + self.depth + self.ground
    }
}

/// Metres or radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    pub value: f64,
    pub budget: Budget,
}

impl Measured {
    #[must_use]
    pub fn estimate(&self) -> Estimate {
        Estimate::new(self.value, self.budget.variance().sqrt())
    }
}

/// Why a value is missing, in words a coach understands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    NeedsFaceOn,
    NeedsDownTheLine,
    NoEvent,
    NotSeen,
    TurnedTooFar,
    CameraMoved,
}

/// One instant in golf axes: every measure that this view (or both) supports.
#[derive(Clone, Debug, PartialEq)]
pub struct MotionFrame {
    /// Real time since the first displayed frame of the face-on (or only) clip.
    pub time: Seconds,
    pub filled: bool,
    /// Indexed by `Measure as usize`.
    pub values: [Result<Measured, Missing>; Measure::ALL.len()],
}

impl MotionFrame {
    #[must_use]
    pub fn get(&self, measure: Measure) -> Result<Measured, Missing> {
        self.values[measure as usize]
    }
}
