//! What the coach prefers. In: [`SettingsPage`]. Out: HTML; saved as it is changed.

use crate::page::shown::{Look, SettingsPage};

use super::frame::{choice, document, field, tick, trouble};
use super::html::{Html, el};
use super::look::{at, key};
use super::words::say;

#[must_use]
pub fn settings(page: &SettingsPage, look: &Look) -> String {
    let s = &page.settings;
    let watched = [
        ("type", "text"),
        ("name", "watched"),
        ("value", s.watched.as_str()),
        ("autocomplete", "off"),
        ("spellcheck", "false"),
    ];
    let tasks = [("name", "tasks"), ("rows", "16"), ("spellcheck", "true")];
    let message: Html = page.message.as_deref().map(trouble).into();
    let units = [("cm", say("settings.cm")), ("inches", say("settings.inches"))];
    let decimals = [("point", say("settings.point")), ("comma", say("settings.comma"))];
    let dates = [
        ("year-month-day", say("settings.ymd")),
        ("day-month-year", say("settings.dmy")),
        ("month-day-year", say("settings.mdy")),
    ];
    let papers = [("a4", say("hand.a4")), ("letter", say("hand.letter"))];
    let inside = [
        message,
        choice(say("settings.units"), "units", &key(s.units), &units),
        choice(say("settings.decimal"), "decimal", &key(s.decimal), &decimals),
        choice(say("settings.dates"), "date_format", &key(s.date_format), &dates),
        choice(say("hand.paper"), "paper", &s.paper, &papers),
        tick("blur", s.blur, say("settings.blur")),
        field(say("settings.watched"), el("input", &watched, "")),
        el("p", &[("class", "quiet")], say("settings.watched_how")),
        field(say("settings.tasks"), el("textarea", &tasks, page.tasks.as_str())),
        el("p", &[("class", "quiet")], say("settings.tasks_how")),
        el("p", &[("class", "saved"), ("role", "status")], ""),
    ];
    let to = at(look, "api/settings");
    let form = el("form", &[("class", "settings"), ("data-save", &to)], inside);
    document(look, "settings", say("page.settings"), el("h1", &[], say("page.settings")).and(form))
}
