//! The body's points as MEASURES.md names them, and a table with one entry for each.

use std::ops::{Index, IndexMut};

/// A point of the body; `Lead` is the side nearer the target at address.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[repr(usize)]
pub enum Joint {
    LowerHub,
    UpperHub,
    Head,
    LeadShoulder,
    TrailShoulder,
    LeadElbow,
    TrailElbow,
    LeadWrist,
    TrailWrist,
    LeadHip,
    TrailHip,
    LeadKnee,
    TrailKnee,
    LeadAnkle,
    TrailAnkle,
    LeadHeel,
    TrailHeel,
    LeadToe,
    TrailToe,
}

impl Joint {
    pub const COUNT: usize = 19;
    pub const ALL: [Self; Self::COUNT] = [
        Self::LowerHub,
        Self::UpperHub,
        Self::Head,
        Self::LeadShoulder,
        Self::TrailShoulder,
        Self::LeadElbow,
        Self::TrailElbow,
        Self::LeadWrist,
        Self::TrailWrist,
        Self::LeadHip,
        Self::TrailHip,
        Self::LeadKnee,
        Self::TrailKnee,
        Self::LeadAnkle,
        Self::TrailAnkle,
        Self::LeadHeel,
        Self::TrailHeel,
        Self::LeadToe,
        Self::TrailToe,
    ];

    /// In running text.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::LowerHub => "lower hub",
            Self::UpperHub => "upper hub",
            Self::Head => "head",
            Self::LeadShoulder => "lead shoulder",
            Self::TrailShoulder => "trail shoulder",
            Self::LeadElbow => "lead elbow",
            Self::TrailElbow => "trail elbow",
            Self::LeadWrist => "lead wrist",
            Self::TrailWrist => "trail wrist",
            Self::LeadHip => "lead hip",
            Self::TrailHip => "trail hip",
            Self::LeadKnee => "lead knee",
            Self::TrailKnee => "trail knee",
            Self::LeadAnkle => "lead ankle",
            Self::TrailAnkle => "trail ankle",
            Self::LeadHeel => "lead heel",
            Self::TrailHeel => "trail heel",
            Self::LeadToe => "lead toe",
            Self::TrailToe => "trail toe",
        }
    }
}

/// One `T` for each [`Joint`].
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PerJoint<T>(pub [T; Joint::COUNT]);

impl<T> PerJoint<T> {
    pub fn from_fn(mut make: impl FnMut(Joint) -> T) -> Self {
        Self(Joint::ALL.map(&mut make))
    }
}

impl<T> Index<Joint> for PerJoint<T> {
    type Output = T;
    fn index(&self, joint: Joint) -> &T {
        &self.0[joint as usize]
    }
}

impl<T> IndexMut<Joint> for PerJoint<T> {
    fn index_mut(&mut self, joint: Joint) -> &mut T {
        &mut self.0[joint as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_joint_has_its_own_place() {
        let table = PerJoint::from_fn(|joint| joint);
        for joint in Joint::ALL {
            assert_eq!(table[joint], joint);
        }
    }
}
