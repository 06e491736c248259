//! Everything that is known about the camera, as rows of one least-squares problem.
//!
//! In: the unknowns (pitch, roll, azimuth, log focal over the long side, log metres in a
//! stature). Out: rows of misfit and its sd. Lengths metres, camera axes, camera at the origin.

use nalgebra::Vector3;

use super::errors::ErrorModel;
use super::proportions::Standing;
use super::request::{CalibrationRequest, Place, Reference, Segment};
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
/// A wall or a post is plumb to about this, radians (0.3 degrees). Common practice.
const PLUMB_SD: f64 = 0.005;
/// A rod laid along the target line lies to about this, radians (1 degree). Common practice.
const ROD_SD: f64 = 0.017;
/// Ankle joints above the ground, statures: Winter's 0.039 is to the malleolus' tip on
/// average (FACTS B2); shoes add 2 cm.
const ANKLE_HEIGHT: Estimate = Estimate { value: 0.045, sd: 0.008 };
/// Toes in front of the ankles, statures: foot length 0.152 less the heel (FACTS B2).
const TOES_FRONT: Estimate = Estimate { value: 0.105, sd: 0.02 };
/// Ball in front of the ankles, metres: wedge to driver. Common practice, no source.
const BALL_FRONT: Estimate = Estimate { value: 0.72, sd: 0.12 };
/// A stated distance in front of the feet, metres.
const STATED_FRONT_SD: f64 = 0.03;
/// A stated field of view holds to about this share (stabilisation crops). Common practice.
const FOCAL_FACT_SD: f64 = 0.02;

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
    standing: &'a Standing,
    request: &'a CalibrationRequest,
    scale_sd: f64,
}

/// Central differences of all rows by every unknown.
pub(super) fn unknowns(
    at: impl Fn(usize, f64) -> Result<Vec<Row>, CalibrationError>,
) -> Result<[Vec<f64>; UNKNOWNS], CalibrationError> {
    const STEP: f64 = 1e-5;
    let mut slopes: [Vec<f64>; UNKNOWNS] = Default::default();
    for (i, slope) in slopes.iter_mut().enumerate() {
        let (low, high) = (at(i, -STEP)?, at(i, STEP)?);
        *slope = low.iter().zip(&high).map(|(l, h)| (h.miss - l.miss) / (2.0 * STEP)).collect();
    }
    Ok(slopes)
}

/// The camera that a set of unknowns describes.
struct Lens {
    focal_px: f64,
    centre: Pixel,
    golf: GolfFromCamera,
    metres: f64,
}

impl Lens {
    fn ray(&self, p: Pixel) -> Vector3<f64> {
        Vector3::new(
            (p.x - self.centre.x) / self.focal_px,
            (p.y - self.centre.y) / self.focal_px,
            1.0,
        )
    }

    fn up(&self) -> Vector3<f64> {
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
        Self { guess, standing, request, scale_sd }
    }

    pub fn start(&self) -> Theta {
        let g = self.guess;
        let stature = self.request.stature.unwrap_or(POPULATION_STATURE).value;
        Theta::new(g.pitch.value, g.roll.value, g.azimuth.value, g.log_focal.value, stature.ln())
    }

