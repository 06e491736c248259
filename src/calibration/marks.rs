//! The coach's marks as rows: what each says of the camera, with the inaccuracy of a hand's mark
//! carried through. In: marks, the camera that the unknowns describe. Out: [`Row`]s.

use nalgebra::{Matrix2, Vector2, Vector3};

use super::CalibrationError;
use super::request::{GroundMark, Place, Reference, Segment};
use super::rows::{Extra, GROUND, Lens, ROD_SD, Row, Rows};
use crate::frames::Pixel;
use crate::units::Estimate;

/// A wall or a post is plumb to about this, radians (0.3 degrees). Common practice.
const PLUMB_SD: f64 = 0.005;
/// Toes in front of the ankles, statures: foot length 0.152 less the heel (FACTS B2).
const TOES_FRONT: Estimate = Estimate { value: 0.105, sd: 0.02 };
/// Ball in front of the ankles, metres: wedge to driver. Common practice, no source.
const BALL_FRONT: Estimate = Estimate { value: 0.72, sd: 0.12 };
/// A stated distance in front of the feet, metres.
const STATED_FRONT_SD: f64 = 0.03;
/// A mark's place on the ground is taped to about this along each side, metres. Common practice.
const TAPED_SD: f64 = 0.005;
/// A rod's or a shaft's middle above the ground it lies on, metres: they are about 1 cm thick
/// (common practice, no source).
const LYING: f64 = 0.005;

impl Rows<'_> {
    /// The plane through the lens and the line contains the vertical.
    pub(super) fn vertical(&self, lens: &Lens, marks: Segment) -> Row {
        let miss = |m: Segment| {
            let plane = lens.ray(m.from).cross(&lens.ray(m.to)).normalize();
            plane.dot(&lens.up()).asin()
        };
        let sd = self.mark_noise(marks, |m| Ok(miss(m))).unwrap_or(PLUMB_SD);
        Row { miss: miss(marks), sd: sd.hypot(PLUMB_SD), what: "the vertical", given: true }
    }

    /// The ground's height over the camera, metres: less than zero.
    fn below(&self, lens: &Lens) -> f64 {
        self.feet_middle(lens).dot(&lens.up()) - lens.extra(Extra::AnkleHeight) * lens.metres
    }

    /// Where the ray through a pixel meets the height at which rods lie.
    pub(super) fn on_ground(
        &self,
        lens: &Lens,
        p: Pixel,
        what: &'static str,
    ) -> Result<Vector3<f64>, CalibrationError> {
        let up = lens.up();
        let below = self.below(lens) + LYING;
        let ray = lens.ray(p);
        let reach = below / ray.dot(&up);
        if !(reach > 0.0 && reach < 200.0) {
            return Err(CalibrationError::NotOnGround { what });
        }
        Ok(ray * reach)
    }

    /// Along the target line; its ends are good to `set_px` along x and y.
    pub(super) fn target_line(
        &self,
        lens: &Lens,
        marks: Segment,
        set_px: f64,
    ) -> Result<Row, CalibrationError> {
        const WHAT: &str = "the target line";
        let heading = |m: Segment| {
            let line = self.on_ground(lens, m.to, WHAT)? - self.on_ground(lens, m.from, WHAT)?;
            let golf = lens.golf.0 * line;
            // either end may be marked first
            Ok((golf.y / golf.x).atan())
        };
        let set = self.mark_noise(marks, heading)? * (set_px / self.request.mark_sd());
        let sd = set.hypot(ROD_SD);
        Ok(Row { miss: heading(marks)?, sd, what: WHAT, given: true })
    }

    /// The length agrees, and the thing lies where it is said to lie.
    pub(super) fn reference(
        &self,
        lens: &Lens,
        r: &Reference,
    ) -> Result<Vec<Row>, CalibrationError> {
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
        let sd = self.mark_noise(r.marks, log_length)?.hypot(relative);
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
        let sd = self.mark_noise(r.marks, middle)?.hypot(front.sd);
        rows.push(Row {
            miss: middle(r.marks)? - front.value,
            sd,
            what: "where the reference lies",
            given: true,
        });
        Ok(rows)
    }

    /// A place on the ground is seen where it is marked.
    pub(super) fn ground(
        &self,
        lens: &Lens,
        mark: &GroundMark,
    ) -> Result<[Row; 2], CalibrationError> {
        let (sin, cos) = lens.extra(Extra::Turn).sin_cos();
        let (target, ball) = (mark.target_m, mark.ball_m);
        let golf = lens.golf.0 * self.feet_middle(lens)
            + Vector3::new(
                lens.extra(Extra::ZeroTarget) + target * cos - ball * sin,
                lens.extra(Extra::ZeroBall) + target * sin + ball * cos,
                0.0,
            );
        let at = lens.golf.0.transpose() * Vector3::new(golf.x, golf.y, self.below(lens));
        if at.z < 0.1 {
            return Err(CalibrationError::NotOnGround { what: GROUND });
        }
        let seen = lens.focal_px / at.z * at.xy() + Vector2::new(lens.centre.x, lens.centre.y);
        let miss = self.blur(lens, &at)? * (seen - Vector2::new(mark.at.x, mark.at.y));
        let row = |miss| Row { miss, sd: 1.0, what: GROUND, given: true };
        Ok([row(miss.x), row(miss.y)])
    }

    /// Makes a ground mark's misfit one of unit sd along both axes: the mark is set, its place
    /// is taped, and the picture foreshortens the tape.
    fn blur(&self, lens: &Lens, at: &Vector3<f64>) -> Result<Matrix2<f64>, CalibrationError> {
        let moved = |axis: usize| {
            let step = lens.golf.0.row(axis).transpose();
            lens.focal_px / at.z * (step.xy() - at.xy() * (step.z / at.z))
        };
        let taped = Matrix2::from_columns(&[moved(0), moved(1)]) * TAPED_SD;
        let set = self.request.mark_sd().powi(2);
        let covariance = Matrix2::identity() * set + taped * taped.transpose();
        let root = covariance.cholesky().ok_or(CalibrationError::Unsolved)?.l();
        root.try_inverse().ok_or(CalibrationError::Unsolved)
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
