//! A clip filmed through a lens that bends gives the swing of the straight one when its
//! calibration is given, and another camera without it. A fixture's pictures are turned, as by a
//! camera that aims past the golfer, and bent by Zhang's model, written out here anew (the
//! inverse by fixed-point steps, as OpenCV does it).

mod common;

use std::path::Path;
use std::process::Command;

use common::apart;
use hubgauge::calibration::{Place, View};
use hubgauge::geometry::Measure;
use hubgauge::options::{Clip, Options};
use hubgauge::run::{Measurement, evaluate, measure};
use nalgebra::{Rotation3, Vector3};

const SIZE: [usize; 2] = [720, 1280];
/// The camera that rendered the fixture, and the ends of the rod before it, metres in its axes
/// (`P` and `rod_ends` of its truth).
const TRUE_FOCAL: f64 = 1004.5988;
const ROD: [[f64; 3]; 2] = [[-0.5902, -0.5758, 0.0055], [0.6098, -0.5758, 0.0055]];
/// An upright post beside the golfer, near the picture's edge.
const POST: [[f64; 3]; 2] = [[0.9, -0.2, 0.0], [0.9, -0.2, 0.9]];
const ROD_LENGTH: &str = "1.2m";
const FILMED: [[f64; 4]; 3] = [
    [1009.49074, 345.07853, -25.8447, 1234.91178],
    [1.1768, 586.58829, -1036.69257, 3141.58622],
    [0.01394, 0.99853, -0.05234, 3.54982],
];
/// Aimed past the golfer, degrees to the side and up.
const AIM_DEG: [f64; 2] = [-4.0, 6.0];
/// A lens as bent as those of the published examples (FACTS C11, C12), its axis off the middle;
/// OpenCV's coordinates.
const FOCAL: [f64; 2] = [1042.0, 1039.0];
const AXIS: [f64; 2] = [351.8, 648.3];
const BENDS: [f64; 4] = [-0.30, 0.09, 0.0012, -0.0008];
/// Copying pixels to the nearest of a picture this many times as large bends it to within
/// half of one of those.
const FINE: usize = 3;

/// The rest is the pose network's, which reads another picture: see tests/repeat.rs.
const BOUNDS: [(&[Measure], f64); 3] = [
    (
        &[
            Measure::LowerHubTarget,
            Measure::LowerHubUp,
            Measure::UpperHubTarget,
            Measure::UpperHubUp,
            Measure::HubOffset,
        ],
        0.9,
    ),
    (&[Measure::SpineTilt, Measure::LeadArm], 2.0),
    (&[Measure::PelvisTurn, Measure::ThoraxTurn], 4.0),
];

struct Filming {
    name: &'static str,
    focal: [f64; 2],
    axis: [f64; 2],
    bends: [f64; 4],
}

impl Filming {
    const STRAIGHT: Self =
        Self { name: "straight", focal: [TRUE_FOCAL; 2], axis: [359.5, 639.5], bends: [0.0; 4] };
    const BENT: Self = Self { name: "bent", focal: FOCAL, axis: AXIS, bends: BENDS };

    /// What bends a point sideways and by how much it is stretched.
    fn bend(&self, u: f64, v: f64) -> (f64, [f64; 2]) {
        let [k1, k2, p1, p2] = self.bends;
        let r = u * u + v * v;
        let side =
            [2.0 * p1 * u * v + p2 * (r + 2.0 * u * u), p1 * (r + 2.0 * v * v) + 2.0 * p2 * u * v];
        (1.0 + k1 * r + k2 * r * r, side)
    }

