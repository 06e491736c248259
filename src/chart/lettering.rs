//! Letters to glyphs. In: a text, a weight. Out: [`Shaped`], its glyphs in the order in which they
//! are seen, with widths in ems.
//!
//! The built-in typeface (Inter) sets Latin, Greek and Cyrillic. What it lacks is looked for
//! among the fonts of the machine ([`super::fallback`]); what no font has shows as `?` and is told
//! by [`Lettering::missing`]. Shaping after OpenType (rustybuzz), order of right-to-left text after
//! Unicode Annex 9.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

use rustybuzz::{Direction, UnicodeBuffer, ttf_parser};
use unicode_bidi::BidiInfo;
use unicode_script::{Script, UnicodeScript as _};

use super::fallback;
use crate::stills::{INTER_BOLD, INTER_MEDIUM};

/// Above and below the baseline, ems: Inter's capital with an accent and its descender.
pub const ASCENT: f64 = 0.97;
pub const DESCENT: f64 = 0.24;
/// Stands for a letter that no font has.
const STAND_IN: char = '?';

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    Medium,
    Bold,
}

/// A font file and which of its faces.
#[derive(Clone)]
pub struct FontFile {
    pub data: Arc<dyn AsRef<[u8]> + Send + Sync>,
    pub index: u32,
}

impl FontFile {
    pub fn face(&self) -> Option<rustybuzz::Face<'_>> {
        rustybuzz::Face::from_slice(self.data.as_ref().as_ref(), self.index)
    }
}

/// One glyph, ems.
#[derive(Clone, Debug, PartialEq)]
pub struct Glyph {
    pub id: u16,
    pub advance: f64,
    pub dx: f64,
    pub dy: f64,
    /// The bytes of its run's text that it stands for.
    pub bytes: Range<usize>,
}

/// Glyphs of one font, from left to right.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// For [`Lettering::font`].
    pub font: usize,
    pub text: String,
    pub glyphs: Vec<Glyph>,
}

/// A line of text, ready to be drawn from left to right.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Shaped {
    pub runs: Vec<Run>,
}

impl Shaped {
    /// Ems.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.runs.iter().flat_map(|run| &run.glyphs).map(|glyph| glyph.advance).sum()
    }
}

/// The fonts in use, and what they lacked.
pub struct Lettering {
    /// The built-in faces, read once: every line of text asks for them.
    built_in: [Option<rustybuzz::Face<'static>>; 2],
    /// The two built in, then those of the machine as they are needed.
    fonts: RefCell<Vec<FontFile>>,
    found: RefCell<BTreeMap<char, Option<usize>>>,
    system: bool,
}

impl Default for Lettering {
    fn default() -> Self {
        Self::new(true)
    }
}

impl Lettering {
    /// `system`: whether the machine's fonts may help out.
    #[must_use]
    pub fn new(system: bool) -> Self {
        let built_in = [INTER_MEDIUM, INTER_BOLD];
        let fonts = built_in.map(|data| FontFile { data: Arc::new(data), index: 0 }).to_vec();
        let faces = built_in.map(|data| rustybuzz::Face::from_slice(data, 0));
        Self { built_in: faces, fonts: RefCell::new(fonts), found: RefCell::default(), system }
    }

    #[must_use]
    pub fn font(&self, index: usize) -> Option<FontFile> {
        self.fonts.borrow().get(index).cloned()
    }

    /// The letters met so far that no font has.
    #[must_use]
    pub fn missing(&self) -> BTreeSet<char> {
        let found = self.found.borrow();
        found.iter().filter(|(_, font)| font.is_none()).map(|(letter, _)| *letter).collect()
    }

    #[must_use]
    pub fn width(&self, weight: Weight, size: f64, text: &str) -> f64 {
        self.shape(weight, text).width() * size
    }

    #[must_use]
    pub fn shape(&self, weight: Weight, text: &str) -> Shaped {
        let mut runs = Vec::new();
        for (piece, backwards) in in_sight(text) {
            let mut pieces = self.by_font(weight, piece);
            if backwards {
                pieces.reverse();
            }
            runs.extend(pieces.into_iter().filter_map(|(font, part)| {
                let glyphs = self.glyphs(font, &part, backwards)?;
                Some(Run { font: font.unwrap_or(weight as usize), text: part, glyphs })
            }));
        }
        Shaped { runs }
    }

    /// Splits where the font or the script changes; `None` where no font has the letters.
    fn by_font(&self, weight: Weight, text: &str) -> Vec<(Option<usize>, String)> {
        let mut pieces: Vec<(Option<usize>, Script, String)> = Vec::new();
        for letter in text.chars() {
            let script = letter.script();
            // Marks and joiners belong to the letter that they follow.
            if let Some((_, _, last)) = pieces.last_mut()
                && script == Script::Inherited
            {
                last.push(letter);
                continue;
            }
            let font = self.font_for(weight, letter);
            match pieces.last_mut() {
                Some((same, before, last))
                    if *same == font
                        && (*before == script || script == Script::Common || font < Some(2)) =>
                {
                    last.push(letter);
                }
                _ => pieces.push((font, script, letter.to_string())),
            }
        }
        pieces.into_iter().map(|(font, _, text)| (font, text)).collect()
    }

