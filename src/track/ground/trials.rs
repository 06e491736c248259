//! Trials of the follower on invented pictures whose camera motion is known.

use std::io::Cursor;

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{DynamicImage, Rgb, RgbImage};
use nalgebra::{Matrix3, Rotation3, Vector3};

use crate::frames::{PictureSize, Pixel};
use crate::keypoints::Roi;
use crate::signal::real;
use crate::track::{CameraMotion, GroundMotion};
use crate::units::Seconds;
use crate::warning::Warned;

use super::{FOCAL, GroundFollower, project};

const SIZE: PictureSize = PictureSize { width: 360, height: 640 };
const FPS: f64 = 30.0;
const GOLFER: Roi = Roi { centre: Pixel { x: 180.0, y: 340.0 }, side: 300.0, rotation: 0.0 };

/// A number from 0 to 1 that belongs to a grid point.
fn chance(x: i64, y: i64, seed: i64) -> f64 {
    let mut h = x.wrapping_mul(0x9e37_79b9).wrapping_add(y.wrapping_mul(0x85eb_ca6b));
    h = (h ^ seed.wrapping_mul(0x27d4_eb2f)).wrapping_mul(0x2545_f491_4f6c_dd1d);
    h ^= h >> 29;
    h = h.wrapping_mul(0x1656_67b1_9e37_79f9);
    real(usize::try_from((h >> 20) & 0xffff).unwrap()) / 65535.0
}

/// Smooth noise of unit cells, 0..1.
fn noise(x: f64, y: f64, seed: i64) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let ease = |u: f64| u * u * (3.0 - 2.0 * u);
    let (u, v) = (ease(x - i), ease(y - j));
    #[expect(clippy::cast_possible_truncation)]
    let (i, j) = (i as i64, j as i64);
    let row = |j: i64| chance(i, j, seed) * (1.0 - u) + chance(i + 1, j, seed) * u;
    row(j) * (1.0 - v) + row(j + 1) * v
}

/// Leaves, bricks, grass: 70 to 190.
fn texture(p: Pixel) -> f64 {
    70.0 + 60.0 * noise(p.x / 23.0, p.y / 23.0, 1) + 60.0 * noise(p.x / 6.0, p.y / 6.0, 2)
}

/// What the scene shows at a point of the reference picture, at picture `i`.
type Scene<'a> = &'a dyn Fn(Pixel, usize) -> f64;

/// Somebody who sways to and fro in front of the texture and swings a bright bar.
fn busy(p: Pixel, i: usize) -> f64 {
    let sway = 40.0 * (0.3 * real(i)).sin();
    let (x, y) = (p.x - 180.0 - sway, p.y - 340.0);
    let bar = (x + 40.0 * (0.5 * real(i)).cos()).abs() < 6.0 && (-140.0..0.0).contains(&y);
    if bar {
        230.0
    } else if (x / 55.0).powi(2) + (y / 120.0).powi(2) < 1.0 {
        60.0 + 140.0 * noise(x / 7.0, y / 7.0, 3)
    } else {
        texture(p)
    }
}

/// The picture of a camera (`map` takes reference points to this picture), with noise and
/// what JPEG makes of it.
fn shot(scene: Scene, i: usize, map: &Matrix3<f64>) -> RgbImage {
    let back = map.try_inverse().unwrap();
    let picture = RgbImage::from_fn(SIZE.width, SIZE.height, |x, y| {
        let at = project(&back, Pixel::new(f64::from(x) + 0.5, f64::from(y) + 0.5));
        let grain = chance(i64::from(x), i64::from(y), 100 + i64::try_from(i).unwrap());
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let v = (scene(at, i) + 6.0 * (grain - 0.5)).round().clamp(0.0, 255.0) as u8;
        Rgb([v, v, v])
    });
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 60).encode_image(&picture).unwrap();
    DynamicImage::from_decoder(JpegDecoder::new(Cursor::new(bytes)).unwrap()).unwrap().into_rgb8()
}

