//! A comparison from result files: invented numbers.

use super::*;
use crate::results::SwingResult;

/// A face-on result; `shift` is added to the lower hub at the top.
pub fn result(clip: &str, shift: f64) -> SwingResult {
    let value = -6.0 + shift;
    SwingResult::from_json(&format!(
        r#"{{
  "schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0",
  "pupil": {{"stature_m": 1.79, "handed": "right"}},
  "clips": [{{"view": "face-on", "file": "{clip}.mp4", "sha256": "{clip}", "frames": 360,
     "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.992,
     "time_scale": 1.0, "camera_motion": "still"}}],
  "scale": {{"method": "stature", "relative_sd": 0.03}},
  "events": {{"top": {{"time_s": 1.86, "sd_s": 0.008, "frames": {{"face-on": 223}}}}}},
  "measures": {{"top": {{
      "lower_hub_target": {{"value": {value}, "sd": 0.8, "unit": "cm"}},
      "upper_hub_target": {{"value": 1.0, "sd": 0.8, "unit": "cm"}},
      "forward_bend": {{"missing": "needs a down-the-line clip"}}}}}},
  "swing": {{"backswing_s": {{"value": 0.86, "sd": 0.02, "unit": "s"}}}},
  "explain": {{"sources": {{"top": {{
      "lower_hub_target": {{"keypoints": 0.7, "timing": 0.1, "scale": 0.1, "tilt": 0.05, "aim": 0.05}},
      "upper_hub_target": {{"keypoints": 0.7, "timing": 0.1, "scale": 0.1, "tilt": 0.05, "aim": 0.05}}}}}}}},
  "notes": []}}"#
    ))
    .unwrap()
}

fn compared(
    before: &[f64],
    after: &[f64],
    question: &Question,
) -> Result<Comparison, CompareError> {
    let name = |side: &str, i: usize| format!("{side}{i}");
    let made: Vec<Vec<(String, SwingResult)>> = [("b", before), ("a", after)]
        .into_iter()
        .map(|(side, shifts)| {
            let one = |(i, shift): (usize, &f64)| (name(side, i), result(&name(side, i), *shift));
            shifts.iter().enumerate().map(one).collect()
        })
        .collect();
    let swings = |side: &'static str| {
        let made = &made[usize::from(side == "after")];
        made.iter().map(|(label, result)| Swing { label, result }).collect::<Vec<_>>()
    };
    compare(&swings("before"), &swings("after"), question)
}

fn both<'a>(a: &'a SwingResult, b: &'a SwingResult) -> [Swing<'a>; 2] {
    [Swing { label: "a", result: a }, Swing { label: "b", result: b }]
}

fn lower_hub(comparison: &Comparison) -> &Line {
    comparison.lines.iter().find(|l| l.key.to_string() == "top.lower_hub_target").unwrap()
}

#[test]
fn a_large_change_moved_a_small_one_is_not_shown_and_few_swings_are_said_to_be_few() {
    let question = Question { same_setup: true, ..Question::default() };
    let large =
        compared(&[0.0, 0.4, -0.3, 0.1, -0.2], &[5.0, 5.3, 4.8, 5.1, 4.6], &question).unwrap();
    let line = lower_hub(&large);
    assert_eq!(line.verdict, Verdict::Moved, "{line:?}");
    assert!(line.sentence.starts_with("moved 5.0 cm toward the target"), "{}", line.sentence);
    assert_eq!((large.looked_at, line.before.n, line.before.swings.len()), (3, 5, 5));
    assert!(line.change.permutation.unwrap().p < 0.008);

    let small = compared(&[0.0, 0.4, -0.3], &[0.2, 0.5, -0.4], &question).unwrap();
    assert_eq!(lower_hub(&small).verdict, Verdict::NotShown);

    let few = compared(&[0.0, 1.8], &[5.0, 6.5], &question).unwrap();
    assert_eq!(lower_hub(&few).verdict, Verdict::TooFewSwings, "{:?}", lower_hub(&few));
}

