//! The check: the clip picture by picture with what was found on it, and every correction. In:
//! [`SwingPage`], the view looked at. Out: HTML; the scripts bring pictures and marks.

use crate::calibration::View;
use crate::events::Event;
use crate::page::shown::{Look, SwingPage};
use crate::results::SwingResult;

use super::frame::{document, empty, go, trouble};
use super::html::{Html, div, el, in_address};
use super::look::{at, event_name, key};
use super::numbers::{numbers, readout};
use super::said::{answer_of, swing_name, used, view_name};
use super::tools::tools;
use super::words::{fill, say};

#[must_use]
pub fn check(page: &SwingPage, view: View, look: &Look) -> String {
    let name = swing_name(&page.swing);
    let title = fill("check.title", &[("swing", &name)]);
    let id = in_address(&page.swing.id);
    let head = div(
        "head",
        [
            el("h1", &[], title.as_str()),
            go(look, &format!("swing/{id}"), say("check.done"), "first"),
        ],
    );
    let body = match &page.result {
        Some(result) => bench(page, view, result, look),
        None => unread(page, view, look),
    };
    document(look, "check", &title, head.and(body))
}

/// No numbers: why, and the corrections, one of which may be the reason.
fn unread(page: &SwingPage, view: View, look: &Look) -> Html {
    let said = match page.swing.message.as_deref() {
        Some(message) => trouble(message),
        None => empty(say("bench.no_answer_yet")),
    };
    let said = el("div", &[("class", "said"), ("data-live", "said")], said);
    place(page, view, look, said.and(by_hand()))
}

/// What the scripts need to know, around what is shown.
fn place(page: &SwingPage, view: View, look: &Look, inside: Html) -> Html {
    let api = at(look, &format!("api/swings/{}", in_address(&page.swing.id)));
    let view_key = key(view);
    let corrections = serde_json::to_string(&page.corrections).unwrap_or_default();
    let attributes = [
        ("class", "check"),
        ("data-check", api.as_str()),
        ("data-view", view_key.as_str()),
        ("data-corrections", corrections.as_str()),
    ];
    el("div", &attributes, inside)
}

fn bench(page: &SwingPage, view: View, result: &SwingResult, look: &Look) -> Html {
    let told_here = readout(result, view, look);
    let seen = [
        views(page, view, look),
        stage(view),
        walk(),
        told_here,
        events(result),
        tools(page, view, result, look),
    ];
    let text = page.swing.answer.as_deref().unwrap_or_default();
    let used = used(&page.swing, result).map(|words| el("p", &[("class", "quiet")], words));
    let answer = answer_of(text).and(used);
    let told = [
        el("div", &[("class", "said"), ("data-live", "said")], answer),
        by_hand(),
        numbers(result, look),
    ];
    place(page, view, look, [div("seen", seen), div("told", told)].into())
}

/// Where both views exist, a link to each.
fn views(page: &SwingPage, view: View, look: &Look) -> Html {
    if page.swing.clips.len() < 2 {
        return Html::default();
    }
    let id = in_address(&page.swing.id);
    let links: Vec<Html> = page
        .swing
        .clips
        .keys()
        .map(|v| {
            let address = at(look, &format!("swing/{id}/check?view={}", key(v)));
            let mut attributes = vec![("href", address.as_str()), ("class", "button")];
            if *v == view {
                attributes.push(("aria-current", "page"));
            }
            el("a", &attributes, view_name(Some(*v)))
        })
        .collect();
    el("nav", &[("class", "views"), ("aria-label", say("check.views"))], links)
}

/// The picture and the marks over it. The drawing is what the keyboard and the pointer move.
fn stage(view: View) -> Html {
    let words = fill("check.picture", &[("view", view_name(Some(view)))]);
    let image = el("img", &[("class", "shot"), ("alt", &words)], "");
    let marks = [("class", "marks"), ("aria-label", say("check.marks")), ("role", "group")];
    let hint = el("p", &[("class", "hint"), ("role", "status")], "");
    div("stage", [image, el("svg", &marks, ""), hint])
}

fn button(does: &str, words: &str, label: &str) -> Html {
    // What is seen is part of the name, for those who speak to the page.
    let name = format!("{words} {label}");
    let attributes =
        [("type", "button"), ("data-does", does), ("aria-label", &name), ("title", label)];
    el("button", &attributes, words)
}

/// Walking through the clip: back, forth, slow play, and the time bar with the events on it.
fn walk() -> Html {
    let bar = [
        ("class", "bar"),
        ("role", "slider"),
        ("tabindex", "0"),
        ("aria-label", say("check.bar")),
        ("aria-valuemin", "0"),
        ("aria-valuemax", "0"),
        ("aria-valuenow", "0"),
    ];
    let steps = [
        button("back10", "\u{2212}10", say("check.back10")),
        button("back", "\u{2212}1", say("check.back")),
        button("play", "\u{25b6}", say("check.play")),
        button("forth", "+1", say("check.forth")),
        button("forth10", "+10", say("check.forth10")),
    ];
    let where_ = el("p", &[("class", "where")], "");
    div("walk", [div("steps", steps), div("bar-box", el("div", &bar, "")), where_])
}

/// Jump to an event, or say that this picture is it.
fn events(result: &SwingResult) -> Html {
    let jumps: Vec<Html> = result
        .events
        .keys()
        .map(|event| {
            let event_key = key(event);
            let attributes = [("type", "button"), ("data-jump", event_key.as_str())];
            el("button", &attributes, event_name(*event))
        })
        .collect();
    let options: Vec<(String, String)> =
        Event::ALL.iter().map(|e| (key(e), event_name(*e).to_owned())).collect();
    let set = div(
        "set-event",
        [
            super::frame::field(
                say("check.this_is"),
                super::frame::select("event", "top", &options),
            ),
            el("button", &[("type", "button"), ("data-does", "set-event")], say("check.set_event")),
        ],
    );
    div("jumps", jumps).and(set)
}

fn by_hand() -> Html {
    let list = el("ul", &[("class", "by-hand")], "");
    let head = el("h2", &[], say("check.by_hand"));
    el("section", &[("aria-label", say("check.by_hand"))], [head, list])
}
