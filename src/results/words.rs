//! A coach's words for events, measures, signs and reasons. In: keys and numbers. Out: phrases.

use super::value::{decimals_shown, plus_minus};
use super::{Style, SwingMeasure, Unit, Value};
use crate::calibration::ScaleMethod;
use crate::events::Event;
use crate::geometry::{Measure, Missing};
use crate::units::Estimate;

/// A movement is called shown when it is larger than this many sd: MEASURES.md has 95 % of all
/// errors within two.
pub const SHOWN_SD: f64 = 2.0;

/// True when zero lies outside the error.
#[must_use]
pub fn is_shown(estimate: Estimate) -> bool {
    estimate.value.abs() > SHOWN_SD * estimate.sd
}

/// The event's name in running text.
#[must_use]
pub fn event_name(event: Event) -> &'static str {
    event.name()
}

/// The measure's name in running text.
#[must_use]
pub fn measure_name(measure: Measure) -> &'static str {
    match measure {
        Measure::LowerHubTarget => "lower hub along the target line",
        Measure::LowerHubBall => "lower hub to and from the ball",
        Measure::LowerHubUp => "lower hub up and down",
        Measure::UpperHubTarget => "upper hub along the target line",
        Measure::UpperHubBall => "upper hub to and from the ball",
        Measure::UpperHubUp => "upper hub up and down",
        Measure::HeadTarget => "head along the target line",
        Measure::HeadBall => "head to and from the ball",
        Measure::HeadUp => "head up and down",
        Measure::HubOffset => "hub offset",
        Measure::SpineTilt => "spine tilt",
        Measure::ForwardBend => "forward bend",
        Measure::PelvisTurn => "pelvis turn",
        Measure::ThoraxTurn => "shoulder turn",
        Measure::Separation => "separation",
        Measure::LeadArm => "lead arm",
        Measure::ShoulderSlope => "shoulder slope",
        Measure::HipSlope => "hip slope",
    }
}

/// What the sign of a value means.
#[must_use]
pub fn direction(measure: Measure, value: f64) -> &'static str {
    let (plus, minus) = match measure {
        Measure::LowerHubTarget | Measure::UpperHubTarget | Measure::HeadTarget => {
            ("toward the target", "away from the target")
        }
        Measure::LowerHubBall
        | Measure::UpperHubBall
        | Measure::HeadBall
        | Measure::ForwardBend => ("toward the ball", "away from the ball"),
        Measure::LowerHubUp | Measure::UpperHubUp | Measure::HeadUp => ("up", "down"),
        Measure::HubOffset => ("upper hub nearer the target", "upper hub farther from the target"),
        Measure::SpineTilt | Measure::PelvisTurn | Measure::ThoraxTurn => {
            ("away from the target", "toward the target")
        }
        Measure::Separation => ("shoulders turned farther", "pelvis turned farther"),
        Measure::LeadArm => ("above level", "below level"),
        Measure::ShoulderSlope | Measure::HipSlope => ("lead side lower", "lead side higher"),
    };
    if value < 0.0 { minus } else { plus }
}

/// The event's key in the contract, for file names.
#[must_use]
pub fn event_key(event: Event) -> &'static str {
    match event {
        Event::Address => "address",
        Event::Takeaway => "takeaway",
        Event::ArmLevelBack => "arm_level_back",
        Event::Top => "top",
        Event::Transition => "transition",
        Event::Impact => "impact",
        Event::Finish => "finish",
    }
}

/// One line about a known value, for a still: `Lower hub 6.1 ± 0.9 cm away from the target`, or
/// that it lies within its error.
#[must_use]
pub fn fact(measure: Measure, value: &Value) -> Option<String> {
    let known = value.estimate()?;
    let subject = match measure {
        Measure::LowerHubTarget | Measure::LowerHubBall | Measure::LowerHubUp => "Lower hub",
        Measure::UpperHubTarget | Measure::UpperHubBall | Measure::UpperHubUp => "Upper hub",
        Measure::HeadTarget | Measure::HeadBall | Measure::HeadUp => "Head",
        Measure::SpineTilt | Measure::ForwardBend => "Trunk leans",
        other => return Some(format!("{}: {value}", measure_name(other))),
    };
    if is_shown(known) {
        let unit = if measure.is_length() { " cm" } else { "°" };
        let size = plus_minus(known.value.abs(), known.sd);
        Some(format!("{subject} {size}{unit} {}", direction(measure, known.value)))
    } else {
        Some(format!("{subject} {value}, within its error"))
    }
}

