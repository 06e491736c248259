//! What is drawn over the picture of the check, and what a touch on it does. In: [`SwingPage`].
//! Out: a form; the scripts carry it out.

use crate::calibration::View;
use crate::page::shown::{Look, SwingPage, Units};
use crate::results::{Correction, SwingResult};

use super::frame::{choice, field, select, tick};
use super::html::{Html, div, el};
use super::look::key;
use super::words::say;

pub fn tools(page: &SwingPage, view: View, result: &SwingResult, look: &Look) -> Html {
    let unit = key(look.units);
    let drawn = [
        tick("skeleton", false, say("check.skeleton")),
        tick("trunk", true, say("check.trunk")),
        tick("upright", true, say("check.upright")),
    ];
    let tools = [
        ("move", say("check.move")),
        ("reference", say("check.reference")),
        ("vertical", say("check.vertical")),
        ("target_line", say("check.target_line")),
        ("ground", say("check.ground")),
        ("person", say("check.person")),
    ];
    let touch = choice(say("check.touch"), "tool", "move", &tools);
    let inside = [div("drawn", drawn), touch, length(look), sides(look), rod(page, view, result)];
    el("form", &[("class", "tools"), ("data-unit", &unit)], inside)
}

/// Of the thing whose ends are marked.
fn length(look: &Look) -> Html {
    // A common alignment rod, in the coach's unit.
    let rod = match look.units {
        Units::Cm => "1.22m",
        Units::Inches => "48in",
    };
    let places = ["feet", "ball-line", "hips"]
        .map(|p| (p.to_owned(), say(&format!("place.{p}")).to_owned()));
    let value = [("type", "text"), ("name", "length"), ("value", rod)];
    div(
        "length",
        [
            field(say("check.length"), el("input", &value, "")),
            field(say("check.place"), select("place", "feet", &places)),
        ],
    )
}

/// Of the rectangle whose corners are marked on the ground: nothing is a usual size.
fn sides(look: &Look) -> Html {
    let hint = match look.units {
        Units::Cm => say("check.side_hint_cm"),
        Units::Inches => say("check.side_hint_inches"),
    };
    let side = |name: &str, words: &str| {
        let attributes = [("type", "text"), ("name", name), ("placeholder", hint)];
        field(words, el("input", &attributes, ""))
    };
    div(
        "sides",
        [
            el("p", &[("class", "quiet")], say("check.ground_how")),
            side("side_target", say("check.side_target")),
            side("side_ball", say("check.side_ball")),
        ],
    )
}

/// Whether a rod is looked for, and what came of it.
fn rod(page: &SwingPage, view: View, result: &SwingResult) -> Html {
    let has = |wanted: fn(&Correction) -> Option<View>| {
        result.corrections.iter().any(|c| wanted(c) == Some(view))
    };
    let off = has(|c| if let Correction::NoRod { view } = c { Some(*view) } else { None });
    let marked =
        has(|c| if let Correction::TargetLine { view, .. } = c { Some(*view) } else { None });
    let said = match (off, marked, page.swing.rods.contains(&view)) {
        (true, ..) => "",
        (_, true, _) => say("check.rod_not_needed"),
        (_, _, true) => say("check.rod_found"),
        _ => say("check.rod_none"),
    };
    let said = el("p", &[("class", "quiet"), ("data-live", "rod")], said);
    div("rod", [tick("rod", !off, say("check.rod")), said])
}
