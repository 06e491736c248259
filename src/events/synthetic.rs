//! Test swings with known events: hands on an inclined arc about the chest, a pinhole-less
//! camera at any azimuth, noise whose neighbours hang together. Golf axes, statures.
//! Not a golfer: timings, sizes and shapes are free, so that no habit can be relied on.

use crate::body::{Joint, PerJoint};
use crate::decode::Sound;
use crate::frames::{Attitude, Golf, Handed, Pixel, Vector};
use crate::lift::{Bearing, CameraGuess, Lifted, LiftedFrame, LiftedPoint};
use crate::track::HandSample;
use crate::units::{Estimate, Seconds};

const STATURE_PX: f64 = 700.0;
const RADIUS: f64 = 0.36;
/// Plane of the arc against the vertical, radians.
const PLANE: f64 = 0.75;

#[derive(Clone, Debug)]
pub(super) struct Script {
    pub azimuth: f64,
    pub handed: Handed,
    pub fps: f64,
    /// Stretches everything after takeaway.
    pub tempo: f64,
    pub backswing: f64,
    pub downswing: f64,
    /// Angle of the arc at the top, and how far the hands are past the bottom at impact.
    pub turn: f64,
    pub lean: f64,
    /// Rest before takeaway begins at this time.
    pub wait: f64,
    /// Amplitude, statures.
    pub waggle: f64,
    /// A practice swing of this size before.
    pub practice: Option<f64>,
    pub no_swing: bool,
    /// Frames kept, seconds.
    pub keep: (f64, f64),
    /// Sd of the wrists, statures, correlated over about 60 ms.
    pub noise: f64,
    /// One frame in this many is missing.
    pub drop: usize,
    pub uneven: bool,
    /// The missing frames are there, interpolated and marked.
    pub fill: bool,
    pub seed: u64,
    pub shift: f64,
}

impl Default for Script {
    fn default() -> Self {
        Self {
            azimuth: 0.0,
            handed: Handed::Right,
            fps: 60.0,
            tempo: 1.0,
            backswing: 0.85,
            downswing: 0.27,
            turn: 2.4,
            lean: 0.06,
            wait: 1.2,
            waggle: 0.0,
            practice: None,
            no_swing: false,
            keep: (0.0, f64::INFINITY),
            noise: 0.0,
            drop: 0,
            uneven: false,
            fill: false,
            seed: 1,
            shift: 0.0,
        }
    }
}

impl Script {
    /// Length of the practice swing with the rests around it.
    fn before(&self) -> f64 {
        if self.practice.is_some() { 4.5 * self.tempo } else { 0.0 }
    }

    pub fn takeaway(&self) -> f64 {
        self.before() + self.wait + self.shift
    }

    pub fn top(&self) -> f64 {
        self.takeaway() + self.backswing * self.tempo
    }

    pub fn impact(&self) -> f64 {
        self.top() + self.downswing * self.tempo
    }

    pub fn finish(&self) -> f64 {
        self.impact() + 0.6 * self.tempo
    }

    pub fn end(&self) -> f64 {
        self.finish() + 0.7 * self.tempo
    }

    /// When the lead arm is level, from the exact motion: going back and coming down.
    pub fn level(&self) -> (f64, f64) {
        let cross = |mut low: f64, mut high: f64, sign: f64| {
            for _ in 0..60 {
                let middle = f64::midpoint(low, high);
                if sign * self.arm(middle).coords.z < 0.0 { low = middle } else { high = middle }
            }
            low
        };
        (cross(self.takeaway(), self.top(), 1.0), cross(self.top(), self.impact(), -1.0))
    }

