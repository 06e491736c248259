//! Who swings, and which clips belong together: typed while the clips are measured, saved as it
//! is typed. In: [`SwingShown`]. Out: HTML whose fields the scripts send with `PATCH`.

use crate::calibration::View;
use crate::frames::Handed;
use crate::page::shown::{BenchShown, Look, SwingShown, SwingState, Units};
use crate::record::Pupil;

use super::frame::{choice, field, select, tick};
use super::html::{Html, div, el, in_address};
use super::look::{at, key};
use super::said::{swing_name, view_name};
use super::words::{fill, say};

/// The pupils' names, offered while a name is typed.
pub fn names(pupils: &[Pupil]) -> Html {
    let options: Vec<Html> =
        pupils.iter().map(|p| el("option", &[("value", &p.name)], "")).collect();
    el("datalist", &[("id", "pupil-names"), ("data-live", "pupil-names")], options)
}

/// The form, closed once all that matters is known.
pub fn known(swing: &SwingShown, look: &Look) -> Html {
    let done = swing.state == SwingState::Ready && swing.stature.is_some();
    let mut attributes = vec![("class", "who-box")];
    if !done {
        attributes.push(("open", ""));
    }
    el("details", &attributes, [el("summary", &[], say("swing.who")), form(swing, look)])
}

/// Pupil, height, before or after, club, and whether the pupil is a minor.
pub fn form(swing: &SwingShown, look: &Look) -> Html {
    let hint = match look.units {
        Units::Cm => say("who.stature_hint_cm"),
        Units::Inches => say("who.stature_hint_inches"),
    };
    let unit = key(look.units);
    let text = |name: &str, value: &str, hint: &str, list: &str| {
        let mut attributes = vec![
            ("type", "text"),
            ("name", name),
            ("value", value),
            ("placeholder", hint),
            ("autocomplete", "off"),
        ];
        if !list.is_empty() {
            attributes.push(("list", list));
        }
        el("input", &attributes, "")
    };
    let pupil = swing.pupil.as_deref().unwrap_or_default();
    let stature = swing.stature.as_deref().unwrap_or_default();
    let labels = [
        ("before", say("label.before")),
        ("after", say("label.after")),
        ("", say("label.neither")),
    ];
    let inside = [
        choice(say("who.label"), &format!("label-{}", swing.id), &swing.label, &labels),
        field(say("who.stature"), text("stature", stature, hint, "")),
        field(say("who.pupil"), text("pupil", pupil, say("who.pupil_hint"), "pupil-names")),
        field(say("who.club"), text("club", &swing.club, say("who.club_hint"), "")),
        tick("minor", swing.minor, say("who.minor")),
        el("p", &[("class", "saved"), ("role", "status")], ""),
    ];
    let to = at(look, &format!("api/swings/{}", in_address(&swing.id)));
    let name = fill("who.form", &[("swing", &swing_name(swing))]);
    let attributes = [
        ("class", "who"),
        ("data-save", to.as_str()),
        ("data-unit", unit.as_str()),
        ("aria-label", name.as_str()),
    ];
    el("form", &attributes, inside)
}

/// What was proposed from the pictures, to be put right: view of each clip, hand, pair.
pub fn arrange(swing: &SwingShown, shown: &BenchShown, look: &Look) -> Html {
    let live = format!("arrange-{}", swing.id);
    let to = at(look, &format!("api/swings/{}", in_address(&swing.id)));
    let hands = [("right", say("hand.right")), ("left", say("hand.left"))];
    let hand = if swing.handed == Handed::Left { "left" } else { "right" };
    let mut parts = vec![choice(say("who.hand"), &format!("handed-{}", swing.id), hand, &hands)];
    for (view, clip) in &swing.clips {
        parts.push(view_of(*view, clip, shown));
    }
    parts.push(pair(swing, shown));
    let remove = [("type", "button"), ("data-does", "remove-swing"), ("class", "danger")];
    parts.push(el("button", &remove, say("who.remove")));
    let form = el("form", &[("class", "arrange"), ("data-save", &to)], parts);
    let summary = el("summary", &[], summary(swing, shown));
    el("details", &[("data-live", &live)], [summary, form])
}

/// `Right-handed, face-on and down-the-line. Not right?`; no claim before it was looked at.
fn summary(swing: &SwingShown, shown: &BenchShown) -> String {
    let unknown = |id: &String| shown.clips.iter().any(|c| c.id == *id && c.view.is_none());
    if swing.clips.values().any(unknown) {
        return say("who.found_later").to_owned();
    }
    let views: Vec<&str> = swing.clips.keys().map(|view| view_name(Some(*view))).collect();
    let hand = match swing.handed {
        Handed::Right => say("hand.right"),
        Handed::Left => say("hand.left"),
    };
    fill("who.found", &[("hand", hand), ("views", &views.join(say("page.and")))])
}

fn view_of(view: View, clip: &str, shown: &BenchShown) -> Html {
    let name = shown.clips.iter().find(|c| c.id == clip).map_or(clip, |c| c.name.as_str());
    let options =
        [View::FaceOn, View::DownTheLine].map(|v| (key(v), view_name(Some(v)).to_owned()));
    let legend = fill("who.view_of", &[("name", name)]);
    field(&legend, select(&format!("view-{clip}"), &key(view), &options))
}

/// Split what is two; join what is one with another swing of one clip.
fn pair(swing: &SwingShown, shown: &BenchShown) -> Html {
    if swing.clips.len() > 1 {
        let split = [("type", "button"), ("data-does", "split")];
        return el("button", &split, say("who.split"));
    }
    let mut options = vec![(String::new(), say("who.alone").to_owned())];
    let others = shown.swings.iter().filter(|s| s.id != swing.id && s.clips.len() == 1);
    options.extend(others.map(|s| (s.id.clone(), swing_with_file(s, shown))));
    if options.len() == 1 {
        return Html::default();
    }
    div("pair", field(say("who.join"), select("join", "", &options)))
}

fn swing_with_file(swing: &SwingShown, shown: &BenchShown) -> String {
    let file = |id: &String| shown.clips.iter().find(|c| c.id == *id).map(|c| c.name.as_str());
    let files: Vec<&str> = swing.clips.values().filter_map(file).collect();
    format!("{} ({})", swing_name(swing), files.join(", "))
}
