//! Stage 11. In: results, clips, what the coach types. Out: the library: pupils, lessons,
//! swings, results, practice tasks and ball-flight numbers in one folder.
//!
//! `library.sqlite3` (SQLite, write-ahead log, full synchronisation, deleted content
//! overwritten) holds everything but pictures; `clips/` the clips that were copied in, named by
//! their content. Every change is one transaction: a stop at any moment leaves the state before
//! or after it. Units: metres for a stature, the result file's units for values.
//!
//! What it does not do: it never sends anything anywhere, and keeps clips only of pupils who
//! agreed.

mod backup;
mod bench;
mod change;
mod clips;
mod coach;
mod erase;
mod export;
mod flight;
mod history;
mod library;
mod pupils;
mod schema;
mod swings;

use std::path::PathBuf;

pub use crate::compare::Flight;
pub use bench::lock as lock_page;
pub use clips::Keep;
pub use coach::{Correction, Task};
pub use erase::Erased;
pub use export::Illustrator;
pub use flight::flight_csv;
pub use history::{Day, History, Reading};
pub use library::{Library, default_folder};
pub use pupils::{Lesson, Pupil};
pub use swings::{NewSwing, Point, Stored, read_result};

/// What goes wrong with the library.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    #[error(
        "the library in {folder} was written by a newer hubgauge (schema {found}, this program knows {known}): use the newer program"
    )]
    Newer { folder: String, found: i64, known: i64 },
    #[error(
        "{0} is no hubgauge library: name the folder of one, or an empty folder, with --library"
    )]
    NotALibrary(String),
    #[error("another program has been writing to the library for too long: close it and try again")]
    Busy,
    #[error("the disk is full: make room and try again; nothing was stored")]
    Full,
    #[error(
        "the library is damaged ({0}): restore the last backup with `hubgauge library restore`"
    )]
    Damaged(String),
    #[error("the library could not be read or written ({0}): see that its disk has room and works")]
    Database(String),
    #[error(
        "there is no pupil called \"{0}\": add the pupil with `hubgauge pupil add`, or see `hubgauge pupil list`"
    )]
    NoPupil(String),
    #[error("there is already a pupil called \"{0}\": choose another name")]
    PupilExists(String),
    #[error("there is no swing {0}: see `hubgauge lesson list` with --date")]
    NoSwing(i64),
    #[error("no swing on record has {0}: see `hubgauge lesson list`")]
    NoValue(String),
    #[error("{what} \"{given}\": {mend}")]
    Wrong { what: &'static str, given: String, mend: &'static str },
    #[error("{file} already exists: choose another name")]
    Exists { file: String },
    #[error("there is a library in {0} already: name an empty folder with --library")]
    HasLibrary(String),
    #[error("{file} cannot be restored: {why}")]
    Backup { file: String, why: String },
    #[error("cannot read or write {file}: {source}")]
    Io { file: String, source: std::io::Error },
    #[error("{file} is no table that can be read: {why}")]
    Table { file: String, why: String },
    #[error("{} is erased, but another program has the library open and may keep what was erased on disk: close it and run any `hubgauge pupil` command", .0)]
    NotScrubbed(String),
    #[error(
        "it cannot be read whose swing lies in {0}: put it right or remove it, then erase again"
    )]
    Whose(String),
    #[error("the page is open and would write what was erased again: close it and try again")]
    PageOpen,
    #[error("no folder for the library is known: name one with --library")]
    NoFolder,
    #[error(transparent)]
    Result(#[from] crate::results::ResultError),
    #[error("cannot make the export: {0}")]
    Json(#[source] serde_json::Error),
}

impl RecordError {
    fn io(file: &std::path::Path) -> impl FnOnce(std::io::Error) -> Self {
        let file = file.display().to_string();
        move |source| Self::Io { file, source }
    }
}

impl From<rusqlite::Error> for RecordError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let text = error.to_string();
        match error.sqlite_error_code() {
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => Self::Busy,
            Some(Code::DiskFull) => Self::Full,
            Some(Code::DatabaseCorrupt | Code::NotADatabase) => Self::Damaged(text),
            _ => Self::Database(text),
        }
    }
}

/// A name that can be shown and kept: no control characters, not empty, not endless.
fn clean(what: &'static str, given: &str) -> Result<String, RecordError> {
    let name = given.trim();
    if name.is_empty() || name.chars().count() > 200 || name.chars().any(char::is_control) {
        let given = name.chars().filter(|c| !c.is_control()).take(60).collect();
        return Err(RecordError::Wrong {
            what,
            given,
            mend: "use 1 to 200 letters without line ends",
        });
    }
    Ok(name.to_owned())
}

/// Where a copied clip lies.
fn clips_folder(library: &std::path::Path) -> PathBuf {
    library.join("clips")
}
