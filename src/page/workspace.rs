//! The page's folder inside the library: what came, what was found, what the coach said. In and
//! out: [`KeptClip`] and [`KeptSwing`], each in a file of its own.
//!
//! | in `page/` | holds |
//! | --- | --- |
//! | `lock` | taken by the one program that shows the page |
//! | `incoming/` | uploads under way; emptied at every start |
//! | `clips/ID/` | `clip.json`, `film/NAME`, `observed`, `observed-marked`, `first.jpg` |
//! | `swings/ID/` | `swing.json` (what the coach says), `result.json` |
//! | `settings.json` | preferences |
//! | `watched.json` | what of the watched folder was dealt with ([`super::watch`]) |
//!
//! A clip or a swing that goes is first renamed into `incoming/`, so that a stop half way leaves
//! it whole or gone. Clips that were being measured are waiting again at the next start.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use super::PageError;
use super::kept::{self, KeptClip, KeptSwing};
use super::shown::{ClipState, Settings};
use crate::record::lock_page;

#[derive(Debug)]
pub struct Workspace {
    folder: PathBuf,
    pub clips: BTreeMap<String, KeptClip>,
    pub swings: BTreeMap<String, KeptSwing>,
    pub settings: Settings,
    /// Held as long as this lives.
    _lock: File,
}

impl Workspace {
    /// Opens the folder `page/` of a library and finishes what a stop left.
    ///
    /// # Errors
    /// When it cannot be written, or another page holds it.
    pub fn open(library: &Path) -> Result<Self, PageError> {
        let folder = library.join("page");
        fs::create_dir_all(&folder).map_err(refused(&folder))?;
        let lock = lock_page(&folder)?.ok_or_else(|| PageError::Taken(folder.clone()))?;
        let incoming = folder.join("incoming");
        if incoming.exists() {
            fs::remove_dir_all(&incoming).map_err(refused(&incoming))?;
        }
        for part in ["incoming", "clips", "swings"] {
            let part = folder.join(part);
            fs::create_dir_all(&part).map_err(refused(&part))?;
        }
        let settings = read_or_tell(&folder.join("settings.json")).unwrap_or_default();
        let clips = all(&folder.join("clips"), "clip.json")?;
        let swings = all(&folder.join("swings"), "swing.json")?;
        let mut workspace = Self { folder, clips, swings, settings, _lock: lock };
        workspace.recover()?;
        Ok(workspace)
    }

