//! The bench: where clips are dropped, where their progress and each swing's answer stand. In:
//! [`BenchShown`]. Out: HTML.

use crate::calibration::View;
use crate::page::shown::{
    BenchShown, ClipShown, ClipState, Look, SwingShown, SwingState, WatchTrouble,
};

use super::filmed::filmed;
use super::frame::{document, empty, go, trouble};
use super::html::{Html, div, el, in_address};
use super::look::{at, file_size, key};
use super::said::{answer_of, swing_name};
use super::who;
use super::words::{fill, say};

#[must_use]
pub fn bench(shown: &BenchShown, look: &Look) -> String {
    let nothing = shown.swings.is_empty() && shown.clips.is_empty();
    let content = [
        el("h1", &[("class", "unseen")], say("bench.heading")),
        intake(shown, look, nothing),
        el("div", &[("data-live", "together")], together(shown, look)),
        coming(shown, look),
        el("section", &[("aria-label", say("bench.swings"))], swings(shown, look)),
        el("section", &[("data-live", "pupils")], pupils(shown, look)),
        who::names(&shown.pupils),
    ];
    document(look, "bench", say("page.bench"), content.into())
}

fn intake(shown: &BenchShown, look: &Look, nothing: bool) -> Html {
    let most = file_size(look, shown.max_upload_bytes);
    let picker = el(
        "label",
        &[("class", "button first picker")],
        [
            el("span", &[], say("bench.choose")),
            el(
                "input",
                &[("type", "file"), ("accept", "video/*,.mov,.mp4,.mkv,.webm"), ("multiple", "")],
                "",
            ),
        ],
    );
    let mut parts = vec![picker, el("p", &[], say("bench.drop"))];
    parts.push(el("p", &[("class", "quiet how")], fill("bench.how", &[("most", &most)])));
    parts.push(el("div", &[("data-live", "watched")], watched(shown)));
    let most = shown.max_upload_bytes.to_string();
    let class = if nothing { "intake tall" } else { "intake" };
    let attributes = [
        ("class", class),
        ("data-intake", ""),
        ("data-most", most.as_str()),
        ("aria-label", say("bench.intake")),
    ];
    el("section", &attributes, parts).and(el("ul", &[("class", "uploads")], ""))
}

/// The folder that is watched, and what could not be taken from it.
fn watched(shown: &BenchShown) -> Html {
    let Some(folder) = shown.watched.as_deref() else { return Html::default() };
    let said = el("p", &[("class", "quiet")], fill("bench.watched", &[("folder", folder)]));
    let wrong = shown.watch_trouble.iter().map(|WatchTrouble { file, why }| {
        trouble(&match file {
            Some(name) => fill("bench.not_taken", &[("name", name), ("why", why)]),
            None => fill("bench.watched_away", &[("folder", folder), ("why", why)]),
        })
    });
    said.and(wrong.collect::<Html>())
}

/// Two swings of one pupil invite to what comes next: the newest that may be an after, and the
/// newest older one that may be its before.
fn together(shown: &BenchShown, look: &Look) -> Html {
    let ready: Vec<&SwingShown> =
        shown.swings.iter().filter(|s| s.state == SwingState::Ready).collect();
    let Some(at) = ready.iter().position(|s| s.label != "before") else { return Html::default() };
    let after = ready[at];
    let older = |s: &&&SwingShown| s.label != "after" && s.pupil == after.pupil;
    let Some(before) = ready[at + 1..].iter().find(older) else { return Html::default() };
    let query = format!("before={}&after={}", in_address(&before.id), in_address(&after.id));
    let said = match &after.pupil {
        Some(name) => fill("bench.together_of", &[("pupil", name)]),
        None => say("bench.together").to_owned(),
    };
    let actions = [
        go(look, &format!("compare?{query}"), say("bench.compare"), "first"),
        go(look, &format!("hand-out?{query}"), say("bench.hand_out"), ""),
    ];
    div("together", [el("p", &[], said), div("actions", actions)])
}

