//! One instant: from what the picture shows to golf axes to the measures.
//!
//! In: a camera and one instant's observations (pixels, statures). Out: the body in golf axes
//! (metres, origin at the camera), and from two such bodies the measures of MEASURES.md
//! (metres, radians). Pinhole camera: a point lies on the ray through its pixel, at the depth
//! where one stature is as many pixels as was seen (FACTS C1, C3).

use nalgebra::{Matrix3, SVector, Vector3};

use super::Measure;
use crate::body::Joint;
use crate::calibration::{Calibration, UNKNOWNS};
use crate::frames::{Attitude, Handed, Pixel};
use crate::lift::{Bearing, LiftedFrame, LiftedPoint};

/// Observations of one instant, see [`observe`].
pub(super) const CHANNELS: usize = 21;
/// Channels along the picture's x and y (lower hub, upper hub, head).
pub(super) const PIXEL_X: [usize; 3] = [0, 2, 5];
pub(super) const PIXEL_Y: [usize; 3] = [1, 3, 6];
/// Depth of upper hub and head behind the lower hub.
pub(super) const DEPTHS: [usize; 2] = [4, 7];
pub(super) const LOG_STATURE_PX: usize = 8;
/// First of the three components of each direction.
pub(super) const TRUNK: usize = 9;
pub(super) const SHOULDERS: usize = 12;
pub(super) const HIPS: usize = 15;
pub(super) const ARM: usize = 18;

pub(super) type Channels = SVector<f64, CHANNELS>;
pub(super) type Values = [f64; Measure::ALL.len()];

/// Values and sd of a frame's observations.
pub(super) fn observe(frame: &LiftedFrame) -> (Channels, Channels) {
    let (mut value, mut sd) = (Channels::zeros(), Channels::zeros());
    let mut put = |i: usize, v: f64, s: f64| {
        value[i] = v;
        sd[i] = s;
    };
    let joints = [Joint::LowerHub, Joint::UpperHub, Joint::Head];
    for (i, joint) in joints.into_iter().enumerate() {
        let LiftedPoint { at, sd: noise, depth } = frame.points[joint];
        put(PIXEL_X[i], at.x, noise.x);
        put(PIXEL_Y[i], at.y, noise.y);
        if i > 0 {
            put(DEPTHS[i - 1], depth.value, depth.sd);
        }
    }
    put(LOG_STATURE_PX, frame.log_stature_px.value, frame.log_stature_px.sd);
    let bearings = [
        (TRUNK, frame.trunk),
        (SHOULDERS, frame.shoulders),
        (HIPS, frame.hips),
        (ARM, frame.lead_arm),
    ];
    for (first, Bearing { vector, sd: noise }) in bearings {
        for k in 0..3 {
            put(first + k, vector.coords[k], noise.coords[k]);
        }
    }
    (value, sd)
}

/// Pitch, roll, azimuth, log focal length in pixels, log metres in a stature.
pub(super) type Theta = SVector<f64, UNKNOWNS>;

pub(super) fn theta(c: &Calibration) -> Theta {
    Theta::new(
        c.attitude.pitch,
        c.attitude.roll,
        c.attitude.azimuth,
        c.focal_px.ln(),
        c.stature_m.value.ln(),
    )
}

/// A camera ready for use.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lens {
    golf: Matrix3<f64>,
    focal: f64,
    metres: f64,
    centre: Pixel,
}

impl Lens {
    pub fn new(theta: &Theta, handed: Handed, centre: Pixel) -> Self {
        let attitude = Attitude { pitch: theta[0], roll: theta[1], azimuth: theta[2] };
        Self {
            golf: attitude.golf_from_camera(handed).0,
            focal: theta[3].exp(),
            metres: theta[4].exp(),
            centre,
        }
    }

    fn point(&self, x: f64, y: f64, depth: f64) -> Vector3<f64> {
        let ray =
            Vector3::new((x - self.centre.x) / self.focal, (y - self.centre.y) / self.focal, 1.0);
        self.golf * ray * (depth * self.metres)
    }

