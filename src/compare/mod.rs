//! Stage 9. In: two sets of swings of one pupil, before and after, as
//! [`SwingResult`]s. Out: for every value both sets have, each swing, mean, spread, the change
//! with its 95 % interval and a verdict; as text ([`table`]) or JSON (schema
//! `hubgauge.compare/1`).
//!
//! Centimetres, degrees, seconds, as in the result file. Method: [`difference`] (Welch's form
//! joined with the errors that do not average out), [`holm`] for looking at many measures,
//! [`permutation`] as a check, minimal detectable change after Weir 2005.
//!
//! Ball-flight numbers that the coach read off may stand beside the body's ([`flight`]).
//!
//! What it does not do: judge whether a change is good. No norm is used; a coach's own target
//! may be given.

mod build;
mod difference;
mod flight;
mod holm;
mod key;
mod mean;
mod notes;
mod permutation;
mod sample;
mod student;
mod table;
mod verdict;
mod words;

#[cfg(test)]
mod simulation;
#[cfg(test)]
mod tests;

use serde::Serialize;

use crate::events::Event;
use crate::geometry::Measure;
use crate::results::{SwingResult, Unit};

pub use build::{compare, compare_with_flight};
pub use difference::{SHARED_BY_SETUP, Scatter};
pub use flight::{BallFlight, Flight, FlightLine, FlightSwing, NO_SOURCE, Quantity, Remark};
pub use key::Key;
pub use mean::Mean;
pub use permutation::Permutation;
pub use sample::KEYPOINTS_REPEATED;
pub use table::table;
pub use verdict::{FAMILY_ERROR, Verdict};
pub use words::{decimals, looked_at};

/// Name and version of the JSON's shape.
pub const SCHEMA: &str = "hubgauge.compare/1";

/// One swing and what to call it.
#[derive(Clone, Copy, Debug)]
pub struct Swing<'a> {
    pub label: &'a str,
    pub result: &'a SwingResult,
}

/// What to look at. Looking at fewer values makes a real change easier to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Events to look at, where `keys` names nothing.
    pub events: Vec<Event>,
    /// Exactly these values.
    pub keys: Vec<Key>,
    /// The camera stood where it stood, with the same zoom, on the same pupil.
    pub same_setup: bool,
    pub targets: Vec<Target>,
}

impl Default for Question {
    /// Everything at the top and at impact, where a pivot is looked at.
    fn default() -> Self {
        Self {
            events: vec![Event::Top, Event::Impact],
            keys: Vec::new(),
            same_setup: false,
            targets: Vec::new(),
        }
    }
}

impl Question {
    /// What this program is for: did the hubs travel differently over the ground by the top?
    /// Four values, so that a real change need not stand out among forty.
    #[must_use]
    pub fn hubs() -> Self {
        let measures = [
            Measure::LowerHubTarget,
            Measure::LowerHubBall,
            Measure::UpperHubTarget,
            Measure::UpperHubBall,
        ];
        let keys = measures.map(|measure| Key::At { event: Event::Top, measure }).to_vec();
        Self { keys, ..Self::default() }
    }
}

/// The coach's own target for one value, in its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    pub key: Key,
    pub value: f64,
}

impl std::str::FromStr for Target {
    type Err = CompareError;

    /// `top.lower_hub_target=-2cm`; the unit may be left out.
    fn from_str(text: &str) -> Result<Self, CompareError> {
        let wrong =
            || CompareError::Target(text.chars().filter(|c| !c.is_control()).take(60).collect());
        let (key, value) = text.split_once('=').ok_or_else(wrong)?;
        let bare =
            ["cm", "deg", "s"].iter().find_map(|unit| value.strip_suffix(unit)).unwrap_or(value);
        let value: f64 = bare.trim().parse().map_err(|_| wrong())?;
        if !value.is_finite() {
            return Err(wrong());
        }
        Ok(Self { key: key.trim().parse()?, value })
    }
}

/// The whole comparison, as it is written down.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    pub schema: &'static str,
    pub program: String,
    pub same_setup: bool,
    pub before: Vec<String>,
    pub after: Vec<String>,
    /// How many values were tested together; the verdicts account for it.
    pub looked_at: usize,
    pub family_error: f64,
    pub lines: Vec<Line>,
    /// What the coach read off his device, in the same form; its own error is unknown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ball_flight: Vec<FlightLine>,
    /// Looked for, but missing on one side or both.
    pub missing: Vec<Absent>,
    pub notes: Vec<String>,
}

/// One value, compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    pub key: Key,
    pub unit: Unit,
    pub before: Side,
    pub after: Side,
    pub change: Change,
    pub verdict: Verdict,
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<Distance>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Side {
    pub n: usize,
    pub mean: f64,
    /// From swing to swing; absent with one swing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread_sd: Option<f64>,
    pub swings: Vec<Dot>,
}

/// One swing's value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Dot {
    pub swing: String,
    pub value: f64,
    /// Of the measurement.
    pub sd: f64,
}

/// After less before.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Change {
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub standard_error: f64,
    /// The part of the standard error that more swings would not make smaller.
    pub lasting_error: f64,
    /// Absent when only the measurement's own, known error is in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    pub scatter: Scatter,
    pub smallest_detectable: f64,
    pub p: f64,
    pub p_adjusted: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub permutation: Option<Permutation>,
}

/// Where the pupil stands after, against the coach's target: after less target.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Distance {
    pub target: f64,
    pub distance: f64,
    pub low: f64,
    pub high: f64,
    pub sentence: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Absent {
    pub key: Key,
    pub reason: String,
}

impl Comparison {
    /// Indented, one final line end.
    ///
    /// # Errors
    /// serde's own.
    pub fn to_json(&self) -> Result<String, CompareError> {
        let mut text = serde_json::to_string_pretty(self).map_err(CompareError::Json)?;
        text.push('\n');
        Ok(text)
    }
}

/// Why nothing was compared.
#[derive(Debug, thiserror::Error)]
pub enum CompareError {
    #[error("one side has no swing: name at least one result after --before and one after --after")]
    NoSwing,
    #[error("{0} and {1} are of a right- and a left-handed golfer: compare swings of one pupil")]
    OtherHand(String, String),
    #[error("{0} and {1} are the same swing: name each swing once on a side")]
    Twice(String, String),
    #[error("the sides have no value in common: compare clips filmed from the same side")]
    NothingInCommon,
    #[error(
        "\"{0}\" is no value of a result: write it as top.lower_hub_target or swing.tempo, with the names in swing.json"
    )]
    UnknownKey(String),
    #[error("ball-flight number \"{given}\": {mend}")]
    Flight { given: String, mend: &'static str },
    #[error("\"{0}\" is no target: write it as top.lower_hub_target=-2cm")]
    Target(String),
    #[error(
        "a target is set for {0}, which is not among the values compared: add it with --look-at"
    )]
    TargetNotLookedAt(Key),
    #[error("cannot make the comparison file: {0}")]
    Json(#[source] serde_json::Error),
}
