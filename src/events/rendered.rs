//! Test swings from rendered virtual golfers: exact points at 30 frames a second of golfer
//! time, and the pose network's wrists (`fixtures/events/README.md`).

use serde::Deserialize;

use super::synthetic::Rng;
use crate::body::{Joint, PerJoint};
use crate::frames::{Handed, Pixel, Vector};
use crate::lift::{Bearing, CameraGuess, Lifted, LiftedFrame, LiftedPoint};
use crate::units::{Estimate, Seconds};

/// One swing; pixels, statures along the line of sight, camera axes.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Rendered {
    pub swing: String,
    pub tempo: f64,
    pub view: u8,
    left: bool,
    up: [f64; 3],
    target: [f64; 3],
    stature_px: f64,
    /// Golfer time: takeaway 1.00, top 1.86, impact 2.13.
    t: Vec<f64>,
    lead: Vec<[f64; 2]>,
    trail: Vec<[f64; 2]>,
    lead_z: Vec<f64>,
    trail_z: Vec<f64>,
    lower: Vec<[f64; 2]>,
    upper: Vec<[f64; 2]>,
    head: Vec<[f64; 2]>,
    arm: Vec<[f64; 3]>,
    hips: Vec<[f64; 3]>,
    /// Lead arm above level, degrees.
    elev: Vec<f64>,
    lift: Lift,
}

/// What a trained corrector made of the network's landmarks.
#[derive(Clone, Debug, Deserialize)]
struct Lift {
    lead: Vec<[f64; 2]>,
    trail: Vec<[f64; 2]>,
    lead_z: Vec<f64>,
    trail_z: Vec<f64>,
    lead_sd: Vec<f64>,
    trail_sd: Vec<f64>,
    lead_z_sd: Vec<f64>,
    trail_z_sd: Vec<f64>,
    lower: Vec<[f64; 2]>,
    upper: Vec<[f64; 2]>,
    head: Vec<[f64; 2]>,
    arm: Vec<[f64; 3]>,
    arm_sd: Vec<f64>,
    hips: Vec<[f64; 3]>,
    /// Pitch, roll, azimuth, log focal.
    camera: [f64; 4],
    stature_px: f64,
}

/// What is added to the exact points.
#[derive(Clone, Copy, Debug)]
pub(super) enum Wrists {
    /// Correlated noise of this sd, statures.
    Noisy(f64),
    /// The corrector's points, arm and camera.
    Lifted,
}

