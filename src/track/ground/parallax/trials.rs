//! Trials on made-up places: level ground from 2.5 m on up to a wall, 4 m to the golfer, a phone
//! 1.2 m above the ground, whose true way is known.

use nalgebra::{Rotation3, Vector3};

use super::super::fit;
use super::super::verdict::Step;
use super::*;
use crate::signal::real;

/// A lens a seventh longer than the follower takes it to be.
const TRUE_FOCAL: f64 = 1150.0;
const PINHOLE: Pinhole = Pinhole { centre: Pixel { x: 360.0, y: 640.0 }, focal: 1005.0 };
const COUNT: usize = 60;
const GOLFER_M: f64 = 4.0;
/// Hips, head and feet; camera axes, m.
const PLACES: [Vector3<f64>; 3] = [
    Vector3::new(0.0, 0.3, GOLFER_M),
    Vector3::new(0.0, -0.4, GOLFER_M),
    Vector3::new(0.0, 1.15, GOLFER_M),
];

#[derive(Clone, Copy)]
struct Way {
    turn_deg: f64,
    step_m: f64,
}

#[derive(Clone, Copy)]
struct Place {
    ground: bool,
    wall_m: f64,
    /// Corners of one in so many move by themselves.
    astray: usize,
}

impl Way {
    /// A world point in picture `i`; the first is the reference.
    fn shoot(&self, i: usize, at: Vector3<f64>) -> Pixel {
        let wave = |slow: f64, phase: f64| (slow * real(i) / 9.0 + phase).sin() - phase.sin();
        let turn = Vector3::new(wave(0.9, 0.3), wave(0.7, 1.1), 0.4 * wave(1.1, 2.0));
        let step = Vector3::new(wave(0.8, 2.4), wave(1.2, 0.9), wave(0.6, 1.7)) * self.step_m;
        let seen = Rotation3::new(turn * self.turn_deg.to_radians()) * (at - step);
        Pixel::new(
            PINHOLE.centre.x + TRUE_FOCAL * seen.x / seen.z,
            PINHOLE.centre.y + TRUE_FOCAL * seen.y / seen.z,
        )
    }
}

impl Place {
    /// The world point behind a place of the reference picture, where one is.
    fn behind(&self, p: Pixel) -> Option<Vector3<f64>> {
        let (x, y) = (p.x - PINHOLE.centre.x, p.y - PINHOLE.centre.y);
        let ground = if y > 0.0 { 1.2 * TRUE_FOCAL / y } else { f64::INFINITY };
        let z = ground.min(self.wall_m);
        let wanted = self.ground || z == self.wall_m;
        wanted.then(|| Vector3::new(x * z / TRUE_FOCAL, y * z / TRUE_FOCAL, z))
    }

    fn corners(&self) -> Vec<(Pixel, Vector3<f64>)> {
        let all = (0..140usize).map(|i| {
            let (a, b) = (real(i * 37 % 140) / 140.0, real(i * 61 % 140) / 140.0);
            Pixel::new(720.0 * a, 1280.0 * b)
        });
        all.filter_map(|p| Some((p, self.behind(p)?))).collect()
    }
}

/// What the follower would know, with errors of about 0.1 pixels.
fn followed(way: Way, place: Place) -> (Vec<Step>, Vec<Look>, Vec<Origin>) {
    let corners = place.corners();
    let (mut steps, mut looks) = (Vec::new(), Vec::new());
    for i in 0..COUNT {
        let found = |(corner, (from, at)): (usize, &(Pixel, Vector3<f64>))| {
            let to = way.shoot(i, *at);
            let noise = |k: f64| 0.14 * (k * real(1 + corner) * real(1 + i)).sin();
            let off = if corner % place.astray == 1 { 0.2 * real(i) } else { 0.0 };
            let to = Pixel::new(to.x + noise(12.3) + off, to.y + noise(45.6));
            Match { from: *from, to, corner, sd: 0.1 }
        };
        let matches: Vec<Match> = corners.iter().enumerate().map(found).collect();
        let fit = fit::fit(&matches, &PINHOLE, 5.0, LEAST_SD).unwrap();
        let step = Step {
            camera: PictureFromReference::from_matrix(&fit.matrix),
            variance: fit.variance_at(&matches, &PINHOLE, &[Pixel::new(360.0, 726.0)]),
            ..Step::lost(0)
        };
        steps.push(Step { index: i, time: real(i) / 30.0, ..step });
        looks.push(Look::new(i, 0, &matches, &fit.matrix, 1280.0));
    }
    let golfer =
        Roi { centre: way.shoot(0, PLACES[0]), side: TRUE_FOCAL * 2.3 / GOLFER_M, rotation: 0.0 };
    let corners = corners.into_iter().map(|(p, _)| p).collect();
    (steps, looks, vec![Origin { golfer: Some(golfer), corners, step: None }])
}

