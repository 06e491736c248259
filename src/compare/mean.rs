//! The mean of a few measured values with its interval. In: values with their sd. Out: [`Mean`].
//!
//! Method: the scatter from value to value with Student's t, joined with the measurement's sd,
//! which is taken not to average out at all: where it comes from is not known here, so that the
//! interval is rather too wide than too narrow. With one value: the measurement alone.

use super::sample::{Reading, Sample};
use super::student::two_sided_quantile;

#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Mean {
    pub n: usize,
    pub mean: f64,
    /// 95 % interval.
    pub low: f64,
    pub high: f64,
}

impl Mean {
    /// None of no values.
    #[must_use]
    pub fn of(values: &[(f64, f64)]) -> Option<Self> {
        let reading = |(i, &(value, sd)): (usize, &(f64, f64))| Reading {
            unknown: sd,
            ..Reading::bare(i, value)
        };
        let readings: Vec<Reading> = values.iter().enumerate().map(reading).collect();
        if readings.is_empty() {
            return None;
        }
        let sample = Sample { readings };
        let random = sample.scatter().map_or(0.0, |variance| variance / sample.n());
        let whole = random + sample.mean(|r| r.unknown).powi(2);
        let df = if random > 0.0 {
            (sample.n() - 1.0) * (whole / random).powi(2)
        } else {
            f64::INFINITY
        };
        let half = two_sided_quantile(0.05, df) * whole.sqrt();
        let mean = sample.mean(|r| r.value);
        Some(Self { n: values.len(), mean, low: mean - half, high: mean + half })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_value_is_its_measurement_and_many_have_students_interval() {
        let one = Mean::of(&[(-6.0, 0.8)]).unwrap();
        assert!((one.high - one.mean - 1.959_964 * 0.8).abs() < 1e-5, "{one:?}");
        // scipy 1.17.1: stats.t.interval(0.95, 3, loc=2.75, scale=stats.sem([1, 2, 3, 5]))
        let plain = Mean::of(&[(1.0, 0.0), (2.0, 0.0), (3.0, 0.0), (5.0, 0.0)]).unwrap();
        assert!((plain.low - SCIPY.0).abs() < 1e-6 && (plain.high - SCIPY.1).abs() < 1e-6);
        let both = Mean::of(&[(1.0, 1.0), (2.0, 1.0), (3.0, 1.0), (5.0, 1.0)]).unwrap();
        assert!(both.high - both.low > 1.959_964 * 2.0);
        assert_eq!(Mean::of(&[]), None);
    }
    const SCIPY: (f64, f64) = (0.032_469_116, 5.467_530_884);
}