    /// Rough variance of lower hub, trunk, head from upper hub and the lines in golf axes.
    pub fn spread(&self, sd: &Channels) -> SVector<f64, 18> {
        let turn = self.golf.component_mul(&self.golf);
        let reach = self.metres * 2.0;
        let pixel = |i: usize| sd[i] / self.focal * reach;
        let lower = Vector3::new(pixel(0), pixel(1), sd[LOG_STATURE_PX] * reach);
        let line = |i: usize| Vector3::new(sd[i], sd[i + 1], sd[i + 2]) * self.metres;
        let head = Vector3::new(pixel(5), pixel(6), sd[7] * self.metres);
        let parts = [lower, line(TRUNK), head, line(SHOULDERS), line(HIPS), line(ARM)];
        SVector::from_iterator(parts.iter().flat_map(|p| {
            let v = turn * p.component_mul(p);
            [v.x, v.y, v.z]
        }))
    }

    /// The body at one instant.
    pub fn body(&self, c: &Channels) -> Body {
        let reach = self.focal / c[LOG_STATURE_PX].exp();
        let line = |i: usize| self.golf * Vector3::new(c[i], c[i + 1], c[i + 2]) * self.metres;
        Body {
            lower: self.point(c[0], c[1], reach),
            upper: self.point(c[2], c[3], reach + c[4]),
            head: self.point(c[5], c[6], reach + c[7]),
            trunk: line(TRUNK),
            shoulders: line(SHOULDERS),
            hips: line(HIPS),
            arm: line(ARM),
        }
    }
}

/// Points and lines of the body, golf axes, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Body {
    pub lower: Vector3<f64>,
    pub upper: Vector3<f64>,
    pub head: Vector3<f64>,
    /// Lower to upper hub.
    pub trunk: Vector3<f64>,
    /// Trail to lead.
    pub shoulders: Vector3<f64>,
    pub hips: Vector3<f64>,
    /// Lead shoulder to lead wrist.
    pub arm: Vector3<f64>,
}

impl Body {
    /// The body halfway between several.
    #[cfg(test)]
    pub fn mean(bodies: &[Self]) -> Self {
        let n = bodies.len() as f64;
        let of =
            |part: fn(&Self) -> Vector3<f64>| bodies.iter().map(part).sum::<Vector3<f64>>() / n;
        Self {
            lower: of(|b| b.lower),
            upper: of(|b| b.upper),
            head: of(|b| b.head),
            trunk: of(|b| b.trunk),
            shoulders: of(|b| b.shoulders),
            hips: of(|b| b.hips),
            arm: of(|b| b.arm),
        }
    }

    /// The measures of MEASURES.md against the body at address.
    pub fn measures(&self, address: &Self) -> Values {
        let travel = |now: Vector3<f64>, then: Vector3<f64>| now - then;
        let lower = travel(self.lower, address.lower);
        let upper = travel(self.upper, address.upper);
        let head = travel(self.head, address.head);
        let pelvis = wrap(heading(&self.hips) - heading(&address.hips));
        let thorax = wrap(heading(&self.shoulders) - heading(&address.shoulders));
        let slope = |v: &Vector3<f64>| (-v.z).atan2(v.x.abs());
        [
            lower.x,
            lower.y,
            lower.z,
            upper.x,
            upper.y,
            upper.z,
            head.x,
            head.y,
            head.z,
            self.trunk.x,
            (-self.trunk.x).atan2(self.trunk.z),
            self.trunk.y.atan2(self.trunk.z),
            pelvis,
            thorax,
            wrap(thorax - pelvis),
            self.arm.z.atan2(self.arm.xy().norm()),
            slope(&self.shoulders),
            slope(&self.hips),
        ]
    }
}

/// Where the lead side points, seen from above: + = toward the ball, so that turning away
/// from the target counts up for both hands.
fn heading(v: &Vector3<f64>) -> f64 {
    v.y.atan2(v.x)
}

/// An angle into -pi..pi.
pub(super) fn wrap(angle: f64) -> f64 {
    angle.sin().atan2(angle.cos())
}
