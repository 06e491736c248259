//! A pupil over the weeks. In: [`PupilPage`]. Out: HTML.

use crate::page::shown::{LessonShown, Look, PupilPage, SwingState};
use crate::record::Stored;
use crate::results::answer_in;

use super::frame::{document, empty, field, go, select};
use super::html::{Html, div, el, in_address};
use super::look::{at, written_day};
use super::said::{sentence, swing_name};
use super::swing::drawing;
use super::words::{fill, say};

/// What a coach follows first; the others of the list can be chosen.
const FIRST: &str = "top.lower_hub_target";

#[must_use]
pub fn pupil(page: &PupilPage, look: &Look) -> String {
    let name = page.pupil.name.as_str();
    let mut parts = vec![el("h1", &[], name)];
    if !page.has_history && page.swings.is_empty() {
        parts.push(empty(say("pupil.empty")));
    }
    if page.has_history {
        parts.push(history(name, look));
    }
    parts.push(on_bench(page, look));
    parts.push(lessons(page, look));
    document(look, "pupil", name, parts.into())
}

fn history(name: &str, look: &Look) -> Html {
    let keys = [
        FIRST,
        "top.upper_hub_target",
        "top.lower_hub_ball",
        "top.upper_hub_ball",
        "top.spine_tilt",
        "top.forward_bend",
        "impact.lower_hub_target",
        "impact.upper_hub_target",
        "impact.spine_tilt",
        "swing.tempo",
    ];
    let options: Vec<(String, String)> =
        keys.iter().map(|k| ((*k).to_owned(), say(&format!("key.{k}")).to_owned())).collect();
    let address = at(look, &format!("api/history.svg?pupil={}&key={FIRST}", in_address(name)));
    el(
        "section",
        &[("class", "history")],
        [
            el("h2", &[], say("pupil.history")),
            field(say("pupil.key"), select("key", FIRST, &options)),
            drawing(&address, say("pupil.history")),
        ],
    )
}

fn on_bench(page: &PupilPage, look: &Look) -> Html {
    if page.swings.is_empty() {
        return Html::default();
    }
    let items: Vec<Html> = page
        .swings
        .iter()
        .map(|swing| {
            let path = format!("swing/{}", in_address(&swing.id));
            let answer = swing.answer.as_deref().filter(|_| swing.state == SwingState::Ready);
            let said = answer.map(|a| el("p", &[], sentence(a)));
            el("li", &[], [go(look, &path, &swing_name(swing), ""), said.into()])
        })
        .collect();
    el("section", &[], [el("h2", &[], say("pupil.bench")), el("ul", &[("class", "plain")], items)])
}

fn lessons(page: &PupilPage, look: &Look) -> Html {
    if page.lessons.is_empty() && !page.newer {
        return Html::default();
    }
    let items: Vec<Html> = page.lessons.iter().map(|shown| lesson(shown, look)).collect();
    let inside = [el("h2", &[], say("pupil.lessons")), items.into(), further(page, look)];
    el("section", &[], inside)
}

fn lesson(shown: &LessonShown, look: &Look) -> Html {
    let LessonShown { lesson, recorded: swings } = shown;
    let swings: Vec<Html> = swings.iter().map(|stored| recorded(stored, look)).collect();
    let tasks: Vec<Html> = lesson.tasks.iter().map(|task| el("li", &[], task.as_str())).collect();
    let tasks = if tasks.is_empty() {
        Html::default()
    } else {
        el("p", &[], say("pupil.tasks")).and(el("ul", &[], tasks))
    };
    let day = el("h3", &[], written_day(look, &lesson.date));
    div("lesson", [day, el("ul", &[("class", "plain")], swings), tasks])
}

/// Links to lessons that are not on this page.
fn further(page: &PupilPage, look: &Look) -> Html {
    let path = format!("pupil/{}", in_address(&page.pupil.name));
    let newest = page.newer.then(|| go(look, &path, say("pupil.newest"), ""));
    let older = page
        .older
        .as_ref()
        .map(|day| go(look, &format!("{path}?until={}", in_address(day)), say("pupil.older"), ""));
    if newest.is_none() && older.is_none() {
        return Html::default();
    }
    let links = Html::from(newest).and(older);
    el("nav", &[("class", "actions"), ("aria-label", say("pupil.lessons"))], links)
}

fn recorded(stored: &Stored, look: &Look) -> Html {
    let label = match stored.label.as_str() {
        "before" => say("label.before"),
        "after" => say("label.after"),
        "" => say("pupil.swing"),
        other => other,
    };
    let club = if stored.club.is_empty() {
        String::new()
    } else {
        fill("pupil.club", &[("club", &stored.club)])
    };
    let answer = answer_in(&stored.result, look.style());
    el("li", &[], [el("strong", &[], format!("{label}{club}")), el("p", &[], sentence(&answer))])
}
