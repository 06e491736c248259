//! In: the network's output row of one frame, `[70] f32` and its sd: 19 points of (u, v in
//! region sides from its centre, depth behind the lower hub in statures), the logarithm of
//! one stature over the region's side, and four vectors in statures. Out: a [`LiftedFrame`]
//! in the picture's and camera's own axes (mirrored back for left-handers).

use super::input::{Region, mirror_sign};
use super::{Bearing, CameraGuess, LiftedFrame, LiftedPoint};
use crate::body::{Joint, PerJoint};
use crate::frames::{Handed, PictureSize, Pixel, Vector};
use crate::units::{Estimate, Seconds};

/// Values a frame.
pub const VALUES: usize = Joint::COUNT * 3 + 1 + 4 * 3;
const RATIO: usize = Joint::COUNT * 3;
/// Values a clip: pitch, roll, azimuth, logarithm of the focal length in long sides.
pub const CLIP_VALUES: usize = 4;

/// What belongs to a frame beside the network's answer.
#[derive(Clone, Copy, Debug)]
pub struct FrameId {
    pub time: Seconds,
    pub index: usize,
    pub filled: bool,
}

/// One frame's values and their sd.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    pub value: [f32; VALUES],
    pub sd: [f32; VALUES],
}

impl Answer {
    fn at(&self, i: usize) -> Estimate {
        Estimate::new(f64::from(self.value[i]), f64::from(self.sd[i]))
    }

    fn bearing(&self, which: usize, sign: f64) -> Bearing {
        let [x, y, z] = [0, 1, 2].map(|k| self.at(RATIO + 1 + which * 3 + k));
        Bearing {
            vector: Vector::new(sign * x.value, y.value, z.value),
            sd: Vector::new(x.sd, y.sd, z.sd),
        }
    }
}

#[must_use]
pub fn frame(
    answer: &Answer,
    id: FrameId,
    region: &Region,
    size: PictureSize,
    handed: Handed,
) -> LiftedFrame {
    let (sign, long, centre) = (mirror_sign(handed), size.long(), size.centre());
    let side = region.side * long;
    let point = |joint: Joint| {
        let [u, v, depth] = [0, 1, 2].map(|k| answer.at(joint as usize * 3 + k));
        LiftedPoint {
            at: Pixel::new(
                centre.x + sign * (region.x * long + u.value * side),
                centre.y + region.y * long + v.value * side,
            ),
            sd: Pixel::new(u.sd * side, v.sd * side),
            // the depths are counted from the lower hub
            depth: if joint == Joint::LowerHub { Estimate::default() } else { depth },
        }
    };
    let ratio = answer.at(RATIO);
    LiftedFrame {
        time: id.time,
        index: id.index,
        filled: id.filled,
        points: PerJoint::from_fn(point),
        log_stature_px: Estimate::new(ratio.value + side.ln(), ratio.sd),
        trunk: answer.bearing(0, sign),
        shoulders: answer.bearing(1, sign),
        hips: answer.bearing(2, sign),
        lead_arm: answer.bearing(3, sign),
    }
}

/// The groups' views of one camera: their errors are common, so the sd does not shrink.
#[must_use]
pub fn camera(groups: &[[Estimate; CLIP_VALUES]]) -> CameraGuess {
    let share = 1.0 / f64::from(u32::try_from(groups.len()).unwrap_or(u32::MAX));
    let mean = |i: usize| {
        let sum =
            |part: fn(&Estimate) -> f64| groups.iter().map(|g| part(&g[i])).sum::<f64>() * share;
        Estimate::new(sum(|e| e.value), sum(|e| e.sd))
    };
    CameraGuess { pitch: mean(0), roll: mean(1), azimuth: mean(2), log_focal: mean(3) }
}
