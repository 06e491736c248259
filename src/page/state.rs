//! What all requests and the measuring share. In: changes to the workspace. Out: the same state
//! for every page that is open, and a message to each of them (server-sent events).

use std::collections::BTreeMap;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use tokio::sync::broadcast;

use super::cache::Cache;
use super::measured::Measured;
use super::reply::{Refusal, Reply};
use super::shown::{BenchShown, ClipShown, Look, SwingShown, WatchTrouble};
use super::workspace::Workspace;
use super::{OpenOptions, PageError, showing};
use crate::chart::Style;
use crate::decode::Frames;
use crate::record::{Library, Pupil};
use crate::run::short_clip::ShortClip;

/// Messages that a slow page may be behind before it has to ask anew.
const BACKLOG: usize = 256;
/// Swings kept evaluated, and clips kept open for stepping: a lesson looks at two or three.
const REMEMBERED: usize = 6;
const FILMS: usize = 2;

/// How far the work on a clip is; not kept on disk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Live {
    pub step: Option<&'static str>,
    pub share: f64,
}

/// The page's state.
pub struct Page {
    pub options: OpenOptions,
    pub token: String,
    utc_offset_s: i64,
    workspace: Mutex<Workspace>,
    /// Wakes the measuring when a clip came.
    wake: Condvar,
    live: Mutex<BTreeMap<String, Live>>,
    pupils: Mutex<Vec<Pupil>>,
    watch_trouble: Mutex<Vec<WatchTrouble>>,
    changes: broadcast::Sender<Arc<str>>,
    pub measured: Mutex<Cache<Arc<Measured>>>,
    pub films: Mutex<Cache<Arc<Mutex<Frames>>>>,
    pub short_clips: Mutex<Cache<Arc<ShortClip>>>,
    /// One clip at a time is drawn.
    pub filming: Mutex<()>,
    /// One evaluation at a time: each takes milliseconds.
    pub evaluating: Mutex<()>,
    pub cancelled: Mutex<Option<String>>,
}

