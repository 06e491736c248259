//! In: samples. Out: weighted least-squares fits, a one-dimensional search for the moment at
//! which a broken curve bends, and how far errors of the samples move it. Unit: that of the
//! samples. No outlier handling.

/// Errors of neighbouring frames hang together (the network repeats its mistake), so a
/// fit believes itself too much. Inflation of the sd: own experiment, `accuracy.rs`.
const CORRELATION: f64 = 2.2;

/// What wanders within the time of a bend, as a share of the variance that the corrector states,
/// and over which time, seconds: wrists and arm about the top of half the held-out swings, less
/// their mean over 0.8 s, 0.85 of the stated sd; neighbours at 30 frames a second 0.5, second
/// neighbours 0.25.
const WANDERS: f64 = 0.7;
const WANDERS_S: f64 = 0.06;

/// Sd of a bend from errors of `noise` in the samples of one curve, seconds. `pulls`: slope of
/// the misfit by every sample with the bend a little before and a little after, `apart` seconds.
/// At the least misfit the bend moves by the change of that slope over the misfit's curvature.
pub(super) fn shaken(
    times: &[f64],
    pulls: (&[f64], &[f64]),
    apart: f64,
    curve: f64,
    noise: f64,
) -> f64 {
    let moves: Vec<(f64, f64)> = times
        .iter()
        .zip(pulls.0.iter().zip(pulls.1))
        .map(|(t, (before, after))| (*t, (after - before) / (apart * 2.0 * curve)))
        .filter(|(_, m)| *m != 0.0)
        .collect();
    let variance: f64 = moves
        .iter()
        .flat_map(|(t, m)| {
            moves.iter().map(move |(u, n)| m * n * (-(t - u).abs() / WANDERS_S).exp())
        })
        .sum();
    noise * (WANDERS * variance.max(0.0)).sqrt()
}

#[derive(Clone, Debug)]
pub(super) struct Fit<const N: usize> {
    pub coef: [f64; N],
    /// Weighted sum of squared residuals, or of what a robust loss makes of them.
    pub rss: f64,
    /// Sum of weights less the number of coefficients, never below a half.
    pub freedom: f64,
}

impl<const N: usize> Fit<N> {
    /// Variance of a sample of weight 1.
    pub fn variance(&self) -> f64 {
        self.rss / self.freedom
    }

    pub fn residual(&self, basis: &[f64; N], value: f64) -> f64 {
        value - basis.iter().zip(&self.coef).map(|(b, c)| b * c).sum::<f64>()
    }
}

/// Rows are (basis, value, weight). `None` when the rows do not determine the coefficients.
pub(super) fn least_squares<const N: usize>(
    rows: impl Iterator<Item = ([f64; N], f64, f64)> + Clone,
) -> Option<Fit<N>> {
    let mut normal = [[0.0; N]; N];
    let mut right = [0.0; N];
    let mut weights = 0.0;
    for (basis, value, weight) in rows.clone() {
        for i in 0..N {
            right[i] += weight * basis[i] * value;
            for k in 0..N {
                normal[i][k] += weight * basis[i] * basis[k];
            }
        }
        weights += weight;
    }
    let coef = solve(normal, right)?;
    #[expect(clippy::cast_precision_loss, reason = "a handful of coefficients")]
    let freedom = (weights - N as f64).max(0.5);
    let mut fit = Fit { coef, rss: 0.0, freedom };
    fit.rss = rows.map(|(b, value, weight)| weight * fit.residual(&b, value).powi(2)).sum();
    Some(fit)
}

/// The same with a loss that grows slowly beyond `scale` (Cauchy's; iteratively reweighted,
/// Holland and Welsch 1977, Commun Stat A6:813): a stretch of frames in which the network
/// has lost the hands does not bend the curve.
pub(super) fn robust<const N: usize>(
    rows: impl Iterator<Item = ([f64; N], f64, f64)> + Clone,
    scale: f64,
) -> Option<Fit<N>> {
    let mut fit = least_squares(rows.clone())?;
    for _ in 0..ROUNDS {
        let now = fit.clone();
        fit = least_squares(rows.clone().map(|(b, value, weight)| {
            (b, value, weight / (1.0 + (now.residual(&b, value) / scale).powi(2)))
        }))?;
    }
    let loss = |r: f64| scale * scale * (r / scale).powi(2).ln_1p();
    fit.rss = rows.clone().map(|(b, value, w)| w * loss(fit.residual(&b, value))).sum();
    #[expect(clippy::cast_precision_loss, reason = "a handful of coefficients")]
    let freedom = rows.map(|(_, _, w)| w).sum::<f64>() - N as f64;
    fit.freedom = freedom.max(0.5);
    Some(fit)
}

