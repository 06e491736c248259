//! Words as outlines. In: a text, a size in pixels an em. Out: its width, or its path.
//!
//! The Inter typeface (SIL Open Font License 1.1, `assets/OFL.txt`) is built in.

use ab_glyph::{Font as _, FontRef, InvalidFont, OutlineCurve};
use tiny_skia::{Path, PathBuilder};

use super::canvas::single;

/// Inter, medium and bold; shared with the charts and the sheet.
pub const MEDIUM: &[u8] = include_bytes!("assets/Inter-Medium.otf");
pub const BOLD: &[u8] = include_bytes!("assets/Inter-Bold.otf");

/// Height of a capital letter, ems (the typeface's own metric: 2048 of 2816 units).
pub const CAPITAL: f64 = 0.727;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    Medium,
    Bold,
}

pub struct Fonts {
    medium: FontRef<'static>,
    bold: FontRef<'static>,
}

impl Fonts {
    pub fn embedded() -> Result<Self, InvalidFont> {
        Ok(Self { medium: FontRef::try_from_slice(MEDIUM)?, bold: FontRef::try_from_slice(BOLD)? })
    }

    fn font(&self, weight: Weight) -> &FontRef<'static> {
        match weight {
            Weight::Medium => &self.medium,
            Weight::Bold => &self.bold,
        }
    }

    pub fn width(&self, weight: Weight, size: f64, text: &str) -> f64 {
        let font = self.font(weight);
        let units: f32 = text.chars().map(|c| font.h_advance_unscaled(font.glyph_id(c))).sum();
        f64::from(units) * scale(font, size)
    }

    /// Outline of the text with its baseline starting at (`x`, `baseline`).
    pub fn path(
        &self,
        weight: Weight,
        size: f64,
        text: &str,
        x: f64,
        baseline: f64,
    ) -> Option<Path> {
        let font = self.font(weight);
        let scale = single(scale(font, size));
        let (mut pen, baseline) = (single(x), single(baseline));
        let mut builder = PathBuilder::new();
        for letter in text.chars() {
            let glyph = font.glyph_id(letter);
            if let Some(outline) = font.outline(glyph) {
                let at = |p: ab_glyph::Point| (pen + p.x * scale, baseline - p.y * scale);
                trace(&mut builder, &outline.curves, at);
            }
            pen += font.h_advance_unscaled(glyph) * scale;
        }
        builder.finish()
    }

    /// Breaks a text into lines no wider than `width`; a single word may be wider. A value stays
    /// with its sd and its unit.
    pub fn lines(&self, weight: Weight, size: f64, text: &str, width: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        let text = text.replace(" ± ", "\u{a0}±\u{a0}").replace(" cm", "\u{a0}cm");
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let longer = lines.last().map(|line| format!("{line} {word}"));
            match (longer, lines.last_mut()) {
                (Some(longer), Some(line)) if self.width(weight, size, &longer) <= width => {
                    *line = longer;
                }
                _ => lines.push(word.to_owned()),
            }
        }
        lines
    }
}

fn scale(font: &FontRef<'static>, size: f64) -> f64 {
    size / f64::from(font.units_per_em().unwrap_or(1000.0))
}

/// Adds the curves; a curve that does not go on where the last one ended starts a new contour.
fn trace(
    builder: &mut PathBuilder,
    curves: &[OutlineCurve],
    at: impl Fn(ab_glyph::Point) -> (f32, f32),
) {
    let mut end = None;
    for curve in curves {
        let (from, to) = match curve {
            OutlineCurve::Line(a, b)
            | OutlineCurve::Quad(a, _, b)
            | OutlineCurve::Cubic(a, _, _, b) => (*a, *b),
        };
        if end != Some(from) {
            if end.is_some() {
                builder.close();
            }
            let (x, y) = at(from);
            builder.move_to(x, y);
        }
        let (x, y) = at(to);
        match curve {
            OutlineCurve::Line(..) => builder.line_to(x, y),
            OutlineCurve::Quad(_, c, _) => {
                let (cx, cy) = at(*c);
                builder.quad_to(cx, cy, x, y);
            }
            OutlineCurve::Cubic(_, c, d, _) => {
                let ((cx, cy), (dx, dy)) = (at(*c), at(*d));
                builder.cubic_to(cx, cy, dx, dy, x, y);
            }
        }
        end = Some(to);
    }
    if end.is_some() {
        builder.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_fonts_have_the_letters_that_stills_use() {
        let fonts = Fonts::embedded().unwrap();
        for weight in [Weight::Medium, Weight::Bold] {
            let font = fonts.font(weight);
            for letter in "0123456789 \u{a0}.,±°-+%aäéßжω".chars() {
                assert_ne!(font.glyph_id(letter).0, 0, "{letter} in {weight:?}");
            }
            let capital = font.outline(font.glyph_id('H')).unwrap().bounds;
            let height = f64::from((capital.max.y - capital.min.y).abs()) * scale(font, 1.0);
            assert!((height - CAPITAL).abs() < 0.005, "{height}");
        }
    }

    #[test]
    fn lines_fit_and_a_path_is_as_wide_as_its_text() {
        let fonts = Fonts::embedded().unwrap();
        let text = "upper hub 5.0 ± 0.8 cm toward the target";
        let lines = fonts.lines(Weight::Medium, 30.0, text, 300.0);
        assert!(lines.len() > 1);
        assert!(lines.iter().all(|line| fonts.width(Weight::Medium, 30.0, line) <= 300.0));
        assert_eq!(lines.join(" ").replace('\u{a0}', " "), text);
        let bounds = fonts.path(Weight::Bold, 30.0, "Top", 10.0, 50.0).unwrap().bounds();
        let width = fonts.width(Weight::Bold, 30.0, "Top");
        assert!((f64::from(bounds.width()) - width).abs() < 4.0);
        assert!(bounds.top() >= 25.0 && bounds.bottom() <= 60.0);
    }
}
