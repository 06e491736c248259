//! The fit against repeats: its covariance, its time, its causes.

use super::super::synthetic::{Clip, Shot, Swing, TOP};
use super::super::view::View;
use super::super::{Measure, ViewInput, motion, opencv};
use super::{Posterior, fit, knots};
use crate::body::{Joint, PerJoint};
use crate::calibration;
use crate::dice::Dice;
use crate::events::{Events, ImpactSource};
use crate::frames::{Handed, Pixel, Vector};
use crate::lift::{Bearing, CameraGuess, Lifted, LiftedFrame, LiftedPoint};
use crate::units::{Estimate, Seconds};

const SWING: Swing = Swing { size: 1.0 };
const STILL: Estimate = Estimate { value: 0.0, sd: 0.0 };

fn posterior(inputs: &[ViewInput]) -> Posterior {
    let views: Vec<View> = inputs.iter().map(|i| View::new(i).unwrap()).collect();
    let times = knots(views[0].times().map(|(t, _)| t), &[TOP]);
    let pairs: Vec<_> = views.iter().map(|v| (v, STILL)).collect();
    fit(&pairs, &times, (0.0, 0.12)).unwrap()
}

#[test]
fn causes_add_up_to_what_each_camera_is_unsure_of() {
    let mut clip = Clip::new(&Shot::new(calibration::View::FaceOn, Handed::Right), &SWING);
    clip.calibration.covariance[(1, 1)] = 0.02_f64.powi(2);
    clip.calibration.covariance[(4, 4)] = 0.05_f64.powi(2);
    let p = posterior(&[clip.input()]);
    let top = p.times().iter().position(|t| (t - TOP).abs() < 1e-6).unwrap();
    let budgets = p.budgets(top);
    // FACTS C5: a degree of roll is a degree of tilt
    let tilt = budgets[Measure::SpineTilt as usize].tilt.sqrt();
    assert!((tilt - 0.02).abs() < 0.004, "{tilt}");
    // 5 % of scale is 5 % of the travel
    let travel = p.values(top)[Measure::LowerHubTarget as usize];
    let scale = budgets[Measure::LowerHubTarget as usize].scale.sqrt();
    assert!((scale - 0.05 * travel.abs()).abs() < 0.2 * scale, "{scale} {travel}");
}

#[test]
fn two_views_know_more_than_either() {
    let face = Clip::new(&Shot::new(calibration::View::FaceOn, Handed::Right), &SWING);
    let line = Clip::new(&Shot::new(calibration::View::DownTheLine, Handed::Right), &SWING);
    let sd = |p: &Posterior, m: Measure| {
        let top = p.times().iter().position(|t| (t - TOP).abs() < 1e-6).unwrap();
        p.budgets(top)[m as usize].variance().sqrt()
    };
    let (a, b) = (posterior(&[face.input()]), posterior(&[line.input()]));
    let both = posterior(&[face.input(), line.input()]);
    for m in [Measure::LowerHubUp, Measure::PelvisTurn, Measure::ThoraxTurn, Measure::LeadArm] {
        assert!(sd(&both, m) < 0.95 * sd(&a, m).min(sd(&b, m)), "{m:?}");
    }
}

/// The bar is 2 s for a swing of 3 s filmed at 60 frames a second from two sides, on an idle
/// core; a shared machine gets five times that before this fails.
#[test]
fn a_two_view_swing_is_fitted_in_time() {
    let [face, line] = [calibration::View::FaceOn, calibration::View::DownTheLine]
        .map(|view| Clip::new(&Shot { length: 3.0, ..Shot::new(view, Handed::Right) }, &SWING));
    let start = std::time::Instant::now();
    motion(&[face.input(), line.input()]).unwrap();
    let spent = start.elapsed().as_secs_f64();
    println!("{spent:.2} s");
    assert!(spent < 10.0, "{spent} s");
}

