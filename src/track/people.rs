//! People linked through the coarse scan. In: everybody in each picture of the scan. Out: one
//! path for each person. Pixels of the picture, real seconds.
//!
//! Each path expects its person where a steady walk would have brought him; pairs of path
//! and person are taken nearest first, by place and size (greedy nearest neighbour after
//! prediction). It knows no faces or clothes: two people of one size who stop behind each
//! other may be exchanged.

use crate::decode::Clock;
use crate::frames::Pixel;
use crate::keypoints::{Landmarks, Sighting};
use crate::signal;

use super::body::{self, HIPS, WRISTS};

/// A path that found nobody for this long ends, s.
const LONGEST_GAP_S: f64 = 1.5;

/// How far from the expected place a person may be, statures: at once, and for each second
/// since last seen (a brisk change of walking speed), at most.
const REACH: f64 = 0.25;
const REACH_PER_S: f64 = 0.8;
const REACH_MOST: f64 = 0.9;

/// |ln| of the ratio of sizes that one person may show from picture to picture.
const SIZE_CHANGE: f64 = 0.5;

/// Two readings nearer than this (statures) are one person seen twice.
const SAME: f64 = 0.12;

/// Velocity is taken over the last this many seconds of a path.
const VELOCITY_OVER_S: f64 = 0.5;

#[derive(Clone, Debug)]
pub(super) struct Sample<'a> {
    pub time: f64,
    pub file_s: f64,
    pub hip: Pixel,
    pub hands: Pixel,
    /// Between the wrists, pixels.
    pub apart: f64,
    pub size: f64,
    pub person: &'a Landmarks,
}

impl<'a> Sample<'a> {
    fn new(person: &'a Landmarks, file_s: f64, clock: &Clock) -> Option<Self> {
        let size = body::stature(person);
        let sample = Self {
            time: clock.real(file_s),
            file_s,
            hip: body::middle(person, HIPS),
            hands: body::middle(person, WRISTS),
            apart: body::hands_apart(person),
            size,
            person,
        };
        let finite = [sample.hip, sample.hands].iter().all(|p| p.x.is_finite() && p.y.is_finite());
        (finite && size.is_finite() && size > 0.0).then_some(sample)
    }
}

/// One person through the scan, in time order; never empty.
#[derive(Clone, Debug)]
pub(super) struct Path<'a> {
    pub samples: Vec<Sample<'a>>,
}

impl Path<'_> {
    pub fn first(&self) -> &Sample<'_> {
        &self.samples[0]
    }

    pub fn last(&self) -> &Sample<'_> {
        &self.samples[self.samples.len() - 1]
    }

    /// Typical stature, pixels.
    pub fn size(&self) -> f64 {
        let sizes: Vec<f64> = self.samples.iter().map(|s| s.size).collect();
        signal::median(&sizes).unwrap_or(0.0)
    }

    fn recent_size(&self) -> f64 {
        let from = self.samples.len().saturating_sub(7);
        let sizes: Vec<f64> = self.samples[from..].iter().map(|s| s.size).collect();
        signal::median(&sizes).unwrap_or(0.0)
    }

    fn expected(&self, time: f64) -> Pixel {
        let last = self.last();
        let earlier = self.samples.iter().find(|s| last.time - s.time <= VELOCITY_OVER_S);
        let Some(earlier) = earlier.filter(|s| last.time - s.time > 0.15) else { return last.hip };
        let share = (time - last.time) / (last.time - earlier.time);
        Pixel::new(
            last.hip.x + share * (last.hip.x - earlier.hip.x),
            last.hip.y + share * (last.hip.y - earlier.hip.y),
        )
    }

    /// How badly a sample continues the path; `None` where it cannot.
    fn misfit(&self, sample: &Sample<'_>) -> Option<f64> {
        let gap = sample.time - self.last().time;
        let size = self.recent_size();
        let away = self.expected(sample.time).distance(sample.hip) / size;
        let growth = (sample.size / size).ln().abs();
        let reach = (REACH + REACH_PER_S * gap).min(REACH_MOST);
        let possible = gap > 0.0 && gap <= LONGEST_GAP_S && away <= reach && growth <= SIZE_CHANGE;
        possible.then_some(away + 0.5 * growth)
    }
}

/// Everybody's path, in order of appearance.
pub(super) fn link<'a>(scan: &'a [Sighting], clock: &Clock) -> Vec<Path<'a>> {
    let mut paths: Vec<Path<'a>> = Vec::new();
    for sighting in scan {
        let file_s = sighting.time.seconds();
        let people = sighting.people.iter().filter_map(|p| Sample::new(p, file_s, clock));
        extend(&mut paths, once_each(people.collect()));
    }
    paths
}

/// Drops second readings of one person, keeping the surer one.
fn once_each(mut people: Vec<Sample<'_>>) -> Vec<Sample<'_>> {
    people.sort_by(|a, b| b.person.person.get().total_cmp(&a.person.person.get()));
    let mut kept: Vec<Sample<'_>> = Vec::new();
    for sample in people {
        let twice = kept.iter().any(|k| {
            k.hip.distance(sample.hip) < SAME * k.size && (k.size / sample.size).ln().abs() < 0.3
        });
        if !twice {
            kept.push(sample);
        }
    }
    kept
}

fn extend<'a>(paths: &mut Vec<Path<'a>>, people: Vec<Sample<'a>>) {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (i, path) in paths.iter().enumerate() {
        let fits = people.iter().enumerate();
        pairs.extend(fits.filter_map(|(j, s)| path.misfit(s).map(|cost| (cost, i, j))));
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut taken: Vec<Option<usize>> = vec![None; people.len()];
    for (_, path, person) in pairs {
        if taken[person].is_none() && !taken.contains(&Some(path)) {
            taken[person] = Some(path);
        }
    }
    for (sample, path) in people.into_iter().zip(taken) {
        match path {
            Some(path) => paths[path].samples.push(sample),
            None => paths.push(Path { samples: vec![sample] }),
        }
    }
}
