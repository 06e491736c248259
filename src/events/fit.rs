//! In: samples. Out: weighted least-squares fits, and a one-dimensional search for the
//! moment at which a broken curve bends. Unit: that of the samples. No outlier handling.

use nalgebra::{DMatrix, DVector};

/// Errors of neighbouring frames hang together (the network repeats its mistake), so a
/// fit believes itself too much. Inflation of the sd: own experiment, `accuracy.rs`.
const CORRELATION: f64 = 1.7;

#[derive(Clone, Debug)]
pub(super) struct Fit<const N: usize> {
    pub coef: [f64; N],
    /// Covariance for samples of sd 1.
    pub unit_cov: DMatrix<f64>,
    /// Weighted sum of squared residuals.
    pub rss: f64,
    /// Sum of weights less the number of coefficients, never below a half.
    pub freedom: f64,
}

impl<const N: usize> Fit<N> {
    /// Variance of a sample of weight 1.
    pub fn variance(&self) -> f64 {
        self.rss / self.freedom
    }
}

/// Rows are (basis, value, weight). `None` when the rows do not determine the coefficients.
pub(super) fn least_squares<const N: usize>(
    rows: impl Iterator<Item = ([f64; N], f64, f64)> + Clone,
) -> Option<Fit<N>> {
    let mut normal = DMatrix::<f64>::zeros(N, N);
    let mut right = DVector::<f64>::zeros(N);
    let mut weights = 0.0;
    for (basis, value, weight) in rows.clone() {
        let b = DVector::from_row_slice(&basis);
        right.axpy(weight * value, &b, 1.0);
        normal.ger(weight, &b, &b, 1.0);
        weights += weight;
    }
    let unit_cov = normal.try_inverse()?;
    let solved = &unit_cov * right;
    let coef: [f64; N] = std::array::from_fn(|i| solved[i]);
    if coef.iter().any(|c| !c.is_finite()) {
        return None;
    }
    let rss = rows
        .map(|(basis, value, weight)| {
            let model: f64 = basis.iter().zip(&coef).map(|(b, c)| b * c).sum();
            weight * (value - model).powi(2)
        })
        .sum();
    #[expect(clippy::cast_precision_loss, reason = "a handful of coefficients")]
    let freedom = (weights - N as f64).max(0.5);
    Some(Fit { coef, unit_cov, rss, freedom })
}

/// Where a search found the least misfit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bend {
    pub at: f64,
    /// From the curvature of the misfit, correlation of the errors included.
    pub sd: f64,
}

/// Places tried in a search; the winner is refined by a parabola.
const TRIES: u32 = 80;

/// Least misfit over `from..=to`. `misfit` gives (rss, freedom) of the best curve that
/// bends at the given moment. `floor` is the least believable variance of a sample.
pub(super) fn search(
    from: f64,
    to: f64,
    floor: f64,
    misfit: impl Fn(f64) -> Option<(f64, f64)>,
) -> Option<Bend> {
    let step = (to - from) / f64::from(TRIES);
    let tried: Vec<(f64, f64, f64)> = (0..=TRIES)
        .filter_map(|i| {
            let at = from + step * f64::from(i);
            misfit(at).map(|(rss, freedom)| (at, rss, freedom))
        })
        .collect();
    let best = (0..tried.len()).min_by(|&a, &b| tried[a].1.total_cmp(&tried[b].1))?;
    let (at, rss, freedom) = tried[best];
    let variance = (rss / freedom).max(floor);
    // Curvature over a few steps: the misfit has small kinks where a sample changes sides.
    let reach = 6.min(best).min(tried.len() - 1 - best);
    if reach == 0 {
        return Some(Bend { at, sd: (to - from) / 4.0 });
    }
    let centre = tried[best].0;
    let near = tried[best - reach..=best + reach]
        .iter()
        .map(|&(t, r, _)| ([1.0, t - centre, (t - centre).powi(2)], r, 1.0));
    let parabola = least_squares(near)?;
    let [_, slope, curve] = parabola.coef;
    if curve <= 0.0 {
        return Some(Bend { at, sd: (to - from) / 4.0 });
    }
    let shift = (-slope / (2.0 * curve)).clamp(-2.0 * step, 2.0 * step);
    let sd = CORRELATION * (variance / curve).sqrt();
    Some(Bend { at: at + shift, sd: sd.min((to - from) / 4.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_recovered_and_its_covariance_is_the_textbook_one() {
        let xs = [0.0, 1.0, 2.0, 3.0];
        let fit = least_squares(xs.iter().map(|&x| ([1.0, x], 2.0 - 0.5 * x, 1.0))).unwrap();
        assert!((fit.coef[0] - 2.0).abs() < 1e-12 && (fit.coef[1] + 0.5).abs() < 1e-12);
        // Variance of a slope is 1 / sum (x - mean)^2 = 1/5.
        assert!((fit.unit_cov[(1, 1)] - 0.2).abs() < 1e-12);
        assert!(least_squares(std::iter::once(([1.0, 2.0], 1.0, 1.0))).is_none());
    }

    #[test]
    fn a_search_finds_the_bend_between_samples() {
        let ts: Vec<f64> = (0..40).map(|i| f64::from(i) / 30.0).collect();
        let truth = 0.6123;
        let y = |t: f64| if t > truth { (t - truth).powi(2) * 3.0 } else { 0.0 };
        let bend = search(0.3, 0.9, 1e-9, |t0| {
            let rows = ts.iter().map(|&t| ([1.0, (t - t0).max(0.0).powi(2)], y(t), 1.0));
            least_squares(rows).map(|f| (f.rss, f.freedom))
        })
        .unwrap();
        assert!((bend.at - truth).abs() < 0.003, "{bend:?}");
    }
}
