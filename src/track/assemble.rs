//! The golfer in every picture. In: the readings of the second look, one picture after the
//! other, and the camera's motion. Out: landmarks in the axes of the reference picture,
//! real seconds; gross failures taken out, short gaps filled, longer ones left missing.
//!
//! A reading is gross when several of the slow joints lie far from the median of their
//! neighbours in time, or when the whole body stands elsewhere for a while. Gaps are filled
//! by cubic interpolation. It does not smooth, and does not judge hands: they are fast.

use crate::decode::Clock;
use crate::frames::{PictureSize, Pixel};
use crate::keypoints::{LANDMARKS, Landmark, Landmarks, Roi, Sighting};
use crate::signal;
use crate::units::{Confidence, Seconds};
use crate::warning::{Warned, Warning};

use super::body::{self, ANKLES, HIPS, KNEES, SHOULDERS};
use super::{GroundMotion, PictureFromReference, Presence, Track, TrackError, TrackedFrame};

/// Longest time between two readings that is bridged, s (a little over 0.1 s, so that two
/// missing pictures at 30 a second, whose times are rounded, count as 0.1 s).
const BRIDGE_S: f64 = 0.105;

/// The median of a joint is taken over this much time to each side, s, and at least over this
/// many readings.
const AROUND_S: f64 = 0.08;
const AROUND: usize = 2;

/// A slow joint this far from its median (statures, about 21 cm) did not get there by itself:
/// against the median of 0.16 s a joint at 2 m/s that turns round shows 5 cm.
const JUMP: f64 = 0.12;
/// So many joints must have jumped: one alone may be hidden.
const JUMPED: usize = 2;
/// Or the body's size changed by this share.
const SIZE_JUMP: f64 = 0.25;

/// Hips that move more than this between readings, statures plus statures a second, are
/// somebody else's. A fast swing moves them at about 1 m/s.
const LEAP: f64 = 0.12;
const LEAP_PER_S: f64 = 1.5;
/// The time that counts for it, at most, s.
const LEAP_S: f64 = 0.3;

/// Builds the track of the golfer whom the sightings follow.
///
/// # Errors
/// No picture shows anybody.
pub fn assemble(
    sightings: Vec<Sighting>,
    ground: &GroundMotion,
    size: PictureSize,
    clock: &Clock,
) -> Result<Warned<Track>, TrackError> {
    let mut frames: Vec<TrackedFrame> =
        sightings.into_iter().map(|s| frame(s, ground, clock)).collect();
    frames.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    frames.dedup_by(|later, first| later.time.0 <= first.time.0);
    drop_gross(&mut frames);
    drop_elsewhere(&mut frames);
    if frames.iter().all(|f| f.landmarks.is_none()) {
        return Err(TrackError::Nobody);
    }
    fill(&mut frames);
    let warnings = warn(&frames);
    Ok(Warned { output: Track { size, frames, motion: ground.motion }, warnings })
}

fn frame(sighting: Sighting, ground: &GroundMotion, clock: &Clock) -> TrackedFrame {
    let camera = ground.at(sighting.index);
    let surest = sighting
        .people
        .into_iter()
        .filter(|person| ground.covers(sighting.index) && is_finite(person))
        .max_by(|a, b| a.person.get().total_cmp(&b.person.get()));
    TrackedFrame {
        time: Seconds(clock.real(sighting.time.seconds())),
        index: sighting.index,
        presence: if surest.is_some() { Presence::Seen } else { Presence::Missing },
        landmarks: surest.map(|person| to_reference(person, &camera)),
        camera,
    }
}

fn is_finite(person: &Landmarks) -> bool {
    let points = person.points.iter();
    let finite = |p: &Landmark| {
        p.at.x.is_finite()
            && p.at.y.is_finite()
            && p.z.is_finite()
            && p.world.iter().all(|w| w.is_finite())
    };
    points.clone().all(finite) && body::stature(person) > 0.0
}

/// A person as the reference picture would have shown him.
fn to_reference(mut person: Landmarks, camera: &PictureFromReference) -> Landmarks {
    if *camera == PictureFromReference::STILL {
        return person;
    }
    let hips = camera.undo(body::middle(&person, HIPS));
    let (scale, turn) = camera.scale_and_turn(hips);
    let (sin, cos) = turn.sin_cos();
    for point in &mut person.points {
        point.at = camera.undo(point.at);
        point.z /= scale;
        let [x, y, z] = point.world;
        point.world = [cos * x + sin * y, cos * y - sin * x, z];
    }
    person.roi = Roi {
        centre: camera.undo(person.roi.centre),
        side: person.roi.side / scale,
        rotation: person.roi.rotation - turn,
    };
    person
}

