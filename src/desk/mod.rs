//! The coach's desk: the commands around the library. In: the command line's types. Out: the text
//! to print. Reading results, storing and comparing meet here; the stages know nothing of each
//! other's files.

mod batch;
mod chart;
mod compare;
mod folder;
mod lesson;
mod library;
mod manifest;
mod page;
mod pupil;
mod store;

use crate::cli::desk::LibraryArg;
use crate::error::Error;
use crate::record::{Library, default_folder};

pub use batch::batch;
pub use chart::chart;
pub use compare::compare;
pub use lesson::lesson;
pub use library::library;
pub use manifest::BatchError;
pub use page::open_page;
pub use pupil::pupil;
pub use store::measure;

fn open(at: &LibraryArg) -> Result<Library, Error> {
    Ok(Library::open(&folder(at)?)?)
}

fn folder(at: &LibraryArg) -> Result<std::path::PathBuf, Error> {
    Ok(match &at.library {
        Some(folder) => folder.clone(),
        None => default_folder()?,
    })
}

fn json(value: &impl serde::Serialize) -> Result<String, Error> {
    let text = serde_json::to_string_pretty(value).map_err(crate::record::RecordError::Json)?;
    Ok(text + "\n")
}
