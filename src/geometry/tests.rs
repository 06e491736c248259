//! Known truth through the whole stage.

use approx::assert_relative_eq;
use proptest::prelude::*;

use super::synthetic::{Clip, STATURE, Shot, Swing, TOP};
use super::{GeometryError, Measure, Missing, Motion, ViewInput, motion};
use crate::body::Joint;
use crate::calibration::View;
use crate::events::Event;
use crate::frames::{Handed, Pixel};
use crate::track::CameraMotion;
use crate::units::Estimate;
use crate::warning::Kind;

fn one(shot: &Shot, swing: &Swing) -> Motion {
    motion(&[Clip::new(shot, swing).input()]).unwrap().output
}

/// Truth of a measure at a time, straight from the points.
fn truth(swing: &Swing, measure: Measure, t: f64) -> f64 {
    let p = |j: Joint, t: f64| swing.point(j, t);
    let travel = |j: Joint, axis: usize| {
        let address = (0..8).map(|i| p(j, f64::from(i) / 60.0)[axis]).sum::<f64>() / 8.0;
        p(j, t)[axis] - address
    };
    let trunk = p(Joint::UpperHub, t) - p(Joint::LowerHub, t);
    let arm = p(Joint::LeadWrist, t) - p(Joint::LeadShoulder, t);
    match measure {
        Measure::LowerHubTarget => travel(Joint::LowerHub, 0),
        Measure::LowerHubBall => travel(Joint::LowerHub, 1),
        Measure::LowerHubUp => travel(Joint::LowerHub, 2),
        Measure::UpperHubTarget => travel(Joint::UpperHub, 0),
        Measure::UpperHubBall => travel(Joint::UpperHub, 1),
        Measure::UpperHubUp => travel(Joint::UpperHub, 2),
        Measure::HeadTarget => travel(Joint::Head, 0),
        Measure::HeadBall => travel(Joint::Head, 1),
        Measure::HeadUp => travel(Joint::Head, 2),
        Measure::HubOffset => trunk.x,
        Measure::SpineTilt => -(trunk.x / trunk.z).atan(),
        Measure::ForwardBend => (trunk.y / trunk.z).atan(),
        Measure::PelvisTurn => swing.pelvis_turn(t),
        Measure::ThoraxTurn => swing.thorax_turn(t),
        Measure::Separation => swing.thorax_turn(t) - swing.pelvis_turn(t),
        Measure::LeadArm => (arm.z / arm.norm()).asin(),
        Measure::ShoulderSlope | Measure::HipSlope => f64::NAN,
    }
}

/// A shot whose corrector is right and knows it: priors then have no say.
fn exact(view: View, handed: Handed) -> Shot {
    Shot { doubt: 0.01, ..Shot::new(view, handed) }
}

fn check(m: &Motion, swing: &Swing, times: &[Event]) {
    let mut seen = 0;
    for event in times {
        let at = m.at(*event).unwrap();
        for measure in Measure::ALL {
            let Ok(got) = at.frame.get(measure) else { continue };
            let want = truth(swing, measure, at.time.value);
            if want.is_nan() {
                continue;
            }
            let limit = if measure.is_length() { 0.001 } else { 0.1_f64.to_radians() };
            assert!((got.value - want).abs() < limit, "{event:?} {measure:?} {} {want}", got.value);
            assert!(got.budget.variance() > 0.0, "{measure:?} has no sd");
            seen += 1;
        }
    }
    assert!(seen > 10 * times.len(), "{seen}");
}

const TIMES: [Event; 4] = [Event::ArmLevelBack, Event::Top, Event::Transition, Event::Impact];

