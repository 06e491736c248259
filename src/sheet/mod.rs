//! The pupil's sheet: one page, A4 or Letter, as PDF or picture from one layout. In: results of
//! one or two swings, stills, the coach's words and tasks ([`SheetInput`]). Out: [`Sheet`]: a
//! [`Drawing`] and what had to be shortened or could not be written, as lines for the coach.
//!
//! Places are in units of 1/96 inch. Every number is the result's or the comparison's own. What
//! it does not do: diagnose, or say what is good.

mod block;
mod content;
mod grid;
mod layout;
mod photo;
mod pictures;
mod task;
#[cfg(test)]
mod tests;
mod words;

use crate::chart::{ChartError, Difference, Drawing, LadderInput, Style};

pub use content::{Content, SwingPart, ValueRow};
pub use layout::{PHOTO_SHAPE, sheet};
pub use photo::{PLACES, Photo, Places, Still};
pub use pictures::{Wanted, wanted};
pub use task::{Aim, DEFAULT_TASKS, TASKS_FILE, Task, Way, parse};

/// Pixels of the picture for each unit of the page: 192 to an inch, good on paper and on a phone.
pub const PICTURE_SCALE: f64 = 2.0;
/// Letters of the coach's words: more would never fit.
pub const MOST_WORDS: usize = 4000;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Paper {
    #[default]
    A4,
    Letter,
}

impl Paper {
    /// Width and height (ISO 216; ANSI/ASME Y14.1).
    #[must_use]
    pub fn size(self) -> (f64, f64) {
        const PER_MM: f64 = 96.0 / 25.4;
        match self {
            Self::A4 => (210.0 * PER_MM, 297.0 * PER_MM),
            Self::Letter => (8.5 * 96.0, 11.0 * 96.0),
        }
    }
}

/// Everything on the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetInput {
    pub paper: Paper,
    pub style: Style,
    /// The pupil, the day and the club, as the coach wrote them; empty where not given.
    pub name: String,
    pub date: String,
    pub club: String,
    /// What each swing is called, and its sentence.
    pub answers: Vec<(String, String)>,
    /// Three at most are shown.
    pub photos: Vec<Photo>,
    pub ladder: Option<LadderInput>,
    /// The hubs' changes, where there are two swings.
    pub differences: Vec<Difference>,
    /// The values of one swing alone.
    pub values: Vec<ValueRow>,
    /// Why a change is missing, or how the verdicts are to be read.
    pub remarks: Vec<String>,
    /// The coach's own words.
    pub words: String,
    pub tasks: Vec<Task>,
    /// How the numbers were made.
    pub made: Vec<String>,
    /// Demo data.
    pub invented: bool,
}

/// The finished page.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    pub drawing: Drawing,
    pub warnings: Vec<String>,
}

/// Why there is no sheet.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    #[error("tasks file, line {line}: {why}")]
    Tasks { line: usize, why: String },
    #[error("there is no practice task \"{given}\": the file has {known}")]
    NoTask { given: String, known: String },
    #[error("{what} is too long: {most} letters at most")]
    TooLong { what: &'static str, most: usize },
    #[error("{0} must end in .pdf or .png: the ending says what is written")]
    Ending(String),
    #[error(
        "faces cannot be hidden because it is not known where they are in {0}: measure the clip again with this program, or leave --blur-faces out"
    )]
    NoFaces(String),
    #[error("{file} cannot be read: {why}")]
    File { file: String, why: String },
    #[error(transparent)]
    Chart(#[from] ChartError),
}
