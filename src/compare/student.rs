//! Student's t and the normal distribution. In: degrees of freedom, a probability or a value.
//! Out: tail probability, quantile.
//!
//! Method: the regularised incomplete beta function by its continued fraction (DLMF 8.17.22)
//! evaluated after Lentz; the quantile by Newton's steps inside a bracket. Checked against scipy
//! 1.17.1.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Two-sided tail probability of Student's t; infinite `df` is the normal distribution.
#[must_use]
pub fn two_sided(t: f64, df: f64) -> f64 {
    if t.is_nan() {
        return 1.0;
    }
    if df > MOST_DF {
        return erfc(t.abs() * FRAC_1_SQRT_2);
    }
    beta_regularised(df / (df + t * t), df / 2.0, 0.5)
}

/// The value that is exceeded in size with probability `tail` (both sides together), 0 < tail < 1.
#[must_use]
pub fn two_sided_quantile(tail: f64, df: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while two_sided(high, df) > tail && high < LARGEST {
        low = high;
        high *= 4.0;
    }
    let mut at = 0.5 * (low + high);
    for _ in 0..MOST_STEPS {
        let here = two_sided(at, df);
        if here > tail {
            low = at
        } else {
            high = at
        }
        // Newton on the logarithm of the tail, inside the bracket.
        let step = here * (here / tail).ln() / (2.0 * density(at, df));
        let next = if at + step > low && at + step < high { at + step } else { 0.5 * (low + high) };
        if (next - at).abs() <= 1e-13 * at {
            return next;
        }
        at = next;
    }
    at
}

/// Above, t is the normal distribution to nine digits.
const MOST_DF: f64 = 1e9;
/// Larger quantiles say nothing a reader could use.
const LARGEST: f64 = 1e12;
/// Newton needs a dozen; halving alone would need this many.
const MOST_STEPS: u32 = 80;

fn density(t: f64, df: f64) -> f64 {
    if df > MOST_DF {
        return (-0.5 * t * t).exp() / (2.0 * PI).sqrt();
    }
    let front = ln_gamma(0.5 * (df + 1.0)) - ln_gamma(0.5 * df) - 0.5 * (df * PI).ln();
    (front - 0.5 * (df + 1.0) * (t * t / df).ln_1p()).exp()
}

/// Complementary error function for x >= 0: series DLMF 7.6.2, continued fraction 7.9.1.
fn erfc(x: f64) -> f64 {
    let bell = (-x * x).exp();
    if x < 2.0 {
        let (mut term, mut sum) = (x, x);
        for n in 1..80_u32 {
            term *= 2.0 * x * x / f64::from(2 * n + 1);
            sum += term;
        }
        return 1.0 - 2.0 / PI.sqrt() * bell * sum;
    }
    let below = (1..=80_u32).rev().fold(x, |rest, n| x + 0.5 * f64::from(n) / rest);
    bell / (PI.sqrt() * below)
}

/// I_x(a, b).
fn beta_regularised(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p()).exp();
    // The fraction converges quickly on this side only; the other is its mirror image.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(x, a, b) / a
    } else {
        1.0 - front * fraction(1.0 - x, b, a) / b
    }
}

/// The continued fraction of DLMF 8.17.22, modified Lentz.
fn fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away_from_zero = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = away_from_zero(1.0 - (a + b) * x / (a + 1.0)).recip();
    let mut product = d;
    for step in 1..100_000_u32 {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut last = 1.0;
        for term in [even, odd] {
            d = away_from_zero(1.0 + term * d).recip();
            c = away_from_zero(1.0 + term / c);
            last = c * d;
            product *= last;
        }
        if (last - 1.0).abs() < 1e-15 {
            break;
        }
    }
    product
}

/// Stirling's series (DLMF 5.11.1) after shifting the argument above ten.
fn ln_gamma(x: f64) -> f64 {
    let (mut shift, mut z) = (0.0, x);
    while z < 10.0 {
        shift += z.ln();
        z += 1.0;
    }
    let series = 1.0 / (12.0 * z) - 1.0 / (360.0 * z.powi(3)) + 1.0 / (1260.0 * z.powi(5))
        - 1.0 / (1680.0 * z.powi(7));
    (z - 0.5) * z.ln() - z + 0.5 * (2.0 * PI).ln() + series - shift
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: `stats.t.ppf(q, df)` at q = 0.975, 0.995, 0.9998 and
    /// `2 * stats.t.sf(2.5, df)`; df 30 at 0.995 is its `isf(0.005)`, where its `ppf` differs in the
    /// eighth digit.
    const SCIPY: [(f64, [f64; 3], f64); 6] = [
        (1.0, [12.706204736174694, 63.656741162871526, 1591.549221479613], 0.24223788318168682),
        (2.0, [4.302652729749462, 9.924843200918287, 49.984998749827724], 0.12961172022151082),
        (2.5, [3.5746548420036817, 7.163728138948783, 26.409321064038767], 0.1045699630781554),
        (4.0, [2.7764451051977934, 4.604094871349992, 10.915495313499237], 0.06676654481198814),
        (7.3, [2.345066736547703, 3.451031655622185, 6.140110279397441], 0.03965023466560043),
        (30.0, [2.0422724563012378, 2.749995653567226, 3.983091859426273], 0.01811564906806669),
    ];

    #[test]
    fn quantiles_and_tails_are_those_of_scipy() {
        for (df, quantiles, tail) in SCIPY {
            for (q, want) in [0.975, 0.995, 0.9998].into_iter().zip(quantiles) {
                let got = two_sided_quantile(2.0 * (1.0 - q), df);
                assert!((got / want - 1.0).abs() < 1e-9, "df {df} q {q}: {got} {want}");
            }
            assert!((two_sided(2.5, df) / tail - 1.0).abs() < 1e-11, "df {df}");
        }
    }

    #[test]
    fn without_an_end_to_the_degrees_of_freedom_it_is_the_normal_distribution() {
        // scipy 1.17.1: stats.norm.ppf(0.975), 2 * stats.norm.sf(3.5)
        let got = two_sided_quantile(0.05, f64::INFINITY);
        assert!((got - 1.959963984540054).abs() < 1e-12, "{got}");
        let tail = two_sided(3.5, f64::INFINITY);
        assert!((tail / 0.00046525815807105003 - 1.0).abs() < 1e-12, "{tail}");
    }

    #[test]
    fn the_facts_multipliers_are_reproduced() {
        // FACTS G6, half-width of two samples over their sd, n per side: t(2n - 2) sqrt(2 / n).
        for (n, want) in
            [(3.0_f64, 2.27), (4.0, 1.73), (5.0, 1.46), (6.0, 1.29), (8.0, 1.07), (10.0, 0.94)]
        {
            let got = two_sided_quantile(0.05, 2.0 * n - 2.0) * (2.0 / n).sqrt();
            assert!((got - want).abs() < 0.02, "n {n}: {got}");
        }
    }
}