/// Noisy repeats of one swing scatter as the fit says: errors drawn from its own model.
fn scatter(repeats: u64) -> Vec<(Measure, f64, f64)> {
    const ASKED: [Measure; 5] = [
        Measure::LowerHubTarget,
        Measure::UpperHubUp,
        Measure::SpineTilt,
        Measure::PelvisTurn,
        Measure::LeadArm,
    ];
    let shot =
        Shot { doubt: 0.3, fps: 30.0, ..Shot::new(calibration::View::FaceOn, Handed::Right) };
    let clip = Clip::new(&shot, &SWING);
    let view = clip.input();
    let view = View::new(&view).unwrap();
    let times = knots(view.times().map(|(t, _)| t), &[]);
    let top = times.iter().position(|t| (t - TOP).abs() < 1e-6).unwrap();
    let mut sums = [(0.0, 0.0, 0.0); ASKED.len()];
    for seed in 0..repeats {
        let mut problem = super::Problem::new(&[(&view, STILL)], &times);
        problem.disturb(&mut Dice(seed * 77 + 5));
        let p =
            super::settle(problem, &[(&view, STILL)], (0.0, 0.12), (1.0, super::ROUNDS)).unwrap();
        let (values, budgets) = (p.values(top), p.budgets(top));
        for (slot, m) in sums.iter_mut().zip(ASKED) {
            let v = values[m as usize];
            *slot = (slot.0 + v, slot.1 + v * v, slot.2 + budgets[m as usize].variance());
        }
    }
    let n = repeats as f64;
    ASKED
        .iter()
        .zip(sums)
        .map(|(m, (s, ss, v))| (*m, ((ss - s * s / n) / (n - 1.0)).sqrt(), (v / n).sqrt()))
        .collect()
}

impl super::Problem {
    /// Errors as the fit takes them to be: common, wandering, and a camera off its prior.
    fn disturb(&mut self, dice: &mut Dice) {
        use super::super::view::noise;
        for eye in &mut self.eyes {
            let root = eye.information.cholesky().unwrap();
            let draw = nalgebra::SVector::<f64, 5>::from_fn(|_, _| dice.normal(1.0));
            let off = root.l().transpose().solve_upper_triangular(&draw).unwrap();
            for i in 0..5 {
                eye.prior[i] += off[i];
            }
            for i in 0..super::CHANNELS {
                let common = eye.common_sd[i] * dice.normal(1.0);
                let (mut wander, mut before) = (dice.normal(1.0), self.times[0]);
                for (t, seen) in self.times.iter().zip(&mut eye.seen) {
                    let memory = (-(t - before) / noise(i).time_s).exp();
                    wander = memory * wander + (1.0 - memory * memory).sqrt() * dice.normal(1.0);
                    before = *t;
                    let Some((value, sd)) = seen else { continue };
                    value[i] += common + sd[i] * wander;
                }
            }
        }
    }
}

#[test]
fn repeats_scatter_as_stated() {
    for (m, seen, stated) in scatter(60) {
        // the sd of 60 repeats is itself known to 9 %: three of these
        assert!((seen / stated - 1.0).abs() < 0.28, "{m:?} {seen} {stated}");
    }
}

#[test]
#[ignore = "takes a minute: the issue's 1,000 repeats within 15 %"]
fn a_thousand_repeats_scatter_as_stated() {
    for (m, seen, stated) in scatter(1000) {
        println!("{m:?} seen {seen:.5} stated {stated:.5} ratio {:.3}", seen / stated);
        assert!((seen / stated - 1.0).abs() < 0.15, "{m:?} {seen} {stated}");
    }
}

