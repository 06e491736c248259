//! Stage 7. In: lifted body, events, calibration of one or two clips. Out: the motion of
//! hubs, head, trunk, turns and lead arm in golf axes, each value with its sd by cause.
//!
//! Metres, radians, seconds of real time. Method: each picture's observations are smoothed
//! over time with zero lag ([`smooth`]), one pure function takes them through the pinhole
//! camera into golf axes and on to the measures ([`pose`]), and its numeric derivatives carry
//! every cause of error to every measure of one clip by itself ([`view`]). Two clips are
//! aligned by their events and must agree ([`pair`]). Then one fit of the whole swing to all
//! clips gives the values and their sd ([`fit`], [`swing`]).

mod fit;
mod lead;
mod pair;
mod pose;
mod smooth;
mod support;
mod swing;
mod timing;
mod view;

use crate::calibration::Calibration;
use crate::events::{Event, Events};
use crate::lift::Lifted;
use crate::track::CameraMotion;
use crate::units::{Estimate, Seconds};
use crate::warning::Warned;

pub use lead::SwingMeasures;

#[cfg(test)]
mod held_out;
#[cfg(test)]
pub(crate) mod opencv;
#[cfg(test)]
pub(crate) mod synthetic;
#[cfg(test)]
mod tests;

/// What is measured at an event (MEASURES.md). Travel is since address.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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

    /// A way from the place at address.
    #[must_use]
    pub fn is_travel(self) -> bool {
        (self as usize) < Self::HubOffset as usize
    }

    /// Counted from address, where it is zero by definition.
    #[must_use]
    pub fn is_since_address(self) -> bool {
        self.is_travel() || matches!(self, Self::PelvisTurn | Self::ThoraxTurn | Self::Separation)
    }

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
        let &Self { keypoints, timing, scale, tilt, aim, depth, ground } = self;
        keypoints + timing + scale + tilt + aim + depth + ground
    }
}

impl Budget {
    /// Part way from one to another.
    fn mixed(&self, other: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Self {
            keypoints: mix(self.keypoints, other.keypoints),
            timing: mix(self.timing, other.timing),
            scale: mix(self.scale, other.scale),
            tilt: mix(self.tilt, other.tilt),
            aim: mix(self.aim, other.aim),
            depth: mix(self.depth, other.depth),
            ground: mix(self.ground, other.ground),
        }
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
    pub fn get(&self, measure: Measure) -> Result<Measured, Missing> {
        self.values[measure as usize]
    }
}

/// One clip, lifted and calibrated.
#[derive(Clone, Copy, Debug)]
pub struct ViewInput<'a> {
    pub lifted: &'a Lifted,
    pub events: &'a Events,
    pub calibration: &'a Calibration,
    /// What was left of the camera's own motion.
    pub camera_motion: CameraMotion,
}

/// The measures at one event.
#[derive(Clone, Debug, PartialEq)]
pub struct AtEvent {
    pub event: Event,
    pub time: Estimate,
    pub frame: MotionFrame,
}

/// The whole swing, on the clock of the first clip given to [`motion`].
#[derive(Clone, Debug, PartialEq)]
pub struct Motion {
    pub frames: Vec<MotionFrame>,
    /// Every event that was found, in order.
    pub at_events: Vec<AtEvent>,
    pub swing: SwingMeasures,
    /// Of both clips together.
    pub events: Events,
    /// Time of the second clip less that of the first for the same instant, seconds.
    pub offset: Option<Estimate>,
}

impl Motion {
    #[must_use]
    pub fn at(&self, event: Event) -> Option<&AtEvent> {
        self.at_events.iter().find(|a| a.event == event)
    }
}

/// Why the motion could not be measured.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GeometryError {
    #[error("no clip to measure: give a face-on clip, a down-the-line clip or both")]
    NoView,
    #[error(
        "more than two clips were given: measure at most one face-on and one down-the-line clip together"
    )]
    TooManyViews,
    #[error("both clips show the same view: measure each by itself")]
    SameView,
    #[error(
        "the pupil is not seen long enough at address and in the swing: film from before the swing to its end with the whole body in the picture"
    )]
    TooFewFrames,
    #[error(
        "the two clips do not show the same swing ({why}): give two clips of one swing, or measure each by itself"
    )]
    DifferentSwings { why: String },
    #[error(
        "the body could not be followed as one person in motion: check that the right person was followed and that the whole body is in the picture"
    )]
    Unsettled,
}

/// Measures the motion of one clip, or of two clips of one swing.
///
/// # Errors
/// When there is too little to measure or the clips do not belong together.
pub fn motion(views: &[ViewInput]) -> Result<Warned<Motion>, GeometryError> {
    let events: Vec<Events> = views.iter().map(timing::heard).collect();
    let timed: Vec<ViewInput> =
        views.iter().zip(&events).map(|(view, events)| ViewInput { events, ..*view }).collect();
    match timed.as_slice() {
        [] => Err(GeometryError::NoView),
        [only] => swing::assemble(&view::View::new(only)?, None).map(Warned::clean),
        [a, b] => pair::motion(a, b),
        _ => Err(GeometryError::TooManyViews),
    }
}
