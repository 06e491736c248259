//! What the maps of all pictures together say about the camera. In: one step for each picture
//! that was followed. Out: still, taken out, or untrusted, with the reason.

use crate::frames::PictureSize;
use crate::track::{CameraMotion, GroundMotion, PictureFromReference};
use crate::warning::{Warned, Warning, counted};

/// A background off its place for less than this is a flaw of the pictures, s: no hand moves
/// a camera away and back within 0.1 s.
const FLAW_S: f64 = 0.12;

/// Longest time that maps are interpolated across, s.
const BRIDGE_S: f64 = 0.15;

/// Least share of the pictures that one start must follow.
const FOLLOWED: f64 = 0.6;

/// Largest sd at the golfer that can be lived with, as a share of the long side: 3.8 pixels of
/// 1280, about 1.4 cm where the golfer fills half of the picture's height.
const WORST: f64 = 0.003;

/// What one picture gave.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    pub index: usize,
    pub time: f64,
    pub camera: Option<PictureFromReference>,
    /// Of the map at the golfer, pixels squared.
    pub variance: f64,
    /// How far the map moves places on the golfer, pixels.
    pub moved: f64,
    /// The background lies where it lay in the reference picture.
    pub at_rest: bool,
    /// Steps of one start share a reference picture.
    pub start: usize,
}

impl Step {
    pub fn lost(start: usize) -> Self {
        Self { index: 0, time: 0.0, camera: None, variance: 0.0, moved: 0.0, at_rest: false, start }
    }
}

/// The verdict over all steps; `refined` gives them right at the golfer's distance where that is
/// told (it is asked only of a camera that moved), `filled` when the golfer leaves little
/// background.
pub(super) fn judge(
    steps: &[Step],
    refined: impl FnOnce() -> Option<Vec<Step>>,
    size: PictureSize,
    filled: bool,
) -> Warned<GroundMotion> {
    let followed = longest_start(steps);
    if crate::signal::real(followed.len()) < FOLLOWED * crate::signal::real(steps.len())
        || followed.is_empty()
    {
        return untrusted(if filled {
            "the golfer fills the picture; film from further away so that some background shows"
        } else if followed.len() < steps.len() / 10 + 1 {
            "the background is too plain to follow; film with something behind the golfer, on a tripod"
        } else {
            "the background was lost for too long; hold the camera stiller or use a tripod"
        });
    }
    let holes = holes(&followed, steps);
    if longest_unrest(&followed) < FLAW_S {
        let mut still = GroundMotion::still();
        // Nobody looked during a hole; a camera at rest before and after has not moved.
        still.holes = holes.into_iter().filter(|&(a, b)| a.is_none() || b.is_none()).collect();
        return Warned::clean(still);
    }
    let refined = refined();
    let followed = refined.map_or(followed, |steps| longest_start(&steps));
    let variance =
        followed.iter().map(|s| s.variance).sum::<f64>() / crate::signal::real(followed.len());
    let residual_px = variance.sqrt();
    if residual_px > WORST * size.long() {
        return untrusted("the background does not move as one piece; use a tripod");
    }
    let most = followed.iter().map(|s| s.moved).fold(0.0, f64::max);
    let note = format!(
        "The camera moved (up to {} at the golfer); the motion was measured on the background and \
         taken out, to about {residual_px:.1} pixels.",
        counted(format!("{most:.0}"), "pixel")
    );
    let frames = followed.iter().filter_map(|s| Some((s.index, s.camera?))).collect();
    let motion = CameraMotion::Compensated { residual_px };
    Warned { output: GroundMotion { motion, frames, holes }, warnings: vec![Warning::new(note)] }
}

fn untrusted(reason: &str) -> Warned<GroundMotion> {
    let output = GroundMotion { motion: CameraMotion::Untrusted, ..GroundMotion::still() };
    let note = format!("Whether the camera moved cannot be told: {reason}.");
    Warned { output, warnings: vec![Warning::new(note)] }
}

/// The steps with a map that belong to the start with most of them.
fn longest_start(steps: &[Step]) -> Vec<Step> {
    let mapped: Vec<Step> = steps.iter().copied().filter(|s| s.camera.is_some()).collect();
    let longest = mapped.chunk_by(|a, b| a.start == b.start).rev().max_by_key(|c| c.len());
    longest.map(<[Step]>::to_vec).unwrap_or_default()
}

/// Longest time for which the background stayed off its place, s.
fn longest_unrest(steps: &[Step]) -> f64 {
    let runs = steps.chunk_by(|a, b| a.at_rest == b.at_rest).filter(|run| !run[0].at_rest);
    let typical = match steps {
        [first, .., last] => (last.time - first.time) / crate::signal::real(steps.len() - 1),
        _ => 0.0,
    };
    runs.map(|run| run[run.len() - 1].time - run[0].time + typical).fold(0.0, f64::max)
}

/// Pictures (both ends are followed) between which nobody knows the map: where steps lie far
/// apart, and where steps of all before the first or after the last gave none.
fn holes(followed: &[Step], all: &[Step]) -> Vec<(Option<usize>, Option<usize>)> {
    let inner = followed
        .windows(2)
        .filter(|w| w[1].time - w[0].time > BRIDGE_S)
        .map(|w| (Some(w[0].index), Some(w[1].index)));
    let ends = |steps: &[Step]| (steps.first().map(|s| s.index), steps.last().map(|s| s.index));
    let ((first, last), (earliest, latest)) = (ends(followed), ends(all));
    let before = (first > earliest).then_some((None, first));
    let after = (last < latest).then_some((last, None));
    before.into_iter().chain(inner).chain(after).collect()
}
