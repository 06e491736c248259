//! One swing: the answer, address and top, the ladder, the numbers, and where to go from here.
//! In: [`SwingPage`]. Out: HTML.

use crate::calibration::View;
use crate::events::Event;
use crate::page::shown::{Look, SwingPage, SwingShown, SwingState};
use crate::results::SwingResult;

use super::frame::{choice, document, empty, field, go, select, trouble};
use super::html::{Html, div, el, in_address};
use super::look::{at, day, event_name, key};
use super::numbers::numbers;
use super::said::{answer_of, by_hand, swing_name, used, view_name};
use super::words::{fill, say};
use super::{bench, who};

#[must_use]
pub fn swing(page: &SwingPage, look: &Look) -> String {
    let swing = &page.swing;
    let name = swing_name(swing);
    let arrived = i64::try_from(swing.arrived_unix_s).unwrap_or_default();
    let head = div(
        "head",
        [
            el("h1", &[("data-live", "name")], name.as_str()),
            el("p", &[("class", "quiet")], day(look, arrived)),
        ],
    );
    let body = match &page.result {
        Some(result) => read(page, result, look),
        None => unread(page, look),
    };
    let more = el(
        "details",
        &[("class", "details-who")],
        [el("summary", &[], say("swing.who")), who::form(swing, look)],
    );
    let content = [head, body, more, who::names(&page.pupils)];
    let id = &swing.id;
    let inside = el("div", &[("class", "reading"), ("data-swing", id)], content);
    document(look, "swing", &name, inside)
}

/// No numbers yet: progress, or why there are none.
fn unread(page: &SwingPage, look: &Look) -> Html {
    let said = match page.swing.state {
        SwingState::Failed => trouble(page.swing.message.as_deref().unwrap_or(say("bench.failed"))),
        _ => empty(say("bench.no_answer_yet")),
    };
    let rows: Vec<Html> =
        page.clips.iter().map(|clip| el("li", &[], bench::clip_row(clip, look))).collect();
    el("div", &[("data-live", "unread"), ("data-reload-when-ready", "")], said).and(el(
        "ul",
        &[("class", "clips")],
        rows,
    ))
}

fn read(page: &SwingPage, result: &SwingResult, look: &Look) -> Html {
    let text = page.swing.answer.as_deref().unwrap_or_default();
    let notes = [used(&page.swing, result), by_hand(page.swing.corrections)];
    let notes = notes.into_iter().flatten().map(|words| el("p", &[("class", "note")], words));
    let said = answer_of(text).and(notes.collect::<Html>());
    [
        el("div", &[("class", "said"), ("data-live", "said")], said),
        actions(page, look),
        pictures(&page.swing, result, look),
        ladder(page, result, look),
        numbers(result, look),
    ]
    .into()
}

fn actions(page: &SwingPage, look: &Look) -> Html {
    let id = in_address(&page.swing.id);
    let partner = partner(page);
    let compare = partner.map_or_else(
        || format!("compare?after={id}"),
        |other| {
            let (before, after) = in_order(&page.swing, other);
            format!("compare?before={}&after={}", in_address(&before.id), in_address(&after.id))
        },
    );
    let hand_out = match partner {
        Some(other) if page.swing.label != "before" => {
            format!("hand-out?after={id}&before={}", in_address(&other.id))
        }
        _ => format!("hand-out?after={id}"),
    };
    let links = [
        go(look, &format!("swing/{id}/check"), say("swing.check"), "first"),
        go(look, &compare, say("swing.compare"), ""),
        go(look, &hand_out, say("swing.hand_out"), ""),
    ];
    el("nav", &[("class", "actions dock"), ("aria-label", say("swing.next"))], links)
}

/// The other half of a before and after of the same pupil, the newest.
fn partner(page: &SwingPage) -> Option<&SwingShown> {
    let wanted = match page.swing.label.as_str() {
        "before" => "after",
        "after" => "before",
        _ => return None,
    };
    page.others.iter().find(|other| {
        other.label == wanted && other.pupil == page.swing.pupil && other.state == SwingState::Ready
    })
}

fn in_order<'a>(one: &'a SwingShown, other: &'a SwingShown) -> (&'a SwingShown, &'a SwingShown) {
    if one.label == "before" { (one, other) } else { (other, one) }
}

