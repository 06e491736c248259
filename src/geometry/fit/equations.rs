//! Everything the fit knows, as weighted rows: observations, their common errors, cameras,
//! clocks, smoothness. In: where the unknowns stand. Out: rows with their cause.

use super::super::pose::{CHANNELS, Channels, DEPTHS, LOG_STATURE_PX};
use super::super::view::noise;
use super::arrow::{Arrow, Equation};
use super::model::{self, CAMERA, STATE, State};
use super::{CLOCK, EYE, POSITION_SD, Problem, Unknowns};
use crate::calibration::UNKNOWNS;

/// What a row's noise is put down to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cause {
    Keypoints,
    Scale,
    Tilt,
    Aim,
    Depth,
    /// A clip's clock.
    Timing,
    /// Pixels of the body's points, part of whose noise is the camera's own motion.
    Pixels {
        eye: usize,
    },
}

pub(super) struct Tagged {
    pub row: Equation,
    pub cause: Cause,
}

/// Degrees of freedom of the Student tails (Lange et al. 1989); lighter or
/// heavier ones made no difference on held-out swings.
const TAILS: f64 = 10.0;
/// Power of the acceleration, m^2/s^3: twice its correlation time (about 0.1 s) times its
/// square: 20 m/s^2 for the hubs, 60 for the hips, 130 for the shoulders, 450 for the hands, more
/// than a swing needs (0.2 m of shoulder turn through 2 rad in 0.25 s, FACTS A3.5). Held-out
/// turns get worse with a hundredth of it; with a tenth (as it was) they are as good but lag
/// where the turn slows down at impact: pelvis 0.9, thorax 0.6 degrees.
const POWER: [f64; STATE / 3] = [80.0, 80.0, 160.0, 3200.0, 800.0, 40_000.0];

/// A clock that runs by definition as it does, seconds.
const SURE_S: f64 = 1e-7;

pub(super) fn equations(problem: &Problem, at: &Unknowns) -> Vec<Tagged> {
    let mut rows = Vec::new();
    for eye in 0..problem.eyes.len() {
        add_observations(&mut rows, problem, at, eye);
        add_camera(&mut rows, problem, at, eye);
    }
    add_smoothness(&mut rows, problem, at);
    rows
}

pub(super) fn normal(rows: &[Tagged], size: usize, edge: usize) -> Arrow {
    let mut arrow = Arrow::new(size, 3 * STATE - 1, edge);
    rows.iter().for_each(|t| arrow.add(&t.row));
    arrow
}

/// One knot's misses and slopes in units of the noise.
struct Look {
    knot: usize,
    miss: Channels,
    scale: Channels,
    by_state: nalgebra::SMatrix<f64, CHANNELS, STATE>,
    by_camera: nalgebra::SMatrix<f64, CHANNELS, CAMERA>,
    by_clock: Channels,
}

/// Change of the body a second at a knot.
fn rate(problem: &Problem, at: &Unknowns, knot: usize) -> State {
    let (a, b) = (knot.saturating_sub(1), (knot + 1).min(problem.times.len() - 1));
    (at.states[b] - at.states[a]) / (problem.times[b] - problem.times[a]).max(1e-6)
}

fn look(problem: &Problem, at: &Unknowns, eye: usize, knot: usize) -> Option<Look> {
    let e = &problem.eyes[eye];
    let (value, sd) = e.seen[knot].as_ref()?;
    let camera = at.camera(eye);
    let state = &at.states[knot];
    let miss = value - model::predict(state, &camera, &e.sight) - at.common(eye);
    let scale = Channels::from_fn(|i, _| {
        let r = miss[i] / sd[i];
        ((TAILS + 1.0) / (TAILS + r * r)).min(1.0).sqrt() / sd[i]
    });
    let (by_state, by_camera) = model::slopes(state, &camera, &e.sight);
    // a clock that is ahead by more sees the body as it was earlier; the fitted motion says how
    // fast it moves, not the clip's own, whose errors would be taken for speed
    let by_clock = -(by_state * rate(problem, at, knot));
    Some(Look { knot, miss, scale, by_state, by_camera, by_clock })
}

