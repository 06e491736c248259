//! Opening the library. In: its folder. Out: [`Library`], a connection with this program's
//! schema; and what a crash left half done, finished.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, Transaction, TransactionBehavior};

use super::{RecordError, clips_folder, schema};

pub(super) const FILE: &str = "library.sqlite3";
/// Longer than any one change takes; a second program waits its turn.
const PATIENCE: Duration = Duration::from_secs(20);

/// The record of all pupils, in one folder.
#[derive(Debug)]
pub struct Library {
    pub(super) connection: Connection,
    pub(super) folder: PathBuf,
}

impl Library {
    /// Opens the library in a folder, or starts one there.
    ///
    /// # Errors
    /// When the folder cannot be written or holds something else.
    pub fn open(folder: &Path) -> Result<Self, RecordError> {
        std::fs::create_dir_all(clips_folder(folder)).map_err(RecordError::io(folder))?;
        keep_private(folder)?;
        let mut connection = Connection::open(folder.join(FILE))?;
        connection.busy_timeout(PATIENCE)?;
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        connection.pragma_update(None, "secure_delete", true)?;
        schema::migrate(&mut connection, &folder.display().to_string())?;
        let mut library = Self { connection, folder: folder.to_owned() };
        library.finish_erasing()?;
        Ok(library)
    }

    /// A change: all of it or none.
    pub(super) fn change(&mut self) -> Result<Transaction<'_>, RecordError> {
        Ok(self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?)
    }

    /// SQLite's own check of the whole file.
    ///
    /// # Errors
    /// When the file is damaged.
    pub fn check(&self) -> Result<(), RecordError> {
        let said: String =
            self.connection.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
        if said == "ok" { Ok(()) } else { Err(RecordError::Damaged(said)) }
    }

    /// How long to wait for another program; twenty seconds unless set.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn wait_at_most(&self, patience: Duration) -> Result<(), RecordError> {
        Ok(self.connection.busy_timeout(patience)?)
    }
}

/// A pupil's record is the coach's business only.
#[cfg(unix)]
fn keep_private(folder: &Path) -> Result<(), RecordError> {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o700))
        .map_err(RecordError::io(folder))
}

#[cfg(not(unix))]
fn keep_private(_: &Path) -> Result<(), RecordError> {
    Ok(())
}

/// `$XDG_DATA_HOME/hubgauge`, else `~/.local/share/hubgauge` (XDG Base Directory
/// Specification 0.8).
///
/// # Errors
/// When neither variable names an absolute path.
pub fn default_folder() -> Result<PathBuf, RecordError> {
    let absolute = |name| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let data = absolute("XDG_DATA_HOME").or_else(|| Some(absolute("HOME")?.join(".local/share")));
    Ok(data.ok_or(RecordError::NoFolder)?.join("hubgauge"))
}
