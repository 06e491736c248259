//! Known cameras through [`super::calibrate`]: the synthetic golfer of [`crate::geometry`].

use approx::assert_relative_eq;
use nalgebra::Vector3;

use super::{
    CalibrationError, CalibrationRequest, CameraFacts, Lens, Place, Reference, ScaleMethod,
    Segment, View, calibrate,
};
use crate::frames::{Handed, Pixel};
use crate::geometry::opencv;
use crate::geometry::synthetic::{STATURE, Shot, Swing};
use crate::lift::Lifted;
use crate::units::{Estimate, Radians};

pub(super) const SWING: Swing = Swing { size: 1.0 };

fn face() -> Shot {
    Shot::new(View::FaceOn, Handed::Right)
}

/// The corrector's guess, off by `off` and known to `sd`.
fn blurred(shot: &Shot, off: [f64; 4], sd: f64) -> Lifted {
    let mut lifted = shot.lifted(&SWING);
    let c = &mut lifted.camera;
    for (e, by) in
        [&mut c.pitch, &mut c.roll, &mut c.azimuth, &mut c.log_focal].into_iter().zip(off)
    {
        *e = Estimate::new(e.value + by, sd);
    }
    lifted
}

fn solve(
    shot: &Shot,
    lifted: &Lifted,
    request: &CalibrationRequest,
) -> Result<super::Calibration, CalibrationError> {
    calibrate(lifted, &SWING.events(shot.shift), request).map(|c| c.output)
}

fn marks(shot: &Shot, from: [f64; 3], to: [f64; 3]) -> Segment {
    Segment { from: shot.pixel(Vector3::from(from)), to: shot.pixel(Vector3::from(to)) }
}

/// A rod on the ground along the target line, 1.2 m, this far in front of the ankles.
fn rod(shot: &Shot, front: f64, place: Place) -> Reference {
    let marks = marks(shot, [-0.6, front, 0.008], [0.6, front, 0.008]);
    Reference { marks, length: Estimate::new(1.2, 0.003), place, front_m: None }
}

#[test]
fn a_sharp_guess_and_a_stature_are_kept() {
    let shot = face();
    let c = solve(&shot, &shot.lifted(&SWING), &shot.request()).unwrap();
    assert_relative_eq!(c.attitude.pitch, shot.attitude.pitch, epsilon = 1e-4);
    assert_relative_eq!(c.attitude.azimuth, shot.attitude.azimuth, epsilon = 1e-4);
    assert_relative_eq!(c.focal_px, shot.focal_px, epsilon = 0.1);
    assert_relative_eq!(c.stature_m.value, STATURE, epsilon = 1e-3);
    assert!(c.scale_relative_sd() > 0.01 / STATURE);
    assert_eq!(c.method, ScaleMethod::Stature);
}

/// FACTS C1 and C2: a rod in front of the feet is seen larger than at the body; without the
/// correction the scale would be 13 to 20 % off.
#[test]
fn a_rod_gives_the_scale_with_its_depth_corrected() {
    let shot = face();
    let lifted = shot.lifted(&SWING);
    let request = |reference| CalibrationRequest {
        references: vec![reference],
        ..CalibrationRequest::new(shot.view, shot.handed, shot.size)
    };
    for (front, place, known) in [
        (0.19, Place::Feet, None),
        (0.6, Place::BallLine, Some(0.6)),
        (0.75, Place::BallLine, None),
    ] {
        let rod = |shot, front, place| Reference { front_m: known, ..rod(shot, front, place) };
        let c = solve(&shot, &lifted, &request(rod(&shot, front, place))).unwrap();
        assert_relative_eq!(c.stature_m.value, STATURE, max_relative = 0.012);
        assert!((c.stature_m.value - STATURE).abs() < 2.0 * c.stature_m.sd);
        assert_eq!(c.method, ScaleMethod::Reference);
        let without = solve(
            &shot,
            &lifted,
            &CalibrationRequest { references: vec![], ..request(rod(&shot, front, place)) },
        )
        .unwrap();
        assert!(
            c.stature_m.sd < 0.7 * without.stature_m.sd,
            "{} {}",
            c.stature_m.sd,
            without.stature_m.sd
        );
    }
    let hips = SWING.lower(0.0);
    let at_hips = Reference {
        marks: marks(&shot, [-0.5, hips.y, hips.z], [0.5, hips.y, hips.z]),
        length: Estimate::new(1.0, 0.003),
        place: Place::Hips,
        front_m: None,
    };
    let c = solve(&shot, &lifted, &request(at_hips)).unwrap();
    assert_relative_eq!(c.stature_m.value, STATURE, max_relative = 0.01);
}

