//! The least-squares solution. In: lifted body, events, request. Out: [`Calibration`].

use nalgebra::{SMatrix, SVector};

use super::errors::ErrorModel;
use super::proportions::{self, Standing};
use super::request::{CalibrationRequest, GroundMark};
use super::rod;
use super::rows::{ALL, Row, Rows, STATURE, unknowns};
use super::{Calibration, CalibrationError, ScaleMethod, UNKNOWNS, View};
use crate::events::Events;
use crate::frames::Attitude;
use crate::lift::Lifted;
use crate::units::Estimate;
use crate::warning::{Kind, Warned, Warning};

pub(super) type Theta = SVector<f64, ALL>;
pub(super) type Square = SMatrix<f64, ALL, ALL>;

/// Far more than Gauss-Newton needs on rows that are nearly straight.
const ROUNDS: usize = 25;
/// A row this many sd off after the solution is a mistake, not noise.
const CONTRADICTION: f64 = 6.0;
/// A row this many sd off is worth a note.
const DOUBT: f64 = 3.0;
/// The same for what nobody stated (the corrector's guess of the camera, a phone's usual lens, the ankles).
const BENT: f64 = 10.0;
/// A camera further from its view than this is another view, radians (45 degrees is half way).
const OTHER_VIEW: f64 = 0.9;
/// From here on the two measured directions begin to mix, radians.
const OBLIQUE: f64 = 0.35;

/// Solves for the camera and the scale of one clip.
///
/// # Errors
/// When the marks are impossible, contradict each other, or the view is another one.
pub fn calibrate(
    lifted: &Lifted,
    events: &Events,
    request: &CalibrationRequest,
) -> Result<Warned<Calibration>, CalibrationError> {
    request.check()?;
    let request = &request.straightened();
    let standing = Standing::at_address(lifted, events).ok_or(CalibrationError::NoAddress)?;
    let rows = Rows::new(&lifted.camera, &standing, request, &ErrorModel::LIFT);
    let (mut theta, mut covariance) = solve(&rows)?;
    let mut warnings = Vec::new();
    let no_line = request.target_line.is_none();
    let rod = rod::choose(&rows, &theta, &covariance, &request.sticks).filter(|_| no_line);
    let rows = match rod {
        None => rows,
        Some(rod) => {
            let aim = theta[2];
            let rows = rows.with_rod(request.sticks[rod]);
            (theta, covariance) = solve(&rows)?;
            warnings.push(found(theta[2] - aim));
            rows
        }
    };
    let covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS> =
        covariance.fixed_view::<UNKNOWNS, UNKNOWNS>(0, 0).into_owned();
    warnings.extend(judge(&rows.at(&theta)?)?);
    let attitude = Attitude { pitch: theta[0], roll: theta[1], azimuth: theta[2] };
    warnings.extend(check_view(&attitude, request.view)?);
    let metres = theta[4].exp();
    let output = Calibration {
        view: request.view,
        handed: request.handed,
        size: request.size,
        attitude,
        focal_px: theta[3].exp() * request.size.long(),
        stature_m: Estimate::new(metres, metres * covariance[(4, 4)].sqrt()),
        method: method(request),
        covariance,
        rod,
    };
    warnings.extend(proportions::doubts(lifted, &output, request.stature));
    if request.stature.is_none() && output.method == ScaleMethod::Stature {
        warnings.push(Warning::new(
            "No stature was given: centimetres are those of a person of average height and may be 6 % off; give the pupil's height.",
        ));
    }
    Ok(Warned { output, warnings })
}

fn found(turned: f64) -> Warning {
    let text = format!(
        "A rod found on the ground was taken for the target line, which turned the aim by {:.1} degrees: if it was not laid along the target line, mark the line, or have no rod looked for.",
        turned.to_degrees().abs()
    );
    Warning::of(Kind::FoundRod, text)
}

