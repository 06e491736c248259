//! The numbers of a swing on the bench. In: what was seen in its clips, what the coach says.
//! Out: the same measurement that the command line makes, kept for as long as it is looked at;
//! its result on disk, and on record where a pupil is named.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::kept::{KeptClip, KeptSwing};
use super::reply::{Refusal, Reply};
use super::showing;
use super::shown::ClipState;
use super::state::{Page, held};
use super::workspace::Workspace;
use super::{kept, recording, view};
use crate::calibration::View;
use crate::error::{Error, chain};
use crate::options::{Clip, Options, OptionsError};
use crate::results::{self, Correction, SwingResult, write_atomically};
use crate::run::Measurement;
use crate::run::evaluate::{Viewed, evaluate, person_wanted};
use crate::run::observe::Observed;
use crate::units::Metres;
use crate::warning::{Kind, Warning};

/// A swing, evaluated.
pub struct Measured {
    pub measurement: Measurement,
}

impl Measured {
    /// Whether a note of this kind was made.
    pub fn says(&self, kind: Kind) -> bool {
        self.measurement.evaluated.notes.iter().any(|note| note.kind == kind)
    }

    /// Views in which a rod was found unmarked and taken for the target line.
    fn rods(&self) -> Vec<View> {
        let found = |v: &&Viewed| v.calibration.rod.is_some();
        self.measurement.evaluated.views.iter().filter(found).map(|v| v.calibration.view).collect()
    }
}

/// Settings for the look at one clip: the hand, its true rate, and whom the coach has pointed at. Its bytes were
/// summed up when they came.
///
/// # Errors
/// When a correction makes no sense.
pub fn options_to_look(page: &Page, clip: &KeptClip, film: PathBuf) -> Result<Options, Error> {
    let mut to_look = Clip::new(film, None);
    to_look.sha256 = Some(clip.sha256.clone());
    to_look.capture_fps = clip.capture_fps;
    let found = page.look(|w| w.swing_of(&clip.id).cloned().map(|s| (s, w.observed(&clip.id))));
    let Some((swing, observed)) = found else { return Ok(Options::new(vec![to_look])?) };
    let options = options(page, &swing)?;
    let index = swing.parts.iter().position(|part| part.clip == clip.id);
    // Whom is meant can only be said of a clip that was looked at before.
    if let (Some(index), Ok(seen)) = (index, Observed::read(&observed)) {
        to_look.person = person_wanted(&seen, index, &options)?;
    }
    let mut to_look = Options::new(vec![to_look])?;
    to_look.handed = options.hand();
    Ok(to_look)
}

/// Settings as the command line would have them.
fn options(page: &Page, swing: &KeptSwing) -> Result<Options, Error> {
    let pupils = page.pupils();
    let clips = page.look(|w| {
        let films = swing.parts.iter().filter_map(|part| {
            let clip = w.clips.get(&part.clip)?;
            let capture_fps = clip.capture_fps;
            Some(Clip { capture_fps, ..Clip::new(w.film(clip), part.view) })
        });
        films.collect::<Vec<_>>()
    });
    let mut options = Options::new(clips)?;
    match &swing.stature {
        Some(text) => options.set_stature(text)?,
        None => {
            let on_record = showing::pupil_of(swing, &pupils).and_then(|p| p.stature_m);
            options.stature = on_record.map(Metres);
        }
    }
    options.handed = page.look(|w| showing::handed(w, swing, &pupils));
    options.correct(as_corrections(&swing.corrections)?)?;
    Ok(options)
}

/// # Errors
/// When one is of no known kind.
fn as_corrections(list: &[serde_json::Value]) -> Result<Vec<Correction>, OptionsError> {
    let read = |one: &serde_json::Value| serde_json::from_value(one.clone());
    let list: Result<_, serde_json::Error> = list.iter().map(read).collect();
    list.map_err(|error| OptionsError::NoCorrections(error.to_string()))
}