    /// Puts right what a stop left between two files.
    fn recover(&mut self) -> Result<(), PageError> {
        let present = |w: &Self, clip: &KeptClip| w.film(clip).is_file();
        let gone: Vec<String> =
            self.clips.values().filter(|c| !present(self, c)).map(|c| c.id.clone()).collect();
        // Nothing of it can be shown, and what was seen in it is still somebody's.
        for id in gone {
            self.drop_clip(&id)?;
        }
        let again = |w: &Self, clip: &KeptClip| match clip.state {
            ClipState::Looking | ClipState::Measuring => true,
            ClipState::Ready => !w.observed(&clip.id).is_file(),
            _ => false,
        };
        let again: Vec<KeptClip> =
            self.clips.values().filter(|c| again(self, c)).cloned().collect();
        for mut clip in again {
            clip.state = ClipState::Waiting;
            self.keep_clip(clip)?;
        }
        for mut swing in self.swings.values().cloned().collect::<Vec<_>>() {
            let before = swing.parts.len();
            swing.parts.retain(|part| self.clips.contains_key(&part.clip));
            if swing.parts.is_empty() {
                self.drop_swing(&swing.id)?;
            } else if swing.parts.len() < before {
                self.keep_swing(swing)?;
            }
        }
        Ok(())
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn clip_folder(&self, id: &str) -> PathBuf {
        self.folder.join("clips").join(id)
    }

    /// The clip itself.
    pub fn film(&self, clip: &KeptClip) -> PathBuf {
        self.clip_folder(&clip.id).join("film").join(&clip.file)
    }

    /// What was seen in it.
    pub fn observed(&self, clip: &str) -> PathBuf {
        self.clip_folder(clip).join("observed")
    }

    /// The same for the person that the coach has pointed at.
    pub fn observed_marked(&self, clip: &str) -> PathBuf {
        self.clip_folder(clip).join("observed-marked")
    }

    pub fn first_picture(&self, clip: &str) -> PathBuf {
        self.clip_folder(clip).join("first.jpg")
    }

    pub fn result(&self, swing: &str) -> PathBuf {
        self.folder.join("swings").join(swing).join("result.json")
    }

    /// Where an upload is written before it is whole.
    pub fn incoming(&self) -> PathBuf {
        self.folder.join("incoming")
    }

    /// Takes up an upload: its folder holds `film/NAME` only.
    ///
    /// # Errors
    /// When the disk refuses; nothing is taken up then.
    pub fn take_up(&mut self, folder: &Path, clip: KeptClip) -> Result<(), PageError> {
        kept::write(&folder.join("clip.json"), &clip)?;
        let target = self.clip_folder(&clip.id);
        fs::rename(folder, &target).map_err(refused(&target))?;
        sync(&self.folder.join("clips"))?;
        self.clips.insert(clip.id.clone(), clip);
        Ok(())
    }

    /// # Errors
    /// When the disk refuses; what was kept stays as it was then.
    pub fn keep_clip(&mut self, clip: KeptClip) -> Result<(), PageError> {
        kept::write(&self.clip_folder(&clip.id).join("clip.json"), &clip)?;
        self.clips.insert(clip.id.clone(), clip);
        Ok(())
    }

    /// Removes what was seen in a clip.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn forget_seen(&self, clip: &str) -> Result<(), PageError> {
        for file in [self.observed(clip), self.observed_marked(clip)] {
            match fs::remove_file(&file) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                    return Err(refused(&file)(error));
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// # Errors
    /// As for a clip.
    pub fn keep_swing(&mut self, swing: KeptSwing) -> Result<(), PageError> {
        let folder = self.folder.join("swings").join(&swing.id);
        fs::create_dir_all(&folder).map_err(refused(&folder))?;
        kept::write(&folder.join("swing.json"), &swing)?;
        self.swings.insert(swing.id.clone(), swing);
        Ok(())
    }

    /// # Errors
    /// As for a clip.
    pub fn keep_settings(&mut self, settings: Settings) -> Result<(), PageError> {
        kept::write(&self.folder.join("settings.json"), &settings)?;
        self.settings = settings;
        Ok(())
    }

    /// # Errors
    /// When the disk refuses; the clip stays then.
    pub fn drop_clip(&mut self, id: &str) -> Result<(), PageError> {
        self.discard(&self.clip_folder(id), id)?;
        self.clips.remove(id);
        Ok(())
    }

    /// # Errors
    /// When the disk refuses; the swing stays then.
    pub fn drop_swing(&mut self, id: &str) -> Result<(), PageError> {
        self.discard(&self.folder.join("swings").join(id), id)?;
        self.swings.remove(id);
        Ok(())
    }

    fn discard(&self, from: &Path, id: &str) -> Result<(), PageError> {
        if !from.exists() {
            return Ok(());
        }
        let bin = self.incoming().join(format!("gone-{id}"));
        fs::rename(from, &bin).map_err(refused(from))?;
        // What is left in the bin goes at the next start.
        let _ = fs::remove_dir_all(&bin);
        Ok(())
    }

    /// The swing of this name, or the one that it was joined with.
    pub fn swing(&self, id: &str) -> Option<&KeptSwing> {
        self.swings.get(id).or_else(|| self.swings.values().find(|s| s.was.iter().any(|w| w == id)))
    }

    pub fn swing_of(&self, clip: &str) -> Option<&KeptSwing> {
        self.swings.values().find(|swing| swing.has(clip))
    }

    /// The clip that has waited longest.
    pub fn next_waiting(&self) -> Option<&KeptClip> {
        let waiting = self.clips.values().filter(|c| c.state == ClipState::Waiting);
        waiting.min_by_key(|c| (c.arrived_unix_ms, &c.id))
    }
}

/// Everything kept below a folder, by the name of its own folder.
fn all<T: serde::de::DeserializeOwned>(
    folder: &Path,
    file: &str,
) -> Result<BTreeMap<String, T>, PageError> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).map_err(refused(folder))? {
        let entry = entry.map_err(refused(folder))?;
        let id = entry.file_name().into_string().unwrap_or_default();
        if let Some(kept) = read_or_tell(&entry.path().join(file)) {
            found.insert(id, kept);
        }
    }
    Ok(found)
}

