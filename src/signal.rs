//! Plain helpers for sampled series. In: times (rising) and values (any unit). Out: the same
//! unit. No knowledge of bodies or pictures.

/// A count as a real number. Counts here stay far below 2^53.
#[expect(clippy::cast_precision_loss, reason = "counts of samples stay far below 2^53")]
#[must_use]
pub fn real(count: usize) -> f64 {
    count as f64
}

/// Arithmetic mean; `None` for an empty slice.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / real(values.len()))
}

/// Middle value (of an even count: the middle of the two); what is not finite is left out.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(sorted[n / 2]),
        _ => Some(f64::midpoint(sorted[n / 2 - 1], sorted[n / 2])),
    }
}

/// Index `i` of the step `times[i] ..= times[i + 1]` that holds `t`, kept inside the series.
fn step_of(times: &[f64], t: f64) -> usize {
    let after = times.partition_point(|&x| x <= t);
    after.saturating_sub(1).min(times.len().saturating_sub(2))
}

/// Straight interpolation; held constant outside. Empty series read NaN.
fn linear(times: &[f64], values: &[f64], t: f64) -> f64 {
    match values {
        [] => f64::NAN,
        [only] => *only,
        _ => {
            let i = step_of(times, t);
            let share = ((t - times[i]) / (times[i + 1] - times[i])).clamp(0.0, 1.0);
            values[i] + share * (values[i + 1] - values[i])
        }
    }
}

/// Cubic Hermite interpolation with three-point slopes (exact for parabolas on uneven
/// times); held constant outside. Fewer than three samples are joined straight.
#[must_use]
pub fn cubic(times: &[f64], values: &[f64], t: f64) -> f64 {
    if values.len() < 3 {
        return linear(times, values, t);
    }
    let i = step_of(times, t);
    let width = times[i + 1] - times[i];
    let u = ((t - times[i]) / width).clamp(0.0, 1.0);
    let (m0, m1) = (slope(times, values, i) * width, slope(times, values, i + 1) * width);
    let (u2, u3) = (u * u, u * u * u);
    (2.0 * u3 - 3.0 * u2 + 1.0) * values[i]
        + (u3 - 2.0 * u2 + u) * m0
        + (3.0 * u2 - 2.0 * u3) * values[i + 1]
        + (u3 - u2) * m1
}

/// Derivative at sample `i` of the parabola through it and its neighbours (at an end: of the
/// parabola through the first or last three samples). Needs three samples.
fn slope(times: &[f64], values: &[f64], i: usize) -> f64 {
    let c = i.clamp(1, values.len() - 2);
    let (h0, h1) = (times[c] - times[c - 1], times[c + 1] - times[c]);
    let (d0, d1) = ((values[c] - values[c - 1]) / h0, (values[c + 1] - values[c]) / h1);
    let middle = (h1 * d0 + h0 * d1) / (h0 + h1);
    let bend = 2.0 * (d1 - d0) / (h0 + h1);
    middle + bend * (times[i] - times[c])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_leaves_out_what_is_no_number() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0]), Some(2.0));
        assert_eq!(median(&[f64::NAN, 5.0, 1.0, f64::INFINITY, 2.0]), Some(2.0));
    }

    #[test]
    fn interpolation_is_exact_where_it_should_be() {
        let times = [0.0, 1.0, 2.5, 3.0, 5.0];
        let parabola = times.map(|t: f64| t * t - t);
        for t in [0.3, 1.7, 2.6, 4.4] {
            assert!((cubic(&times, &parabola, t) - (t * t - t)).abs() < 1e-12);
        }
        assert_eq!(cubic(&times, &parabola, 9.0), 20.0);
        assert_eq!(cubic(&times[..2], &times[..2], 0.7), 0.7);
        assert!(cubic(&[], &[], 0.0).is_nan());
    }
}
