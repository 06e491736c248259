//! The interface's words. In: a key of `assets/words.en.json`. Out: the text, with its gaps filled.
//!
//! The same file serves the browser's modules. A translation is a second file with the same keys.
//! What it does not hold: the sentences that the command line prints too ([`crate::results`]).

use std::collections::BTreeMap;
use std::sync::LazyLock;

/// The file, also served to the browser.
pub const FILE: &str = include_str!("../assets/words.en.json");

/// A file that does not parse gives no words; a test holds that it does.
static WORDS: LazyLock<BTreeMap<String, String>> =
    LazyLock::new(|| serde_json::from_str(FILE).unwrap_or_default());

/// The words for a key; the key itself where there are none.
#[must_use]
pub fn say(key: &str) -> &str {
    WORDS.get(key).map_or(key, String::as_str)
}

/// The words for a key with each `{gap}` filled.
#[must_use]
pub fn fill(key: &str, gaps: &[(&str, &str)]) -> String {
    let mut text = say(key).to_owned();
    for (gap, value) in gaps {
        text = text.replace(&format!("{{{gap}}}"), value);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    /// What stands between quotes after `start` in a source text.
    fn keys_after<'a>(text: &'a str, start: &str) -> Vec<&'a str> {
        text.match_indices(start)
            .filter_map(|(at, _)| text[at + start.len()..].split(['"', '\'', '`']).next())
            .collect()
    }

    #[test]
    fn every_key_in_use_has_words() {
        let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page");
        let mut used = BTreeSet::new();
        for folder in ["view", "assets"] {
            for entry in std::fs::read_dir(page.join(folder)).unwrap() {
                let path = entry.unwrap().path();
                let source = path.extension().is_some_and(|e| e == "rs" || e == "js");
                if !source {
                    continue;
                }
                let text = std::fs::read_to_string(&path).unwrap();
                for start in ["say(\"", "fill(\"", "say('", "fill('"] {
                    used.extend(keys_after(&text, start).into_iter().map(str::to_owned));
                }
            }
        }
        assert!(used.len() > 50, "{used:?}");
        let lacking: Vec<_> = used
            .iter()
            .filter(|key| key.contains('.') && !key.ends_with('.') && !WORDS.contains_key(*key))
            .collect();
        assert!(lacking.is_empty(), "{lacking:?}");
    }

    #[test]
    fn gaps_are_filled() {
        assert_eq!(fill("{a} of {b}", &[("a", "1"), ("b", "2")]), "1 of 2");
    }
}
