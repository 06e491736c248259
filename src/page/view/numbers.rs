//! The numbers of a swing, one moment at a time, each with its error and what its sign means;
//! what is missing with its reason. In: [`SwingResult`]. Out: HTML.

use std::collections::BTreeMap;

use crate::calibration::View;
use crate::events::Event;
use crate::geometry::Measure;
use crate::page::shown::Look;
use crate::results::{SwingResult, Value};

use super::html::{Html, div, el};
use super::look::{event_name, key, known, measure_words, number, swing_measure_name};
use super::words::{fill, say};

/// A movement counts as shown when zero lies outside twice its sd, as in [`crate::results`].
const SHOWN_SD: f64 = 2.0;

/// Rows in a coach's order: what the program is for comes first.
const ORDER: [(&str, &[Measure]); 5] = [
    ("group.target", &[Measure::LowerHubTarget, Measure::UpperHubTarget, Measure::HeadTarget]),
    ("group.ball", &[Measure::LowerHubBall, Measure::UpperHubBall, Measure::HeadBall]),
    ("group.up", &[Measure::LowerHubUp, Measure::UpperHubUp, Measure::HeadUp]),
    ("group.trunk", &[Measure::HubOffset, Measure::SpineTilt, Measure::ForwardBend]),
    (
        "group.turns",
        &[
            Measure::PelvisTurn,
            Measure::ThoraxTurn,
            Measure::Separation,
            Measure::LeadArm,
            Measure::ShoulderSlope,
            Measure::HipSlope,
        ],
    ),
];

/// All of it: which moment is a choice that needs no script.
pub fn numbers(result: &SwingResult, look: &Look) -> Html {
    let moments = result.measures.keys().copied();
    let sections: Vec<Html> = moments.map(|event| moment(result, event, look)).collect();
    let inside = [
        el("div", &[("class", "by-moment"), ("data-live", "numbers")], sections),
        el("div", &[("data-live", "whole")], whole(result, look)),
        el("div", &[("data-live", "missing")], missing(result)),
        el("div", &[("data-live", "notes")], notes(result, look)),
    ];
    div("numbers", [el("h2", &[], say("swing.numbers")), choose(result), inside.into()])
}

fn choose(result: &SwingResult) -> Html {
    let events: Vec<(String, &str)> =
        result.measures.keys().map(|e| (key(e), event_name(*e))).collect();
    let options: Vec<(&str, &str)> = events.iter().map(|(k, n)| (k.as_str(), *n)).collect();
    let top = key(Event::Top);
    let first = options.first().map_or("", |(k, _)| k);
    let chosen = if events.iter().any(|(k, _)| *k == top) { top.as_str() } else { first };
    super::frame::choice(say("swing.moment"), "moment", chosen, &options)
}

fn moment(result: &SwingResult, event: Event, look: &Look) -> Html {
    let values = &result.measures[&event];
    let when = result.events.get(&event).map(|entry| {
        let text = fill(
            "swing.when",
            &[("time", &number(look, entry.time_s, 2)), ("sd", &number(look, entry.sd_s, 3))],
        );
        el("p", &[("class", "quiet")], text)
    });
    let groups: Vec<Html> =
        ORDER.iter().map(|(name, rows)| group(name, rows, values, look)).collect();
    let name = event_name(event);
    let attributes = [("data-moment", key(event)), ("aria-label", name.to_owned())];
    let attributes: Vec<(&str, &str)> = attributes.iter().map(|(k, v)| (*k, v.as_str())).collect();
    el("section", &attributes, [el("h3", &[("class", "unseen")], name), when.into(), groups.into()])
}

/// The few values a view is about, to stand in the picture: one block for each moment.
pub fn readout(result: &SwingResult, view: View, look: &Look) -> Html {
    let measures = match view {
        View::FaceOn => [Measure::LowerHubTarget, Measure::UpperHubTarget, Measure::SpineTilt],
        View::DownTheLine => [Measure::LowerHubBall, Measure::UpperHubBall, Measure::ForwardBend],
    };
    let blocks: Vec<Html> = result
        .measures
        .iter()
        .map(|(event, values)| {
            let lines: Vec<Html> = measures
                .iter()
                .filter_map(|measure| line(*measure, values.get(measure)?, look))
                .collect();
            let name = el("p", &[], event_name(*event));
            el("div", &[("data-moment", &key(*event))], name.and(lines))
        })
        .collect();
    el("div", &[("class", "readout by-moment"), ("data-live", "readout")], blocks)
}

fn line(measure: Measure, value: &Value, look: &Look) -> Option<Html> {
    let size = known(look, value, false)?;
    let [name, plus, minus] = measure_words(measure);
    let way = if value.estimate()?.value < 0.0 { minus } else { plus };
    let name = el("span", &[("class", hub_class(measure))], name);
    Some(el("p", &[], name.and(format!(" {size} {way}"))))
}