#[test]
fn marks_correct_a_wrong_guess() {
    let mut shot = face();
    shot.attitude.azimuth = 0.12;
    shot.attitude.roll = -0.05;
    let lifted = blurred(&shot, [0.02, 0.03, -0.08, 0.1], 0.05);
    let plain = solve(&shot, &lifted, &shot.request()).unwrap();
    let request = CalibrationRequest {
        vertical: Some(marks(&shot, [0.4, -0.5, 0.1], [0.4, -0.5, 2.0])),
        target_line: Some(marks(&shot, [-0.7, 0.6, 0.0], [0.7, 0.6, 0.0])),
        camera: Some(CameraFacts {
            field_of_view: Radians(2.0 * (shot.size.long() / 2.0 / shot.focal_px).atan()),
            distance: Some(Estimate::new(shot.centre.xy().norm(), 0.03)),
        }),
        ..shot.request()
    };
    let marked = solve(&shot, &lifted, &request).unwrap();
    let off = |c: &super::Calibration| {
        [
            c.attitude.roll - shot.attitude.roll,
            c.attitude.azimuth - shot.attitude.azimuth,
            (c.focal_px / shot.focal_px).ln(),
        ]
    };
    for (i, limit) in [0.006, 0.03, 0.02].into_iter().enumerate() {
        assert!(off(&marked)[i].abs() < limit, "{:?}", off(&marked));
        assert!(
            off(&marked)[i].abs() < off(&plain)[i].abs(),
            "{:?} {:?}",
            off(&marked),
            off(&plain)
        );
    }
    assert_eq!(marked.method, ScaleMethod::Camera);
    assert!(marked.attitude_sd().roll < 0.5 * plain.attitude_sd().roll);
}

#[test]
fn a_left_handers_camera_is_solved_the_same() {
    let shot = Shot::new(View::FaceOn, Handed::Left);
    let request = CalibrationRequest {
        references: vec![Reference { front_m: Some(0.6), ..rod(&shot, 0.6, Place::BallLine) }],
        vertical: Some(marks(&shot, [0.4, -0.5, 0.1], [0.4, -0.5, 2.0])),
        ..shot.request()
    };
    let c = solve(&shot, &blurred(&shot, [0.0, 0.02, 0.0, 0.0], 0.03), &request).unwrap();
    assert!((c.attitude.roll - shot.attitude.roll).abs() < 0.006, "{}", c.attitude.roll);
    assert_relative_eq!(c.stature_m.value, STATURE, max_relative = 0.01);
}

#[test]
fn without_a_stature_the_populations_spread_is_stated() {
    let shot = face();
    let request = CalibrationRequest::new(shot.view, shot.handed, shot.size);
    let got = calibrate(&shot.lifted(&SWING), &SWING.events(0.0), &request).unwrap();
    assert!(got.output.scale_relative_sd() > 0.05);
    assert!(got.warnings.iter().any(|w| w.text.contains("No stature")));
}

#[test]
fn what_cannot_be_is_said_in_one_line() {
    let shot = face();
    let lifted = shot.lifted(&SWING);
    let good = shot.request();
    let reference = Reference { front_m: Some(0.6), ..rod(&shot, 0.6, Place::BallLine) };
    let with = |r: Reference| CalibrationRequest { references: vec![r], ..good.clone() };
    let sky = Segment {
        from: crate::frames::Pixel::new(100.0, 100.0),
        to: crate::frames::Pixel::new(600.0, 100.0),
    };
    let dot = Segment { to: reference.marks.from, ..reference.marks };
    let out = Segment { to: crate::frames::Pixel::new(9000.0, 10.0), ..reference.marks };
    let cases = [
        with(Reference { length: Estimate::new(0.0, 0.01), ..reference }),
        with(Reference { length: Estimate::new(2.4, 0.003), ..reference }),
        with(Reference { marks: sky, ..reference }),
        with(Reference { marks: dot, ..reference }),
        with(Reference { marks: out, ..reference }),
        CalibrationRequest { stature: Some(Estimate::new(17.0, 0.01)), ..good.clone() },
        CalibrationRequest { stature: Some(Estimate::new(f64::NAN, 0.01)), ..good.clone() },
        CalibrationRequest { view: View::DownTheLine, ..good.clone() },
    ];
    for request in &cases {
        let error = solve(&shot, &lifted, request).unwrap_err();
        assert!(!error.to_string().contains('\n') && error.to_string().len() > 30, "{error}");
    }
    let contradiction = solve(&shot, &lifted, &cases[1]).unwrap_err();
    assert!(matches!(contradiction, CalibrationError::Contradiction { .. }), "{contradiction}");
    let wrong = solve(&shot, &lifted, &cases[7]).unwrap_err();
    assert!(matches!(wrong, CalibrationError::WrongView { .. }), "{wrong}");
}

