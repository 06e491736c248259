//! Stage 8. In: events, motion, calibration. Out: the plain, versioned result
//! (`swing.json`, schema `hubgauge.swing/1`), the rows of `series.csv`, the coach's table
//! and the explanation of every sd.
//!
//! Units outside: centimetres, degrees, seconds of real time. MEASURES.md is the contract.
//! What it does not do: judge a swing, or compare one with another.

mod file;
mod round;
mod rows;
mod value;
mod swing;
mod build;
mod correction;
mod series;
mod style;
mod words;
mod table;
mod explain;

pub use build::{Clip, Measurement, assemble, notes};
pub use correction::Correction;
pub use explain::explain;
pub use file::{NewFile, write_atomically};
pub use rows::Series;
pub use series::series_csv;
pub use style::{DecimalMark, LengthUnit, Style};
pub use swing::{
    Causes, ClipEntry, EventEntry, Explanation, MotionNote, Pupil, SCHEMA, ScaleEntry,
    SwingMeasure, SwingResult,
};
pub use table::{answer, answer_in, table};
pub use value::{Unit, Value, decimals_shown};
pub use words::{
    capitalised, direction, event_key, event_name, fact, is_shown, measure_name, scale_words,
    swing_measure_name, wrapped,
};

/// What goes wrong when a result is read or written.
#[derive(Debug, thiserror::Error)]
pub enum ResultError {
    #[error("this is not a hubgauge result ({0}): give the swing.json that `measure` wrote")]
    NotAResult(String),
    #[error(
        "the result has schema \"{0}\", this program reads \"{SCHEMA}\": measure the clip again with this program"
    )]
    OtherSchema(String),
    #[error("cannot write {path}: {source}; choose another folder with --out")]
    Write { path: String, source: std::io::Error },
    #[error("cannot make the series table: {0}")]
    Series(#[from] csv::Error),
    #[error("this is no series.csv of hubgauge ({0}): measure the clip again with --out")]
    NotASeries(String),
    #[error("cannot make the result file: {0}")]
    Json(#[source] serde_json::Error),
}
