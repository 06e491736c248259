//! The ladder on invented swings: nothing overlaps, numbers are the result's own.

use super::*;
use crate::chart::drawing::assert_tidy;
use crate::chart::{DecimalMark, LengthUnit, Lettering};

/// Invented: both hubs go `reach` cm apart and come back, sampled 60 times a second.
pub fn invented(name: &str, reach: f64, times: [f64; 7]) -> Ladder {
    let known = |value| Some(Estimate::new(value, 0.8));
    let at = |time_s: f64| {
        let phase = (time_s - times[0]) / (times[6] - times[0]) * std::f64::consts::TAU;
        let travel = reach * phase.sin();
        Rung { time_s, lower: known(-travel), upper: known(0.8 * travel) }
    };
    let rows = (0..180).map(|i| at(f64::from(i) / 60.0)).collect();
    let events = Event::ALL.into_iter().zip(times).map(|(event, time)| (event, at(time)));
    Ladder { name: name.to_owned(), rows, events: events.collect() }
}

pub const TIMES: [f64; 7] = [0.56, 0.99, 1.53, 1.855, 2.005, 2.126, 2.64];
/// Fast and crowded: events a few hundredths of a second apart.
const CROWDED: [f64; 7] = [0.5, 0.52, 0.55, 0.58, 0.6, 0.62, 2.9];

fn input(swing: Ladder, over: Option<Ladder>, width: f64) -> LadderInput {
    LadderInput { line: Line::Target, swing, over, style: Style::default(), width, height: None }
}

#[test]
fn words_never_overlap_at_any_width_in_any_style() {
    let letters = Lettering::new(false);
    let long = "a swing with a name of sixty letters, which is far too long x";
    for width in [320.0, 360.0, 519.0, 520.0, 720.0, 1200.0] {
        for times in [TIMES, CROWDED] {
            for over in [None, Some(invented(long, 3.0, TIMES))] {
                for (length, decimal) in
                    [(LengthUnit::Cm, DecimalMark::Point), (LengthUnit::Inch, DecimalMark::Comma)]
                {
                    let mut input = input(invented("before", 6.0, times), over.clone(), width);
                    input.style = Style { length, decimal };
                    let drawing = ladder(&input, &letters);
                    assert_tidy(&drawing);
                    assert!((drawing.width - width).abs() < 1e-9);
                }
            }
        }
    }
}

#[test]
fn every_event_is_named_with_the_result_s_own_number() {
    let letters = Lettering::new(false);
    let mut swing = invented("before", 6.0, TIMES);
    let top = Rung {
        time_s: TIMES[3],
        lower: Some(Estimate::new(-4.93, 0.81)),
        upper: Some(Estimate::new(5.46, 1.08)),
    };
    swing.events.insert(Event::Top, top);
    let drawing = ladder(&input(swing, None, 720.0), &letters);
    let texts: Vec<String> = drawing.texts().into_iter().map(|(text, _)| text).collect();
    for expected in ["top", "0.87 s", "-4.9 ± 0.8", "+5.5 ± 1.1", "arm level going back", "finish"]
    {
        assert!(texts.iter().any(|text| text == expected), "{expected} in {texts:?}");
    }
    assert!(drawing.description.contains("At top: lower hub 4.9 ± 0.8 cm away from the target"));
    let svg = drawing.to_svg();
    assert!(svg.contains("<title>Hub ladder: before</title>") && svg.contains("role=\"img\""));
    assert!(!svg.contains("style=") && !svg.contains("<style"));
}

#[test]
fn a_swing_over_another_has_its_events_at_the_same_heights() {
    let letters = Lettering::new(false);
    let slower = TIMES.map(|time| 0.3 + 1.4 * time);
    let over = Some(invented("after", 3.0, slower));
    let drawing = ladder(&input(invented("before", 6.0, TIMES), over, 720.0), &letters);
    let heights = |group: &str| {
        let shapes = drawing.shapes.iter().find_map(|shape| match shape {
            crate::chart::Shape::Group { name, shapes, .. } if name == group => Some(shapes),
            _ => None,
        });
        let mut found: Vec<f64> = Vec::new();
        for shape in shapes.unwrap() {
            if let crate::chart::Shape::Circle { centre, .. } = shape {
                found.push(centre.y);
            }
        }
        found
    };
    let (first, second) = (heights("before: events"), heights("after: events"));
    assert_eq!(first.len(), 7);
    assert!(first.iter().zip(&second).all(|(a, b)| (a - b).abs() < 1e-9));
}

#[test]
fn what_is_missing_is_said_and_breaks_the_line() {
    let letters = Lettering::new(false);
    let mut swing = invented("before", 6.0, TIMES);
    for row in &mut swing.rows[80..90] {
        row.upper = None;
    }
    swing.events.get_mut(&Event::Top).unwrap().upper = None;
    swing.events.remove(&Event::Finish);
    let drawing = ladder(&input(swing.clone(), None, 720.0), &letters);
    assert_tidy(&drawing);
    assert!(drawing.texts().iter().any(|(text, _)| text == "not measured"));
    assert!(drawing.description.contains("upper hub not measured"));
    swing.rows.clear();
    assert_tidy(&ladder(&input(swing, None, 720.0), &letters));
}

#[test]
fn all_three_outputs_are_made_and_the_same_each_time() {
    let letters = Lettering::new(false);
    let drawing = ladder(&input(invented("Žofie", 6.0, TIMES), None, 400.0), &letters);
    let picture = drawing.to_picture(&letters, 2.0).unwrap();
    assert_eq!(picture.width(), 800);
    let dark = picture.pixels().filter(|p| p.0.iter().all(|v| *v < 60)).count();
    assert!(dark > 1000, "{dark} dark pixels: is there text?");
    let pdf = drawing.to_pdf(&letters).unwrap();
    assert!(pdf.starts_with(b"%PDF"));
    assert_eq!(pdf, drawing.to_pdf(&Lettering::new(false)).unwrap());
    assert!(drawing.to_picture(&letters, 1e4).is_err());
}