#[test]
fn exact_pictures_give_the_exact_swing_from_every_side_and_for_both_hands() {
    let swing = Swing { size: 1.0 };
    for handed in [Handed::Right, Handed::Left] {
        for view in [View::FaceOn, View::DownTheLine] {
            check(&one(&exact(view, handed), &swing), &swing, &TIMES);
        }
        let (a, b) =
            (exact(View::FaceOn, handed), Shot { shift: 0.37, ..exact(View::DownTheLine, handed) });
        let (a, b) = (Clip::new(&a, &swing), Clip::new(&b, &swing));
        let both = motion(&[a.input(), b.input()]).unwrap().output;
        check(&both, &swing, &TIMES);
        assert_relative_eq!(both.offset.unwrap().value, 0.37, epsilon = 1e-9);
        assert!(
            Measure::ALL
                .iter()
                .filter(|m| both.at(Event::Top).unwrap().frame.get(**m).is_ok())
                .count()
                >= 16
        );
    }
}

/// Events that are all off by as much put the clocks wrong; the motion that both see mends it.
#[test]
fn the_motion_of_the_body_mends_the_clock() {
    let swing = Swing { size: 1.0 };
    let face = Clip::new(&exact(View::FaceOn, Handed::Right), &swing);
    let mut line =
        Clip::new(&Shot { shift: 0.37, ..exact(View::DownTheLine, Handed::Right) }, &swing);
    let late = |e: Option<Estimate>| e.map(|e| Estimate::new(e.value + 0.012, 0.03));
    let e = &mut line.events;
    e.takeaway = late(e.takeaway);
    e.arm_level_back = late(e.arm_level_back);
    e.top = late(Some(e.top)).unwrap();
    e.transition = late(e.transition);
    e.impact = late(e.impact);
    let both = motion(&[face.input(), line.input()]).unwrap().output;
    let offset = both.offset.unwrap();
    assert!((offset.value - 0.37).abs() < 0.003 && offset.sd < 0.005, "{offset:?}");
    let top = both.at(Event::Top).unwrap().time;
    assert!((top.value - TOP).abs() < 0.002 && top.sd < 0.005, "{top:?}");
}

/// The lead arm is level where the measures say it is.
#[test]
fn arm_levels_are_found_on_the_fitted_motion() {
    let swing = Swing { size: 1.0 };
    let mut clip = Clip::new(&exact(View::FaceOn, Handed::Right), &swing);
    let level = |from: f64, sign: f64| {
        let arm = |k: u32| sign * truth(&swing, Measure::LeadArm, from + f64::from(k) * 1e-4);
        from + f64::from((1..).find(|k| arm(k - 1) < 0.0 && arm(*k) >= 0.0).unwrap()) * 1e-4
    };
    let (back, down) = (level(0.6, 1.0), level(1.2, -1.0));
    clip.events.arm_level_back = Some(Estimate::new(back + 0.04, 0.03));
    clip.events.transition = Some(Estimate::new(down - 0.02, 0.01));
    let m = motion(&[clip.input()]).unwrap().output;
    for (event, true_time) in [(Event::ArmLevelBack, back), (Event::Transition, down)] {
        let at = m.at(event).unwrap();
        assert!((at.time.value - true_time).abs() < 1e-3, "{event:?} {:?} {true_time}", at.time);
        assert!(at.time.sd > 0.0 && at.time.sd < 0.01);
        assert!(at.frame.get(Measure::LeadArm).unwrap().value.abs() < 0.1_f64.to_radians());
    }
}

/// From a camera nearer than assumed the strike is heard earlier, so it was later.
#[test]
fn a_heard_impact_counts_the_sounds_way() {
    let swing = Swing { size: 1.0 };
    let shot = exact(View::FaceOn, Handed::Right);
    let mut clip = Clip::new(&shot, &swing);
    let before = motion(&[clip.input()]).unwrap().output.events.impact.unwrap();
    clip.events.impact_source = crate::events::ImpactSource::Sound;
    let after = motion(&[clip.input()]).unwrap().output.events.impact.unwrap();
    // the ball lies 0.72 m in front of the feet, the camera stands 3.8 m in front, 1.1 m high
    let way = (3.8_f64 - 0.72).hypot(1.1);
    assert_relative_eq!(after.value - before.value, (4.0 - way) / 343.0, epsilon = 4e-4);
}