/// Whitened rows: each look less what the one before foretells of its error.
fn add_observations(rows: &mut Vec<Tagged>, problem: &Problem, at: &Unknowns, eye: usize) {
    let mut before: Option<Look> = None;
    for knot in 0..problem.times.len() {
        let Some(now) = look(problem, at, eye, knot) else { continue };
        let near = before.as_ref().filter(|b| b.knot + 1 == knot);
        for i in 0..CHANNELS {
            let memory = near.map_or(0.0, |b| {
                let gap = problem.times[knot] - problem.times[b.knot];
                (-gap / noise(i).time_s).exp()
            });
            let mut row = Equation { weight: 1.0 / (1.0 - memory * memory), ..Equation::default() };
            push(&mut row, &now, i, 1.0, eye);
            if let Some(b) = near {
                push(&mut row, b, i, -memory, eye);
            }
            rows.push(Tagged { row, cause: cause(i, eye) });
        }
        before = Some(now);
    }
}

fn push(row: &mut Equation, look: &Look, i: usize, factor: f64, eye: usize) {
    let factor = factor * look.scale[i];
    row.miss += factor * look.miss[i];
    for k in 0..STATE {
        let slope = look.by_state[(i, k)];
        if slope != 0.0 {
            row.band.push((look.knot * STATE + k, factor * slope));
        }
    }
    for k in 0..CAMERA {
        row.border.push((eye * EYE + k, factor * look.by_camera[(i, k)]));
    }
    row.border.push((eye * EYE + CAMERA + i, factor));
    row.border.push((eye * EYE + CLOCK, factor * look.by_clock[i]));
}

fn cause(channel: usize, eye: usize) -> Cause {
    if channel == LOG_STATURE_PX || DEPTHS.contains(&channel) {
        Cause::Depth
    } else if channel < LOG_STATURE_PX {
        Cause::Pixels { eye }
    } else {
        Cause::Keypoints
    }
}

fn add_camera(rows: &mut Vec<Tagged>, problem: &Problem, at: &Unknowns, eye: usize) {
    const CAUSES: [Cause; UNKNOWNS] =
        [Cause::Tilt, Cause::Tilt, Cause::Aim, Cause::Depth, Cause::Scale];
    let e = &problem.eyes[eye];
    let off = e.prior - at.camera(eye);
    if let Some(root) = e.information.cholesky() {
        let upper = root.l().transpose();
        for (i, cause) in CAUSES.into_iter().enumerate() {
            let border = (i..UNKNOWNS).map(|k| (eye * EYE + k, upper[(i, k)])).collect();
            let miss = (i..UNKNOWNS).map(|k| upper[(i, k)] * off[k]).sum();
            rows.push(Tagged {
                row: Equation { border, miss, weight: 1.0, band: Vec::new() },
                cause,
            });
        }
    }
    let mut one = |unknown: usize, miss: f64, sd: f64, cause| {
        let row =
            Equation { border: vec![(unknown, 1.0)], miss, weight: sd.powi(-2), band: Vec::new() };
        rows.push(Tagged { row, cause });
    };
    for k in UNKNOWNS..CAMERA {
        one(eye * EYE + k, off[k], POSITION_SD, Cause::Depth);
    }
    let clock_variance = e.offset.sd.powi(2) + e.lag_variance();
    one(eye * EYE + CLOCK, -at.clock(eye), clock_variance.sqrt().max(SURE_S), Cause::Timing);
    let common = at.common(eye);
    for i in 0..CHANNELS {
        one(eye * EYE + CAMERA + i, -common[i], e.common_sd[i], cause(i, eye));
    }
}

/// Changes of speed between neighbouring knots are those of white acceleration.
fn add_smoothness(rows: &mut Vec<Tagged>, problem: &Problem, at: &Unknowns) {
    for k in 1..problem.times.len().saturating_sub(1) {
        let (a, b) =
            (problem.times[k] - problem.times[k - 1], problem.times[k + 1] - problem.times[k]);
        let share = [1.0 / a, -(1.0 / a + 1.0 / b), 1.0 / b];
        for i in 0..STATE {
            let value = |j: usize, s: &State| s[i] * share[j];
            let miss = -(0..3).map(|j| value(j, &at.states[k - 1 + j])).sum::<f64>();
            let row = Equation {
                band: (0..3).map(|j| ((k - 1 + j) * STATE + i, share[j])).collect(),
                border: Vec::new(),
                miss,
                weight: 3.0 / (POWER[i / 3] * (a + b)),
            };
            rows.push(Tagged { row, cause: Cause::Keypoints });
        }
    }
}
