//! In: lifted frames. Out: what the events are read from, as curves over real time.
//!
//! Lengths in statures (pixels over one stature at the pelvis), so that no threshold
//! depends on the picture's size. The hands are the middle between the wrists.

use super::EventsError;
use super::series::{FILLED, Series};
use crate::body::Joint;
use crate::frames::{Attitude, Camera, Golf, GolfFromCamera, Handed, Pixel, Vector};
use crate::lift::{CameraGuess, Lifted, LiftedFrame};
use crate::signal::median;
use crate::track::HandSample;
use crate::units::{Estimate, Seconds};

/// Fewest frames that can show a swing: two to each side of its three turning points.
const FEWEST: usize = 12;
/// Half width of the smoothing of a path, seconds. Hands in the downswing move with
/// frequencies up to about 6 Hz; a parabola over 2 x 40 ms passes those.
pub(super) const SMOOTH: f64 = 0.04;

/// Half width of the median for the rough swing, seconds.
const SPIKE: f64 = 0.05;

pub(super) struct Motion {
    /// Hands, along the picture's right, square to the true vertical.
    pub u: Series,
    /// Hands, along the true vertical.
    pub v: Series,
    /// Lead wrist, trail wrist, and the lead arm's direction, right and up in the picture.
    pub turning: [(Series, Series); 3],
    /// Their typical sd.
    pub turning_sd: [f64; 3],
    /// Hands along the line of sight, away from the camera, shrunk by the ratio of the
    /// picture's noise to the depth's: a step counts for what it is worth in noise.
    pub z: Series,
    /// Hands along the target axis, from the lower hub.
    pub target: Series,
    /// Lead arm above level, radians.
    pub arm: Series,
    /// Lead wrist and trail elbow along the true vertical in the picture.
    pub low: [Series; 2],
    /// Their typical sd.
    pub low_sd: [f64; 2],
    /// Upper hub and head in the picture.
    pub body: Vec<(Series, Series)>,
    /// Typical sd of one sample.
    pub hand_sd: f64,
    pub target_sd: f64,
    pub arm_sd: f64,
    /// Median distance of frames, seconds.
    pub step: f64,
}

impl Motion {
    pub fn new(lifted: &Lifted, handed: Handed) -> Result<Self, EventsError> {
        let frames: Vec<&LiftedFrame> = lifted.frames.iter().filter(|f| usable(f)).collect();
        let seen = frames.iter().filter(|f| !f.filled).count();
        if seen < FEWEST {
            return Err(EventsError::TooFewFrames { frames: seen });
        }
        let attitude = Attitude {
            pitch: lifted.camera.pitch.value,
            roll: lifted.camera.roll.value,
            azimuth: lifted.camera.azimuth.value,
        };
        let golf = attitude.golf_from_camera(handed);
        let logs: Vec<f64> = frames.iter().map(|f| f.log_stature_px.value).collect();
        let stature = median(&logs).unwrap_or(0.0).exp();
        let view = View { frames: &frames, golf, camera: lifted.camera, stature };
        Ok(view.motion())
    }

    /// Speed of the hands, statures / s, depth shrunk.
    pub fn speed(&self, at: f64, half: f64) -> f64 {
        match [&self.u, &self.v, &self.z].map(|s| s.local(at, half)) {
            [Some(u), Some(v), Some(z)] => u.slope.hypot(v.slope).hypot(z.slope),
            _ => 0.0,
        }
    }

    /// The hands as samples of a scan, one stature = one unit. Medians of neighbours: one
    /// frame in which the network lost the hands makes no swing of its own.
    pub fn samples(&self) -> Vec<HandSample> {
        let around = |s: &Series, t: f64| s.median(t - SPIKE, t + SPIKE);
        let at = |t: &f64| {
            let hands = Pixel::new(around(&self.u, *t)?, -around(&self.v, *t)?);
            Some(HandSample { time: Seconds(*t), hands, size_px: 1.0 })
        };
        self.u.t.iter().filter_map(at).collect()
    }
}

fn usable(frame: &LiftedFrame) -> bool {
    let wrists = [Joint::LeadWrist, Joint::TrailWrist].map(|j| frame.points[j].at);
    frame.time.0.is_finite()
        && frame.log_stature_px.value.is_finite()
        && wrist_depth(frame).value.is_finite()
        && wrists.iter().all(|p| p.x.is_finite() && p.y.is_finite())
}

/// Mean depth of the wrists; their errors hang together, so the sd does not shrink.
fn wrist_depth(f: &LiftedFrame) -> Estimate {
    let [a, b] = [Joint::LeadWrist, Joint::TrailWrist].map(|j| f.points[j].depth);
    Estimate::new(f64::midpoint(a.value, b.value), f64::midpoint(a.sd, b.sd))
}

struct View<'a> {
    frames: &'a [&'a LiftedFrame],
    golf: GolfFromCamera,
    camera: CameraGuess,
    /// Pixels.
    stature: f64,
}