/// `6.1 cm (± 0.9)`: the size alone, for running text.
#[must_use]
pub fn size(measure: Measure, outside: Estimate, style: Style) -> String {
    let (unit, name) =
        if measure.is_length() { (Unit::Cm, style.length_unit()) } else { (Unit::Deg, "degrees") };
    let (value, sd) = (style.shown(outside.value.abs(), unit), style.shown(outside.sd, unit));
    let decimals = decimals_shown(sd);
    format!("{} {name} (± {})", style.number(value, decimals), style.number(sd, decimals))
}

/// The name of a measure of the whole swing.
#[must_use]
pub fn swing_measure_name(measure: SwingMeasure) -> &'static str {
    match measure {
        SwingMeasure::BackswingS => "backswing",
        SwingMeasure::DownswingS => "downswing",
        SwingMeasure::Tempo => "tempo",
        SwingMeasure::SeparationGain => "separation gain",
        SwingMeasure::PelvisLeadS => "pelvis lead",
    }
}

/// What tells how long a centimetre is in the picture.
#[must_use]
pub fn scale_words(method: ScaleMethod) -> &'static str {
    match method {
        ScaleMethod::Stature => "the body's own proportions and stature",
        ScaleMethod::Reference => "the length that was marked",
        ScaleMethod::Camera => "the camera's field of view and distance, or marks on the ground",
    }
}

/// Why a value is missing.
#[must_use]
pub fn reason(missing: Missing) -> &'static str {
    match missing {
        Missing::NeedsFaceOn => "needs a face-on clip",
        Missing::NeedsDownTheLine => "needs a down-the-line clip",
        Missing::NoEvent => "this moment of the swing was not found in the clip",
        Missing::NotSeen => "the body was not seen well enough at this moment",
        Missing::TurnedTooFar => "turned too far from the camera for a slope to mean anything",
        Missing::CameraMoved => "the camera moved and its motion could not be taken out",
    }
}

/// The text with its first letter as a capital.
#[must_use]
pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}

/// Breaks text into lines of at most `width` characters, all but the first indented; a sign
/// `±` stays with its number.
#[must_use]
pub fn wrapped(text: &str, width: usize, indent: usize) -> String {
    flow(text, width, indent, 0)
}

/// The same for text that follows `indent` characters on its first line.
#[must_use]
pub fn hung(text: &str, width: usize, indent: usize) -> String {
    flow(text, width, indent, indent)
}

fn flow(text: &str, width: usize, indent: usize, start: usize) -> String {
    let (mut out, mut used, mut fresh) = (String::new(), start, true);
    for word in unbroken(text) {
        let length = word.chars().count();
        if !fresh && used + 1 + length > width {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            used = indent;
        } else if !fresh {
            out.push(' ');
            used += 1;
        }
        out.push_str(&word);
        used += length;
        fresh = false;
    }
    out
}

/// Words, with `0.8 ± 0.1` and `(± 0.9)` as one.
fn unbroken(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match words.last_mut() {
            Some(last) if last.ends_with('±') || word == "±" || word == "%" || word == "%," => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn the_event_s_key_is_that_of_the_file() {
        for event in Event::ALL {
            assert_eq!(serde_json::to_value(event).unwrap(), event_key(event));
        }
    }

    #[test]
    fn the_sign_is_said_in_words() {
        let travel = Estimate::new(-6.13, 0.91);
        let said = |measure, estimate, unit| fact(measure, &Value::new(estimate, unit)).unwrap();
        assert_eq!(
            said(Measure::LowerHubTarget, travel, Unit::Cm),
            "Lower hub 6.1 ± 0.9 cm away from the target"
        );
        assert_eq!(
            said(Measure::SpineTilt, travel, Unit::Deg),
            "Trunk leans 6.1 ± 0.9° toward the target"
        );
        let small = Estimate::new(-0.4, 0.9);
        assert_eq!(
            said(Measure::UpperHubBall, small, Unit::Cm),
            "Upper hub -0.4 ± 0.9 cm, within its error"
        );
        assert_eq!(fact(Measure::LeadArm, &Value::missing("x")), None);
        assert_eq!(size(Measure::LowerHubTarget, travel, Style::default()), "6.1 cm (± 0.9)");
    }

    #[test]
    fn wrapping_keeps_every_word_and_the_width() {
        let text = "one two three four five six seven";
        let lines = wrapped(text, 12, 2);
        assert!(lines.lines().all(|line| line.chars().count() <= 12), "{lines}");
        assert_eq!(lines.split_whitespace().collect::<Vec<_>>().join(" "), text);
        assert!(lines.lines().skip(1).all(|line| line.starts_with("  ")));
        assert_eq!(wrapped("it is 0.8 ± 0.1 cm", 8, 0), "it is\n0.8 ± 0.1\ncm");
        assert_eq!(hung("one two", 9, 4), "one\n    two");
    }
}
