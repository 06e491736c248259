//! Against ONNX Runtime on landmarks of rendered swings (`fixtures/lift.json`, made by
//! `scripts/train_lift/fixture.py`), one left-handed.

use serde::Deserialize;

use super::*;
use crate::body::Joint;
use crate::frames::PictureSize;
use crate::keypoints::{GolferReading, LANDMARKS, Landmark, Roi};
use crate::track::{CameraMotion, PictureFromReference};
use crate::units::Confidence;

#[derive(Deserialize)]
struct Fixture {
    clips: Vec<Clip>,
}

#[derive(Deserialize)]
struct Clip {
    handed: Handed,
    network: String,
    width: u32,
    height: u32,
    landmarks: Vec<Vec<[f64; 8]>>,
    roi: Vec<[f64; 4]>,
    person: Vec<f64>,
    /// Empty where the golfer network was not asked.
    golfer: Vec<Vec<f32>>,
    want: Want,
}

#[derive(Deserialize)]
struct Want {
    at: Vec<Vec<[f64; 2]>>,
    depth: Vec<Vec<f64>>,
    log_stature_px: Vec<f64>,
    vectors: Vec<[[f64; 3]; 4]>,
    vector_sd: Vec<[[f64; 3]; 4]>,
    camera: [f64; 4],
    camera_sd: [f64; 4],
}

fn fixture() -> Fixture {
    serde_json::from_str(include_str!("../../fixtures/lift.json")).unwrap()
}

fn landmarks(clip: &Clip, frame: usize) -> Landmarks {
    let score = |v: f64| Confidence::new(v.clamp(0.0, 1.0)).unwrap();
    let points: [Landmark; LANDMARKS] = std::array::from_fn(|k| {
        let [x, y, z, visibility, presence, wx, wy, wz] = clip.landmarks[frame][k];
        Landmark {
            at: Pixel::new(x, y),
            z,
            visibility: score(visibility),
            presence: score(presence),
            world: [wx, wy, wz],
        }
    });
    let [x, y, side, rotation] = clip.roi[frame];
    Landmarks {
        points,
        person: score(clip.person[frame]),
        roi: Roi { centre: Pixel::new(x, y), side, rotation },
        golfer: clip.golfer.get(frame).map(reading),
    }
}

fn reading(values: &Vec<f32>) -> GolferReading {
    GolferReading(values.as_slice().try_into().map(Box::new).unwrap())
}

fn track(clip: &Clip) -> Track {
    let frames = (0..clip.roi.len()).map(|i| TrackedFrame {
        time: Seconds(f64::from(u32::try_from(i).unwrap()) / 30.0),
        index: i,
        presence: Presence::Seen,
        landmarks: Some(landmarks(clip, i)),
        camera: PictureFromReference::STILL,
    });
    Track {
        size: PictureSize { width: clip.width, height: clip.height },
        frames: frames.collect(),
        motion: CameraMotion::Still,
    }
}

fn accuracy(clip: &Clip) -> Accuracy {
    if clip.network == "heavy" { Accuracy::Heavy } else { Accuracy::Full }
}

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() < tolerance, "{what}: got {got}, want {want}");
}

