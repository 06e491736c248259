//! Stage 5. In: the golfer's hands, arms and hubs through time, the sound, the ball. Out: the
//! seven events of MEASURES.md, sub-frame, seconds of real time, each with sd.
//!
//! | step | in | out |
//! | --- | --- | --- |
//! | [`find_swings`], [`pick`] | hands of a coarse scan | the swing to measure |
//! | [`implausible_stretch`] | that swing and the frames of its seconds | whether the clip is stretched slow motion |
//! | [`find_strikes`] | sound | clicks |
//! | [`detect`] | lifted frames, sound, what left its place | the events |
//! | [`pelvis_start_back`], [`transition_window`] | lifted frames, events | the change of direction |
//!
//! Only body and ball are used, never the club. Nothing here knows a usual tempo, except the
//! test for slow motion.

mod address;
mod ball;
mod detect;
mod finish;
mod fit;
mod handed;
mod impact;
mod level;
mod marked;
mod motion;
mod series;
mod slow;
mod strike;
mod swings;
mod top;
mod transition;

#[cfg(test)]
mod accuracy;
#[cfg(test)]
mod rendered;
#[cfg(test)]
mod synthetic;

pub use detect::{Signs, detect, detect_marked};
pub use slow::{Stretched, implausible_stretch};
pub use strike::{Strike, find_strikes};
pub use swings::{SwingSpan, find_swings, pick};
pub use transition::{pelvis_start_back, transition_window};

use crate::units::{Estimate, Seconds};
use crate::warning::counted;

#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Event {
    Address,
    Takeaway,
    ArmLevelBack,
    Top,
    Transition,
    Impact,
    Finish,
}

impl Event {
    pub const ALL: [Self; 7] = [
        Self::Address,
        Self::Takeaway,
        Self::ArmLevelBack,
        Self::Top,
        Self::Transition,
        Self::Impact,
        Self::Finish,
    ];

    /// In running text.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Address => "address",
            Self::Takeaway => "takeaway",
            Self::ArmLevelBack => "arm level going back",
            Self::Top => "top",
            Self::Transition => "transition",
            Self::Impact => "impact",
            Self::Finish => "finish",
        }
    }
}

/// Where the time of impact comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImpactSource {
    Sound,
    /// The ball was seen to leave.
    Ball,
    Hands,
}

/// The events of one clip, seconds of real time since its first displayed frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Events {
    /// The still window before takeaway; `address` is measured over all of it. When
    /// `takeaway` is `None` the clip starts too late: this is then only its first moment.
    pub address: (Seconds, Seconds),
    pub takeaway: Option<Estimate>,
    pub arm_level_back: Option<Estimate>,
    pub top: Estimate,
    pub transition: Option<Estimate>,
    pub impact: Option<Estimate>,
    pub finish: Option<Estimate>,
    pub impact_source: ImpactSource,
    /// Set by hand: nothing moves these.
    pub by_hand: Vec<Event>,
}

impl Events {
    /// A strike in the sound is taken to come from this far, metres: how swings are filmed
    /// (common practice, no source). Who knows the camera's distance mends it.
    pub const HEARD_FROM_M: f64 = 4.0;
    /// Speed of sound at 20 degrees C, m/s (ISO 9613-1).
    pub const SOUND_SPEED: f64 = 343.0;

    /// Time of an event; address is the middle of its window.
    #[must_use]
    pub fn at(&self, event: Event) -> Option<Estimate> {
        match event {
            Event::Address => self.settled_address().map(|(from, to)| {
                Estimate::new(f64::midpoint(from.0, to.0), (to.0 - from.0) / 12f64.sqrt())
            }),
            Event::Takeaway => self.takeaway,
            Event::ArmLevelBack => self.arm_level_back,
            Event::Top => Some(self.top),
            Event::Transition => self.transition,
            Event::Impact => self.impact,
            Event::Finish => self.finish,
        }
    }

    /// The part of an event's sd that another view of the same swing has too: habits of the body
    /// and what is simplified in how the event is read. (The start of the hands looks different
    /// from the side and from behind, where they move along the line of sight.)
    #[must_use]
    pub fn shared_sd(&self, event: Event) -> f64 {
        let known = self.at(event).filter(|_| !self.by_hand.contains(&event));
        let Some(at) = known else { return 0.0 };
        let shared = match event {
            Event::Top => top::METHOD_SD,
            Event::Impact if self.impact_source == ImpactSource::Hands => {
                impact::HABIT * (at.value - self.top.value)
            }
            _ => 0.0,
        };
        shared.min(at.sd)
    }

    /// The address window, `None` when the clip starts after the takeaway.
    #[must_use]
    pub fn settled_address(&self) -> Option<(Seconds, Seconds)> {
        self.takeaway.map(|_| self.address)
    }
}

/// Why no swing can be measured.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EventsError {
    #[error(
        "no golf swing found: nowhere do the hands go up, come down fast and go up again; \
         film one whole swing, address to finish, with hands and feet in the picture"
    )]
    NoSwing,
    #[error(
        "the clip starts too late: the top of the backswing is not in it; start filming before \
         the golfer takes the club back"
    )]
    StartsAfterTop,
    #[error(
        "the golfer is seen in {} only, too few to time a swing; film the whole swing at 25 \
         frames a second or more",
        counted(frames, "frame")
    )]
    TooFewFrames { frames: usize },
    #[error(
        "{} would come before {}: set both by hand, or take the last correction back",
        second.name(),
        first.name()
    )]
    OutOfOrder { first: Event, second: Event },
}
