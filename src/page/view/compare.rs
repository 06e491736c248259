//! Before against after: what moved, stills beside each other, ladder over ladder, the table of
//! differences. In: [`ComparePage`]. Out: HTML. No number is judged good or bad.

use crate::calibration::View;
use crate::compare::{Comparison, Key, Line, Side, Verdict, decimals, looked_at};
use crate::events::Event;
use crate::page::shown::{ComparePage, Look, SwingShown};
use crate::results::Unit;

use super::frame::{choice, document, empty, go, tick, trouble};
use super::html::{Html, div, el, in_address};
use super::look::{at, event_name, key as key_of, measure_words, number, swing_measure_name, unit};
use super::numbers::hub_class;
use super::said::{swing_name, view_name};
use super::swing::{drawing, still};
use super::words::{fill, say};

#[must_use]
pub fn compare(page: &ComparePage, look: &Look) -> String {
    let mut parts = vec![el("h1", &[], say("compare.heading"))];
    if let Some(message) = &page.message {
        parts.push(trouble(message));
    }
    if let Some(comparison) = &page.comparison {
        parts.push(verdict(comparison, look));
        parts.push(actions(page, look));
        parts.push(pictures(page, look));
        parts.push(ladders(page, look));
        parts.push(table(comparison, look));
    }
    parts.push(choose(page));
    document(look, "compare", say("compare.heading"), parts.into())
}

/// What moved, a sentence each.
fn verdict(comparison: &Comparison, look: &Look) -> Html {
    let of = |wanted| comparison.lines.iter().filter(move |line| line.verdict == wanted);
    let mut first = Html::default();
    let mut last = String::new();
    for line in of(Verdict::Moved) {
        let heading = place(line.key);
        if heading != last {
            let words = fill("compare.against", &[("where", &heading)]);
            first = first.and(el("p", &[("class", "answer second")], words));
            last = heading;
        }
        first = first.and(moved(line, look));
    }
    if last.is_empty() {
        first = el("p", &[("class", "answer")], say("compare.nothing"));
    }
    let few = of(Verdict::TooFewSwings).count();
    let few = (few > 0).then(|| {
        let words = fill("compare.too_few", &[("count", &few.to_string())]);
        el("p", &[("class", "note")], words)
    });
    el("div", &[("class", "said")], first.and(few))
}

/// `lower hub 4.1 cm toward the target (95 % interval 2.2 to 6.0)`.
fn moved(line: &Line, look: &Look) -> Html {
    let (factor, unit) = unit(look, line.unit);
    let change = line.change;
    let half = (change.high - change.value) * factor;
    let places = decimals(half);
    let size = (change.value * factor).abs();
    let said = |value: f64| number(look, value, places);
    let text = fill("compare.moved", &[("size", &said(size)), ("unit", unit), ("way", &way(line))]);
    let interval = fill(
        "compare.moved_interval",
        &[("low", &said(size - half)), ("high", &said(size + half))],
    );
    let (name, class) = match line.key {
        Key::At { measure, .. } if measure.is_travel() => {
            let [name, ..] = measure_words(measure);
            (name, hub_class(measure))
        }
        key => (row_name(key), "plain"),
    };
    let name = el("span", &[("class", class)], name);
    el("p", &[("class", "answer")], name.and(text).and(el("small", &[], interval)))
}

/// The direction of a change: for a hub or the head the way it moved, for all else more or less.
fn way(line: &Line) -> String {
    match line.key {
        Key::At { measure, .. } if measure.is_travel() => {
            let [_, plus, minus] = measure_words(measure);
            if line.change.value < 0.0 { minus } else { plus }
        }
        _ if line.change.value < 0.0 => say("compare.less").to_owned(),
        _ => say("compare.more").to_owned(),
    }
}

fn place(key: Key) -> String {
    match key {
        Key::At { event, .. } => say(&format!("at.{}", key_of(event))).to_owned(),
        Key::Swing { .. } => say("group.swing").to_owned(),
    }
}

