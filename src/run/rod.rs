//! Sticks on the ground before the golfer. In: a clip that was read, its body. Out: lines that may
//! be a rod, pixels as filmed; which of them is one is for [`crate::calibration`] to say. A few
//! pictures of the address and of the top are decoded again for it.

use image::RgbImage;

use crate::body::Joint;
use crate::calibration::{ROD_WIDTH_M, Segment, find_sticks};
use crate::decode::Pictures;
use crate::error::Error;
use crate::events;
use crate::lift::LiftedFrame;
use crate::track::CameraMotion;

use super::lens;
use super::observe::Observed;

/// Pictures of each moment: an odd number, and enough for a median.
const PICTURES: u8 = 5;
/// Of the top, seconds around it: the club is up.
const TOP_S: f64 = 0.06;
/// A stature, metres: good enough for how wide a rod is about.
const STATURE_M: f64 = 1.7;
/// The ground is looked at from this far above the ankles, statures: seen down the line, a rod
/// begins behind them.
const ABOVE: f64 = 0.2;

/// Nothing where the camera moves or no swing can be told.
///
/// # Errors
/// When the clip can no longer be read.
pub fn sticks(seen: &Observed) -> Result<Vec<Segment>, Error> {
    let events = events::detect_marked(&seen.lifted, seen.handed, &seen.signs(), &[]);
    let (CameraMotion::Still, Ok(events)) = (seen.track.motion, events) else {
        return Ok(Vec::new());
    };
    let (from, to) = events.output.address;
    let at_address = |f: &&LiftedFrame| (from.0..=to.0).contains(&f.time.0);
    let Some(frame) = seen.lifted.frames.iter().find(at_address) else { return Ok(Vec::new()) };
    let ankles = [Joint::LeadAnkle, Joint::TrailAnkle]
        .map(|joint| lens::filmed(seen.lens.as_ref(), frame.points[joint].at).y);
    let stature_px = frame.log_stature_px.value.exp();
    let top = ankles[0].min(ankles[1]) - ABOVE * stature_px;
    if !(0.0..seen.info.size.long()).contains(&top) {
        return Ok(Vec::new());
    }
    let address = pictures(seen, from.0, to.0)?;
    let at_top = events.output.top.value;
    let later = pictures(seen, at_top - TOP_S, at_top + TOP_S)?;
    Ok(find_sticks(&address, &later, row(top), stature_px * ROD_WIDTH_M / STATURE_M))
}

/// A few between two real times.
fn pictures(seen: &Observed, from: f64, to: f64) -> Result<Vec<RgbImage>, Error> {
    let (from, to) = (seen.clock.file(from), seen.clock.file(to));
    let step = (to - from) / f64::from(PICTURES);
    let pictures = Pictures::open(&seen.info, from, to, step)?;
    Ok(pictures.map(|p| Ok(p?.pixels)).collect::<Result<Vec<_>, crate::decode::DecodeError>>()?)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within a picture")]
fn row(y: f64) -> u32 {
    y as u32
}
