//! The sheet on invented input: it holds everything or says what it left out, and no text lies on
//! another or leaves the page.

use std::sync::Arc;

use super::*;
use crate::chart::{DecimalMark, LengthUnit, Lettering};
use crate::compare::{Question, Swing, compare};
use crate::results::{Series, SwingResult};

const PAPERS: [Paper; 2] = [Paper::A4, Paper::Letter];
const WORDS: &str =
    "Turn around your breastbone. The trail hip goes back, not away from the target.";

fn kept(name: &str) -> SwingResult {
    let text = match name {
        "before" => include_str!("../../fixtures/sheet/before.json"),
        _ => include_str!("../../fixtures/sheet/after.json"),
    };
    SwingResult::from_json(text).unwrap()
}

fn photo(caption: &str) -> Photo {
    let picture = Arc::new(image::RgbImage::from_pixel(64, 100, image::Rgb([90, 120, 90])));
    Photo { picture, caption: caption.to_owned() }
}

fn two_swings(style: Style) -> SheetInput {
    let (before, after) = (kept("before"), kept("after"));
    let swing = |label, result| Swing { label, result };
    let compared =
        compare(&[swing("before", &before)], &[swing("after", &after)], &Question::hubs()).unwrap();
    let series = Series::default();
    let part = |name, result| SwingPart { name, result, series: &series };
    let content =
        Content::new(part("before", &before), Some(part("after", &after)), Some(&compared), style);
    filled(content, style)
}

fn one_swing(result: &SwingResult) -> SheetInput {
    let (series, style) = (Series::default(), Style::default());
    let part = SwingPart { name: "swing 1", result, series: &series };
    filled(Content::new(part, None, None, style), style)
}

fn filled(content: Content, style: Style) -> SheetInput {
    SheetInput {
        paper: Paper::A4,
        style,
        name: "Kim Example".to_owned(),
        date: "25 November 2026".to_owned(),
        club: "7 iron".to_owned(),
        answers: content.answers,
        photos: vec![photo("Before: top"), photo("After: top")],
        ladder: content.ladder,
        differences: content.differences,
        values: content.values,
        remarks: content.remarks,
        words: WORDS.to_owned(),
        tasks: parse(DEFAULT_TASKS).unwrap().into_iter().take(2).collect(),
        made: content.made,
        invented: true,
    }
}

fn all_text(page: &Sheet) -> String {
    let texts = page.drawing.texts().into_iter().map(|(text, _)| text);
    texts.collect::<Vec<_>>().join(" ").replace('\u{a0}', " ")
}

/// Lays the page out, checks that it is tidy, and hands back what was left out.
fn checked(input: &SheetInput) -> (String, Vec<String>) {
    let page = sheet(input, &Lettering::new(false));
    crate::chart::assert_tidy(&page.drawing);
    (all_text(&page), page.warnings)
}

#[test]
fn a_usual_sheet_holds_everything_on_both_papers_in_every_style() {
    for paper in PAPERS {
        for (length, decimal) in
            [(LengthUnit::Cm, DecimalMark::Point), (LengthUnit::Inch, DecimalMark::Comma)]
        {
            let input = SheetInput { paper, ..two_swings(Style { length, decimal }) };
            let (text, warnings) = checked(&input);
            assert_eq!(warnings, Vec::<String>::new(), "{paper:?}");
            for part in [
                "Kim Example",
                "7 iron",
                "INVENTED",
                WORDS,
                "Trail hip stays off",
                "no diagnosis",
                "rendered bodies",
                "licensed health professional",
                "hubgauge",
            ] {
                assert!(text.contains(part), "{part} in {text}");
            }
        }
    }
}

#[test]
fn its_numbers_are_those_of_the_results() {
    let input = two_swings(Style::default());
    let (text, _) = checked(&input);
    let style = Style::default();
    for (name, event) in [("before", "before"), ("after", "after")] {
        let result = kept(name);
        let known = result
            .known(crate::events::Event::Top, crate::geometry::Measure::LowerHubTarget)
            .unwrap();
        let shown = style.signed(known.value, 1);
        assert!(text.contains(&format!("{shown} cm")), "{event}: {shown} in {text}");
    }
}

#[test]
fn one_swing_alone_has_its_values() {
    for paper in PAPERS {
        let input = SheetInput { paper, ..one_swing(&kept("before")) };
        let (text, warnings) = checked(&input);
        assert_eq!(warnings, Vec::<String>::new());
        assert!(text.contains("at impact") && text.contains("spine tilt"), "{text}");
    }
}

#[test]
fn missing_measures_are_said_with_their_reason() {
    let mut result = kept("before");
    for measures in result.measures.values_mut() {
        for (measure, value) in measures.iter_mut() {
            let line = serde_json::to_string(measure).unwrap();
            if line.contains("ball") || line.contains("bend") {
                *value = crate::results::Value::missing("needs a down-the-line clip");
            }
        }
    }
    let (text, _) = checked(&one_swing(&result));
    assert!(text.contains("needs a down-the-line clip"), "{text}");
}

#[test]
fn names_of_sixty_letters_in_any_script_stay_on_the_page() {
    for name in [
        "Maximiliana Konstantinopolitanska-Hohenzollern Featherstonehaugh",
        "Александра Константиновна Преображенская-Рождественская-Воскр",
        "山田太郎",
        "محمد عبد الرحمن",
    ] {
        let mut input = two_swings(Style::default());
        input.name = name.to_owned();
        input.club = "a club with a very long name indeed, and then some more".to_owned();
        let (_, warnings) = checked(&input);
        let needs_fonts = name.chars().any(|c| c > '\u{590}');
        assert_eq!(warnings.len(), usize::from(needs_fonts), "{warnings:?}");
    }
}

#[test]
fn what_does_not_fit_is_left_out_and_told() {
    for paper in PAPERS {
        let mut input = SheetInput { paper, ..two_swings(Style::default()) };
        input.words = WORDS.repeat(40);
        input.tasks = parse(DEFAULT_TASKS).unwrap();
        let (text, warnings) = checked(&input);
        assert!(warnings.iter().any(|w| w.contains("words have no room")), "{warnings:?}");
        assert!(warnings.iter().any(|w| w.contains("was left out")), "{warnings:?}");
        assert!(text.contains("Trail hip stays off") && text.contains(" …"));
    }
}

#[test]
fn a_bare_sheet_is_a_sheet() {
    for paper in PAPERS {
        let mut input = SheetInput { paper, ..one_swing(&kept("before")) };
        input.photos.clear();
        input.tasks.clear();
        (input.name, input.date, input.words) = Default::default();
        checked(&input);
        input.ladder = None;
        checked(&input);
    }
}
