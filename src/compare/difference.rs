//! The difference of two sets of swings with its interval. In: two [`Sample`]s. Out:
//! [`Difference`].
//!
//! Method: Welch's form with Welch-Satterthwaite degrees of freedom; variances known from the
//! measurement (what does not average out) join with unlimited degrees of freedom, as in the
//! Guide to the Expression of Uncertainty in Measurement, G.4.1. With one swing a side the
//! pupil's scatter is unknown: the interval is that of the measurement alone.
//!
//! The p-value behind a verdict is stricter, since many measures are looked at together and
//! Welch-Satterthwaite is too bold far out in the tails when a lucky small scatter meets a known
//! part: the critical value is the mean of t and normal quantiles weighted by variance, after
//! Cochran and Cox (Experimental Designs, 1950), with every side counted as the smaller one.

use super::sample::Sample;
use super::student::{two_sided, two_sided_quantile};

/// How much of the camera's and the repeated keypoint error both sides have in common when the
/// camera was left where it stood. Measured on rendered bodies that the corrector never saw, two
/// motions each before one camera (DEVELOPERS.md, "Before against after"): 0.57 for the hubs along
/// target and ball (95 % interval 0.41 to 0.67), 0.40 to 0.47 for the other values. The scale is the
/// same for both and counts as wholly common.
pub const SHARED_BY_SETUP: f64 = 0.4;
/// 95 % intervals.
const TAIL: f64 = 0.05;

/// What is known about the pupil's scatter from swing to swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Scatter {
    /// From both sides.
    Measured,
    /// One side has one swing: the other side's scatter stands for it.
    Borrowed,
    /// One swing a side.
    Unknown,
}

/// After less before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    pub value: f64,
    /// Variance from scatter and random error.
    pub random: f64,
    /// Degrees of freedom of `random`, the smaller side counted twice.
    pub random_df: f64,
    /// Variance of what does not average out.
    pub known: f64,
    /// Welch-Satterthwaite, all together.
    pub df: f64,
    pub scatter: Scatter,
    /// Smallest change that the measurement itself could show (FACTS G1, Weir 2005).
    pub detectable: f64,
}

impl Difference {
    #[must_use]
    pub fn new(before: &Sample, after: &Sample, same_setup: bool) -> Self {
        let known = lasting(before, after, same_setup);
        let error = before.mean(|r| r.random) / before.n() + after.mean(|r| r.random) / after.n();
        let (random, df, random_df, scatter) = scatter(before, after, error);
        let whole = random + known;
        Self {
            value: after.mean(|r| r.value) - before.mean(|r| r.value),
            random,
            random_df,
            known,
            df: if random > 0.0 { df * (whole / random).powi(2) } else { f64::INFINITY },
            scatter,
            detectable: two_sided_quantile(TAIL, f64::INFINITY) * (error + known).sqrt(),
        }
    }

    #[must_use]
    pub fn standard_error(&self) -> f64 {
        (self.random + self.known).sqrt()
    }

    /// Half the width of the 95 % interval.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        two_sided_quantile(TAIL, self.df) * self.standard_error()
    }

    /// Two-sided, from the stricter critical value: the tail where it equals the difference.
    #[must_use]
    pub fn p(&self) -> f64 {
        let whole = self.random + self.known;
        if whole <= 0.0 {
            return if self.value.abs() > 0.0 { 0.0 } else { 1.0 };
        }
        let t = self.value.abs() / whole.sqrt();
        if self.random <= 0.0 || self.random_df.is_infinite() {
            return two_sided(t, f64::INFINITY);
        }
        let share = self.random / whole;
        let critical = |quantile: f64| {
            let tail = two_sided(quantile, self.random_df).max(LEAST_P);
            share * quantile + (1.0 - share) * two_sided_quantile(tail, f64::INFINITY)
        };
        // The t quantile is the larger of the two: the one sought lies between these.
        let (mut low, mut high) = (t, t / share);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if critical(middle) < t { low = middle } else { high = middle }
        }
        two_sided(low, self.random_df).max(LEAST_P)
    }

    /// The tail if nothing but the number of swings were different: the scatter seen is taken
    /// as known.
    #[must_use]
    pub fn p_with_many_swings(&self) -> f64 {
        two_sided(self.value.abs() / self.standard_error(), f64::INFINITY)
    }
}

/// Smaller p-values are not told apart.
const LEAST_P: f64 = 1e-12;
/// Narrow a bracket to three digits of p at the least.
const HALVINGS: u32 = 24;

/// Variance of the means' difference, its degrees of freedom (Welch's, and the stricter ones).
fn scatter(before: &Sample, after: &Sample, error: f64) -> (f64, f64, f64, Scatter) {
    let (n, m) = (before.n(), after.n());
    match (before.scatter(), after.scatter()) {
        (None, None) => (error, f64::INFINITY, f64::INFINITY, Scatter::Unknown),
        (Some(only), None) | (None, Some(only)) => {
            let df = n.max(m) - 1.0;
            (only * (1.0 / n + 1.0 / m), df, df, Scatter::Borrowed)
        }
        (Some(a), Some(b)) => {
            let (a, b) = (a / n, b / m);
            let over = |x: f64, y: f64| {
                let below = a * a / x + b * b / y;
                if below > 0.0 { (a + b).powi(2) / below } else { x + y }
            };
            let fewer = n.min(m) - 1.0;
            (a + b, over(n - 1.0, m - 1.0), over(fewer, fewer), Scatter::Measured)
        }
    }
}

