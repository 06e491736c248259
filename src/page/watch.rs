//! The folder where a phone's clips arrive. In: its files, looked at every second. Out: new clips
//! on the bench, and what could not be taken. A file counts when it has stopped growing, and is
//! taken once.
//!
//! What was there when a folder is first watched is left alone; what came while the page was
//! closed is taken up at the next start.

use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use serde::{Deserialize, Serialize};

use super::reply::Refusal;
use super::shown::WatchTrouble;
use super::state::Page;
use super::{kept, upload};

const LOOK: Duration = Duration::from_secs(1);
/// A sync program that pauses longer in the middle of a file is not known.
const STABLE: Duration = Duration::from_secs(2);
/// A disk that refused a clip may have room again after this.
const AGAIN: Duration = Duration::from_secs(30);
/// Containers that phones and browsers write.
const KINDS: [&str; 6] = ["mp4", "mov", "m4v", "mkv", "webm", "avi"];

/// Sizes by file name: what has been dealt with.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
struct Dealt {
    folder: PathBuf,
    files: BTreeMap<String, u64>,
}

/// A file that was not taken. Not kept: the next start, perhaps with a larger limit, tries anew.
#[derive(Debug)]
struct Refused {
    size: u64,
    why: String,
    /// `None`: not until the file is another one.
    again: Option<Instant>,
}

/// Watches the folder of the settings, whichever that is, as long as the program runs.
pub fn work(page: &Arc<Page>) {
    let mut watch = Watch::new(page);
    loop {
        let trouble = match page.look(|w| page.watched(w)) {
            Some(folder) => watch.look(page, &folder, Instant::now()),
            None => Vec::new(),
        };
        page.set_watch_trouble(trouble);
        std::thread::sleep(LOOK);
    }
}

struct Watch {
    file: PathBuf,
    dealt: Dealt,
    /// Size and since when it has been that.
    growing: BTreeMap<String, (u64, Instant)>,
    refused: BTreeMap<String, Refused>,
}

impl Watch {
    fn new(page: &Page) -> Self {
        let file = page.look(|w| w.folder().join("watched.json"));
        let dealt = kept::read(&file).unwrap_or_default();
        Self { file, dealt, growing: BTreeMap::new(), refused: BTreeMap::new() }
    }

    /// Takes up what is new; what cannot be taken, and why.
    fn look(&mut self, page: &Arc<Page>, folder: &Path, now: Instant) -> Vec<WatchTrouble> {
        // A folder that is away for a while (a phone unplugged) is no reason to forget it.
        let there = match clips(folder) {
            Ok(there) => there,
            Err(error) => {
                let why = match error.kind() {
                    ErrorKind::NotFound => "it is not there".to_owned(),
                    _ => error.to_string(),
                };
                return vec![WatchTrouble { file: None, why }];
            }
        };
        if self.dealt.folder != folder {
            self.dealt = Dealt { folder: folder.to_owned(), files: there };
            (self.growing, self.refused) = (BTreeMap::new(), BTreeMap::new());
            self.keep();
            return Vec::new();
        }
        for name in self.whole(&there, now) {
            let size = there.get(&name).copied().unwrap_or(0);
            self.growing.remove(&name);
            match upload::copy(page, &folder.join(&name)) {
                Ok(_) => {
                    self.refused.remove(&name);
                    self.dealt.files.insert(name, size);
                    self.keep();
                }
                Err(refusal) => drop(self.refused.insert(name, Refused::new(size, refusal, now))),
            }
        }
        let told = |(name, refused): (&String, &Refused)| WatchTrouble {
            file: Some(name.clone()),
            why: refused.why.clone(),
        };
        self.refused.iter().map(told).collect()
    }

    /// New files that have not grown for a while.
    fn whole(&mut self, there: &BTreeMap<String, u64>, now: Instant) -> Vec<String> {
        self.growing.retain(|name, _| there.contains_key(name));
        self.refused.retain(|name, refused| there.get(name) == Some(&refused.size));
        let mut whole = Vec::new();
        for (name, size) in there {
            let waits =
                self.refused.get(name).is_some_and(|r| r.again.is_none_or(|again| now < again));
            if *size == 0 || self.dealt.files.get(name) == Some(size) || waits {
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

impl Refused {
    fn new(size: u64, refusal: Refusal, now: Instant) -> Self {
        let passes = refusal.status == StatusCode::INSUFFICIENT_STORAGE;
        Self { size, why: refusal.message, again: passes.then_some(now + AGAIN) }
    }
}

/// Size of every clip in a folder.
fn clips(folder: &Path) -> std::io::Result<BTreeMap<String, u64>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder)?.flatten() {
        let Ok(name) = entry.file_name().into_string() else { continue };
        let kind = Path::new(&name).extension().and_then(|e| e.to_str()).unwrap_or_default();
        let known = KINDS.contains(&kind.to_ascii_lowercase().as_str()) && !name.starts_with('.');
        // A link is not followed: it may lead anywhere.
        let is_file = entry.file_type().is_ok_and(|t| t.is_file());
        if let (true, true, Ok(meta)) = (known, is_file, entry.metadata()) {
            found.insert(name, meta.len());
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::OpenOptions;

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
        let mut watch = Watch {
            file: PathBuf::new(),
            dealt,
            growing: BTreeMap::new(),
            refused: BTreeMap::new(),
        };
        let start = Instant::now();
        assert!(watch.whole(&there, start).is_empty());
        let grown = BTreeMap::from([("a.MOV".to_owned(), 3), ("b.mp4".to_owned(), 2)]);
        assert!(watch.whole(&grown, start + Duration::from_secs(3)).is_empty());
        assert!(watch.whole(&grown, start + Duration::from_secs(4)).is_empty());
        assert_eq!(watch.whole(&grown, start + Duration::from_secs(5)), ["a.MOV"]);
    }

    #[test]
    fn what_cannot_be_taken_is_told_until_it_is_gone_or_another_file() {
        let (library, folder) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let options = OpenOptions {
            library: library.path().to_owned(),
            port: 0,
            browser: false,
            watch: None,
            max_upload_bytes: 10,
        };
        let page = Arc::new(Page::new(options, String::new()).unwrap());
        let mut watch = Watch::new(&page);
        let start = Instant::now();
        let mut look =
            |seconds| watch.look(&page, folder.path(), start + Duration::from_secs(seconds));
        assert!(look(0).is_empty());
        let film = folder.path().join("a.mp4");
        std::fs::write(&film, [1; 20]).unwrap();
        assert!(look(1).is_empty());
        let [trouble] = &look(4)[..] else { panic!("not told") };
        assert_eq!(trouble.file.as_deref(), Some("a.mp4"));
        assert!(trouble.why.contains("--max-upload"), "{}", trouble.why);
        assert_eq!(look(500).len(), 1);
        // Cut to the swing, it is another file.
        std::fs::write(&film, [1; 9]).unwrap();
        look(501);
        assert!(look(504).is_empty());
        assert_eq!(page.bench_shown().clips.len(), 1);
        std::fs::remove_dir_all(folder.path()).unwrap();
        let [away] = &look(505)[..] else { panic!("not told") };
        assert_eq!(away.file, None);
        std::fs::create_dir(folder.path()).unwrap();
        assert!(look(506).is_empty());
    }
}