    /// The pixel of the fixture that is seen at this pixel.
    fn source(&self, x: f64, y: f64) -> [f64; 2] {
        let at = [x - 0.5 - self.axis[0], y - 0.5 - self.axis[1]];
        let goal = [at[0] / self.focal[0], at[1] / self.focal[1]];
        let [mut u, mut v] = goal;
        for _ in 0..40 {
            let (stretch, side) = self.bend(u, v);
            (u, v) = ((goal[0] - side[0]) / stretch, (goal[1] - side[1]) / stretch);
        }
        let ray = aim() * Vector3::new(u, v, 1.0);
        [360.0 + TRUE_FOCAL * ray.x / ray.z, 640.0 + TRUE_FOCAL * ray.y / ray.z]
    }

    /// Where a point of the world is seen.
    fn seen(&self, world: [f64; 3]) -> [f64; 2] {
        let [x, y, z] = FILMED.map(|[a, b, c, d]| a * world[0] + b * world[1] + c * world[2] + d);
        let ray = Vector3::new((x / z - 360.0) / TRUE_FOCAL, (y / z - 640.0) / TRUE_FOCAL, 1.0);
        let ray = aim().inverse() * ray;
        let (u, v) = (ray.x / ray.z, ray.y / ray.z);
        let (stretch, side) = self.bend(u, v);
        let on = |axis: usize, at: f64| {
            self.axis[axis] + 0.5 + self.focal[axis] * (at * stretch + side[axis])
        };
        [on(0, u), on(1, v)]
    }

    /// For every pixel of the fine picture the column (or row) of the fixture, 16-bit PGM.
    fn maps(&self) -> [Vec<u8>; 2] {
        let [width, height] = SIZE.map(|s| s * FINE);
        let head = format!("P5\n{width} {height}\n65535\n").into_bytes();
        let mut maps = [head.clone(), head];
        let middle = |i: usize| (i as f64 + 0.5) / FINE as f64;
        for j in 0..height {
            for i in 0..width {
                let at = self.source(middle(i), middle(j));
                for (axis, map) in maps.iter_mut().enumerate() {
                    let last = (SIZE[axis] * FINE - 1) as f64;
                    let index = (at[axis] * FINE as f64).floor().clamp(0.0, last);
                    map.extend((index as u16).to_be_bytes());
                }
            }
        }
        maps
    }

    /// Writes the clip and its lens file.
    fn film(&self, folder: &Path) {
        let clip =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/clips/p1_before_faceon.mp4");
        for (map, name) in self.maps().iter().zip(["x.pgm", "y.pgm"]) {
            std::fs::write(folder.join(name), map).unwrap();
        }
        let bend = format!(
            "[0:v]scale=iw*{FINE}:ih*{FINE},format=yuv444p[fine];[fine][1:v][2:v]remap[bent];\
             [bent]scale=iw/{FINE}:ih/{FINE}:flags=area,format=yuv420p[v]"
        );
        let made = Command::new("ffmpeg")
            .args(["-v", "error", "-i"])
            .arg(&clip)
            .args(["-i", "x.pgm", "-i", "y.pgm", "-lavfi", &bend, "-map", "[v]", "-map", "0:a?"])
            .args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "14", "-c:a", "copy"])
            .arg(format!("{}.mp4", self.name))
            .current_dir(folder)
            .status();
        assert!(made.expect("the tests need the ffmpeg program (scripts/prepare)").success());
        let [[fx, fy], [cx, cy]] = [self.focal, self.axis];
        let lens = serde_json::json!({
            "image_size": SIZE, "dist_coeffs": self.bends,
            "camera_matrix": [[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]],
        });
        std::fs::write(folder.join(format!("{}.json", self.name)), lens.to_string()).unwrap();
    }

    fn options(&self, folder: &Path, with_lens: bool) -> Options {
        let clip = folder.join(format!("{}.mp4", self.name));
        let mut options = Options::new(vec![Clip::new(clip, Some(View::FaceOn))]).unwrap();
        if with_lens {
            let lens = folder.join(format!("{}.json", self.name));
            options.set_lens(&lens.display().to_string()).unwrap();
        }
        options
    }
}