fn row_name(key: Key) -> String {
    match key {
        Key::At { measure, .. } => super::numbers::full_name(measure)[0].clone(),
        Key::Swing { measure } => swing_measure_name(measure),
    }
}

fn actions(page: &ComparePage, look: &Look) -> Html {
    let (Some(before), Some(after)) = (page.before.first(), page.after.first()) else {
        return Html::default();
    };
    let setup = if page.same_setup { "&same_setup=true" } else { "" };
    let (before, after) = (in_address(&before.id), in_address(&after.id));
    let path = format!("hand-out?before={before}&after={after}{setup}");
    let links = go(look, &path, say("compare.hand_out"), "first");
    el("nav", &[("class", "actions dock"), ("aria-label", say("swing.next"))], links)
}

/// The same moment of both swings, in every view that both have.
fn pictures(page: &ComparePage, look: &Look) -> Html {
    let (Some(before), Some(after)) = (page.before.first(), page.after.first()) else {
        return Html::default();
    };
    let views: Vec<View> =
        before.clips.keys().filter(|view| after.clips.contains_key(view)).copied().collect();
    if views.is_empty() {
        return empty(say("compare.no_view"));
    }
    let events = [Event::Address, Event::Top, Event::Impact, Event::Finish];
    let names = events.map(|e| (key_of(e), event_name(e)));
    let options: Vec<(&str, &str)> = names.iter().map(|(k, n)| (k.as_str(), *n)).collect();
    let rows: Vec<Html> = events
        .iter()
        .map(|event| {
            let pairs: Vec<Html> =
                views.iter().map(|view| pair(before, after, *view, *event, look)).collect();
            el("div", &[("data-moment", key_of(event).as_str())], pairs)
        })
        .collect();
    let inside = [
        el("h2", &[], say("compare.pictures")),
        choice(say("swing.moment"), "moment", "top", &options),
        div("by-moment", rows),
    ];
    el("section", &[("class", "pictures")], inside)
}

fn pair(before: &SwingShown, after: &SwingShown, view: View, event: Event, look: &Look) -> Html {
    let side = |swing: &SwingShown, words: &str| {
        div("side", [el("p", &[("class", "side-name")], words), still(swing, view, event, look)])
    };
    div(
        "pair-of-view",
        [
            el("h3", &[], view_name(Some(view))),
            div("beside", [side(before, say("label.before")), side(after, say("label.after"))]),
        ],
    )
}

fn ladders(page: &ComparePage, look: &Look) -> Html {
    let (Some(before), Some(after)) = (page.before.first(), page.after.first()) else {
        return Html::default();
    };
    let address = at(
        look,
        &format!("api/swings/{}/ladder.svg?over={}", in_address(&before.id), in_address(&after.id)),
    );
    let inside = [el("h2", &[], say("compare.ladders")), drawing(&address, say("compare.ladders"))];
    el("section", &[("class", "ladder")], inside)
}

fn table(comparison: &Comparison, look: &Look) -> Html {
    let heads =
        ["compare.what", "compare.before", "compare.after", "compare.change", "compare.verdict"]
            .map(|words| el("th", &[("scope", "col"), ("role", "columnheader")], say(words)));
    let mut rows = Vec::new();
    let mut last = String::new();
    for line in &comparison.lines {
        let heading = place(line.key);
        if heading != last {
            let span = [("colspan", "5"), ("scope", "colgroup"), ("role", "rowheader")];
            let cell = el("th", &span, heading.as_str());
            rows.push(el("tr", &[("class", "heading"), ("role", "row")], cell));
            last = heading;
        }
        rows.push(row(line, look));
    }
    let table = [
        el("thead", &[("role", "rowgroup")], el("tr", &[("role", "row")], heads)),
        el("tbody", &[("role", "rowgroup")], rows),
    ];
    let boxed = [
        ("class", "wide"),
        ("tabindex", "0"),
        ("role", "region"),
        ("aria-label", say("compare.table")),
    ];
    let mut notes = vec![el("li", &[], looked_at(comparison.looked_at))];
    notes.extend(comparison.notes.iter().map(|note| el("li", &[], note.as_str())));
    el(
        "section",
        &[],
        [
            el("h2", &[], say("compare.table")),
            // On a phone the rows are blocks; the roles keep it a table for those who hear it.
            el("div", &boxed, el("table", &[("class", "differences"), ("role", "table")], table)),
            el("ul", &[("class", "quiet")], notes),
        ],
    )
}

