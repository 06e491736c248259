//! Backup to one file while the library is in use, and restore. In: the library. Out: one
//! SQLite file with every row; copied clips are files and are not in it.
//!
//! Method: SQLite's online backup, which starts over when another program writes in between.

use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use super::library::FILE;
use super::{Library, RecordError, schema};

/// Pages copied in one go: other programs wait no longer than these take.
const PAGES: i32 = 1000;

impl Library {
    /// # Errors
    /// When the file exists or cannot be written; nothing is left behind then.
    pub fn backup(&self, to: &Path) -> Result<(), RecordError> {
        if to.exists() {
            return Err(RecordError::Exists { file: to.display().to_string() });
        }
        let folder = match to.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let file = tempfile::NamedTempFile::new_in(folder).map_err(RecordError::io(to))?;
        let mut copy = Connection::open(file.path())?;
        Backup::new(&self.connection, &mut copy)?.run_to_completion(PAGES, Duration::ZERO, None)?;
        // One file, no write-ahead log beside it.
        copy.pragma_update(None, "journal_mode", "DELETE")?;
        copy.close().map_err(|(_, error)| error)?;
        file.as_file().sync_all().map_err(RecordError::io(to))?;
        file.persist_noclobber(to).map_err(|refused| RecordError::Io {
            file: to.display().to_string(),
            source: refused.error,
        })?;
        Ok(())
    }

    /// Makes a library from a backup, in a folder that holds none.
    ///
    /// # Errors
    /// When the folder has a library, or the file is no backup.
    pub fn restore(from: &Path, folder: &Path) -> Result<Self, RecordError> {
        let target = folder.join(FILE);
        if target.exists() {
            return Err(RecordError::HasLibrary(folder.display().to_string()));
        }
        std::fs::create_dir_all(folder).map_err(RecordError::io(folder))?;
        let mut file = tempfile::NamedTempFile::new_in(folder).map_err(RecordError::io(folder))?;
        let mut source = std::fs::File::open(from).map_err(RecordError::io(from))?;
        std::io::copy(&mut source, &mut file).map_err(RecordError::io(folder))?;
        // What is no sound library of this program, or an older one, never gets the name.
        let mut copy = Connection::open(file.path())?;
        brought_up(&mut copy, from)?;
        copy.close().map_err(|(_, error)| error)?;
        file.as_file().sync_all().map_err(RecordError::io(folder))?;
        file.persist_noclobber(&target).map_err(|refused| RecordError::Io {
            file: target.display().to_string(),
            source: refused.error,
        })?;
        Self::open(folder)
    }
}

/// Brings a copy of a backup to this program's schema, and sees that it is sound.
fn brought_up(copy: &mut Connection, from: &Path) -> Result<(), RecordError> {
    let file = from.display().to_string();
    let none = "it is no backup; name a file that `hubgauge library backup` wrote";
    let refused = |why: String| RecordError::Backup { file: file.clone(), why };
    let damaged = |what: &str| {
        refused(format!("it is damaged ({what}); take another backup if there is one"))
    };
    // An empty file would become an empty library.
    match schema::is_library(copy) {
        Ok(true) => {}
        Ok(false) | Err(RecordError::Damaged(_)) => return Err(refused(none.to_owned())),
        Err(other) => return Err(other),
    }
    match schema::migrate(copy, &file) {
        Err(RecordError::Damaged(what)) => return Err(damaged(&what)),
        other => other?,
    }
    let said: String = copy.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
    if said == "ok" { Ok(()) } else { Err(damaged(&said)) }
}