#[test]
fn a_view_does_not_say_what_it_cannot_see() {
    let swing = Swing { size: 1.0 };
    let face = one(&Shot::new(View::FaceOn, Handed::Right), &swing);
    let top = &face.at(Event::Top).unwrap().frame;
    assert_eq!(top.get(Measure::ForwardBend), Err(Missing::NeedsDownTheLine));
    assert_eq!(top.get(Measure::LowerHubBall), Err(Missing::NeedsDownTheLine));
    assert_eq!(top.get(Measure::ShoulderSlope), Err(Missing::TurnedTooFar));
    let line = one(&Shot::new(View::DownTheLine, Handed::Right), &swing);
    let top = &line.at(Event::Top).unwrap().frame;
    assert_eq!(top.get(Measure::SpineTilt), Err(Missing::NeedsFaceOn));
    assert_eq!(top.get(Measure::HipSlope), Err(Missing::NeedsFaceOn));
}

#[test]
fn a_camera_that_could_not_be_steadied_is_believed_less() {
    let swing = Swing { size: 1.0 };
    let clip = Clip::new(&Shot::new(View::FaceOn, Handed::Right), &swing);
    let tilt = |camera_motion| {
        let seen = motion(&[ViewInput { camera_motion, ..clip.input() }]).unwrap().output;
        let at = &seen.at(Event::Top).unwrap().frame;
        (at.get(Measure::SpineTilt).unwrap().estimate().sd, at.get(Measure::LowerHubTarget).is_ok())
    };
    let ((still, travel), (moved, none)) =
        (tilt(CameraMotion::Still), tilt(CameraMotion::Untrusted));
    assert!(travel && !none);
    assert!(moved > 1.3 * still, "{moved} {still}");
}

/// What the steady camera of two sees across its picture is told, and is right within its sd.
#[test]
fn the_steady_one_of_two_cameras_still_tells_travel() {
    let swing = Swing { size: 1.0 };
    let face = Clip::new(&Shot::new(View::FaceOn, Handed::Right), &swing);
    let line = Clip::new(&Shot::new(View::DownTheLine, Handed::Right), &swing);
    let (target, ball, up) = (Measure::LowerHubTarget, Measure::LowerHubBall, Measure::LowerHubUp);
    let told = |face_on, down_the_line| {
        let first = ViewInput { camera_motion: face_on, ..face.input() };
        let second = ViewInput { camera_motion: down_the_line, ..line.input() };
        let seen = motion(&[first, second]).unwrap().output;
        let at = &seen.at(Event::Top).unwrap().frame;
        [target, ball, up].map(|m| at.get(m).map(|seen| seen.estimate()))
    };
    let (still, lost) = (CameraMotion::Still, CameraMotion::Untrusted);
    let both = told(still, still).map(Result::unwrap);
    let face_alone = told(still, lost);
    assert_eq!(face_alone[1], Err(Missing::CameraMoved));
    let line_alone = told(lost, still);
    assert_eq!(line_alone[0], Err(Missing::CameraMoved));
    for (got, want) in [
        (face_alone[0], both[0]),
        (face_alone[2], both[2]),
        (line_alone[1], both[1]),
        (line_alone[2], both[2]),
    ] {
        let got = got.unwrap();
        assert!((got.value - want.value).abs() < got.sd, "{got:?} {want:?}");
        assert!(got.sd > want.sd, "{got:?} {want:?}");
    }
    assert_eq!(told(lost, lost), [Err(Missing::CameraMoved); 3]);
}

#[test]
fn a_still_body_does_not_travel() {
    for view in [View::FaceOn, View::DownTheLine] {
        let still = one(&Shot::new(view, Handed::Right), &Swing { size: 0.0 });
        for frame in &still.frames {
            for measure in [Measure::LowerHubUp, Measure::UpperHubUp, Measure::PelvisTurn] {
                let e = frame.get(measure).unwrap().estimate();
                assert!(e.value.abs() < 1e-4 && e.value.abs() < 0.1 * e.sd, "{measure:?} {e:?}");
            }
        }
    }
}

