//! The result file's types. In: JSON. Out: a checked [`SwingResult`], and the other way round.
//!
//! Maps are ordered (events in the swing's order, measures in the contract's), so that the same
//! swing gives the same bytes.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{ResultError, Value};
use crate::calibration::{ScaleMethod, View};
use crate::events::Event;
use crate::frames::Handed;
use crate::geometry::Measure;

/// Name and version of the file's shape; another shape gets another number.
pub const SCHEMA: &str = "hubgauge.swing/1";

/// One swing, as it is written down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SwingResult {
    pub schema: String,
    pub program: String,
    pub pupil: Pupil,
    pub clips: Vec<ClipEntry>,
    pub scale: ScaleEntry,
    pub events: BTreeMap<Event, EventEntry>,
    pub measures: BTreeMap<Event, BTreeMap<Measure, Value>>,
    pub swing: BTreeMap<SwingMeasure, Value>,
    #[serde(default, skip_serializing_if = "Explanation::is_empty")]
    pub explain: Explanation,
    #[serde(default)]
    pub notes: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pupil {
    /// As given; absent when the coach gave none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stature_m: Option<f64>,
    pub handed: Handed,
}

/// One clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClipEntry {
    pub view: View,
    /// File name without its folder.
    pub file: String,
    pub sha256: String,
    /// Displayed frames.
    pub frames: usize,
    /// Of the upright picture, pixels.
    pub width: u32,
    pub height: u32,
    /// File time of the first and the last displayed frame, seconds.
    pub first_s: f64,
    pub last_s: f64,
    /// Seconds of file time for one second of real time: 8 for 240 fps stretched to 30.
    pub time_scale: f64,
    pub camera_motion: MotionNote,
    /// Real time of this clip's first displayed frame on the result's clock, seconds; given
    /// when there are two clips.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset_s: Option<f64>,
}

impl ClipEntry {
    /// Frames for each second of real time, where the clip has two frames.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a clip's frames stay far below 2^53")]
    pub fn capture_fps(&self) -> Option<f64> {
        let real = (self.last_s - self.first_s) / self.time_scale;
        (self.frames > 1 && real > 0.0).then(|| (self.frames - 1) as f64 / real)
    }
}

/// What was done about the camera's own motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MotionNote {
    Still,
    Compensated,
    Untrusted,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScaleEntry {
    pub method: ScaleMethod,
    pub relative_sd: f64,
}

/// When an event was: real time since the first displayed frame of the face-on (or only) clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EventEntry {
    pub time_s: f64,
    pub sd_s: f64,
    /// The nearest displayed frame of each clip, counted from 0.
    pub frames: BTreeMap<View, usize>,
}

/// What is measured over the whole swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SwingMeasure {
    /// Takeaway to top.
    BackswingS,
    /// Top to impact.
    DownswingS,
    /// Backswing over downswing.
    Tempo,
    /// Largest separation in the transition window minus separation at the top.
    SeparationGain,
    /// How long before the top the pelvis starts back.
    PelvisLeadS,
}

/// The share of a value's variance that each cause has; shares sum to one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Causes {
    pub keypoints: f64,
    pub timing: f64,
    pub scale: f64,
    pub tilt: f64,
    pub aim: f64,
    pub depth: f64,
    pub ground: f64,
}

/// Where each sd comes from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Explanation {
    pub sources: BTreeMap<Event, BTreeMap<Measure, Causes>>,
}

impl Explanation {
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sources.is_empty()
    }
}

/// Just enough of a file to see what it is.
#[derive(Deserialize)]
struct Label {
    schema: String,
}

impl SwingResult {
    /// # Errors
    /// When the text is no result, or one of another schema.
    pub fn from_json(text: &str) -> Result<Self, ResultError> {
        let no_result = |error: serde_json::Error| ResultError::NotAResult(error.to_string());
        let label: Label = serde_json::from_str(text).map_err(no_result)?;
        if label.schema != SCHEMA {
            let shown = label.schema.chars().filter(|c| !c.is_control()).take(60).collect();
            return Err(ResultError::OtherSchema(shown));
        }
        serde_json::from_str(text).map_err(no_result)
    }

