//! A coach's words for a change. In: keys and numbers. Out: phrases.

use super::Key;
use crate::events::Event;
use crate::geometry::Measure;
use crate::results::SwingMeasure;

/// The heading under which a key's row stands.
#[must_use]
pub fn heading(key: Key) -> &'static str {
    match key {
        Key::Swing { .. } => "Whole swing",
        Key::At { event, .. } => match event {
            Event::Address => "At address",
            Event::Takeaway => "At takeaway",
            Event::ArmLevelBack => "Arm level going back",
            Event::Top => "At the top",
            Event::Transition => "At transition",
            Event::Impact => "At impact",
            Event::Finish => "At the finish",
        },
    }
}

/// The row's name.
#[must_use]
pub fn row(key: Key) -> &'static str {
    match key {
        Key::Swing { measure } => match measure {
            SwingMeasure::BackswingS => "backswing, s",
            SwingMeasure::DownswingS => "downswing, s",
            SwingMeasure::Tempo => "tempo",
            SwingMeasure::SeparationGain => "separation gain, deg",
            SwingMeasure::PelvisLeadS => "pelvis lead, s",
        },
        Key::At { measure, .. } => match measure {
            Measure::LowerHubTarget => "lower hub target, cm",
            Measure::LowerHubBall => "lower hub ball, cm",
            Measure::LowerHubUp => "lower hub up, cm",
            Measure::UpperHubTarget => "upper hub target, cm",
            Measure::UpperHubBall => "upper hub ball, cm",
            Measure::UpperHubUp => "upper hub up, cm",
            Measure::HeadTarget => "head target, cm",
            Measure::HeadBall => "head ball, cm",
            Measure::HeadUp => "head up, cm",
            Measure::HubOffset => "hub offset, cm",
            Measure::SpineTilt => "spine tilt, deg",
            Measure::ForwardBend => "forward bend, deg",
            Measure::PelvisTurn => "pelvis turn, deg",
            Measure::ThoraxTurn => "shoulder turn, deg",
            Measure::Separation => "separation, deg",
            Measure::LeadArm => "lead arm, deg",
            Measure::ShoulderSlope => "shoulder slope, deg",
            Measure::HipSlope => "hip slope, deg",
        },
    }
}

/// How a change is told: a hub or the head moves, all else changes.
#[must_use]
pub fn verb(key: Key) -> &'static str {
    match key {
        Key::At { measure, .. } if measure.is_length() && measure != Measure::HubOffset => "moved ",
        _ => "changed by ",
    }
}

/// What the sign of a change means: not where the body is, but which way it is from before.
#[must_use]
pub fn way(key: Key, change: f64) -> &'static str {
    let (plus, minus) = match key {
        Key::Swing { measure: SwingMeasure::Tempo } => {
            ("more backswing for each downswing", "less backswing for each downswing")
        }
        Key::Swing { measure: SwingMeasure::SeparationGain } => ("more", "less"),
        Key::Swing { measure: SwingMeasure::PelvisLeadS } => ("earlier", "later"),
        Key::Swing { .. } => ("longer", "shorter"),
        Key::At { measure, .. } => match measure {
            Measure::LowerHubTarget | Measure::UpperHubTarget | Measure::HeadTarget => {
                ("toward the target", "away from the target")
            }
            Measure::LowerHubBall | Measure::UpperHubBall | Measure::HeadBall => {
                ("toward the ball", "away from the ball")
            }
            Measure::LowerHubUp | Measure::UpperHubUp | Measure::HeadUp => ("up", "down"),
            Measure::HubOffset => (
                "with the upper hub nearer the target",
                "with the upper hub farther from the target",
            ),
            Measure::SpineTilt => {
                ("with more lean away from the target", "with more lean toward the target")
            }
            Measure::ForwardBend => {
                ("with more bend toward the ball", "with less bend toward the ball")
            }
            Measure::PelvisTurn | Measure::ThoraxTurn => {
                ("with more turn away from the target", "with more turn toward the target")
            }
            Measure::Separation => (
                "with the shoulders turned more against the pelvis",
                "with the shoulders turned less against the pelvis",
            ),
            Measure::LeadArm => ("with the arm higher", "with the arm lower"),
            Measure::ShoulderSlope | Measure::HipSlope => {
                ("with the lead side lower", "with the lead side higher")
            }
        },
    };
    if change < 0.0 { minus } else { plus }
}

/// How many values were looked at, and what that means for the verdicts.
#[must_use]
pub fn looked_at(values: usize) -> String {
    let (looked, false_one) = match values {
        1 => ("One value was looked at".to_owned(), "a false \"moved\""),
        n => (format!("{n} values were looked at together"), "even one false \"moved\" among them"),
    };
    format!("{looked}; the chance of {false_one} is at most 5 % (Holm 1979).")
}

/// Decimals for a reader's eye, from the size of the error.
#[must_use]
pub fn decimals(error: f64) -> usize {
    match error {
        e if e >= 20.0 => 0,
        e if e >= 0.2 => 1,
        e if e >= 0.02 => 2,
        _ => 3,
    }
}

/// A number to so many decimals, without a sign on zero.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.trim_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}
