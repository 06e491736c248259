//! One estimate of the whole swing. In: one or two clips ready to be asked. Out: the body at
//! every knot of time, in golf axes, with the posterior covariance behind every measure.
//!
//! Method: maximum a posteriori by Gauss-Newton over all knots at once (Triggs et al. 2000,
//! Bundle adjustment). Unknown are the body at each knot, each clip's camera (its
//! calibration is the prior) and clock (the events are the prior), the error that each clip
//! makes throughout, and the lengths of trunk, shoulders and hips, which stay the same. The corrector's errors
//! are a first-order process in time ([`ErrorModel`]), whitened row by row, with Student
//! tails by reweighting (Lange et al. 1989). Accelerations are white noise of a swing's size.

mod arrow;
mod equations;
mod model;
mod posterior;

use nalgebra::{DVector, SMatrix};

use super::pose::{CHANNELS, Channels, LOG_STATURE_PX, Lens};
use super::smooth::Sample;
use super::view::{View, noise};
use crate::calibration::UNKNOWNS;
use crate::frames::Pixel;
use crate::units::Estimate;
use arrow::Vector;
use equations::{equations, normal};
use model::{CAMERA, CameraState, STATE, Sight, State};

pub(super) use posterior::Posterior;

/// Rounds of reweighted Gauss-Newton; it settles in about six.
const ROUNDS: usize = 25;
/// Least share of a step that is taken.
const LEAST_SHARE: f64 = 0.1;
/// A step below this has settled, metres.
const SETTLED: f64 = 1e-4;
/// A slow approach that is this near is within a tenth of any sd, metres.
const GOOD_ENOUGH: f64 = 3e-3;
/// Unknowns of one clip in the border: camera, its constant errors, its clock.
const EYE: usize = CLOCK + 1;
/// Where a clip's clock stands among them: seconds more than was first thought.
const CLOCK: usize = CAMERA + CHANNELS;
/// A clock that is off by less than this needs no new look at the clip, seconds.
const CLOCK_STEP_S: f64 = 1e-5;
/// The corrector's answers of one clip run ahead of the body or behind it as a whole: lag of the
/// channels against the truth, weighted by their sd, sd over held-out clips by themselves: 2.6 ms
/// face-on, 3.2 ms down-the-line (wild motion 3.9 and 6.5). Two clips' lags look like an offset of
/// their clocks and cannot be told from one.
const LAG_SD_S: f64 = 0.003;
/// The gauge: where the body is as a whole does not matter, metres.
const POSITION_SD: f64 = 0.3;

/// One clip as the fit sees it.
struct Eye {
    sight: Sight,
    /// Calibration to start from, and no shift.
    prior: CameraState,
    /// Inverse of the calibration's covariance.
    information: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    /// Sd of the error common to the clip.
    common_sd: Channels,
    /// The clip's clock less that of the first, before the fit.
    offset: Estimate,
    /// What its clock was off by when it was last looked at, seconds.
    looked: f64,
    /// Per knot: value and sd of the error that changes; none outside the clip.
    seen: Vec<Option<(Channels, Channels)>>,
    /// Share of the points' variance that is what was left of the camera's own motion.
    ground_share: f64,
}

/// The whole problem.
struct Problem {
    times: Vec<f64>,
    eyes: Vec<Eye>,
}

/// Where the unknowns stand.
#[derive(Clone)]
struct Unknowns {
    states: Vec<State>,
    border: DVector<f64>,
}

impl Unknowns {
    fn camera(&self, eye: usize) -> CameraState {
        self.border.fixed_rows::<CAMERA>(eye * EYE).into_owned()
    }

    fn common(&self, eye: usize) -> Channels {
        self.border.fixed_rows::<CHANNELS>(eye * EYE + CAMERA).into_owned()
    }

    fn clock(&self, eye: usize) -> f64 {
        self.border[eye * EYE + CLOCK]
    }

    fn step(&mut self, by: &Vector, share: f64) {
        for (k, s) in self.states.iter_mut().enumerate() {
            (0..STATE).for_each(|i| s[i] += share * by.band[k * STATE + i]);
        }
        self.border += &by.border * share;
    }
}

