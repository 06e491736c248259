//! Plain signal helpers for sampled series. In: times (seconds, rising) and values (any
//! unit). Out: the same unit. No knowledge of bodies or pictures.
//!
//! * [`smooth`]: Butterworth of second order run forward and back, so without lag; each pass
//!   is designed at `cutoff / 0.8022` so that both together give half power at the cut-off
//!   (Winter 2009; Robertson & Dowling 2003; FACTS D9). Ends are continued by odd
//!   reflection, filter states start in equilibrium (Gustafsson 1996 as in scipy's filtfilt).
//! * [`choose_cutoff`]: residual analysis (Winter 2009; FACTS D11).
//! * [`median`], [`robust_sd`], [`linear`], [`cubic`].
//!
//! Uneven times are resampled on an even grid (cubic), filtered, and read back there. It does
//! not bridge gaps: callers cut a series at its gaps first.

use std::f64::consts::{PI, SQRT_2};

/// `(sqrt(2) - 1)^(1/4)`: what a second pass of a second-order Butterworth does to the
/// half-power frequency (FACTS D9).
pub const DUAL_PASS: f64 = 0.8022432629231502;

/// Fewest samples worth filtering; shorter series come back unchanged.
const SHORTEST: usize = 6;

/// Times count as even when no step differs by more than this share from the mean step
/// (container timestamps are rounded to 1 ms at worst: 12 % of a step at 120 a second).
const EVEN: f64 = 0.15;

/// A count as a real number. Counts here stay far below 2^53.
#[expect(clippy::cast_precision_loss, reason = "counts of samples stay far below 2^53")]
#[must_use]
pub fn real(count: usize) -> f64 {
    count as f64
}

/// One pass of a second-order low-pass: `y = b0 x + b1 x' + b2 x'' - a1 y' - a2 y''`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

impl Section {
    /// Bilinear transform with pre-warping; `None` when the corrected cut-off does not lie
    /// below half the rate.
    fn low_pass(rate_hz: f64, cutoff_hz: f64) -> Option<Self> {
        let warped = prewarp(rate_hz, cutoff_hz)?;
        let gain = 1.0 / (1.0 + SQRT_2 * warped + warped * warped);
        let b = warped * warped * gain;
        Some(Self {
            b: [b, 2.0 * b, b],
            a: [
                2.0 * (warped * warped - 1.0) * gain,
                (1.0 - SQRT_2 * warped + warped * warped) * gain,
            ],
        })
    }

    /// Transposed direct form II, started in equilibrium at the first value.
    fn run(&self, values: &mut [f64]) {
        let Some(&first) = values.first() else { return };
        let mut s1 = (1.0 - self.b[0]) * first;
        let mut s2 = (self.b[2] - self.a[1]) * first;
        for value in values {
            let x = *value;
            let y = self.b[0] * x + s1;
            s1 = self.b[1] * x - self.a[0] * y + s2;
            s2 = self.b[2] * x - self.a[1] * y;
            *value = y;
        }
    }
}

/// Tangent of half the digital frequency of each pass, corrected for two passes.
///
/// The correction is made on the warped (analogue) frequency, so that the half-power point
/// of both passes is exact at every rate.
fn prewarp(rate_hz: f64, cutoff_hz: f64) -> Option<f64> {
    let inside = cutoff_hz > 0.0 && rate_hz > 0.0 && cutoff_hz < rate_hz / 2.0;
    inside.then(|| (PI * cutoff_hz / rate_hz).tan() / DUAL_PASS)
}

/// Zero-lag low-pass of an evenly sampled series. A cut-off at or above half the rate leaves
/// the series as it is.
#[must_use]
pub fn low_pass(values: &[f64], rate_hz: f64, cutoff_hz: f64) -> Vec<f64> {
    let section = Section::low_pass(rate_hz, cutoff_hz);
    let (Some(section), true) = (section, values.len() >= SHORTEST) else {
        return values.to_vec();
    };
    let pad = padding(values.len(), rate_hz, cutoff_hz);
    let mut padded = reflect(values, pad);
    section.run(&mut padded);
    padded.reverse();
    section.run(&mut padded);
    padded.reverse();
    padded[pad..pad + values.len()].to_vec()
}