fn run(scene: Scene, count: usize, map: &dyn Fn(usize) -> Matrix3<f64>) -> Warned<GroundMotion> {
    run_with(scene, count, map, Some(GOLFER))
}

fn run_with(
    scene: Scene,
    count: usize,
    map: &dyn Fn(usize) -> Matrix3<f64>,
    golfer: Option<Roi>,
) -> Warned<GroundMotion> {
    let mut follower = GroundFollower::new(SIZE);
    for i in 0..count {
        follower.push(i, Seconds(real(i) / FPS), &shot(scene, i, &map(i)), golfer);
    }
    follower.finish()
}

/// Pan, tilt, roll in radians and a scale.
fn turned(pan: f64, tilt: f64, roll: f64, scale: f64) -> Matrix3<f64> {
    let f = FOCAL * SIZE.long();
    let c = SIZE.centre();
    let k = Matrix3::new(f, 0.0, c.x, 0.0, f, c.y, 0.0, 0.0, 1.0);
    let zoom = Matrix3::new(scale, 0.0, 0.0, 0.0, scale, 0.0, 0.0, 0.0, 1.0);
    k * zoom * Rotation3::new(Vector3::new(tilt, pan, roll)).matrix() * k.try_inverse().unwrap()
}

/// Distance of the found from the true map at the golfer, worst of three places, pixels.
fn error(motion: &GroundMotion, i: usize, truth: &Matrix3<f64>) -> f64 {
    let places = [240.0, 340.0, 440.0].map(|y| Pixel::new(180.0, y));
    let miss = places.map(|p| motion.at(i).apply(p).distance(project(truth, p)));
    miss.into_iter().fold(0.0, f64::max)
}

fn steady(_: usize) -> Matrix3<f64> {
    Matrix3::identity()
}

#[test]
fn a_hand_held_camera_is_taken_out() {
    // Drifts by 40 pixels with a tremor on it, rolls and steps nearer by 2 %.
    let map = |i: usize| {
        let t = real(i) / FPS;
        let tremor = 0.003 * (2.0 * std::f64::consts::PI * 3.0 * t).sin();
        turned(0.05 * t + tremor, -0.03 * t, 0.01 * t, 1.0 + 0.01 * t)
    };
    let out = run(&busy, 30, &map);
    let CameraMotion::Compensated { residual_px } = out.output.motion else {
        panic!("{:?}", out.output.motion)
    };
    let errors: Vec<f64> = (0..30).map(|i| error(&out.output, i, &map(i))).collect();
    let worst = errors.iter().copied().fold(0.0, f64::max);
    assert!(worst < 0.1, "{worst}");
    // The stated sd (one axis) against the errors (two axes).
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / real(errors.len())).sqrt();
    assert!((0.3..3.0).contains(&(rms / (2f64.sqrt() * residual_px))), "{rms} {residual_px}");
    assert!((0..30).all(|i| out.output.covers(i)));
    assert_eq!(out.warnings.len(), 1);
}

/// Shifted by 22 pixels without the keystone that a turning camera would show: no turn fits
/// it to better than some per cent.
#[test]
fn a_plain_similarity_is_followed_too() {
    let map = |i: usize| {
        let (s, c) = (0.0008 * real(i)).sin_cos();
        let zoom = 1.0 + 0.0005 * real(i);
        let (s, c) = (zoom * s, zoom * c);
        Matrix3::new(c, -s, 0.6 * real(i), s, c, -0.4 * real(i), 0.0, 0.0, 1.0)
    };
    let out = run(&busy, 30, &map);
    assert!(matches!(out.output.motion, CameraMotion::Compensated { .. }));
    let worst = (0..30).map(|i| error(&out.output, i, &map(i))).fold(0.0, f64::max);
    assert!(worst < 1.0, "{worst}");
}

#[test]
fn a_tripod_is_still_exactly() {
    let out = run(&busy, 30, &steady);
    assert_eq!(out, Warned::clean(GroundMotion::still()));
    // Also without knowing where the golfer is.
    let out = run_with(&busy, 15, &steady, None);
    assert_eq!(out.output.motion, CameraMotion::Still);
}

