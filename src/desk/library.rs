//! `hubgauge library`. In: the command. Out: what was done, in words.

use crate::cli::desk::{LibraryCommand, OnLibrary};
use crate::error::Error;
use crate::record::Library;
use crate::warning::counted;

/// # Errors
/// When the library refuses.
pub fn library(args: &OnLibrary<LibraryCommand>) -> Result<String, Error> {
    let at = &args.at;
    match &args.command {
        LibraryCommand::Backup { file } => {
            super::open(at)?.backup(file)?;
            Ok(format!(
                "Wrote the record to {}. Clips copied into the library are not in it: copy its folder clips too.\n",
                file.display()
            ))
        }
        LibraryCommand::Restore { file } => {
            let folder = super::folder(at)?;
            let pupils = Library::restore(file, &folder)?.pupils()?.len();
            let pupils = counted(pupils, "pupil");
            Ok(format!("Restored {pupils} to {}.\n", folder.display()))
        }
        LibraryCommand::Check => {
            super::open(at)?.check()?;
            Ok("The library is sound.\n".to_owned())
        }
    }
}
