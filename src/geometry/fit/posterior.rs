//! What the fit knows in the end. In: the solution and its factored normal equations. Out:
//! measures at any knot with their variance by cause: a measure's gradient g gives the weight
//! v = H^-1 g of every row, and row r with slope a adds (v a)^2 w; the rows together add up
//! to g H^-1 g.

use super::super::pose::{Body, Values, wrap};
use super::super::{Budget, Measure};
use super::arrow::{self, Factor};
use super::equations::{Cause, Tagged};
use super::model::{self, STATE, State};
use super::{CLOCK, EYE, Problem, Unknowns};
use crate::units::Estimate;

const MEASURES: usize = Measure::ALL.len();
/// Step of the measures' derivatives by the state, metres.
const STEP: f64 = 1e-5;

/// One column for each measure.
type Columns = arrow::Columns<MEASURES>;

pub(in super::super) struct Posterior {
    problem: Problem,
    unknowns: Unknowns,
    factor: Factor,
    rows: Vec<Tagged>,
    /// Knots of the address window.
    address: Vec<usize>,
    standing: State,
}

impl Posterior {
    pub(super) fn new(
        problem: Problem,
        unknowns: Unknowns,
        factor: Factor,
        rows: Vec<Tagged>,
        address: Vec<usize>,
    ) -> Self {
        let standing = address.iter().map(|k| unknowns.states[*k]).sum::<State>() / count(&address);
        Self { problem, unknowns, factor, rows, address, standing }
    }

    pub fn times(&self) -> &[f64] {
        &self.problem.times
    }

    /// The clock of a clip less that of the first, seconds: of what the fit moved the clip by, the
    /// events and the clips' own lags each explain their share.
    pub fn offset(&self, eye: usize) -> Estimate {
        let Estimate { value, sd } = self.problem.eyes[eye].offset;
        let (events, lags) = (sd * sd, self.problem.eyes[eye].lag_variance());
        let share = events / (events + lags).max(f64::MIN_POSITIVE);
        let own = share * self.factor.border_sd(eye * EYE + CLOCK);
        Estimate::new(value + share * self.unknowns.clock(eye), own.hypot((share * lags).sqrt()))
    }

    /// All measures at a knot against the mean over the address window.
    pub fn values(&self, knot: usize) -> Values {
        self.body(knot).measures(&model::body(&self.standing))
    }

    /// All measures of the mean over the address window itself.
    pub fn address_values(&self) -> Values {
        let body = model::body(&self.standing);
        body.measures(&body)
    }

    fn body(&self, knot: usize) -> Body {
        model::body(&self.unknowns.states[knot])
    }

    /// Variance by cause of every measure at a knot, for an exactly known time.
    pub fn budgets(&self, knot: usize) -> Vec<Budget> {
        self.explain(self.gradients(&[knot]))
    }

    /// The same for the mean over the address window; what counts from address
    /// is zero there by definition and gets the sd of one look against that mean.
    pub fn address_budgets(&self) -> Vec<Budget> {
        let middle = self.address[self.address.len() / 2];
        let own = self.explain(self.gradients(&self.address));
        let one = self.budgets(middle);
        let pick = |m: &Measure| if m.is_since_address() { &one } else { &own }[*m as usize];
        Measure::ALL.iter().map(pick).collect()
    }

    fn explain(&self, gradients: Columns) -> Vec<Budget> {
        let reach = self.factor.solve_all(gradients);
        let mut budgets = vec![Budget::default(); MEASURES];
        for t in &self.rows {
            let mut along = [0.0; MEASURES];
            t.row.band.iter().for_each(|(i, a)| arrow::add(&mut along, *a, &reach.band[*i]));
            t.row.border.iter().for_each(|(i, a)| arrow::add(&mut along, *a, &reach.border[*i]));
            for (budget, s) in budgets.iter_mut().zip(&along) {
                self.put(budget, t.cause, s * s * t.row.weight);
            }
        }
        budgets
    }

    fn put(&self, budget: &mut Budget, cause: Cause, share: f64) {
        match cause {
            Cause::Keypoints => budget.keypoints += share,
            Cause::Scale => budget.scale += share,
            Cause::Tilt => budget.tilt += share,
            Cause::Aim => budget.aim += share,
            Cause::Depth => budget.depth += share,
            Cause::Timing => budget.timing += share,
            Cause::Pixels { eye } => {
                let ground = share * self.problem.eyes[eye].ground_share;
                budget.ground += ground;
                budget.keypoints += share - ground;
            }
        }
    }

    /// One column for each measure of the mean body over `knots` against address.
    fn gradients(&self, knots: &[usize]) -> Columns {
        let now = knots.iter().map(|k| self.unknowns.states[*k]).sum::<State>() / count(knots);
        let then = self.standing;
        let value = |n: &State, a: &State| model::body(n).measures(&model::body(a));
        let edge = self.unknowns.border.len();
        let mut g = Columns::zeros(self.problem.times.len() * STATE, edge);
        for i in 0..STATE {
            let mut step = State::zeros();
            step[i] = STEP;
            let here = slope(&value(&(now - step), &then), &value(&(now + step), &then));
            let there = slope(&value(&now, &(then - step)), &value(&now, &(then + step)));
            let mut add = |knots: &[usize], slope: &Values| {
                for k in knots {
                    arrow::add(&mut g.band[k * STATE + i], 1.0 / count(knots), slope);
                }
            };
            add(knots, &here);
            add(&self.address, &there);
        }
        g
    }
}

fn count(knots: &[usize]) -> f64 {
    crate::signal::real(knots.len())
}

/// Central difference; angles may jump by a turn between the two sides.
fn slope(low: &Values, high: &Values) -> Values {
    let mut out = [0.0; MEASURES];
    for m in Measure::ALL {
        let d = high[m as usize] - low[m as usize];
        out[m as usize] = (if m.is_length() { d } else { wrap(d) }) / (2.0 * STEP);
    }
    out
}