/// Clips that are in no swing: still looked at, failed or cancelled.
fn coming(shown: &BenchShown, look: &Look) -> Html {
    let alone: Vec<&ClipShown> = shown.clips.iter().filter(|c| c.swing.is_none()).collect();
    let rows: Vec<Html> = alone.iter().map(|clip| clip_item(clip, look)).collect();
    el("ul", &[("class", "clips alone"), ("data-list", "coming")], rows)
}

fn clip_item(clip: &ClipShown, look: &Look) -> Html {
    let item = format!("clip-{}", clip.id);
    el("li", &[("data-item", &item)], clip_row(clip, look))
}

/// One clip: first picture, name, progress or what is wrong, and what can be done.
pub fn clip_row(clip: &ClipShown, look: &Look) -> Html {
    let live = format!("clip-{}", clip.id);
    let name = el(
        "p",
        &[("class", "file")],
        [
            el("span", &[], clip.name.as_str()),
            el("span", &[("class", "quiet")], file_size(look, clip.size_bytes)),
        ],
    );
    let inside =
        [picture(clip, look), div("about", [name, state(clip), filmed(clip), buttons(clip)])];
    let state = key(clip.state);
    let attributes = [
        ("class", "clip"),
        ("data-live", live.as_str()),
        ("data-clip", &clip.id),
        ("data-state", &state),
    ];
    el("div", &attributes, inside)
}

fn picture(clip: &ClipShown, look: &Look) -> Html {
    if !clip.has_picture {
        return div("picture none", "");
    }
    let source = at(look, &format!("api/clips/{}/first.jpg", in_address(&clip.id)));
    let words = fill("bench.first_picture", &[("name", &clip.name)]);
    div("picture", el("img", &[("src", &source), ("alt", &words)], ""))
}

fn state(clip: &ClipShown) -> Html {
    let busy = matches!(clip.state, ClipState::Waiting | ClipState::Looking | ClipState::Measuring);
    match clip.state {
        ClipState::Failed => trouble(clip.message.as_deref().unwrap_or(say("bench.failed"))),
        ClipState::Cancelled => el("p", &[("class", "quiet")], say("bench.cancelled")),
        ClipState::Ready => view_words(clip.view),
        _ if busy => progress(clip),
        _ => Html::default(),
    }
}

fn progress(clip: &ClipShown) -> Html {
    let step = match clip.state {
        ClipState::Waiting => say("bench.waiting"),
        ClipState::Looking => say("bench.looking"),
        _ => say("bench.measuring"),
    };
    let value = format!("{:.3}", clip.share.clamp(0.0, 1.0));
    let label = fill("bench.progress_of", &[("name", &clip.name)]);
    let attributes = [("max", "1"), ("value", value.as_str()), ("aria-label", label.as_str())];
    el("p", &[("class", "step")], step).and(el("progress", &attributes, ""))
}

fn view_words(view: Option<View>) -> Html {
    el("p", &[("class", "quiet")], super::said::view_name(view))
}

fn buttons(clip: &ClipShown) -> Html {
    let button = |does: &str, words: &str| {
        let label = fill("bench.button_of", &[("does", words), ("name", &clip.name)]);
        el("button", &[("type", "button"), ("data-does", does), ("aria-label", &label)], words)
    };
    let inside = match clip.state {
        ClipState::Waiting | ClipState::Looking | ClipState::Measuring => {
            vec![button("cancel", say("bench.cancel"))]
        }
        // It would be refused again.
        ClipState::Failed if clip.too_slow.is_some() => vec![button("remove", say("bench.remove"))],
        ClipState::Failed | ClipState::Cancelled => {
            vec![button("retry", say("bench.retry")), button("remove", say("bench.remove"))]
        }
        ClipState::Ready => Vec::new(),
    };
    div("small-actions", inside)
}

