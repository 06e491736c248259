//! From what is kept to what is shown. In: the workspace, pupils on record. Out: plain data.

use std::collections::BTreeMap;

use super::kept::{KeptClip, KeptSwing};
use super::shown::{ClipShown, ClipState, SwingShown, SwingState};
use super::state::Live;
use super::workspace::Workspace;
use crate::calibration::View;
use crate::frames::Handed;
use crate::record::Pupil;

pub fn clip(workspace: &Workspace, clip: &KeptClip, live: &Live) -> ClipShown {
    let working = matches!(clip.state, ClipState::Looking | ClipState::Measuring);
    ClipShown {
        id: clip.id.clone(),
        name: clip.name.clone(),
        size_bytes: clip.size_bytes,
        arrived_unix_s: clip.arrived_unix_ms / 1000,
        created_unix_s: clip.created_unix_s,
        state: clip.state,
        step: live.step.filter(|_| working).map(str::to_owned),
        share: match clip.state {
            ClipState::Ready => 1.0,
            _ if working => live.share,
            _ => 0.0,
        },
        message: clip.message.clone(),
        view: clip.view,
        handed: clip.handed,
        capture_fps: clip.capture_fps,
        too_slow: clip.too_slow.clone(),
        swing: workspace.swing_of(&clip.id).map(|swing| swing.id.clone()),
        has_picture: workspace.first_picture(&clip.id).is_file(),
    }
}

/// Newest first.
pub fn swings(workspace: &Workspace, pupils: &[Pupil]) -> Vec<SwingShown> {
    let mut all: Vec<&KeptSwing> = workspace.swings.values().collect();
    all.sort_by_key(|s| (std::cmp::Reverse(s.arrived_unix_ms), &s.id));
    all.into_iter().map(|s| swing(workspace, s, pupils)).collect()
}

pub fn swing(workspace: &Workspace, swing: &KeptSwing, pupils: &[Pupil]) -> SwingShown {
    let (state, message) = state(workspace, swing);
    let pupil = pupil_of(swing, pupils);
    SwingShown {
        id: swing.id.clone(),
        label: swing.label.clone(),
        club: swing.club.clone(),
        notes: swing.notes.clone(),
        pupil: swing.pupil.clone(),
        minor: swing.minor || pupil.is_some_and(|p| p.minor),
        stature: swing.stature.clone(),
        handed: handed(workspace, swing, pupils),
        clips: views(workspace, swing),
        arrived_unix_s: swing.arrived_unix_ms / 1000,
        state,
        message,
        answer: swing.answer.clone(),
        rods: swing.rods.clone(),
        corrections: swing.corrections.len(),
        recorded: swing.recorded.as_ref().map(|recorded| recorded.swing),
        proposed: swing.parts.len() > 1 && !swing.by_hand,
    }
}

pub fn pupil_of<'a>(swing: &KeptSwing, pupils: &'a [Pupil]) -> Option<&'a Pupil> {
    let name = swing.pupil.as_deref()?;
    pupils.iter().find(|pupil| pupil.name.eq_ignore_ascii_case(name))
}

/// As the coach says, else as on record, else as recognised.
pub fn handed(workspace: &Workspace, swing: &KeptSwing, pupils: &[Pupil]) -> Handed {
    let recognised = || swing.parts.iter().find_map(|part| workspace.clips.get(&part.clip)?.handed);
    let told = swing.handed.or_else(|| pupil_of(swing, pupils).map(|p| p.handed));
    told.or_else(recognised).unwrap_or_default()
}

/// The clips whose view is known; a clip of unknown view takes a place that is free.
fn views(workspace: &Workspace, swing: &KeptSwing) -> BTreeMap<View, String> {
    let mut views = BTreeMap::new();
    let mut unknown = Vec::new();
    for part in &swing.parts {
        let seen = workspace.clips.get(&part.clip).and_then(|clip| clip.view);
        match part.view.or(seen) {
            Some(view) => drop(views.insert(view, part.clip.clone())),
            None => unknown.push(part.clip.clone()),
        }
    }
    for clip in unknown {
        let free = [View::FaceOn, View::DownTheLine].into_iter().find(|v| !views.contains_key(v));
        if let Some(free) = free {
            views.insert(free, clip);
        }
    }
    views
}

fn state(workspace: &Workspace, swing: &KeptSwing) -> (SwingState, Option<String>) {
    let clips = || swing.parts.iter().filter_map(|part| workspace.clips.get(&part.clip));
    let working = |c: &KeptClip| {
        matches!(c.state, ClipState::Waiting | ClipState::Looking | ClipState::Measuring)
    };
    if let Some(bad) = clips().find(|c| c.state == ClipState::Failed) {
        return (SwingState::Failed, bad.message.clone());
    }
    if clips().any(|c| c.state == ClipState::Cancelled) {
        let said = "measuring was stopped; start it again, or remove the clip";
        return (SwingState::Failed, Some(said.to_owned()));
    }
    if clips().any(working) {
        return (SwingState::Waiting, None);
    }
    match (&swing.message, &swing.answer) {
        // Numbers that could not be put on record are numbers.
        (message, Some(_)) => (SwingState::Ready, message.clone()),
        (Some(message), None) => (SwingState::Failed, Some(message.clone())),
        (None, None) => (SwingState::Waiting, None),
    }
}
