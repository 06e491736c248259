//! Quantities with their unit in the type. In: raw numbers at an edge. Out: checked values.
//!
//! Lengths are metres, angles radians, times seconds of real time; degrees and
//! centimetres exist only where a person reads them.

use serde::{Deserialize, Serialize};

/// Real time, seconds. After [`crate::track`] the origin is the first displayed frame of the clip.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
pub struct Seconds(pub f64);

/// Length in the world, metres.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
pub struct Metres(pub f64);

/// Angle, radians.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
pub struct Radians(pub f64);

impl Radians {
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0.to_degrees()
    }
}

/// A probability-like score in 0..=1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Confidence(f64);

impl TryFrom<f64> for Confidence {
    type Error = &'static str;
    fn try_from(value: f64) -> Result<Self, Self::Error> {
        Self::new(value).ok_or("a score outside 0..=1")
    }
}

impl From<Confidence> for f64 {
    fn from(score: Confidence) -> Self {
        score.0
    }
}

impl Confidence {
    /// `None` for NaN and for values outside 0..=1.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=1.0).contains(&value).then_some(Self(value))
    }

    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }
}

/// A value with its standard deviation, both in the unit of the context.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Estimate {
    pub value: f64,
    pub sd: f64,
}

impl Estimate {
    #[must_use]
    pub fn new(value: f64, sd: f64) -> Self {
        Self { value, sd }
    }

    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, sd: self.sd * factor.abs() }
    }

    /// Two independent estimates of one quantity, weighted by their inverse variance.
    #[must_use]
    pub fn combined(self, other: Self) -> Self {
        let (a, b) = (self.sd.powi(-2), other.sd.powi(-2));
        Self { value: (a * self.value + b * other.value) / (a + b), sd: (a + b).sqrt().recip() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn confidence_rejects_what_is_no_probability() {
        assert!(Confidence::new(f64::NAN).is_none());
        assert!(Confidence::new(1.01).is_none());
        assert!(Confidence::new(-0.1).is_none());
        assert_eq!(Confidence::new(0.5).map(Confidence::get), Some(0.5));
    }

    #[test]
    fn combining_weights_by_inverse_variance() {
        let both = Estimate::new(0.0, 1.0).combined(Estimate::new(3.0, 2.0));
        assert!((both.value - 0.6).abs() < 1e-12);
        assert!((both.sd - 0.8_f64.sqrt()).abs() < 1e-12);
    }
}
