//! When a patch left. In: steadied pictures with their times. Out: the stretch of time in which
//! each patch that stood still before and stands still after has changed.
//!
//! Between the last picture that shows it whole and the first without it lies the moment. Where a
//! picture between them shows a part of it, it went while that picture was exposed.

use image::GrayImage;

use super::patch::{Patch, changed};
use crate::units::Seconds;

/// A change is looked for this near the hands' rough impact, seconds.
const NEAR_S: f64 = 0.27;
/// So long before and after, the patch is as it was and as it will be, seconds ...
const LASTS_S: f64 = 0.15;
/// ... within this share of the change ...
const WITHIN: f64 = 0.35;
/// ... in all pictures but this share: the club passes by.
const PASSING: f64 = 0.2;
/// Pictures that must show it so before and after, at the least.
const FEWEST: usize = 3;
/// Shares of the change left in a picture that shows it whole, and one that does not.
const WHOLE: f64 = 0.85;
const GONE: f64 = 0.15;

/// Steadied pictures with their times.
pub(super) type Stack<'a> = Vec<(f64, &'a GrayImage)>;

/// Something of a ball's size that has left its place.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Departure {
    /// It left after this and before that, real time since the first displayed frame.
    pub from: Seconds,
    pub to: Seconds,
    /// How clear the change is: grey levels, summed over its pixels.
    pub clear: f64,
}

/// `stacks`: the pictures in each colour. `radius`: of a ball as far away as the golfer, pixels.
/// `impact`: rough, seconds.
pub(super) fn find(stacks: &[Stack<'_>], radius: f64, impact: f64) -> Vec<Departure> {
    let mut found: Vec<(Departure, (f64, f64))> = Vec::new();
    for pictures in stacks {
        for last in FEWEST - 1..pictures.len().saturating_sub(FEWEST + 1) {
            if (pictures[last].0 - impact).abs() > NEAR_S {
                continue;
            }
            let around = [last - 1, last, last + 2, last + 3].map(|k| pictures[k].1);
            for patch in changed(around, radius) {
                if let Some(departure) = departure(pictures, last, &patch) {
                    found.push((departure, patch.centre));
                }
            }
        }
    }
    found.sort_by(|a, b| b.0.clear.total_cmp(&a.0.clear));
    let mut apart: Vec<(Departure, (f64, f64))> = Vec::new();
    for (departure, at) in found {
        let near = |o: &(f64, f64)| (o.0 - at.0).hypot(o.1 - at.1) < 3.0 * radius;
        if !apart.iter().any(|(_, other)| near(other)) {
            apart.push((departure, at));
        }
    }
    apart.into_iter().map(|(departure, _)| departure).collect()
}

/// The stretch in which a patch left that changed between picture `last` and the next but one.
fn departure(pictures: &[(f64, &GrayImage)], last: usize, patch: &Patch) -> Option<Departure> {
    let time = |k: usize| pictures[k].0;
    let start = (0..=last).find(|k| time(last) - time(*k) <= LASTS_S)?;
    let end = (last + 2..pictures.len()).rfind(|k| time(*k) - time(last + 2) <= LASTS_S)?;
    let grey: Vec<f64> = (start..=end).map(|k| patch.grey(pictures[k].1)).collect();
    let (before, after) = (&grey[..=last - start], &grey[last + 2 - start..]);
    if before.len() < FEWEST || after.len() < FEWEST {
        return None;
    }
    let (was, is) = (crate::signal::median(before)?, crate::signal::median(after)?);
    let share = |grey: f64| (grey - is) / (was - is);
    let off = |greys: &[f64], level: f64| {
        let out = greys.iter().filter(|g| (share(**g) - level).abs() > WITHIN).count();
        crate::signal::real(out) > PASSING * crate::signal::real(greys.len())
    };
    if off(before, 1.0) || off(after, 0.0) {
        return None;
    }
    let whole = (0..=last + 1 - start).rfind(|k| share(grey[*k]) >= WHOLE)?;
    let gone = (whole + 1..grey.len()).find(|k| share(grey[*k]) <= GONE)?;
    let (from, to) = exposed(start + whole, start + gone, time);
    let clear = (was - is).abs() * crate::signal::real(patch.pixels.len());
    Some(Departure { from: Seconds(from), to: Seconds(to), clear })
}

/// From the last picture that shows it whole to the first without it; with one between them that
/// shows a part, half a picture about that one.
fn exposed(whole: usize, gone: usize, time: impl Fn(usize) -> f64) -> (f64, f64) {
    if gone != whole + 2 {
        return (time(whole), time(gone));
    }
    let middle = time(whole + 1);
    (f64::midpoint(time(whole), middle), f64::midpoint(middle, time(gone)))
}
