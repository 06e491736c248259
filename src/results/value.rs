//! One entry of the result: a value with its sd and unit, or why there is none.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::round::rounded;
use super::style::Style;
use crate::units::Estimate;

/// Unit of a value outside the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Centimetres.
    Cm,
    /// Degrees.
    Deg,
    /// Seconds of real time.
    S,
    /// A time over a time.
    Ratio,
}

impl Unit {
    /// As printed after a number, with the space it needs.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        match self {
            Self::Cm => " cm",
            Self::Deg => "°",
            Self::S => " s",
            Self::Ratio => "",
        }
    }
}

/// A value with its sd, or the reason in words why it is missing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum Value {
    Known { value: f64, sd: f64, unit: Unit },
    Missing { missing: String },
}

impl Value {
    /// Rounded as its sd deserves; missing when either number is none.
    #[must_use]
    pub fn new(estimate: Estimate, unit: Unit) -> Self {
        if !(estimate.value.is_finite() && estimate.sd.is_finite() && estimate.sd >= 0.0) {
            return Self::missing("could not be worked out from this clip");
        }
        let (value, sd) = rounded(estimate.value, estimate.sd);
        Self::Known { value, sd, unit }
    }

    #[must_use]
    pub fn missing(reason: impl Into<String>) -> Self {
        Self::Missing { missing: reason.into() }
    }

    /// The value and its sd, where known.
    #[must_use]
    pub fn estimate(&self) -> Option<Estimate> {
        match self {
            Self::Known { value, sd, .. } => Some(Estimate::new(*value, *sd)),
            Self::Missing { .. } => None,
        }
    }

    /// The size without its sign, where an arrow shows the direction: `6.1 ± 0.9 cm`.
    #[must_use]
    pub fn size(&self) -> Option<String> {
        match self {
            Self::Known { value, sd, unit } => {
                Some(format!("{}{}", plus_minus(value.abs(), *sd), unit.suffix()))
            }
            Self::Missing { .. } => None,
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Known { value, sd, unit } => {
                write!(f, "{}{}", plus_minus(*value, *sd), unit.suffix())
            }
            Self::Missing { missing } => f.write_str(missing),
        }
    }
}

/// `-6.1 ± 0.9`: one decimal, none where the sd is ten or more, two where the sd is under 0.1.
#[must_use]
pub fn plus_minus(value: f64, sd: f64) -> String {
    let (style, decimals) = (Style::default(), decimals_shown(sd));
    format!("{} ± {}", style.number(value, decimals), style.number(sd, decimals))
}

/// Decimals for a reader's eye.
#[must_use]
pub fn decimals_shown(sd: f64) -> usize {
    if sd >= 9.95 {
        0
    } else if sd >= 0.095 {
        1
    } else if sd >= 0.0095 {
        2
    } else {
        3
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_has_the_contract_s_shape_and_reads_back() {
        let known = Value::new(Estimate::new(-6.1, 0.9), Unit::Cm);
        let missing = Value::missing("needs a down-the-line clip");
        let text = serde_json::to_string(&[&known, &missing]).unwrap();
        assert_eq!(
            text,
            r#"[{"value":-6.1,"sd":0.9,"unit":"cm"},{"missing":"needs a down-the-line clip"}]"#
        );
        assert_eq!(serde_json::from_str::<Vec<Value>>(&text).unwrap(), [known, missing]);
    }

    #[test]
    fn the_size_has_no_sign() {
        let value = Value::new(Estimate::new(-6.13, 0.9), Unit::Cm);
        assert_eq!(value.size().as_deref(), Some("6.1 ± 0.9 cm"));
        assert_eq!(value.to_string(), "-6.1 ± 0.9 cm");
        assert_eq!(Value::missing("x").size(), None);
    }

    #[test]
    fn no_number_is_missing_never_zero() {
        assert_eq!(Value::new(Estimate::new(f64::NAN, 1.0), Unit::Cm).estimate(), None);
        assert_eq!(Value::new(Estimate::new(1.0, f64::INFINITY), Unit::Deg).estimate(), None);
    }

    #[test]
    fn a_reader_sees_as_many_decimals_as_the_sd_deserves() {
        assert_eq!(plus_minus(-6.13, 0.912), "-6.1 ± 0.9");
        assert_eq!(plus_minus(97.13, 12.3), "97 ± 12");
        assert_eq!(plus_minus(1.8601, 0.008), "1.860 ± 0.008");
        assert_eq!(plus_minus(-0.02, 0.5), "0.0 ± 0.5");
        assert_eq!(plus_minus(34.8, 1.45), "34.8 ± 1.5");
    }
}
