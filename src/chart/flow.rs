//! Text into lines. In: words and a width. Out: lines that fit, or one line with an ellipsis.

use super::drawing::Face;
use super::lettering::Lettering;

/// Breaks a text into lines no wider than `width`. A value stays with its sd and its unit; a word
/// that is wider than a line is broken where it must be; scripts without spaces break between
/// their letters. A line end in the text is kept.
#[must_use]
pub fn lines(letters: &Lettering, face: Face, text: &str, width: f64) -> Vec<String> {
    let mut all = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for piece in pieces(paragraph) {
            let longer = format!("{line}{piece}");
            if face.width(letters, longer.trim_end()) <= width || line.trim().is_empty() {
                line = longer;
            } else {
                all.push(line.trim_end().to_owned());
                piece.trim_start().clone_into(&mut line);
            }
            while face.width(letters, line.trim_end()) > width && line.chars().count() > 1 {
                let (start, rest) = split_at_width(letters, face, &line, width);
                all.push(start);
                line = rest;
            }
        }
        all.push(line.trim_end().to_owned());
    }
    all
}

/// As many of the first letters as fit, at least one, and the rest.
fn split_at_width(letters: &Lettering, face: Face, text: &str, width: f64) -> (String, String) {
    let ends: Vec<usize> = text.char_indices().skip(1).map(|(at, _)| at).collect();
    let fits = ends.partition_point(|end| face.width(letters, &text[..*end]) <= width);
    let end = ends.get(fits.saturating_sub(1)).copied().unwrap_or(text.len());
    (text[..end].trim_end().to_owned(), text[end..].trim_start().to_owned())
}

/// Pieces between which a line may end; each keeps the space after it.
fn pieces(text: &str) -> Vec<String> {
    let text = bound(text);
    let mut found: Vec<String> = Vec::new();
    let mut before = ' ';
    for letter in text.chars() {
        let starts = (before == ' ' && letter != ' ') || is_free(before) && !closes(letter);
        match found.last_mut() {
            Some(last) if !starts => last.push(letter),
            _ => found.push(letter.to_string()),
        }
        before = letter;
    }
    found
}

/// A number with its sd and its unit is one word.
#[must_use]
pub fn bound(text: &str) -> String {
    let mut out = text.replace(" ± ", "\u{a0}±\u{a0}").replace("(± ", "(±\u{a0}");
    for unit in ["cm", "in", "degrees", "%", "s"] {
        for end in [" ", ",", ";", ".", ")"] {
            let plain = format!(" {unit}{end}");
            let parts: Vec<&str> = out.split(&plain).collect();
            let mut joined = String::new();
            for (i, part) in parts.iter().enumerate() {
                joined.push_str(part);
                if i + 1 < parts.len() {
                    let number = part.ends_with(|c: char| c.is_ascii_digit() || c == ')');
                    let space = if number { '\u{a0}' } else { ' ' };
                    joined.push(space);
                    joined.push_str(unit);
                    joined.push_str(end);
                }
            }
            out = joined;
        }
    }
    out
}

/// Chinese, Japanese kana, Thai: lines end between any two letters (Thai words would need a
/// dictionary).
fn is_free(letter: char) -> bool {
    matches!(letter, '\u{e00}'..='\u{e7f}' | '\u{2e80}'..='\u{9fff}' | '\u{f900}'..='\u{faff}' | '\u{ff00}'..='\u{ffef}' | '\u{20000}'..='\u{3ffff}')
}

/// Does not start a line.
fn closes(letter: char) -> bool {
    matches!(
        letter,
        '。' | '、' | '，' | '．' | '）' | '」' | 'ー' | '！' | '？' | '.' | ',' | ')' | ' '
    ) || matches!(letter, '\u{e31}' | '\u{e34}'..='\u{e3a}' | '\u{e47}'..='\u{e4e}')
}

/// The text, or as much of it as fits with an ellipsis.
#[must_use]
pub fn shortened(letters: &Lettering, face: Face, text: &str, width: f64) -> String {
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if face.width(letters, &text) <= width {
        return text;
    }
    let ends: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
    let with = |end: usize| format!("{}…", text[..end].trim_end());
    let fits = ends.partition_point(|end| face.width(letters, &with(*end)) <= width);
    with(ends.get(fits.saturating_sub(1)).copied().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::{Tone, Weight};

    const FACE: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Ink };

    #[test]
    fn lines_fit_and_nothing_is_lost() {
        let letters = Lettering::new(false);
        for text in [
            "The lower hub has moved 4.9 cm (± 0.8) away from the target and the trunk leans",
            "Donaudampfschifffahrtsgesellschaftskapitänsmützenfabrikantenwitwe swings",
            "骨盤は目標から離れる方向へ四センチ動いた。胸骨は目標の方向へ動いた。",
            "a\nb",
        ] {
            let lines = lines(&letters, FACE, text, 120.0);
            assert!(lines.iter().all(|line| FACE.width(&letters, line) <= 120.0), "{lines:?}");
            let bare = |text: &str| text.chars().filter(|c| !c.is_whitespace()).collect::<String>();
            assert_eq!(bare(&lines.concat()), bare(text));
            assert!(lines.len() > 1);
        }
    }

    #[test]
    fn a_value_stays_with_its_error_and_its_unit() {
        assert_eq!(
            pieces("hub 4.9 ± 0.8 cm away, in all"),
            ["hub ", "4.9\u{a0}±\u{a0}0.8\u{a0}cm ", "away, ", "in ", "all"]
        );
    }

    #[test]
    fn what_does_not_fit_ends_in_an_ellipsis() {
        let letters = Lettering::new(false);
        assert_eq!(shortened(&letters, FACE, "before", 100.0), "before");
        let short = shortened(&letters, FACE, "Maximiliana Konstantinopolitanska", 100.0);
        assert!(short.ends_with('…') && FACE.width(&letters, &short) <= 100.0, "{short}");
        assert_eq!(shortened(&letters, FACE, "a\tb", 100.0), "a b");
    }
}