#[test]
fn clips_of_two_swings_are_refused() {
    let sure = |view| Shot { doubt: 0.3, ..Shot::new(view, Handed::Right) };
    let face = Clip::new(&sure(View::FaceOn), &Swing { size: 1.0 });
    let other = sure(View::DownTheLine);
    let line = Clip::new(&other, &Swing { size: 0.7 });
    let error = motion(&[face.input(), line.input()]).map(|_| ()).unwrap_err();
    assert!(matches!(error, GeometryError::DifferentSwings { .. }), "{error}");
    let mut late = Clip::new(&other, &Swing { size: 1.0 });
    late.events.top.value += 0.15;
    let error = motion(&[face.input(), late.input()]).map(|_| ()).unwrap_err();
    assert!(matches!(error, GeometryError::DifferentSwings { .. }), "{error}");
    let mut misread = Clip::new(&other, &Swing { size: 1.0 });
    misread.events.top.value -= 0.1;
    let both = motion(&[face.input(), misread.input()]).unwrap();
    assert!(both.warnings.iter().any(|w| w.kind == Kind::RoughPair && w.text.contains("top")));
    assert!((both.output.events.top.value - face.events.top.value).abs() < 0.01);
    assert!(both.output.events.top.sd > 0.04, "{:?}", both.output.events.top);
    misread.events.transition.as_mut().unwrap().value -= 0.1;
    let error = motion(&[face.input(), misread.input()]).map(|_| ()).unwrap_err();
    assert!(matches!(error, GeometryError::DifferentSwings { .. }), "{error}");
    assert_eq!(
        motion(&[face.input(), face.input()]).map(|_| ()).unwrap_err(),
        GeometryError::SameView
    );
    assert_eq!(motion(&[]).map(|_| ()).unwrap_err(), GeometryError::NoView);
}

#[test]
fn tempo_and_lead_come_from_the_events_and_the_turn() {
    let m = one(&Shot::new(View::FaceOn, Handed::Right), &Swing { size: 1.0 });
    assert_relative_eq!(m.swing.backswing_s.unwrap().value, 0.9, epsilon = 1e-9);
    assert_relative_eq!(m.swing.tempo.unwrap().value, 0.9 / 0.4, epsilon = 1e-9);
    let lead = m.swing.pelvis_lead_s.unwrap();
    assert!((lead.value - 0.04).abs() < 0.006, "{lead:?}");
    assert!(m.swing.separation_gain.unwrap().value >= 0.0);
}

/// FACTS C3: 10 cm toward the camera at 4 m looks like -7.3 mm of travel 30 cm off the axis;
/// with the depth known it is none.
#[test]
fn depth_is_not_taken_for_travel() {
    let (x, reach, change) = (0.30, 4.0, 0.10);
    let seen: f64 = x * reach / (reach + change) - x;
    assert_relative_eq!(seen, -0.0073, epsilon = 5e-5);
    let lens = |c: &super::pose::Channels| {
        let theta = super::pose::Theta::new(0.0, 0.0, 0.0, 1000f64.ln(), STATURE.ln());
        super::pose::Lens::new(&theta, Handed::Right, Pixel::new(0.0, 0.0)).body(c).lower
    };
    let mut near = super::pose::Channels::zeros();
    near[0] = 1000.0 * x / reach;
    near[super::pose::LOG_STATURE_PX] = (1000.0 * STATURE / reach).ln();
    let mut far = near;
    far[0] = 1000.0 * x / (reach + change);
    far[super::pose::LOG_STATURE_PX] = (1000.0 * STATURE / (reach + change)).ln();
    assert_relative_eq!(lens(&far).x - lens(&near).x, 0.0, epsilon = 1e-12);
    assert_relative_eq!(lens(&far).y - lens(&near).y, -change, epsilon = 1e-12);
}