    /// The file's text: indented, one final line end.
    ///
    /// # Errors
    /// Never for a result made by this program; serde's own error otherwise.
    pub fn to_json(&self) -> Result<String, ResultError> {
        let mut text = serde_json::to_string_pretty(self).map_err(ResultError::Json)?;
        text.push('\n');
        Ok(text)
    }

    /// A measure at an event, where it is known.
    #[must_use]
    pub fn known(&self, event: Event, measure: Measure) -> Option<crate::units::Estimate> {
        self.measures.get(&event)?.get(&measure)?.estimate()
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::results::Unit;
    use crate::units::Estimate;

    /// The example of MEASURES.md, numbers invented there.
    pub const CONTRACT: &str = r#"{
  "schema": "hubgauge.swing/1",
  "program": "hubgauge 0.1.0",
  "pupil": {"stature_m": 1.79, "handed": "right"},
  "clips": [
    {"view": "face-on", "file": "a.mp4", "sha256": "...", "frames": 360,
     "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.992,
     "time_scale": 1.0, "camera_motion": "compensated"}
  ],
  "scale": {"method": "stature", "relative_sd": 0.03},
  "events": {
    "address": {"time_s": 0.81, "sd_s": 0.05, "frames": {"face-on": 97}},
    "top": {"time_s": 1.86, "sd_s": 0.008, "frames": {"face-on": 223}}
  },
  "measures": {
    "top": {
      "lower_hub_target": {"value": -6.1, "sd": 0.9, "unit": "cm"},
      "forward_bend": {"missing": "needs a down-the-line clip"}
    }
  },
  "swing": {"backswing_s": {"value": 0.86, "sd": 0.02, "unit": "s"}},
  "notes": ["..."]
}"#;

    #[test]
    fn the_contract_s_example_reads_and_writes_back_unchanged() {
        let result = SwingResult::from_json(CONTRACT).unwrap();
        assert_eq!(
            result.known(Event::Top, Measure::LowerHubTarget),
            Some(Estimate::new(-6.1, 0.9))
        );
        assert_eq!(
            result.swing[&SwingMeasure::BackswingS],
            Value::new(Estimate::new(0.86, 0.02), Unit::S)
        );
        let written: serde_json::Value = serde_json::from_str(&result.to_json().unwrap()).unwrap();
        assert_eq!(written, serde_json::from_str::<serde_json::Value>(CONTRACT).unwrap());
        let fps = result.clips[0].capture_fps().unwrap();
        assert!((fps - 359.0 / 2.992).abs() < 1e-9);
    }

    #[test]
    fn keys_come_in_the_swing_s_order_whatever_order_they_were_read_in() {
        let result = SwingResult::from_json(CONTRACT).unwrap();
        let text = result.to_json().unwrap();
        let place = |key: &str| text.find(key).unwrap();
        assert!(place("\"schema\"") < place("\"program\""));
        assert!(place("\"address\"") < place("\"top\""));
        assert_eq!(text, SwingResult::from_json(&text).unwrap().to_json().unwrap());
    }

    #[test]
    fn another_schema_and_other_files_are_refused_with_one_line() {
        let other = CONTRACT.replace("swing/1", "swing/2");
        let error = SwingResult::from_json(&other).unwrap_err().to_string();
        assert!(error.contains("hubgauge.swing/2") && error.contains("measure the clip again"));
        for text in ["", "{}", "[1]", "\u{0}\u{1}", "{\"schema\": \"hubgauge.swing/1\"}"] {
            let error = SwingResult::from_json(text).unwrap_err().to_string();
            assert!(error.contains("not a hubgauge result") && !error.contains('\n'), "{error}");
        }
    }
}
