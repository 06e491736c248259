//! Everything that is known about the camera, as rows of one least-squares problem.
//!
//! In: the unknowns (pitch, roll, azimuth, log focal over the long side, log metres in a
//! stature; then [`Extra`] ones that several rows share and nobody asks for). Out: rows of
//! misfit and its sd. Lengths metres, camera axes, camera at the origin.

use nalgebra::Vector3;

use super::errors::ErrorModel;
use super::proportions::Standing;
use super::request::{CalibrationRequest, Segment};
use super::solve::Theta;
use super::{CalibrationError, UNKNOWNS};
use crate::frames::{Attitude, GolfFromCamera, Pixel};
use crate::lift::CameraGuess;
use crate::units::Estimate;

/// Stature of a grown person, metres: ANSUR II men 1.756 +- 0.069, women 1.629 +- 0.064
/// (FACTS B3), one of either.
const POPULATION_STATURE: Estimate = Estimate { value: 1.69, sd: 0.092 };
/// Log focal length over the long side of a phone's main camera, 24 to 28 mm equivalent and
/// cropped for video: 65 degrees, from 52 to 80. From memory, no source.
const PHONE_LOG_FOCAL: Estimate = Estimate { value: -0.243, sd: 0.22 };
/// How level people hold or stand a phone. The corrector sees most of it; common practice.
const LEVEL_SD: f64 = 0.12;
/// How far the line of the ankles may be from the target line, radians: open and closed
/// stances. Common practice, no source; weak on purpose, the corrector has seen the feet.
const FEET_SD: f64 = 0.17;
/// A rod laid along the target line lies to about this, radians (1 degree). Common practice.
pub(super) const ROD_SD: f64 = 0.017;
/// Ankle joints above the ground, statures: Winter's 0.039 is to the malleolus' tip on
/// average (FACTS B2); shoes add 2 cm.
const ANKLE_HEIGHT: Estimate = Estimate { value: 0.045, sd: 0.008 };
/// A stated field of view holds to about this share (stabilisation crops). Common practice.
const FOCAL_FACT_SD: f64 = 0.02;

/// The row that holds what the coach says of the pupil, not of the picture.
pub(super) const STATURE: &str = "the stature";
pub(super) const GROUND: &str = "a mark on the ground";
/// Marks lie within a few of these of the feet, metres. Weak on purpose.
const NEAR_FEET: f64 = 3.0;

/// Unknowns behind the camera's: what several rows have in common.
#[derive(Clone, Copy)]
pub(super) enum Extra {
    /// Ankle joints above the ground, statures.
    AnkleHeight = UNKNOWNS as isize,
    /// How much farther back the ankles stand than the corrector says, statures.
    AnkleDepth,
    /// Where the marks' own zero lies from the feet along target and ball, metres.
    ZeroTarget,
    ZeroBall,
    /// By how much the marks' own axes are turned from target toward ball, radians.
    Turn,
}

/// All unknowns together.
pub(super) const ALL: usize = UNKNOWNS + 5;

/// An end of a rod that was found by itself, along x and y, pixels: the line through hundreds of
/// crests is better, its ends are good to a pixel or two along it (`rod/scenes.rs`).
const FOUND_PX: f64 = 0.5;

/// One thing known: how far the unknowns miss it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub miss: f64,
    pub sd: f64,
    pub what: &'static str,
    /// The coach gave it.
    pub given: bool,
}

pub(super) struct Rows<'a> {
    guess: &'a CameraGuess,
    pub(super) standing: &'a Standing,
    pub(super) request: &'a CalibrationRequest,
    scale_sd: f64,
    /// Found by itself.
    rod: Option<Segment>,
}

/// Central differences of all rows by every unknown.
pub(super) fn unknowns(
    at: impl Fn(usize, f64) -> Result<Vec<Row>, CalibrationError>,
) -> Result<[Vec<f64>; ALL], CalibrationError> {
    const STEP: f64 = 1e-5;
    let mut slopes: [Vec<f64>; ALL] = Default::default();
    for (i, slope) in slopes.iter_mut().enumerate() {
        let (low, high) = (at(i, -STEP)?, at(i, STEP)?);
        *slope = low.iter().zip(&high).map(|(l, h)| (h.miss - l.miss) / (2.0 * STEP)).collect();
    }
    Ok(slopes)
}

