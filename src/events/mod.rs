//! Stage 5. In: the golfer's hands, arms and hubs through time, and the sound. Out: the
//! seven events of MEASURES.md, sub-frame, with sd.

use crate::units::{Estimate, Seconds};

#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
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
}

/// Where the time of impact comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImpactSource {
    Sound,
    Hands,
}

/// The events of one clip, seconds of real time since its first displayed frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Events {
    /// The still window before takeaway; `address` is measured over all of it.
    pub address: (Seconds, Seconds),
    pub takeaway: Option<Estimate>,
    pub arm_level_back: Option<Estimate>,
    pub top: Estimate,
    pub transition: Option<Estimate>,
    pub impact: Option<Estimate>,
    pub finish: Option<Estimate>,
    pub impact_source: ImpactSource,
}

impl Events {
    /// Time of an event; address is the middle of its window.
    #[must_use]
    pub fn at(&self, event: Event) -> Option<Estimate> {
        let (from, to) = (self.address.0.0, self.address.1.0);
        match event {
            Event::Address => {
                Some(Estimate::new(f64::midpoint(from, to), (to - from) / 12f64.sqrt()))
            }
            Event::Takeaway => self.takeaway,
            Event::ArmLevelBack => self.arm_level_back,
            Event::Top => Some(self.top),
            Event::Transition => self.transition,
            Event::Impact => self.impact,
            Event::Finish => self.finish,
        }
    }
}
