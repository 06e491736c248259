//! How a reader likes numbers. In: centimetres, degrees, seconds as the result has them. Out: text
//! in centimetres or inches, with a decimal point or comma.

use super::Unit;
use super::round::at;
use super::value::decimals_shown;
use crate::units::Estimate;

/// Exact by definition (1959 agreement).
const CM_PER_INCH: f64 = 2.54;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LengthUnit {
    #[default]
    Cm,
    Inch,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DecimalMark {
    #[default]
    Point,
    Comma,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Style {
    pub length: LengthUnit,
    pub decimal: DecimalMark,
}

impl Style {
    /// `cm` or `in`.
    #[must_use]
    pub fn length_unit(&self) -> &'static str {
        match self.length {
            LengthUnit::Cm => "cm",
            LengthUnit::Inch => "in",
        }
    }

    /// What follows a number, with the space it needs.
    #[must_use]
    pub fn suffix(&self, unit: Unit) -> &'static str {
        match (unit, self.length) {
            (Unit::Cm, LengthUnit::Inch) => " in",
            _ => unit.suffix(),
        }
    }

    /// A value of the result in the reader's unit; an sd goes the same way.
    #[must_use]
    pub fn shown(&self, value: f64, unit: Unit) -> f64 {
        match (unit, self.length) {
            (Unit::Cm, LengthUnit::Inch) => value / CM_PER_INCH,
            _ => value,
        }
    }

    /// Rounded, never minus zero.
    #[must_use]
    pub fn number(&self, value: f64, decimals: usize) -> String {
        let value = at(value, i32::try_from(decimals).unwrap_or(1));
        let text = format!("{value:.decimals$}");
        match self.decimal {
            DecimalMark::Point => text,
            DecimalMark::Comma => text.replace('.', ","),
        }
    }

    /// As [`Self::number`], with a plus before what is larger than zero.
    #[must_use]
    pub fn signed(&self, value: f64, decimals: usize) -> String {
        let text = self.number(value, decimals);
        let plus = value > 0.0 && text.contains(|c: char| ('1'..='9').contains(&c));
        if plus { format!("+{text}") } else { text }
    }

    /// `-6.1 ± 0.9`, in the reader's unit and without it.
    #[must_use]
    pub fn plus_minus(&self, outside: Estimate, unit: Unit) -> String {
        let (value, sd) = (self.shown(outside.value, unit), self.shown(outside.sd, unit));
        let decimals = decimals_shown(sd);
        format!("{} ± {}", self.number(value, decimals), self.number(sd, decimals))
    }

    /// `+5.5 ± 1.1`
    #[must_use]
    pub fn signed_plus_minus(&self, outside: Estimate, unit: Unit) -> String {
        let (value, sd) = (self.shown(outside.value, unit), self.shown(outside.sd, unit));
        let decimals = decimals_shown(sd);
        format!("{} ± {}", self.signed(value, decimals), self.number(sd, decimals))
    }

    /// `6.1 ± 0.9 cm`: the size alone, where words say the direction.
    #[must_use]
    pub fn size(&self, outside: Estimate, unit: Unit) -> String {
        let size = Estimate::new(outside.value.abs(), outside.sd);
        format!("{}{}", self.plus_minus(size, unit), self.suffix(unit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_what_the_table_says() {
        let (style, known) = (Style::default(), Estimate::new(-6.13, 0.912));
        assert_eq!(
            style.plus_minus(known, Unit::Cm),
            crate::results::value::plus_minus(-6.13, 0.912)
        );
        assert_eq!(style.size(known, Unit::Cm), "6.1 ± 0.9 cm");
        assert_eq!(style.signed_plus_minus(Estimate::new(5.5, 1.1), Unit::Cm), "+5.5 ± 1.1");
        assert_eq!(style.signed(0.04, 1), "0.0");
        assert_eq!(style.signed(-0.04, 1), "0.0");
    }

    #[test]
    fn inches_and_commas() {
        let style = Style { length: LengthUnit::Inch, decimal: DecimalMark::Comma };
        assert_eq!(style.size(Estimate::new(-25.4, 2.54), Unit::Cm), "10,0 ± 1,0 in");
        assert_eq!(style.size(Estimate::new(9.9, 2.1), Unit::Deg), "9,9 ± 2,1°");
    }
}