/// Fits the swing on the given knots of the first clip's clock, of which those from `address`
/// are the still window. `None` when it does not settle.
pub(super) fn fit(
    views: &[(&View, Estimate)],
    times: &[f64],
    address: (f64, f64),
) -> Option<Posterior> {
    // a body read so badly that full steps go to and fro gets there by short ones
    [(1.0, ROUNDS), (0.3, 3 * ROUNDS)]
        .into_iter()
        .find_map(|pace| settle(Problem::new(views, times), views, address, pace))
}

fn settle(
    mut problem: Problem,
    views: &[(&View, Estimate)],
    address: (f64, f64),
    (mut share, rounds): (f64, usize),
) -> Option<Posterior> {
    let mut unknowns = problem.start(views);
    let mut before: Option<Vector> = None;
    for round in 1..=rounds {
        problem.look_again(views, &unknowns);
        let rows = equations(&problem, &unknowns);
        let system = normal(&rows, problem.times.len() * STATE, unknowns.border.len());
        let right = system.right.clone();
        let factor = system.factor()?;
        let step = factor.solve(&right);
        let size = step.band.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        if !size.is_finite() {
            return None;
        }
        if size < SETTLED || (round == rounds && size < GOOD_ENOUGH) {
            let address = at_address(&problem.times, address.0, address.1);
            return Some(Posterior::new(problem, unknowns, factor, rows, address));
        }
        // a step that turns back has gone too far: half of one lands between
        if before.is_some_and(|b| b.along(&step) < 0.0) {
            share = (share * 0.7).max(LEAST_SHARE);
        }
        unknowns.step(&step, share);
        before = Some(step);
    }
    None
}

impl Problem {
    fn new(views: &[(&View, Estimate)], times: &[f64]) -> Self {
        let eyes = views.iter().map(|(view, offset)| Eye::new(view, *offset, times)).collect();
        Self { times: times.to_vec(), eyes }
    }

    /// Reads a clip anew where its clock has moved; knots neither come nor go, or the fit would
    /// jump to and fro.
    fn look_again(&mut self, views: &[(&View, Estimate)], at: &Unknowns) {
        for (e, (view, _)) in views.iter().enumerate() {
            let eye = &mut self.eyes[e];
            if (at.clock(e) - eye.looked).abs() < CLOCK_STEP_S {
                continue;
            }
            eye.looked = at.clock(e);
            let ahead = eye.offset.value + eye.looked;
            for (t, seen) in self.times.iter().zip(&mut eye.seen) {
                *seen = seen.as_ref().map(|_| look(view, t + ahead));
            }
        }
    }

    /// Every clip's own reading, weighted in golf axes by how well it sees each of them.
    fn start(&self, views: &[(&View, Estimate)]) -> Unknowns {
        let mut border = DVector::zeros(self.eyes.len() * EYE);
        let mut sums = vec![(State::zeros(), State::zeros()); self.times.len()];
        for (e, (eye, (view, _))) in self.eyes.iter().zip(views).enumerate() {
            border.rows_mut(e * EYE, CAMERA).copy_from(&eye.prior);
            let lens = Lens::new(&view.theta(), eye.sight.handed, eye.sight.centre);
            let origin = lens.body(&view.address().value).lower;
            for (slot, seen) in sums.iter_mut().zip(&eye.seen) {
                let Some((value, sd)) = seen else { continue };
                let state = model::state(&lens.body(value), &origin);
                let weight = lens.spread(sd).map(|v| v.max(1e-9).recip());
                slot.0 += state.component_mul(&weight);
                slot.1 += weight;
            }
        }
        let mut states: Vec<State> =
            sums.iter().map(|(v, w)| v.component_div(&w.map(|w| w.max(1e-12)))).collect();
        fill(&mut states, &sums.iter().map(|(_, w)| w[0] > 0.0).collect::<Vec<_>>());
        Unknowns { states, border }
    }
}

/// Knots that no clip saw start like their neighbours.
fn fill(states: &mut [State], seen: &[bool]) {
    for k in 0..states.len() {
        if seen[k] {
            continue;
        }
        let near = (0..states.len()).filter(|j| seen[*j]).min_by_key(|j| j.abs_diff(k));
        if let Some(j) = near {
            states[k] = states[j];
        }
    }
}

