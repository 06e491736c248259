//! From the bench to the record. In: a swing of a pupil on record, with its result. Out: a row of
//! the library; a later result of the same swing is put beside the older ones there.
//!
//! As with the command line, a result needs the pupil's name only; where the clip lies is
//! remembered only for pupils who agreed that clips are kept.

use super::kept::{KeptSwing, Recorded};
use super::reply::Reply;
use super::showing;
use super::state::Page;
use crate::record::{Keep, NewSwing};
use crate::results::SwingResult;

/// Puts a result on record, where the swing's pupil is. A failure is shown with the swing.
pub fn record(page: &Page, id: &str, result: &SwingResult) {
    if let Err(refusal) = try_record(page, id, result) {
        let _ = page.change(|w| {
            let Some(mut swing) = w.swings.get(id).cloned() else { return Ok(()) };
            swing.message = Some(refusal.message);
            w.keep_swing(swing)
        });
    }
}

fn try_record(page: &Page, id: &str, result: &SwingResult) -> Reply<()> {
    let pupils = page.pupils();
    let Some(swing) = page.look(|w| w.swings.get(id).cloned()) else { return Ok(()) };
    let Some(pupil) = showing::pupil_of(&swing, &pupils) else { return Ok(()) };
    let mut library = page.library()?;
    let lesson = match &swing.recorded {
        Some(recorded) => recorded.lesson,
        None => library.lesson(&pupil.name, None)?,
    };
    let keep = if pupil.keep_pictures { Keep::InPlace } else { Keep::Nothing };
    let row = library.add_swing(lesson, &said(page, &swing), result, keep)?;
    let recorded = Some(Recorded { pupil: pupil.name.clone(), lesson, swing: row });
    if swing.recorded != recorded {
        page.change(|w| {
            let Some(mut kept) = w.swings.get(id).cloned() else { return Ok(()) };
            kept.recorded = recorded;
            w.keep_swing(kept)
        })?;
    }
    Ok(())
}

/// What the coach says about a swing, for its row.
fn said(page: &Page, swing: &KeptSwing) -> NewSwing {
    let clips = page.look(|w| {
        let clips = swing.parts.iter().filter_map(|part| w.clips.get(&part.clip));
        clips.map(|clip| w.film(clip)).collect()
    });
    NewSwing { label: swing.label.clone(), club: swing.club.clone(), clips, ..NewSwing::default() }
}

/// Takes a swing off the record: it was another pupil's, or is part of another swing now.
///
/// # Errors
/// When the record cannot be written.
pub fn withdraw(page: &Page, swing: &KeptSwing) -> Reply<()> {
    let Some(recorded) = &swing.recorded else { return Ok(()) };
    match page.library()?.remove_swing(recorded.swing) {
        // Erased by another program: gone is gone.
        Err(crate::record::RecordError::NoSwing(_)) => Ok(()),
        other => Ok(other?),
    }
}

/// Writes the label and the club of a swing on record anew.
///
/// # Errors
/// When the record cannot be written.
pub fn describe(page: &Page, id: &str) -> Reply<()> {
    let swing = page.look(|w| w.swings.get(id).cloned());
    let Some((swing, recorded)) = swing.and_then(|s| Some((s.clone(), s.recorded?))) else {
        return Ok(());
    };
    Ok(page.library()?.change_swing(recorded.swing, &said(page, &swing))?)
}

/// Copies the clips of a swing on record into the library before they leave the bench, where the
/// pupil agreed.
///
/// # Errors
/// When the record cannot be written.
pub fn keep_for_good(page: &Page, swing: Option<&KeptSwing>) -> Reply<()> {
    let Some((swing, recorded)) = swing.and_then(|s| Some((s, s.recorded.as_ref()?))) else {
        return Ok(());
    };
    let pupils = page.pupils();
    let agreed = showing::pupil_of(swing, &pupils).is_some_and(|pupil| pupil.keep_pictures);
    if let (true, Some(result)) = (agreed, super::measured::result(page, &swing.id)) {
        let said = said(page, swing);
        page.library()?.add_swing(recorded.lesson, &said, &result, Keep::Copy)?;
    }
    Ok(())
}

/// Notes beside a swing on record that it was corrected by hand.
///
/// # Errors
/// When the record cannot be written.
pub fn note_correction(page: &Page, id: &str) -> Reply<()> {
    let swing = page.look(|w| w.swings.get(id).cloned());
    let Some((swing, recorded)) = swing.and_then(|s| Some((s.clone(), s.recorded?))) else {
        return Ok(());
    };
    let what = match swing.corrections.last() {
        Some(last) => format!("by hand ({} in all): {last}", swing.corrections.len()),
        None => "corrections by hand undone".to_owned(),
    };
    let what: String = what.chars().take(200).collect();
    Ok(page.library()?.add_correction(recorded.swing, &what)?)
}
