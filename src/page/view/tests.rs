//! Every page from invented data: nothing inline, nothing unnamed, nothing hostile let through.

use std::collections::BTreeMap;

use super::*;
use crate::calibration::View;
use crate::frames::Handed;
use crate::page::shown::*;
use crate::record::{Lesson, Pupil, Stored};
use crate::results::SwingResult;

/// Numbers invented here.
const RESULT: &str = r#"{
  "schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0",
  "pupil": {"stature_m": 1.79, "handed": "right"},
  "clips": [{"view": "face-on", "file": "a.mp4", "sha256": "0", "frames": 360, "width": 720,
    "height": 1280, "first_s": 0.0, "last_s": 2.992, "time_scale": 1.0, "camera_motion": "still"}],
  "scale": {"method": "stature", "relative_sd": 0.03},
  "events": {"address": {"time_s": 0.81, "sd_s": 0.05, "frames": {"face-on": 97}},
    "top": {"time_s": 1.86, "sd_s": 0.008, "frames": {"face-on": 223}}},
  "measures": {"address": {"lower_hub_target": {"value": 0.0, "sd": 0.4, "unit": "cm"}},
    "top": {"lower_hub_target": {"value": -6.1, "sd": 0.9, "unit": "cm"},
      "upper_hub_target": {"value": 1.0, "sd": 0.8, "unit": "cm"},
      "forward_bend": {"missing": "needs a down-the-line clip"}}},
  "swing": {"backswing_s": {"value": 0.86, "sd": 0.02, "unit": "s"}},
  "notes": ["the camera moved <a little>"]
}"#;

const HOSTILE: &str = "<img src=x onerror=alert(1)>\" style='x'";

pub fn clip(id: &str, state: ClipState) -> ClipShown {
    ClipShown {
        id: id.to_owned(),
        name: format!("{id} {HOSTILE}.mp4"),
        size_bytes: 1_255_842,
        arrived_unix_s: 1_795_637_534,
        created_unix_s: None,
        state,
        step: Some("reading".to_owned()),
        share: 0.4,
        message: (state == ClipState::Failed).then(|| "no golfer was found".to_owned()),
        view: Some(View::FaceOn),
        handed: Some(Handed::Right),
        capture_fps: None,
        too_slow: None,
        swing: None,
        has_picture: true,
    }
}

fn swing_shown(id: &str, label: &str, state: SwingState) -> SwingShown {
    SwingShown {
        id: id.to_owned(),
        label: label.to_owned(),
        club: "7 iron".to_owned(),
        notes: String::new(),
        pupil: Some(format!("Zoë {HOSTILE}")),
        minor: true,
        stature: Some("179cm".to_owned()),
        handed: Handed::Right,
        clips: BTreeMap::from([(View::FaceOn, format!("{id}-clip"))]),
        arrived_unix_s: 1_795_637_534,
        state,
        message: None,
        answer: Some("At the top the lower hub has moved 6.1 cm (± 0.9) away.".to_owned()),
        rods: vec![View::FaceOn],
        corrections: 1,
        recorded: None,
        proposed: false,
    }
}

fn pupil_kept() -> Pupil {
    Pupil {
        name: format!("Zoë {HOSTILE}"),
        stature_m: Some(1.79),
        handed: Handed::Right,
        minor: true,
        keep_pictures: false,
        notes: String::new(),
    }
}

fn swing_page() -> SwingPage {
    SwingPage {
        swing: swing_shown("s1", "after", SwingState::Ready),
        result: Some(SwingResult::from_json(RESULT).unwrap()),
        corrections: vec![
            serde_json::json!({"kind": "event", "view": "face-on", "event": "top", "frame": 3}),
        ],
        clips: vec![clip("s1-clip", ClipState::Ready)],
        others: vec![swing_shown("s2", "before", SwingState::Ready)],
        pupils: vec![pupil_kept()],
    }
}

fn bench_shown() -> BenchShown {
    let states = [
        ClipState::Waiting,
        ClipState::Looking,
        ClipState::Measuring,
        ClipState::Failed,
        ClipState::Cancelled,
    ];
    let alone = states.iter().enumerate().map(|(i, state)| clip(&format!("c{i}"), *state));
    BenchShown {
        clips: alone.chain([clip("s1-clip", ClipState::Ready)]).collect(),
        swings: vec![
            swing_shown("s1", "after", SwingState::Ready),
            swing_shown("s2", "before", SwingState::Ready),
            swing_shown("s3", "", SwingState::Waiting),
            swing_shown("s4", "", SwingState::Failed),
        ],
        pupils: vec![pupil_kept()],
        watched: Some("/clips".to_owned()),
        watch_trouble: [None, Some(format!("a{HOSTILE}.mp4"))]
            .map(|file| WatchTrouble { file, why: HOSTILE.to_owned() })
            .to_vec(),
        max_upload_bytes: 4_000_000_000,
    }
}

/// A lesson of a pupil, with words that want to be more than words.
fn lesson_shown() -> LessonShown {
    let stored = Stored {
        swing: 1,
        date: "2026-11-25".to_owned(),
        label: HOSTILE.to_owned(),
        club: HOSTILE.to_owned(),
        ball: String::new(),
        setup: String::new(),
        result: SwingResult::from_json(RESULT).unwrap(),
        results: 1,
    };
    let tasks = vec![HOSTILE.to_owned()];
    let lesson = Lesson { id: 1, date: stored.date.clone(), swings: 1, tasks };
    LessonShown { lesson, recorded: vec![stored] }
}