/// One and a half periods of the cut-off: by then the filter has forgotten the edge.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive, capped")]
fn padding(len: usize, rate_hz: f64, cutoff_hz: f64) -> usize {
    let wanted = (1.5 * rate_hz / cutoff_hz).ceil().min(real(len - 1));
    (wanted as usize).clamp(9.min(len - 1), len - 1)
}

/// Continues a series by point reflection about its end values.
fn reflect(values: &[f64], pad: usize) -> Vec<f64> {
    let (first, last) = (values[0], values[values.len() - 1]);
    let before = (1..=pad).rev().map(|i| 2.0 * first - values[i]);
    let after = (1..=pad).map(|i| 2.0 * last - values[values.len() - 1 - i]);
    before.chain(values.iter().copied()).chain(after).collect()
}

/// Zero-lag low-pass of a series with its own times (seconds, rising), evenly spaced or not.
#[must_use]
pub fn smooth(times: &[f64], values: &[f64], cutoff_hz: f64) -> Vec<f64> {
    let n = times.len().min(values.len());
    let (times, values) = (&times[..n], &values[..n]);
    let Some(rate_hz) = mean_rate(times) else { return values.to_vec() };
    if is_even(times, rate_hz) {
        return low_pass(values, rate_hz, cutoff_hz);
    }
    let grid = even_grid(times);
    let resampled: Vec<f64> = grid.iter().map(|&t| cubic(times, values, t)).collect();
    let step = grid[1] - grid[0];
    let filtered = low_pass(&resampled, 1.0 / step, cutoff_hz);
    times.iter().map(|&t| cubic(&grid, &filtered, t)).collect()
}

/// Samples a second on average; `None` for fewer than [`SHORTEST`] samples or no duration.
#[must_use]
pub fn mean_rate(times: &[f64]) -> Option<f64> {
    if times.len() < SHORTEST {
        return None;
    }
    let span = times[times.len() - 1] - times[0];
    (span > 0.0 && span.is_finite()).then(|| real(times.len() - 1) / span)
}

fn is_even(times: &[f64], rate_hz: f64) -> bool {
    times.windows(2).all(|w| ((w[1] - w[0]) * rate_hz - 1.0).abs() <= EVEN)
}

/// Even times at the median step of the series, both ends included.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive, capped")]
fn even_grid(times: &[f64]) -> Vec<f64> {
    let (first, last) = (times[0], times[times.len() - 1]);
    let steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).filter(|s| *s > 0.0).collect();
    let step = median(&steps).unwrap_or(last - first);
    let cells = ((last - first) / step).ceil().clamp(1.0, 8.0 * real(times.len())) as usize;
    (0..=cells).map(|i| first + (last - first) * real(i) / real(cells)).collect()
}

/// A cut-off found by residual analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cutoff {
    pub hz: f64,
    /// Sd of the noise: where the straight tail of the residuals meets 0 Hz.
    pub noise_sd: f64,
}

/// Residual analysis: the root mean square of (raw - smoothed) against the cut-off; a line
/// through its tail (upper half of `candidates_hz`) is carried back to 0 Hz, where it reads
/// the noise; the cut-off is the one whose residual equals that noise.
///
/// `candidates_hz` rises and lies below half the rate. `None` for short series.
#[must_use]
pub fn choose_cutoff(times: &[f64], values: &[f64], candidates_hz: &[f64]) -> Option<Cutoff> {
    if mean_rate(times).is_none() || candidates_hz.len() < 4 {
        return None;
    }
    let residuals: Vec<f64> = candidates_hz
        .iter()
        .map(|&hz| {
            root_mean_square(values.iter().zip(smooth(times, values, hz)).map(|(v, s)| v - s))
        })
        .collect();
    let tail = candidates_hz.len() / 2;
    let noise_sd = intercept(&candidates_hz[tail..], &residuals[tail..])?.max(0.0);
    let hz = crossing(candidates_hz, &residuals, noise_sd)?;
    Some(Cutoff { hz, noise_sd })
}

