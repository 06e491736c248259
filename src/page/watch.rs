//! The folder where a phone's clips arrive. In: its files, looked at every second. Out: new clips
//! on the bench. A file counts when it has stopped growing, and is taken once.
//!
//! What was there when a folder is first watched is left alone; what came while the page was
//! closed is taken up at the next start.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

use super::state::Page;
use super::{kept, upload};

const LOOK: Duration = Duration::from_secs(1);
/// A sync program that pauses longer in the middle of a file is not known.
const STABLE: Duration = Duration::from_secs(2);
/// Containers that phones and browsers write.
const KINDS: [&str; 6] = ["mp4", "mov", "m4v", "mkv", "webm", "avi"];

/// Sizes by file name: what has been dealt with.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
struct Dealt {
    folder: PathBuf,
    files: BTreeMap<String, u64>,
}

/// Watches the folder of the settings, whichever that is, as long as the program runs.
pub fn work(page: &Arc<Page>) {
    let mut watch = Watch::new(page);
    loop {
        if let Some(folder) = page.look(|w| page.watched(w)) {
            watch.look(page, &folder);
        }
        std::thread::sleep(LOOK);
    }
}

struct Watch {
    file: PathBuf,
    dealt: Dealt,
    /// Size and since when it has been that.
    growing: BTreeMap<String, (u64, Instant)>,
}

impl Watch {
    fn new(page: &Page) -> Self {
        let file = page.look(|w| w.folder().join("watched.json"));
        let dealt = kept::read(&file).unwrap_or_default();
        Self { file, dealt, growing: BTreeMap::new() }
    }

    fn look(&mut self, page: &Arc<Page>, folder: &Path) {
        // A folder that is away for a while (a phone unplugged) is no reason to forget it.
        let Some(there) = clips(folder) else { return };
        if self.dealt.folder != folder {
            self.dealt = Dealt { folder: folder.to_owned(), files: there };
            self.keep();
            return;
        }
        for name in self.whole(&there, Instant::now()) {
            if let Err(refusal) = upload::copy(page, &folder.join(&name)) {
                eprintln!("hubgauge: {name} from the watched folder: {}", refusal.message);
            }
            self.growing.remove(&name);
            self.dealt.files.insert(name.clone(), there.get(&name).copied().unwrap_or(0));
            self.keep();
        }
    }

    /// New files that have not grown for a while.
    fn whole(&mut self, there: &BTreeMap<String, u64>, now: Instant) -> Vec<String> {
        self.growing.retain(|name, _| there.contains_key(name));
        let mut whole = Vec::new();
        for (name, size) in there {
            if *size == 0 || self.dealt.files.get(name) == Some(size) {
                continue;
            }
            let seen = self.growing.entry(name.clone()).or_insert((*size, now));
            if seen.0 != *size {
                *seen = (*size, now);
            } else if now.duration_since(seen.1) >= STABLE {
                whole.push(name.clone());
            }
        }
        whole
    }

    fn keep(&self) {
        // Without it a clip is offered twice at worst, and known by its content then.
        let _ = kept::write(&self.file, &self.dealt);
    }
}

/// Size of every clip in a folder; `None` when it cannot be read.
fn clips(folder: &Path) -> Option<BTreeMap<String, u64>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).ok()?.flatten() {
        let Ok(name) = entry.file_name().into_string() else { continue };
        let kind = Path::new(&name).extension().and_then(|e| e.to_str()).unwrap_or_default();
        let known = KINDS.contains(&kind.to_ascii_lowercase().as_str()) && !name.starts_with('.');
        // A link is not followed: it may lead anywhere.
        let is_file = entry.file_type().is_ok_and(|t| t.is_file());
        if let (true, true, Ok(meta)) = (known, is_file, entry.metadata()) {
            found.insert(name, meta.len());
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_clips_that_stopped_growing_count() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a.MOV", ".hidden.mp4", "notes.txt", "b.mp4"] {
            std::fs::write(folder.path().join(name), b"xx").unwrap();
        }
        let there = clips(folder.path()).unwrap();
        assert_eq!(there.keys().collect::<Vec<_>>(), ["a.MOV", "b.mp4"]);
        let dealt =
            Dealt { folder: folder.path().to_owned(), files: [("b.mp4".to_owned(), 2)].into() };
        let mut watch = Watch { file: PathBuf::new(), dealt, growing: BTreeMap::new() };
        let start = Instant::now();
        assert!(watch.whole(&there, start).is_empty());
        let grown = BTreeMap::from([("a.MOV".to_owned(), 3), ("b.mp4".to_owned(), 2)]);
        assert!(watch.whole(&grown, start + Duration::from_secs(3)).is_empty());
        assert!(watch.whole(&grown, start + Duration::from_secs(4)).is_empty());
        assert_eq!(watch.whole(&grown, start + Duration::from_secs(5)), ["a.MOV"]);
    }
}
