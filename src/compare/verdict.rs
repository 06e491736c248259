//! The verdict on one measure. In: its [`Difference`] and its p-value adjusted for everything
//! looked at. Out: [`Verdict`] and the sentence a coach reads.

use super::Key;
use super::difference::{Difference, Scatter};
use super::words::{decimals, number, verb, way};
use crate::results::Unit;

/// The chance of even one false "moved" in a comparison stays at or below this.
pub const FAMILY_ERROR: f64 = 0.05;

#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Moved,
    NotShown,
    TooFewSwings,
}

impl Verdict {
    /// Moved only when all three agree: the test over everything looked at, the interval of
    /// this measure, and the smallest change that the measurement can see.
    #[must_use]
    pub fn new(difference: &Difference, adjusted_p: f64, looked_at: f64) -> Self {
        let size = difference.value.abs();
        let seen = size >= difference.detectable;
        if seen && adjusted_p <= FAMILY_ERROR && size > difference.half_width() {
            Self::Moved
        } else if seen
            && difference.scatter != Scatter::Unknown
            && difference.p_with_many_swings() * looked_at <= FAMILY_ERROR
        {
            Self::TooFewSwings
        } else {
            Self::NotShown
        }
    }

    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Moved => "moved",
            Self::NotShown => "not shown",
            Self::TooFewSwings => "too few swings",
        }
    }

    /// `moved 4.1 cm toward the target (95 % interval 2.2 to 6.0)`.
    #[must_use]
    pub fn sentence(self, key: Key, unit: Unit, difference: &Difference) -> String {
        let (value, half) = (difference.value, difference.half_width());
        let places = decimals(half);
        let suffix = unit.suffix();
        let change = format!("{}{suffix} {}", number(value.abs(), places), way(key, value));
        let interval = format!(
            "95 % interval {} to {}",
            number(value - half, places),
            number(value + half, places)
        );
        match self {
            // One way throughout: sizes say it without signs.
            Self::Moved => format!(
                "{}{change} (95 % interval {} to {})",
                verb(key),
                number(value.abs() - half, places),
                number(value.abs() + half, places)
            ),
            Self::NotShown => format!(
                "not shown: {change} ({interval}); the measurement itself sees changes from {}{suffix}",
                number(difference.detectable, places)
            ),
            Self::TooFewSwings => format!(
                "too few swings: {change} ({interval}); so few swings can differ that much by chance, film more of them"
            ),
        }
    }
}
