//! What the coach does on the bench: joins, parts, removes and describes swings, corrects what was
//! found. In: the wish, checked here. Out: the changed workspace, numbers worked out again.

use std::collections::BTreeMap;

use serde::{Deserialize, Deserializer};

use super::kept::{KeptSwing, Part};
use super::measured::renew;
use super::reply::{Refusal, Reply};
use super::state::Page;
use super::workspace::Workspace;
use super::{guard, recording, upload};
use crate::calibration::View;
use crate::frames::Handed;
use crate::options::{parse_capture_fps, parse_stature};
use crate::units::Metres;

/// Letters of a label or a club.
const LINE: usize = 200;
/// Letters of notes and of the words on a sheet: about a page.
const PAGE: usize = 4000;
const TASKS: usize = 50;

/// Fields to change; what is not there stays. Empty text means none.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SwingChange {
    #[serde(deserialize_with = "given")]
    pub pupil: Option<String>,
    #[serde(deserialize_with = "given")]
    pub stature: Option<String>,
    /// `right`, `left`, or empty: as recognised.
    #[serde(deserialize_with = "given")]
    pub handed: Option<String>,
    pub label: Option<String>,
    pub club: Option<String>,
    pub notes: Option<String>,
    pub minor: Option<bool>,
    pub words: Option<String>,
    pub tasks: Option<Vec<String>>,
    /// By clip; none: as recognised.
    pub views: Option<BTreeMap<String, Option<View>>>,
}

/// A field that is `null` is as good as an empty one.
fn given<'de, D: Deserializer<'de>>(from: D) -> Result<Option<String>, D::Error> {
    Ok(Some(Option::<String>::deserialize(from)?.unwrap_or_default()))
}

impl SwingChange {
    /// Whether the numbers depend on it.
    fn is_deep(&self) -> bool {
        self.pupil.is_some()
            || self.stature.is_some()
            || self.handed.is_some()
            || self.views.is_some()
    }

    /// The swing with the changes, if they make sense.
    fn apply(self, page: &Page, mut swing: KeptSwing) -> Reply<KeptSwing> {
        if let Some(name) = self.pupil {
            swing.pupil = on_record(page, &name)?;
        }
        if let Some(text) = self.stature {
            swing.stature = stature(&text)?;
        }
        if let Some(text) = self.handed {
            swing.handed = hand(&text)?;
        }
        for (given, kept, most) in [
            (self.label, &mut swing.label, LINE),
            (self.club, &mut swing.club, LINE),
            (self.notes, &mut swing.notes, PAGE),
            (self.words, &mut swing.words, PAGE),
        ] {
            if let Some(text) = given {
                *kept = clean(&text, most)?;
            }
        }
        swing.minor = self.minor.unwrap_or(swing.minor);
        if let Some(tasks) = self.tasks {
            let tasks = tasks.iter().take(TASKS).map(|task| clean(task, LINE));
            swing.tasks = tasks.collect::<Reply<_>>()?;
        }
        for (clip, view) in self.views.into_iter().flatten() {
            let part = swing.parts.iter_mut().find(|part| part.clip == clip);
            part.ok_or_else(|| Refusal::missing("clip in this swing"))?.view = view;
        }
        two_views(&swing.parts)?;
        Ok(swing)
    }
}

fn on_record(page: &Page, name: &str) -> Reply<Option<String>> {
    let name = name.trim();
    if name.is_empty() {
        return Ok(None);
    }
    let pupils = page.refresh_pupils()?;
    let known = pupils.into_iter().find(|pupil| pupil.name.eq_ignore_ascii_case(name));
    let unknown = || {
        Refusal::wrong(format!(
            "there is no pupil called \"{name}\" on record: add the pupil first"
        ))
    };
    known.map(|pupil| Some(pupil.name)).ok_or_else(unknown)
}

fn stature(text: &str) -> Reply<Option<String>> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    height(text)?;
    Ok(Some(text.to_owned()))
}

/// A height with its unit.
///
/// # Errors
/// When it is none; the message does not speak of the command line.
pub fn height(text: &str) -> Reply<Metres> {
    parse_stature("height", text).map_err(|e| Refusal::wrong(e.to_string()))
}

/// Frames a second; none when empty.
///
/// # Errors
/// When it is no possible rate; the message does not speak of the command line.
pub fn rate(text: &str) -> Reply<Option<f64>> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    parse_capture_fps("the rate", text).map(Some).map_err(|e| Refusal::wrong(e.to_string()))
}

/// # Errors
/// When the text names no hand.
pub fn hand(text: &str) -> Reply<Option<Handed>> {
    match text {
        "" => Ok(None),
        "right" => Ok(Some(Handed::Right)),
        "left" => Ok(Some(Handed::Left)),
        _ => Err(Refusal::wrong("the hand is right, left, or empty")),
    }
}