fn method(request: &CalibrationRequest) -> ScaleMethod {
    if request.ground.len() >= GroundMark::FOR_A_CAMERA {
        ScaleMethod::Camera
    } else if !request.references.is_empty() || !request.ground.is_empty() {
        ScaleMethod::Reference
    } else if request.camera.is_some_and(|c| c.distance.is_some()) {
        ScaleMethod::Camera
    } else {
        ScaleMethod::Stature
    }
}

/// Gauss-Newton with halved steps where a step would make it worse.
fn solve(rows: &Rows) -> Result<(Theta, Square), CalibrationError> {
    let mut theta = rows.start();
    let mut information = Square::identity();
    for _ in 0..ROUNDS {
        let here = rows.at(&theta)?;
        let (hessian, gradient) = normal_equations(rows, &theta, &here)?;
        information = hessian;
        let full = hessian.cholesky().ok_or(CalibrationError::Unsolved)?.solve(&gradient);
        let Some(step) = shorten(rows, &theta, &full, cost(&here)) else { break };
        theta -= step;
        if step.norm() < 1e-10 {
            break;
        }
    }
    let covariance = information.cholesky().ok_or(CalibrationError::Unsolved)?.inverse();
    Ok((theta, covariance))
}

/// The longest of the halved steps that does not make the fit worse.
fn shorten(rows: &Rows, theta: &Theta, full: &Theta, before: f64) -> Option<Theta> {
    (0..8)
        .map(|halvings| full * 0.5_f64.powi(halvings))
        .find(|step| rows.at(&(theta - step)).is_ok_and(|r| cost(&r) <= before + 1e-12))
}

fn cost(rows: &[Row]) -> f64 {
    rows.iter().map(|r| (r.miss / r.sd).powi(2)).sum()
}

fn normal_equations(
    rows: &Rows,
    theta: &Theta,
    here: &[Row],
) -> Result<(Square, Theta), CalibrationError> {
    let mut hessian = Square::zeros();
    let mut gradient = Theta::zeros();
    let slopes = unknowns(|i, step| {
        let mut moved = *theta;
        moved[i] += step;
        rows.at(&moved)
    })?;
    for (k, row) in here.iter().enumerate() {
        let slope = Theta::from_fn(|i, _| slopes[i][k] / row.sd);
        hessian += slope * slope.transpose();
        gradient += slope * (row.miss / row.sd);
    }
    Ok((hessian, gradient))
}

fn judge(rows: &[Row]) -> Result<Vec<Warning>, CalibrationError> {
    let mut warnings = Vec::new();
    for row in rows.iter().filter(|r| r.given) {
        let by = (row.miss / row.sd).abs();
        if by > CONTRADICTION {
            return Err(CalibrationError::Contradiction { what: row.what, by });
        }
        if by > DOUBT {
            warnings.push(Warning::new(format!(
                "Check {}: it is {by:.1} times its uncertainty away from what the rest says.",
                row.what
            )));
        }
    }
    // what nobody stated bends this far only to please a mark that is wrong
    let bent = rows.iter().filter(|r| !r.given).map(|r| (r.miss / r.sd).abs()).fold(0.0, f64::max);
    let marks = rows.iter().filter(|r| r.given && r.what != STATURE);
    match marks.max_by(|a, b| (a.miss / a.sd).abs().total_cmp(&(b.miss / b.sd).abs())) {
        Some(mark) if bent > BENT => {
            Err(CalibrationError::Contradiction { what: mark.what, by: bent })
        }
        _ => Ok(warnings),
    }
}

fn check_view(attitude: &Attitude, view: View) -> Result<Vec<Warning>, CalibrationError> {
    let off = attitude.azimuth - view.azimuth();
    let off = off.sin().atan2(off.cos());
    let given = match view {
        View::FaceOn => "face-on",
        View::DownTheLine => "down-the-line",
    };
    if off.abs() > OTHER_VIEW {
        return Err(CalibrationError::WrongView { given, degrees: off.abs().to_degrees() });
    }
    if off.abs() > OBLIQUE {
        return Ok(vec![Warning::new(format!(
            "The {given} camera stood about {:.0} degrees off its place: film square to the target line for better numbers.",
            off.abs().to_degrees()
        ))]);
    }
    Ok(Vec::new())
}