/// FACTS C4 (yaw 5 degrees: 0.38 % of lateral travel lost, 8.7 % of depth leaks in) and C5
/// (a degree of roll is a degree of tilt).
#[test]
fn wrong_yaw_and_roll_cost_what_geometry_says() {
    use super::pose::{Channels, LOG_STATURE_PX, Lens, TRUNK, Theta};
    let body = |yaw: f64, roll: f64, trunk: [f64; 3]| {
        let theta = Theta::new(0.0, roll.to_radians(), yaw.to_radians(), 1000f64.ln(), 0.0);
        let mut c = Channels::zeros();
        c[LOG_STATURE_PX] = 250f64.ln();
        (0..3).for_each(|k| c[TRUNK + k] = trunk[k]);
        Lens::new(&theta, Handed::Right, Pixel::new(0.0, 0.0)).body(&c)
    };
    let lateral = body(5.0, 0.0, [1.0, 0.0, 0.0]).trunk.x;
    assert_relative_eq!(1.0 - lateral, 0.0038, epsilon = 5e-5);
    assert_relative_eq!(body(5.0, 0.0, [0.0, 0.0, 1.0]).trunk.x.abs(), 0.087, epsilon = 5e-4);
    let upright = [0.0, -1.0, 0.0];
    let tilt = |roll| {
        let b = body(0.0, roll, upright);
        b.measures(&b)[Measure::SpineTilt as usize].to_degrees()
    };
    assert_relative_eq!((tilt(1.0) - tilt(0.0)).abs(), 1.0, epsilon = 1e-9);
}

/// FACTS A2.10: a trunk seen as 15 degrees face-on and 35 down-the-line leans 36.86 in space.
#[test]
fn two_projections_make_one_inclination() {
    use super::pose::{Channels, LOG_STATURE_PX, Lens, TRUNK, Theta};
    for (tilt, bend, lean) in [(15.0, 35.0, 36.86), (30.0, 35.0, 42.22), (10.0, 40.0, 40.61)] {
        let (a, b) = (f64::to_radians(tilt).tan(), f64::to_radians(bend).tan());
        let mut c = Channels::zeros();
        c[LOG_STATURE_PX] = 250f64.ln();
        // face-on camera: x toward the target, y down, z away from the camera
        (c[TRUNK], c[TRUNK + 1], c[TRUNK + 2]) = (-a, -1.0, -b);
        let theta = Theta::new(0.0, 0.0, 0.0, 1000f64.ln(), 0.0);
        let body = Lens::new(&theta, Handed::Right, Pixel::new(0.0, 0.0)).body(&c);
        let v = body.measures(&body);
        assert_relative_eq!(v[Measure::SpineTilt as usize].to_degrees(), tilt, epsilon = 1e-9);
        assert_relative_eq!(v[Measure::ForwardBend as usize].to_degrees(), bend, epsilon = 1e-9);
        let lean_here = body.trunk.xy().norm().atan2(body.trunk.z).to_degrees();
        assert_relative_eq!(lean_here, lean, epsilon = 5e-3);
    }
}

/// FACTS A2.8 and A2.9: turns projected on the ground are 43.7 / 83.1 (difference 39.4) and
/// 37.2 / 91.1 (53.9) for these segments, R = Rz(-turn) Rx(bend) Ry(side).
#[test]
fn turns_are_those_of_the_lines_projected_on_the_ground() {
    use super::pose::Body;
    use nalgebra::{Rotation3, Vector3};
    let line = |turn: f64, bend: f64, side: f64| {
        let r = Rotation3::from_axis_angle(&Vector3::z_axis(), -turn.to_radians())
            * Rotation3::from_axis_angle(&Vector3::x_axis(), bend.to_radians())
            * Rotation3::from_axis_angle(&Vector3::y_axis(), side.to_radians());
        let v = r * Vector3::x();
        // their axes: X along the target line, Y behind; a turn to -Y is toward the ball here
        Vector3::new(v.x, -v.y, v.z)
    };
    let body = |pelvis, thorax| Body {
        lower: Vector3::zeros(),
        upper: Vector3::zeros(),
        head: Vector3::zeros(),
        trunk: Vector3::z(),
        shoulders: thorax,
        hips: pelvis,
        arm: Vector3::x(),
    };
    let square = body(Vector3::x(), Vector3::x());
    for (p, t, want) in [
        ((45.0, 15.0, 5.0), (90.0, 10.0, 35.0), (43.7, 83.1, 39.4)),
        ((40.0, 20.0, 8.0), (95.0, 5.0, 38.0), (37.2, 91.1, 53.9)),
    ] {
        let v = body(line(p.0, p.1, p.2), line(t.0, t.1, t.2)).measures(&square);
        assert_relative_eq!(v[Measure::PelvisTurn as usize].to_degrees(), want.0, epsilon = 0.06);
        assert_relative_eq!(v[Measure::ThoraxTurn as usize].to_degrees(), want.1, epsilon = 0.06);
        assert_relative_eq!(v[Measure::Separation as usize].to_degrees(), want.2, epsilon = 0.06);
    }
}

