//! Where each sd comes from. In: [`SwingResult`]. Out: plain text, largest cause first, with
//! what would halve the sd.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::words::{event_name, hung, measure_name, wrapped};
use super::{Causes, MotionNote, SwingResult, Value};
use crate::calibration::{ScaleMethod, View};
use crate::geometry::Measure;

const WIDTH: usize = 100;
/// Half an sd is a quarter of the variance: three quarters must go.
const TO_HALVE: f64 = 0.75;
/// A smaller share is not worth a word.
const WORTH_SAYING: f64 = 0.05;
/// From here on a faster clip says little more about when an event was (FACTS D10: at least
/// 120 frames a second for the timing of transition and impact, practice).
const FAST_FPS: f64 = 115.0;

/// A cause of error, as [`Causes`] counts them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Cause {
    Keypoints,
    Timing,
    Scale,
    Tilt,
    Aim,
    Depth,
    Ground,
}

impl Cause {
    fn name(self) -> &'static str {
        match self {
            Self::Keypoints => "body",
            Self::Timing => "timing",
            Self::Scale => "scale",
            Self::Tilt => "level",
            Self::Aim => "aim",
            Self::Depth => "distance",
            Self::Ground => "motion",
        }
    }
}

fn largest_first(causes: &Causes) -> Vec<(Cause, f64)> {
    let &Causes { keypoints, timing, scale, tilt, aim, depth, ground } = causes;
    let mut shares = vec![
        (Cause::Keypoints, keypoints),
        (Cause::Timing, timing),
        (Cause::Scale, scale),
        (Cause::Tilt, tilt),
        (Cause::Aim, aim),
        (Cause::Depth, depth),
        (Cause::Ground, ground),
    ];
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    shares
}

/// The causes that must go, largest first, for the sd to be halved.
fn to_halve(shares: &[(Cause, f64)]) -> Vec<Cause> {
    let (mut gone, mut causes) = (0.0, Vec::new());
    for &(cause, share) in shares {
        if gone >= TO_HALVE || share <= 0.0 {
            break;
        }
        gone += share;
        causes.push(cause);
    }
    causes
}

/// For each measure at each event its sd, where that comes from, and what would halve it.
#[must_use]
pub fn explain(result: &SwingResult) -> String {
    if result.explain.is_empty() {
        return "This result does not say where its errors come from: measure the clip again with \
                this program.\n"
            .to_owned();
    }
    let mut needed = BTreeSet::new();
    let mut out = "Where each error comes from, largest cause first, in shares of its square. Mend \
                   every cause with\na star and the error is half as large; how is said at the end.\n"
        .to_owned();
    for (&event, measures) in &result.explain.sources {
        let _ = writeln!(out, "\nAt {}", event_name(event));
        for (&measure, causes) in measures {
            if let Some(value) = result.measures.get(&event).and_then(|at| at.get(&measure)) {
                let shares = largest_first(causes);
                let mend = to_halve(&shares);
                out.push_str(&line(measure, value, &shares, &mend));
                needed.extend(mend);
            }
        }
    }
    out.push_str("\nWhat to do\n");
    for cause in needed {
        let text = format!("{}: {}", cause.name(), advice(cause, result));
        let _ = writeln!(out, "  {}", wrapped(&text, WIDTH - 2, 4));
    }
    out
}

fn line(measure: Measure, value: &Value, shares: &[(Cause, f64)], mend: &[Cause]) -> String {
    let said: Vec<String> = shares
        .iter()
        .filter(|(cause, share)| *share >= WORTH_SAYING || mend.contains(cause))
        .map(|(cause, share)| {
            let star = if mend.contains(cause) { "*" } else { "" };
            format!("{}{star} {:.0} %", cause.name(), 100.0 * share)
        })
        .collect();
    let (name, value) = (measure_name(measure), value.to_string());
    let start = format!("  {name:<31} {value:>14}  ");
    let indent = start.chars().count();
    format!("{start}{}\n", hung(&said.join(", "), WIDTH, indent))
}

/// What makes a cause smaller, given how this swing was filmed.
fn advice(cause: Cause, result: &SwingResult) -> &'static str {
    let seen = |view| result.clips.iter().any(|clip| clip.view == view);
    match cause {
        Cause::Keypoints if !(seen(View::FaceOn) && seen(View::DownTheLine)) => {
            "where the body is in the picture. Film the swing with two cameras, face-on and \
             down-the-line, and measure both clips together; close-fitting clothes, even light and a golfer who fills the picture help"
        }
        Cause::Keypoints => {
            "where the body is in the picture. Close-fitting clothes that stand out from the \
             background, even light and a golfer who fills the picture; measure several swings and take the mean"
        }
        Cause::Timing if slowest_fps(result).is_some_and(|fps| fps < FAST_FPS) => {
            "when the moment was. Film at 120 or 240 frames a second"
        }
        Cause::Timing => {
            "when the moment was. More light, so that the hands are not blurred; let the sound be recorded"
        }
        Cause::Scale if result.scale.method == ScaleMethod::Stature => {
            "how long a centimetre is in the picture. Put a rod of known length on the ground along the target line and mark its ends; \
             measure the pupil's height without shoes"
        }
        Cause::Scale => {
            "how long a centimetre is in the picture. Use a longer rod and mark its ends more closely"
        }
        Cause::Tilt => "how level the camera stood. Put it on a tripod and level it",
        Cause::Aim => {
            "which way the camera looked. Stand it square to the target line (face-on) or on a line parallel to it \
             through the hands (down-the-line); a rod along the target line shows it"
        }
        Cause::Depth => {
            "how far away the body was. Stand the camera farther away, about hip high, and zoom in"
        }
        Cause::Ground if result.clips.iter().all(|c| c.camera_motion == MotionNote::Still) => {
            "how the camera moved. Keep people and moving things out of the background"
        }
        Cause::Ground => {
            "how the camera moved. Use a tripod, and do not touch the camera during the swing"
        }
    }
}

fn slowest_fps(result: &SwingResult) -> Option<f64> {
    result.clips.iter().filter_map(super::ClipEntry::capture_fps).min_by(f64::total_cmp)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::results::build::tests::invented;

    #[test]
    fn the_largest_cause_comes_first_and_enough_causes_are_named_to_halve_the_sd() {
        let causes = Causes { keypoints: 0.5, scale: 0.3, timing: 0.2, ..Causes::default() };
        let shares = largest_first(&causes);
        let names: Vec<_> = to_halve(&shares).into_iter().map(Cause::name).collect();
        assert_eq!(names, ["body", "scale"]);
        let one = Causes { scale: 0.8, keypoints: 0.2, ..Causes::default() };
        assert_eq!(to_halve(&largest_first(&one)).len(), 1);
    }

    #[test]
    fn the_advice_fits_the_way_the_swing_was_filmed() {
        let mut result = invented();
        assert!(advice(Cause::Timing, &result).contains("120"));
        assert!(advice(Cause::Scale, &result).contains("rod of known length"));
        result.clips[0].frames *= 4;
        result.scale.method = ScaleMethod::Reference;
        assert!(!advice(Cause::Timing, &result).contains("120"));
        assert!(advice(Cause::Scale, &result).contains("longer rod"));
    }

    #[test]
    fn every_explained_value_has_its_line_and_lines_fit() {
        let text = explain(&invented());
        assert!(
            text.contains(
                "lower hub along the target line  -6.1 ± 0.9 cm  body* 70 %, scale* 30 %"
            ),
            "{text}"
        );
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        let mut without = invented();
        without.explain = crate::results::Explanation::default();
        assert!(explain(&without).contains("measure the clip again"));
    }
}