/// What was seen in the clips of a swing, where all of them are ready.
fn seen(page: &Page, swing: &KeptSwing, options: &Options) -> Reply<Vec<Observed>> {
    let places = page.look(|w| {
        let one = |part: &kept::Part| {
            let clip = w.clips.get(&part.clip).filter(|c| c.state == ClipState::Ready)?;
            let files = (w.observed(&clip.id), w.observed_marked(&clip.id));
            Some((clip.id.clone(), files, w.film(clip)))
        };
        swing.parts.iter().map(one).collect::<Option<Vec<_>>>()
    });
    let not_yet = || Refusal::conflict("this swing is still being measured");
    let places = places.filter(|places| !places.is_empty()).ok_or_else(not_yet)?;
    let mut all = Vec::new();
    for (index, (clip, (plain, marked), film)) in places.into_iter().enumerate() {
        let told = |error: Error| Refusal::unmeasurable(page, swing, &error);
        let found = match Observed::read(&plain) {
            Ok(seen) => match person_wanted(&seen, index, options).map_err(told)? {
                None => Some(seen),
                person => Observed::read(&marked).ok().filter(|seen| seen.person == person),
            },
            Err(_) => None,
        };
        let Some(mut seen) = found else {
            // Somebody else is to be looked at; or the file is damaged, or of an older program.
            super::queue::retry(page, &clip)?;
            return Err(not_yet());
        };
        seen.info.path = film;
        all.push(seen);
    }
    Ok(all)
}

/// The swing with its numbers, from memory where they are fresh.
///
/// # Errors
/// When it is not there, not ready or not measurable.
pub fn measured(page: &Page, id: &str) -> Reply<Arc<Measured>> {
    let there = || page.look(|w| w.swing(id).cloned()).ok_or_else(|| Refusal::missing("swing"));
    if let Some(known) = held(&page.measured).get(&there()?.id) {
        return Ok(known);
    }
    let _one = held(&page.evaluating);
    // Read anew: it may have changed, or been worked out, in the meantime.
    let swing = there()?;
    if let Some(known) = held(&page.measured).get(&swing.id) {
        return Ok(known);
    }
    let fresh = Arc::new(compute(page, &swing)?);
    held(&page.measured).put(&swing.id, Arc::clone(&fresh));
    Ok(fresh)
}

/// Works out a swing, kept or only thought of.
///
/// # Errors
/// When it is not ready or not measurable.
pub fn compute(page: &Page, swing: &KeptSwing) -> Reply<Measured> {
    let told = |error: Error| Refusal::unmeasurable(page, swing, &error);
    let options = options(page, swing).map_err(told)?;
    let observed = seen(page, swing, &options)?;
    let notes = page.look(|w| {
        let clips = swing.parts.iter().filter_map(|part| w.clips.get(&part.clip));
        clips.flat_map(|clip| clip.notes.iter().cloned().map(Warning::new)).collect::<Vec<_>>()
    });
    let mut evaluated = evaluate(&observed, &options, notes).map_err(told)?;
    // The page has no options to name.
    evaluated.result.notes = results::notes(&evaluated.notes, view::control);
    let measurement = Measurement { result: evaluated.result.clone(), evaluated, observed };
    Ok(Measured { measurement })
}

/// Works out a swing again after a change, keeps the result and tells the pages.
///
/// One at a time from reading the swing to keeping its numbers: else numbers from before a change
/// could be kept after those from behind it.
///
/// # Errors
/// When the disk refuses. A swing that cannot be measured is no error here: it says so itself.
pub fn renew(page: &Page, id: &str) -> Reply<()> {
    let _one = held(&page.evaluating);
    let read = |w: &Workspace| Some((w.swing(id)?.clone(), basis(w, w.swing(id)?)));
    let (swing, before) = page.look(read).ok_or_else(|| Refusal::missing("swing"))?;
    held(&page.measured).remove(&swing.id);
    let mut rods = Vec::new();
    let (answer, message, fresh) = match compute(page, &swing) {
        Ok(fresh) => {
            rods = fresh.rods();
            note_views(page, &fresh, &swing)?;
            let answer = results::answer_in(&fresh.measurement.result, page.style());
            (Some(answer), None, Some(fresh))
        }
        Err(refusal) if refusal.status == axum::http::StatusCode::CONFLICT => (None, None, None),
        Err(refusal) => (None, Some(refusal.message), None),
    };
    let result = fresh.as_ref().map(|fresh| &fresh.measurement.result);
    let kept = page.change(|w| {
        // Numbers of what is no more: whoever changed it waits to work it out.
        let true_still = |now: &&KeptSwing| result.is_none() || basis(w, now) == before;
        let now = w.swings.get(&swing.id).filter(true_still).cloned();
        let Some(mut kept) = now else { return Ok(false) };
        keep_result(&w.result(&swing.id), result)?;
        (kept.answer, kept.message, kept.rods) = (answer, message, rods);
        w.keep_swing(kept)?;
        Ok::<_, Refusal>(true)
    })?;
    if kept && let Some(fresh) = fresh {
        recording::record(page, &swing.id, &fresh.measurement.result);
        held(&page.measured).put(&swing.id, Arc::new(fresh));
    }
    page.tell_swing(&swing.id);
    Ok(())
}