/// Two cameras' pixels alone, the corrector's depths and directions hardly believed, give the
/// way of hubs and head that OpenCV triangulates. It is told where the cameras stand, we are
/// not: ours is the same but for one scale.
#[test]
fn two_views_of_points_move_as_opencv_triangulates() {
    let two = opencv::load().two_views;
    let clips: Vec<Clip> = (0..2).map(|eye| seen_by_opencv(&two, eye)).collect();
    let both = motion(&[clips[0].input(), clips[1].input()]).unwrap().output;
    let travel = |k: usize, point: usize, axis: usize| {
        let at = |k: usize| opencv::golf(two.triangulated[k][point])[axis];
        at(k) - (0..4).map(at).sum::<f64>() / 4.0
    };
    // the smoothing has half a window only at the ends
    let inside = 4..two.times.len() - 2;
    let pairs: Vec<(f64, f64)> = inside
        .flat_map(|k| Measure::ALL.into_iter().filter(|m| m.is_travel()).map(move |m| (k, m)))
        .map(|(k, m)| {
            let (point, axis) = (m as usize / 3, m as usize % 3);
            (both.frames[k].get(m).unwrap().value, travel(k, point, axis))
        })
        .collect();
    let scale = pairs.iter().map(|(a, b)| a * b).sum::<f64>()
        / pairs.iter().map(|(_, b)| b * b).sum::<f64>();
    let worst = pairs.iter().map(|(a, b)| (a - scale * b).abs()).fold(0.0, f64::max);
    println!("scale {scale:.4}, worst {:.2} mm", 1e3 * worst);
    assert!((scale - 1.0).abs() < 0.05 && worst < 1e-3, "{scale} {worst}");
}

fn seen_by_opencv(two: &opencv::TwoViews, eye: usize) -> Clip {
    let (size, rotation) = (opencv::picture(two.size), opencv::matrix(&two.rotations[eye]));
    let view = [calibration::View::FaceOn, calibration::View::DownTheLine][eye];
    let camera = |k: usize, point: usize| {
        rotation * nalgebra::Vector3::from(two.triangulated[k][point])
            + nalgebra::Vector3::from(two.shifts[eye])
    };
    let vague = |v: nalgebra::Vector3<f64>| Bearing {
        vector: Vector::from(v),
        sd: Vector::new(0.3, 0.3, 0.3),
    };
    let side = |across: f64| {
        let line = if eye == 0 { [across, 0.0, 0.0] } else { [0.0, 0.0, across] };
        vague(nalgebra::Vector3::from(line))
    };
    let frame = |(k, t): (usize, &f64)| {
        let point = |joint: Joint| {
            let which = (joint as usize).min(2);
            LiftedPoint {
                at: opencv::pixel(two.pixels[eye][k][which]),
                sd: Pixel::new(0.05, 0.05),
                depth: Estimate::new(camera(k, which).z - camera(k, 0).z, 0.3),
            }
        };
        LiftedFrame {
            time: Seconds(*t),
            index: k,
            filled: false,
            points: PerJoint::from_fn(point),
            log_stature_px: Estimate::new((two.focals[eye] / camera(k, 0).z).ln() + 0.02, 0.05),
            trunk: vague(camera(k, 1) - camera(k, 0)),
            shoulders: side(0.35),
            hips: side(0.19),
            lead_arm: vague(nalgebra::Vector3::new(0.0, 0.5, 0.0)),
        }
    };
    let attitude = opencv::attitude(&two.rotations[eye]);
    let exact = |value: f64| Estimate::new(value, 1e-6);
    let lifted = Lifted {
        camera: CameraGuess {
            pitch: exact(attitude.pitch),
            roll: exact(attitude.roll),
            azimuth: exact(attitude.azimuth),
            log_focal: exact((two.focals[eye] / size.long()).ln()),
        },
        frames: two.times.iter().enumerate().map(frame).collect(),
    };
    let calibration = calibration::Calibration {
        view,
        handed: Handed::Right,
        size,
        attitude,
        focal_px: two.focals[eye],
        stature_m: Estimate::new(1.0, 1e-6),
        method: calibration::ScaleMethod::Camera,
        covariance: nalgebra::SMatrix::identity() * 1e-12,
        rod: None,
    };
    let at = |t: f64| Some(Estimate::new(t, 1e-4));
    let events = Events {
        address: (Seconds(0.0), Seconds(0.11)),
        takeaway: at(0.12),
        arm_level_back: None,
        top: Estimate::new(0.4, 1e-4),
        transition: None,
        impact: at(0.6),
        finish: None,
        impact_source: ImpactSource::Hands,
        by_hand: Vec::new(),
    };
    Clip { lifted, events, calibration }
}
