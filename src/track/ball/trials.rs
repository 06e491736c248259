//! Trials on invented pictures whose truth is known, and (ignored) on rendered clips.

use std::path::Path;

use image::{Rgb, RgbImage};

use super::{BallWatcher, Departure};
use crate::decode::{Clock, Pictures, probe};
use crate::frames::{PictureSize, Pixel};
use crate::keypoints::Roi;
use crate::track::{CameraMotion, GroundFollower, GroundMotion, HandSample, PictureFromReference};
use crate::units::Seconds;

const SIZE: PictureSize = PictureSize { width: 360, height: 640 };
const GOLFER: Roi = Roi { centre: Pixel { x: 180.0, y: 300.0 }, side: 440.0, rotation: 0.0 };
/// Stature, and the radius of a ball beside it: 4.4 pixels.
const STATURE: f64 = 350.0;
const BALL: Pixel = Pixel { x: 205.0, y: 520.0 };
const IMPACT: f64 = 1.0;
const FPS: f64 = 60.0;

fn hands() -> Vec<HandSample> {
    vec![HandSample { time: Seconds(0.0), hands: GOLFER.centre, size_px: STATURE }]
}

/// A number from 0 to 1 that belongs to a pixel of a picture.
fn chance(x: u32, y: u32, i: u32) -> f64 {
    let mut h =
        x.wrapping_mul(0x9e37_79b9) ^ y.wrapping_mul(0x85eb_ca6b) ^ i.wrapping_mul(0xc2b2_ae35);
    h = (h ^ (h >> 15)).wrapping_mul(0x2c1b_3c6d);
    h = (h ^ (h >> 12)).wrapping_mul(0x297a_2d39);
    f64::from((h ^ (h >> 15)) & 0xffff) / 65535.0
}

/// What is in a scene beside turf, a club that comes down past the ball and a foot that lifts.
#[derive(Clone, Copy)]
struct Scene {
    /// When the ball leaves; never without one.
    leaves: Option<f64>,
    /// A picture is exposed for this long from its time on.
    exposed: f64,
    /// How the camera moves aside, pixels a second.
    drift: f64,
}

impl Scene {
    const PLAIN: Self = Self { leaves: Some(IMPACT), exposed: 0.0, drift: 0.0 };

    fn grey(&self, p: Pixel, t: f64) -> f64 {
        let radius = 4.4;
        // At 40 m/s along the ground and up again on both sides; it may pass a ball that stays.
        let off = t - self.leaves.filter(|at| *at < 2.0).unwrap_or(IMPACT);
        let club = Pixel::new(BALL.x + 8000.0 * off, BALL.y - 3000.0 * off.abs());
        let foot = Pixel::new(140.0, 470.0 - 60.0 * (t - IMPACT + 0.1).max(0.0));
        // The share of the exposure in which the ball lies there.
        let lies = self.leaves.map_or(0.0, |at| {
            if self.exposed > 0.0 {
                ((at - t) / self.exposed).clamp(0.0, 1.0)
            } else {
                f64::from(u8::from(t < at))
            }
        });
        if p.distance(club) < 9.0 {
            30.0
        } else if (p.x - foot.x).abs() < 30.0 && (p.y - foot.y).abs() < 12.0 {
            220.0
        } else {
            let turf = 70.0 + 25.0 * (p.x / 9.0).sin() * (p.y / 13.0).cos();
            let ball = if p.distance(BALL) < radius { lies } else { 0.0 };
            turf + ball * (230.0 - turf)
        }
    }

    fn picture(&self, i: u32) -> RgbImage {
        let t = f64::from(i) / FPS;
        RgbImage::from_fn(SIZE.width, SIZE.height, |x, y| {
            let at = Pixel::new(f64::from(x) + 0.5 - self.shift(t), f64::from(y) + 0.5);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let v = (self.grey(at, t) + 6.0 * (chance(x, y, i) - 0.5)).clamp(0.0, 255.0) as u8;
            Rgb([v, v, v])
        })
    }

    fn shift(&self, t: f64) -> f64 {
        self.drift * t
    }

    fn camera(&self) -> GroundMotion {
        if self.drift == 0.0 {
            return GroundMotion::still();
        }
        let aside = |i: u32| Pixel::new(self.shift(f64::from(i) / FPS), 0.0);
        let frames = (0..120)
            .map(|i| (i as usize, PictureFromReference::similarity(1.0, 0.0, aside(i))))
            .collect();
        let motion = CameraMotion::Compensated { residual_px: 0.1 };
        GroundMotion { motion, frames, holes: Vec::new() }
    }

    fn watched(&self, camera: &GroundMotion) -> Vec<Departure> {
        // The hands' rough impact is off by 50 ms.
        let rough = Seconds(IMPACT - 0.05);
        let mut ball = BallWatcher::new(SIZE, GOLFER, &hands(), rough).unwrap();
        for i in 0..120 {
            ball.push(i as usize, Seconds(f64::from(i) / FPS), &self.picture(i));
        }
        ball.finish(camera)
    }
}

/// To a millisecond: a picture may show the last of it.
fn holds(departure: &Departure, moment: f64) -> bool {
    (departure.from.0 - 0.001..=departure.to.0 + 0.001).contains(&moment)
}

#[test]
fn a_ball_leaves_between_two_pictures() {
    for leaves in [0.988, 1.004] {
        let found = Scene { leaves: Some(leaves), ..Scene::PLAIN }.watched(&GroundMotion::still());
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(holds(&found[0], leaves), "{found:?}");
        assert!(found[0].to.0 - found[0].from.0 < 1.01 / FPS, "{found:?}");
    }
}

