//! The measuring. In: clips that wait, oldest first. Out: what was seen in each, kept on disk,
//! and the numbers of its swing. One clip at a time, on a thread of its own: the networks use
//! every core.

use std::sync::Arc;

use image::RgbImage;

use super::kept::KeptClip;
use super::pairing;
use super::reply::{Refusal, Reply};
use super::shown::ClipState;
use super::state::{Live, Page, held};
use super::workspace::Workspace;
use super::{bench, measured, picture};
use crate::decode;
use crate::error::Error;
use crate::options::Options;
use crate::run::observe::{Instruments, Observed, observe};
use crate::run::{Step, Watcher};

/// What each step is called while it lasts.
fn words(step: Step) -> &'static str {
    match step {
        Step::Checksum | Step::Scan => "looking for the golfer and the swing",
        Step::Sound => "listening for the strike",
        Step::Keypoints => "reading the swing",
        Step::Track | Step::Lift => "working out the body",
    }
}

/// Measures whatever waits, as long as the program runs.
pub fn work(page: &Arc<Page>, instruments: &Instruments) {
    pairing::settle(page);
    loop {
        let id = page.wait_for(|w| w.next_waiting().map(|clip| clip.id.clone()));
        *held(&page.cancelled) = None;
        if let Err(refusal) = finish(page, &id, look(page, &id, instruments)) {
            give_up(page, &id, &refusal);
        }
    }
}

/// Looks at one clip; `None` when it is gone.
fn look(page: &Arc<Page>, id: &str, instruments: &Instruments) -> Option<Result<Observed, Error>> {
    let (clip, film) = begin(page, id)?;
    page.tell_clip(id);
    let watcher = Waiting { page, id };
    Some((|| {
        let probed = decode::probe(&film)?;
        let notes = probed.warnings.iter().map(|warning| warning.text.clone()).collect();
        note_file(page, id, &probed.output, notes);
        let options = options(page, &clip, film)?;
        observe(&probed.output, &options.clips()[0], &options, instruments, &watcher)
    })())
}

fn options(page: &Page, clip: &KeptClip, film: std::path::PathBuf) -> Result<Options, Error> {
    measured::options_to_look(page, clip, film)
}

/// What the file says about itself.
fn note_file(page: &Page, id: &str, info: &decode::ClipInfo, notes: Vec<String>) {
    let changed = page.change(|w| {
        let Some(mut clip) = w.clips.get(id).cloned() else { return Ok(()) };
        clip.created_unix_s = info.created_unix_s;
        clip.duration_s = Some(info.duration_s);
        clip.notes = notes;
        w.keep_clip(clip)
    });
    // It is written again with the clip's result.
    drop(changed);
}

/// Takes a clip out of the queue, unless it left it by itself a moment ago. States between waiting
/// and done are not kept: after a stop the clip waits again.
fn begin(page: &Page, id: &str) -> Option<(KeptClip, std::path::PathBuf)> {
    page.look_mut(|w| {
        let clip = w.clips.get_mut(id).filter(|clip| clip.state == ClipState::Waiting)?;
        clip.state = ClipState::Looking;
        let clip = clip.clone();
        let film = w.film(&clip);
        Some((clip, film))
    })
}

fn finish(page: &Arc<Page>, id: &str, seen: Option<Result<Observed, Error>>) -> Reply<()> {
    let Some(seen) = seen else { return Ok(()) };
    page.forget_live(id);
    let (state, message) = match &seen {
        Ok(seen) => match seen.write(&page.look(|w| place(w, id, seen))) {
            Ok(()) => (ClipState::Ready, None),
            Err(error) => (ClipState::Failed, Some(error.to_string())),
        },
        Err(Error::Cancelled) => (ClipState::Cancelled, None),
        // The page has no options to name: it shows the rates to choose from.
        Err(Error::Slow { file, slow }) => {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            (ClipState::Failed, Some(format!("{name}: {}", slow.said())))
        }
        Err(error) => (ClipState::Failed, Some(crate::error::chain(error))),
    };
    let too_slow = match &seen {
        Err(Error::Slow { slow, .. }) => Some(slow.rates()),
        _ => None,
    };
    let there = page.change(|w| {
        let Some(mut clip) = w.clips.get(id).cloned() else { return Ok(false) };
        clip.state = state;
        clip.message = message;
        clip.too_slow = too_slow;
        w.keep_clip(clip).map(|()| true)
    })?;
    if !there {
        return Ok(());
    }
    page.tell_clip(id);
    if state == ClipState::Ready {
        pairing::place(page, id);
    }
    if let Some(swing) = page.look(|w| w.swing_of(id).map(|s| s.id.clone())) {
        page.tell_swing(&swing);
    }
    Ok(())
}

