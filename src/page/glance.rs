//! The first picture of a clip that has to wait while another one is measured. In: clips in the
//! queue. Out: a picture with the body that was found in it, so that the coach sees within a
//! moment that the right clip has come.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::shown::ClipState;
use super::state::Page;
use super::{picture, workspace::Workspace};
use crate::decode;
use crate::run::first_picture;
use crate::run::observe::Instruments;

/// Glances at whatever waits, as long as the program runs.
pub fn work(page: &Arc<Page>, instruments: &Instruments) {
    let mut tried = BTreeSet::new();
    loop {
        let (id, film) = page.wait_for(|w| next(w, &tried));
        tried.insert(id.clone());
        // What is wrong with the clip is said when its turn comes.
        let Ok(info) = decode::probe(&film) else { continue };
        let Ok(Some(drawn)) = first_picture(&info.output, instruments) else { continue };
        let path = page.look(|w| w.first_picture(&id));
        if !path.is_file() && picture::write_jpeg(&path, &drawn).is_ok() {
            page.tell_clip(&id);
        }
    }
}

/// A clip that waits behind another one. The one that is looked at shows itself.
fn next(w: &Workspace, tried: &BTreeSet<String>) -> Option<(String, std::path::PathBuf)> {
    let busy = |state| matches!(state, ClipState::Looking | ClipState::Measuring);
    if !w.clips.values().any(|clip| busy(clip.state)) {
        return None;
    }
    let waiting = w.clips.values().filter(|clip| clip.state == ClipState::Waiting);
    let mut new: Vec<_> = waiting
        .filter(|clip| !tried.contains(&clip.id) && !w.first_picture(&clip.id).is_file())
        .collect();
    new.sort_by_key(|clip| clip.arrived_unix_ms);
    new.first().map(|clip| (clip.id.clone(), w.film(clip)))
}
