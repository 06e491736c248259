//! Which view says what: the table of MEASURES.md. In: the views present, a measure, the
//! turns at that instant (radians). Out: nothing, or why it is missing.

use super::pose::Values;
use super::view::View;
use super::{Measure, Missing};
use crate::calibration;
use crate::track::CameraMotion;

/// A slope is told only while its line is turned less than this, radians (MEASURES.md).
const SLOPE_LIMIT: f64 = std::f64::consts::FRAC_PI_3;

/// What the clips at hand can say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Support {
    face_on: bool,
    down_the_line: bool,
    moved: bool,
}

impl Support {
    pub fn of(views: &[&View]) -> Self {
        let has = |view| views.iter().any(|v| v.calibration().view == view);
        Self {
            face_on: has(calibration::View::FaceOn),
            down_the_line: has(calibration::View::DownTheLine),
            moved: views.iter().any(|v| v.input.camera_motion == CameraMotion::Untrusted),
        }
    }

    pub fn check(self, measure: Measure, values: &Values) -> Result<(), Missing> {
        use Measure as M;
        match measure {
            M::LowerHubTarget
            | M::UpperHubTarget
            | M::HeadTarget
            | M::HubOffset
            | M::SpineTilt
            | M::ShoulderSlope
            | M::HipSlope
                if !self.face_on =>
            {
                return Err(Missing::NeedsFaceOn);
            }
            M::LowerHubBall | M::UpperHubBall | M::HeadBall | M::ForwardBend
                if !self.down_the_line =>
            {
                return Err(Missing::NeedsDownTheLine);
            }
            _ => {}
        }
        let turn = match measure {
            M::HipSlope => Some(M::PelvisTurn),
            M::ShoulderSlope => Some(M::ThoraxTurn),
            _ => None,
        };
        if turn.is_some_and(|t| values[t as usize].abs() >= SLOPE_LIMIT) {
            return Err(Missing::TurnedTooFar);
        }
        if measure.is_travel() && self.moved {
            return Err(Missing::CameraMoved);
        }
        Ok(())
    }
}