#[test]
fn a_ball_half_seen_left_while_that_picture_was_exposed() {
    let leaves = 1.004;
    let scene = Scene { leaves: Some(leaves), exposed: 0.008, ..Scene::PLAIN };
    let found = scene.watched(&GroundMotion::still());
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(holds(&found[0], leaves) && found[0].to.0 - found[0].from.0 < 1.01 / FPS, "{found:?}");
}

#[test]
fn without_a_ball_or_where_it_stays_nothing_left() {
    for leaves in [None, Some(9.0)] {
        let scene = Scene { leaves, ..Scene::PLAIN };
        assert_eq!(scene.watched(&GroundMotion::still()), vec![]);
    }
}

#[test]
fn a_hand_held_camera_is_taken_out_and_one_that_is_not_known_gives_nothing() {
    let scene = Scene { drift: 15.0, leaves: Some(1.004), ..Scene::PLAIN };
    let found = scene.watched(&scene.camera());
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(holds(&found[0], 1.004), "{found:?}");
    let unknown = GroundMotion { motion: CameraMotion::Untrusted, ..GroundMotion::still() };
    assert_eq!(scene.watched(&unknown), vec![]);
}

#[test]
fn lights_that_go_out_are_no_ball() {
    let mut ball = BallWatcher::new(SIZE, GOLFER, &hands(), Seconds(IMPACT)).unwrap();
    for i in 0..120u32 {
        let light = if i < 60 { 1.0 } else { 0.6 };
        let mut picture = Scene { leaves: None, ..Scene::PLAIN }.picture(i);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        picture.iter_mut().for_each(|v| *v = (light * f64::from(*v)) as u8);
        ball.push(i as usize, Seconds(f64::from(i) / FPS), &picture);
    }
    assert_eq!(ball.finish(&GroundMotion::still()), vec![]);
}

#[test]
fn a_golfer_whose_ground_is_outside_the_picture_has_no_watcher() {
    let low = Roi { centre: Pixel::new(180.0, 630.0), ..GOLFER };
    assert!(BallWatcher::new(SIZE, low, &hands(), Seconds(1.0)).is_none());
    assert!(BallWatcher::new(SIZE, GOLFER, &[], Seconds(1.0)).is_none());
}

/// `HUBGAUGE_CLIPS=folder cargo test --lib ball::trials -- --ignored --nocapture`: what is found
/// in the clips of `render_bodies/clips.py`, with the true place of the golfer and his impact
/// told wrong by up to 0.1 s.
#[test]
#[ignore = "needs a folder of rendered clips"]
fn rendered_clips() {
    let folder = std::env::var("HUBGAUGE_CLIPS").unwrap();
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "mp4"));
    files.sort();
    let (mut first, mut wrong) = (0, 0);
    for (k, file) in files.iter().enumerate() {
        let rough = [-0.1, 0.0, 0.1][k % 3];
        let (impact, found) = rendered(file, rough);
        let hit = found.first().map(|d| holds(d, impact));
        first += usize::from(hit == Some(true));
        wrong += usize::from(hit == Some(false));
        let off = |s: Seconds| ((s.0 - impact) * 1000.0).round();
        let list: Vec<_> =
            found.iter().map(|d| (off(d.from), off(d.to), d.clear.round())).collect();
        println!("{} {list:?}", file.file_stem().unwrap().to_string_lossy());
    }
    println!("{} clips: clearest right {first}, wrong {wrong}", files.len());
}

fn rendered(file: &Path, rough: f64) -> (f64, Vec<Departure>) {
    let text = std::fs::read_to_string(file.with_extension("json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&text).unwrap();
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    let stretch = number(&truth["video"]["slow_motion_factor"]);
    let names: Vec<&str> =
        truth["point_names"].as_array().unwrap().iter().map(|v| v.as_str().unwrap()).collect();
    let point = |frame: usize, name: &str| {
        let k = names.iter().position(|n| *n == name).unwrap();
        let at = &truth["frames"]["pixels"][frame][k];
        Pixel::new(number(&at[0]), number(&at[1]))
    };
    let info = probe(file).unwrap().output;
    let clock = Clock { first_s: info.first.seconds(), stretch };
    let impact = clock.real(number(&truth["event_pts"]["impact"]));
    let frames = truth["frames"]["pts"].as_array().unwrap();
    let near = frames.iter().position(|p| clock.real(number(p)) > impact).unwrap();
    let (hip, other) = (point(near, "hip.L"), point(near, "hip.R"));
    let centre = Pixel::new(f64::midpoint(hip.x, other.x), f64::midpoint(hip.y, other.y));
    let stature = 1.06 * point(0, "crown").distance(point(0, "ankle.R"));
    let roi = Roi { centre, side: 1.26 * stature, rotation: 0.0 };
    let sample = HandSample { time: Seconds(0.0), hands: centre, size_px: stature };
    let watcher = BallWatcher::new(info.size, roi, &[sample], Seconds(impact + rough));
    let Some(mut watcher) = watcher else { return (impact, Vec::new()) };
    let mut ground = GroundFollower::new(info.size);
    let pictures = Pictures::open(&info, 0.0, f64::INFINITY, stretch / 125.0).unwrap();
    for picture in pictures {
        let picture = picture.unwrap();
        let time = Seconds(clock.real(picture.time.seconds()));
        ground.push(picture.index, time, &picture.pixels, Some(roi));
        watcher.push(picture.index, time, &picture.pixels);
    }
    (impact, watcher.finish(&ground.finish().output))
}
