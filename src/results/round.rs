//! Rounding for readers. In: a value and its sd. Out: both without digits that mean nothing.

/// Significant digits kept of an sd, and at least of a value.
const SIGNIFICANT: i32 = 3;
/// No value of this program means anything beyond a millionth of its unit.
const MOST_DECIMALS: i32 = 6;

/// Rounds the sd to three significant digits and the value to the same place (or to three
/// significant digits of its own where those are finer).
#[must_use]
pub fn rounded(value: f64, sd: f64) -> (f64, f64) {
    let fine = decimals(sd);
    (at(value, fine.max(decimals(value))), at(sd, fine))
}

/// Three significant digits.
#[must_use]
pub fn significant(value: f64) -> f64 {
    at(value, decimals(value))
}

/// Decimals that leave three significant digits.
fn decimals(value: f64) -> i32 {
    let mut decimals = SIGNIFICANT - 1;
    let mut scale = value.abs();
    while scale >= 10.0 && decimals > 0 {
        scale /= 10.0;
        decimals -= 1;
    }
    while scale > 0.0 && scale < 1.0 && decimals < MOST_DECIMALS {
        scale *= 10.0;
        decimals += 1;
    }
    decimals
}

/// Rounded to so many decimals, never to minus zero.
#[must_use]
pub fn at(value: f64, decimals: i32) -> f64 {
    let step = 10f64.powi(decimals);
    (value * step).round() / step + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sd_decides_the_digits() {
        assert_eq!(rounded(-6.123_456, 0.912_34), (-6.123, 0.912));
        assert_eq!(rounded(97.123_4, 6.234_5), (97.12, 6.23));
        assert_eq!(rounded(1.860_123, 0.008_123_4), (1.860_12, 0.008_12));
    }

    #[test]
    fn a_value_keeps_three_digits_under_a_wide_sd() {
        assert_eq!(rounded(-6.123_456, 123.4), (-6.12, 123.0));
        assert_eq!(rounded(1234.5, 345.6), (1235.0, 346.0));
    }

    #[test]
    fn zero_has_no_sign() {
        let (value, sd) = rounded(-0.000_000_01, 0.5);
        assert!(value == 0.0 && value.is_sign_positive());
        assert_eq!(sd, 0.5);
    }
}
