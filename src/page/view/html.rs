//! HTML as a type. In: names, attributes and text. Out: markup in which all text and every
//! attribute value is escaped, in this file alone. What it does not do: judge whether the markup
//! makes sense.

/// Markup that is safe to send.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Html(String);

/// Elements without content or end tag.
const VOID: [&str; 6] = ["br", "hr", "img", "input", "link", "meta"];

impl Html {
    /// The markup.
    #[must_use]
    pub fn into_string(self) -> String {
        self.0
    }

    /// One after the other.
    #[must_use]
    pub fn and(mut self, next: impl Into<Self>) -> Self {
        self.0.push_str(&next.into().0);
        self
    }
}

impl From<&str> for Html {
    fn from(text: &str) -> Self {
        Self(escape(text))
    }
}

impl From<String> for Html {
    fn from(text: String) -> Self {
        Self(escape(&text))
    }
}

impl From<Vec<Html>> for Html {
    fn from(parts: Vec<Html>) -> Self {
        parts.into_iter().collect()
    }
}

impl<const N: usize> From<[Html; N]> for Html {
    fn from(parts: [Html; N]) -> Self {
        parts.into_iter().collect()
    }
}

impl From<Option<Html>> for Html {
    fn from(part: Option<Html>) -> Self {
        part.unwrap_or_default()
    }
}

impl FromIterator<Html> for Html {
    fn from_iter<I: IntoIterator<Item = Html>>(parts: I) -> Self {
        Self(parts.into_iter().map(|part| part.0).collect())
    }
}

/// `<name attribute="value">inside</name>`; `inside` of an element without content is left out.
#[must_use]
pub fn el(name: &str, attributes: &[(&str, &str)], inside: impl Into<Html>) -> Html {
    let mut out = format!("<{name}");
    for (key, value) in attributes {
        out.push(' ');
        out.push_str(key);
        if !value.is_empty() || matches!(*key, "value" | "alt") {
            out.push_str("=\"");
            out.push_str(&escape(value));
            out.push('"');
        }
    }
    out.push('>');
    if !VOID.contains(&name) {
        out.push_str(&inside.into().0);
        out.push_str("</");
        out.push_str(name);
        out.push('>');
    }
    Html(out)
}

/// `<div class="...">`.
#[must_use]
pub fn div(class: &str, inside: impl Into<Html>) -> Html {
    el("div", &[("class", class)], inside)
}

/// Text for a place between tags or between double quotes. Control characters, which HTML
/// forbids, become spaces.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(c),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A piece of an address: everything but letters, digits and `-_.~` as `%XX` (RFC 3986).
#[must_use]
pub fn in_address(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-_.~".contains(&b);
    text.bytes()
        .map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_cannot_leave_their_place() {
        let hostile = "\"><script>alert('1')</script>&\u{7}";
        let html = el("p", &[("title", hostile)], hostile).into_string();
        assert!(!html.contains("<script"), "{html}");
        assert_eq!(html.matches('<').count(), 2);
        assert_eq!(html.matches('"').count(), 2);
        assert!(!html.contains('\u{7}'));
    }

    #[test]
    fn elements_without_content_have_no_end_and_flags_no_value() {
        let input = el("input", &[("disabled", ""), ("value", "")], "");
        assert_eq!(input.into_string(), "<input disabled value=\"\">");
        assert_eq!(el("b", &[], [Html::from("a"), Html::from("<")]).into_string(), "<b>a&lt;</b>");
    }

    #[test]
    fn names_in_addresses_keep_to_their_place() {
        assert_eq!(in_address("Zoë/..?a=b"), "Zo%C3%AB%2F..%3Fa%3Db");
    }
}