fn leave_out(frame: &mut TrackedFrame) {
    frame.landmarks = None;
    frame.presence = Presence::Missing;
}

/// Single readings (or two, three in a row) far from those around them.
fn drop_gross(frames: &mut [TrackedFrame]) {
    let seen: Vec<(usize, f64, &Landmarks)> = frames
        .iter()
        .enumerate()
        .filter_map(|(i, f)| f.landmarks.as_ref().map(|l| (i, f.time.0, l)))
        .collect();
    let gross: Vec<usize> =
        (0..seen.len()).filter(|&k| is_gross(&seen, k)).map(|k| seen[k].0).collect();
    for i in gross {
        leave_out(&mut frames[i]);
    }
}

fn is_gross(seen: &[(usize, f64, &Landmarks)], k: usize) -> bool {
    let (_, time, person) = seen[k];
    let before = seen[..k].iter().rev().take_while(|s| time - s.1 <= AROUND_S).count();
    let after = seen[k + 1..].iter().take_while(|s| s.1 - time <= AROUND_S).count();
    // The same number to both sides, so that steady motion leaves the median in place; at the
    // ends of the series one-sided, which the limits allow for.
    let reach = before.min(after).max(AROUND);
    let near = &seen[k.saturating_sub(reach)..(k + reach + 1).min(seen.len())];
    if near.len() <= AROUND {
        return false;
    }
    let typical = |value: &dyn Fn(&Landmarks) -> f64| {
        signal::median(&near.iter().map(|s| value(s.2)).collect::<Vec<_>>()).unwrap_or(f64::NAN)
    };
    let size = typical(&body::stature);
    let jumped = [SHOULDERS, HIPS, KNEES, ANKLES]
        .iter()
        .flat_map(|&(left, right)| [left, right])
        .filter(|&joint| {
            let at =
                Pixel::new(typical(&|l| l.points[joint].at.x), typical(&|l| l.points[joint].at.y));
            at.distance(person.points[joint].at) > JUMP * size
        })
        .count();
    jumped >= JUMPED || (body::stature(person) / size - 1.0).abs() > SIZE_JUMP
}

/// Stretches in which the body stands somewhere else than in the longest stretch.
fn drop_elsewhere(frames: &mut [TrackedFrame]) {
    let seen: Vec<Stand> =
        frames.iter().enumerate().filter_map(|(i, f)| Stand::new(i, f)).collect();
    if seen.is_empty() {
        return;
    }
    let breaks = (1..seen.len()).filter(|&k| seen[k - 1].leaps_to(&seen[k]));
    let bounds: Vec<usize> = std::iter::once(0).chain(breaks).chain([seen.len()]).collect();
    let runs: Vec<&[Stand]> = bounds.windows(2).map(|w| &seen[w[0]..w[1]]).collect();
    let longest = (0..runs.len()).rev().max_by_key(|&r| runs[r].len()).unwrap_or(0);
    let mut elsewhere: Vec<Stand> = Vec::new();
    let mut end = runs[longest][runs[longest].len() - 1];
    for run in &runs[longest + 1..] {
        if end.leaps_to(&run[0]) { elsewhere.extend(*run) } else { end = run[run.len() - 1] }
    }
    let mut start = runs[longest][0];
    for run in runs[..longest].iter().rev() {
        if run[run.len() - 1].leaps_to(&start) { elsewhere.extend(*run) } else { start = run[0] }
    }
    let elsewhere: Vec<usize> = elsewhere.iter().map(|s| s.frame).collect();
    for i in elsewhere {
        leave_out(&mut frames[i]);
    }
}

/// Where the hips are in a frame.
#[derive(Clone, Copy)]
struct Stand {
    frame: usize,
    time: f64,
    hips: Pixel,
    size: f64,
}

impl Stand {
    fn new(frame: usize, tracked: &TrackedFrame) -> Option<Self> {
        let person = tracked.landmarks.as_ref()?;
        let hips = body::middle(person, HIPS);
        Some(Self { frame, time: tracked.time.0, hips, size: body::stature(person) })
    }

    fn leaps_to(&self, later: &Self) -> bool {
        let gap = (later.time - self.time).min(LEAP_S);
        self.hips.distance(later.hips) > (LEAP + LEAP_PER_S * gap) * self.size
    }
}

