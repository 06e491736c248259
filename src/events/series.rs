//! In: one quantity at the frames' own times (any spacing). Out: its value, slope and
//! curvature anywhere, by a local parabola (Savitzky and Golay 1964, Anal Chem 36:1627,
//! for uneven spacing): no lag, no resampling. Does not extrapolate beyond the samples.

use super::fit::{Fit, least_squares, robust};
use crate::signal;

/// Weight of a frame that was interpolated, not seen.
pub(super) const FILLED: f64 = 0.05;

#[derive(Clone, Debug)]
pub(super) struct Series {
    pub t: Vec<f64>,
    pub y: Vec<f64>,
    /// 1 for an ordinary sample.
    pub w: Vec<f64>,
}

/// The local parabola at a moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Local {
    pub value: f64,
    pub slope: f64,
    /// Second derivative.
    pub curve: f64,
    /// Of one sample about the parabola.
    pub variance: f64,
}

impl Series {
    pub fn first(&self) -> f64 {
        self.t.first().copied().unwrap_or(0.0)
    }

    pub fn last(&self) -> f64 {
        self.t.last().copied().unwrap_or(0.0)
    }

    /// Samples in `from..=to`, rounding errors of the times forgiven.
    pub fn between(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let start = self.t.partition_point(|&t| t < from - 1e-7);
        start..self.t.partition_point(|&t| t <= to + 1e-7).max(start)
    }

    /// Parabola over at least `half` to both sides and at least five samples.
    pub fn local(&self, at: f64, half: f64) -> Option<Local> {
        self.parabola(at, half, |rows| least_squares(rows.iter().copied()))
    }

    /// The same with samples that stray by more than `scale` counting little.
    pub fn local_robust(&self, at: f64, half: f64, scale: f64) -> Option<Local> {
        self.parabola(at, half, |rows| robust(rows.iter().copied(), scale))
    }

    fn parabola(
        &self,
        at: f64,
        half: f64,
        fit: impl Fn(&[([f64; 3], f64, f64)]) -> Option<Fit<3>>,
    ) -> Option<Local> {
        let half = half.max(self.reach(at)?);
        let rows = self.between(at - half, at + half).map(|i| {
            let x = (self.t[i] - at) / half;
            // Tricube: far samples count less, so that none enters with a jump.
            let near = (1.0 - (x.abs() / 1.1).powi(3)).max(0.0).powi(3);
            ([1.0, x, x * x], self.y[i], self.w[i] * near)
        });
        let fit = fit(&rows.collect::<Vec<_>>())?;
        Some(Local {
            value: fit.coef[0],
            slope: fit.coef[1] / half,
            curve: 2.0 * fit.coef[2] / (half * half),
            variance: fit.variance(),
        })
    }

    /// Half width that takes in five samples, two of them on each side where there are any.
    fn reach(&self, at: f64) -> Option<f64> {
        if self.t.len() < 5 {
            return None;
        }
        let mut away: Vec<f64> = self.t.iter().map(|t| (t - at).abs()).collect();
        away.sort_by(f64::total_cmp);
        Some(away[4] * 1.001)
    }

    /// Median over a stretch of time.
    pub fn median(&self, from: f64, to: f64) -> Option<f64> {
        signal::median(&self.between(from, to).map(|i| self.y[i]).collect::<Vec<_>>())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_is_reproduced_at_uneven_times() {
        let t: Vec<f64> =
            (0..30).map(|i| f64::from(i) * 0.033 + 0.004 * f64::from(i % 3)).collect();
        let y = t.iter().map(|t| 1.0 + 2.0 * t - 3.0 * t * t).collect();
        let s = Series { w: vec![1.0; t.len()], t, y };
        let at = 0.411;
        let local = s.local(at, 0.05).unwrap();
        assert!((local.value - (1.0 + 2.0 * at - 3.0 * at * at)).abs() < 1e-9);
        assert!((local.slope - (2.0 - 6.0 * at)).abs() < 1e-8);
        assert!((local.curve + 6.0).abs() < 1e-6);
    }
}
