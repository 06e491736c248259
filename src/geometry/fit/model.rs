//! What a camera would see of a body: the one prediction that the fit is built on.
//!
//! In: a body's state (metres, golf axes, origin near the pelvis at address) and a camera
//! (pitch, roll, azimuth, log focal length in pixels, log metres in a stature; shift from the
//! place from which the lower hub at address is seen where it was seen, metres: so no turn
//! or zoom of the camera moves the body). Out: the observations of [`super::super::pose`] (pixels, statures).

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::super::pose::{ARM, Body, CHANNELS, Channels, HIPS, LOG_STATURE_PX, SHOULDERS, TRUNK};
use crate::frames::{Attitude, Handed, Pixel};

/// Lower hub, then trunk, head from upper hub, shoulders, hips, lead arm.
pub(in super::super) const STATE: usize = 18;
/// The five unknowns of a calibration and the position.
pub(super) const CAMERA: usize = 8;

pub(super) type State = SVector<f64, STATE>;
pub(super) type CameraState = SVector<f64, CAMERA>;

fn part(s: &State, i: usize) -> Vector3<f64> {
    Vector3::new(s[i], s[i + 1], s[i + 2])
}

/// What is fixed about a clip's camera.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    pub handed: Handed,
    pub centre: Pixel,
    /// Pixel and log stature in pixels of the lower hub at address.
    pub anchor: (Pixel, f64),
}

pub(super) fn body(s: &State) -> Body {
    let (lower, trunk) = (part(s, 0), part(s, 3));
    let upper = lower + trunk;
    Body {
        lower,
        upper,
        head: upper + part(s, 6),
        trunk,
        shoulders: part(s, 9),
        hips: part(s, 12),
        arm: part(s, 15),
    }
}

/// The state of a body with the origin moved to `origin`.
pub(super) fn state(b: &Body, origin: &Vector3<f64>) -> State {
    let parts = [b.lower - origin, b.trunk, b.head - b.upper, b.shoulders, b.hips, b.arm];
    State::from_iterator(parts.iter().flat_map(|p| p.iter().copied()))
}

pub(super) fn predict(s: &State, c: &CameraState, sight: &Sight) -> Channels {
    Placed::new(c, sight).predict(s)
}

/// A camera where it stands: what all bodies seen by it have in common.
struct Placed {
    camera: Matrix3<f64>,
    focal: f64,
    metres: f64,
    centre: Pixel,
    /// Where the body's origin is seen from, camera axes, metres.
    origin: Vector3<f64>,
    shift: Vector3<f64>,
}

impl Placed {
    fn new(c: &CameraState, sight: &Sight) -> Self {
        let Sight { handed, centre, anchor: (at, size) } = *sight;
        let attitude = Attitude { pitch: c[0], roll: c[1], azimuth: c[2] };
        let camera = attitude.golf_from_camera(handed).0.transpose();
        let (focal, metres) = (c[3].exp(), c[4].exp());
        let ray = Vector3::new((at.x - centre.x) / focal, (at.y - centre.y) / focal, 1.0);
        let origin = ray * (focal / size.exp() * metres);
        Self { camera, focal, metres, centre, origin, shift: Vector3::new(c[5], c[6], c[7]) }
    }

    fn predict(&self, s: &State) -> Channels {
        let Self { camera, focal, metres, centre, origin, shift } = self;
        let b = body(s);
        let [lower, upper, head] =
            [b.lower, b.upper, b.head].map(|p| origin + camera * (p - shift));
        let mut out = Channels::zeros();
        for (i, p) in [(0, lower), (2, upper), (5, head)] {
            out[i] = centre.x + focal * p.x / p.z;
            out[i + 1] = centre.y + focal * p.y / p.z;
        }
        out[4] = (upper.z - lower.z) / metres;
        out[7] = (head.z - lower.z) / metres;
        out[LOG_STATURE_PX] = (focal * metres / lower.z.max(0.1)).ln();
        for (first, v) in [(TRUNK, b.trunk), (SHOULDERS, b.shoulders), (HIPS, b.hips), (ARM, b.arm)]
        {
            let seen = camera * v / *metres;
            (0..3).for_each(|k| out[first + k] = seen[k]);
        }
        out
    }
}

/// Slopes of [`predict`] by the state and by the camera: central differences.
pub(super) fn slopes(
    s: &State,
    c: &CameraState,
    sight: &Sight,
) -> (SMatrix<f64, CHANNELS, STATE>, SMatrix<f64, CHANNELS, CAMERA>) {
    const STEP: f64 = 1e-5;
    let camera = Placed::new(c, sight);
    let by_state = SMatrix::from_columns(&std::array::from_fn::<_, STATE, _>(|i| {
        let (mut low, mut high) = (*s, *s);
        low[i] -= STEP;
        high[i] += STEP;
        (camera.predict(&high) - camera.predict(&low)) / (2.0 * STEP)
    }));
    let by_camera = SMatrix::from_columns(&std::array::from_fn::<_, CAMERA, _>(|i| {
        let (mut low, mut high) = (*c, *c);
        low[i] -= STEP;
        high[i] += STEP;
        (predict(s, &high, sight) - predict(s, &low, sight)) / (2.0 * STEP)
    }));
    (by_state, by_camera)
}
