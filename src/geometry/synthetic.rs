//! A golfer and cameras made up for tests: exact truth in golf axes, and the [`Lifted`] that
//! a perfect corrector would make of it.

use nalgebra::{Matrix3, Vector3};

use super::ViewInput;
use crate::body::{Joint, PerJoint};
use crate::calibration::{Calibration, CalibrationRequest, View, calibrate};
use crate::events::{Events, ImpactSource};
use crate::frames::{Attitude, Camera, Handed, PictureSize, Pixel, Vector};
use crate::lift::{Bearing, CameraGuess, Lifted, LiftedFrame, LiftedPoint};
use crate::track::CameraMotion;
use crate::units::{Estimate, Seconds};

pub const STATURE: f64 = 1.79;
pub const TOP: f64 = 1.2;

/// Points in golf axes, metres: one smooth swing.
#[derive(Clone, Copy, Debug)]
pub struct Swing {
    /// 0 for a body that does not move.
    pub size: f64,
}

fn bump(t: f64, peak: f64, width: f64) -> f64 {
    (-((t - peak) / width).powi(2)).exp()
}

impl Swing {
    pub fn lower(&self, t: f64) -> Vector3<f64> {
        let s = self.size;
        Vector3::new(
            0.01 - 0.06 * s * bump(t, TOP, 0.35),
            -0.10 + 0.01 * s * bump(t, TOP, 0.4),
            0.93 - 0.02 * s * bump(t, TOP, 0.3),
        )
    }

    /// Columns: toward the lead side, toward the front, up along the segment.
    fn segment(&self, turn: f64, bend: f64, side: f64) -> Matrix3<f64> {
        // golf axes are left-handed for a right-hander, so a turn away from the target takes
        // the lead side toward the ball
        let lead = Vector3::new(turn.cos(), turn.sin(), 0.0);
        let front = Vector3::new(-turn.sin(), turn.cos(), 0.0);
        let tilt =
            Vector3::new(side.sin() * bend.cos(), bend.sin(), bend.cos() * side.cos()).normalize();
        Matrix3::from_columns(&[lead, front, tilt])
    }

    pub fn pelvis_turn(&self, t: f64) -> f64 {
        self.size * 0.75 * bump(t, TOP - 0.04, 0.35)
    }

    pub fn thorax_turn(&self, t: f64) -> f64 {
        self.size * 1.65 * bump(t, TOP, 0.35)
    }

    pub fn point(&self, joint: Joint, t: f64) -> Vector3<f64> {
        let lower = self.lower(t);
        let trunk = self.segment(
            0.0,
            0.65 - 0.1 * self.size * bump(t, TOP, 0.3),
            -0.10 + 0.2 * self.size * bump(t, TOP, 0.3),
        );
        let upper = lower + trunk.column(2) * 0.4;
        let thorax = self.segment(self.thorax_turn(t), 0.6, 0.0);
        let pelvis = self.segment(self.pelvis_turn(t), 0.3, 0.0);
        let shoulders = upper + Vector3::new(0.0, 0.02, 0.07);
        let lift = -1.2 + 2.0 * self.size * bump(t, TOP, 0.3);
        let arm = Vector3::new(-0.3 * bump(t, TOP, 0.3), 0.5, 0.0).normalize() * lift.cos()
            + Vector3::z() * lift.sin();
        let sway =
            thorax.column(0) * 0.19 + Vector3::new(0.0, 0.0, -0.06 * self.size * bump(t, TOP, 0.3));
        match joint {
            Joint::LowerHub => lower,
            Joint::UpperHub => upper,
            Joint::Head => upper + Vector3::new(0.0, 0.08, 0.30),
            Joint::LeadShoulder => shoulders + sway,
            Joint::TrailShoulder => shoulders - sway,
            Joint::LeadElbow => shoulders + sway + arm * 0.27,
            Joint::LeadWrist => shoulders + sway + arm * 0.53,
            Joint::TrailElbow => shoulders - sway + arm * 0.25,
            Joint::TrailWrist => shoulders + sway + arm * 0.50,
            Joint::LeadHip => lower + pelvis.column(0) * 0.09,
            Joint::TrailHip => lower - pelvis.column(0) * 0.09,
            Joint::LeadKnee => Vector3::new(0.2, 0.05, 0.5),
            Joint::TrailKnee => Vector3::new(-0.2, 0.05, 0.5),
            Joint::LeadAnkle => Vector3::new(0.21, 0.0, 0.08),
            Joint::TrailAnkle => Vector3::new(-0.21, 0.0, 0.08),
            Joint::LeadHeel => Vector3::new(0.19, -0.05, 0.03),
            Joint::TrailHeel => Vector3::new(-0.19, -0.05, 0.03),
            Joint::LeadToe => Vector3::new(0.29, 0.19, 0.03),
            Joint::TrailToe => Vector3::new(-0.29, 0.19, 0.03),
        }
    }