fn row(line: &Line, look: &Look) -> Html {
    let (factor, name) = unit(look, line.unit);
    let half = (line.change.high - line.change.value) * factor;
    let places = decimals(half);
    let said = |value: f64| number(look, value * factor, places);
    let shown = said(line.change.value);
    let zero = shown.trim_matches(['0', '.', ',']).is_empty();
    let plus = if line.change.value > 0.0 && !zero { "+" } else { "" };
    let change = fill(
        "compare.interval",
        &[
            ("change", &format!("{plus}{shown}")),
            ("low", &said(line.change.low)),
            ("high", &said(line.change.high)),
        ],
    );
    let (verdict, class) = match line.verdict {
        Verdict::Moved => (say("verdict.moved"), "moved"),
        Verdict::NotShown => (say("verdict.not_shown"), "not-shown"),
        Verdict::TooFewSwings => (say("verdict.too_few"), "too-few"),
    };
    let hub = match line.key {
        Key::At { measure, .. } => hub_class(measure),
        Key::Swing { .. } => "plain",
    };
    let space = if line.unit == Unit::Deg { "" } else { " " };
    let unit = if name.is_empty() { String::new() } else { format!("{space}{name}") };
    let head = [("scope", "row"), ("role", "rowheader"), ("class", hub)];
    el(
        "tr",
        &[("class", class), ("role", "row"), ("data-key", &line.key.to_string())],
        [
            el("th", &head, row_name(line.key)),
            cell("before", "compare.before", &format!("{}{unit}", mean(&line.before, &said))),
            cell("after", "compare.after", &format!("{}{unit}", mean(&line.after, &said))),
            cell("change", "compare.change_short", &format!("{change}{unit}")),
            cell("verdict", "compare.verdict", verdict),
        ],
    )
}

/// A cell that carries its column's name, for when the rows are blocks.
fn cell(class: &str, label: &str, text: &str) -> Html {
    el("td", &[("class", class), ("role", "cell"), ("data-label", say(label))], text)
}

fn mean(side: &Side, said: &dyn Fn(f64) -> String) -> String {
    let mean = said(side.mean);
    match side.spread_sd {
        Some(sd) => format!("{mean} ± {} ({})", said(sd), side.n),
        None => mean,
    }
}

/// Which swings stand on which side; sent as a plain form.
fn choose(page: &ComparePage) -> Html {
    let side = |name: &str, chosen: &[SwingShown], words: &str| {
        let ticks: Vec<Html> = page
            .swings
            .iter()
            .map(|swing| {
                let mut attributes =
                    vec![("type", "checkbox"), ("name", name), ("value", swing.id.as_str())];
                if chosen.iter().any(|c| c.id == swing.id) {
                    attributes.push(("checked", ""));
                }
                let text = el("span", &[], swing_name(swing));
                el("label", &[("class", "tick")], [el("input", &attributes, ""), text])
            })
            .collect();
        el("fieldset", &[], [el("legend", &[], words), ticks.into()])
    };
    if page.swings.len() < 2 {
        return empty(say("compare.need_two"));
    }
    let form = el(
        "form",
        &[("class", "choose"), ("data-compare", "")],
        [
            div(
                "sides",
                [
                    side("before", &page.before, say("label.before")),
                    side("after", &page.after, say("label.after")),
                ],
            ),
            tick("same_setup", page.same_setup, say("compare.same_setup")),
            el("button", &[("type", "submit"), ("class", "first")], say("compare.go")),
        ],
    );
    let mut attributes = vec![("class", "choosing")];
    if page.comparison.is_none() {
        attributes.push(("open", ""));
    }
    el("details", &attributes, [el("summary", &[], say("compare.choose")), form])
}