/// Every page, by name.
fn pages() -> Vec<(&'static str, String)> {
    let look = look::tests::plain();
    let page = swing_page();
    let comparison = ComparePage {
        before: vec![swing_shown("s2", "before", SwingState::Ready)],
        after: vec![swing_shown("s1", "after", SwingState::Ready)],
        swings: vec![
            swing_shown("s1", "after", SwingState::Ready),
            swing_shown("s2", "before", SwingState::Ready),
        ],
        comparison: None,
        message: Some(format!("they differ {HOSTILE}")),
        same_setup: true,
    };
    let given = HandOutPage {
        swing: swing_page(),
        before: Some(swing_shown("s2", "before", SwingState::Ready)),
        tasks: vec![TaskShown {
            id: "wall".to_owned(),
            title: format!("Wall {HOSTILE}"),
            body: "Ten times.".to_owned(),
            chosen: true,
        }],
        same_setup: false,
        words: format!("</textarea>{HOSTILE}"),
        paper: "a4".to_owned(),
    };
    let known = PupilPage {
        pupil: pupil_kept(),
        has_history: true,
        lessons: vec![lesson_shown()],
        older: Some(format!("2026-01-01{HOSTILE}")),
        newer: true,
        swings: vec![swing_shown("s1", "after", SwingState::Ready)],
    };
    let preferred = SettingsPage {
        settings: Settings::default(),
        tasks: HOSTILE.to_owned(),
        message: Some(HOSTILE.to_owned()),
    };
    vec![
        ("bench", bench(&bench_shown(), &look)),
        ("swing", swing(&page, &look)),
        ("check", check(&page, View::FaceOn, &look)),
        ("compare", compare(&comparison, &look)),
        ("hand-out", hand_out(&given, &look)),
        ("pupil", pupil(&known, &look)),
        ("settings", settings(&preferred, &look)),
        ("failure", failure(404, HOSTILE, &look)),
    ]
}

/// The tags of a page, each without its brackets.
fn tags(page: &str) -> Vec<&str> {
    page.split('<').skip(1).filter_map(|rest| rest.split('>').next()).collect()
}

#[test]
fn no_page_lets_anything_hostile_or_inline_through() {
    for (name, page) in pages() {
        assert!(page.starts_with("<!doctype html>"), "{name}");
        for tag in tags(&page) {
            let bare = tag.split('"').step_by(2).collect::<String>();
            assert!(!bare.contains(" on") && !bare.contains("style"), "{name}: {tag}");
            assert!(!tag.starts_with("img src=x"), "{name}: {tag}");
        }
        let scripts: Vec<_> = tags(&page).into_iter().filter(|t| t.starts_with("script")).collect();
        assert_eq!(scripts.len(), 1, "{name}");
    }
}

#[test]
fn every_page_says_its_words_not_their_keys() {
    for (name, page) in pages() {
        for key in
            ["bench.", "swing.", "check.", "hand.", "who.", "settings.", "measure.", "event."]
        {
            let shown = page.split('>').filter_map(|rest| rest.split('<').next());
            let leaked: Vec<_> =
                shown.filter(|text| text.starts_with(key) && !text.contains(' ')).collect();
            assert!(leaked.is_empty(), "{name}: {leaked:?}");
        }
    }
}

#[test]
fn a_swing_shows_its_numbers_with_errors_and_the_reason_for_a_missing_one() {
    let page = swing(&swing_page(), &look::tests::plain());
    for said in [
        "6.1\u{a0}±\u{a0}0.9\u{a0}cm",
        "away from the target",
        "within its error",
        "needs a down-the-line clip",
        "the camera moved &lt;a little&gt;",
        "compare?before=s2&amp;after=s1",
    ] {
        assert!(page.contains(said), "{said}");
    }
}

#[test]
fn before_and_after_of_one_pupil_invite_to_compare() {
    let look = look::tests::plain();
    let mut shown = bench_shown();
    assert!(bench(&shown, &look).contains("compare?before=s2&amp;after=s1"));
    shown.swings[1].pupil = Some("Somebody else".to_owned());
    assert!(!bench(&shown, &look).contains("compare?"));
}

#[test]
fn every_script_and_the_style_are_served_with_their_type() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/assets");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let (_, bytes) = asset(name).unwrap_or_else(|| panic!("{name} is not served"));
        assert_eq!(bytes, std::fs::read(&path).unwrap());
    }
    assert!(asset("../mod.rs").is_none() && asset("").is_none());
}

#[test]
fn a_correction_that_spoils_the_numbers_can_still_be_undone() {
    let mut page = swing_page();
    page.result = None;
    page.swing.state = SwingState::Failed;
    page.swing.message = Some("the length and the height contradict each other".to_owned());
    let html = check(&page, View::FaceOn, &look::tests::plain());
    assert!(html.contains("contradict") && html.contains("data-corrections"));
    assert!(html.contains("by-hand"));
}

#[test]
fn faces_are_blurred_for_a_minor_or_when_the_coach_prefers_it() {
    let blurred = |minor: bool, blur: bool| {
        let mut page = HandOutPage {
            swing: swing_page(),
            before: None,
            tasks: Vec::new(),
            same_setup: false,
            words: String::new(),
            paper: "letter".to_owned(),
        };
        page.swing.swing.minor = minor;
        let look = Look { blur, ..look::tests::plain() };
        let html = hand_out(&page, &look);
        assert!(html.contains("value=\"letter\" checked"));
        html.contains("name=\"blur\" value=\"1\" checked")
    };
    assert!(blurred(true, false) && blurred(false, true) && !blurred(false, false));
}