/// The fixture rounds pixels and statures to a few 1e-4; single precision adds about as much.
#[test]
fn agrees_with_onnx_runtime_for_both_hands_and_networks() {
    let corrector = Corrector::load().unwrap();
    for clip in fixture().clips {
        let got = lift(&track(&clip), clip.handed, accuracy(&clip), &corrector).unwrap();
        for (i, frame) in got.frames.iter().enumerate() {
            for joint in Joint::ALL {
                let [x, y] = clip.want.at[i][joint as usize];
                close(frame.points[joint].at.x, x, 0.1, "x, px");
                close(frame.points[joint].at.y, y, 0.1, "y, px");
                if joint != Joint::LowerHub {
                    close(
                        frame.points[joint].depth.value,
                        clip.want.depth[i][joint as usize],
                        5e-4,
                        "depth",
                    );
                }
            }
            close(frame.log_stature_px.value, clip.want.log_stature_px[i], 5e-4, "stature");
            for (k, b) in
                [frame.trunk, frame.shoulders, frame.hips, frame.lead_arm].iter().enumerate()
            {
                for (axis, (v, sd)) in b.vector.coords.iter().zip(b.sd.coords.iter()).enumerate() {
                    close(*v, clip.want.vectors[i][k][axis], 5e-4, "vector");
                    close(*sd, clip.want.vector_sd[i][k][axis], 5e-4, "vector sd");
                }
            }
        }
        let camera = [got.camera.pitch, got.camera.roll, got.camera.azimuth, got.camera.log_focal];
        for (got, (want, sd)) in camera.iter().zip(clip.want.camera.iter().zip(clip.want.camera_sd))
        {
            close(got.value, *want, 1e-3, "camera");
            close(got.sd, sd, 1e-3, "camera sd");
        }
    }
}

#[test]
fn a_mirrored_clip_with_the_other_hand_gives_the_mirrored_answer() {
    let corrector = Corrector::load().unwrap();
    let clip = &fixture().clips[0];
    let there = lift(&track(clip), Handed::Left, Accuracy::Full, &corrector).unwrap();
    let mut flipped = track(clip);
    let width = f64::from(clip.width);
    for frame in &mut flipped.frames {
        let marks = frame.landmarks.as_mut().unwrap();
        // landmarks are on pixel indices: x -> width - 1 - x
        marks.roi.centre.x = width - 1.0 - marks.roi.centre.x;
        marks.roi.rotation = -marks.roi.rotation;
        // the golfer network is shown left-handers in the mirror: its numbers stay
        let before = marks.points;
        for i in 0..LANDMARKS {
            marks.points[i] = before[Landmarks::partner(i)];
            marks.points[i].at.x = width - 1.0 - marks.points[i].at.x;
            marks.points[i].world[0] = -marks.points[i].world[0];
        }
    }
    let back = lift(&flipped, Handed::Right, Accuracy::Full, &corrector).unwrap();
    for (a, b) in there.frames.iter().zip(&back.frames) {
        close(
            a.points[Joint::UpperHub].at.x,
            width - b.points[Joint::UpperHub].at.x,
            0.02,
            "mirrored x",
        );
        close(a.shoulders.vector.x(), -b.shoulders.vector.x(), 1e-4, "mirrored shoulders");
        close(a.shoulders.vector.z(), b.shoulders.vector.z(), 1e-4, "depth of the shoulders");
    }
    close(there.camera.azimuth.value, back.camera.azimuth.value, 1e-4, "azimuth");
}

#[test]
fn a_clip_longer_than_one_set_keeps_its_order_and_nothing_depends_on_it() {
    let corrector = Corrector::load().unwrap();
    let clip = &fixture().clips[1];
    let short = track(clip);
    let mut long = short.clone();
    // every frame five times: 80 frames, two groups, each the same set of pictures over again
    long.frames =
        (0..80).map(|i| TrackedFrame { index: i, ..short.frames[i % 16].clone() }).collect();
    let one = lift(&short, clip.handed, Accuracy::Heavy, &corrector).unwrap();
    let many = lift(&long, clip.handed, Accuracy::Heavy, &corrector).unwrap();
    for (i, frame) in many.frames.iter().enumerate() {
        assert_eq!(frame.index, i);
        let want = &one.frames[i % 16];
        close(
            frame.points[Joint::LeadWrist].at.x,
            want.points[Joint::LeadWrist].at.x,
            3.0,
            "wrist",
        );
    }
}

#[test]
fn a_clip_with_hardly_a_golfer_is_refused_with_advice() {
    let corrector = Corrector::load().unwrap();
    let clip = &fixture().clips[0];
    let mut few = track(clip);
    few.frames.truncate(3);
    let error = lift(&few, clip.handed, Accuracy::Full, &corrector).unwrap_err();
    assert!(error.to_string().contains("whole swing"), "{error}");
}
