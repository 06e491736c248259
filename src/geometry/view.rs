//! One clip. In: [`ViewInput`]. Out: every measure that the view supports at any time, with
//! its variance by cause.
//!
//! Derivatives are central differences through [`super::pose`], the only place that knows
//! the geometry.

use super::pose::{
    ARM, CHANNELS, Channels, DEPTHS, HIPS, LOG_STATURE_PX, Lens, PIXEL_X, PIXEL_Y, SHOULDERS,
    TRUNK, Theta, Values, theta, wrap,
};
use super::smooth::{self, Sample};
use super::support::Support;
use super::{Budget, GeometryError, Measure, Measured, Missing, ViewInput};
use crate::calibration::{Calibration, ErrorModel};
use crate::track::CameraMotion;
use crate::units::Estimate;

/// Factors on the sd of what the fit takes together. The network's channels err together:
/// hubs and trunk tell the same thing twice (the root of 2 for a plain double), the lines'
/// three components and neighbouring bodies of one clip too. Found so that 68 % of the errors
/// on held-out bodies, plain and wild, lie within one sd (`held_out`).
const WIDE_TRUNK: f64 = 1.25;
/// Of the hubs' height in the picture: the two axes err unlike. With 1.25 the hubs' way up lay within
/// one sd in 72 to 90 % of held-out swings, their way along the line in 63 to 74 %.
const WIDE_HEIGHT: f64 = 1.0;
const WIDE_HIPS: f64 = 1.25;
const WIDE_SHOULDERS: f64 = 1.05;
const WIDE_ARM: f64 = 1.25;
const WIDE_REST: f64 = 1.0;
/// Travel along the line of sight since address, from the size of the body: errors of held-out
/// clips were 0.8 to 1.4 (median) and 1.0 to 1.8 times (90 %) what is stated, with the corrector
/// before the golfer network.
const WIDE_SIZE: f64 = 1.2;
/// Frames that a swing needs at the least; fewer is no film.
const LEAST_FRAMES: usize = 8;
/// Time step of the derivative that turns an event's sd into the measure's, seconds.
const TIME_STEP: f64 = 0.008;

/// One clip, ready to be asked.
pub(super) struct View<'a> {
    pub input: &'a ViewInput<'a>,
    samples: Vec<Sample>,
    step: f64,
    address: Sample,
    /// Independent looks that the address window amounts to, by channel.
    looks: Channels,
    theta: Theta,
}

pub(super) type Row = [Result<Measured, Missing>; Measure::ALL.len()];

impl<'a> View<'a> {
    pub fn new(input: &'a ViewInput<'a>) -> Result<Self, GeometryError> {
        let mut samples = smooth::samples(input.lifted);
        if samples.len() < LEAST_FRAMES {
            return Err(GeometryError::TooFewFrames);
        }
        doubt(&mut samples, input.camera_motion);
        let step = smooth::interval(&samples);
        let (from, to) = (input.events.address.0.0, input.events.address.1.0);
        let address = mean(&samples, from, to).ok_or(GeometryError::TooFewFrames)?;
        let length = (to - from).max(0.0);
        let looks = Channels::from_fn(|i, _| 1.0 + length / (2.0 * noise(i).time_s));
        Ok(Self { input, samples, step, address, looks, theta: theta(input.calibration) })
    }

