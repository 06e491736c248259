//! Other people's faces, so that they can be hidden too. In: the coarse scan, where the golfer
//! is. Out: a box around every other head with its time. Pixels of the upright picture, file
//! time. A face is known only as well as the scan saw its body, a dozen times a second.

use serde::{Deserialize, Serialize};

use crate::decode::Clock;
use crate::frames::Pixel;
use crate::keypoints::{self, Guide, Landmarks, Sighting};
use crate::stills::Area;

/// Ears in the network's order (POSE.md).
const EARS: [usize; 2] = [7, 8];
/// Landmarks count from pixel centres; pictures from the first pixel's corner.
const HALF_PIXEL: f64 = 0.5;
/// Half of a head's box, a share of the network's square: the square is about 1.3 statures wide
/// (it reaches a quarter beyond the circle about the hips that holds the body), a head with hair
/// and cap 0.09 of a stature to each side; the rest is for walking on between two looks.
const HEAD_HALF: f64 = 0.09;
/// A square whose centre is this near the golfer's, a share of its side, is the golfer's.
const GOLFER: f64 = 0.25;
/// A face is hidden this long before and after it was seen, seconds of real time: two looks of
/// the scan.
const LASTS_S: f64 = 0.18;

/// A head that is not the golfer's.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Face {
    pub file_s: f64,
    pub centre: Pixel,
    pub half: f64,
}

/// Every head of the scan but the golfer's.
pub fn others(scan: &[Sighting], guide: &Guide) -> Vec<Face> {
    let faces = scan.iter().flat_map(|sighting| {
        let file_s = sighting.time.seconds();
        let golfer = keypoints::place_at(guide, file_s);
        let other = move |person: &&Landmarks| {
            golfer.is_none_or(|golfer| {
                golfer.centre.distance(person.roi.centre) > GOLFER * golfer.side
            })
        };
        sighting.people.iter().filter(other).map(move |person| face(person, file_s))
    });
    faces.filter(|f| f.centre.x.is_finite() && f.centre.y.is_finite()).collect()
}

fn face(person: &Landmarks, file_s: f64) -> Face {
    let [a, b] = EARS.map(|i| person.points[i].at);
    let middle = |a: f64, b: f64| f64::midpoint(a, b) + HALF_PIXEL;
    let centre = Pixel::new(middle(a.x, b.x), middle(a.y, b.y));
    Face { file_s, centre, half: HEAD_HALF * person.roi.side }
}

/// The boxes to hide in the picture at a file time.
pub fn hidden_at(faces: &[Face], file_s: f64, clock: &Clock) -> Vec<Area> {
    let near = faces.iter().filter(|f| (f.file_s - file_s).abs() <= LASTS_S * clock.stretch);
    near.map(|f| Area::around(f.centre, Pixel::new(f.half, f.half))).collect()
}