/// Least-squares line's value at zero.
fn intercept(x: &[f64], y: &[f64]) -> Option<f64> {
    let (mx, my) = (mean(x)?, mean(y)?);
    let sxx: f64 = x.iter().map(|x| (x - mx).powi(2)).sum();
    let sxy: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    (sxx > 0.0).then(|| my - sxy / sxx * mx)
}

/// Where a falling curve first comes down to `level`.
fn crossing(x: &[f64], y: &[f64], level: f64) -> Option<f64> {
    let at = y.iter().position(|&value| value <= level);
    match at {
        None => x.last().copied(),
        Some(0) => x.first().copied(),
        Some(i) => {
            let share = (y[i - 1] - level) / (y[i - 1] - y[i]);
            Some(x[i - 1] + share * (x[i] - x[i - 1]))
        }
    }
}

/// Arithmetic mean; `None` for an empty slice.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / real(values.len()))
}

/// Root of the mean square; zero for no values.
fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0), |(sum, count), v| (sum + v * v, count + 1));
    if count == 0 { 0.0 } else { (sum / real(count)).sqrt() }
}

/// Middle value (of an even count: the middle of the two); NaN values are left out.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| !v.is_nan()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(sorted[n / 2]),
        _ => Some(f64::midpoint(sorted[n / 2 - 1], sorted[n / 2])),
    }
}

/// 1.4826 times the median absolute deviation: the sd of a normal sample, untouched by
/// outliers up to half of it.
#[must_use]
pub fn robust_sd(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
    median(&deviations).map(|mad| 1.4826 * mad)
}

/// Index `i` of the step `times[i] ..= times[i + 1]` that holds `t`, kept inside the series.
fn step_of(times: &[f64], t: f64) -> usize {
    let after = times.partition_point(|&x| x <= t);
    after.saturating_sub(1).min(times.len().saturating_sub(2))
}