#[test]
fn a_changed_exposure_is_no_motion() {
    let scene = |p: Pixel, i: usize| busy(p, i) * (1.0 - 0.01 * real(i));
    assert_eq!(run(&scene, 30, &steady).output.motion, CameraMotion::Still);
}

#[test]
fn a_bumped_tripod_is_taken_out_from_the_bump_on() {
    let map = |i: usize| if i < 20 { steady(i) } else { turned(0.02, 0.01, 0.005, 1.0) };
    let out = run(&busy, 40, &map);
    assert!(matches!(out.output.motion, CameraMotion::Compensated { .. }));
    let worst = (0..40).map(|i| error(&out.output, i, &map(i))).fold(0.0, f64::max);
    assert!(worst < 0.25, "{worst}");
}

#[test]
fn a_plain_wall_cannot_be_trusted_and_says_so() {
    let wall = |p: Pixel, i: usize| {
        if p.distance(GOLFER.centre) < 100.0 { busy(p, i) } else { 150.0 }
    };
    let out = run(&wall, 20, &steady);
    assert_eq!(out.output.motion, CameraMotion::Untrusted);
    assert!(out.warnings[0].text.contains("too plain"), "{:?}", out.warnings);
    assert!(out.output.covers(3));
}

#[test]
fn a_golfer_who_fills_the_picture_is_said() {
    let near = Roi { side: 1500.0, ..GOLFER };
    let out = run_with(&busy, 10, &steady, Some(near));
    assert_eq!(out.output.motion, CameraMotion::Untrusted);
    assert!(out.warnings[0].text.contains("fills"), "{:?}", out.warnings);
}

#[test]
fn a_camera_put_down_after_the_swing_leaves_a_hole() {
    let scene = |p: Pixel, i: usize| {
        if i < 30 { busy(p, i) } else { texture(Pixel::new(p.x + 777.0 * real(i), p.y)) }
    };
    let out = run(&scene, 42, &steady).output;
    assert_eq!(out.motion, CameraMotion::Still);
    assert!(out.covers(29) && !out.covers(33) && !out.covers(41));
}

#[test]
fn a_camera_that_never_rests_on_one_scene_cannot_be_trusted() {
    let scene = |p: Pixel, i: usize| texture(Pixel::new(p.x + 777.0 * real(i), p.y));
    let out = run(&scene, 30, &steady);
    assert_eq!(out.output.motion, CameraMotion::Untrusted);
    assert_eq!(out.warnings.len(), 1);
}

#[test]
fn somebody_who_walks_through_does_not_move_the_camera() {
    let scene = |p: Pixel, i: usize| {
        let x = p.x - (30.0 * real(i) - 250.0);
        if x.abs() < 110.0 && p.y > 60.0 {
            60.0 + 140.0 * noise(x / 9.0, p.y / 9.0, 5)
        } else {
            busy(p, i)
        }
    };
    let out = run(&scene, 40, &steady).output;
    assert_eq!(out.motion, CameraMotion::Still);
    assert!((0..40).all(|i| out.covers(i)));
}

#[test]
fn the_same_pictures_give_the_same_motion() {
    let map = |i: usize| turned(0.002 * real(i), 0.0, 0.0, 1.0);
    assert_eq!(run(&busy, 12, &map), run(&busy, 12, &map));
}

#[test]
fn fast_clips_are_followed_at_every_other_picture() {
    let map = |i: usize| turned(0.0005 * real(i), 0.0002 * real(i), 0.0, 1.0);
    let mut follower = GroundFollower::new(SIZE);
    for i in 0..60 {
        let time = Seconds(real(i) / 120.0);
        follower.push(i, time, &shot(&busy, i, &map(i)), Some(GOLFER));
    }
    let steps = follower.steps.len();
    let out = follower.finish().output;
    assert_eq!(steps, 30);
    // The last picture has no map of its own and keeps that of the one before.
    let worst = (0..59).map(|i| error(&out, i, &map(i))).fold(0.0, f64::max);
    assert!(worst < 0.25, "{worst}");
    assert!(out.covers(59));
}

