//! Sticks that lie on the ground, found by themselves. In: pictures of the address and of the top
//! of the swing, the row below which the ground is looked at, how wide a rod is there. Out:
//! straight, thin, bright lines with two free ends that are there both times, pixels of the
//! upright picture. Which of them is a rod laid for the swing is for [`choose`] to say.
//!
//! Made for few false ones, not for every rod (figures in DEVELOPERS.md). Not found: a dark rod,
//! one that leaves the picture, one that is hidden over more than a seventh of its length, one
//! beside an edge, and any rod before a camera that moves.

mod choose;
mod crest;
mod field;
mod profile;
#[cfg(test)]
mod scenes;
#[cfg(test)]
mod tests;

use image::RgbImage;

use super::Segment;
use crate::frames::Pixel;
use crest::{Crest, Line, Span, crests};
use field::Field;
use profile::Profile;

pub(super) use choose::choose;

/// Lines looked at, strongest first: past these there is only grass.
const ROUNDS: usize = 40;
/// A rod's width, metres (FACTS F6 gives its length; about 1 cm: common practice, no source).
pub const ROD_WIDTH_M: f64 = 0.010;
/// Least share of the line on which crests lie.
const FILL: f64 = 0.7;
/// Crests of a straight stick lie within this of their line, pixels, and its middle does not
/// stand out.
/// An edge drawn in steps strays by a part of its width.
const STRAIGHT_PX: f64 = 0.8;
const STRAIGHT: f64 = 0.35;
const BOW_PX: f64 = 0.5;

/// The sticks in the pictures from the row `top` down. `width_px`: a rod's width there.
#[must_use]
pub fn find_sticks(
    address: &[RgbImage],
    later: &[RgbImage],
    top: u32,
    width_px: f64,
) -> Vec<Segment> {
    let Some((address, later)) = Field::median(address, top).zip(Field::median(later, top)) else {
        return Vec::new();
    };
    let whole = |[x, y]: [f64; 2]| Pixel::new(x, y + f64::from(top));
    let found = sticks(&address, &later, width_px).into_iter();
    found.map(|[from, to]| Segment { from: whole(from), to: whole(to) }).collect()
}

/// The same in bands of one size: the ends of every stick.
fn sticks(address: &Field, later: &Field, width_px: f64) -> Vec<[[f64; 2]; 2]> {
    if address.pixels.len() != later.pixels.len() || address.width != later.width {
        return Vec::new();
    }
    let mut left = crests(address, width_px);
    let least = f64::max(40.0, 15.0 * width_px);
    let mut found = Vec::new();
    for _ in 0..ROUNDS {
        let Some((line, votes)) = Line::strongest(&left, address.diagonal()) else { break };
        if 2.0 * votes < least {
            break;
        }
        let (line, rms) = line.refined(&left);
        let Some(span) = line.longest(&left, 1.5) else {
            // nothing hangs together there: forget the crests that voted
            if !forget(&mut left, |c| line.owns(c, &Span::WHOLE)) {
                break;
            }
            continue;
        };
        let straight =
            rms < STRAIGHT_PX.max(STRAIGHT * width_px) && line.bow(&left, &span) < BOW_PX;
        if span.length() >= least && span.fill > FILL && straight {
            let profile = Profile { field: address, line: &line, span: &span, width_px };
            if profile.judge(later).is_ok() {
                found.push([span.from, span.to].map(|u| line.point(u, 0.0)));
            }
        }
        if !forget(&mut left, |c| line.owns(c, &span)) {
            break;
        }
    }
    found
}

/// Whether there was any such crest.
fn forget(left: &mut Vec<Crest>, which: impl Fn(&Crest) -> bool) -> bool {
    let before = left.len();
    left.retain(|c| !which(c));
    left.len() < before
}