/// Rms error on the golfer and rms of what is stated, one axis, pixels.
fn error(steps: &[Step], way: Way) -> (f64, f64) {
    let miss = |step: &Step, at: &Vector3<f64>| {
        let mapped = step.camera.unwrap().apply(way.shoot(0, *at));
        mapped.distance(way.shoot(step.index, *at)).powi(2) / 2.0
    };
    let all = steps.iter().flat_map(|s| PLACES.iter().map(move |at| miss(s, at)));
    let rms = (all.sum::<f64>() / real(3 * steps.len())).sqrt();
    (rms, (steps.iter().map(|s| s.variance).sum::<f64>() / real(steps.len())).sqrt())
}

/// Before and after.
fn trial(way: Way, place: Place) -> [(f64, f64); 2] {
    let (steps, looks, origins) = followed(way, place);
    let refined = refined(&steps, &looks, &origins, PINHOLE).unwrap();
    [error(&steps, way), error(&refined, way)]
}

const HAND: Way = Way { turn_deg: 0.8, step_m: 0.012 };
const RANGE: Place = Place { ground: true, wall_m: 30.0, astray: 1000 };

#[test]
fn a_step_is_taken_out_at_the_golfers_distance() {
    for (wall_m, astray) in [(30.0, 1000), (6.0, 1000), (30.0, 5)] {
        let place = Place { wall_m, astray, ..RANGE };
        let [(before, _), (after, stated)] = trial(HAND, place);
        assert!(before > 0.8, "{before}");
        assert!(after < 0.3, "{after}");
        assert!(after < 2.0 * stated && stated < 0.6, "{after} {stated}");
    }
}

#[test]
fn a_camera_that_only_turns_needs_nothing() {
    let [_, (after, stated)] = trial(Way { step_m: 0.0, ..HAND }, RANGE);
    assert!(after < 0.1 && stated < 0.1, "{after} {stated}");
}

#[test]
fn a_wall_alone_tells_no_step_and_the_sd_says_so() {
    let place = Place { ground: false, wall_m: 8.0, astray: 1000 };
    let [(before, before_stated), (after, stated)] = trial(HAND, place);
    // What was stated before took the wall for the golfer.
    assert!(before > 3.0 * before_stated, "{before} {before_stated}");
    assert!(after < 2.0 * stated, "{after} {stated}");
}

#[test]
fn a_new_key_goes_on_where_the_old_one_ends() {
    let (steps, mut looks, mut origins) = followed(HAND, RANGE);
    // The second half followed from picture 29, as if the corners had been found there.
    let half = COUNT / 2 - 1;
    let places = looks[half].matches.iter().map(|m| m.to);
    origins.push(Origin {
        golfer: Some(Roi { centre: HAND.shoot(half, PLACES[0]), ..origins[0].golfer.unwrap() }),
        corners: places.collect(),
        step: Some(half),
    });
    let from: Vec<Match> = looks[half].matches.clone();
    assert_eq!(from.len(), looks[COUNT - 1].matches.len());
    for look in &mut looks[half + 1..] {
        look.key = 1;
        for (m, key) in look.matches.iter_mut().zip(&from) {
            m.from = key.to;
        }
    }
    let refined = refined(&steps, &looks, &origins, PINHOLE).unwrap();
    let (after, stated) = error(&refined, HAND);
    assert!(after < 0.4 && after < 2.0 * stated, "{after} {stated}");
    assert!(refined[COUNT - 1].variance > refined[half].variance);
}

#[test]
fn without_a_golfer_nothing_is_refined() {
    let (steps, looks, mut origins) = followed(HAND, RANGE);
    origins[0].golfer = None;
    assert!(refined(&steps, &looks, &origins, PINHOLE).is_none());
}