/// Reweightings; the loss settles to a few per mille.
const ROUNDS: usize = 4;

/// Gauss elimination with pivots; `None` when singular.
fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    let size = a.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
    for i in 0..N {
        let pivot = (i..N).max_by(|&p, &q| a[p][i].abs().total_cmp(&a[q][i].abs()))?;
        a.swap(i, pivot);
        b.swap(i, pivot);
        if a[i][i].abs() <= 1e-13 * size || !a[i][i].is_finite() {
            return None;
        }
        for k in i + 1..N {
            let share = a[k][i] / a[i][i];
            let row = a[i];
            a[k].iter_mut().zip(row).skip(i).for_each(|(below, above)| *below -= share * above);
            b[k] -= share * b[i];
        }
    }
    for i in (0..N).rev() {
        let known: f64 = (i + 1..N).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - known) / a[i][i];
    }
    b.iter().all(|v| v.is_finite()).then_some(b)
}

/// Where a search found the least misfit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bend {
    pub at: f64,
    /// From the curvature of the misfit, correlation of the errors included.
    pub sd: f64,
    /// Half the misfit's second derivative; zero when it has no clear least place.
    pub curve: f64,
    /// Distance of the places tried, seconds.
    pub step: f64,
    /// Sd of a sample of weight 1 about the curve that bends there.
    pub scatter: f64,
}

/// Places tried in a search; the winner is refined by a parabola.
const TRIES: u32 = 60;

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
    let scatter = (rss / freedom).max(0.0).sqrt();
    // Curvature over a few steps: the misfit has small kinks where a sample changes sides.
    let reach = 6.min(best).min(tried.len() - 1 - best);
    if reach == 0 {
        return Some(Bend { at, sd: (to - from) / 4.0, curve: 0.0, step, scatter });
    }
    let centre = tried[best].0;
    let near = tried[best - reach..=best + reach]
        .iter()
        .map(|&(t, r, _)| ([1.0, t - centre, (t - centre).powi(2)], r, 1.0));
    let parabola = least_squares(near)?;
    let [_, slope, curve] = parabola.coef;
    if curve <= 0.0 {
        return Some(Bend { at, sd: (to - from) / 4.0, curve: 0.0, step, scatter });
    }
    let shift = (-slope / (2.0 * curve)).clamp(-2.0 * step, 2.0 * step);
    let sd = CORRELATION * (variance / curve).sqrt();
    Some(Bend { at: at + shift, sd: sd.min((to - from) / 4.0), curve, step, scatter })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_recovered_and_one_point_does_not_make_one() {
        let xs = [0.0, 1.0, 2.0, 3.0];
        let fit = least_squares(xs.iter().map(|&x| ([1.0, x], 2.0 - 0.5 * x, 1.0))).unwrap();
        assert!((fit.coef[0] - 2.0).abs() < 1e-12 && (fit.coef[1] + 0.5).abs() < 1e-12);
        assert!(fit.rss < 1e-20);
        assert!(least_squares(std::iter::once(([1.0, 2.0], 1.0, 1.0))).is_none());
    }

    #[test]
    fn a_robust_line_passes_by_a_lost_sample() {
        let rows = (0..12).map(|i| {
            let x = f64::from(i);
            ([1.0, x], if i == 4 { 5.0 } else { 0.1 * x }, 1.0)
        });
        let fit = robust(rows.clone(), 0.05).unwrap();
        assert!(fit.coef[0].abs() < 0.01 && (fit.coef[1] - 0.1).abs() < 0.002, "{fit:?}");
        assert!(least_squares(rows).unwrap().coef[0].abs() > 0.3);
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