    /// # Errors
    /// When a mark that should lie on the ground does not.
    pub fn at(&self, theta: &Theta) -> Result<Vec<Row>, CalibrationError> {
        let attitude = Attitude { pitch: theta[0], roll: theta[1], azimuth: theta[2] };
        let lens = Lens {
            focal_px: theta[3].exp() * self.request.size.long(),
            centre: self.request.size.centre(),
            golf: attitude.golf_from_camera(self.request.handed),
            metres: theta[4].exp(),
        };
        let mut rows = self.priors(theta);
        rows.push(self.feet(&lens));
        if let Some(facts) = self.request.camera.and_then(|c| c.distance) {
            rows.push(self.distance(&lens, facts));
        }
        if let Some(marks) = self.request.vertical {
            rows.push(self.vertical(&lens, marks));
        }
        if let Some(marks) = self.request.target_line {
            rows.push(self.target_line(&lens, marks)?);
        }
        for reference in &self.request.references {
            rows.extend(self.reference(&lens, reference)?);
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
        rows.push(Row { given, ..own(4, Estimate::new(stature.value.ln(), sd), "the stature") });
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
        rows
    }

    fn ankle(&self, lens: &Lens, i: usize) -> Vector3<f64> {
        let ankle = &self.standing.ankles[i];
        lens.place(ankle.at, ankle.depth.value, self.standing.log_stature_px.value)
    }

    fn feet_middle(&self, lens: &Lens) -> Vector3<f64> {
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
        let own = self.scale_sd * stated.value;
        Row {
            miss: along_ground.norm() - stated.value,
            sd: stated.sd.hypot(own),
            what: "the camera's distance",
            given: true,
        }
    }

    /// The plane through the lens and the line contains the vertical.
    fn vertical(&self, lens: &Lens, marks: Segment) -> Row {
        let miss = |m: Segment| {
            let plane = lens.ray(m.from).cross(&lens.ray(m.to)).normalize();
            plane.dot(&lens.up()).asin()
        };
        let sd = self.mark_noise(marks, |m| Ok(miss(m))).unwrap_or(PLUMB_SD);
        Row { miss: miss(marks), sd: sd.hypot(PLUMB_SD), what: "the vertical", given: true }
    }

    /// Where the ray through a pixel meets the ground.
    fn on_ground(
        &self,
        lens: &Lens,
        p: Pixel,
        what: &'static str,
    ) -> Result<Vector3<f64>, CalibrationError> {
        let up = lens.up();
        let below = self.feet_middle(lens).dot(&up) - ANKLE_HEIGHT.value * lens.metres;
        let ray = lens.ray(p);
        let reach = below / ray.dot(&up);
        if !(reach > 0.0 && reach < 200.0) {
            return Err(CalibrationError::NotOnGround { what });
        }
        Ok(ray * reach)
    }

    fn target_line(&self, lens: &Lens, marks: Segment) -> Result<Row, CalibrationError> {
        const WHAT: &str = "the target line";
        let heading = |m: Segment| {
            let line = self.on_ground(lens, m.to, WHAT)? - self.on_ground(lens, m.from, WHAT)?;
            let golf = lens.golf.0 * line;
            // either end may be marked first
            Ok((golf.y / golf.x).atan())
        };
        let sd = self.mark_noise(marks, heading)?.hypot(ROD_SD);
        Ok(Row { miss: heading(marks)?, sd, what: WHAT, given: true })
    }

    /// The length agrees, and the thing lies where it is said to lie.
    fn reference(&self, lens: &Lens, r: &Reference) -> Result<Vec<Row>, CalibrationError> {
        const WHAT: &str = "the reference length";
        let ends = |m: Segment| match r.place {
            Place::Hips => {
                let z = lens.focal_px / self.standing.log_stature_px.value.exp() * lens.metres;
                Ok((lens.ray(m.from) * z, lens.ray(m.to) * z))
            }
            _ => Ok((self.on_ground(lens, m.from, WHAT)?, self.on_ground(lens, m.to, WHAT)?)),
        };
        let log_length = |m: Segment| ends(m).map(|(a, b)| (a - b).norm().ln());
        let relative = r.length.sd / r.length.value;
        let sd =
            self.mark_noise(r.marks, log_length)?.hypot(relative).hypot(self.ground_noise(lens));
        let mut rows = vec![Row {
            miss: log_length(r.marks)? - r.length.value.ln(),
            sd,
            what: WHAT,
            given: true,
        }];
        let front = match r.place {
            Place::Feet => TOES_FRONT.scaled(lens.metres),
            Place::BallLine => {
                r.front_m.map_or(BALL_FRONT, |front| Estimate::new(front, STATED_FRONT_SD))
            }
            Place::Hips => return Ok(rows),
        };
        let middle = |m: Segment| {
            let (a, b) = ends(m)?;
            Ok((lens.golf.0 * ((a + b) / 2.0 - self.feet_middle(lens))).y)
        };
        let sd = self.mark_noise(r.marks, middle)?.hypot(front.sd).hypot(0.02);
        rows.push(Row {
            miss: middle(r.marks)? - front.value,
            sd,
            what: "where the reference lies",
            given: true,
        });
        Ok(rows)
    }

    /// Relative error of lengths on the ground from not knowing how high the ankles are.
    fn ground_noise(&self, lens: &Lens) -> f64 {
        let height = self.feet_middle(lens).dot(&lens.up()).abs();
        ANKLE_HEIGHT.sd * lens.metres / height.max(0.3)
    }

    /// Sd of a value from the marks' own inaccuracy.
    fn mark_noise(
        &self,
        marks: Segment,
        value: impl Fn(Segment) -> Result<f64, CalibrationError>,
    ) -> Result<f64, CalibrationError> {
        let middle = value(marks)?;
        let mut variance = 0.0;
        for (dx, dy) in [(1.0, 0.0), (0.0, 1.0)] {
            let moved = |p: Pixel| Pixel::new(p.x + dx, p.y + dy);
            variance += (value(Segment { from: moved(marks.from), ..marks })? - middle).powi(2);
            variance += (value(Segment { to: moved(marks.to), ..marks })? - middle).powi(2);
        }
        Ok(variance.sqrt() * self.request.mark_sd())
    }
}