impl Eye {
    /// Variance of the lags that look like an offset; the first clip's clock is the clock.
    fn lag_variance(&self) -> f64 {
        if self.offset.sd > 0.0 { 2.0 * LAG_SD_S * LAG_SD_S } else { 0.0 }
    }

    fn new(view: &View, offset: Estimate, times: &[f64]) -> Self {
        let c = view.calibration();
        let mut prior = CameraState::zeros();
        prior.fixed_rows_mut::<UNKNOWNS>(0).copy_from(&view.theta());
        let hub = &view.address().value;
        let anchor = (Pixel::new(hub[0], hub[1]), hub[LOG_STATURE_PX]);
        let (first, last) = view.span();
        let seen: Vec<_> = times
            .iter()
            .map(|t| t + offset.value)
            .map(|t| (first..=last).contains(&t).then(|| look(view, t)))
            .collect();
        Self {
            sight: Sight { handed: c.handed, centre: c.size.centre(), anchor },
            prior,
            information: c.covariance.try_inverse().unwrap_or_else(SMatrix::zeros),
            common_sd: common_sd(view.address()),
            offset,
            looked: 0.0,
            ground_share: ground_share(&seen, view.ground_px()),
            seen,
        }
    }
}

/// What a clip says at a moment of its own clock.
fn look(view: &View, time: f64) -> (Channels, Channels) {
    let now = view.sample(time);
    let sd = own_sd(&now, view.ground_px());
    (now.value, sd)
}

fn ground_share(seen: &[Option<(Channels, Channels)>], ground: f64) -> f64 {
    let variances = seen.iter().flatten().map(|(_, sd)| sd[0].powi(2));
    let (sum, n) = variances.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    if n > 0.0 { (ground.powi(2) * n / sum).min(1.0) } else { 0.0 }
}

/// The part of the error that changes, with what a shaking camera adds.
fn own_sd(s: &Sample, ground: f64) -> Channels {
    Channels::from_fn(|i, _| {
        let k = noise(i);
        let guessed = if s.filled { 2.0 } else { 1.0 };
        let own = s.sd[i] * k.widening * (1.0 - k.common).sqrt() * guessed;
        let shake =
            if i < LOG_STATURE_PX && !super::pose::DEPTHS.contains(&i) { ground } else { 0.0 };
        own.hypot(shake).max(1e-6)
    })
}

fn common_sd(s: &Sample) -> Channels {
    Channels::from_fn(|i, _| {
        let k = noise(i);
        // the calibration already holds the scale's common error
        let share = if i == LOG_STATURE_PX { 1e-4 } else { k.common };
        (s.sd[i] * k.widening * share.sqrt()).max(1e-7)
    })
}

/// Knots: the frames, no denser than needed, and the events themselves.
pub(super) fn knots(frames: impl Iterator<Item = f64>, events: &[f64]) -> Vec<f64> {
    /// Denser knots than this say nothing new at a swing's bandwidth, seconds.
    const CLOSEST_S: f64 = 0.0155;
    let mut times: Vec<f64> = Vec::new();
    for t in frames {
        let crowded = times.last().is_some_and(|last| t - last < CLOSEST_S);
        if !crowded && events.iter().all(|e| (e - t).abs() > 0.003) {
            times.push(t);
        }
    }
    times.extend(events);
    times.sort_by(f64::total_cmp);
    times.dedup_by(|a, b| (*a - *b).abs() < 1e-4);
    times
}

fn at_address(times: &[f64], from: f64, to: f64) -> Vec<usize> {
    let inside: Vec<usize> =
        (0..times.len()).filter(|k| (from..=to).contains(&times[*k])).collect();
    if !inside.is_empty() {
        return inside;
    }
    let middle = f64::midpoint(from, to);
    (0..times.len())
        .min_by(|a, b| (times[*a] - middle).abs().total_cmp(&(times[*b] - middle).abs()))
        .into_iter()
        .collect()
}

#[cfg(test)]
mod tests;