/// The disk refused what was found, and even to note that: the clip fails for now, in memory. It
/// can be tried again, and waits again at the next start.
fn give_up(page: &Page, id: &str, refusal: &Refusal) {
    page.look_mut(|w| {
        let Some(clip) = w.clips.get_mut(id) else { return };
        clip.state = ClipState::Failed;
        let why = &refusal.message;
        let said = format!("what was found could not be kept: make room, then try again ({why})");
        clip.message = Some(said);
    });
    page.tell_bench();
}

/// Who was pointed at has a place of his own: to take that back needs no other look.
fn place(w: &Workspace, id: &str, seen: &Observed) -> std::path::PathBuf {
    if seen.person.is_some() { w.observed_marked(id) } else { w.observed(id) }
}

/// Stops the work on a clip, or takes it out of the queue.
///
/// # Errors
/// When there is no such clip, or nothing to stop.
pub fn cancel(page: &Page, id: &str) -> Reply<()> {
    let working = page.change(|w| {
        let mut clip = w.clips.get(id).cloned().ok_or_else(|| Refusal::missing("clip"))?;
        match clip.state {
            ClipState::Looking | ClipState::Measuring => Ok(true),
            ClipState::Waiting => {
                clip.state = ClipState::Cancelled;
                w.keep_clip(clip)?;
                Ok(false)
            }
            _ => Err(Refusal::conflict("this clip is not being measured")),
        }
    })?;
    if working {
        *held(&page.cancelled) = Some(id.to_owned());
    }
    page.tell_bench();
    Ok(())
}

/// Puts a clip back into the queue.
///
/// # Errors
/// When there is no such clip, or it is in the queue.
pub fn retry(page: &Page, id: &str) -> Reply<()> {
    page.change(|w| {
        let clip = at_rest(w, id)?;
        Ok::<_, Refusal>(w.keep_clip(waiting(clip))?)
    })?;
    page.tell_bench();
    Ok(())
}

/// A clip that nothing is done with.
fn at_rest(w: &Workspace, id: &str) -> Reply<KeptClip> {
    let clip = w.clips.get(id).cloned().ok_or_else(|| Refusal::missing("clip"))?;
    if matches!(clip.state, ClipState::Waiting | ClipState::Looking | ClipState::Measuring) {
        return Err(Refusal::conflict("this clip is being measured already"));
    }
    Ok(clip)
}

fn waiting(clip: KeptClip) -> KeptClip {
    KeptClip { state: ClipState::Waiting, message: None, too_slow: None, ..clip }
}

/// Keeps the true capture rate of a clip, as typed; empty: as its file says. The clip is looked at
/// again: its times, and which pictures are read, depend on it.
///
/// # Errors
/// When it is no possible rate, there is no such clip, or it is in the queue.
pub fn set_rate(page: &Page, id: &str, typed: &str) -> Reply<()> {
    let capture_fps = bench::rate(typed)?;
    let swing = page.change(|w| {
        let clip = at_rest(w, id)?;
        // First: a stop in between leaves a clip that is looked at again, never old times.
        w.forget_seen(id)?;
        w.keep_clip(waiting(KeptClip { capture_fps, ..clip }))?;
        Ok::<_, Refusal>(w.swing_of(id).map(|swing| swing.id.clone()))
    })?;
    if let Some(swing) = swing {
        measured::renew(page, &swing)?;
    }
    page.tell_bench();
    Ok(())
}

/// The page that waits for a clip.
struct Waiting<'a> {
    page: &'a Page,
    id: &'a str,
}

impl Watcher for Waiting<'_> {
    fn step(&self, step: Step, share: f64) {
        if step == Step::Keypoints && share == 0.0 {
            self.page.look_mut(|w| {
                if let Some(clip) = w.clips.get_mut(self.id) {
                    clip.state = ClipState::Measuring;
                }
            });
        }
        self.page.set_live(self.id, Live { step: Some(words(step)), share: step.overall(share) });
    }

    fn first_picture(&self, drawn: &RgbImage) {
        let path = self.page.look(|w| w.first_picture(self.id));
        // A missing picture is shown as missing.
        if picture::write_jpeg(&path, drawn).is_ok() {
            self.page.tell_clip(self.id);
        }
    }

    fn wants_first_picture(&self) -> bool {
        true
    }

    fn is_cancelled(&self) -> bool {
        held(&self.page.cancelled).as_deref() == Some(self.id)
            || self.page.look(|w| !w.clips.contains_key(self.id))
    }
}