fn clean(text: &str, most: usize) -> Reply<String> {
    let text: String =
        text.trim().chars().filter(|c| !c.is_control() || (*c == '\n' && most == PAGE)).collect();
    if text.chars().count() > most {
        return Err(Refusal::wrong(format!("this text is too long: {most} letters are the most")));
    }
    Ok(text)
}

fn two_views(parts: &[Part]) -> Reply<()> {
    match parts {
        [a, b] if a.view.is_some() && a.view == b.view => Err(Refusal::wrong(
            "a swing has one face-on and one down-the-line clip, not two of one view",
        )),
        [_] | [_, _] => Ok(()),
        _ => Err(Refusal::wrong("a swing has one or two clips")),
    }
}

/// Changes what is said of a swing.
///
/// # Errors
/// When a field makes no sense; nothing is changed then.
pub fn change_swing(page: &Page, id: &str, wish: SwingChange) -> Reply<String> {
    let swing = swing(page, id)?;
    let deep = wish.is_deep();
    let changed = wish.apply(page, swing.clone())?;
    if changed.pupil != swing.pupil {
        recording::withdraw(page, &swing)?;
    }
    let changed = KeptSwing { recorded: still_recorded(&changed, &swing), ..changed };
    let id = keep(page, if deep { unanswered(changed) } else { changed })?;
    if deep {
        renew(page, &id)?;
    } else {
        recording::describe(page, &id)?;
        page.tell_swing(&id);
    }
    Ok(id)
}

fn still_recorded(changed: &KeptSwing, old: &KeptSwing) -> Option<super::kept::Recorded> {
    old.recorded.clone().filter(|_| changed.pupil == old.pupil)
}

fn swing(page: &Page, id: &str) -> Reply<KeptSwing> {
    page.look(|w| w.swing(id).cloned()).ok_or_else(|| Refusal::missing("swing"))
}

/// What was answered before a change is no answer after it, even if a stop comes between: the next
/// start works it out.
fn unanswered(swing: KeptSwing) -> KeptSwing {
    KeptSwing { answer: None, message: None, ..swing }
}

fn keep(page: &Page, swing: KeptSwing) -> Reply<String> {
    let id = swing.id.clone();
    page.change(|w| w.keep_swing(swing))?;
    Ok(id)
}

/// Corrections by hand, all of them in order; a shorter list undoes.
///
/// # Errors
/// When one makes no sense; nothing is changed then.
pub fn correct(page: &Page, id: &str, corrections: Vec<serde_json::Value>) -> Reply<String> {
    let old = swing(page, id)?;
    super::measured::check_corrections(page, &old, &corrections)?;
    let id = keep(page, unanswered(KeptSwing { corrections, ..old }))?;
    renew(page, &id)?;
    recording::note_correction(page, &id)?;
    Ok(id)
}

/// Makes one swing of one or two clips, taking them out of the swings that they are in.
///
/// # Errors
/// When there is no such clip, or the views do not fit.
pub fn put_together(page: &Page, wanted: &[(String, Option<View>)]) -> Reply<String> {
    let parts = super::pairing::parts(wanted);
    two_views(&parts)?;
    if let [a, b] = parts.as_slice()
        && a.clip == b.clip
    {
        return Err(Refusal::wrong("a swing has two different clips"));
    }
    let mut old: Vec<KeptSwing> = Vec::new();
    for part in &parts {
        let there = page.look(|w| w.swing_of(&part.clip).cloned());
        let there = there.ok_or_else(|| Refusal::missing("clip"))?;
        if old.iter().all(|known| known.id != there.id) {
            old.push(there);
        }
    }
    old.sort_by_key(|s| (s.arrived_unix_ms, s.id.clone()));
    let is_part = |clip: &str| parts.iter().any(|part| part.clip == clip);
    let Some(oldest) = old.first().cloned() else { return Err(Refusal::missing("clip")) };
    // A swing that loses a clip stays with the other one; then this is a new swing.
    let stays = |s: &KeptSwing| s.parts.iter().any(|part| !is_part(&part.clip));
    let mut one = old.iter().skip(1).fold(oldest.clone(), |one, s| super::pairing::merged(&one, s));
    if stays(&oldest) {
        one.id = guard::random(upload::NAME_BYTES)?;
        one.was = Vec::new();
        let arrived = |part: &Part| page.look(|w| Some(w.clips.get(&part.clip)?.arrived_unix_ms));
        one.arrived_unix_ms = parts.iter().filter_map(arrived).min().unwrap_or_default();
    }
    if one.parts != parts {
        one.recorded = None;
    }
    one = page.look(|w| with_parts(w, one, parts.clone()));
    one.by_hand = true;
    let (kept, gone): (Vec<KeptSwing>, Vec<KeptSwing>) = old.into_iter().partition(stays);
    rearrange(page, &one, &kept, &gone, is_part)?;
    renew(page, &one.id)?;
    for swing in kept {
        renew(page, &swing.id)?;
    }
    page.tell_bench();
    Ok(one.id)
}

