//! Points that somebody has set by hand. In: the lifted body, marks in the reference picture.
//! Out: the body with these points where the marks are, the frames around following.
//!
//! The corrector's error at a joint is taken as a first-order process in time (as in
//! [`crate::calibration::ErrorModel`]), shortened so that it ends: a mark tells the error at its
//! moment, and the frames around are expected to share it by the correlation between
//! (Rasmussen and Williams 2006, Gaussian Processes, ch. 2). Marks are met exactly. The
//! directions between joints follow in the plane of the picture; depths are left as they were.
//! Events are not looked for again.

use nalgebra::{DMatrix, DVector};

use super::{Bearing, Lifted, LiftedFrame};
use crate::body::Joint;
use crate::frames::Pixel;

/// Correlation time and end of what a mark tells about its neighbours, seconds. Half of it is
/// left after 0.08 s: about a tenth of a second is what a hand means when it moves one frame.
const SHARED_S: f64 = 0.15;
const ENDS_S: f64 = 0.4;
/// A joint's centre is placed by eye to about this, statures: a centimetre (common practice, no
/// source).
const BY_EYE: f64 = 0.005;
/// Two marks on one joint at one moment are told apart from here, seconds.
const SAME_S: f64 = 1e-6;

/// One joint at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JointMark {
    pub joint: Joint,
    /// Real time since the first displayed frame, seconds.
    pub time: f64,
    /// In the reference picture.
    pub at: Pixel,
}

/// Puts the joints where the marks are; of two marks on one joint at one moment the later one
/// counts.
#[must_use]
pub fn put(lifted: &Lifted, marks: &[JointMark]) -> Lifted {
    let mut out = lifted.clone();
    for joint in Joint::ALL {
        let mut own: Vec<JointMark> = Vec::new();
        for mark in marks.iter().filter(|m| m.joint == joint) {
            own.retain(|m| (m.time - mark.time).abs() > SAME_S);
            own.push(*mark);
        }
        if let Some(shift) = Shift::new(&own, &lifted.frames) {
            out.frames.iter_mut().for_each(|frame| shift.apply(frame, joint));
        }
    }
    out
}

/// How far one joint's points were off, through time.
struct Shift {
    times: Vec<f64>,
    inverse: DMatrix<f64>,
    /// What each mark brings, x and y, pixels.
    weights: [DVector<f64>; 2],
}

impl Shift {
    fn new(marks: &[JointMark], frames: &[LiftedFrame]) -> Option<Self> {
        let off: Vec<(f64, Pixel)> =
            marks.iter().filter_map(|m| Some((m.time, off(m, frames)?))).collect();
        if off.is_empty() {
            return None;
        }
        let times: Vec<f64> = off.iter().map(|(t, _)| *t).collect();
        let shared = DMatrix::from_fn(times.len(), times.len(), |i, j| {
            shared(times[i] - times[j]) + if i == j { 1e-9 } else { 0.0 }
        });
        let inverse = shared.cholesky()?.inverse();
        let part = |of: fn(&Pixel) -> f64| {
            &inverse * DVector::from_iterator(off.len(), off.iter().map(|(_, p)| of(p)))
        };
        let weights = [part(|p| p.x), part(|p| p.y)];
        Some(Self { times, inverse, weights })
    }

    fn apply(&self, frame: &mut LiftedFrame, joint: Joint) {
        let near = DVector::from_iterator(
            self.times.len(),
            self.times.iter().map(|t| shared(frame.time.0 - t)),
        );
        let share = near.dot(&(&self.inverse * &near)).clamp(0.0, 1.0);
        if share <= 0.0 {
            return;
        }
        let by = Pixel::new(near.dot(&self.weights[0]), near.dot(&self.weights[1]));
        let stature = frame.log_stature_px.value.exp();
        let point = &mut frame.points[joint];
        point.at = Pixel::new(point.at.x + by.x, point.at.y + by.y);
        let sure = BY_EYE * stature;
        point.sd = Pixel::new(mixed(point.sd.x, sure, share), mixed(point.sd.y, sure, share));
        for (bearing, sign) in ends(frame, joint) {
            bearing.vector.coords.x += sign * by.x / stature;
            bearing.vector.coords.y += sign * by.y / stature;
            // the other end keeps its half of the error
            let sd = &mut bearing.sd.coords;
            (sd.x, sd.y) = (mixed(sd.x, BY_EYE, share / 2.0), mixed(sd.y, BY_EYE, share / 2.0));
        }
    }
}

/// The directions that end or begin (-1) at a joint.
fn ends(frame: &mut LiftedFrame, joint: Joint) -> Vec<(&mut Bearing, f64)> {
    match joint {
        Joint::UpperHub => vec![(&mut frame.trunk, 1.0)],
        Joint::LowerHub => vec![(&mut frame.trunk, -1.0)],
        Joint::LeadShoulder => vec![(&mut frame.shoulders, 1.0), (&mut frame.lead_arm, -1.0)],
        Joint::TrailShoulder => vec![(&mut frame.shoulders, -1.0)],
        Joint::LeadHip => vec![(&mut frame.hips, 1.0)],
        Joint::TrailHip => vec![(&mut frame.hips, -1.0)],
        Joint::LeadWrist => vec![(&mut frame.lead_arm, 1.0)],
        _ => Vec::new(),
    }
}