fn group(name: &str, rows: &[Measure], values: &BTreeMap<Measure, Value>, look: &Look) -> Html {
    let rows: Vec<Html> =
        rows.iter().filter_map(|measure| row(*measure, values.get(measure)?, look)).collect();
    if rows.is_empty() {
        return Html::default();
    }
    let head = el("caption", &[], say(name));
    el("table", &[("class", "values")], [head, el("tbody", &[], rows)])
}

/// Name, size with error, direction in words; nothing where it is missing.
fn row(measure: Measure, value: &Value, look: &Look) -> Option<Html> {
    let size = known(look, value, false)?;
    let known = value.estimate()?;
    let [name, plus, minus] = measure_words(measure);
    let shown = known.value.abs() > SHOWN_SD * known.sd;
    let way = match (shown, known.value < 0.0) {
        (false, _) => say("swing.within_error").to_owned(),
        (true, true) => minus,
        (true, false) => plus,
    };
    let class = if shown { "shown" } else { "unshown" };
    let number = key(measure);
    Some(el(
        "tr",
        &[("class", class), ("data-measure", &number)],
        [
            el("th", &[("scope", "row"), ("class", hub_class(measure))], name),
            el("td", &[("class", "size")], size),
            el("td", &[("class", "way")], way),
        ],
    ))
}

/// Hubs carry their mark in every table.
pub fn hub_class(measure: Measure) -> &'static str {
    match measure {
        Measure::LowerHubTarget | Measure::LowerHubBall | Measure::LowerHubUp => "hub lower",
        Measure::UpperHubTarget | Measure::UpperHubBall | Measure::UpperHubUp => "hub upper",
        _ => "plain",
    }
}

fn whole(result: &SwingResult, look: &Look) -> Html {
    let rows: Vec<Html> = result
        .swing
        .iter()
        .filter_map(|(measure, value)| {
            let size = known(look, value, true)?;
            let name = el("th", &[("scope", "row")], swing_measure_name(*measure));
            Some(el("tr", &[], [name, el("td", &[("class", "size")], size)]))
        })
        .collect();
    if rows.is_empty() {
        return Html::default();
    }
    let caption = el("caption", &[], say("group.swing"));
    el("table", &[("class", "values")], [caption, el("tbody", &[], rows)])
}

/// Each reason once, with what it stands for.
fn missing(result: &SwingResult) -> Html {
    let mut reasons: BTreeMap<&str, BTreeMap<Measure, Vec<&str>>> = BTreeMap::new();
    for (event, values) in &result.measures {
        for (measure, value) in values {
            if let Value::Missing { missing } = value {
                let at = reasons.entry(missing).or_default().entry(*measure).or_default();
                at.push(event_name(*event));
            }
        }
    }
    let all = result.measures.len();
    let mut items: Vec<Html> = reasons
        .into_iter()
        .map(|(reason, measures)| {
            let names: Vec<String> = measures
                .into_iter()
                .map(|(measure, at)| {
                    let [name, ..] = full_name(measure);
                    if at.len() == all { name } else { format!("{name} ({})", at.join(", ")) }
                })
                .collect();
            el("li", &[], [el("strong", &[], reason), format!(": {}", names.join(", ")).into()])
        })
        .collect();
    items.extend(result.swing.iter().filter_map(|(measure, value)| {
        let Value::Missing { missing } = value else { return None };
        let name = swing_measure_name(*measure);
        Some(el("li", &[], [el("strong", &[], missing.as_str()), format!(": {name}").into()]))
    }));
    if items.is_empty() {
        return Html::default();
    }
    let summary = fill("swing.missing", &[("count", &items.len().to_string())]);
    el("details", &[("class", "missing")], [el("summary", &[], summary), el("ul", &[], items)])
}

/// The measure's name with its direction, to stand alone.
pub fn full_name(measure: Measure) -> [String; 1] {
    let words = say(&format!("measure.{}.full", key(measure))).to_owned();
    [words]
}

/// What a sd is, where the scale comes from, what the program noticed.
fn notes(result: &SwingResult, look: &Look) -> Html {
    let from = format!("scale.{}", key(result.scale.method));
    let scale = fill(
        "swing.scale",
        &[("from", say(&from)), ("percent", &number(look, 100.0 * result.scale.relative_sd, 1))],
    );
    let mut items = vec![el("li", &[], say("swing.sd")), el("li", &[], scale)];
    items.extend(result.notes.iter().map(|note| el("li", &[], note.as_str())));
    let summary = el("summary", &[], say("swing.how_sure"));
    el("details", &[("class", "notes")], [summary, el("ul", &[], items)])
}
