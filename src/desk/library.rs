//! `hubgauge library`. In: the command. Out: what was done, in words.

use crate::cli::desk::LibraryCommand;
use crate::error::Error;
use crate::record::Library;

/// # Errors
/// When the library refuses.
pub fn library(command: &LibraryCommand) -> Result<String, Error> {
    match command {
        LibraryCommand::Backup { file, at } => {
            super::open(at)?.backup(file)?;
            Ok(format!(
                "Wrote the record to {}. Clips copied into the library are not in it: copy its folder clips too.\n",
                file.display()
            ))
        }
        LibraryCommand::Restore { file, at } => {
            let folder = super::folder(at)?;
            let pupils = Library::restore(file, &folder)?.pupils()?.len();
            Ok(format!("Restored {pupils} pupils to {}.\n", folder.display()))
        }
        LibraryCommand::Check { at } => {
            super::open(at)?.check()?;
            Ok("The library is sound.\n".to_owned())
        }
    }
}
