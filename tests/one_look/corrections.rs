//! What the coach sets by hand changes what hangs on it and nothing else; taking it back gives
//! the result as it was, byte for byte; and it takes no new look at the clip.

use std::time::Instant;

use hubgauge::body::Joint;
use hubgauge::calibration::{ScaleMethod, View};
use hubgauge::error::Error;
use hubgauge::events::Event;
use hubgauge::frames::Handed;
use hubgauge::geometry::Measure;
use hubgauge::results::SwingResult;
use hubgauge::run::evaluate::{Evaluated, evaluate};

use super::{SEEN, options};

fn try_with(clips: usize, corrections: &str) -> Result<Evaluated, Error> {
    let mut options = options(clips);
    options.set_corrections(corrections)?;
    evaluate(&SEEN[..clips], &options, Vec::new())
}

fn with(clips: usize, corrections: &str) -> SwingResult {
    try_with(clips, corrections).unwrap().result
}

fn value(result: &SwingResult, event: Event, measure: Measure) -> f64 {
    result.measures[&event][&measure].estimate().unwrap().value
}

/// Largest change of the measures at an event, by the sd before.
fn change(a: &SwingResult, b: &SwingResult, event: Event) -> f64 {
    let known = |m: &Measure| {
        let (a, b) = (a.measures[&event][m].estimate()?, b.measures[&event][m].estimate()?);
        Some(if a.sd > 0.0 { (a.value - b.value).abs() / a.sd } else { 0.0 })
    };
    Measure::ALL.iter().filter_map(known).fold(0.0, f64::max)
}

fn top_frame(result: &SwingResult) -> usize {
    result.events[&Event::Top].frames[&View::FaceOn]
}

