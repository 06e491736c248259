//! Which clips show one swing. In: a clip that is ready, the swings on the bench. Out: its swing
//! with numbers; joined with another clip's swing where times, views and movement fit.
//!
//! A proposal: the movement alone tells only some unlike swings apart (`geometry`), so the times
//! must fit first: both filmed at the same moment where the files say when, else dropped
//! together. What the coach joined or parted is never proposed anew.

use std::cmp::Reverse;
use std::sync::Arc;

use super::kept::{KeptClip, KeptSwing, Part};
use super::measured::{compute, measured, renew};
use super::reply::Reply;
use super::shown::ClipState;
use super::state::Page;
use super::workspace::Workspace;
use crate::frames::Handed;
use crate::warning::Kind;

/// Two phones are started by hand within this, and their clocks agree to a second or two over the
/// network (common practice, no source). A file may name the start or the end of a clip.
const SAME_SHOT_S: f64 = 20.0;
/// Without times in the files: dropped within this, milliseconds.
const TOGETHER_MS: u64 = 120_000;
/// Clips that are tried against a new one.
const TRIED: usize = 4;

/// After a start: finishes what was ready but had no numbers yet.
pub fn settle(page: &Arc<Page>) {
    let unsettled = page.look(|w| {
        let open = |c: &&KeptClip| {
            c.state == ClipState::Ready
                && w.swing_of(&c.id).is_none_or(|s| s.answer.is_none() && s.message.is_none())
        };
        let mut clips: Vec<_> = w.clips.values().filter(open).collect();
        clips.sort_by_key(|c| c.arrived_unix_ms);
        clips.into_iter().map(|c| c.id.clone()).collect::<Vec<_>>()
    });
    for clip in unsettled {
        place(page, &clip);
    }
}

/// Gives a ready clip's swing its numbers, and joins it with the swing it belongs to.
pub fn place(page: &Arc<Page>, clip: &str) {
    // The disk may refuse: the swing is then worked out at the next change or start.
    let _ = try_place(page, clip);
}

fn try_place(page: &Arc<Page>, clip: &str) -> Reply<()> {
    let own = page.look(|w| w.swing_of(clip).cloned());
    let own = match own {
        Some(own) => own,
        None => {
            let id = super::guard::random(super::upload::NAME_BYTES)?;
            page.change(|w| {
                let Some(kept) = w.clips.get(clip) else { return Ok(None) };
                let own = KeptSwing::new(id, kept);
                w.keep_swing(own.clone()).map(|()| Some(own))
            })?
            .ok_or_else(|| super::reply::Refusal::missing("clip"))?
        }
    };
    renew(page, &own.id)?;
    recognise_hand(page, clip, &own.id)?;
    let candidates = page.look(|w| candidates(w, clip));
    let mut refused = Vec::new();
    let mut best: Option<(bool, KeptSwing, KeptSwing)> = None;
    for (other, joined, gone) in candidates {
        match compute(page, &joined) {
            Ok(fits) => {
                let rough = fits.says(Kind::RoughPair);
                if best.as_ref().is_none_or(|(worst, ..)| *worst && !rough) {
                    best = Some((rough, joined, gone));
                }
            }
            Err(_) => refused.push(other),
        }
    }
    keep_apart(page, clip, refused)?;
    if let Some((_, joined, gone)) = best {
        join(page, joined, &gone)?;
    }
    Ok(())
}

/// A clip whose hands fit the other hand, and fit it without doubt, is of a golfer of that hand,
/// unless the coach or the record says otherwise.
fn recognise_hand(page: &Page, clip: &str, swing: &str) -> Reply<()> {
    let pupils = page.pupils();
    let Some(own) = page.look(|w| w.swings.get(swing).cloned()) else { return Ok(()) };
    let told = own.handed.is_some() || super::showing::pupil_of(&own, &pupils).is_some();
    if told {
        return Ok(());
    }
    // What cannot be measured says nothing of the hand.
    let Ok(known) = measured(page, swing) else { return Ok(()) };
    if !known.says(Kind::OtherHand) {
        return Ok(());
    }
    let other = match known.measurement.result.pupil.handed {
        Handed::Right => Handed::Left,
        Handed::Left => Handed::Right,
    };
    let tried = compute(page, &KeptSwing { handed: Some(other), ..own });
    if tried.is_ok_and(|tried| !tried.says(Kind::OtherHand)) {
        page.change(|w| {
            let both = w.clips.get(clip).cloned().zip(w.swings.get(swing).cloned());
            let Some((mut clip, own)) = both else { return Ok(()) };
            // A stop between the two leaves a swing without an answer, never with a wrong one.
            w.keep_swing(KeptSwing { answer: None, message: None, ..own })?;
            clip.handed = Some(other);
            w.keep_clip(clip)
        })?;
        page.tell_clip(clip);
        renew(page, swing)?;
    }
    Ok(())
}

