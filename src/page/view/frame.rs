//! The frame of every page. In: its name, title and content. Out: a whole HTML document without
//! inline script or style, as the content security policy asks.

use crate::page::shown::Look;

use super::html::{Html, div, el};
use super::look::at;
use super::words::{fill, say};

/// A page; `name` tells the scripts which one it is.
pub fn document(look: &Look, name: &str, title: &str, content: Html) -> String {
    let sheet = at(look, "assets/page.css");
    let charts = at(look, "assets/chart.css");
    let script = at(look, "assets/page.js");
    let icon = at(look, "assets/icon.svg");
    let head = el(
        "head",
        &[],
        [
            el("meta", &[("charset", "utf-8")], ""),
            el(
                "meta",
                &[("name", "viewport"), ("content", "width=device-width, initial-scale=1")],
                "",
            ),
            el("meta", &[("name", "color-scheme"), ("content", "light dark")], ""),
            el("title", &[], fill("page.title", &[("title", title)])),
            el("link", &[("rel", "icon"), ("href", &icon)], ""),
            el("link", &[("rel", "stylesheet"), ("href", &sheet)], ""),
            el("link", &[("rel", "stylesheet"), ("href", &charts)], ""),
            el("script", &[("type", "module"), ("src", &script)], ""),
        ],
    );
    let body = el(
        "body",
        &[("data-page", name)],
        [
            el("a", &[("class", "skip"), ("href", "#main")], say("page.skip")),
            header(look, name),
            el("main", &[("id", "main"), ("tabindex", "-1")], content),
            el("p", &[("id", "notice"), ("role", "status"), ("aria-live", "polite")], ""),
            el("footer", &[], el("p", &[], say("page.stays_here"))),
        ],
    );
    let root = at(look, "");
    let html = el("html", &[("lang", say("page.lang")), ("data-root", &root)], [head, body]);
    format!("<!doctype html>\n{}\n", html.into_string())
}

fn header(look: &Look, name: &str) -> Html {
    let link = |page: &str, path: &str, words: &str| {
        let address = at(look, path);
        let mut attributes = vec![("href", address.as_str())];
        if page == name {
            attributes.push(("aria-current", "page"));
        }
        el("a", &attributes, words)
    };
    let home = at(look, "");
    el(
        "header",
        &[("class", "top")],
        [
            el("a", &[("class", "home"), ("href", &home)], say("page.name")),
            el(
                "nav",
                &[("aria-label", say("page.nav"))],
                [
                    link("bench", "", say("page.bench")),
                    link("settings", "settings", say("page.settings")),
                ],
            ),
        ],
    )
}

/// A large button that is a link.
pub fn go(look: &Look, path: &str, words: &str, class: &str) -> Html {
    el("a", &[("class", &format!("button {class}")), ("href", &at(look, path))], words)
}

/// A labelled field: the label's words stand above what is filled in.
pub fn field(words: &str, inside: Html) -> Html {
    el("label", &[("class", "field")], [el("span", &[], words), inside])
}

/// A set of choices of which one holds; each is `(value, words)`.
pub fn choice(legend: &str, name: &str, chosen: &str, options: &[(&str, &str)]) -> Html {
    let mut parts = vec![el("legend", &[], legend)];
    for (value, words) in options {
        let mut attributes = vec![("type", "radio"), ("name", name), ("value", *value)];
        if *value == chosen {
            attributes.push(("checked", ""));
        }
        parts.push(el("label", &[], [el("input", &attributes, ""), el("span", &[], *words)]));
    }
    el("fieldset", &[("class", "choice")], parts)
}

/// The same as a drop-down list.
pub fn select(name: &str, chosen: &str, options: &[(String, String)]) -> Html {
    let options: Vec<Html> = options
        .iter()
        .map(|(value, words)| {
            let mut attributes = vec![("value", value.as_str())];
            if value == chosen {
                attributes.push(("selected", ""));
            }
            el("option", &attributes, words.as_str())
        })
        .collect();
    el("select", &[("name", name)], options)
}

/// A switch with its words beside it.
pub fn tick(name: &str, on: bool, words: &str) -> Html {
    let mut attributes = vec![("type", "checkbox"), ("name", name), ("value", "1")];
    if on {
        attributes.push(("checked", ""));
    }
    el("label", &[("class", "tick")], [el("input", &attributes, ""), el("span", &[], words)])
}

/// What went wrong and what to do.
pub fn trouble(message: &str) -> Html {
    el("p", &[("class", "trouble")], message)
}

/// What to do where there is nothing yet.
pub fn empty(words: &str) -> Html {
    el("p", &[("class", "empty")], words)
}

/// A page that says why there is no other.
#[must_use]
pub fn failure(status: u16, message: &str, look: &Look) -> String {
    let key = if status == 404 { "failure.not_found" } else { "failure.other" };
    let content = el("h1", &[], say(key))
        .and(trouble(message))
        .and(div("actions", go(look, "", say("failure.back"), "first")));
    document(look, "failure", say(key), content)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::view::look::tests::plain;

    #[test]
    fn a_page_has_no_inline_script_or_style_and_says_what_is_wrong() {
        let page = failure(404, "There is no swing <7>.", &plain());
        assert!(page.contains("There is no swing &lt;7&gt;."));
        for forbidden in [" style=", " onclick", "<style", "javascript:"] {
            assert!(!page.contains(forbidden), "{forbidden}");
        }
        assert!(page.contains("lang=\"en\"") && page.contains("<title>"));
    }
}