impl View<'_> {
    fn motion(&self) -> Motion {
        let hand_sd = self.typical(|f| {
            let sds = [Joint::LeadWrist, Joint::TrailWrist].map(|j| f.points[j].sd);
            (sds[0].x + sds[0].y + sds[1].x + sds[1].y) / 4.0 / self.stature
        });
        let weight = |f: &LiftedFrame| {
            let sds = [Joint::LeadWrist, Joint::TrailWrist].map(|j| f.points[j].sd);
            let sd = (sds[0].x + sds[0].y + sds[1].x + sds[1].y) / 4.0 / self.stature;
            if sd > 0.0 { (hand_sd / sd).powi(2).clamp(0.1, 3.0) } else { 1.0 }
        };
        let up = self.golf.back(Vector::new(0.0, 0.0, 1.0)).coords;
        let flat = up.x.hypot(up.y).max(1e-6);
        let (ux, uy) = (up.x / flat, up.y / flat);
        let picture = |joints: &[Joint]| {
            let right = self.series(|f| self.mean(f, joints, |x, y| -uy * x + ux * y), weight);
            let upward = self.series(|f| self.mean(f, joints, |x, y| ux * x + uy * y), weight);
            (right, upward)
        };
        let pointing = (
            self.series(|f| -uy * f.lead_arm.vector.x() + ux * f.lead_arm.vector.y(), weight),
            self.series(|f| ux * f.lead_arm.vector.x() + uy * f.lead_arm.vector.y(), weight),
        );
        let turning = [picture(&[Joint::LeadWrist]), picture(&[Joint::TrailWrist]), pointing];
        let (u, v) = picture(&[Joint::LeadWrist, Joint::TrailWrist]);
        let arm_sd = |f: &LiftedFrame| f64::midpoint(f.lead_arm.sd.x(), f.lead_arm.sd.y());
        let height =
            |joint: Joint| self.series(|f| self.mean(f, &[joint], |x, y| ux * x + uy * y), weight);
        let depth_sd = self.typical(|f| wrist_depth(f).sd);
        let shrink = if depth_sd > hand_sd { hand_sd / depth_sd } else { 1.0 };
        let steps: Vec<f64> = u.t.windows(2).map(|w| w[1] - w[0]).collect();
        let step = median(&steps).unwrap_or(1.0 / 30.0);
        let target_axis = self.golf.back(Vector::new(1.0, 0.0, 0.0));
        Motion {
            target: self.series(|f| self.hands(f).target(), weight),
            z: self.series(|f| shrink * wrist_depth(f).value, weight),
            arm: self.series(|f| self.elevation(f), weight),
            body: vec![picture(&[Joint::UpperHub]), picture(&[Joint::Head])],
            turning,
            turning_sd: [
                self.typical(|f| self.point_sd(f, Joint::LeadWrist)),
                self.typical(|f| self.point_sd(f, Joint::TrailWrist)),
                self.typical(arm_sd),
            ],
            low: [height(Joint::LeadWrist), height(Joint::TrailElbow)],
            low_sd: [Joint::LeadWrist, Joint::TrailElbow]
                .map(|j| self.typical(|f| self.point_sd(f, j))),
            hand_sd,
            target_sd: self.typical(|f| {
                (hand_sd * target_axis.x()).hypot(wrist_depth(f).sd * target_axis.z())
            }),
            arm_sd: self.typical(|f| self.elevation_sd(f)),
            u,
            v,
            step,
        }
    }

    fn series(
        &self,
        value: impl Fn(&LiftedFrame) -> f64,
        weight: impl Fn(&LiftedFrame) -> f64,
    ) -> Series {
        let mut series = Series { t: Vec::new(), y: Vec::new(), w: Vec::new() };
        for f in self.frames {
            let y = value(f);
            if y.is_finite() && series.t.last().is_none_or(|last| *last < f.time.0) {
                series.t.push(f.time.0);
                series.y.push(y);
                series.w.push(if f.filled { FILLED } else { weight(f) });
            }
        }
        series
    }

    fn typical(&self, sd: impl Fn(&LiftedFrame) -> f64) -> f64 {
        let seen = self.frames.iter().filter(|f| !f.filled);
        median(&seen.map(|f| sd(f)).collect::<Vec<_>>()).unwrap_or(0.0)
    }

    fn point_sd(&self, f: &LiftedFrame, joint: Joint) -> f64 {
        f64::midpoint(f.points[joint].sd.x, f.points[joint].sd.y) / self.stature
    }

    fn mean(&self, f: &LiftedFrame, joints: &[Joint], part: impl Fn(f64, f64) -> f64) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        for joint in joints {
            let at = f.points[*joint].at;
            sum += part(at.x / self.stature, at.y / self.stature);
            n += 1.0;
        }
        sum / n
    }

    /// Hands relative to the lower hub in golf axes, statures.
    fn hands(&self, f: &LiftedFrame) -> Vector<Golf> {
        let hub = f.points[Joint::LowerHub].at;
        let both = [Joint::LeadWrist, Joint::TrailWrist];
        let x = self.mean(f, &both, |x, _| x) - hub.x / self.stature;
        let y = self.mean(f, &both, |_, y| y) - hub.y / self.stature;
        self.golf * Vector::<Camera>::new(x, y, wrist_depth(f).value)
    }

    fn elevation(&self, f: &LiftedFrame) -> f64 {
        let arm = self.golf * f.lead_arm.vector;
        arm.up().atan2(arm.target().hypot(arm.ball()))
    }

    /// Of the arm's bearing, and of the camera's attitude as it tells on this arm.
    fn elevation_sd(&self, f: &LiftedFrame) -> f64 {
        let up = self.golf.back(Vector::new(0.0, 0.0, 1.0)).coords;
        let (arm, length) = (f.lead_arm.vector, f.lead_arm.vector.norm().max(0.05));
        let bearing = up.component_mul(&f.lead_arm.sd.coords).norm();
        let attitude = (arm.x() * self.camera.roll.sd).hypot(arm.z() * self.camera.pitch.sd);
        bearing.hypot(attitude) / length
    }
}