/// Sd of a value part of whose variance was replaced.
fn mixed(sd: f64, sure: f64, share: f64) -> f64 {
    ((1.0 - share) * sd * sd + share * sure * sure).sqrt()
}

/// How much of the error two moments share.
fn shared(apart: f64) -> f64 {
    let apart = apart.abs();
    (-apart / SHARED_S).exp() * (1.0 - apart / ENDS_S).max(0.0)
}

/// The mark less where the joint was at its moment; none outside the frames.
fn off(mark: &JointMark, frames: &[LiftedFrame]) -> Option<Pixel> {
    let after = frames.partition_point(|f| f.time.0 < mark.time - SAME_S);
    let next = frames.get(after)?;
    let here = |f: &LiftedFrame| f.points[mark.joint].at;
    let was = if (next.time.0 - mark.time).abs() <= SAME_S {
        here(next)
    } else {
        let last = frames.get(after.checked_sub(1)?)?;
        let share = (mark.time - last.time.0) / (next.time.0 - last.time.0);
        let (a, b) = (here(last), here(next));
        Pixel::new(a.x + share * (b.x - a.x), a.y + share * (b.y - a.y))
    };
    Some(Pixel::new(mark.at.x - was.x, mark.at.y - was.y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::PerJoint;
    use crate::lift::{CameraGuess, LiftedPoint};
    use crate::units::{Estimate, Seconds};

    /// A body that does not move, 60 frames a second, one stature 500 pixels.
    fn still() -> Lifted {
        let frame = |i: u32| LiftedFrame {
            time: Seconds(f64::from(i) / 60.0),
            index: i as usize,
            filled: false,
            points: PerJoint::from_fn(|_| LiftedPoint {
                at: Pixel::new(300.0, 400.0),
                sd: Pixel::new(8.0, 8.0),
                depth: Estimate::default(),
            }),
            log_stature_px: Estimate::new(500_f64.ln(), 0.01),
            trunk: Bearing::default(),
            shoulders: Bearing::default(),
            hips: Bearing::default(),
            lead_arm: Bearing::default(),
        };
        let zero = Estimate::default();
        let camera = CameraGuess { pitch: zero, roll: zero, azimuth: zero, log_focal: zero };
        Lifted { camera, frames: (0..120).map(frame).collect() }
    }

    fn mark(joint: Joint, frame: u32, x: f64) -> JointMark {
        JointMark { joint, time: f64::from(frame) / 60.0, at: Pixel::new(x, 400.0) }
    }

    #[test]
    fn the_marked_frame_has_the_point_and_the_neighbours_follow_for_a_while() {
        let out = put(&still(), &[mark(Joint::LowerHub, 60, 320.0)]);
        let x = |i: usize| out.frames[i].points[Joint::LowerHub].at.x - 300.0;
        assert!((x(60) - 20.0).abs() < 1e-6);
        assert!((8.0..12.0).contains(&x(65)) && (8.0..12.0).contains(&x(55)), "{}", x(65));
        assert!((30..60).all(|i| x(i) <= x(i + 1)) && (60..90).all(|i| x(i) >= x(i + 1)));
        assert_eq!((x(30), x(90)), (0.0, 0.0));
        assert!((out.frames[60].points[Joint::LowerHub].sd.x - 2.5).abs() < 1e-6);
        assert_eq!(out.frames[30].points[Joint::LowerHub].sd.x, 8.0);
        assert!((out.frames[60].trunk.vector.x() + 0.04).abs() < 1e-9);
        assert_eq!(
            out.frames[60].points[Joint::UpperHub],
            still().frames[60].points[Joint::UpperHub]
        );
        assert_eq!(out.frames[60].hips, still().frames[60].hips);
    }

    #[test]
    fn every_mark_is_met_the_later_of_two_counts_and_none_changes_nothing() {
        let marks = [
            mark(Joint::Head, 60, 320.0),
            mark(Joint::Head, 61, 316.0),
            mark(Joint::Head, 64, 290.0),
        ];
        let again = [marks.to_vec(), vec![mark(Joint::Head, 64, 304.0)]].concat();
        let out = put(&still(), &again);
        for (frame, x) in [(60, 320.0), (61, 316.0), (64, 304.0)] {
            assert!((out.frames[frame].points[Joint::Head].at.x - x).abs() < 1e-3);
        }
        // Nothing swings beyond the marks.
        let all = out.frames.iter().map(|f| f.points[Joint::Head].at.x);
        assert!(
            all.clone().fold(f64::MIN, f64::max) <= 320.001
                && all.fold(f64::MAX, f64::min) >= 299.0
        );
        assert_eq!(put(&still(), &[]), still());
    }
}
