//! The coach's desk: the commands around the library. In: the command line's types. Out: the text
//! to print. Reading results, storing and comparing meet here; the stages know nothing of each
//! other's files.

mod batch;
mod chart;
mod compare;
mod folder;
mod history;
mod lesson;
mod library;
mod page;
mod pupil;
mod sheet;
mod store;
mod tasks;

use crate::cli::desk::{LibraryArg, SaidArgs};
use crate::error::Error;
use crate::record::{Library, NewSwing, default_folder};

pub use batch::{BatchError, batch};
pub use chart::chart;
pub use compare::compare;
pub use history::input as history_input;
pub use lesson::lesson;
pub use library::library;
pub use page::open_page;
pub use pupil::pupil;
pub use sheet::sheet;
pub use store::measure;
pub use tasks::{tasks, text as tasks_text};

fn open(at: &LibraryArg) -> Result<Library, Error> {
    Ok(Library::open(&folder(at)?)?)
}

fn folder(at: &LibraryArg) -> Result<std::path::PathBuf, Error> {
    Ok(match &at.library {
        Some(folder) => folder.clone(),
        None => default_folder()?,
    })
}

/// What the coach said of a swing, still without clips.
fn new_swing(said: SaidArgs) -> NewSwing {
    NewSwing {
        label: said.label.unwrap_or_default(),
        club: said.club.unwrap_or_default(),
        ball: said.ball.unwrap_or_default(),
        setup: said.setup.unwrap_or_default(),
        clips: Vec::new(),
    }
}

fn json(value: &impl serde::Serialize) -> Result<String, Error> {
    let text = serde_json::to_string_pretty(value).map_err(crate::record::RecordError::Json)?;
    Ok(text + "\n")
}