/// Bridges short gaps between readings.
fn fill(frames: &mut [TrackedFrame]) {
    let seen: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].landmarks.is_some()).collect();
    for k in 1..seen.len() {
        let (a, b) = (seen[k - 1], seen[k]);
        if b == a + 1 || frames[b].time.0 - frames[a].time.0 > BRIDGE_S {
            continue;
        }
        let nodes = nodes(frames, &seen, k);
        let filled: Vec<Option<Landmarks>> =
            (a + 1..b).map(|i| between(frames, &nodes, frames[i].time.0)).collect();
        for (i, landmarks) in (a + 1..b).zip(filled) {
            if landmarks.is_some() {
                frames[i].presence = Presence::Filled;
                frames[i].landmarks = landmarks;
            }
        }
    }
}

/// The readings around the gap that ends at `seen[k]`: one or two to each side.
fn nodes(frames: &[TrackedFrame], seen: &[usize], k: usize) -> Vec<usize> {
    let close = |a: usize, b: usize| frames[b].time.0 - frames[a].time.0 <= BRIDGE_S;
    let from = if k >= 2 && close(seen[k - 2], seen[k - 1]) { k - 2 } else { k - 1 };
    let to = if k + 1 < seen.len() && close(seen[k], seen[k + 1]) { k + 1 } else { k };
    seen[from..=to].to_vec()
}

fn between(frames: &[TrackedFrame], nodes: &[usize], time: f64) -> Option<Landmarks> {
    let times: Vec<f64> = nodes.iter().map(|&i| frames[i].time.0).collect();
    let people: Vec<&Landmarks> =
        nodes.iter().map(|&i| frames[i].landmarks.as_ref()).collect::<Option<_>>()?;
    let mix = |value: &dyn Fn(&Landmarks) -> f64| {
        let values: Vec<f64> = people.iter().map(|p| value(p)).collect();
        signal::cubic(&times, &values, time)
    };
    let least = |value: &dyn Fn(&Landmarks) -> Confidence| {
        let lower = |a: Confidence, b: Confidence| if b.get() < a.get() { b } else { a };
        people.iter().map(|p| value(p)).reduce(lower).unwrap_or_default()
    };
    let points: [Landmark; LANDMARKS] = std::array::from_fn(|i| Landmark {
        at: Pixel::new(mix(&|p| p.points[i].at.x), mix(&|p| p.points[i].at.y)),
        z: mix(&|p| p.points[i].z),
        visibility: least(&|p| p.points[i].visibility),
        presence: least(&|p| p.points[i].presence),
        world: std::array::from_fn(|axis| mix(&|p| p.points[i].world[axis])),
    });
    let roi = Roi {
        centre: Pixel::new(mix(&|p| p.roi.centre.x), mix(&|p| p.roi.centre.y)),
        side: mix(&|p| p.roi.side),
        rotation: mix(&|p| p.roi.rotation),
    };
    Some(Landmarks { points, person: least(&|p| p.person), roi, golfer: None })
}

fn warn(frames: &[TrackedFrame]) -> Vec<Warning> {
    let count = |presence| frames.iter().filter(|f| f.presence == presence).count();
    let (filled, missing) = (count(Presence::Filled), count(Presence::Missing));
    let mut warnings = Vec::new();
    if filled > 0 {
        warnings.push(Warning::new(format!(
            "In {filled} of {} pictures the golfer could not be read: filled in from the pictures around.",
            frames.len()
        )));
    }
    if let Some((from, to)) = longest_missing(frames).filter(|_| missing > 0) {
        warnings.push(Warning::new(format!(
            "In {missing} of {} pictures the golfer was not seen, for the longest time from {from:.2} to {to:.2} s: left out.",
            frames.len()
        )));
    }
    warnings
}

/// First and last time of the longest missing stretch, s.
fn longest_missing(frames: &[TrackedFrame]) -> Option<(f64, f64)> {
    frames
        .chunk_by(|a, b| (a.presence == Presence::Missing) == (b.presence == Presence::Missing))
        .filter(|chunk| chunk.iter().all(|f| f.presence == Presence::Missing))
        .filter_map(|chunk| Some((chunk.first()?.time.0, chunk.last()?.time.0)))
        .max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
}

#[cfg(test)]
mod tests {
    use super::super::CameraMotion;
    use super::super::puppets::{at, clip, clock, golfer, moved};
    use super::*;

    const SIZE: PictureSize = PictureSize { width: 720, height: 1280 };

    fn swing(fps: f64) -> Vec<Sighting> {
        clip(fps, 3.0, |t| vec![golfer(t, Pixel::new(360.0, 700.0), 500.0)])
    }

    fn track(sightings: Vec<Sighting>) -> Warned<Track> {
        assemble(sightings, &GroundMotion::still(), SIZE, &clock()).unwrap()
    }