    /// Angle on the arc at time since takeaway: 0 hanging, negative going back.
    fn angle(&self, since: f64, size: f64) -> f64 {
        let x = since / self.tempo;
        let struck = (self.lean / RADIUS).asin();
        let top = -self.turn * size;
        let end = 2.5 * size;
        if x <= 0.0 {
            0.0
        } else if x < self.backswing {
            let s = x / self.backswing;
            top * (1.0 - (std::f64::consts::PI * s).cos()) / 2.0
        } else if x < self.backswing + self.downswing {
            let s = (x - self.backswing) / self.downswing;
            top + (struck - top) * s.powf(2.2)
        } else {
            let s = x - self.backswing - self.downswing;
            let rate = 2.2 * (struck - top) / self.downswing / (end - struck);
            end - (end - struck) * (-rate * s * (1.0 - 0.4 * (s / 0.6).min(1.0))).exp()
        }
    }

    fn arc(&self, t: f64) -> f64 {
        if self.no_swing {
            return 0.0;
        }
        let own = self.angle(t - self.takeaway(), 1.0);
        let Some(size) = self.practice else { return own };
        let since = t - self.shift - self.wait;
        let back_down = ((since / self.tempo - 2.2) / 1.2).clamp(0.0, 1.0);
        own + self.angle(since, size) * (1.0 + (std::f64::consts::PI * back_down).cos()) / 2.0
    }

    /// Hands relative to the chest.
    fn hands(&self, t: f64) -> Vector<Golf> {
        let phi = self.arc(t);
        let (s, c) = phi.sin_cos();
        let (sp, cp) = PLANE.sin_cos();
        let until = self.takeaway() - 0.45;
        let waggle = if t < until {
            self.waggle * (9.0 * (t - until)).sin() * ((until - t) * 4.0).min(1.0)
        } else {
            0.0
        };
        // Hands go back on the inside, as arms that are fixed to a turning chest do.
        let inside = 0.3 * RADIUS * s.min(0.0);
        Vector::new(RADIUS * s + waggle, RADIUS * c * sp + inside, -RADIUS * c * cp)
    }

    fn shoulder(&self, t: f64, side: f64) -> Vector<Golf> {
        let turn = self.arc(t) * 0.4;
        Vector::new(0.11 * side * turn.cos(), -0.11 * side * turn.sin(), 0.0)
    }

    fn arm(&self, t: f64) -> Vector<Golf> {
        self.hands(t) - self.shoulder(t, 1.0)
    }

    fn attitude(&self) -> Attitude {
        Attitude { pitch: 0.05, roll: 0.02, azimuth: self.azimuth }
    }

    fn times(&self, rng: &mut Rng) -> Vec<f64> {
        let step = 1.0 / self.fps;
        let mut times = Vec::new();
        let mut t = self.shift + 0.37 * step;
        let mut n = 0_usize;
        while t < self.end() {
            n += 1;
            let kept = (self.keep.0 + self.shift..=self.keep.1 + self.shift).contains(&t);
            if kept && (self.fill || self.drop == 0 || !n.is_multiple_of(self.drop)) {
                times.push(t);
            }
            t += if self.uneven { step * (1.0 + 0.3 * rng.uniform()) } else { step };
        }
        times
    }
}

/// The hands about 12 times a second of unstretched time.
pub(super) fn coarse(script: &Script) -> Vec<HandSample> {
    let mut slow = script.clone();
    slow.fps = 12.0;
    let full = lifted(&slow);
    full.frames
        .iter()
        .map(|f| {
            let (a, b) = (f.points[Joint::LeadWrist].at, f.points[Joint::TrailWrist].at);
            let hands = Pixel::new(f64::midpoint(a.x, b.x), f64::midpoint(a.y, b.y));
            HandSample { time: f.time, hands, size_px: STATURE_PX }
        })
        .collect()
}