fn aim() -> Rotation3<f64> {
    let [side, up] = AIM_DEG.map(f64::to_radians);
    Rotation3::from_axis_angle(&Vector3::y_axis(), side)
        * Rotation3::from_axis_angle(&Vector3::x_axis(), up)
}

fn with_stature(mut options: Options) -> Options {
    options.set_stature("179cm").unwrap();
    options
}

/// What marks say: the stature by the rod, metres, and the camera's roll by a post, degrees.
fn by_marks(filming: &Filming, seen: &Measurement, mut options: Options) -> [f64; 2] {
    let line = |ends: [[f64; 3]; 2]| {
        let [[ax, ay], [bx, by]] = ends.map(|end| filming.seen(end));
        format!("{ax},{ay},{bx},{by}")
    };
    options.set_reference(&line(ROD), ROD_LENGTH, Place::BallLine).unwrap();
    options.set_vertical(&line(POST)).unwrap();
    let again = evaluate::evaluate(&seen.observed, &options, Vec::new()).unwrap();
    let calibration = &again.views[0].calibration;
    [calibration.stature_m.value, calibration.attitude.roll.to_degrees()]
}

#[test]
fn a_bent_clip_with_its_lens_gives_the_straight_clips_swing() {
    let folder = tempfile::tempdir().unwrap();
    let look = |filming: &Filming, with_lens: bool| {
        let options = with_stature(filming.options(folder.path(), with_lens));
        let seen = measure(&options).unwrap();
        let marks = by_marks(filming, &seen, filming.options(folder.path(), with_lens));
        (seen, marks)
    };
    let all = [Filming::STRAIGHT, Filming::BENT];
    all.iter().for_each(|filming| filming.film(folder.path()));
    let (straight, true_marks) = look(&all[0], true);
    let (bent, marks) = look(&all[1], true);
    let (_, without) = look(&all[1], false);
    println!("stature and roll: {true_marks:.3?}, bent {marks:.3?}, without lens {without:.3?}");
    let mut missed = Vec::new();
    for (measures, bound) in BOUNDS {
        let (most, event, m) = apart(&straight.evaluated.motion, &bent.evaluated.motion, measures);
        println!("{most:.2} of {bound} ({event:?} {m:?})");
        if most > bound {
            missed.push(format!("{most:.2} > {bound} ({event:?} {m:?})"));
        }
    }
    assert!(missed.is_empty(), "{missed:?}");
    // Reached: 0.8 % and 0.1 degrees with the lens, 1.1 degrees without. The stature by the rod is stated
    // to about 1.1 %, and the networks' own reading, which two encodings change by half a per cent, is most of
    // that: with three sets of networks it came out 0.5, 0.5 and 0.8 % off with the lens, 1.7, 0.7 and 0.5 without.
    let stature = |m: [f64; 2]| (m[0] / true_marks[0] - 1.0).abs();
    let roll = |m: [f64; 2]| (m[1] - true_marks[1]).abs();
    assert!(stature(marks) < 0.012 && roll(marks) < 0.3);
    assert!(roll(without) > 0.6);
    batch_gives_the_same(folder.path(), &bent);
}

/// `hubgauge batch --lens` measures as `measure --lens` does, to the last digit.
fn batch_gives_the_same(folder: &Path, measured: &Measurement) {
    std::fs::write(folder.join("m.csv"), "file,view\nbent.mp4,face-on\n").unwrap();
    let batch = Command::new(env!("CARGO_BIN_EXE_hubgauge"))
        .args(["batch", "m.csv", "--out", "out", "--stature", "179cm"])
        .args(["--lens", "face-on:bent.json"])
        .current_dir(folder)
        .status();
    assert!(batch.unwrap().success());
    let file = std::fs::read_dir(folder.join("out/results")).unwrap().next().unwrap().unwrap();
    let text = std::fs::read_to_string(file.path()).unwrap();
    assert_eq!(text, measured.result.to_json().unwrap());
}
