//! Invented people for the tests of this stage: joints placed by simple curves in time.

use std::f64::consts::PI;
use std::num::NonZeroU32;

use crate::decode::{Clock, TimeBase, Timestamp};
use crate::frames::Pixel;
use crate::keypoints::{LANDMARKS, Landmark, Landmarks, Roi, Sighting};
use crate::units::Confidence;

use super::PictureFromReference;
use super::body::{ANKLES, EARS, HIPS, KNEES, SHOULDERS, WRISTS};

pub(super) fn clock() -> Clock {
    Clock { first_s: 0.0, stretch: 1.0 }
}

pub(super) fn at(seconds: f64) -> Timestamp {
    let den = NonZeroU32::new(90_000).unwrap();
    #[expect(clippy::cast_possible_truncation)]
    let ticks = (seconds * 90_000.0).round() as i64;
    Timestamp { ticks, base: TimeBase { num: NonZeroU32::MIN, den } }
}

/// A clip of `seconds` at `fps` that shows `people(t)`.
pub(super) fn clip(
    fps: f64,
    seconds: f64,
    people: impl Fn(f64) -> Vec<Landmarks>,
) -> Vec<Sighting> {
    (0..)
        .map(|index| (index, crate::signal::real(index) / fps))
        .take_while(|(_, t)| *t < seconds - 1e-9)
        .map(|(index, t)| Sighting { time: at(t), index, people: people(t) })
        .collect()
}

/// Somebody whose hands are at the given places, statures from the hips, y up.
fn person(hip: Pixel, size: f64, hands: [(f64, f64); 2]) -> Landmarks {
    let mut points = [Landmark::default(); LANDMARKS];
    let sure = Confidence::new(0.9).unwrap();
    let mut put = |i: usize, x: f64, up: f64| {
        points[i] = Landmark {
            at: Pixel::new(hip.x + x * size, hip.y - up * size),
            z: 0.1 * x * size,
            visibility: sure,
            presence: sure,
            world: [1.75 * x, -1.75 * up, 0.1],
        };
    };
    // Heights from FACTS B2: ears 0.936, shoulders 0.818, hips 0.530, knees 0.285, ankles 0.039.
    for ((left, right), width, up) in [
        (EARS, 0.04, 0.406),
        (SHOULDERS, 0.12, 0.288),
        (HIPS, 0.06, 0.0),
        (KNEES, 0.08, -0.245),
        (ANKLES, 0.12, -0.491),
    ] {
        put(left, width, up);
        put(right, -width, up);
    }
    put(WRISTS.0, hands[0].0, hands[0].1);
    put(WRISTS.1, hands[1].0, hands[1].1);
    put(33, 0.0, 0.0);
    put(34, 0.0, 0.55);
    let roi = Roi { centre: hip, side: 1.375 * size, rotation: 0.0 };
    Landmarks { points, person: sure, roi, golfer: None }
}

/// Smooth 0..1.
fn ease(t: f64, from: f64, to: f64) -> f64 {
    let u = ((t - from) / (to - from)).clamp(0.0, 1.0);
    0.5 - 0.5 * (PI * u).cos()
}

/// Takeaway 1.00 s, top 1.86, impact 2.13, finish 2.75. The hands go round a circle about
/// the shoulders.
pub(super) fn golfer(t: f64, hip: Pixel, size: f64) -> Landmarks {
    let waggle = 0.03 * (2.0 * PI * 0.9 * t).sin() * (1.0 - ease(t, 0.8, 1.0));
    let turn = waggle - 2.3 * ease(t, 1.0, 1.86) + 4.6 * ease(t, 1.86, 2.4);
    let sway = 0.03 * ease(t, 1.8, 2.4) * size;
    let hands = (0.33 * turn.sin(), 0.26 - 0.33 * turn.cos());
    let hip = Pixel::new(hip.x + sway, hip.y);
    person(hip, size, [(hands.0 - 0.02, hands.1), (hands.0 + 0.02, hands.1 - 0.02)])
}

/// Shifts from foot to foot and waves with one hand.
pub(super) fn stander(t: f64, hip: Pixel, size: f64) -> Landmarks {
    let hip = Pixel::new(hip.x + 0.02 * size * t.sin(), hip.y);
    let wave = 0.2 + 0.2 * (2.0 * PI * 1.2 * t).sin();
    person(hip, size, [(0.15, -0.05), (-0.2, wave)])
}

/// Arms swing against each other.
pub(super) fn walker(t: f64, hip: Pixel, size: f64) -> Landmarks {
    let swing = 0.16 * (2.0 * PI * 0.9 * t).sin();
    person(hip, size, [(swing, -0.04 + swing.abs()), (-swing, -0.04 + swing.abs())])
}

/// The same person seen by a camera that moved.
pub(super) fn moved(person: &Landmarks, camera: &PictureFromReference) -> Landmarks {
    let mut out = person.clone();
    let (scale, turn) = camera.scale_and_turn(person.roi.centre);
    let (sin, cos) = turn.sin_cos();
    for p in &mut out.points {
        p.at = camera.apply(p.at);
        p.z *= scale;
        let [x, y, z] = p.world;
        p.world = [cos * x - sin * y, sin * x + cos * y, z];
    }
    out.roi.centre = camera.apply(person.roi.centre);
    out.roi.side *= scale;
    out.roi.rotation += turn;
    out
}
