//! Lengths as a coach writes them. In: text with a unit. Out: metres.
//!
//! Units: 1 in = 0.0254 m and 1 ft = 12 in exactly (international yard and pound agreement, 1959).
//! A bare number is refused: 1.79 and 70 are both heights, in different units.

use super::OptionsError;
use crate::units::Metres;

const INCH_M: f64 = 0.0254;
const INCHES_PER_FOOT: f64 = 12.0;
/// One unit after the number, metres each.
const SINGLE: [(&str, f64); 4] = [("mm", 0.001), ("cm", 0.01), ("in", INCH_M), ("m", 1.0)];

/// Reads `179cm`, `1.79m`, `1790mm`, `70in`, `5ft`, `5ft10in`; spaces are allowed.
///
/// # Errors
/// When the unit is missing or unknown, or what stands before it is not a number.
pub fn parse_length(flag: &'static str, text: &str) -> Result<Metres, OptionsError> {
    let bare: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    let bare = bare.to_lowercase();
    let metres = match bare.split_once("ft") {
        Some((feet, inches)) => feet_and_inches(feet, inches),
        None => {
            SINGLE.iter().find_map(|(unit, size)| Some(number(bare.strip_suffix(unit)?)? * size))
        }
    };
    if let Some(metres) = metres {
        return Ok(Metres(metres));
    }
    let text = text.to_owned();
    Err(if number(&bare).is_some() {
        OptionsError::NoUnit { flag, text }
    } else {
        OptionsError::NotALength { flag, text }
    })
}

fn feet_and_inches(feet: &str, inches: &str) -> Option<f64> {
    let feet = number(feet)?;
    let inches = match inches {
        "" => 0.0,
        some => number(some.strip_suffix("in")?)?,
    };
    (inches < INCHES_PER_FOOT).then_some((feet * INCHES_PER_FOOT + inches) * INCH_M)
}

/// A plain decimal number: no sign, no exponent, no infinity.
fn number(text: &str) -> Option<f64> {
    let plain = text.chars().all(|c| c.is_ascii_digit() || c == '.');
    plain.then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn metres(text: &str) -> f64 {
        parse_length("--stature", text).unwrap().0
    }

    #[test]
    fn every_unit_reads_the_same_person() {
        for text in ["179cm", "1.79m", "1790mm", " 1.79 m ", "179CM"] {
            assert_relative_eq!(metres(text), 1.79, epsilon = 1e-12);
        }
        for text in ["5ft10in", "70in", "5 ft 10 in", "5FT10IN"] {
            assert_relative_eq!(metres(text), 1.778, epsilon = 1e-12);
        }
        assert_relative_eq!(metres("6ft"), 1.8288, epsilon = 1e-12);
        assert_relative_eq!(metres("5ft10.5in"), 1.7907, epsilon = 1e-12);
    }

    #[test]
    fn a_bare_number_is_told_to_name_its_unit() {
        let error = parse_length("--stature", "1.79").unwrap_err();
        assert!(matches!(error, OptionsError::NoUnit { .. }));
        assert!(error.to_string().contains("1.79m"), "{error}");
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for text in
            ["", "m", "tall", "-1.79m", "1,79m", "1.7.9m", "5ft12in", "ft10in", "infm", "1e3m"]
        {
            let error = parse_length("--stature", text).unwrap_err();
            assert!(matches!(error, OptionsError::NotALength { .. }), "{text}: {error}");
        }
    }
}