fn keep_apart(page: &Page, clip: &str, others: Vec<String>) -> Reply<()> {
    if others.is_empty() {
        return Ok(());
    }
    page.change(|w| {
        let Some(mut kept) = w.clips.get(clip).cloned() else { return Ok(()) };
        kept.apart.extend(others);
        w.keep_clip(kept)
    })
}

/// Puts two swings into the older one.
///
/// # Errors
/// When the disk refuses.
pub fn join(page: &Page, joined: KeptSwing, gone: &KeptSwing) -> Reply<()> {
    let id = joined.id.clone();
    let older = page.look(|w| w.swings.get(&id).cloned());
    for swing in older.iter().chain([gone]) {
        super::recording::withdraw(page, swing)?;
    }
    page.change(|w| {
        w.keep_swing(joined)?;
        w.drop_swing(&gone.id)
    })?;
    renew(page, &id)?;
    page.tell_bench();
    Ok(())
}

/// Both swings as one: what was said of the older counts, and of the younger where the older
/// says nothing.
pub fn merged(older: &KeptSwing, younger: &KeptSwing) -> KeptSwing {
    let mut one = older.clone();
    let shift = one.parts.len();
    one.parts.extend(younger.parts.iter().cloned());
    for (mine, other) in [
        (&mut one.label, &younger.label),
        (&mut one.club, &younger.club),
        (&mut one.notes, &younger.notes),
        (&mut one.words, &younger.words),
    ] {
        if mine.is_empty() {
            mine.clone_from(other);
        }
    }
    one.pupil = one.pupil.or_else(|| younger.pupil.clone());
    one.stature = one.stature.or_else(|| younger.stature.clone());
    one.handed = one.handed.or(younger.handed);
    one.minor |= younger.minor;
    one.corrections.extend(younger.corrections.iter().cloned().map(|mut correction| {
        // Which clip a view was given for is said by its place.
        if let Some(clip) = correction["clip"].as_u64() {
            correction["clip"] = (clip + u64::try_from(shift).unwrap_or(0)).into();
        }
        correction
    }));
    // What was said of one clip is no answer for both.
    (one.answer, one.message, one.recorded) = (None, None, None);
    one.rods.clear();
    one.was.push(younger.id.clone());
    one.was.extend(younger.was.iter().cloned());
    one
}

/// Swings that could be the other view of a clip's swing, the likeliest first: the other clip,
/// both as one, and the one that would go.
fn candidates(w: &Workspace, clip: &str) -> Vec<(String, KeptSwing, KeptSwing)> {
    let Some((clip, own)) = w.clips.get(clip).zip(w.swing_of(clip)) else { return Vec::new() };
    if own.by_hand || own.parts.len() != 1 || own.message.is_some() {
        return Vec::new();
    }
    let mut found: Vec<_> = w
        .swings
        .values()
        .filter(|other| other.id != own.id && !other.by_hand && other.message.is_none())
        .filter(|other| fits(own, other))
        .filter_map(|other| {
            let [part] = other.parts.as_slice() else { return None };
            let there = w.clips.get(&part.clip).filter(|c| may_join(clip, c))?;
            Some((likeness(clip, there)?, there, other))
        })
        .collect();
    found.sort_by(|a, b| a.0.partial_cmp(&b.0).unwrap_or(std::cmp::Ordering::Equal));
    let both = |(_, there, other): (_, &KeptClip, &KeptSwing)| {
        let first = own.arrived_unix_ms <= other.arrived_unix_ms;
        let (older, younger) = if first { (own, other) } else { (other, own) };
        (there.id.clone(), merged(older, younger), younger.clone())
    };
    found.into_iter().take(TRIED).map(both).collect()
}

