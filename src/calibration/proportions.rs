//! The body at address and whether its proportions can be. In: lifted body. Out: the mean
//! standing body; warnings when a segment is out of proportion for the stature.

use super::Calibration;
use crate::body::Joint;
use crate::events::Events;
use crate::frames::{Pixel, Vector};
use crate::lift::{Bearing, Lifted, LiftedFrame, LiftedPoint};
use crate::units::Estimate;
use crate::warning::Warning;

/// Segment lengths over stature that no grown person has, from the tables' means and the 4 %
/// person-to-person spread of FACTS B3, five of them to either side, and 8 % for the network.
/// * trunk: sternum centre to mid hips 0.2565 (men), 0.264 (women), de Leva 1996 (FACTS B1)
/// * shoulders: 0.87 of the biacromial breadth 0.2368 / 0.2244, ANSUR II (FACTS B3); the
///   joint centres lie inside the bones
/// * hips: spacing of the joint centres about half the body breadth 0.191, 0.095 to 0.105
///   (FACTS B3, B4.4)
const LIMITS: [(&str, f64, f64); 3] =
    [("trunk", 0.17, 0.34), ("shoulders", 0.13, 0.30), ("hips", 0.06, 0.17)];

/// The body at address, averaged over the still window.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    /// Lead and trail.
    pub ankles: [LiftedPoint; 2],
    pub log_stature_px: Estimate,
}

impl Standing {
    pub fn at_address(lifted: &Lifted, events: &Events) -> Option<Self> {
        let (from, to) = events.address;
        let frames: Vec<_> = lifted
            .frames
            .iter()
            .filter(|f| !f.filled && (from.0..=to.0).contains(&f.time.0))
            .collect();
        if frames.is_empty() {
            return None;
        }
        let ankle = |joint| mean_point(frames.iter().map(|f| &f.points[joint]));
        Some(Self {
            ankles: [ankle(Joint::LeadAnkle), ankle(Joint::TrailAnkle)],
            log_stature_px: mean(frames.iter().map(|f| f.log_stature_px)),
        })
    }
}

/// Mean of values whose errors hang together: the sd stays that of one.
fn mean(values: impl Iterator<Item = Estimate>) -> Estimate {
    let (mut n, mut value, mut sd) = (0.0, 0.0, 0.0);
    for e in values {
        n += 1.0;
        value += e.value;
        sd += e.sd;
    }
    Estimate::new(value / n, sd / n)
}

fn mean_point<'a>(points: impl Iterator<Item = &'a LiftedPoint> + Clone) -> LiftedPoint {
    let of = |value: fn(&LiftedPoint) -> (f64, f64)| {
        mean(points.clone().map(value).map(|(value, sd)| Estimate::new(value, sd)))
    };
    let (x, y) = (of(|p| (p.at.x, p.sd.x)), of(|p| (p.at.y, p.sd.y)));
    LiftedPoint {
        at: Pixel::new(x.value, y.value),
        sd: Pixel::new(x.sd, y.sd),
        depth: of(|p| (p.depth.value, p.depth.sd)),
    }
}

/// Notes on a body that cannot be for the stature given.
pub(super) fn doubts(
    lifted: &Lifted,
    calibration: &Calibration,
    stature: Option<Estimate>,
) -> Vec<Warning> {
    let mut notes = Vec::new();
    let real = stature.map_or(1.0, |s| calibration.stature_m.value / s.value);
    let pick: [fn(&LiftedFrame) -> &Bearing; 3] = [|f| &f.trunk, |f| &f.shoulders, |f| &f.hips];
    for ((name, low, high), bearing) in LIMITS.iter().zip(pick) {
        let seen = lifted.frames.iter().filter(|f| !f.filled);
        let lengths: Vec<f64> = seen.map(|f| length(&bearing(f).vector)).collect();
        let Some(typical) = crate::signal::median(&lengths) else { continue };
        let share = typical * real;
        if !(*low..=*high).contains(&share) {
            let by = if share < *low { "short" } else { "long" };
            notes.push(Warning::new(format!(
                "The pupil's {name} came out too {by} for the stature ({:.0} % of it): check the stature and that the right person was followed.",
                share * 100.0
            )));
        }
    }
    notes
}

fn length(v: &Vector<crate::frames::Camera>) -> f64 {
    v.norm()
}