fn swings(shown: &BenchShown, look: &Look) -> Html {
    let cards: Vec<Html> = shown.swings.iter().map(|s| card(s, shown, look)).collect();
    el("div", &[("class", "swings"), ("data-list", "swings")], cards)
}

fn card(swing: &SwingShown, shown: &BenchShown, look: &Look) -> Html {
    let clips = serde_json::to_string(&swing.clips).unwrap_or_default();
    let (item, head) = (format!("swing-{}", swing.id), format!("head-{}", swing.id));
    let (said, rows) = (format!("said-{}", swing.id), format!("clips-{}", swing.id));
    let proposal = format!("proposed-{}", swing.id);
    let address = at(look, &format!("swing/{}", in_address(&swing.id)));
    let title = el("h2", &[("data-live", &head)], {
        if swing.state == SwingState::Ready {
            el("a", &[("href", &address)], swing_name(swing))
        } else {
            swing_name(swing).into()
        }
    });
    let rows_of: Vec<Html> = clips_of(swing, shown).map(|clip| clip_item(clip, look)).collect();
    let inside = [
        title,
        el("div", &[("class", "said"), ("data-live", &said)], answer(swing, shown, look)),
        el("ul", &[("class", "clips"), ("data-list", &rows)], rows_of),
        el("div", &[("data-live", &proposal)], proposed(swing)),
        who::known(swing, look),
        who::arrange(swing, shown, look),
    ];
    let attributes = [
        ("class", "swing"),
        ("data-item", &item),
        ("data-swing", &swing.id),
        ("data-clips", &clips),
    ];
    el("article", &attributes, inside)
}

fn clips_of<'a>(
    swing: &'a SwingShown,
    shown: &'a BenchShown,
) -> impl Iterator<Item = &'a ClipShown> {
    shown.clips.iter().filter(|clip| swing.clips.values().any(|id| *id == clip.id))
}

/// Two clips were taken for one swing by the program alone.
fn proposed(swing: &SwingShown) -> Html {
    if !swing.proposed {
        return Html::default();
    }
    let split = [("type", "button"), ("data-does", "split")];
    div("note", [el("p", &[], say("bench.proposed")), el("button", &split, say("bench.not_one"))])
}

/// The answer first, and where to go from it; or what is missing.
fn answer(swing: &SwingShown, shown: &BenchShown, look: &Look) -> Html {
    let id = in_address(&swing.id);
    let stopped = |c: &ClipShown| matches!(c.state, ClipState::Failed | ClipState::Cancelled);
    match swing.state {
        // The clip below says why.
        SwingState::Failed if clips_of(swing, shown).any(stopped) => Html::default(),
        SwingState::Waiting => el("p", &[("class", "quiet")], say("bench.no_answer_yet")),
        SwingState::Failed => trouble(swing.message.as_deref().unwrap_or(say("bench.failed"))),
        SwingState::Ready => {
            let text = swing.answer.as_deref().unwrap_or_default();
            let note = swing.message.as_deref().map(|m| el("p", &[("class", "note")], m));
            let actions = [
                go(look, &format!("swing/{id}"), say("bench.open"), "first"),
                go(look, &format!("hand-out?after={id}"), say("bench.hand_out_one"), ""),
            ];
            answer_of(text).and(note).and(div("actions", actions))
        }
    }
}

fn pupils(shown: &BenchShown, look: &Look) -> Html {
    if shown.pupils.is_empty() {
        return if shown.swings.is_empty() { empty(say("bench.empty")) } else { Html::default() };
    }
    let links: Vec<Html> = shown
        .pupils
        .iter()
        .map(|p| {
            let path = format!("pupil/{}", in_address(&p.name));
            el("li", &[], go(look, &path, &p.name, ""))
        })
        .collect();
    el("h2", &[], say("bench.pupils")).and(el("ul", &[("class", "pupils")], links))
}