/// What the numbers of a swing rest on, of all that is kept of it.
fn basis(w: &Workspace, swing: &KeptSwing) -> impl PartialEq + use<> {
    let clip = |part: &kept::Part| {
        w.clips.get(&part.clip).map(|c| (c.state == ClipState::Ready, c.capture_fps))
    };
    let clips: Vec<_> = swing.parts.iter().map(clip).collect();
    let said = (swing.pupil.clone(), swing.stature.clone(), swing.handed);
    (swing.parts.clone(), swing.corrections.clone(), said, clips)
}

/// Writes every answer anew, after the coach chose other units.
///
/// # Errors
/// When the disk refuses.
pub fn tell_again(page: &Page) -> Reply<()> {
    let style = page.style();
    let told = page.look(|w| {
        let told = w.swings.values().filter(|swing| swing.answer.is_some());
        told.map(|swing| swing.id.clone()).collect::<Vec<_>>()
    });
    for id in told {
        let Some(result) = result(page, &id) else { continue };
        page.change(|w| {
            let Some(mut kept) = w.swings.get(&id).cloned() else { return Ok(()) };
            kept.answer = Some(results::answer_in(&result, style));
            w.keep_swing(kept)
        })?;
    }
    Ok(())
}

/// What was recognised in the clips.
fn note_views(page: &Page, fresh: &Measured, swing: &KeptSwing) -> Reply<()> {
    for viewed in &fresh.measurement.evaluated.views {
        let Some(part) = swing.parts.get(viewed.clip) else { continue };
        let view = viewed.calibration.view;
        let changed = page.change(|w| {
            let known = w.clips.get(&part.clip).cloned();
            let Some(mut clip) = known.filter(|c| c.view != Some(view)) else { return Ok(false) };
            // A view given by hand says nothing about what was recognised, but is shown.
            clip.view = Some(view);
            w.keep_clip(clip).map(|()| true)
        })?;
        if changed {
            page.tell_clip(&part.clip);
        }
    }
    Ok(())
}

fn keep_result(path: &Path, result: Option<&SwingResult>) -> Reply<()> {
    match result {
        Some(result) => {
            let text = result.to_json().map_err(|e| Refusal::failed(e.to_string()))?;
            write_atomically(path, text.as_bytes()).map_err(|e| Refusal::failed(e.to_string()))
        }
        None => match std::fs::remove_file(path) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                Err(Refusal::failed(error.to_string()))
            }
            _ => Ok(()),
        },
    }
}

/// The result as it is kept: quick, whatever is being worked out.
pub fn result(page: &Page, id: &str) -> Option<SwingResult> {
    let path = page.look(|w| Some(w.result(&w.swing(id)?.id)))?;
    SwingResult::from_json(&std::fs::read_to_string(path).ok()?).ok()
}

/// Whether corrections make sense for a swing, in the words of the command line.
///
/// # Errors
/// When one does not.
pub fn check_corrections(
    page: &Page,
    swing: &KeptSwing,
    corrections: &[serde_json::Value],
) -> Reply<()> {
    let wanted = KeptSwing { corrections: corrections.to_vec(), ..swing.clone() };
    options(page, &wanted).map(drop).map_err(|error| Refusal::wrong(chain(&error)))
}