/// What was said of both does not contradict.
fn fits(a: &KeptSwing, b: &KeptSwing) -> bool {
    let agree = |x: &Option<String>, y: &Option<String>| x.is_none() || y.is_none() || x == y;
    let label = a.label.is_empty() || b.label.is_empty() || a.label == b.label;
    label && agree(&a.pupil, &b.pupil) && agree(&a.stature, &b.stature)
}

fn may_join(a: &KeptClip, b: &KeptClip) -> bool {
    b.state == ClipState::Ready
        && a.view.is_some()
        && b.view.is_some()
        && a.view != b.view
        && !a.apart.contains(&b.id)
        && !b.apart.contains(&a.id)
}

/// Smaller is likelier; `None` where the times do not fit.
fn likeness(a: &KeptClip, b: &KeptClip) -> Option<(f64, Reverse<usize>, u64)> {
    let arrived = a.arrived_unix_ms.abs_diff(b.arrived_unix_ms);
    let words = Reverse(words_in_common(&a.name, &b.name));
    match (a.created_unix_s, b.created_unix_s) {
        (Some(at), Some(bt)) => {
            let length = a.duration_s.unwrap_or(0.0).max(b.duration_s.unwrap_or(0.0));
            #[expect(clippy::cast_precision_loss, reason = "seconds apart, compared with twenty")]
            let apart = at.abs_diff(bt) as f64;
            (apart <= SAME_SHOT_S + length).then_some((apart, words, arrived))
        }
        _ => (arrived <= TOGETHER_MS).then_some((f64::INFINITY, words, arrived)),
    }
}

/// Words of two file names that are the same: `p1_before_faceon` and `p1_before_dtl` have two.
fn words_in_common(a: &str, b: &str) -> usize {
    let words = |name: &str| {
        let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_lowercase();
        let words = stem.split(|c: char| !c.is_alphanumeric()).map(str::to_owned);
        words.filter(|word| !word.is_empty()).collect::<Vec<_>>()
    };
    let others = words(b);
    words(a).iter().filter(|word| others.contains(word)).count()
}

/// Parts and views as the coach wants them.
pub fn parts(clips: &[(String, Option<crate::calibration::View>)]) -> Vec<Part> {
    clips.iter().map(|(clip, view)| Part { clip: clip.clone(), view: *view }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip(name: &str, arrived: u64, created: Option<i64>) -> KeptClip {
        let json = serde_json::json!({
            "id": name, "name": name, "file": name, "size_bytes": 1, "sha256": "",
            "arrived_unix_ms": arrived, "created_unix_s": created, "duration_s": 4.0,
            "state": "ready",
        });
        serde_json::from_value(json).unwrap()
    }

    #[test]
    fn times_in_the_files_decide_before_the_order_of_arrival() {
        let a = clip("a.mov", 0, Some(1000));
        let near = likeness(&a, &clip("b.mov", 9_000_000, Some(1010))).unwrap();
        let far = likeness(&a, &clip("c.mov", 1, Some(1020))).unwrap();
        assert!(near < far);
        assert_eq!(likeness(&a, &clip("d.mov", 1, Some(1060))), None);
        assert!(likeness(&a, &clip("e.mov", 60_000, None)).is_some());
        assert_eq!(likeness(&a, &clip("f.mov", 600_000, None)), None);
    }

    #[test]
    fn names_tell_where_times_do_not() {
        let a = clip("p1_before_dtl.mp4", 3, None);
        let same = likeness(&a, &clip("p1_before_faceon.mp4", 1, None)).unwrap();
        let other = likeness(&a, &clip("p1_after_faceon.mp4", 2, None)).unwrap();
        assert!(same < other);
    }

    #[test]
    fn the_older_swing_s_words_count() {
        let (a, b) = (clip("a", 1, None), clip("b", 2, None));
        let mut older = KeptSwing::new("o".to_owned(), &a);
        let mut younger = KeptSwing::new("y".to_owned(), &b);
        older.label = "before".to_owned();
        younger.label = "after".to_owned();
        younger.club = "7 iron".to_owned();
        assert!(!fits(&older, &younger));
        let one = merged(&older, &younger);
        assert_eq!((one.label.as_str(), one.club.as_str()), ("before", "7 iron"));
        assert_eq!((one.parts.len(), one.was), (2, vec!["y".to_owned()]));
    }
}
