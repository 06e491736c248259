//! The result file's types. In: JSON. Out: a checked [`SwingResult`], and the other way round.
//!
//! Maps are ordered (events in the swing's order, measures in the contract's), so that the same
//! swing gives the same bytes.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::round::at;
use super::{Correction, ResultError, Value};
use crate::calibration::{ScaleMethod, View};
use crate::events::Event;
use crate::frames::Handed;
use crate::geometry::{Budget, Measure};

/// Name and version of the file's shape; another shape gets another number.
pub const SCHEMA: &str = "hubgauge.swing/1";

/// One swing, as it is written down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// What the coach has set by hand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub corrections: Vec<Correction>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Pupil {
    /// As given; absent when the coach gave none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stature_m: Option<f64>,
    pub handed: Handed,
}

/// One clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum MotionNote {
    Still,
    Compensated,
    Untrusted,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ScaleEntry {
    pub method: ScaleMethod,
    pub relative_sd: f64,
}

/// When an event was: real time since the first displayed frame of the face-on (or only) clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct EventEntry {
    pub time_s: f64,
    pub sd_s: f64,
    /// The nearest displayed frame of each clip, counted from 0.
    pub frames: BTreeMap<View, usize>,
}

/// What is measured over the whole swing: takeaway to top, top to impact, the ratio of the two,
/// the largest separation in the transition window less that at the top, and how long before the
/// top the pelvis starts back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum SwingMeasure {
    BackswingS,
    DownswingS,
    Tempo,
    SeparationGain,
    PelvisLeadS,
}

/// The share of a value's variance that each cause has; shares sum to one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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

impl Causes {
    /// From variances by cause, the one place where they become shares: thousandths; none where
    /// there is no variance to share.
    pub(super) fn shares(budget: &Budget) -> Option<Self> {
        let whole = budget.variance();
        let share = |variance: f64| at(variance / whole, 3);
        // named one by one, so that a new cause is not forgotten here
        let &Budget { keypoints, timing, scale, tilt, aim, depth, ground } = budget;
        (whole.is_finite() && whole > 0.0).then(|| Self {
            keypoints: share(keypoints),
            timing: share(timing),
            scale: share(scale),
            tilt: share(tilt),
            aim: share(aim),
            depth: share(depth),
            ground: share(ground),
        })
    }
}

/// Where each sd comes from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Explanation {
    pub sources: BTreeMap<Event, BTreeMap<Measure, Causes>>,
}

impl Explanation {
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sources.is_empty()
    }
}

/// Two swings of one clip are further apart than this: a backswing alone takes about 0.8 s
/// (FACTS A3).
const SAME_MOMENT_S: f64 = 1.0;

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

    /// The same clips at the same moment: a clip may hold several swings.
    #[must_use]
    pub fn is_same_swing(&self, other: &Self) -> bool {
        let clips = |r: &Self| r.clips.iter().map(|c| c.sha256.clone()).collect::<Vec<_>>();
        let top = |r: &Self| r.events.get(&Event::Top).map(|event| event.time_s);
        let near = match (top(self), top(other)) {
            (Some(a), Some(b)) => (a - b).abs() < SAME_MOMENT_S,
            _ => true,
        };
        clips(self) == clips(other) && near
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

    const PUBLISHED: &str = include_str!("swing.schema.json");

    /// `cargo test --features schema` compares, with `UPDATE_SCHEMA=1` it rewrites.
    #[cfg(feature = "schema")]
    #[test]
    fn the_published_json_schema_is_that_of_the_types() {
        let schema = schemars::schema_for!(SwingResult);
        let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
        if std::env::var_os("UPDATE_SCHEMA").is_some() {
            let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/results/swing.schema.json");
            std::fs::write(path, &text).unwrap();
        } else {
            assert_eq!(PUBLISHED, text, "the types changed: run again with UPDATE_SCHEMA=1");
        }
    }

    /// As much of JSON Schema as the published one uses.
    fn fits(
        value: &serde_json::Value,
        schema: &serde_json::Value,
        root: &serde_json::Value,
    ) -> bool {
        if let Some(reference) = schema["$ref"].as_str() {
            return fits(value, root.pointer(&reference[1..]).unwrap(), root);
        }
        for choice in ["anyOf", "oneOf"] {
            if let Some(choices) = schema[choice].as_array() {
                return choices.iter().any(|one| fits(value, one, root));
            }
        }
        let allowed = schema["enum"].as_array().is_none_or(|all| all.contains(value));
        let constant = schema.get("const").is_none_or(|one| one == value);
        allowed && constant && fits_type(value, schema) && fits_parts(value, schema, root)
    }

    fn fits_type(value: &serde_json::Value, schema: &serde_json::Value) -> bool {
        let is = |name: &str| match name {
            "object" => value.is_object(),
            "array" => value.is_array(),
            "string" => value.is_string(),
            "number" => value.is_number(),
            "integer" => value.is_u64(),
            "null" => value.is_null(),
            other => panic!("unknown type {other}"),
        };
        match &schema["type"] {
            serde_json::Value::String(name) => is(name),
            serde_json::Value::Array(names) => names.iter().any(|n| is(n.as_str().unwrap())),
            _ => true,
        }
    }

    fn fits_parts(
        value: &serde_json::Value,
        schema: &serde_json::Value,
        root: &serde_json::Value,
    ) -> bool {
        let Some(object) = value.as_object() else {
            let items = value.as_array().into_iter().flatten();
            return items.into_iter().all(|item| fits(item, &schema["items"], root));
        };
        let needed = schema["required"].as_array().into_iter().flatten();
        needed.into_iter().all(|key| object.contains_key(key.as_str().unwrap()))
            && object.iter().all(|(key, part)| {
                let known = schema["properties"].get(key);
                known.is_some_and(|known| fits(part, known, root))
            })
    }

    #[test]
    fn what_is_written_fits_the_published_json_schema() {
        let schema: serde_json::Value = serde_json::from_str(PUBLISHED).unwrap();
        let contract: serde_json::Value = serde_json::from_str(CONTRACT).unwrap();
        assert!(fits(&contract, &schema, &schema));
        let invented = crate::results::build::tests::invented();
        let written = serde_json::to_value(&invented).unwrap();
        assert!(fits(&written, &schema, &schema));
        let broken = |pointer: &str, to: serde_json::Value| {
            let mut wrong = written.clone();
            *wrong.pointer_mut(pointer).unwrap() = to;
            assert!(!fits(&wrong, &schema, &schema), "{pointer}");
        };
        broken("/measures/top/lower_hub_target/value", "much".into());
        broken("/measures/top/lower_hub_target/unit", "inch".into());
        broken("/clips/0/view", "behind".into());
        broken("/events/top", serde_json::json!({"time_s": 1.0}));
    }
}