fn mirrored(shot: &Shot, clip: &Clip) -> Clip {
    let mut lifted = clip.lifted.clone();
    for f in &mut lifted.frames {
        for p in &mut f.points.0 {
            p.at.x = f64::from(shot.size.width) - p.at.x;
        }
        for b in [&mut f.trunk, &mut f.shoulders, &mut f.hips, &mut f.lead_arm] {
            b.vector.coords.x *= -1.0;
        }
    }
    let mut calibration = clip.calibration;
    calibration.handed = Handed::Left;
    Clip { lifted, events: clip.events.clone(), calibration }
}

fn same(a: &Motion, b: &Motion, factor: f64, share: f64) {
    for (x, y) in a.at_events.iter().zip(&b.at_events) {
        for m in Measure::ALL {
            let (x, y) = (x.frame.get(m), y.frame.get(m));
            assert_eq!(x.is_ok(), y.is_ok());
            let (Ok(x), Ok(y)) = (x, y) else { continue };
            let f = if m.is_length() { factor } else { 1.0 };
            let sd = y.estimate().sd;
            assert!((x.value * f - y.value).abs() < share * sd, "{m:?} {x:?} {y:?}");
            let apart = (x.estimate().sd * f / sd - 1.0).abs();
            assert!(apart < share, "{m:?} {x:?} {y:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]

    #[test]
    fn cameras_that_are_tilted_and_aimed_anyhow_see_the_same_swing(
        pitch in -0.15..0.25f64, roll in -0.1..0.1f64, yaw in -0.2..0.2f64,
        distance in 2.5..7.0f64, height in 0.4..1.7f64, face in any::<bool>(), right in any::<bool>(),
    ) {
        let view = if face { View::FaceOn } else { View::DownTheLine };
        let handed = if right { Handed::Right } else { Handed::Left };
        let mut shot = exact(view, handed);
        shot.attitude.pitch = pitch;
        shot.attitude.roll = roll;
        shot.attitude.azimuth += yaw;
        shot.centre *= distance / shot.centre.xy().norm();
        shot.centre.z = height;
        let swing = Swing { size: 1.0 };
        check(&one(&shot, &swing), &swing, &TIMES);
    }

    #[test]
    fn a_mirror_a_shift_in_time_and_a_taller_pupil_change_nothing_else(
        shift in -3.0..3.0f64, factor in 0.7..1.3f64, face in any::<bool>(),
    ) {
        let view = if face { View::FaceOn } else { View::DownTheLine };
        let shot = Shot::new(view, Handed::Right);
        let swing = Swing { size: 1.0 };
        let clip = Clip::new(&shot, &swing);
        let plain = motion(&[clip.input()]).unwrap().output;
        same(&plain, &motion(&[mirrored(&shot, &clip).input()]).unwrap().output, 1.0, 1e-3);
        let later = Clip::new(&Shot { shift, ..shot }, &swing);
        same(&plain, &motion(&[later.input()]).unwrap().output, 1.0, 1e-3);
        let mut taller = Clip::new(&shot, &swing);
        taller.calibration.stature_m = taller.calibration.stature_m.scaled(factor);
        // accelerations and proportions are those of people, not of giants
        same(&plain, &motion(&[taller.input()]).unwrap().output, factor, 0.15);
    }
}
