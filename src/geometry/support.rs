//! Which view says what: the table of MEASURES.md. In: the views present, a measure, the
//! turns at that instant (radians). Out: nothing, or why it is missing.

use super::pose::Values;
use super::view::View;
use super::{Measure, Missing};
use crate::calibration;
use crate::track::CameraMotion;

/// A slope is told only while its line is turned less than this, radians (MEASURES.md).
const SLOPE_LIMIT: f64 = std::f64::consts::FRAC_PI_3;

/// What a camera at one side can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sight {
    Absent,
    /// Its own motion could not be taken out: how lines point, not where points stand.
    Unsteady,
    Steady,
}

/// What the clips at hand can say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Support {
    face_on: Sight,
    down_the_line: Sight,
}

impl Support {
    pub fn of(views: &[&View]) -> Self {
        let sight = |view| match views.iter().find(|v| v.calibration().view == view) {
            None => Sight::Absent,
            Some(v) if v.input.camera_motion == CameraMotion::Untrusted => Sight::Unsteady,
            Some(_) => Sight::Steady,
        };
        Self {
            face_on: sight(calibration::View::FaceOn),
            down_the_line: sight(calibration::View::DownTheLine),
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
                if self.face_on == Sight::Absent =>
            {
                return Err(Missing::NeedsFaceOn);
            }
            M::LowerHubBall | M::UpperHubBall | M::HeadBall | M::ForwardBend
                if self.down_the_line == Sight::Absent =>
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
        if self.steady(measure) { Ok(()) } else { Err(Missing::CameraMoved) }
    }

    /// A travel is told by the camera that sees it across the picture; up by either.
    fn steady(self, measure: Measure) -> bool {
        use Measure as M;
        match measure {
            M::LowerHubTarget | M::UpperHubTarget | M::HeadTarget => self.face_on == Sight::Steady,
            M::LowerHubBall | M::UpperHubBall | M::HeadBall => self.down_the_line == Sight::Steady,
            _ if measure.is_travel() => [self.face_on, self.down_the_line].contains(&Sight::Steady),
            _ => true,
        }
    }
}