/// A file that is there and makes no sense counts for nothing, but not silently.
fn read_or_tell<T: serde::de::DeserializeOwned>(path: &Path) -> Option<T> {
    let found = kept::read(path);
    if found.is_none() && path.exists() {
        let path = path.display();
        eprintln!(
            "hubgauge: {path} makes no sense and counts for nothing: put it right or remove it"
        );
    }
    found
}

/// A rename is on disk when its folder is.
fn sync(folder: &Path) -> Result<(), PageError> {
    #[cfg(unix)]
    File::open(folder).and_then(|f| f.sync_all()).map_err(refused(folder))?;
    Ok(())
}

fn refused(path: &Path) -> impl FnOnce(std::io::Error) -> PageError {
    let folder = path.to_owned();
    move |source| PageError::Folder { folder, source }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip(id: &str, state: ClipState) -> KeptClip {
        KeptClip {
            id: id.to_owned(),
            name: "a.mp4".to_owned(),
            file: "a.mp4".to_owned(),
            size_bytes: 1,
            sha256: String::new(),
            arrived_unix_ms: 5,
            created_unix_s: None,
            duration_s: None,
            state,
            message: None,
            view: None,
            handed: None,
            capture_fps: None,
            too_slow: None,
            notes: Vec::new(),
            apart: Default::default(),
        }
    }

    fn upload(workspace: &mut Workspace, id: &str, state: ClipState) {
        let folder = workspace.incoming().join(id);
        fs::create_dir_all(folder.join("film")).unwrap();
        fs::write(folder.join("film/a.mp4"), b"x").unwrap();
        workspace.take_up(&folder, clip(id, state)).unwrap();
    }

    #[test]
    fn a_second_page_is_refused_and_a_stop_loses_nothing() {
        let library = tempfile::tempdir().unwrap();
        let mut first = Workspace::open(library.path()).unwrap();
        let second = Workspace::open(library.path()).unwrap_err();
        assert!(matches!(second, PageError::Taken(_)));
        upload(&mut first, "one", ClipState::Measuring);
        upload(&mut first, "two", ClipState::Ready);
        let mut swing = KeptSwing::new("s".to_owned(), &first.clips["one"]);
        swing.label = "before".to_owned();
        first.keep_swing(swing).unwrap();
        fs::create_dir_all(first.incoming().join("half/film")).unwrap();
        drop(first);
        let mut again = Workspace::open(library.path()).unwrap();
        assert_eq!(again.clips["one"].state, ClipState::Waiting);
        // Ready without what was seen: looked at again.
        assert_eq!(again.clips["two"].state, ClipState::Waiting);
        assert_eq!(again.swings["s"].label, "before");
        assert_eq!(fs::read_dir(again.incoming()).unwrap().count(), 0);
        assert_eq!(again.next_waiting().unwrap().id, "one");
        again.drop_clip("one").unwrap();
        drop(again);
        let last = Workspace::open(library.path()).unwrap();
        assert!(last.swings.is_empty() && last.clips.len() == 1);
    }
}
