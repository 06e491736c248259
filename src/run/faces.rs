//! Other people's faces, so that they can be hidden too. In: the coarse scan, where the golfer
//! is. Out: a box around every other head with its time. Pixels of the upright picture, file
//! time. A face is known only as well as the scan saw its body, a dozen times a second.

use serde::{Deserialize, Serialize};

use crate::decode::Clock;
use crate::frames::Pixel;
use crate::keypoints::{self, Guide, Landmark, Landmarks, Sighting};
use crate::stills::Area;

/// Ears in the network's order (POSE.md).
const EARS: [usize; 2] = [7, 8];
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
    let middle = |a: f64, b: f64| f64::midpoint(a, b) + Landmark::HALF_PIXEL;
    let centre = Pixel::new(middle(a.x, b.x), middle(a.y, b.y));
    Face { file_s, centre, half: HEAD_HALF * person.roi.side }
}

/// The boxes to hide in the picture at a file time.
pub fn hidden_at(faces: &[Face], file_s: f64, clock: &Clock) -> Vec<Area> {
    let near = faces.iter().filter(|f| (f.file_s - file_s).abs() <= LASTS_S * clock.stretch);
    near.map(|f| Area::around(f.centre, Pixel::new(f.half, f.half))).collect()
}

#[cfg(test)]
mod tests {
    use std::num::NonZeroU32;

    use super::*;
    use crate::decode::{TimeBase, Timestamp};
    use crate::keypoints::{LANDMARKS, Roi};
    use crate::units::Confidence;

    /// Somebody whose ears are 300 pixels above the middle of the square.
    fn person(x: f64) -> Landmarks {
        let mut points = [Landmark::default(); LANDMARKS];
        for ear in EARS {
            points[ear].at = Pixel::new(x, 300.0);
        }
        let roi = Roi { centre: Pixel::new(x, 600.0), side: 800.0, rotation: 0.0 };
        Landmarks { points, person: Confidence::default(), roi, golfer: None }
    }

    #[test]
    fn everybody_s_head_but_the_golfer_s_is_hidden_about_the_time_it_was_seen() {
        let base = TimeBase { num: NonZeroU32::MIN, den: NonZeroU32::new(12).unwrap() };
        let sighting = |ticks: i64| Sighting {
            time: Timestamp { ticks, base },
            index: 0,
            people: vec![person(360.0), person(90.0)],
        };
        let guide: Guide = vec![(0.0, person(370.0).roi)];
        let faces = others(&[sighting(0), sighting(24)], &guide);
        assert_eq!(faces.len(), 2);
        assert!((faces[0].centre.x - 90.5).abs() < 1e-9);
        let clock = Clock { first_s: 0.0, stretch: 1.0 };
        assert_eq!(hidden_at(&faces, 0.1, &clock).len(), 1);
        assert!(hidden_at(&faces, 1.0, &clock).is_empty());
        let slow = Clock { first_s: 0.0, stretch: 8.0 };
        assert_eq!(hidden_at(&faces, 1.0, &slow).len(), 2);
        assert!(hidden_at(&faces, 0.1, &clock)[0].contains(Pixel::new(60.0, 330.0)));
        assert_eq!(others(&[sighting(0)], &Guide::new()).len(), 2);
    }
}