#[test]
fn a_dragged_event_is_there_and_only_what_hangs_on_it_moves() {
    let plain = with(1, "[]");
    let frame = top_frame(&plain) + 4;
    let text = format!(r#"[{{"kind":"event","view":"face-on","event":"top","frame":{frame}}}]"#);
    let start = Instant::now();
    let moved = with(1, &text);
    println!("recomputed in {:.3} s", start.elapsed().as_secs_f64());
    assert_eq!(top_frame(&moved), frame);
    assert!((moved.events[&Event::Top].sd_s - 0.5 / 60.0).abs() < 1e-3);
    let later = |r: &SwingResult| r.swing[&hubgauge::results::SwingMeasure::BackswingS].clone();
    let (a, b) = (later(&plain).estimate().unwrap(), later(&moved).estimate().unwrap());
    let by = moved.events[&Event::Top].time_s - plain.events[&Event::Top].time_s;
    assert!((b.value - a.value - by).abs() < 2e-3, "{a:?} {b:?} {by}");
    for event in [Event::Takeaway, Event::Impact, Event::Finish] {
        assert_eq!(moved.events[&event], plain.events[&event]);
        // The fit's knots moved a little, nothing else.
        assert!(change(&plain, &moved, event) < 0.1, "{event:?}");
    }
    assert!(change(&plain, &moved, Event::Top) > 0.3);
    assert_eq!(moved.corrections.len(), 1);
    assert!(moved.notes.iter().any(|n| n.contains("top (face-on, frame")), "{:?}", moved.notes);
}

#[test]
fn an_arm_level_set_by_hand_stays_where_it_was_set() {
    let plain = with(1, "[]");
    let frame = plain.events[&Event::Transition].frames[&View::FaceOn] - 2;
    let text =
        format!(r#"[{{"kind":"event","view":"face-on","event":"transition","frame":{frame}}}]"#);
    let moved = with(1, &text);
    assert_eq!(moved.events[&Event::Transition].frames[&View::FaceOn], frame);
    assert_eq!(moved.events[&Event::Top], plain.events[&Event::Top]);
}

#[test]
fn a_dragged_hub_moves_its_measures_there_and_hardly_anywhere_else() {
    let plain = with(1, "[]");
    let frame = top_frame(&plain);
    let lifted = &SEEN[0].lifted;
    let at = lifted.frames.iter().find(|f| f.index == frame).unwrap();
    let hub = at.points[Joint::LowerHub].at;
    let stature_px = at.log_stature_px.value.exp();
    let by = 0.05 / 1.79 * stature_px;
    let text = format!(
        r#"[{{"kind":"point","view":"face-on","frame":{frame},"joint":"lower_hub","at":[{},{}]}}]"#,
        hub.x + by,
        hub.y
    );
    let moved = with(1, &text);
    let went = |m: Measure| value(&moved, Event::Top, m) - value(&plain, Event::Top, m);
    println!(
        "5 cm by hand: lower hub {:.2} cm, upper {:.2}, offset {:.2}, tilt {:.2} deg; sd {:?} -> {:?}",
        went(Measure::LowerHubTarget),
        went(Measure::UpperHubTarget),
        went(Measure::HubOffset),
        went(Measure::SpineTilt),
        plain.measures[&Event::Top][&Measure::LowerHubTarget],
        moved.measures[&Event::Top][&Measure::LowerHubTarget],
    );
    assert!((4.0..6.0).contains(&went(Measure::LowerHubTarget)));
    assert!((-6.0..-4.0).contains(&went(Measure::HubOffset)));
    assert!(went(Measure::UpperHubTarget).abs() < 0.7);
    assert_eq!(moved.events, plain.events);
    for event in [Event::Address, Event::Takeaway, Event::Finish] {
        assert!(
            change(&plain, &moved, event) < 0.15,
            "{event:?} {}",
            change(&plain, &moved, event)
        );
    }
    // A limb that no measure looks at changes nothing but the drawing.
    let knee = format!(
        r#"[{{"kind":"point","view":"face-on","frame":{frame},"joint":"lead_knee","at":[300,700]}}]"#
    );
    let evaluated = try_with(1, &knee).unwrap();
    assert_eq!(evaluated.result.measures, plain.measures);
    let drawn = evaluated.views[0].lifted.frames.iter().find(|f| f.index == frame).unwrap();
    assert!((drawn.points[Joint::LeadKnee].at.x - 300.0).abs() < 0.01);
}

#[test]
fn marks_for_the_camera_replace_what_was_there() {
    let plain = with(1, "[]");
    let vertical =
        with(1, r#"[{"kind":"vertical","view":"face-on","from":[100,900],"to":[140,100]}]"#);
    assert!(
        (value(&vertical, Event::Top, Measure::SpineTilt)
            - value(&plain, Event::Top, Measure::SpineTilt))
        .abs()
            > 0.5
    );
    // When the arm is level hangs on the camera, and a little the sound's way to it.
    for event in [Event::Takeaway, Event::Top, Event::Finish] {
        assert_eq!(vertical.events[&event], plain.events[&event]);
    }
    let impact = |result: &SwingResult| result.events[&Event::Impact].time_s;
    assert!((impact(&vertical) - impact(&plain)).abs() < 0.003);
    // The rod of the fixture; where it is said to be longer, centimetres follow.
    let rod = |metres: f64| {
        let text = format!(
            r#"[{{"kind":"reference","view":"face-on","from":[149,943],"to":[554,939],"length_m":{metres},"place":"ball-line"}}]"#
        );
        with(1, &text)
    };
    let travel = |metres: f64| value(&rod(metres), Event::Top, Measure::LowerHubTarget);
    assert_eq!(rod(1.2).scale.method, ScaleMethod::Reference);
    println!("rod of 1.1, 1.2, 1.3 m: {:.2} {:.2} {:.2} cm", travel(1.1), travel(1.2), travel(1.3));
    assert!(travel(1.1).abs() < travel(1.2).abs() && travel(1.2).abs() < travel(1.3).abs());
}

/// A rectangle of 1.2 m along the target line and 1.0 m toward the ball from 0.1 m behind the
/// feet, where the renderer's own projection puts its corners.
fn rectangle(along: f64, toward: f64) -> String {
    let corners = [
        ([182.3, 878.7], 0.0, 0.0),
        ([512.6, 875.0], along, 0.0),
        ([575.3, 983.0], along, toward),
        ([120.6, 988.7], 0.0, toward),
    ];
    let marks = corners.map(|([x, y], target, ball)| {
        format!(r#"{{"at":[{x},{y}],"target_m":{target},"ball_m":{ball}}}"#)
    });
    format!(r#"[{{"kind":"ground","view":"face-on","marks":[{}]}}]"#, marks.join(","))
}

#[test]
fn four_marks_on_the_ground_tell_the_camera() {
    let camera = |text: &str| try_with(1, text).unwrap().views[0].calibration;
    let (plain, marked) = (camera("[]"), camera(&rectangle(1.2, 1.0)));
    // The renderer's focal length is 1004.6 pixels.
    println!("focal {:.0} -> {:.0}", plain.focal_px, marked.focal_px);
    assert!(marked.focal_relative_sd() < 0.75 * plain.focal_relative_sd());
    assert!((marked.focal_px / 1004.6 - 1.0).abs() < 2.0 * marked.focal_relative_sd());
    let result = with(1, &rectangle(1.2, 1.0));
    assert_eq!(result.scale.method, ScaleMethod::Camera);
    assert!(result.notes.iter().any(|n| n.contains("4 marks on the ground")), "{:?}", result.notes);
    let Err(error) = try_with(1, &rectangle(9.0, 1.0)) else { panic!("a mat of 9 m") };
    assert!(error.to_string().contains("check the marks"), "{error}");
}

#[test]
fn a_rod_that_was_found_can_be_left() {
    let noted = |e: &Evaluated| e.result.notes.iter().any(|n| n.contains("A rod found"));
    let found = try_with(2, "[]").unwrap();
    assert!(found.views[0].calibration.rod.is_some() && noted(&found));
    let other = try_with(2, r#"[{"kind":"no_rod","view":"down-the-line"}]"#).unwrap();
    assert!(other.views[0].calibration.rod.is_some());
    let left = try_with(2, r#"[{"kind":"no_rod","view":"face-on"}]"#).unwrap();
    assert!(left.views[0].calibration.rod.is_none() && !noted(&left));
    let marked = r#"[{"kind":"target_line","view":"face-on","from":[149,943],"to":[554,939]}]"#;
    assert!(try_with(2, marked).unwrap().views[0].calibration.rod.is_none());
}

#[test]
fn view_and_hand_follow_at_once_and_another_person_needs_another_look() {
    let wrong = try_with(1, r#"[{"kind":"view","clip":0,"view":"down-the-line"}]"#);
    assert!(matches!(wrong, Err(Error::Calibration(_))));
    let left = with(1, r#"[{"kind":"handed","handed":"left"}]"#);
    assert_eq!(left.pupil.handed, Handed::Left);
    let same = with(1, r#"[{"kind":"handed","handed":"left"},{"kind":"handed","handed":"right"}]"#);
    assert_eq!(same.measures, with(1, "[]").measures);
    let person = r#"[{"kind":"person","view":"face-on","frame":0,"at":[340,640]}]"#;
    assert!(matches!(try_with(1, person), Err(Error::LookAgain { clip: 0 })));
}

#[test]
fn an_event_set_in_one_of_two_clips_counts_for_both() {
    let plain = with(2, "[]");
    let frame = top_frame(&plain) + 5;
    let text = format!(r#"[{{"kind":"event","view":"face-on","event":"top","frame":{frame}}}]"#);
    let start = Instant::now();
    let moved = with(2, &text);
    println!("two clips recomputed in {:.3} s", start.elapsed().as_secs_f64());
    assert_eq!(top_frame(&moved), frame);
    let there = |r: &SwingResult, e: Event| {
        let frame = r.events[&e].frames[&View::DownTheLine];
        SEEN[1].time(frame).unwrap() + r.clips[1].offset_s.unwrap()
    };
    let by = moved.events[&Event::Top].time_s - plain.events[&Event::Top].time_s;
    let went = there(&moved, Event::Top) - there(&plain, Event::Top);
    // To the nearest frame of that clip.
    assert!(by > 0.06 && (went - by).abs() < 0.04, "{went} {by}");
    assert!((there(&moved, Event::Impact) - there(&plain, Event::Impact)).abs() < 0.005);
}

#[test]
fn taking_back_gives_the_same_bytes() {
    let one = r#"{"kind":"event","view":"face-on","event":"impact","frame":127}"#;
    let two = r#"{"kind":"point","view":"face-on","frame":110,"joint":"upper_hub","at":[350,520]}"#;
    let json = |list: &str| with(1, list).to_json().unwrap();
    let (none, first) = (json("[]"), json(&format!("[{one}]")));
    let both = json(&format!("[{one},{two}]"));
    assert_ne!(first, both);
    assert_ne!(none, first);
    assert_eq!(json(&format!("[{one}]")), first);
    assert_eq!(json("[]"), none);
    assert!(!none.contains("corrections"));
}

#[test]
fn a_correction_that_fits_nothing_is_refused_in_one_line() {
    for text in [
        r#"[{"kind":"event","view":"face-on","event":"top","frame":99999}]"#,
        r#"[{"kind":"event","view":"down-the-line","event":"top","frame":9}]"#,
        r#"[{"kind":"event","view":"face-on","event":"impact","frame":3}]"#,
        r#"[{"kind":"point","view":"face-on","frame":99999,"joint":"head","at":[3,4]}]"#,
        r#"[{"kind":"vertical","view":"face-on","from":[100,900],"to":[5000,100]}]"#,
        r#"[{"kind":"ground","view":"face-on","marks":[]}]"#,
        r#"[{"kind":"ground","view":"face-on","marks":[{"at":[1,2],"target_m":0,"ball_m":0}]}]"#,
        r#"[{"kind":"ground","view":"face-on","marks":[{"at":[1,2],"target_m":0,"ball_m":0},{"at":[90,2],"target_m":99,"ball_m":0}]}]"#,
        r#"[{"kind":"no_rod","view":"down-the-line"}]"#,
    ] {
        let Err(error) = try_with(1, text) else { panic!("{text}") };
        assert!(!error.to_string().contains('\n'), "{error}");
        println!("{error}");
    }
}