/// Address and top of each view, beside each other or one over the other.
fn pictures(swing: &SwingShown, result: &SwingResult, look: &Look) -> Html {
    let views: Vec<Html> =
        swing.clips.keys().map(|view| pair(swing, *view, result, look)).collect();
    let ways = [("beside", say("swing.beside")), ("over", say("swing.over"))];
    let inside = [
        el("h2", &[], say("swing.pictures")),
        choice(say("swing.ways"), "way", "beside", &ways),
        div("pairs", views),
    ];
    el("section", &[("class", "pictures")], inside)
}

fn pair(swing: &SwingShown, view: View, result: &SwingResult, look: &Look) -> Html {
    let stills = [Event::Address, Event::Top].map(|event| still(swing, view, event, look));
    let view_key = key(view);
    let frame = |event| {
        let index = result.events.get(&event)?.frames.get(&view)?;
        Some(at(
            look,
            &format!("api/swings/{}/frame/{view_key}/{index}.jpg?max=900", in_address(&swing.id)),
        ))
    };
    let over = match (frame(Event::Address), frame(Event::Top)) {
        (Some(address), Some(top)) => over(view, &address, &top),
        _ => Html::default(),
    };
    let caption = el("h3", &[], view_name(Some(view)));
    div("pair-of-view", [caption, div("beside", stills), over])
}

pub fn still(swing: &SwingShown, view: View, event: Event, look: &Look) -> Html {
    let source = |end: &str| {
        let (id, view, event) = (in_address(&swing.id), key(view), key(event));
        at(look, &format!("api/swings/{id}/stills/{view}_{event}.{end}"))
    };
    let name = event_name(event);
    let words = fill("swing.still", &[("event", name), ("view", view_name(Some(view)))]);
    let image = [
        ("src", source("jpg?size=phone")),
        ("alt", words),
        ("loading", "lazy".to_owned()),
        ("data-fresh", String::new()),
    ];
    let image: Vec<(&str, &str)> = image.iter().map(|(k, v)| (*k, v.as_str())).collect();
    // The whole picture is a large target that opens it at full size.
    let large = el("a", &[("href", &source("jpg?size=full"))], el("img", &image, ""));
    el("figure", &[], [large, el("figcaption", &[], name)])
}

/// Top over address; a slider fades between them.
fn over(view: View, address: &str, top: &str) -> Html {
    let label = fill("swing.fade", &[("view", view_name(Some(view)))]);
    let picture = |class, source, words| {
        el("img", &[("class", class), ("src", source), ("alt", words), ("loading", "lazy")], "")
    };
    let slider = [
        ("type", "range"),
        ("min", "0"),
        ("max", "100"),
        ("value", "50"),
        ("aria-label", label.as_str()),
    ];
    let ends = [el("span", &[], say("event.address")), el("span", &[], say("event.top"))];
    div(
        "over",
        [
            div(
                "sheets",
                [
                    picture("under", address, say("event.address")),
                    picture("upper-sheet", top, say("event.top")),
                ],
            ),
            el("input", &slider, ""),
            div("ends", ends),
        ],
    )
}

/// The ladder, another swing over it if wished, and the map where both views exist. The scripts
/// fetch the drawings in the width there is.
fn ladder(page: &SwingPage, result: &SwingResult, look: &Look) -> Html {
    let root = format!("api/swings/{}", in_address(&page.swing.id));
    let mut options = vec![(String::new(), say("swing.over_none").to_owned())];
    let ready = page.others.iter().filter(|o| o.state == SwingState::Ready);
    options.extend(ready.map(|other| (other.id.clone(), swing_name(other))));
    let choose = if options.len() > 1 {
        field(say("swing.lay_over"), select("over", "", &options))
    } else {
        Html::default()
    };
    let ladder = at(look, &format!("{root}/ladder.svg"));
    let mut parts = vec![
        el("h2", &[], say("swing.ladder")),
        el("p", &[("class", "quiet")], say("swing.ladder_how")),
        choose,
        drawing(&ladder, say("swing.ladder")),
    ];
    if result.clips.len() > 1 {
        parts.push(el("h2", &[], say("swing.map")));
        parts.push(drawing(&at(look, &format!("{root}/map.svg")), say("swing.map")));
    }
    el("section", &[("class", "ladder")], parts)
}

/// A place for a drawing.
pub fn drawing(address: &str, words: &str) -> Html {
    let attributes = [("class", "drawing"), ("data-drawing", address), ("data-words", words)];
    el("div", &attributes, el("p", &[("class", "quiet")], say("page.loading")))
}
