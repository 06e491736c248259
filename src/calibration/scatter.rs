//! What is stated is what it scatters by: cameras drawn at random, marks with the errors that
//! the rows assume, solved again and again.

use nalgebra::Vector3;

use super::solve::calibrate;
use super::tests::SWING;
use super::{CalibrationRequest, CameraFacts, GroundMark, Place, Reference, ScaleMethod, Segment};
use super::{ErrorModel, UNKNOWNS, View};
use crate::dice::Dice;
use crate::frames::{Handed, PictureSize, Pixel};
use crate::geometry::synthetic::{STATURE, Shot};
use crate::lift::Lifted;
use crate::units::{Estimate, Radians};

/// The sd of an sd of n normal numbers is 1 / sqrt(2 n) of it: 15 % is four of them.
const REPEATS: u32 = 400;
/// Sd of what the corrector says of pitch, roll and azimuth, and of the focal length: narrow
/// beside the priors on level phones and on their lenses, which are not drawn from.
const GUESS_SD: [f64; 4] = [0.02, 0.02, 0.04, 0.05];
/// A mat's corners and the middle of a side, metres from any zero.
const MAT: [[f64; 2]; 5] = [[0.0, 0.0], [1.5, 0.0], [1.5, 1.2], [0.0, 1.2], [0.75, 0.0]];

/// What the coach gives beside the stature.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Given {
    Nothing,
    Rod,
    RodLineVertical,
    Camera,
    Ground(usize),
    GroundRodVertical,
}

/// One true camera and how its golfer stands.
struct Scene {
    shot: Shot,
    /// From the line of the feet to the target line, radians.
    feet: f64,
    /// Height of the ground, metres.
    ground: f64,
    truth: [f64; UNKNOWNS],
    lifted: Lifted,
}

impl Scene {
    fn draw(dice: &mut Dice, handed: Handed) -> Self {
        // square, so that no mark falls out of it
        let size = PictureSize { width: 1280, height: 1280 };
        let mut shot = Shot { size, ..Shot::new(View::FaceOn, handed) };
        for angle in [&mut shot.attitude.pitch, &mut shot.attitude.roll, &mut shot.attitude.azimuth]
        {
            *angle += dice.normal(0.03);
        }
        let mut lifted = shot.lifted(&SWING);
        let (size, deeper) =
            (dice.normal(0.015 * ErrorModel::LIFT.log_stature_px.common.sqrt()), dice.normal(0.02));
        for f in &mut lifted.frames {
            f.log_stature_px.value += size;
            for p in &mut f.points.0 {
                p.depth.value = p.depth.value * (-size).exp() - deeper;
            }
        }
        // The synthetic ankles are 0.08 m above its ground: it is the ground that is drawn.
        let metres = STATURE * size.exp();
        let blur = 2.0 / lifted.frames[0].log_stature_px.value.exp();
        let ground = 0.08 - metres * (0.045 + dice.normal(0.008_f64.hypot(blur)));
        let feet = dice.normal(0.17_f64.hypot(0.02 * 2.0_f64.sqrt() * STATURE / 0.42));
        let log_focal = (shot.focal_px / shot.size.long()).ln();
        let a = shot.attitude;
        let truth = [a.pitch, a.roll, a.azimuth - feet, log_focal, metres.ln()];
        let c = &mut lifted.camera;
        let slots = [&mut c.pitch, &mut c.roll, &mut c.azimuth, &mut c.log_focal];
        for ((slot, sd), true_value) in slots.into_iter().zip(GUESS_SD).zip(truth) {
            *slot = Estimate::new(true_value + dice.normal(sd), sd);
        }
        Self { shot, feet, ground, truth, lifted }
    }

    /// A mark set on a point given along the target line, toward the ball and above the ground.
    fn mark(&self, dice: &mut Dice, [target, ball, up]: [f64; 3]) -> Pixel {
        let (sin, cos) = self.feet.sin_cos();
        let golf =
            Vector3::new(target * cos - ball * sin, target * sin + ball * cos, self.ground + up);
        let at = self.shot.pixel(golf);
        Pixel::new(at.x + dice.normal(1.5), at.y + dice.normal(1.5))
    }

    fn line(&self, dice: &mut Dice, ends: [[f64; 3]; 2]) -> Segment {
        Segment { from: self.mark(dice, ends[0]), to: self.mark(dice, ends[1]) }
    }

    fn request(&self, dice: &mut Dice, given: Given) -> CalibrationRequest {
        let mut request = CalibrationRequest {
            stature: Some(Estimate::new(STATURE + dice.normal(0.01), 0.01)),
            ..self.shot.request()
        };
        match given {
            Given::Nothing => {}
            Given::Camera => request.camera = Some(self.camera(dice)),
            Given::Ground(count) => request.ground = self.ground(dice, count),
            Given::Rod => self.give_rod(dice, &mut request, false),
            Given::RodLineVertical | Given::GroundRodVertical => {
                self.give_rod(dice, &mut request, true);
                let lean = dice.normal(0.005);
                let post = [[0.8, -0.5, 0.0], [0.8 + 1.8 * lean, -0.5, 1.8]];
                request.vertical = Some(self.line(dice, post));
                if given == Given::GroundRodVertical {
                    request.ground = self.ground(dice, 4);
                }
            }
        }
        request
    }

    fn camera(&self, dice: &mut Dice) -> CameraFacts {
        let half = 0.5 / (self.truth[3] + dice.normal(0.02)).exp();
        let distance = self.shot.centre.xy().norm();
        CameraFacts {
            field_of_view: Radians(2.0 * half.atan()),
            distance: Some(Estimate::new(distance * (1.0 + dice.normal(0.02)), 0.02 * distance)),
        }
    }