    pub fn events(&self, shift: f64) -> Events {
        let at = |t: f64| Estimate::new(t + shift, 0.004);
        Events {
            address: (Seconds(0.0 + shift), Seconds(0.12 + shift)),
            takeaway: Some(at(0.3)),
            arm_level_back: Some(at(0.95)),
            top: at(TOP),
            transition: Some(at(1.4)),
            impact: Some(at(1.6)),
            finish: Some(at(2.2)),
            impact_source: ImpactSource::Hands,
            by_hand: Vec::new(),
        }
    }
}

/// A camera in golf axes.
#[derive(Clone, Copy, Debug)]
pub struct Shot {
    pub view: View,
    pub handed: Handed,
    pub attitude: Attitude,
    pub focal_px: f64,
    pub size: PictureSize,
    /// Where it stands, golf axes, metres.
    pub centre: Vector3<f64>,
    pub fps: f64,
    /// How long it films, seconds.
    pub length: f64,
    /// Added to the swing's clock.
    pub shift: f64,
    /// Factor on the sd that the corrector states.
    pub doubt: f64,
}

impl Shot {
    pub fn new(view: View, handed: Handed) -> Self {
        let (azimuth, centre) = match view {
            View::FaceOn => (0.03, Vector3::new(0.1, 3.8, 1.1)),
            View::DownTheLine => (1.55, Vector3::new(-4.0, 0.3, 1.0)),
        };
        Self {
            view,
            handed,
            attitude: Attitude { pitch: 0.06, roll: -0.02, azimuth },
            focal_px: 1000.0,
            size: PictureSize { width: 720, height: 1280 },
            centre,
            fps: 60.0,
            length: 2.3,
            shift: 0.0,
            doubt: 1.0,
        }
    }

    pub fn camera(&self, golf: Vector3<f64>) -> Vector3<f64> {
        self.attitude.golf_from_camera(self.handed).back(Vector::from(golf - self.centre)).coords
    }

    pub fn pixel(&self, golf: Vector3<f64>) -> Pixel {
        let (c, p) = (self.camera(golf), self.size.centre());
        Pixel::new(p.x + self.focal_px * c.x / c.z, p.y + self.focal_px * c.y / c.z)
    }

    pub fn frame(&self, swing: &Swing, index: usize, t: f64) -> LiftedFrame {
        let reach = self.camera(swing.point(Joint::LowerHub, t)).z;
        let points = PerJoint::from_fn(|joint| {
            let p = swing.point(joint, t);
            LiftedPoint {
                at: self.pixel(p),
                sd: Pixel::new(2.0 * self.doubt, 2.0 * self.doubt),
                depth: Estimate::new((self.camera(p).z - reach) / STATURE, 0.02 * self.doubt),
            }
        });
        let line = |to: Joint, from: Joint| {
            let v = (self.camera(swing.point(to, t)) - self.camera(swing.point(from, t))) / STATURE;
            Bearing {
                vector: Vector::from(v),
                sd: Vector::<Camera>::new(0.01, 0.01, 0.02) * self.doubt,
            }
        };
        LiftedFrame {
            time: Seconds(t + self.shift),
            index,
            filled: false,
            points,
            log_stature_px: Estimate::new(
                (self.focal_px * STATURE / reach).ln(),
                0.015 * self.doubt,
            ),
            trunk: line(Joint::UpperHub, Joint::LowerHub),
            shoulders: line(Joint::LeadShoulder, Joint::TrailShoulder),
            hips: line(Joint::LeadHip, Joint::TrailHip),
            lead_arm: line(Joint::LeadWrist, Joint::LeadShoulder),
        }
    }

    pub fn lifted(&self, swing: &Swing) -> Lifted {
        let count = (self.length * self.fps) as usize;
        let frames = (0..count).map(|i| self.frame(swing, i, i as f64 / self.fps)).collect();
        let sharp = |v: f64| Estimate::new(v, 1e-6);
        let camera = CameraGuess {
            pitch: sharp(self.attitude.pitch),
            roll: sharp(self.attitude.roll),
            azimuth: sharp(self.attitude.azimuth),
            log_focal: sharp((self.focal_px / self.size.long()).ln()),
        };
        Lifted { camera, frames }
    }

    pub fn request(&self) -> CalibrationRequest {
        let stature = Some(Estimate::new(STATURE, 0.01));
        CalibrationRequest { stature, ..CalibrationRequest::new(self.view, self.handed, self.size) }
    }
}

/// One clip with all that [`super::motion`] needs.
pub struct Clip {
    pub lifted: Lifted,
    pub events: Events,
    pub calibration: Calibration,
}

impl Clip {
    pub fn new(shot: &Shot, swing: &Swing) -> Self {
        let (lifted, events) = (shot.lifted(swing), swing.events(shot.shift));
        let calibration = calibrate(&lifted, &events, &shot.request()).unwrap().output;
        Self { lifted, events, calibration }
    }

    pub fn input(&self) -> ViewInput<'_> {
        ViewInput {
            lifted: &self.lifted,
            events: &self.events,
            calibration: &self.calibration,
            camera_motion: CameraMotion::Still,
        }
    }
}