/// A swing with other clips: corrections go where their clip goes.
pub fn with_parts(w: &Workspace, mut swing: KeptSwing, parts: Vec<Part>) -> KeptSwing {
    let shows = |part: &Part| part.view.or_else(|| w.clips.get(&part.clip)?.view);
    let views: Vec<String> =
        parts.iter().filter_map(shows).map(|view| view.name().to_owned()).collect();
    let all_known = views.len() == parts.len();
    let old = std::mem::replace(&mut swing.parts, parts);
    if old != swing.parts {
        (swing.answer, swing.message) = (None, None);
    }
    swing.corrections.retain_mut(|correction| {
        if correction["kind"] == "view" {
            let clip = correction["clip"].as_u64().and_then(|at| usize::try_from(at).ok());
            let clip = clip.and_then(|at| old.get(at)).map(|part| part.clip.clone());
            let now = clip.and_then(|clip| swing.parts.iter().position(|p| p.clip == clip));
            if let Some(now) = now {
                correction["clip"] = now.into();
            }
            return now.is_some();
        }
        let of = correction["view"].as_str();
        of.is_none_or(|of| !all_known || views.iter().any(|view| view == of))
    });
    swing
}

fn rearrange(
    page: &Page,
    one: &KeptSwing,
    kept: &[KeptSwing],
    gone: &[KeptSwing],
    is_part: impl Fn(&str) -> bool,
) -> Reply<()> {
    for swing in kept.iter().chain(gone).filter(|s| s.id != one.id || s.parts != one.parts) {
        recording::withdraw(page, swing)?;
    }
    page.change(|w| {
        w.keep_swing(one.clone())?;
        for swing in gone.iter().filter(|swing| swing.id != one.id) {
            w.drop_swing(&swing.id)?;
        }
        for swing in kept {
            let parts = swing.parts.iter().filter(|part| !is_part(&part.clip)).cloned().collect();
            let mut rest = with_parts(w, swing.clone(), parts);
            rest.by_hand = true;
            rest.recorded = None;
            w.keep_swing(rest)?;
        }
        Ok::<_, super::PageError>(())
    })
}

/// Removes a clip, and its swing when that was its only one.
///
/// # Errors
/// When there is no such clip or the disk refuses.
pub fn remove_clip(page: &Page, id: &str) -> Reply<()> {
    let swing = page.look(|w| w.clips.get(id).map(|_| w.swing_of(id).cloned()));
    let swing = swing.ok_or_else(|| Refusal::missing("clip"))?;
    recording::keep_for_good(page, swing.as_ref())?;
    let left = page.change(|w| {
        let mut left = None;
        if let Some(swing) = swing {
            let parts: Vec<Part> =
                swing.parts.iter().filter(|part| part.clip != id).cloned().collect();
            if parts.is_empty() {
                w.drop_swing(&swing.id)?;
            } else {
                left = Some(swing.id.clone());
                let rest = with_parts(w, swing, parts);
                w.keep_swing(rest)?;
            }
        }
        w.drop_clip(id).map(|()| left)
    })?;
    page.forget_live(id);
    if let Some(left) = left {
        renew(page, &left)?;
    }
    page.tell_bench();
    Ok(())
}

/// Removes a swing and its clips from the bench; what is on record stays there.
///
/// # Errors
/// When there is no such swing or the disk refuses.
pub fn remove_swing(page: &Page, id: &str) -> Reply<()> {
    let swing = swing(page, id)?;
    for part in &swing.parts {
        remove_clip(page, &part.clip)?;
    }
    Ok(())
}

/// After a pupil on record was changed: his swings follow, name and numbers.
///
/// # Errors
/// When the disk refuses.
pub fn follow_pupil(page: &Page, old: &str, pupil: &crate::record::Pupil) -> Reply<()> {
    let his = |s: &&KeptSwing| s.pupil.as_deref().is_some_and(|n| n.eq_ignore_ascii_case(old));
    let swings: Vec<KeptSwing> = page.look(|w| w.swings.values().filter(his).cloned().collect());
    for mut swing in swings {
        swing.pupil = Some(pupil.name.clone());
        let id = keep(page, unanswered(swing))?;
        renew(page, &id)?;
    }
    Ok(())
}