#[test]
fn nothing_pushed_is_nothing_known() {
    let out = GroundFollower::new(SIZE).finish();
    assert_eq!(out.output.motion, CameraMotion::Untrusted);
}

/// The rendered clips, decoded by the ffmpeg command, against their true cameras. Folder in
/// HUBGAUGE_CLIPS; run with `cargo test --lib trials::rendered -- --ignored --nocapture`.
mod rendered {
    use super::*;
    use serde_json::Value;
    use std::io::Read;
    use std::process::{Command, Stdio};

    struct Clip {
        truth: Value,
        path: String,
    }

    impl Clip {
        fn open(name: &str) -> Self {
            let folder = std::env::var("HUBGAUGE_CLIPS").unwrap();
            let text = std::fs::read_to_string(format!("{folder}/{name}.json")).unwrap();
            Self {
                truth: serde_json::from_str(&text).unwrap(),
                path: format!("{folder}/{name}.mp4"),
            }
        }

        fn number(value: &Value) -> f64 {
            value.as_f64().unwrap()
        }

        fn point(&self, frame: usize, name: &str) -> [f64; 3] {
            let names = self.truth["point_names"].as_array().unwrap();
            let k = names.iter().position(|n| n == name).unwrap();
            std::array::from_fn(|axis| {
                Self::number(&self.truth["frames"]["points"][frame][k][axis])
            })
        }

        /// Pixel and distance of a world point seen by the camera of a frame.
        fn shoot(&self, frame: usize, at: [f64; 3]) -> (Pixel, f64) {
            let all = &self.truth["frames"]["P"];
            let p = if all.as_array().unwrap().len() > 1 { &all[frame] } else { &all[0] };
            let row = |r: usize| {
                (0..3).map(|c| Self::number(&p[r][c]) * at[c]).sum::<f64>() + Self::number(&p[r][3])
            };
            (Pixel::new(row(0) / row(2), row(1) / row(2)), row(2))
        }

        /// The motion found, and ms a picture (a tenth of the pictures is faster).
        fn follow(&self) -> (Warned<GroundMotion>, usize, f64) {
            let side = |i: usize| {
                let side = self.truth["camera"]["display_size"][i].as_u64().unwrap();
                u32::try_from(side).unwrap()
            };
            let size = PictureSize { width: side(0), height: side(1) };
            let mut child = Command::new("ffmpeg")
                .args(["-v", "error", "-i", &self.path, "-f", "rawvideo", "-pix_fmt", "rgb24"])
                .args(["-fps_mode", "passthrough", "-"])
                .stdout(Stdio::piped())
                .spawn()
                .unwrap();
            let mut pixels = child.stdout.take().unwrap();
            let mut follower = GroundFollower::new(size);
            let times = self.truth["frames"]["t"].as_array().unwrap();
            let (mut count, mut spent) = (0, Vec::new());
            let mut buffer = vec![0; (size.width * size.height * 3) as usize];
            while count < times.len() && pixels.read_exact(&mut buffer).is_ok() {
                let picture = RgbImage::from_raw(size.width, size.height, buffer.clone()).unwrap();
                let hip = self.shoot(count, self.point(count, "pelvis_centre")).0;
                let crown = self.shoot(0, self.point(0, "crown")).0;
                let side = 2.75 * self.shoot(0, self.point(0, "pelvis_centre")).0.distance(crown);
                let roi = Roi { centre: hip, side, rotation: 0.0 };
                let start = std::time::Instant::now();
                follower.push(count, Seconds(Clip::number(&times[count])), &picture, Some(roi));
                spent.push(1e3 * start.elapsed().as_secs_f64());
                count += 1;
            }
            spent.sort_by(f64::total_cmp);
            child.kill().ok();
            child.wait().unwrap();
            (follower.finish(), count, spent[count / 10])
        }
    }