    /// A rod of 1.2 m on the line through the ball, its length and place stated.
    fn give_rod(&self, dice: &mut Dice, request: &mut CalibrationRequest, line: bool) {
        const FRONT: f64 = 0.7;
        let slope = dice.normal(0.017);
        let ends = [-0.6, 0.6].map(|t| [0.05 + t, FRONT + slope * t, 0.005]);
        let marks = self.line(dice, ends);
        request.references = vec![Reference {
            marks,
            length: Estimate::new(1.2 + dice.normal(0.005), 0.005),
            place: Place::BallLine,
            front_m: Some(FRONT + dice.normal(0.03)),
        }];
        request.target_line = line.then_some(marks);
    }

    fn ground(&self, dice: &mut Dice, count: usize) -> Vec<GroundMark> {
        let zero = [dice.normal(0.1) - 0.7, dice.normal(0.1) - 0.3];
        let (sin, cos) = dice.normal(0.017).sin_cos();
        let mark = |[target, ball]: [f64; 2]| {
            let taped = [target + dice.normal(0.005), ball + dice.normal(0.005)];
            let at = [
                zero[0] + taped[0] * cos - taped[1] * sin,
                zero[1] + taped[0] * sin + taped[1] * cos,
                0.0,
            ];
            GroundMark { at: self.mark(dice, at), target_m: target, ball_m: ball }
        };
        MAT.into_iter().take(count).map(mark).collect()
    }
}

/// Root mean square of error over stated sd, and the mean stated sd, for every unknown.
fn scatter(given: Given, handed: Handed) -> [(f64, f64); UNKNOWNS] {
    let mut dice = Dice(11);
    let mut sums = [(0.0, 0.0); UNKNOWNS];
    for _ in 0..REPEATS {
        let scene = Scene::draw(&mut dice, handed);
        let request = scene.request(&mut dice, given);
        let events = SWING.events(scene.shot.shift);
        let c = calibrate(&scene.lifted, &events, &request).unwrap().output;
        let a = c.attitude;
        let log_focal = (c.focal_px / c.size.long()).ln();
        let solved = [a.pitch, a.roll, a.azimuth, log_focal, c.stature_m.value.ln()];
        for (i, (pull, mean)) in sums.iter_mut().enumerate() {
            let sd = c.covariance[(i, i)].sqrt();
            *pull += ((solved[i] - scene.truth[i]) / sd).powi(2);
            *mean += sd;
        }
    }
    let n = f64::from(REPEATS);
    sums.map(|(pull, sd)| ((pull / n).sqrt(), sd / n))
}

#[test]
fn what_is_stated_is_what_it_scatters_by() {
    let mut missed = Vec::new();
    for given in [
        Given::Nothing,
        Given::Rod,
        Given::RodLineVertical,
        Given::Camera,
        Given::Ground(2),
        Given::Ground(4),
        Given::Ground(5),
        Given::GroundRodVertical,
    ] {
        let of = scatter(given, Handed::Right);
        println!("{given:?}: {of:.4?}");
        missed.extend(
            of.iter().filter(|(pull, _)| !(0.85..1.15).contains(pull)).map(|o| (given, *o)),
        );
    }
    assert!(missed.is_empty(), "{missed:?}");
}

/// Each thing given narrows what it is about.
#[test]
fn marks_on_the_ground_narrow_the_whole_camera() {
    let [plain, marked, all] = [Given::Nothing, Given::Ground(4), Given::GroundRodVertical]
        .map(|given| scatter(given, Handed::Left));
    for ((p, m), a) in plain.iter().zip(&marked).zip(&all) {
        assert!(m.1 < 0.9 * p.1 && a.1 < m.1 + 1e-9, "{p:?} {m:?} {a:?}");
        assert!((0.85..1.15).contains(&m.0) && (0.85..1.15).contains(&a.0), "{m:?} {a:?}");
    }
    assert!(marked[2].1 < 0.6 * plain[2].1, "{plain:?} {marked:?}");
}

#[test]
fn four_marks_are_a_camera_and_two_a_reference() {
    let mut dice = Dice(3);
    let scene = Scene::draw(&mut dice, Handed::Right);
    for (count, method) in [(2, ScaleMethod::Reference), (4, ScaleMethod::Camera)] {
        let request = scene.request(&mut dice, Given::Ground(count));
        let events = SWING.events(scene.shot.shift);
        let solved = calibrate(&scene.lifted, &events, &request).unwrap();
        assert_eq!(solved.output.method, method);
    }
}

#[test]
fn marks_that_cannot_be_are_said_in_one_line() {
    let mut dice = Dice(5);
    let scene = Scene::draw(&mut dice, Handed::Right);
    let good = scene.request(&mut dice, Given::Ground(4));
    let with = |change: &dyn Fn(&mut Vec<GroundMark>)| {
        let mut request = good.clone();
        change(&mut request.ground);
        calibrate(&scene.lifted, &SWING.events(scene.shot.shift), &request)
    };
    assert!(with(&|_| {}).is_ok());
    let wrong = [
        with(&|g| g.truncate(1)),
        with(&|g| g[1] = g[0]),
        with(&|g| g[0].target_m = f64::NAN),
        with(&|g| g[0].target_m = 40.0),
        with(&|g| g[0].at.x = -3.0),
        with(&|g| g[2].target_m = -1.5),
        with(&|g| g[0].at = Pixel::new(300.0, 20.0)),
    ];
    for (i, said) in wrong.into_iter().enumerate() {
        let Err(said) = said else { panic!("{i} was taken") };
        let said = said.to_string();
        assert!(!said.contains('\n') && said.len() > 30, "{said}");
    }
}
