//! What the coach's page keeps of a pupil, for erasing. In: the library's folder, a name. Out:
//! the page's folder `page/` without it.
//!
//! `page/swings/ID/swing.json` names the pupil (`pupil`, `recorded.pupil`) and the clips
//! (`parts[].clip`), each a folder `page/clips/ID`; `page/incoming` holds what is half there or on
//! its way out. The page holds `page/lock` while it is open; nothing is touched then.

use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::RecordError;

/// As much of the page's own file as says whose it is.
#[derive(Deserialize)]
struct Kept {
    pupil: Option<String>,
    recorded: Option<Recorded>,
    #[serde(default)]
    parts: Vec<Part>,
}

#[derive(Deserialize)]
struct Recorded {
    pupil: String,
}

#[derive(Deserialize)]
struct Part {
    clip: String,
}

impl Kept {
    fn is_of(&self, pupil: &str) -> bool {
        // As the library compares names: Åsa and åsa are two pupils.
        let same = |name: &str| name.trim().eq_ignore_ascii_case(pupil.trim());
        self.pupil.as_deref().is_some_and(same)
            || self.recorded.as_ref().is_some_and(|recorded| same(&recorded.pupil))
    }
}

/// Removes everything of the pupil from the page's folder; how many clips.
///
/// # Errors
/// While the page is open, or when a file cannot be removed.
pub fn erase(library: &Path, pupil: &str) -> Result<usize, RecordError> {
    let page = library.join("page");
    if !page.exists() {
        return Ok(0);
    }
    let _held = lock(&page)?.ok_or(RecordError::PageOpen)?;
    let (mut his, mut others, mut doomed) = (BTreeSet::new(), BTreeSet::new(), Vec::new());
    for folder in folders(&page.join("swings"))? {
        let file = folder.join("swing.json");
        if !file.exists() {
            continue;
        }
        let text = fs::read_to_string(&file).map_err(RecordError::io(&file))?;
        let Ok(kept) = serde_json::from_str::<Kept>(&text) else {
            return Err(RecordError::Whose(folder.display().to_string()));
        };
        let clips = kept.parts.iter().map(|part| part.clip.clone());
        if kept.is_of(pupil) {
            his.extend(clips);
            doomed.push(folder);
        } else {
            others.extend(clips);
        }
    }
    // A name from a file is a folder's name, not a way out of the folder.
    let clips = folders(&page.join("clips"))?.into_iter().filter(|folder| {
        let name = folder.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        his.contains(name) && !others.contains(name)
    });
    let clips: Vec<PathBuf> = clips.collect();
    // The swings last: they say which clips are his, should this stop half way.
    let incoming = Some(page.join("incoming")).filter(|folder| folder.exists());
    for folder in clips.iter().chain(&incoming).chain(&doomed) {
        fs::remove_dir_all(folder).map_err(RecordError::io(folder))?;
    }
    Ok(clips.len())
}

/// The lock of the page's folder: gone with the program that holds it, however it ends. None while
/// another one has it.
///
/// # Errors
/// When the folder cannot be written.
pub fn lock(page: &Path) -> Result<Option<File>, RecordError> {
    let path = page.join("lock");
    let file = File::options().create(true).truncate(false).write(true).open(&path);
    let file = file.map_err(RecordError::io(&path))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(source)) => Err(RecordError::io(&path)(source)),
    }
}

/// The folders in a folder; none where it is not there.
fn folders(of: &Path) -> Result<Vec<PathBuf>, RecordError> {
    if !of.exists() {
        return Ok(Vec::new());
    }
    let mut found = Vec::new();
    for entry in fs::read_dir(of).map_err(RecordError::io(of))? {
        let path = entry.map_err(RecordError::io(of))?.path();
        if path.is_dir() {
            found.push(path);
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(page: &Path, id: &str, json: &str) {
        let folder = page.join("swings").join(id);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("swing.json"), json).unwrap();
    }

    #[test]
    fn his_swings_and_clips_go_and_nobody_elses() {
        let library = tempfile::tempdir().unwrap();
        assert_eq!(erase(library.path(), "Anna").unwrap(), 0);
        let page = library.path().join("page");
        for clip in ["c1", "c2", "c3", "c4"] {
            fs::create_dir_all(page.join("clips").join(clip)).unwrap();
        }
        fs::create_dir_all(page.join("incoming/x")).unwrap();
        swing(&page, "s1", r#"{"pupil": "anna ", "parts": [{"clip": "c1"}, {"clip": "c2"}]}"#);
        // Another pupil, as the library compares names.
        swing(&page, "s4", r#"{"pupil": "Ånna", "parts": []}"#);
        swing(&page, "s2", r#"{"pupil": "Bert", "parts": [{"clip": "c2"}, {"clip": "c3"}]}"#);
        swing(
            &page,
            "s3",
            r#"{"recorded": {"pupil": "Anna"}, "parts": [{"clip": "c4"}, {"clip": ".."}]}"#,
        );
        let held = lock(&page).unwrap().unwrap();
        assert!(matches!(erase(library.path(), "Anna"), Err(RecordError::PageOpen)));
        assert_eq!(folders(&page.join("swings")).unwrap().len(), 4);
        drop(held);
        swing(&page, "s5", "{ half");
        assert!(matches!(erase(library.path(), "Anna"), Err(RecordError::Whose(_))));
        assert_eq!(folders(&page.join("clips")).unwrap().len(), 4);
        fs::remove_dir_all(page.join("swings/s5")).unwrap();
        assert_eq!(erase(library.path(), "Anna").unwrap(), 2);
        let names = |of: &str| {
            let mut names: Vec<_> = folders(&page.join(of)).unwrap();
            names.sort();
            names.into_iter().map(|p| p.file_name().unwrap().to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(names("clips"), ["c2", "c3"]);
        assert_eq!(names("swings"), ["s2", "s4"]);
        assert_eq!(erase(library.path(), "ånna").unwrap(), 0);
        assert_eq!(names("swings"), ["s2", "s4"]);
        assert!(!page.join("incoming").exists());
    }
}