    fn font_for(&self, weight: Weight, letter: char) -> Option<usize> {
        let own = weight as usize;
        if letter.is_whitespace() || self.has(own, letter) {
            return Some(own);
        }
        if let Some(known) = self.found.borrow().get(&letter) {
            return *known;
        }
        let count = self.fonts.borrow().len();
        let mut found = (2..count).find(|index| self.has(*index, letter));
        if found.is_none() && self.system {
            found = fallback::font_with(letter).map(|font| {
                self.fonts.borrow_mut().push(font);
                count
            });
        }
        self.found.borrow_mut().insert(letter, found);
        found
    }

    fn has(&self, font: usize, letter: char) -> bool {
        self.with_face(font, |face| face.glyph_index(letter).is_some()).unwrap_or(false)
    }

    fn glyphs(&self, font: Option<usize>, text: &str, backwards: bool) -> Option<Vec<Glyph>> {
        match font {
            None => self.with_face(0, |face| stand_ins(face, text)),
            Some(font) => self.with_face(font, |face| shaped(face, text, backwards)),
        }
    }

    fn with_face<T>(&self, font: usize, ask: impl FnOnce(&rustybuzz::Face<'_>) -> T) -> Option<T> {
        if let Some(built_in) = self.built_in.get(font) {
            return built_in.as_ref().map(ask);
        }
        let fonts = self.fonts.borrow();
        Some(ask(&fonts.get(font)?.face()?))
    }
}

/// Pieces of one direction in the order in which they are seen, and whether they run backwards.
fn in_sight(text: &str) -> Vec<(&str, bool)> {
    // Everything below the Hebrew block runs forwards.
    if text.chars().all(|letter| letter < '\u{590}') {
        return vec![(text, false)];
    }
    let order = BidiInfo::new(text, None);
    let mut pieces = Vec::new();
    for paragraph in &order.paragraphs {
        let (levels, runs) = order.visual_runs(paragraph, paragraph.range.clone());
        for run in runs {
            let backwards = levels.get(run.start).is_some_and(unicode_bidi::Level::is_rtl);
            pieces.push((&text[run], backwards));
        }
    }
    pieces
}

fn stand_ins(face: &rustybuzz::Face<'_>, text: &str) -> Vec<Glyph> {
    let id = face.glyph_index(STAND_IN).unwrap_or(ttf_parser::GlyphId(0));
    let advance = face.glyph_hor_advance(id).unwrap_or_default();
    let advance = f64::from(advance) / f64::from(face.units_per_em());
    let starts = text.char_indices().filter(|(_, letter)| letter.script() != Script::Inherited);
    starts
        .map(|(at, letter)| Glyph {
            id: id.0,
            advance,
            dx: 0.0,
            dy: 0.0,
            bytes: at..at + letter.len_utf8(),
        })
        .collect()
}

fn shaped(face: &rustybuzz::Face<'_>, text: &str, backwards: bool) -> Vec<Glyph> {
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(text);
    buffer.guess_segment_properties();
    buffer.set_direction(if backwards { Direction::RightToLeft } else { Direction::LeftToRight });
    let output = rustybuzz::shape(face, &[], buffer);
    let em = f64::from(face.units_per_em());
    let starts: BTreeSet<usize> =
        output.glyph_infos().iter().filter_map(|info| usize::try_from(info.cluster).ok()).collect();
    let pairs = output.glyph_infos().iter().zip(output.glyph_positions());
    pairs
        .filter_map(|(info, place)| {
            let start = usize::try_from(info.cluster).ok()?;
            let end = starts.range(start + 1..).next().copied().unwrap_or(text.len());
            Some(Glyph {
                id: u16::try_from(info.glyph_id).ok()?,
                advance: f64::from(place.x_advance) / em,
                dx: f64::from(place.x_offset) / em,
                dy: f64::from(place.y_offset) / em,
                bytes: start..end,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_faces_set_latin_greek_and_cyrillic() {
        let letters = Lettering::new(false);
        for text in ["Zoë Ångström 6.1 ± 0.9 cm", "Αθηνά → ←", "Юлия Щербакова", "Nguyễn Ősz"]
        {
            for weight in [Weight::Medium, Weight::Bold] {
                let shaped = letters.shape(weight, text);
                assert_eq!(shaped.runs.len(), 1, "{text}");
                assert!(shaped.runs[0].glyphs.iter().all(|glyph| glyph.id != 0), "{text}");
                assert!(shaped.width() > 3.0);
            }
        }
        assert!(letters.missing().is_empty());
    }

    #[test]
    fn bold_is_wider_and_size_scales() {
        let letters = Lettering::new(false);
        let width = |weight, size| letters.width(weight, size, "lower hub");
        assert!(width(Weight::Bold, 10.0) > width(Weight::Medium, 10.0));
        assert!((width(Weight::Bold, 20.0) - 2.0 * width(Weight::Bold, 10.0)).abs() < 1e-9);
    }

    #[test]
    fn a_letter_that_no_font_has_is_told_and_keeps_its_text() {
        let letters = Lettering::new(false);
        let shaped = letters.shape(Weight::Medium, "A 山田");
        assert_eq!(letters.missing().into_iter().collect::<String>(), "山田");
        let texts: Vec<&str> = shaped.runs.iter().map(|run| run.text.as_str()).collect();
        assert_eq!(texts, ["A ", "山田"]);
        assert_eq!(shaped.runs[1].glyphs.len(), 2);
        assert_eq!(shaped.runs[1].glyphs[1].bytes, 3..6);
    }

    #[test]
    fn right_to_left_text_is_seen_from_its_end() {
        let pieces = in_sight("Swing of محمد علي, iron");
        let told: Vec<(&str, bool)> = pieces;
        assert_eq!(told, [("Swing of ", false), ("محمد علي", true), (", iron", false)]);
    }
}