    fn presences(track: &Track) -> Vec<Presence> {
        track.frames.iter().map(|f| f.presence).collect()
    }

    #[test]
    fn a_clean_swing_stays_as_it_is() {
        for fps in [30.0, 60.0, 240.0] {
            let sightings = swing(fps);
            let out = track(sightings.clone());
            assert!(out.warnings.is_empty(), "{:?}", out.warnings);
            for (frame, sighting) in out.output.frames.iter().zip(&sightings) {
                assert_eq!(frame.presence, Presence::Seen);
                assert_eq!(frame.landmarks.as_ref(), sighting.people.first());
            }
        }
    }

    #[test]
    fn short_gaps_are_filled_and_long_ones_left() {
        let whole = track(swing(60.0)).output;
        let mut sightings = swing(60.0);
        for i in [40, 41, 42, 60, 61, 62, 63, 64, 65, 66, 67, 68] {
            sightings[i].people.clear();
        }
        let out = track(sightings);
        let is = presences(&out.output);
        assert_eq!(is[40..43], [Presence::Filled; 3]);
        assert_eq!(is[60..69], [Presence::Missing; 9]);
        assert_eq!(is.iter().filter(|p| **p == Presence::Seen).count(), 180 - 12);
        assert_eq!(out.warnings.len(), 2);
        for i in 40..43 {
            let (got, want) = (&out.output.frames[i].landmarks, &whole.frames[i].landmarks);
            let (got, want) = (got.as_ref().unwrap(), want.as_ref().unwrap());
            for (g, w) in got.points.iter().zip(&want.points) {
                assert!(g.at.distance(w.at) < 2.0, "{:?} {:?}", g.at, w.at);
            }
        }
    }

    #[test]
    fn misreadings_are_taken_out_and_bridged() {
        let mut sightings = swing(60.0);
        // Somewhere else for one picture, left and right exchanged, half the size, and
        // somebody else for half a second.
        sightings[30].people = vec![golfer(0.5, Pixel::new(520.0, 700.0), 500.0)];
        let person = &mut sightings[70].people[0];
        for (a, b) in [SHOULDERS, HIPS, KNEES, ANKLES] {
            person.points.swap(a, b);
        }
        sightings[90].people = vec![golfer(1.5, Pixel::new(360.0, 700.0), 300.0)];
        for s in &mut sightings[140..170] {
            s.people = vec![golfer(0.0, Pixel::new(650.0, 720.0), 480.0)];
        }
        let out = track(sightings).output;
        let is = presences(&out);
        for i in [30, 70, 90] {
            assert_eq!(is[i], Presence::Filled, "{i}");
        }
        assert_eq!(is[140..170], [Presence::Missing; 30]);
        assert_eq!(is.iter().filter(|p| **p == Presence::Seen).count(), 180 - 33);
    }

    #[test]
    fn the_cameras_motion_is_taken_out() {
        let still = track(swing(60.0)).output;
        let camera = |i: usize| {
            let i = signal::real(i);
            let shift = Pixel::new(0.2 * i, -0.1 * i);
            PictureFromReference::similarity(1.0 + 1e-4 * i, 2e-4 * i, shift)
        };
        let sightings = swing(60.0)
            .into_iter()
            .enumerate()
            .map(|(i, mut s)| {
                s.people = s.people.iter().map(|p| moved(p, &camera(i))).collect();
                s
            })
            .collect();
        let ground = GroundMotion {
            motion: CameraMotion::Compensated { residual_px: 0.2 },
            frames: (0..180).map(|i| (i, camera(i))).collect(),
            holes: vec![(Some(179), None)],
        };
        let out = assemble(sightings, &ground, SIZE, &clock()).unwrap().output;
        assert_eq!(out.motion, ground.motion);
        for (a, b) in out.frames.iter().zip(&still.frames) {
            let (a, b) = (a.landmarks.as_ref().unwrap(), b.landmarks.as_ref().unwrap());
            for (p, q) in a.points.iter().zip(&b.points) {
                assert!(p.at.distance(q.at) < 1e-6);
                assert!((p.z - q.z).abs() < 1e-6);
                assert!((0..3).all(|axis| (p.world[axis] - q.world[axis]).abs() < 1e-9));
            }
            assert!((a.roi.side - b.roi.side).abs() < 1e-6);
        }
    }

    #[test]
    fn an_empty_picture_is_an_error() {
        let empty = clip(30.0, 1.0, |_| Vec::new());
        let got = assemble(empty, &GroundMotion::still(), SIZE, &clock());
        assert_eq!(got.unwrap_err(), TrackError::Nobody);
        assert!(at(0.0).seconds().abs() < 1e-12);
    }
}
