//! What the page shows, as plain data. In: the workspace. Out: JSON for the scripts, and the
//! input of `view`, which writes HTML. Metres, pixels of the upright clip, seconds.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::calibration::View;
use crate::compare::Comparison;
use crate::frames::Handed;
use crate::record::{Lesson, Pupil, Stored};
use crate::results::{DecimalMark, LengthUnit, Style, SwingResult};

/// Where a clip is on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ClipState {
    /// In the queue.
    Waiting,
    /// The golfer and the swing are looked for.
    Looking,
    /// The swing is read picture by picture.
    Measuring,
    Ready,
    Failed,
    Cancelled,
}

/// One clip on the bench.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClipShown {
    pub id: String,
    /// The file's name where it came from: a label, never a path.
    pub name: String,
    pub size_bytes: u64,
    /// When it came, seconds since 1970.
    pub arrived_unix_s: u64,
    /// When it was filmed, where the file says so.
    pub created_unix_s: Option<i64>,
    pub state: ClipState,
    /// What is being done, in words.
    pub step: Option<String>,
    /// Share of all work on this clip, 0 to 1.
    pub share: f64,
    /// Why it failed, on one line.
    pub message: Option<String>,
    pub view: Option<View>,
    pub handed: Option<Handed>,
    /// True capture rate, frames a second, as the coach gave it.
    pub capture_fps: Option<f64>,
    /// Refused as stretched slow motion: the true rates that fit, the likeliest first.
    pub too_slow: Option<Vec<f64>>,
    /// The swing that it belongs to.
    pub swing: Option<String>,
    /// Whether `clips/ID/first.jpg` is there.
    pub has_picture: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SwingState {
    /// A clip of it is not ready yet.
    Waiting,
    Ready,
    Failed,
}

/// One swing on the bench: one or two clips.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SwingShown {
    pub id: String,
    /// `before`, `after`, any word, or empty.
    pub label: String,
    pub club: String,
    pub notes: String,
    pub pupil: Option<String>,
    /// Of the swing's pupil; pictures are blurred by default then.
    pub minor: bool,
    /// As typed: `179cm`, `5ft10in`.
    pub stature: Option<String>,
    pub handed: Handed,
    pub clips: BTreeMap<View, String>,
    /// When its first clip came, seconds since 1970.
    pub arrived_unix_s: u64,
    pub state: SwingState,
    /// Why it failed or what to look at, on one line.
    pub message: Option<String>,
    /// The answer in a sentence, where there is one.
    pub answer: Option<String>,
    /// Where a rod was found unmarked and taken for the target line.
    pub rods: Vec<View>,
    /// How many corrections by hand are in it.
    pub corrections: usize,
    /// Its number in the library, once it is on record for a pupil.
    pub recorded: Option<i64>,
    /// Two clips that were taken for one swing, not yet confirmed or parted by hand.
    pub proposed: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BenchShown {
    pub clips: Vec<ClipShown>,
    /// Newest first.
    pub swings: Vec<SwingShown>,
    pub pupils: Vec<Pupil>,
    /// The folder that is watched for new clips.
    pub watched: Option<String>,
    pub watch_trouble: Vec<WatchTrouble>,
    pub max_upload_bytes: u64,
}

/// What is wrong with the watched folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct WatchTrouble {
    /// The clip that was not taken; none: the folder itself cannot be read.
    pub file: Option<String>,
    pub why: String,
}

/// A swing with its numbers.
#[derive(Clone, Debug, Serialize)]
pub struct SwingPage {
    pub swing: SwingShown,
    /// Absent until every clip is ready.
    pub result: Option<SwingResult>,
    pub corrections: Vec<serde_json::Value>,
    pub clips: Vec<ClipShown>,
    /// Other swings, to lay over.
    pub others: Vec<SwingShown>,
    pub pupils: Vec<Pupil>,
}

/// What is given to the pupil.
#[derive(Clone, Debug, Serialize)]
pub struct HandOutPage {
    pub swing: SwingPage,
    /// The swing that it is laid beside.
    pub before: Option<SwingShown>,
    pub tasks: Vec<TaskShown>,
    /// The camera stood where it stood for both.
    pub same_setup: bool,
    /// The coach's own words on the sheet.
    pub words: String,
    /// `a4` or `letter`.
    pub paper: String,
}

/// One practice task of the coach's file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TaskShown {
    pub id: String,
    pub title: String,
    pub body: String,
    pub chosen: bool,
}

/// Two sets of swings side by side.
#[derive(Clone, Debug, Serialize)]
pub struct ComparePage {
    pub before: Vec<SwingShown>,
    pub after: Vec<SwingShown>,
    /// All swings that can be chosen.
    pub swings: Vec<SwingShown>,
    pub comparison: Option<Comparison>,
    /// Why there is no comparison.
    pub message: Option<String>,
    /// The camera stood where it stood on both sides.
    pub same_setup: bool,
}

/// A pupil over the weeks.
#[derive(Clone, Debug, Serialize)]
pub struct PupilPage {
    pub pupil: Pupil,
    /// Whether any swing is on record.
    pub has_history: bool,
    /// Newest first, as many whole lessons as a page shows.
    pub lessons: Vec<LessonShown>,
    /// Day of the newest lesson that is older than these.
    pub older: Option<String>,
    /// Whether there are newer ones than these.
    pub newer: bool,
    /// On the bench.
    pub swings: Vec<SwingShown>,
}

/// A lesson with its swings and their newest results.
#[derive(Clone, Debug, Serialize)]
pub struct LessonShown {
    pub lesson: Lesson,
    pub recorded: Vec<Stored>,
}

#[derive(Clone, Debug, Serialize)]
pub struct SettingsPage {
    pub settings: Settings,
    /// The practice tasks' file as it is.
    pub tasks: String,
    pub message: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    Cm,
    Inches,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Decimal {
    Point,
    Comma,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateFormat {
    YearMonthDay,
    DayMonthYear,
    MonthDayYear,
}

/// What the coach prefers; kept in `settings.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    pub units: Units,
    pub decimal: Decimal,
    pub date_format: DateFormat,
    /// Faces are blurred unless asked otherwise; always the default for minors.
    pub blur: bool,
    /// Folder watched for new clips; none when empty.
    pub watched: String,
    /// Paper of the pupil's sheet: `a4` or `letter`.
    pub paper: String,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            units: Units::Cm,
            decimal: Decimal::Point,
            date_format: DateFormat::YearMonthDay,
            blur: false,
            watched: String::new(),
            paper: "a4".to_owned(),
        }
    }
}

/// What every page needs to be written: where links go and how numbers look.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// How far the coach's clock is ahead of UTC, seconds.
    pub utc_offset_s: i64,
    /// First part of every address.
    pub token: String,
    pub units: Units,
    pub decimal: Decimal,
    pub date_format: DateFormat,
    pub blur: bool,
}

impl Look {
    /// As charts, the sheet and the answer's sentence have it.
    #[must_use]
    pub fn style(&self) -> Style {
        let length = match self.units {
            Units::Cm => LengthUnit::Cm,
            Units::Inches => LengthUnit::Inch,
        };
        let decimal = match self.decimal {
            Decimal::Point => DecimalMark::Point,
            Decimal::Comma => DecimalMark::Comma,
        };
        Style { length, decimal }
    }
}