/// A guess known to a degree gives way until a length twice too great fits: every mark is then
/// pleased, and it is how far the guess had to give way that tells of the mistake.
#[test]
fn a_length_that_only_the_guess_gives_way_to_is_said_to_be_wrong() {
    let shot = face();
    let lifted = blurred(&shot, [0.0; 4], 0.02);
    let said_to_be = |metres: f64| {
        let length = Estimate::new(metres, 0.003);
        let reference = Reference { length, ..rod(&shot, 0.75, Place::BallLine) };
        let request = CalibrationRequest { references: vec![reference], ..shot.request() };
        solve(&shot, &lifted, &request)
    };
    let c = said_to_be(1.2).unwrap();
    assert_relative_eq!(c.stature_m.value, STATURE, max_relative = 0.01);
    let wrong = said_to_be(2.4).unwrap_err();
    let about = matches!(
        wrong,
        CalibrationError::Contradiction { what: "the reference length", by } if by > 10.0
    );
    assert!(about, "{wrong}");
}

#[test]
fn an_impossible_body_is_noticed() {
    let shot = face();
    let mut lifted = shot.lifted(&SWING);
    for f in &mut lifted.frames {
        f.hips.vector = f.hips.vector * 2.5;
    }
    let got = calibrate(&lifted, &SWING.events(0.0), &shot.request()).unwrap();
    assert!(got.warnings.iter().any(|w| w.text.contains("hips")), "{:?}", got.warnings);
    let fine = calibrate(&shot.lifted(&SWING), &SWING.events(0.0), &shot.request()).unwrap();
    assert!(fine.warnings.is_empty(), "{:?}", fine.warnings);
}

/// A known lens of OpenCV bends and straightens points as OpenCV does.
#[test]
fn a_lens_bends_as_opencv_bends() {
    for shot in opencv::load().cameras {
        let size = opencv::picture(shot.size);
        let text = serde_json::json!({
            "image_size": shot.size, "camera_matrix": shot.camera_matrix, "dist_coeffs": shot.dist_coeffs,
        });
        let lens = Lens::parse(&text.to_string(), size).unwrap();
        let [[fx, _, cx], [_, fy, cy], _] = shot.camera_matrix;
        let (focal, centre) = ((fx * fy).sqrt(), size.centre());
        let straight = |x: f64, y: f64| Pixel::new(centre.x + focal * x, centre.y + focal * y);
        for (p, n) in shot.pixels.iter().zip(&shot.normalised) {
            let ours = lens.straightened(opencv::pixel(*p)).unwrap();
            assert!(ours.distance(straight(n[0], n[1])) < 1e-4, "{ours:?} {n:?}");
        }
        for (bent, pinhole) in shot.distorted.iter().zip(&shot.pinhole) {
            let ideal = straight((pinhole[0] - cx) / fx, (pinhole[1] - cy) / fy);
            assert!(lens.seen(ideal).distance(opencv::pixel(*bent)) < 1e-6);
            assert!(lens.straightened(opencv::pixel(*bent)).unwrap().distance(ideal) < 1e-4);
        }
        assert_relative_eq!(lens.log_focal().value, (focal / size.long()).ln(), epsilon = 1e-12);
    }
}

/// Marks on the ground and a post turn a poor guess into the pose that OpenCV solves from
/// eight marks, within what we say we know.
#[test]
fn marks_give_the_pose_that_opencv_solves() {
    for marks in opencv::load().marks {
        let theirs = opencv::attitude(&marks.rotation);
        let r = opencv::matrix(&marks.rotation);
        let shot = Shot {
            attitude: theirs,
            focal_px: marks.focal,
            size: opencv::picture(marks.size),
            centre: opencv::golf((-r.transpose() * Vector3::from(marks.shift)).into()),
            ..face()
        };
        let line = |from: usize, to: usize| Segment {
            from: opencv::pixel(marks.pixels[from]),
            to: opencv::pixel(marks.pixels[to]),
        };
        let request = CalibrationRequest {
            vertical: Some(line(4, 5)),
            target_line: Some(line(0, 1)),
            references: vec![Reference {
                marks: line(0, 1),
                length: Estimate::new(1.2, 0.003),
                place: Place::BallLine,
                front_m: Some(1.0),
            }],
            log_focal: Some(Estimate::new((marks.focal / shot.size.long()).ln(), 0.002)),
            ..shot.request()
        };
        let lifted = blurred(&shot, [0.03, 0.03, -0.06, 0.1], 0.06);
        let (ours, plain) = (
            solve(&shot, &lifted, &request).unwrap(),
            solve(&shot, &lifted, &shot.request()).unwrap(),
        );
        let (sd, before) = (ours.attitude_sd(), plain.attitude_sd());
        for (ours, theirs, sd) in [
            (ours.attitude.pitch, theirs.pitch, sd.pitch),
            (ours.attitude.roll, theirs.roll, sd.roll),
            (ours.attitude.azimuth, theirs.azimuth, sd.azimuth),
        ] {
            assert!((ours - theirs).abs() < 2.5 * sd, "{ours} {theirs} {sd}");
        }
        // one rod says little about the tilt
        assert!(sd.roll < 0.4 * before.roll && sd.azimuth < 0.7 * before.azimuth, "{sd:?}");
        assert!((ours.attitude.roll - theirs.roll).abs() < 0.5_f64.to_radians());
    }
}