/// Variance of the difference from what does not average out within a side.
fn lasting(before: &Sample, after: &Sample, same_setup: bool) -> f64 {
    let apart = |a: f64, b: f64, common: f64| a * a + b * b - 2.0 * common * a * b;
    let (scale, shared) = if same_setup { (1.0, SHARED_BY_SETUP) } else { (0.0, 0.0) };
    let part = |of: fn(&super::sample::Reading) -> f64| (before.mean(of), after.mean(of));
    let parts = [
        (part(|r| r.scale), scale),
        (part(|r| r.camera), shared),
        (part(|r| r.body), shared),
        (part(|r| r.unknown), 0.0),
    ];
    parts.iter().map(|&((a, b), common)| apart(a, b, common)).sum()
}

#[cfg(test)]
mod tests {
    use super::super::sample::{Reading, Sample};
    use super::*;

    fn plain(values: &[f64]) -> Sample {
        let bare = |(swing, &value): (usize, &f64)| Reading::bare(swing, value);
        Sample { readings: values.iter().enumerate().map(bare).collect() }
    }

    fn with(values: &[f64], set: impl Fn(&mut Reading)) -> Sample {
        let mut sample = plain(values);
        sample.readings.iter_mut().for_each(set);
        sample
    }

    #[test]
    fn without_lasting_errors_it_is_the_interval_of_scipy() {
        // scipy 1.17.1: stats.ttest_ind(after, before, equal_var=False).confidence_interval()
        let got = Difference::new(
            &plain(&[-6.1, -5.2, -7.4, -6.6, -5.9]),
            &plain(&[-2.0, -3.1, -1.2, -2.6]),
            false,
        );
        assert!((got.df - 6.57654520779798).abs() < 1e-9, "{got:?}");
        assert!((got.value / got.standard_error() - 7.307351309965257).abs() < 1e-9);
        assert!((got.value - got.half_width() - 2.6986125333559348).abs() < 1e-9);
        assert!((got.value + got.half_width() - 5.331387466644067).abs() < 1e-9);
        // The verdict's p is never bolder than Welch's own.
        assert!(got.p() > 0.000_218_282_297_119_252_56);
    }

    #[test]
    fn with_equal_numbers_and_no_lasting_error_the_p_is_scipys() {
        // scipy 1.17.1: stats.ttest_ind([1.0, 2.5, 3.0], [4.1, 5.0, 6.2], equal_var=False).pvalue
        let got = Difference::new(&plain(&[1.0, 2.5, 3.0]), &plain(&[4.1, 5.0, 6.2]), false);
        assert!((got.p() / SCIPY_P - 1.0).abs() < 1e-6, "{}", got.p());
    }
    const SCIPY_P: f64 = 0.026_527_306_400_600_324;

    #[test]
    fn one_swing_a_side_is_measurement_error_alone() {
        // FACTS G1: MDC95 = 2.772 SEM, all of the error random.
        let one = |v| with(&[v], |r| r.random = 0.9 * 0.9);
        let got = Difference::new(&one(-6.0), &one(-4.0), false);
        assert_eq!(got.scatter, Scatter::Unknown);
        assert!((got.detectable - 2.772 * 0.9).abs() < 1e-3, "{got:?}");
        assert!((got.half_width() - got.detectable).abs() < 1e-9);
        // ... divided by the root of the number of swings.
        let four = with(&[-6.0; 4], |r| r.random = 0.9 * 0.9);
        let got = Difference::new(&four, &four, false);
        assert!((got.detectable - 2.772 * 0.9 / 2.0).abs() < 1e-3, "{got:?}");
    }

    #[test]
    fn what_both_sides_share_cancels_and_what_they_do_not_stays() {
        let side = |v: f64| with(&[v; 100], |r| (r.scale, r.camera) = (0.03 * r.value, 0.4));
        let (a, b) = (side(-6.0), side(-6.0));
        let apart = Difference::new(&a, &b, false).known;
        let shared = Difference::new(&a, &b, true).known;
        assert!((apart - 2.0 * (0.18 * 0.18 + 0.4 * 0.4)).abs() < 1e-9, "{apart}");
        let apart = 2.0 * 0.4 * 0.4 * (1.0 - SHARED_BY_SETUP);
        assert!((shared - apart).abs() < 1e-9, "{shared}");
        // A common scale error of 3 % is 3 % of the change.
        let scale = |v: f64| with(&[v; 3], |r| r.scale = 0.03 * r.value);
        let change = Difference::new(&scale(-6.0), &scale(2.0), true).known;
        assert!((change.sqrt() - 0.03 * 8.0).abs() < 1e-9, "{change}");
    }
}