/// Straight interpolation; held constant outside. Empty series read NaN.
#[must_use]
pub fn linear(times: &[f64], values: &[f64], t: f64) -> f64 {
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

    fn wave(times: &[f64], hz: f64) -> Vec<f64> {
        times.iter().map(|t| (2.0 * PI * hz * t).sin()).collect()
    }

    fn even(n: usize, rate: f64) -> Vec<f64> {
        (0..n).map(|i| real(i) / rate).collect()
    }

    fn amplitude(values: &[f64]) -> f64 {
        SQRT_2 * root_mean_square(values.iter().copied())
    }

    /// FACTS D9 (Winter 2009; Robertson & Dowling 2003): 6 Hz is designed at 7.48 Hz, at
    /// 7.473 Hz with pre-warping at 240 a second (with the constant rounded to 0.802).
    #[test]
    fn each_pass_is_designed_above_the_cutoff() {
        assert!((6.0 / DUAL_PASS - 7.48).abs() < 0.005);
        let warped = prewarp(240.0, 6.0).unwrap();
        assert!((warped.atan() * 240.0 / PI - 7.473).abs() < 0.003);
        assert!((DUAL_PASS - (SQRT_2 - 1.0).powf(0.25)).abs() < 1e-12);
    }

    /// FACTS D9: the two passes together have gain 0.708 (half power) at the cut-off.
    #[test]
    fn half_power_at_the_cutoff_and_no_lag() {
        for rate in [60.0, 120.0, 240.0] {
            let times = even(1200, rate);
            let raw = wave(&times, 6.0);
            let out = low_pass(&raw, rate, 6.0);
            let middle = 300..900;
            let gain = amplitude(&out[middle.clone()]) / amplitude(&raw[middle.clone()]);
            assert!((gain - 0.707).abs() < 0.003, "{rate} Hz: gain {gain}");
            // Without lag the output is the input times the gain, sample by sample.
            for i in middle {
                assert!((out[i] - gain * raw[i]).abs() < 0.01);
            }
        }
    }

    /// Numbers by scipy 1.17.1, scripts/reference_filter.py.
    #[test]
    fn agrees_with_scipy() {
        let raw: Vec<f64> = (0..40).map(|i| (0.05 * real(i * i)).sin() + 0.02 * real(i)).collect();
        let out = low_pass(&raw, 60.0, 6.0);
        let want = [
            -0.000151449,
            0.17593857,
            0.378013704,
            0.599958464,
            0.790640218,
            0.869674201,
            0.77070446,
            0.496568757,
            0.15070073,
            -0.097495092,
            -0.119777612,
            0.061138582,
            0.275650713,
            0.361088616,
            0.319461312,
            0.280501895,
            0.311388266,
            0.353145311,
            0.36083242,
            0.371327984,
            0.400857638,
            0.422122553,
            0.437981616,
            0.46036314,
            0.480458272,
            0.499323634,
            0.520297989,
            0.540525933,
            0.561455008,
            0.58274918,
            0.603047443,
            0.620926667,
            0.633372226,
            0.638798275,
            0.639174814,
            0.647266749,
            0.69048702,
            0.811133745,
            1.049493313,
            1.386608621,
        ];
        for (out, want) in out.iter().zip(want) {
            assert!((out - want).abs() < 1e-8, "{out} {want}");
        }
    }

    #[test]
    fn a_line_and_a_short_series_pass_unchanged() {
        let line: Vec<f64> = (0..50).map(|i| 3.0 - 0.2 * real(i)).collect();
        for (out, want) in low_pass(&line, 60.0, 6.0).iter().zip(&line) {
            assert!((out - want).abs() < 1e-4, "{out} {want}");
        }
        assert_eq!(low_pass(&line[..5], 60.0, 6.0), &line[..5]);
        assert_eq!(low_pass(&line, 10.0, 6.0), line);
        assert!(smooth(&[], &[], 6.0).is_empty());
    }

    #[test]
    fn uneven_times_smooth_like_even_ones() {
        let mut times = even(240, 60.0);
        for (i, t) in times.iter_mut().enumerate() {
            *t += 0.006 * (real(i) * 2.3).sin();
        }
        times.drain(100..102);
        let slow = wave(&times, 1.0);
        let noisy: Vec<f64> =
            slow.iter().enumerate().map(|(i, v)| v + 0.05 * (real(i) * 2.9).sin()).collect();
        let out = smooth(&times, &noisy, 6.0);
        let error = root_mean_square(out.iter().zip(&slow).map(|(a, b)| a - b));
        assert!(error < 0.01, "{error}");
    }

    #[test]
    fn residual_analysis_reads_the_noise() {
        let times = even(600, 120.0);
        let mut state = 1u64;
        let noise: Vec<f64> = (0..600)
            .map(|_| {
                // Sum of four uniform draws: close to normal, sd 0.01.
                let sum: f64 = (0..4)
                    .map(|_| {
                        state = state
                            .wrapping_mul(6364136223846793005)
                            .wrapping_add(1442695040888963407);
                        f64::from(u32::try_from(state >> 32).unwrap()) / f64::from(u32::MAX) - 0.5
                    })
                    .sum();
                0.01 * sum * 3f64.sqrt()
            })
            .collect();
        let values: Vec<f64> = wave(&times, 1.5).iter().zip(noise).map(|(v, n)| v + n).collect();
        let candidates: Vec<f64> = (1..=40).map(f64::from).collect();
        let cut = choose_cutoff(&times, &values, &candidates).unwrap();
        assert!((cut.noise_sd - 0.01).abs() < 0.002, "{cut:?}");
        assert!((4.0..12.0).contains(&cut.hz), "{cut:?}");
    }

    #[test]
    fn middle_and_spread_ignore_outliers() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0]), Some(2.0));
        assert_eq!(median(&[f64::NAN, 5.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(robust_sd(&[1.0, 2.0, 3.0, 4.0, 1e9]), Some(1.4826));
    }

    #[test]
    fn interpolation_is_exact_where_it_should_be() {
        let times = [0.0, 1.0, 2.5, 3.0, 5.0];
        let parabola = times.map(|t: f64| t * t - t);
        for t in [0.3, 1.7, 2.6, 4.4] {
            assert!((cubic(&times, &parabola, t) - (t * t - t)).abs() < 1e-12);
        }
        assert_eq!(linear(&times, &times, 2.2), 2.2);
        assert_eq!(linear(&times, &times, 9.0), 5.0);
        assert_eq!(cubic(&times, &parabola, 9.0), 20.0);
        assert!(linear(&[], &[], 0.0).is_nan());
    }
}
