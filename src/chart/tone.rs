//! Colours by what they mean. In: a [`Tone`]. Out: its colour on white paper, its colour on a dark
//! screen, and the style sheet that lets a page switch between the two.
//!
//! The two hubs keep the hues they have in the stills, darkened for paper: every tone that is
//! used for text has a contrast of at least 4.5 on both papers (WCAG 2.2, 1.4.3; tested).

use std::fmt::Write as _;

/// Red, green, blue.
pub type Rgb = [u8; 3];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// What everything stands on.
    Paper,
    /// A box on the paper.
    Shade,
    /// Text and rungs.
    Ink,
    /// Text that is read second.
    Quiet,
    /// Lines that guide the eye; never text.
    Rule,
    Lower,
    Upper,
    /// The coach's own target, lessons and practice tasks.
    Aim,
}

impl Tone {
    pub const ALL: [Self; 8] = [
        Self::Paper,
        Self::Shade,
        Self::Ink,
        Self::Quiet,
        Self::Rule,
        Self::Lower,
        Self::Upper,
        Self::Aim,
    ];

    /// As the classes of an SVG are named: `f-lower` fills, `s-lower` strokes.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Shade => "shade",
            Self::Ink => "ink",
            Self::Quiet => "quiet",
            Self::Rule => "rule",
            Self::Lower => "lower",
            Self::Upper => "upper",
            Self::Aim => "aim",
        }
    }

    /// On white paper; our own choice.
    #[must_use]
    pub fn light(self) -> Rgb {
        match self {
            Self::Paper => [255, 255, 255],
            Self::Shade => [243, 245, 248],
            Self::Ink => [22, 28, 38],
            Self::Quiet => [80, 90, 104],
            Self::Rule => [212, 217, 224],
            Self::Lower => [158, 74, 0],
            Self::Upper => [0, 92, 158],
            Self::Aim => [104, 56, 160],
        }
    }

    /// On a dark screen: the hubs as they are in the stills.
    #[must_use]
    pub fn dark(self) -> Rgb {
        match self {
            Self::Paper => [14, 19, 28],
            Self::Shade => [28, 35, 47],
            Self::Ink => [240, 243, 247],
            Self::Quiet => [186, 194, 206],
            Self::Rule => [58, 67, 82],
            Self::Lower => [255, 178, 38],
            Self::Upper => [126, 205, 255],
            Self::Aim => [200, 164, 255],
        }
    }
}

/// `#9e4a00`
#[must_use]
pub fn hex(colour: Rgb) -> String {
    let [r, g, b] = colour;
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// For the page that shows drawings: classes win over the colours written into a drawing, so it
/// follows light and dark.
#[must_use]
pub fn stylesheet() -> String {
    let block = |colour: fn(Tone) -> Rgb| {
        let mut out = String::new();
        for tone in Tone::ALL {
            let (name, hex) = (tone.name(), hex(colour(tone)));
            let _ = writeln!(out, ".f-{name}{{fill:{hex}}}.s-{name}{{stroke:{hex}}}");
        }
        out
    };
    format!("{}@media (prefers-color-scheme:dark){{\n{}}}\n", block(Tone::light), block(Tone::dark))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance, WCAG 2.2.
    fn luminance(colour: Rgb) -> f64 {
        let linear = colour.map(|value| {
            let c = f64::from(value) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn black_on_white_has_the_contrast_of_the_standard() {
        assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
    }

    #[test]
    fn text_can_be_read_on_both_papers() {
        for tone in [Tone::Ink, Tone::Quiet, Tone::Lower, Tone::Upper, Tone::Aim] {
            for paper in [Tone::Paper, Tone::Shade] {
                for colour in [Tone::light, Tone::dark] {
                    let ratio = contrast(colour(tone), colour(paper));
                    assert!(ratio >= 4.5, "{tone:?} on {paper:?}: {ratio:.2}");
                }
            }
        }
    }

    #[test]
    fn the_style_sheet_names_every_tone_twice() {
        let sheet = stylesheet();
        for tone in Tone::ALL {
            assert_eq!(sheet.matches(&format!(".f-{}{{", tone.name())).count(), 2);
        }
    }
}