/// What a thread that failed left is whole: every change is one assignment.
pub fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Page {
    /// # Errors
    /// When the library or its folder `page/` cannot be used.
    pub fn new(options: OpenOptions, token: String) -> Result<Self, PageError> {
        let library = Library::open(&options.library)?;
        let (pupils, utc_offset_s) = (library.pupils()?, library.utc_offset_s()?);
        let workspace = Workspace::open(&options.library)?;
        Ok(Self {
            options,
            token,
            utc_offset_s,
            workspace: Mutex::new(workspace),
            wake: Condvar::new(),
            live: Mutex::default(),
            pupils: Mutex::new(pupils),
            watch_trouble: Mutex::default(),
            changes: broadcast::channel(BACKLOG).0,
            measured: Mutex::new(Cache::new(REMEMBERED)),
            films: Mutex::new(Cache::new(FILMS)),
            short_clips: Mutex::new(Cache::new(FILMS)),
            filming: Mutex::default(),
            evaluating: Mutex::default(),
            cancelled: Mutex::default(),
        })
    }

    /// Reads the workspace.
    pub fn look<T>(&self, read: impl FnOnce(&Workspace) -> T) -> T {
        read(&held(&self.workspace))
    }

    /// Changes what is not kept on disk.
    pub fn look_mut<T>(&self, change: impl FnOnce(&mut Workspace) -> T) -> T {
        let changed = change(&mut held(&self.workspace));
        self.wake.notify_all();
        changed
    }

    /// Changes the workspace.
    ///
    /// # Errors
    /// What the change itself refuses.
    pub fn change<T, E: Into<Refusal>>(
        &self,
        change: impl FnOnce(&mut Workspace) -> Result<T, E>,
    ) -> Reply<T> {
        let changed = change(&mut held(&self.workspace)).map_err(Into::into)?;
        self.wake.notify_all();
        Ok(changed)
    }

    /// Waits until `ready` finds something in the workspace.
    pub fn wait_for<T>(&self, mut ready: impl FnMut(&Workspace) -> Option<T>) -> T {
        let mut workspace = held(&self.workspace);
        loop {
            if let Some(found) = ready(&workspace) {
                return found;
            }
            workspace = self.wake.wait(workspace).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// The record of pupils and lessons, opened anew: other programs use it too.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn library(&self) -> Reply<Library> {
        Ok(Library::open(&self.options.library)?)
    }

    pub fn pupils(&self) -> Vec<Pupil> {
        held(&self.pupils).clone()
    }

    /// Reads the pupils again; another program may have added one.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub fn refresh_pupils(&self) -> Reply<Vec<Pupil>> {
        let pupils = self.library()?.pupils()?;
        held(&self.pupils).clone_from(&pupils);
        Ok(pupils)
    }

    pub fn live(&self, clip: &str) -> Live {
        held(&self.live).get(clip).cloned().unwrap_or_default()
    }

    /// Notes how far the work on a clip is, and tells the pages when that is worth showing.
    pub fn set_live(&self, clip: &str, live: Live) {
        const WORTH_SHOWING: f64 = 0.01;
        let before = held(&self.live).insert(clip.to_owned(), live.clone()).unwrap_or_default();
        if before.step != live.step || (live.share - before.share).abs() >= WORTH_SHOWING {
            self.tell_clip(clip);
        } else {
            held(&self.live).insert(clip.to_owned(), before);
        }
    }

    pub fn forget_live(&self, clip: &str) {
        held(&self.live).remove(clip);
    }

    /// Messages from now on.
    pub fn subscribe(&self) -> broadcast::Receiver<Arc<str>> {
        self.changes.subscribe()
    }

    pub fn tell_clip(&self, id: &str) {
        if let Some(clip) = self.clip_shown(id) {
            self.tell("clip", &clip);
        }
    }

    pub fn tell_swing(&self, id: &str) {
        if let Some(swing) = self.swing_shown(id) {
            self.tell("swing", &swing);
        }
    }

    /// Something came or went.
    pub fn tell_bench(&self) {
        self.tell("bench", &self.bench_shown());
    }

    fn tell(&self, kind: &str, what: &impl serde::Serialize) {
        if let Some(text) = message(kind, what) {
            // Nobody listening is fine.
            let _ = self.changes.send(text.into());
        }
    }

    pub fn clip_shown(&self, id: &str) -> Option<ClipShown> {
        self.look(|w| Some(showing::clip(w, w.clips.get(id)?, &self.live(id))))
    }

    pub fn swing_shown(&self, id: &str) -> Option<SwingShown> {
        let pupils = self.pupils();
        self.look(|w| Some(showing::swing(w, w.swing(id)?, &pupils)))
    }

    pub fn swings_shown(&self) -> Vec<SwingShown> {
        let pupils = self.pupils();
        self.look(|w| showing::swings(w, &pupils))
    }

    pub fn bench_shown(&self) -> BenchShown {
        let pupils = self.pupils();
        self.look(|w| {
            let mut clips: Vec<_> = w.clips.values().collect();
            clips.sort_by_key(|c| c.arrived_unix_ms);
            BenchShown {
                clips: clips.iter().map(|c| showing::clip(w, c, &self.live(&c.id))).collect(),
                swings: showing::swings(w, &pupils),
                pupils,
                watched: self.watched(w).map(|folder| folder.display().to_string()),
                watch_trouble: held(&self.watch_trouble).clone(),
                max_upload_bytes: self.options.max_upload_bytes,
            }
        })
    }

    /// What is wrong with the watched folder now.
    pub fn set_watch_trouble(&self, trouble: Vec<WatchTrouble>) {
        let before = std::mem::replace(&mut *held(&self.watch_trouble), trouble.clone());
        if before != trouble {
            self.tell_bench();
        }
    }

    /// The folder of the command line, else that of the settings.
    pub fn watched(&self, workspace: &Workspace) -> Option<std::path::PathBuf> {
        let set = Some(&workspace.settings.watched).filter(|folder| !folder.is_empty());
        self.options.watch.clone().or_else(|| set.map(Into::into))
    }

    /// How numbers look in charts and on the sheet.
    pub fn style(&self) -> Style {
        self.look_of_page().style()
    }

    pub fn look_of_page(&self) -> Look {
        let settings = self.look(|w| w.settings.clone());
        Look {
            utc_offset_s: self.utc_offset_s,
            token: self.token.clone(),
            units: settings.units,
            decimal: settings.decimal,
            date_format: settings.date_format,
            blur: settings.blur,
        }
    }
}

/// `{"kind": ..., the object's own fields}`.
pub fn message(kind: &str, what: &impl serde::Serialize) -> Option<String> {
    let mut value = serde_json::to_value(what).ok()?;
    value.as_object_mut()?.insert("kind".to_owned(), kind.into());
    serde_json::to_string(&value).ok()
}

/// Milliseconds since 1970.
#[must_use]
pub fn now_unix_ms() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or(Duration::ZERO);
    u64::try_from(since.as_millis()).unwrap_or(u64::MAX)
}
