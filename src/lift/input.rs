//! In: one frame's landmarks in image axes. Out: the network's input row,
//! `[398] f32`: 39 landmarks of (x, y relative to the region's centre in region sides,
//! z in region sides, visibility, presence, world x y z in network metres), the region
//! (x, y from the picture's centre and side, all in long sides; sine and cosine of its
//! rotation), picture width and height over the long side, person score, network; what the
//! golfer network says (`models/golfer.md`), turned from the region's frame to the picture's,
//! and whether it was asked (zeros where not).
//!
//! Left-handers are mirrored here into right-handers, so the lead side is always the left.

use crate::body::Joint;
use crate::frames::{Handed, PictureSize};
use crate::keypoints::{
    Accuracy, GOLFER_VALUES, GolferReading, LANDMARKS, Landmark, Landmarks, Roi,
};

/// Values a frame.
pub const FEATURES: usize = LANDMARKS * 8 + 9 + GOLFER_VALUES + 1;

/// Where the golfer network's one number without a direction stands: after the points.
const RATIO: usize = Joint::COUNT * 3;

/// The region as the network sees it: mirrored, from the picture's centre, in long sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Region {
    pub x: f64,
    pub y: f64,
    pub side: f64,
    pub rotation: f64,
}

/// +1 for right-handers, -1 where the picture is mirrored.
#[must_use]
pub fn mirror_sign(handed: Handed) -> f64 {
    match handed {
        Handed::Right => 1.0,
        Handed::Left => -1.0,
    }
}

#[must_use]
pub fn region(roi: &Roi, size: PictureSize, handed: Handed) -> Region {
    let (long, centre, sign) = (size.long(), size.centre(), mirror_sign(handed));
    Region {
        x: sign * (roi.centre.x + Landmark::HALF_PIXEL - centre.x) / long,
        y: (roi.centre.y + Landmark::HALF_PIXEL - centre.y) / long,
        side: roi.side / long,
        rotation: sign * roi.rotation,
    }
}

fn landmark(p: &Landmark, roi: &Roi, sign: f64) -> [f64; 8] {
    [
        sign * (p.at.x - roi.centre.x) / roi.side,
        (p.at.y - roi.centre.y) / roi.side,
        p.z / roi.side,
        p.visibility.get(),
        p.presence.get(),
        sign * p.world[0],
        p.world[1],
        p.world[2],
    ]
}

/// The golfer network's numbers in the picture's axes (of the mirrored picture for left-handers).
fn turned(golfer: &GolferReading, rotation: f64) -> [f32; GOLFER_VALUES] {
    let (sin, cos) = rotation.sin_cos();
    let mut out = *golfer.0;
    let (points, rest) = out.split_at_mut(RATIO);
    for v in points.chunks_exact_mut(3).chain(rest[1..].chunks_exact_mut(3)) {
        let (x, y) = (f64::from(v[0]), f64::from(v[1]));
        (v[0], v[1]) = (single(cos * x - sin * y), single(sin * x + cos * y));
    }
    out
}

/// The network's input row for one frame.
#[must_use]
pub fn row(
    seen: &Landmarks,
    size: PictureSize,
    handed: Handed,
    accuracy: Accuracy,
) -> [f32; FEATURES] {
    let sign = mirror_sign(handed);
    let place = |i: usize| if handed == Handed::Left { Landmarks::partner(i) } else { i };
    let joints = (0..LANDMARKS).flat_map(|i| landmark(&seen.points[place(i)], &seen.roi, sign));
    let at = region(&seen.roi, size, handed);
    let rest = [
        at.x,
        at.y,
        at.side,
        at.rotation.sin(),
        at.rotation.cos(),
        f64::from(size.width) / size.long(),
        f64::from(size.height) / size.long(),
        seen.person.get(),
        f64::from(u8::from(accuracy == Accuracy::Heavy)),
    ];
    let mut out = [0.0; FEATURES];
    for (slot, value) in out.iter_mut().zip(joints.chain(rest)) {
        *slot = single(value);
    }
    if let Some(golfer) = &seen.golfer {
        let from = FEATURES - GOLFER_VALUES - 1;
        out[from..FEATURES - 1].copy_from_slice(&turned(golfer, at.rotation));
        out[FEATURES - 1] = 1.0;
    }
    out
}

/// The network works in single precision.
#[allow(clippy::cast_possible_truncation)]
fn single(value: f64) -> f32 {
    value as f32
}
