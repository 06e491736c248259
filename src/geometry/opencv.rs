//! What OpenCV made of synthetic cameras (`scripts/opencv_check.py`; its version is in the
//! file), and our camera beside it.

use approx::assert_relative_eq;
use nalgebra::{Matrix3, Vector3};

use super::pose::{Channels, LOG_STATURE_PX, Lens, Theta};
use crate::frames::{Attitude, Handed, PictureSize, Pixel};

#[derive(serde::Deserialize)]
pub(crate) struct Reference {
    pub opencv: String,
    pub cameras: Vec<Shot>,
    pub two_views: TwoViews,
    pub marks: Vec<Marks>,
}

/// One camera, points of the world and where it shows them.
#[derive(serde::Deserialize)]
pub(crate) struct Shot {
    pub size: [u32; 2],
    pub camera_matrix: [[f64; 3]; 3],
    pub dist_coeffs: [f64; 5],
    pub rotation: [[f64; 3]; 3],
    pub shift: [f64; 3],
    pub world: Vec<[f64; 3]>,
    pub pinhole: Vec<[f64; 2]>,
    pub distorted: Vec<[f64; 2]>,
    pub pixels: Vec<[f64; 2]>,
    pub normalised: Vec<[f64; 2]>,
}

/// A moving body's hubs and head before two cameras.
#[derive(serde::Deserialize)]
pub(crate) struct TwoViews {
    pub size: [u32; 2],
    pub times: Vec<f64>,
    pub focals: [f64; 2],
    pub rotations: [[[f64; 3]; 3]; 2],
    pub shifts: [[f64; 3]; 2],
    pub pixels: [Vec<[[f64; 2]; 3]>; 2],
    pub triangulated: Vec<[[f64; 3]; 3]>,
}

/// A camera's pose from marks.
#[derive(serde::Deserialize)]
pub(crate) struct Marks {
    pub size: [u32; 2],
    pub focal: f64,
    pub pixels: Vec<[f64; 2]>,
    pub rotation: [[f64; 3]; 3],
    pub shift: [f64; 3],
}

pub(crate) fn load() -> Reference {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/geometry/opencv.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub(crate) fn picture([width, height]: [u32; 2]) -> PictureSize {
    PictureSize { width, height }
}

/// OpenCV counts from the centre of the first pixel.
pub(crate) fn pixel([x, y]: [f64; 2]) -> Pixel {
    Pixel::new(x + 0.5, y + 0.5)
}

pub(crate) fn matrix(rows: &[[f64; 3]; 3]) -> Matrix3<f64> {
    Matrix3::from_fn(|i, k| rows[i][k])
}

/// Its world has y away from the ball.
pub(crate) fn golf([x, y, z]: [f64; 3]) -> Vector3<f64> {
    Vector3::new(x, -y, z)
}

/// The attitude of a camera that OpenCV turns by `rotation`: `Attitude::golf_from_camera` solved.
pub(crate) fn attitude(rotation: &[[f64; 3]; 3]) -> Attitude {
    let r = matrix(rotation);
    let (target, up) = (r.column(0), r.column(2));
    let pitch = (-up.z).asin();
    let ahead = (Vector3::z() - up * up.z).normalize();
    let right = ahead.cross(&up.into_owned());
    Attitude {
        pitch,
        roll: up.x.atan2(-up.y),
        azimuth: target.dot(&ahead).atan2(target.dot(&right)),
    }
}

#[test]
fn our_camera_axes_are_those_of_opencv() {
    let reference = load();
    println!("OpenCV {}", reference.opencv);
    for shot in &reference.cameras {
        let r = matrix(&shot.rotation);
        let ours = attitude(&shot.rotation).golf_from_camera(Handed::Right).0;
        let theirs = Matrix3::from_rows(&[
            r.column(0).transpose(),
            -r.column(1).transpose(),
            r.column(2).transpose(),
        ]);
        assert_relative_eq!(ours, theirs, epsilon = 1e-8);
    }
}

/// A pixel and how large a stature looks there give the point that OpenCV projected.
#[test]
fn a_point_that_opencv_projects_is_found_again() {
    for shot in load().cameras {
        let (centre, a) = (picture(shot.size).centre(), attitude(&shot.rotation));
        let [[fx, _, cx], [_, fy, cy], _] = shot.camera_matrix;
        let focal = (fx * fy).sqrt();
        let theta = Theta::new(a.pitch, a.roll, a.azimuth, focal.ln(), 0.0);
        let lens = Lens::new(&theta, Handed::Right, centre);
        let (r, t) = (matrix(&shot.rotation), Vector3::from(shot.shift));
        let stands = -r.transpose() * t;
        for (world, [u, v]) in shot.world.iter().zip(&shot.pinhole) {
            let mut seen = Channels::zeros();
            seen[0] = centre.x + focal * (u - cx) / fx;
            seen[1] = centre.y + focal * (v - cy) / fy;
            let depth = (r * Vector3::from(*world) + t).z;
            seen[LOG_STATURE_PX] = (focal / depth).ln();
            let found = lens.body(&seen).lower + golf(stands.into());
            assert_relative_eq!(found, golf(*world), epsilon = 1e-6);
        }
    }
}
