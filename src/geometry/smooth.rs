//! Zero-lag smoothing. In: one clip's observations by frame. Out: value and sd of every
//! channel at any time.
//!
//! Method: a parabola fitted around the wanted time by least squares, weights tricube in time
//! (Cleveland 1979, LOWESS) and inverse to the variance. It lags nothing, takes uneven frame
//! times and gaps as they come, and keeps peaks. Half width 60 ms: a turn that brakes at impact
//! within 30 ms is followed to half a degree (a quarter with 45 ms, which costs repeatability:
//! `tests/repeat.rs`; 0.8 with 83 ms); the rest of the smoothing is the fit's. The sd stays that of one frame: neighbouring frames
//! share their error ([`crate::calibration::ErrorModel`]), so a mean over them gains nothing.

use nalgebra::{Matrix3, Vector3};

use super::pose::{CHANNELS, Channels, observe};
use crate::lift::Lifted;

/// Half width of the window, seconds.
const HALF_WIDTH_S: f64 = 0.06;
/// At least so many frames to either side, for clips at 30 frames a second: with 2.0 held-out
/// errors are 3 % larger.
const LEAST_FRAMES: f64 = 2.5;

/// One frame's observations.
#[derive(Clone, Debug)]
pub(super) struct Sample {
    pub time: f64,
    pub filled: bool,
    pub value: Channels,
    pub sd: Channels,
}

pub(super) fn samples(lifted: &Lifted) -> Vec<Sample> {
    let sample = |frame| {
        let (value, sd) = observe(frame);
        Sample { time: frame.time.0, filled: frame.filled, value, sd }
    };
    lifted.frames.iter().map(sample).filter(|s| s.value.iter().all(|v| v.is_finite())).collect()
}

/// Typical time between frames, seconds.
pub(super) fn interval(samples: &[Sample]) -> f64 {
    let mut steps: Vec<f64> = samples.windows(2).map(|w| w[1].time - w[0].time).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(HALF_WIDTH_S)
}

/// Every channel's value and sd at `time`, and whether most of it was filled in.
pub(super) fn at(samples: &[Sample], step: f64, time: f64) -> Sample {
    let half = HALF_WIDTH_S.max(LEAST_FRAMES * step).max(1.2 * third(samples, time));
    let from = samples.partition_point(|s| s.time < time - half);
    let to = samples.partition_point(|s| s.time <= time + half);
    let near = &samples[from..to];
    let kernel: Vec<f64> = near
        .iter()
        .map(|s| {
            let u = ((s.time - time).abs() / half).min(1.0);
            (1.0 - u.powi(3)).powi(3) * if s.filled { 0.1 } else { 1.0 }
        })
        .collect();
    let (mut value, mut sd) = (Channels::zeros(), Channels::zeros());
    for i in 0..CHANNELS {
        (value[i], sd[i]) = parabola(near, &kernel, i, time, half);
    }
    let closest = nearest(near, time);
    Sample { time, filled: closest.filled, value, sd }
}

/// How far the third nearest frame is away: in a gap the window widens, and does so without a jump.
fn third(samples: &[Sample], time: f64) -> f64 {
    let next = samples.partition_point(|s| s.time < time);
    let around = &samples[next.saturating_sub(3)..(next + 3).min(samples.len())];
    let mut away: Vec<f64> = around.iter().map(|s| (s.time - time).abs()).collect();
    away.sort_by(f64::total_cmp);
    away.get(2).copied().unwrap_or(0.0)
}

fn nearest(samples: &[Sample], time: f64) -> Sample {
    let next = samples.partition_point(|s| s.time < time).min(samples.len() - 1);
    let last = next.saturating_sub(1);
    let closer = if time - samples[last].time < samples[next].time - time { last } else { next };
    samples[closer].clone()
}

/// Value of a weighted parabola at `time`, and the typical sd of the frames used.
fn parabola(near: &[Sample], kernel: &[f64], i: usize, time: f64, half: f64) -> (f64, f64) {
    let (mut lhs, mut rhs) = (Matrix3::zeros(), Vector3::zeros());
    let (mut total, mut noise) = (0.0, 0.0);
    for (s, k) in near.iter().zip(kernel) {
        let u = (s.time - time) / half;
        let basis = Vector3::new(1.0, u, u * u);
        let weight = k / s.sd[i].powi(2).max(1e-18);
        lhs += basis * basis.transpose() * weight;
        rhs += basis * (s.value[i] * weight);
        total += k;
        noise += k * s.sd[i];
    }
    // a trace of ridge keeps one-sided windows at the ends of the clip solvable
    let ridge = Matrix3::from_diagonal(&Vector3::new(0.0, 1e-6, 1e-3)) * lhs[(0, 0)];
    let value = (lhs + ridge).cholesky().map_or_else(
        || near.iter().zip(kernel).map(|(s, k)| s.value[i] * k).sum::<f64>() / total,
        |c| c.solve(&rhs).x,
    );
    (value, noise / total.max(1e-12))
}
