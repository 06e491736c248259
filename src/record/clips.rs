//! Clips by content. In: a clip's file. Out: its row, and a copy inside the library where one is
//! wanted.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use rusqlite::{Transaction, params};
use sha2::{Digest as _, Sha256};

use super::{RecordError, clips_folder};

/// What to do with the clips of a new swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keep {
    /// Remember where they lie.
    InPlace,
    /// Copy them into the library.
    Copy,
    /// Remember nothing but their content's checksum (no consent).
    Nothing,
}

/// Puts a clip on record by its checksum alone.
pub(super) fn note(change: &Transaction<'_>, swing: i64, sha256: &str) -> Result<(), RecordError> {
    change.execute(
        "INSERT INTO clip (sha256, file, copied) VALUES (?1, '', 0) ON CONFLICT DO NOTHING",
        [sha256],
    )?;
    change.execute(
        "INSERT INTO swing_clip (swing_id, sha256) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        params![swing, sha256],
    )?;
    Ok(())
}

/// Puts on record where a clip lies. A copy is complete and on disk before its row counts.
pub(super) fn add(
    change: &Transaction<'_>,
    library: &Path,
    swing: i64,
    clip: &Path,
    keep: Keep,
) -> Result<(), RecordError> {
    let (sha256, file) = match keep {
        Keep::Nothing => return Ok(()),
        Keep::Copy => copy_in(library, clip)?,
        Keep::InPlace => {
            let absolute = std::path::absolute(clip).map_err(RecordError::io(clip))?;
            (digest(clip, None)?, absolute.display().to_string())
        }
    };
    note(change, swing, &sha256)?;
    // A copy in the library is worth more than a place elsewhere.
    change.execute(
        "UPDATE clip SET file = ?2, copied = ?3 WHERE sha256 = ?1 AND copied = 0",
        params![sha256, file, keep == Keep::Copy],
    )?;
    Ok(())
}

/// Copies to a temporary name, then renames to the checksum.
fn copy_in(library: &Path, clip: &Path) -> Result<(String, String), RecordError> {
    let folder = clips_folder(library);
    let mut copy = tempfile::Builder::new()
        .prefix("incoming-")
        .tempfile_in(&folder)
        .map_err(RecordError::io(&folder))?;
    let sha256 = digest(clip, Some(copy.as_file_mut()))?;
    copy.as_file().sync_all().map_err(RecordError::io(copy.path()))?;
    let kind: String = clip
        .extension()
        .and_then(|e| e.to_str())
        .filter(|e| e.len() <= 5 && e.chars().all(|c| c.is_ascii_alphanumeric()))
        .map(|e| format!(".{}", e.to_ascii_lowercase()))
        .unwrap_or_default();
    let name = format!("{sha256}{kind}");
    let target = folder.join(&name);
    copy.persist(&target).map_err(|refused| RecordError::Io {
        file: target.display().to_string(),
        source: refused.error,
    })?;
    File::open(&folder).and_then(|f| f.sync_all()).map_err(RecordError::io(&folder))?;
    Ok((sha256, name))
}

/// The content's SHA-256; what was read is also written to `copy`.
fn digest(clip: &Path, mut copy: Option<&mut File>) -> Result<String, RecordError> {
    let mut file = File::open(clip).map_err(RecordError::io(clip))?;
    let (mut sum, mut block) = (Sha256::new(), vec![0_u8; 1 << 20]);
    loop {
        let n = file.read(&mut block).map_err(RecordError::io(clip))?;
        if n == 0 {
            break;
        }
        sum.update(&block[..n]);
        if let Some(copy) = copy.as_deref_mut() {
            copy.write_all(&block[..n]).map_err(RecordError::io(clip))?;
        }
    }
    Ok(sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Where a clip lies, if it is kept anywhere.
pub(super) fn path(library: &Path, file: &str, copied: bool) -> Option<PathBuf> {
    match (file.is_empty(), copied) {
        (true, _) => None,
        (false, true) => Some(clips_folder(library).join(file)),
        (false, false) => Some(PathBuf::from(file)),
    }
}