/// The camera that a set of unknowns describes.
pub(super) struct Lens {
    pub focal_px: f64,
    pub centre: Pixel,
    pub golf: GolfFromCamera,
    pub metres: f64,
    extra: Theta,
}

impl Lens {
    pub fn extra(&self, which: Extra) -> f64 {
        self.extra[which as usize]
    }

    pub fn ray(&self, p: Pixel) -> Vector3<f64> {
        Vector3::new(
            (p.x - self.centre.x) / self.focal_px,
            (p.y - self.centre.y) / self.focal_px,
            1.0,
        )
    }

    pub fn up(&self) -> Vector3<f64> {
        self.golf.0.row(2).transpose()
    }

    /// A lifted point: its pixel and depth behind the lower hub in statures.
    fn place(&self, p: Pixel, depth: f64, log_stature_px: f64) -> Vector3<f64> {
        let z = self.focal_px / log_stature_px.exp() + depth;
        self.ray(p) * (z * self.metres)
    }
}

impl<'a> Rows<'a> {
    pub fn new(
        guess: &'a CameraGuess,
        standing: &'a Standing,
        request: &'a CalibrationRequest,
        errors: &ErrorModel,
    ) -> Self {
        let size = errors.log_stature_px;
        let scale_sd = standing.log_stature_px.sd * size.common.sqrt();
        Self { guess, standing, request, scale_sd, rod: None }
    }

    /// The same with a rod along the target line.
    pub fn with_rod(self, rod: Segment) -> Self {
        Self { rod: Some(rod), ..self }
    }

    /// Where a point of the picture lies on the ground from the feet, along target and ball.
    pub fn place_on_ground(&self, theta: &Theta, p: Pixel) -> Option<[f64; 2]> {
        let lens = self.lens(theta);
        let at = self.on_ground(&lens, p, GROUND).ok()?;
        let golf = lens.golf.0 * (at - self.feet_middle(&lens));
        Some([golf.x, golf.y])
    }

    pub fn start(&self) -> Theta {
        let g = self.guess;
        let stature = self.request.stature.unwrap_or(POPULATION_STATURE).value;
        let mut theta = Theta::zeros();
        for (slot, value) in theta.iter_mut().zip([
            g.pitch.value,
            g.roll.value,
            g.azimuth.value,
            g.log_focal.value,
            stature.ln(),
            ANKLE_HEIGHT.value,
        ]) {
            *slot = value;
        }
        if let Some(mark) = self.request.ground.first()
            && let Some([target, ball]) = self.place_on_ground(&theta, mark.at)
        {
            theta[Extra::ZeroTarget as usize] = target - mark.target_m;
            theta[Extra::ZeroBall as usize] = ball - mark.ball_m;
        }
        theta
    }

    fn lens(&self, theta: &Theta) -> Lens {
        let attitude = Attitude { pitch: theta[0], roll: theta[1], azimuth: theta[2] };
        Lens {
            focal_px: theta[3].exp() * self.request.size.long(),
            centre: self.request.size.centre(),
            golf: attitude.golf_from_camera(self.request.handed),
            metres: theta[4].exp(),
            extra: *theta,
        }
    }

    /// # Errors
    /// When a mark that should lie on the ground does not.
    pub fn at(&self, theta: &Theta) -> Result<Vec<Row>, CalibrationError> {
        let lens = self.lens(theta);
        let mut rows = self.priors(theta);
        rows.push(self.feet(&lens));
        if let Some(facts) = self.request.camera.and_then(|c| c.distance) {
            rows.push(self.distance(&lens, facts));
        }
        if let Some(marks) = self.request.vertical {
            rows.push(self.vertical(&lens, marks));
        }
        if let Some(marks) = self.request.target_line {
            rows.push(self.target_line(&lens, marks, self.request.mark_sd())?);
        }
        if let Some(rod) = self.rod {
            let row = self.target_line(&lens, rod, FOUND_PX)?;
            rows.push(Row { what: "the rod on the ground", given: false, ..row });
        }
        for reference in &self.request.references {
            rows.extend(self.reference(&lens, reference)?);
        }
        for mark in &self.request.ground {
            rows.extend(self.ground(&lens, mark)?);
        }
        Ok(rows)
    }

