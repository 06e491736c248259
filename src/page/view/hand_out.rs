//! What the pupil takes home: the sheet, stills, the short clip. In: [`HandOutPage`]. Out: HTML;
//! the scripts keep the links in step with the switches.

use crate::events::Event;
use crate::page::shown::{HandOutPage, Look, SwingState};

use super::frame::{choice, document, empty, field, select, tick};
use super::html::{Html, div, el, in_address};
use super::look::{at, event_name, key};
use super::said::{swing_name, view_name};
use super::words::{fill, say};

#[must_use]
pub fn hand_out(page: &HandOutPage, look: &Look) -> String {
    let name = swing_name(&page.swing.swing);
    let title = fill("hand.title", &[("swing", &name)]);
    let body = match &page.swing.result {
        Some(_) => ready(page, look),
        None => empty(say("bench.no_answer_yet")),
    };
    document(look, "hand-out", &title, el("h1", &[], title.as_str()).and(body))
}

fn ready(page: &HandOutPage, look: &Look) -> Html {
    let id = in_address(&page.swing.swing.id);
    let sheet = at(look, "api/sheet");
    let swing = at(look, &format!("api/swings/{id}"));
    let attributes = [
        ("class", "hand-out"),
        ("data-hand-out", page.swing.swing.id.as_str()),
        ("data-sheet", sheet.as_str()),
        ("data-swing-api", swing.as_str()),
    ];
    el("div", &attributes, [sheet_side(page, look), preview(), pictures(page, look)])
}

/// What the sheet says, and the buttons that save it.
fn sheet_side(page: &HandOutPage, look: &Look) -> Html {
    let words = [
        ("name", "words"),
        ("rows", "5"),
        ("maxlength", "1200"),
        ("placeholder", say("hand.words_hint")),
    ];
    let tasks: Vec<Html> = page
        .tasks
        .iter()
        .map(|task| {
            let mut attributes =
                vec![("type", "checkbox"), ("name", "task"), ("value", task.id.as_str())];
            if task.chosen {
                attributes.push(("checked", ""));
            }
            let text = [
                el("strong", &[], task.title.as_str()),
                el("span", &[("class", "quiet")], task.body.as_str()),
            ];
            el(
                "label",
                &[("class", "tick task")],
                [el("input", &attributes, ""), el("span", &[], text)],
            )
        })
        .collect();
    let papers = [("a4", say("hand.a4")), ("letter", say("hand.letter"))];
    let inside = [
        el("h2", &[], say("hand.sheet")),
        saves(),
        field(say("hand.words"), el("textarea", &words, page.words.as_str())),
        before(page),
        tick("same_setup", page.same_setup, say("compare.same_setup")),
        tick("blur", page.swing.swing.minor || look.blur, say("hand.blur")),
        choice(say("hand.paper"), "paper", page.paper.as_str(), &papers),
        el(
            "fieldset",
            &[("class", "tasks")],
            [
                el("legend", &[], say("hand.tasks")),
                if tasks.is_empty() { empty(say("hand.no_tasks")) } else { tasks.into() },
            ],
        ),
        el("p", &[("class", "saved"), ("role", "status")], ""),
    ];
    el("form", &[("class", "sheet-form")], inside)
}

fn saves() -> Html {
    let link = |format: &str, words: &str, class: &str| {
        let attributes =
            [("class", class), ("data-save-sheet", format), ("href", "#"), ("download", "")];
        el("a", &attributes, words)
    };
    div(
        "actions",
        [link("pdf", say("hand.pdf"), "button first"), link("png", say("hand.png"), "button")],
    )
}

/// The swing it is set against.
fn before(page: &HandOutPage) -> Html {
    let mut options = vec![(String::new(), say("hand.before_none").to_owned())];
    let ready = page.swing.others.iter().filter(|o| o.state == SwingState::Ready);
    options.extend(ready.map(|other| (other.id.clone(), swing_name(other))));
    let chosen = page.before.as_ref().map_or("", |swing| swing.id.as_str());
    field(say("hand.before"), select("before", chosen, &options))
}

fn preview() -> Html {
    el(
        "section",
        &[("class", "preview"), ("aria-label", say("hand.preview"))],
        [
            el("h2", &[], say("hand.preview")),
            el("img", &[("class", "sheet-picture"), ("alt", say("hand.preview_alt"))], ""),
            el("p", &[("class", "quiet"), ("role", "status")], say("page.loading")),
        ],
    )
}

/// Stills at the moments a coach shows, and the short clip.
fn pictures(page: &HandOutPage, look: &Look) -> Html {
    let swing = &page.swing.swing;
    let sizes = [("phone", say("hand.phone")), ("full", say("hand.full"))];
    let views: Vec<Html> = swing
        .clips
        .keys()
        .map(|view| {
            let mut links: Vec<Html> = [Event::Address, Event::Top, Event::Impact, Event::Finish]
                .iter()
                .map(|event| {
                    let name = format!("{}_{}", key(view), key(event));
                    still_link(&name, event_name(*event))
                })
                .collect();
            let both = format!("{}_address_top", key(view));
            links.push(still_link(&both, say("hand.address_top")));
            let clip = at(
                look,
                &format!("api/swings/{}/clip.mp4?view={}", in_address(&swing.id), key(view)),
            );
            links.push(el(
                "a",
                &[
                    ("class", "button"),
                    ("data-save-clip", &clip),
                    ("href", &clip),
                    ("download", ""),
                ],
                say("hand.clip"),
            ));
            div("view-links", [el("h3", &[], view_name(Some(*view))), div("links", links)])
        })
        .collect();
    el(
        "section",
        &[("class", "stills")],
        [
            el("h2", &[], say("hand.stills")),
            choice(say("hand.size"), "size", "phone", &sizes),
            views.into(),
        ],
    )
}

fn still_link(name: &str, words: &str) -> Html {
    let attributes =
        [("class", "button"), ("data-save-still", name), ("href", "#"), ("download", "")];
    el("a", &attributes, words)
}