    #[test]
    #[ignore = "needs the rendered clips and the ffmpeg command"]
    fn tripods_are_still() {
        for name in [
            "p1_before_faceon",
            "p1_before_dtl",
            "p1_after_faceon",
            "p1_after_dtl",
            "f1_left_faceon",
            "f1_hdr_rotated_dtl",
            "m1_slowmo240_faceon",
        ] {
            let (out, count, ms) = Clip::open(name).follow();
            println!("{name}: {count} pictures, {ms:.1} ms, {:?}", out.output.motion);
            assert_eq!(out, Warned::clean(GroundMotion::still()), "{name}");
        }
    }

    /// What is left on the golfer of the camera's motion, rms of one axis.
    struct Left {
        /// In the stated sd.
        ratio: f64,
        cm: f64,
    }

    /// Prints how far places on the golfer are off (rms of each axis) before and after; hips first.
    fn left_of(clip: &Clip) -> Option<Vec<Left>> {
        let (out, count, ms) = clip.follow();
        let CameraMotion::Compensated { residual_px } = out.output.motion else {
            println!("{}: {:?} {:?}", clip.path, out.output.motion, out.warnings);
            return None;
        };
        println!("{}: {count} pictures, {ms:.1} ms, stated {residual_px:.2} px", clip.path);
        let mut places = Vec::new();
        for name in ["pelvis_centre", "thorax_centre", "crown", "ankle.L"] {
            let here = clip.point(0, name);
            let (first, depth) = clip.shoot(0, here);
            let cm = 100.0 * depth / Clip::number(&clip.truth["camera"]["K"][0][0]);
            let (mut raw, mut left) = ([0.0; 2], [0.0; 2]);
            for i in 0..count {
                let truth = clip.shoot(i, here).0;
                let add = |sum: &mut [f64; 2], to: Pixel| {
                    sum[0] += (truth.x - to.x).powi(2) / real(count);
                    sum[1] += (truth.y - to.y).powi(2) / real(count);
                };
                add(&mut raw, first);
                add(&mut left, out.output.at(i).apply(first));
            }
            let show = |sum: [f64; 2]| sum.map(|v| (v.sqrt() * cm * 100.0).round() / 100.0);
            println!("  {name}: {:?} cm before, {:?} cm after", show(raw), show(left));
            let rms = ((left[0] + left[1]) / 2.0).sqrt();
            places.push(Left { ratio: rms / residual_px, cm: rms * cm });
        }
        Some(places)
    }

    #[test]
    #[ignore = "needs the rendered clips and the ffmpeg command"]
    fn the_hand_held_clip_is_taken_out_to_millimetres() {
        let left = left_of(&Clip::open("m1_handheld_faceon")).unwrap();
        assert!(left.iter().all(|l| 2f64.sqrt() * l.cm < 0.4));
        // The crown bends towards the camera, off the plane that the map and its sd are for: 3.1.
        let [hips, chest, _crown, ankle] = &left[..] else { panic!() };
        assert!([hips, chest, ankle].iter().all(|l| l.ratio < 3.0));
    }

    #[test]
    #[ignore = "needs the rendered clips and the ffmpeg command"]
    fn hand_held_clips_are_taken_out_to_millimetres() {
        let folder = std::env::var("HUBGAUGE_CLIPS").unwrap();
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.with_extension("mp4").exists())
            .filter_map(|path| path.file_stem()?.to_str().map(String::from))
            .collect();
        names.sort();
        names.dedup();
        let moving = |clip: &Clip| clip.truth["camera"]["moving"] == Value::Bool(true);
        let clips = names.iter().map(|name| Clip::open(name)).filter(moving);
        let hips = clips.filter_map(|clip| Some(left_of(&clip)?.swap_remove(0)));
        let (ratios, left): (Vec<f64>, Vec<f64>) = hips.map(|h| (h.ratio, h.cm)).unzip();
        let rms = (ratios.iter().map(|z| z * z).sum::<f64>() / real(ratios.len())).sqrt();
        println!("{} clips, left over stated: {rms:.2} rms, {ratios:.2?}", left.len());
        assert!(left.iter().all(|cm| *cm < 0.8), "{left:?}");
        assert!((0.4..2.5).contains(&rms), "{ratios:?}");
    }
}