pub(super) fn load() -> Vec<Rendered> {
    let path = std::env::var("HUBGAUGE_EVENT_TRACKS").unwrap_or_else(|_| {
        concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/events/tracks.json").to_owned()
    });
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

impl Rendered {
    pub fn handed(&self) -> Handed {
        if self.left { Handed::Left } else { Handed::Right }
    }

    /// Real time of a golfer time.
    pub fn real(&self, golfer: f64) -> f64 {
        1.0 + (golfer - 1.0) * self.tempo
    }

    /// Arm level going back, coming down, real time.
    pub fn level(&self) -> (Option<f64>, Option<f64>) {
        let cross = |from: f64, to: f64, sign: f64| {
            let k = (1..self.t.len()).find(|&k| {
                self.t[k - 1] >= from
                    && self.t[k] <= to
                    && sign * self.elev[k - 1] < 0.0
                    && sign * self.elev[k] >= 0.0
            })?;
            let share = self.elev[k - 1] / (self.elev[k - 1] - self.elev[k]);
            Some(self.real(self.t[k - 1] + share * (self.t[k] - self.t[k - 1])))
        };
        (cross(1.0, 1.86, 1.0), cross(1.86, 2.13, -1.0))
    }

    pub fn lifted(&self, fps: f64, wrists: Wrists, seed: u64) -> Lifted {
        let mut rng = Rng(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let times: Vec<f64> = self.t.iter().map(|t| self.real(*t)).collect();
        let mut wander = [0.0; 6];
        let step = 1.0 / fps;
        let mut now = times[0] + rng.uniform() * step;
        let mut frames = Vec::new();
        while now <= times[times.len() - 1] {
            let keep = (-step / 0.06_f64).exp();
            for w in &mut wander {
                *w = keep * *w + (1.0 - keep * keep).sqrt() * rng.normal();
            }
            frames.push(match wrists {
                Wrists::Lifted => self.lift.frame(&times, now, frames.len()),
                Wrists::Noisy(sd) => self.frame(&times, now, frames.len(), sd, &wander),
            });
            now += step;
        }
        let camera = match wrists {
            Wrists::Lifted => self.lift.guess(),
            Wrists::Noisy(_) => self.camera(),
        };
        Lifted { camera, frames }
    }

    fn frame(
        &self,
        times: &[f64],
        now: f64,
        index: usize,
        noise: f64,
        wander: &[f64; 6],
    ) -> LiftedFrame {
        let two = |s: &[[f64; 2]]| [0, 1].map(|k| smooth(times, s, now, |p| p[k]));
        let three = |s: &[[f64; 3]]| [0, 1, 2].map(|k| smooth(times, s, now, |p| p[k]));
        let one = |s: &[f64]| smooth(times, s, now, |p| *p);
        let px = noise * self.stature_px;
        let point = |at: [f64; 2], z: f64, k: usize| {
            let at = Pixel::new(at[0] + px * wander[k], at[1] + px * wander[k + 1]);
            let depth = Estimate::new(z + 3.0 * noise * wander[k + 1], 3.0 * noise);
            LiftedPoint { at, sd: Pixel::new(px, px), depth }
        };
        let mut points = PerJoint([LiftedPoint::default(); Joint::COUNT]);
        let (lead_z, trail_z) = (one(&self.lead_z), one(&self.trail_z));
        points[Joint::LeadWrist] = point(two(&self.lead), lead_z, 0);
        points[Joint::TrailWrist] = point(two(&self.trail), trail_z, 2);
        points[Joint::LowerHub] = point(two(&self.lower), 0.0, 4);
        points[Joint::UpperHub] = point(two(&self.upper), 0.0, 4);
        points[Joint::Head] = point(two(&self.head), 0.0, 4);
        let mut arm = three(&self.arm);
        arm[1] += 0.01 * wander[5];
        LiftedFrame {
            hips: bearing(three(&self.hips), 0.01),
            lead_arm: bearing(arm, 0.01),
            ..bare_frame(now, index, points, self.stature_px)
        }
    }

    fn camera(&self) -> CameraGuess {
        let mirror = if self.left { -1.0 } else { 1.0 };
        let (up, target) = (self.up, self.target);
        // Solves the rows of `Attitude::golf_from_camera`.
        let pitch = (-up[2]).asin();
        let roll = (mirror * up[0]).atan2(-up[1]);
        let azimuth = (target[2] / pitch.cos()).clamp(-1.0, 1.0).asin();
        let estimate = |value: f64| Estimate::new(value, 0.02);
        let azimuth =
            if mirror * target[0] < 0.0 { std::f64::consts::PI - azimuth } else { azimuth };
        CameraGuess {
            pitch: estimate(pitch),
            roll: estimate(roll),
            azimuth: estimate(azimuth),
            log_focal: estimate(0.0),
        }
    }
}

fn bearing(v: [f64; 3], sd: f64) -> Bearing {
    Bearing { vector: Vector::new(v[0], v[1], v[2]), sd: Vector::new(sd, sd, sd) }
}

/// Without directions.
fn bare_frame(
    now: f64,
    index: usize,
    points: PerJoint<LiftedPoint>,
    stature_px: f64,
) -> LiftedFrame {
    LiftedFrame {
        time: Seconds(now),
        index,
        filled: false,
        points,
        log_stature_px: Estimate::new(stature_px.ln(), 0.02),
        trunk: Bearing::default(),
        shoulders: Bearing::default(),
        hips: Bearing::default(),
        lead_arm: Bearing::default(),
    }
}

impl Lift {
    fn frame(&self, times: &[f64], now: f64, index: usize) -> LiftedFrame {
        let two = |s: &[[f64; 2]]| [0, 1].map(|k| smooth(times, s, now, |p| p[k]));
        let three = |s: &[[f64; 3]]| [0, 1, 2].map(|k| smooth(times, s, now, |p| p[k]));
        let one = |s: &[f64]| smooth(times, s, now, |p| *p).max(0.0);
        let z = |s: &[f64]| smooth(times, s, now, |p| *p);
        let point = |at: [f64; 2], sd: f64, depth: Estimate| LiftedPoint {
            at: Pixel::new(at[0], at[1]),
            sd: Pixel::new(sd, sd),
            depth,
        };
        let mut points = PerJoint([LiftedPoint::default(); Joint::COUNT]);
        let depth = Estimate::new(z(&self.lead_z), one(&self.lead_z_sd));
        points[Joint::LeadWrist] = point(two(&self.lead), one(&self.lead_sd), depth);
        let depth = Estimate::new(z(&self.trail_z), one(&self.trail_z_sd));
        points[Joint::TrailWrist] = point(two(&self.trail), one(&self.trail_sd), depth);
        points[Joint::LowerHub] = point(two(&self.lower), 3.0, Estimate::default());
        points[Joint::UpperHub] = point(two(&self.upper), 3.0, Estimate::default());
        points[Joint::Head] = point(two(&self.head), 3.0, Estimate::default());
        LiftedFrame {
            hips: bearing(three(&self.hips), 0.02),
            lead_arm: bearing(three(&self.arm), one(&self.arm_sd)),
            ..bare_frame(now, index, points, self.stature_px)
        }
    }

    fn guess(&self) -> CameraGuess {
        let [pitch, roll, azimuth, log_focal] = self.camera.map(|v| Estimate::new(v, 0.03));
        CameraGuess { pitch, roll, azimuth, log_focal }
    }
}

/// Cubic through the two samples to each side (Catmull and Rom 1974, uneven spacing).
fn smooth<T>(times: &[f64], samples: &[T], at: f64, part: impl Fn(&T) -> f64) -> f64 {
    let last = times.len() - 1;
    let k = times.partition_point(|t| *t <= at).clamp(1, last) - 1;
    let slope = |i: usize| {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(last));
        (part(&samples[b]) - part(&samples[a])) / (times[b] - times[a])
    };
    let h = times[k + 1] - times[k];
    let x = (at - times[k]) / h;
    let (y0, y1) = (part(&samples[k]), part(&samples[k + 1]));
    let (m0, m1) = (slope(k) * h, slope(k + 1) * h);
    let d = y1 - y0;
    y0 + x * (m0 + x * (3.0 * d - 2.0 * m0 - m1 + x * (m0 + m1 - 2.0 * d)))
}
