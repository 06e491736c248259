//! Erasing a pupil. In: a name. Out: nothing of him in the library's files, free pages and
//! write-ahead log included.
//!
//! Method: deleted content is overwritten (`secure_delete`), then the file is rebuilt (`VACUUM`)
//! and the log emptied. What is still to be done is on record first, so that a stop in between is
//! finished when the library is next opened. What the coach's page keeps of him goes too
//! ([`bench`]). What it cannot reach: backups and exports made
//! earlier, clips that were kept in place, and blocks that the disk itself moved.

use std::collections::BTreeSet;
use std::path::PathBuf;

use rusqlite::{Transaction, params};

use super::{Library, RecordError, bench, clips, clips_folder};

/// What an erasure did and what it left to the coach.
#[derive(Clone, Debug, PartialEq)]
pub struct Erased {
    pub swings: i64,
    /// Copies removed from the library, the page's own included.
    pub clips: usize,
    /// Clips that were kept in place and are still there.
    pub left: Vec<PathBuf>,
}

impl Library {
    /// # Errors
    /// When there is no such pupil, or another program keeps the old pages alive.
    pub fn erase(&mut self, pupil: &str) -> Result<Erased, RecordError> {
        let id = self.pupil_id(pupil)?;
        let folder = self.folder.clone();
        // First: while the pupil is on record, an erasure that stops here can be asked for again.
        let on_page = bench::erase(&folder, &self.pupil(pupil)?.name)?;
        let change = self.change()?;
        let swings = change.query_row(
            "SELECT count(*) FROM swing JOIN lesson ON lesson.id = lesson_id WHERE pupil_id = ?1",
            [id],
            |row| row.get(0),
        )?;
        change.execute("DELETE FROM pupil WHERE id = ?1", [id])?;
        let (mut doomed, mut left) = (0_usize, Vec::new());
        for (sha256, file, copied) in unused(&change)? {
            change.execute("DELETE FROM clip WHERE sha256 = ?1", [&sha256])?;
            if copied {
                change.execute("INSERT OR IGNORE INTO doomed VALUES (?1)", [&file])?;
                doomed += 1;
            } else if let Some(path) = clips::path(&folder, &file, false).filter(|p| p.exists()) {
                left.push(path);
            }
        }
        change.execute("INSERT OR IGNORE INTO scrub VALUES (1)", [])?;
        change.commit()?;
        if !self.finish_erasing()? {
            return Err(RecordError::NotScrubbed(pupil.to_owned()));
        }
        Ok(Erased { swings, clips: doomed + on_page, left })
    }

    /// Removes doomed files and old pages; false while another program keeps pages alive.
    pub(super) fn finish_erasing(&mut self) -> Result<bool, RecordError> {
        let pending: i64 =
            self.connection.query_row("SELECT count(*) FROM scrub", [], |row| row.get(0))?;
        if pending == 0 {
            return Ok(true);
        }
        self.remove_files()?;
        if !(self.empty_log()? && self.rebuild()? && self.empty_log()?) {
            return Ok(false);
        }
        let change = self.change()?;
        change.execute("DELETE FROM scrub", [])?;
        change.commit()?;
        Ok(true)
    }

    /// Copies that no swing needs, those that a stop left behind included. Held under the write
    /// lock: a copy on its way in has it too.
    pub(super) fn remove_files(&mut self) -> Result<(), RecordError> {
        let folder = clips_folder(&self.folder);
        let change = self.change()?;
        let kept = copies(&change)?;
        for entry in std::fs::read_dir(&folder).map_err(RecordError::io(&folder))? {
            let path = entry.map_err(RecordError::io(&folder))?.path();
            let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
            if !kept.contains(name) {
                std::fs::remove_file(&path).map_err(RecordError::io(&path))?;
            }
        }
        change.execute("DELETE FROM doomed", [])?;
        change.commit()?;
        Ok(())
    }

    /// False when another program reads the library just now.
    fn rebuild(&mut self) -> Result<bool, RecordError> {
        match self.connection.execute_batch("VACUUM").map_err(RecordError::from) {
            Err(RecordError::Busy) => Ok(false),
            Err(other) => Err(other),
            Ok(()) => Ok(true),
        }
    }

    /// Writes the log back and cuts it to nothing.
    fn empty_log(&mut self) -> Result<bool, RecordError> {
        let busy: i64 =
            self.connection
                .query_row("PRAGMA wal_checkpoint(TRUNCATE)", params![], |row| row.get(0))?;
        Ok(busy == 0)
    }
}

/// Names of the copies that are on record.
fn copies(change: &Transaction<'_>) -> Result<BTreeSet<String>, RecordError> {
    let mut rows = change.prepare("SELECT file FROM clip WHERE copied = 1")?;
    let found = rows.query_map([], |row| row.get(0))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// Clips that no swing refers to.
fn unused(change: &Transaction<'_>) -> Result<Vec<(String, String, bool)>, RecordError> {
    let mut rows = change.prepare(
        "SELECT sha256, file, copied FROM clip
         WHERE NOT EXISTS (SELECT 1 FROM swing_clip WHERE swing_clip.sha256 = clip.sha256)",
    )?;
    let found = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
    Ok(found.collect::<Result<_, _>>()?)
}
