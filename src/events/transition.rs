//! In: hips and lower hub of the lifted frames, events. Out: when the pelvis starts back
//! toward the target, and the transition window of MEASURES.md.
//!
//! The pelvis starts back when its turn away from the target ends (Meister et al. 2011,
//! FACTS A1.8: the downswing starts with the pelvis' reversal). The turn is two parabolas
//! that share their vertex, as the hands at the top.

use super::Events;
use super::fit::{least_squares, search};
use super::series::{FILLED, Series};
use crate::frames::{Attitude, Handed};
use crate::lift::Lifted;
use crate::units::{Estimate, Seconds};

/// The pelvis may turn round this long before the hands, as a share of the backswing, and
/// after them, as a share of the downswing.
const BEFORE: f64 = 0.45;
const AFTER: f64 = 0.4;
/// Half of what the parabolas describe, seconds.
const REACH: f64 = 0.16;
/// The turn must fall by this much from its greatest, radians, or nothing turned round.
const FALLS: f64 = 0.05;

/// When the pelvis starts back toward the target, sub-frame; `None` when its turn shows no
/// clear end.
#[must_use]
pub fn pelvis_start_back(lifted: &Lifted, handed: Handed, events: &Events) -> Option<Estimate> {
    let turn = pelvis_turn(lifted, handed);
    let top = events.top.value;
    let back = events.takeaway.map_or(0.9, |t| top - t.value).max(0.3);
    let end = events.transition.map_or(top + 0.12, |t| t.value);
    let (from, to) = (top - BEFORE * back, top + (AFTER * 0.27).min(end - top).max(0.03));
    let inside: Vec<usize> = turn.between(from, to).collect();
    let greatest = inside.iter().copied().max_by(|&a, &b| turn.y[a].total_cmp(&turn.y[b]))?;
    let after = turn.between(turn.t[greatest], end + 0.05);
    let least = after.map(|i| turn.y[i]).fold(f64::INFINITY, f64::min);
    if turn.y[greatest] - least < FALLS {
        return None;
    }
    let bend = search(from, to, 1e-6, |t0| {
        let rows = turn.between(t0 - 2.0 * REACH, t0 + 2.0 * REACH).map(|i| {
            let x = (turn.t[i] - t0) / REACH;
            let near = (1.0 - (x.abs() / 1.2).powi(3)).max(0.0).powi(3);
            ([1.0, x.min(0.0).powi(2), x.max(0.0).powi(2)], turn.y[i], turn.w[i] * near)
        });
        let fit = least_squares(rows)?;
        (fit.coef[2] < 0.0).then_some((fit.rss, fit.freedom))
    })?;
    Some(Estimate::new(bend.at, bend.sd.hypot(0.02)))
}

/// From the pelvis starting back to the lead arm level again. Without a clear start of the
/// pelvis, from the top.
#[must_use]
pub fn transition_window(
    events: &Events,
    pelvis_back: Option<Estimate>,
) -> Option<(Seconds, Seconds)> {
    let end = events.transition?.value;
    let start = pelvis_back.map_or(events.top.value, |p| p.value);
    (start < end).then_some((Seconds(start), Seconds(end)))
}

/// Turn of the hip line away from the target seen from above, radians.
fn pelvis_turn(lifted: &Lifted, handed: Handed) -> Series {
    let camera = &lifted.camera;
    let attitude = Attitude {
        pitch: camera.pitch.value,
        roll: camera.roll.value,
        azimuth: camera.azimuth.value,
    };
    let golf = attitude.golf_from_camera(handed);
    let mut series = Series { t: Vec::new(), y: Vec::new(), w: Vec::new() };
    for f in &lifted.frames {
        let hips = golf * f.hips.vector;
        let turn = hips.ball().atan2(hips.target());
        if turn.is_finite() && series.t.last().is_none_or(|last| *last < f.time.0) {
            series.t.push(f.time.0);
            series.y.push(turn);
            series.w.push(if f.filled { FILLED } else { 1.0 });
        }
    }
    series
}