    fn priors(&self, theta: &Theta) -> Vec<Row> {
        let g = self.guess;
        let own = |i: usize, e: Estimate, what| Row {
            miss: theta[i] - e.value,
            sd: e.sd,
            what,
            given: false,
        };
        let mut rows = vec![
            own(0, g.pitch, "the camera's tilt"),
            own(1, g.roll, "the camera's roll"),
            own(2, g.azimuth, "the camera's aim"),
            own(3, g.log_focal, "the focal length"),
            own(0, Estimate::new(0.0, LEVEL_SD), "the camera's tilt"),
            own(1, Estimate::new(0.0, LEVEL_SD), "the camera's roll"),
        ];
        let stature = self.request.stature.unwrap_or(POPULATION_STATURE);
        let sd = (stature.sd / stature.value).hypot(self.scale_sd);
        let given = self.request.stature.is_some();
        rows.push(Row { given, ..own(4, Estimate::new(stature.value.ln(), sd), STATURE) });
        let fov = self.request.camera.map(|c| {
            let log_focal = (0.5 / (c.field_of_view.0 / 2.0).tan()).ln();
            Row {
                given: true,
                ..own(3, Estimate::new(log_focal, FOCAL_FACT_SD), "the field of view")
            }
        });
        let metadata = self.request.log_focal.map(|e| own(3, e, "the focal length in the file"));
        let known = fov.is_some() || metadata.is_some();
        rows.extend(fov.into_iter().chain(metadata));
        if !known {
            rows.push(own(3, PHONE_LOG_FOCAL, "the focal length"));
        }
        let blur = self.ankle_blur();
        let height = Estimate::new(ANKLE_HEIGHT.value, ANKLE_HEIGHT.sd.hypot(blur[0]));
        let near = Estimate::new(0.0, NEAR_FEET);
        rows.extend([
            own(Extra::AnkleHeight as usize, height, "the ankles' height"),
            own(Extra::AnkleDepth as usize, Estimate::new(0.0, blur[1]), "the ankles' depth"),
            own(Extra::ZeroTarget as usize, near, GROUND),
            own(Extra::ZeroBall as usize, near, GROUND),
            own(Extra::Turn as usize, Estimate::new(0.0, ROD_SD), GROUND),
        ]);
        rows
    }

    fn ankle(&self, lens: &Lens, i: usize) -> Vector3<f64> {
        let ankle = &self.standing.ankles[i];
        let depth = ankle.depth.value + lens.extra(Extra::AnkleDepth);
        lens.place(ankle.at, depth, self.standing.log_stature_px.value)
    }

    /// Sd of the ankles' middle along the picture's height and in depth, statures: errors of the
    /// two hang together, so that the middle is no better than one.
    fn ankle_blur(&self) -> [f64; 2] {
        let [lead, trail] = &self.standing.ankles;
        let height = f64::midpoint(lead.sd.y, trail.sd.y);
        let depth = f64::midpoint(lead.depth.sd, trail.depth.sd);
        [height / self.standing.log_stature_px.value.exp(), depth.max(1e-6)]
    }

    pub(super) fn feet_middle(&self, lens: &Lens) -> Vector3<f64> {
        (self.ankle(lens, 0) + self.ankle(lens, 1)) / 2.0
    }

    /// The lead ankle lies on the target's side of the trail ankle, along the target line.
    fn feet(&self, lens: &Lens) -> Row {
        let line = lens.golf.0 * (self.ankle(lens, 0) - self.ankle(lens, 1));
        let blur = self.standing.ankles.iter().map(|a| a.depth.sd.powi(2)).sum::<f64>().sqrt();
        let noise = blur * lens.metres / line.xy().norm().max(0.1);
        Row {
            miss: line.y.atan2(line.x),
            sd: FEET_SD.hypot(noise),
            what: "the line of the feet",
            given: false,
        }
    }

    fn distance(&self, lens: &Lens, stated: Estimate) -> Row {
        let feet = self.feet_middle(lens);
        let along_ground = feet - lens.up() * feet.dot(&lens.up());
        Row {
            miss: along_ground.norm() - stated.value,
            sd: stated.sd,
            what: "the camera's distance",
            given: true,
        }
    }
}
