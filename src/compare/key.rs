//! What a comparison looks at: a measure at an event, or one of the whole swing. In and out:
//! text such as `top.lower_hub_target` and `swing.tempo`, the names of the result file.

use std::fmt;
use std::str::FromStr;

use serde::de::DeserializeOwned;
use serde::{Serialize, Serializer};

use super::CompareError;
use crate::events::Event;
use crate::geometry::Measure;
use crate::results::{SwingMeasure, SwingResult, Unit, Value};

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    At { event: Event, measure: Measure },
    Swing { measure: SwingMeasure },
}

impl Key {
    /// What a result says about it.
    #[must_use]
    pub fn of(self, result: &SwingResult) -> Option<&Value> {
        match self {
            Self::At { event, measure } => result.measures.get(&event)?.get(&measure),
            Self::Swing { measure } => result.swing.get(&measure),
        }
    }

    /// The unit that its values have in a result.
    #[must_use]
    pub fn unit(self) -> Unit {
        match self {
            Self::At { measure, .. } if measure.is_length() => Unit::Cm,
            Self::At { .. } | Self::Swing { measure: SwingMeasure::SeparationGain } => Unit::Deg,
            Self::Swing { measure: SwingMeasure::Tempo } => Unit::Ratio,
            Self::Swing { .. } => Unit::S,
        }
    }

    /// All of them, in the order of the result file.
    pub fn all() -> impl Iterator<Item = Self> {
        let at = Event::ALL.into_iter().flat_map(|event| {
            Measure::ALL.into_iter().map(move |measure| Self::At { event, measure })
        });
        let swing = [
            SwingMeasure::BackswingS,
            SwingMeasure::DownswingS,
            SwingMeasure::Tempo,
            SwingMeasure::SeparationGain,
            SwingMeasure::PelvisLeadS,
        ];
        at.chain(swing.into_iter().map(|measure| Self::Swing { measure }))
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::At { event, measure } => write!(f, "{}.{}", name(event), name(measure)),
            Self::Swing { measure } => write!(f, "swing.{}", name(measure)),
        }
    }
}

impl FromStr for Key {
    type Err = CompareError;

    fn from_str(text: &str) -> Result<Self, CompareError> {
        let unknown = || {
            CompareError::UnknownKey(text.chars().filter(|c| !c.is_control()).take(60).collect())
        };
        let (when, what) = text.split_once('.').ok_or_else(unknown)?;
        if when == "swing" {
            return Ok(Self::Swing { measure: named(what).ok_or_else(unknown)? });
        }
        let (event, measure) = named(when).zip(named(what)).ok_or_else(unknown)?;
        Ok(Self::At { event, measure })
    }
}

impl Serialize for Key {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The name that serde writes for an enum without fields.
fn name(key: &impl Serialize) -> String {
    match serde_json::to_value(key) {
        Ok(serde_json::Value::String(text)) => text,
        _ => String::new(),
    }
}

fn named<T: DeserializeOwned>(text: &str) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(text.to_owned())).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_reads_back() {
        assert_eq!(Key::all().count(), 7 * 18 + 5);
        for key in Key::all() {
            assert_eq!(key.to_string().parse::<Key>().unwrap(), key);
        }
        assert_eq!(Key::all().next().unwrap().to_string(), "address.lower_hub_target");
        for wrong in ["", "top", "top.", "top.tempo", "swing.top", "nowhere.lower_hub_target"] {
            let said = wrong.parse::<Key>().unwrap_err().to_string();
            assert!(said.contains("top.lower_hub_target"), "{said}");
        }
    }
}
