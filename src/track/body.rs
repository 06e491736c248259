//! A few plain facts about one person's landmarks in one picture, pixels: where the hips and
//! hands are, how large he looks. Indices are those of the pose network (POSE.md).

use crate::frames::Pixel;
use crate::keypoints::Landmarks;

pub(super) const EARS: (usize, usize) = (7, 8);
pub(super) const SHOULDERS: (usize, usize) = (11, 12);
pub(super) const WRISTS: (usize, usize) = (15, 16);
pub(super) const HIPS: (usize, usize) = (23, 24);
pub(super) const KNEES: (usize, usize) = (25, 26);
pub(super) const ANKLES: (usize, usize) = (27, 28);

/// Share of stature between the height of the ears (taken as eye height, 0.936) and of the
/// ankles (0.039): Winter's table of segment lengths (FACTS B2).
const EARS_TO_ANKLES: f64 = 0.936 - 0.039;

/// Hands on one grip, statures apart: two hand breadths and the network's error.
pub(super) const TOGETHER: f64 = 0.17;

pub(super) fn middle(person: &Landmarks, pair: (usize, usize)) -> Pixel {
    let (a, b) = (person.points[pair.0].at, person.points[pair.1].at);
    Pixel::new(f64::midpoint(a.x, b.x), f64::midpoint(a.y, b.y))
}

/// Stature as it looks, from the chain ears - shoulders - hips - knees - ankles, so that
/// bending hardly shortens it. Foreshortening does: good to about 10 %.
pub(super) fn stature(person: &Landmarks) -> f64 {
    let chain = [EARS, SHOULDERS, HIPS, KNEES, ANKLES].map(|pair| middle(person, pair));
    chain.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>() / EARS_TO_ANKLES
}

/// Where the hands are on one club, in a person of this `stature`, pixels. Wrists further apart
/// than one grip allows are not both read right, mostly because the body hides one of them (the
/// finish, seen from the front): each then counts by how surely it was seen.
pub(super) fn hands(person: &Landmarks, stature: f64) -> Pixel {
    let (a, b) = (&person.points[WRISTS.0], &person.points[WRISTS.1]);
    let (seen_a, seen_b) = (a.visibility.get(), b.visibility.get());
    if hands_apart(person) <= TOGETHER * stature || seen_a + seen_b <= 0.0 {
        return middle(person, WRISTS);
    }
    let share = seen_b / (seen_a + seen_b);
    Pixel::new(a.at.x + share * (b.at.x - a.at.x), a.at.y + share * (b.at.y - a.at.y))
}

/// Distance between the wrists.
pub(super) fn hands_apart(person: &Landmarks) -> f64 {
    person.points[WRISTS.0].at.distance(person.points[WRISTS.1].at)
}