    pub fn calibration(&self) -> &'a Calibration {
        self.input.calibration
    }

    pub fn theta(&self) -> Theta {
        self.theta
    }

    pub fn address(&self) -> &Sample {
        &self.address
    }

    /// Takes some channels to be worse, or better, than they say.
    pub fn widen(&mut self, channels: std::ops::Range<usize>, factor: f64) {
        for s in self.samples.iter_mut().chain(std::iter::once(&mut self.address)) {
            channels.clone().for_each(|i| s.sd[i] *= factor);
        }
    }

    pub fn sample(&self, time: f64) -> Sample {
        smooth::at(&self.samples, self.step, time)
    }

    /// Sd of what is left of the camera's own motion, pixels.
    pub fn ground_px(&self) -> f64 {
        match self.input.camera_motion {
            CameraMotion::Compensated { residual_px } => residual_px,
            CameraMotion::Still | CameraMotion::Untrusted => 0.0,
        }
    }

    pub fn times(&self) -> impl Iterator<Item = (f64, bool)> + '_ {
        self.samples.iter().map(|s| (s.time, s.filled))
    }

    pub fn span(&self) -> (f64, f64) {
        let last = self.samples.len() - 1;
        (self.samples[0].time, self.samples[last].time)
    }

    pub fn is_filled(&self, time: f64) -> bool {
        smooth::at(&self.samples, self.step, time).filled
    }

    /// All measures at a time known with some sd; a time without frames gives `NotSeen`.
    pub fn at(&self, time: Estimate) -> Row {
        let (first, last) = self.span();
        if time.value < first - 2.0 * self.step || time.value > last + 2.0 * self.step {
            return [Err(Missing::NotSeen); Measure::ALL.len()];
        }
        let now = smooth::at(&self.samples, self.step, time.value);
        let values = self.values(&self.theta, &now.value, &self.address.value);
        let budgets = self.budgets(&now, time);
        self.row(&values, &budgets)
    }

    fn row(&self, values: &Values, budgets: &[Budget]) -> Row {
        let support = Support::of(&[self]);
        Measure::ALL.map(|m| {
            let i = m as usize;
            support.check(m, values)?;
            Ok(Measured { value: values[i], budget: budgets[i] })
        })
    }

    fn values(&self, theta: &Theta, now: &Channels, address: &Channels) -> Values {
        let c = self.calibration();
        let lens = Lens::new(theta, c.handed, c.size.centre());
        lens.body(now).measures(&lens.body(address))
    }

    fn budgets(&self, now: &Sample, time: Estimate) -> Vec<Budget> {
        let mut budgets = vec![Budget::default(); Measure::ALL.len()];
        self.add_camera(&mut budgets, now);
        self.add_observations(&mut budgets, now);
        self.add_ground(&mut budgets, now);
        if time.sd > 0.0 {
            let value = |t: f64| {
                let s = smooth::at(&self.samples, self.step, t);
                self.values(&self.theta, &s.value, &self.address.value)
            };
            let slope =
                slope(&value(time.value - TIME_STEP), &value(time.value + TIME_STEP), TIME_STEP);
            for (b, s) in budgets.iter_mut().zip(slope) {
                b.timing += (s * time.sd).powi(2);
            }
        }
        budgets
    }

    /// Camera and scale: one error for the whole clip.
    fn add_camera(&self, budgets: &mut [Budget], now: &Sample) {
        const STEP: f64 = 1e-4;
        let slopes: Vec<Values> = (0..self.theta.len())
            .map(|i| {
                let moved = |by: f64| {
                    let mut theta = self.theta;
                    theta[i] += by;
                    self.values(&theta, &now.value, &self.address.value)
                };
                slope(&moved(-STEP), &moved(STEP), STEP)
            })
            .collect();
        for (m, b) in budgets.iter_mut().enumerate() {
            let gradient = Theta::from_fn(|i, _| slopes[i][m]);
            let spread = self.calibration().covariance * gradient;
            let total = gradient.dot(&spread).max(0.0);
            // shared causes split by their own share; a negative share is none
            let shares = Theta::from_fn(|i, _| (gradient[i] * spread[i]).max(0.0));
            let sum = shares.sum();
            let share = |i: usize| if sum > 0.0 { total * shares[i] / sum } else { 0.0 };
            b.tilt += share(0) + share(1);
            b.aim += share(2);
            b.depth += share(3);
            b.scale += share(4);
        }
    }

    /// Points and directions: a common part that travel does not feel, and the rest.
    fn add_observations(&self, budgets: &mut [Budget], now: &Sample) {
        for i in 0..CHANNELS {
            let step = 1e-3 * now.sd[i].max(1e-9);
            let with = |dn: f64, da: f64| {
                let (mut n, mut a) = (now.value, self.address.value);
                n[i] += dn;
                a[i] += da;
                self.values(&self.theta, &n, &a)
            };
            let here = slope(&with(-step, 0.0), &with(step, 0.0), step);
            let then = slope(&with(0.0, -step), &with(0.0, step), step);
            let k = noise(i);
            let variance = (now.sd[i] * k.widening).powi(2);
            // the common error of the scale is in the calibration already
            let common = if i == LOG_STATURE_PX { 0.0 } else { variance * k.common };
            let own = variance * (1.0 - k.common);
            let kept = (-(self.gap(now.time) / k.time_s)).exp() / self.looks[i];
            for (m, b) in budgets.iter_mut().enumerate() {
                let (n, a) = (here[m], then[m]);
                let v = common * (n + a).powi(2)
                    + own * (n * n + a * a / self.looks[i] + 2.0 * n * a * kept).max(0.0);
                if i == LOG_STATURE_PX || DEPTHS.contains(&i) {
                    b.depth += v;
                } else {
                    b.keypoints += v;
                }
            }
        }
    }

    /// What is left of the camera's motion moves all points of the picture together.
    fn add_ground(&self, budgets: &mut [Budget], now: &Sample) {
        let CameraMotion::Compensated { residual_px } = self.input.camera_motion else { return };
        const STEP: f64 = 0.5;
        for axis in [PIXEL_X, PIXEL_Y] {
            let moved = |by: f64| {
                let mut n = now.value;
                axis.iter().for_each(|&i| n[i] += by);
                self.values(&self.theta, &n, &self.address.value)
            };
            let slope = slope(&moved(-STEP), &moved(STEP), STEP);
            for (b, s) in budgets.iter_mut().zip(slope) {
                b.ground += (s * residual_px).powi(2);
            }
        }
    }

    /// How far a time lies outside the address window, seconds.
    fn gap(&self, time: f64) -> f64 {
        let (from, to) = (self.input.events.address.0.0, self.input.events.address.1.0);
        (from - time).max(time - to).max(0.0)
    }
}