#[test]
fn one_swing_a_side_says_that_the_scatter_is_unknown() {
    let one = compared(&[0.0], &[6.0], &Question::default()).unwrap();
    assert_eq!(lower_hub(&one).change.scatter, Scatter::Unknown);
    assert_eq!(lower_hub(&one).verdict, Verdict::Moved);
    assert!(one.notes[0].contains("unknown"), "{:?}", one.notes);
    let same = compared(&[0.0], &[0.0], &Question::default()).unwrap();
    assert!(same.lines.iter().all(|line| line.verdict == Verdict::NotShown));
}

#[test]
fn the_same_set_up_narrows_the_interval() {
    let width = |same_setup| {
        let got =
            compared(&[0.0], &[0.0], &Question { same_setup, ..Question::default() }).unwrap();
        lower_hub(&got).change.high
    };
    assert!(width(true) < 0.9 * width(false), "{} {}", width(true), width(false));
}

#[test]
fn what_cannot_be_compared_is_refused_or_named() {
    let missing = compared(&[0.0], &[1.0], &Question::default()).unwrap().missing;
    let bend = missing.iter().find(|a| a.key.to_string() == "top.forward_bend").unwrap();
    assert_eq!(bend.reason, "before: needs a down-the-line clip");
    assert!(matches!(compared(&[], &[1.0], &Question::default()), Err(CompareError::NoSwing)));
    let nowhere = Question { events: vec![Event::Finish], ..Question::default() };
    assert_eq!(compared(&[0.0], &[1.0], &nowhere).unwrap().looked_at, 1);
    let bend = Question { keys: vec!["top.forward_bend".parse().unwrap()], ..Question::default() };
    assert!(matches!(compared(&[0.0], &[1.0], &bend), Err(CompareError::NothingInCommon)));
    let (a, mut b) = (result("x", 0.0), result("x", 0.0));
    let twice = compare(&both(&a, &b), &both(&a, &b)[..1], &Question::default());
    assert!(matches!(twice, Err(CompareError::Twice(..))));
    b.pupil.handed = crate::frames::Handed::Left;
    let hands = compare(&both(&a, &b)[..1], &both(&a, &b)[1..], &Question::default());
    assert!(matches!(hands, Err(CompareError::OtherHand(..))));
}

#[test]
fn a_coachs_target_gets_its_distance() {
    let target: Target = "top.lower_hub_target=-2cm".parse().unwrap();
    let question = Question { targets: vec![target], ..Question::default() };
    let got = compared(&[0.0], &[0.5], &question).unwrap();
    let distance = lower_hub(&got).target.clone().unwrap();
    assert!((distance.distance + 3.5).abs() < 1e-9);
    assert!((distance.high - distance.distance - 1.96 * 0.8).abs() < 1e-3, "{distance:?}");
    assert!(
        distance.sentence.starts_with("off the target of -2.0 cm: 3.5 cm below"),
        "{}",
        distance.sentence
    );
    for wrong in
        ["top.lower_hub_target", "top.lower_hub_target=x", "top.x=1", "=1", "top.hub_offset=nan"]
    {
        assert!(wrong.parse::<Target>().is_err(), "{wrong}");
    }
    let other = Question { targets: vec!["top.head_up=1".parse().unwrap()], ..Question::default() };
    assert!(matches!(compared(&[0.0], &[1.0], &other), Err(CompareError::TargetNotLookedAt(_))));
}

#[test]
fn the_text_fits_and_the_json_says_what_it_is() {
    let got = compared(&[0.0, 0.4, -0.3], &[6.0, 6.3, 5.8], &Question::default()).unwrap();
    let text = table(&got);
    println!("{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    assert!(text.contains("3 values were looked at together"));
    assert!(super::looked_at(1).starts_with("One value was looked at; the chance of a false"));
    let json: serde_json::Value = serde_json::from_str(&got.to_json().unwrap()).unwrap();
    assert_eq!(json["schema"], "hubgauge.compare/1");
    assert_eq!(json["lines"][0]["key"], "top.lower_hub_target");
    assert_eq!(json["lines"][0]["before"]["swings"][1]["value"], -5.6);
}