pub(super) fn lifted(script: &Script) -> Lifted {
    let mut rng = Rng(script.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let golf = script.attitude().golf_from_camera(script.handed);
    let mut wander = [0.0; 6];
    let mut last = f64::NEG_INFINITY;
    let mut frames = Vec::new();
    for (index, t) in script.times(&mut rng).into_iter().enumerate() {
        let keep = (-(t - last) / 0.06).exp();
        last = t;
        for w in &mut wander {
            *w = keep * *w + (1.0 - keep * keep).sqrt() * rng.normal();
        }
        let noise = |k: usize| script.noise * wander[k];
        let mut points = PerJoint([LiftedPoint::default(); Joint::COUNT]);
        let mut put = |joint: Joint, at: Vector<Golf>, k: usize| {
            let c = golf.back(at).coords;
            let at = Pixel::new(
                500.0 + STATURE_PX * (c.x + noise(k)),
                800.0 + STATURE_PX * (c.y + noise(k + 1)),
            );
            let sd = Pixel::new(STATURE_PX * script.noise, STATURE_PX * script.noise);
            let depth = Estimate::new(c.z + 3.0 * noise(k + 1), 3.0 * script.noise);
            points[joint] = LiftedPoint { at, sd, depth };
        };
        let chest = Vector::new(0.0, 0.0, 0.25);
        put(Joint::UpperHub, chest, 4);
        put(Joint::Head, Vector::new(0.0, 0.05, 0.4), 4);
        put(Joint::LowerHub, Vector::default(), 4);
        put(Joint::LeadWrist, chest + script.hands(t), 0);
        put(Joint::TrailWrist, chest + script.hands(t), 2);
        let mut arm = golf.back(script.arm(t)).coords;
        arm.y += noise(0) * 1.5;
        let turn = script.arc(t + 0.05) * 0.3;
        let hips = Vector::new(turn.cos() * 0.1, -turn.sin() * 0.1, 0.0);
        let sd = Vector::new(1.5, 1.5, 1.5) * script.noise;
        frames.push(LiftedFrame {
            time: Seconds(t),
            index,
            filled: false,
            points,
            log_stature_px: Estimate::new(STATURE_PX.ln(), 0.01),
            trunk: Bearing::default(),
            shoulders: Bearing::default(),
            hips: Bearing { vector: golf.back(hips), sd },
            lead_arm: Bearing { vector: arm.into(), sd },
        });
    }
    if script.fill {
        fill(&mut frames, script.drop);
    }
    let a = script.attitude();
    let camera = CameraGuess {
        pitch: Estimate::new(a.pitch, 0.02),
        roll: Estimate::new(a.roll, 0.01),
        azimuth: Estimate::new(a.azimuth, 0.1),
        log_focal: Estimate::new(0.0, 0.1),
    };
    Lifted { camera, frames }
}

/// Replaces every `every`th frame by the middle of its neighbours.
fn fill(frames: &mut [LiftedFrame], every: usize) {
    for k in (1..frames.len() - 1).filter(|k| k.is_multiple_of(every)) {
        let (before, after) = (frames[k - 1].points, frames[k + 1].points);
        for joint in Joint::ALL {
            let (a, b) = (before[joint].at, after[joint].at);
            frames[k].points[joint].at =
                Pixel::new(f64::midpoint(a.x, b.x), f64::midpoint(a.y, b.y));
        }
        let (a, b) = (frames[k - 1].lead_arm.vector, frames[k + 1].lead_arm.vector);
        frames[k].lead_arm.vector = (a + b) * 0.5;
        frames[k].filled = true;
    }
}

/// White noise of this sd.
pub(super) fn noise(rate: u32, seconds: f64, sd: f64) -> Sound {
    let mut rng = Rng(77);
    let n = (f64::from(rate) * seconds) as usize;
    let samples = (0..n).map(|_| (sd * rng.normal()) as f32).collect();
    Sound { rate, start_s: 0.0, samples }
}

/// A decaying broadband burst.
pub(super) fn add_click(sound: &mut Sound, file_s: f64, size: f64) {
    let mut rng = Rng(99);
    let rate = f64::from(sound.rate);
    let first = ((file_s - sound.start_s) * rate).round() as usize;
    for k in 0..(0.02 * rate) as usize {
        if let Some(s) = sound.samples.get_mut(first + k) {
            let decay = (-(k as f64) / (0.003 * rate)).exp();
            let burst = if k == 0 { 1.0 } else { rng.normal() };
            *s += (size * burst * decay) as f32;
        }
    }
}

/// Knuth's MMIX linear congruential generator: the same numbers in every run.
pub(super) struct Rng(pub u64);

impl Rng {
    pub fn uniform(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}