/// Central difference; angles may jump by a turn between the two sides.
fn slope(low: &Values, high: &Values, step: f64) -> Values {
    let mut out = [0.0; Measure::ALL.len()];
    for (m, value) in Measure::ALL.iter().zip(out.iter_mut()) {
        let i = *m as usize;
        let difference = high[i] - low[i];
        let difference = if m.is_length() { difference } else { wrap(difference) };
        *value = difference / (2.0 * step);
    }
    out
}

/// A body that moves unlike those the corrector has learnt from is read worse than it says: of
/// clips that it is twice as unsure of, the errors are four times as large. Its sd grow by this
/// power of how much more unsure than usual it is of the hips. Chosen on held-out bodies, one
/// view, within 1 / 2 sd: wild motion's angles 57 / 83 % without it, 66 / 89 % with 0.8, 68 / 91 %
/// with 1; its lengths 61 / 91, 70 / 95, 74 / 96 %; plain motion 70 / 95 % each time.
const DOUBT: f64 = 1.0;
/// The sd of the hip line's components that the corrector states on plain held-out swings,
/// statures.
const USUAL_SD: f64 = 0.0077;
/// A camera whose motion could not be taken out shows lines nearly as well as another, for it
/// shakes by a degree or two; but where a point stands it does not tell: of the sd of places, so
/// many times. Shakes are as large as this: 80 pixels, where a point's own sd is 5 to 10.
const UNSTEADY: f64 = 10.0;
/// Limits of the factor on the sd.
const DOUBT_LIMITS: (f64, f64) = (0.75, 3.0);

fn doubt(samples: &mut [Sample], camera: CameraMotion) {
    let mut stated: Vec<f64> = samples
        .iter()
        .filter(|s| !s.filled)
        .map(|s| (HIPS..ARM).map(|i| s.sd[i]).sum::<f64>() / 3.0)
        .collect();
    stated.sort_by(f64::total_cmp);
    let Some(middle) = stated.get(stated.len() / 2) else { return };
    let factor = (middle / USUAL_SD).powf(DOUBT).clamp(DOUBT_LIMITS.0, DOUBT_LIMITS.1);
    let unsteady = if camera == CameraMotion::Untrusted { UNSTEADY } else { 1.0 };
    for s in samples {
        // the scale is known from the address, where nothing is unusual
        (0..CHANNELS).filter(|i| *i != LOG_STATURE_PX).for_each(|i| s.sd[i] *= factor);
        PIXEL_X.into_iter().chain(PIXEL_Y).for_each(|i| s.sd[i] *= unsteady);
    }
}

/// How a channel's errors hang together, and the factor on its sd.
#[derive(Clone, Copy, Debug)]
pub(super) struct Noise {
    pub common: f64,
    pub time_s: f64,
    pub widening: f64,
}

pub(super) fn noise(channel: usize) -> Noise {
    let errors = &ErrorModel::LIFT;
    let (of, widening) = match channel {
        LOG_STATURE_PX => (errors.log_stature_px, WIDE_SIZE),
        c if PIXEL_Y[..2].contains(&c) => (errors.hub_pixel, WIDE_HEIGHT),
        c if c < PIXEL_X[2] && !DEPTHS.contains(&c) => (errors.hub_pixel, WIDE_TRUNK),
        c if c < PIXEL_X[2] => (errors.depth, WIDE_TRUNK),
        c if DEPTHS.contains(&c) => (errors.depth, WIDE_REST),
        c if c < TRUNK => (errors.pixel, WIDE_REST),
        c if c < SHOULDERS => (errors.trunk, WIDE_TRUNK),
        c if c < HIPS => (errors.shoulders, WIDE_SHOULDERS),
        c if c < ARM => (errors.hips, WIDE_HIPS),
        _ => (errors.lead_arm, WIDE_ARM),
    };
    Noise { common: of.common, time_s: of.time_s, widening }
}

/// Mean over the frames from one time to another, or the frame nearest to them.
fn mean(samples: &[Sample], from: f64, to: f64) -> Option<Sample> {
    let inside: Vec<&Sample> =
        samples.iter().filter(|s| !s.filled && (from..=to).contains(&s.time)).collect();
    let middle = f64::midpoint(from, to);
    if inside.is_empty() {
        return samples
            .iter()
            .filter(|s| !s.filled)
            .min_by(|a, b| (a.time - middle).abs().total_cmp(&(b.time - middle).abs()))
            .cloned();
    }
    let (mut value, mut sd, mut n) = (Channels::zeros(), Channels::zeros(), 0.0);
    for s in &inside {
        value += s.value;
        sd += s.sd;
        n += 1.0;
    }
    Some(Sample { time: middle, filled: false, value: value / n, sd: sd / n })
}
