//! The strip below the picture. In: the scene's title and facts. Out: its lines and height, then
//! the drawing. The strip covers nothing.

use image::RgbImage;

use super::canvas::{Canvas, Ink, LIGHT, Line, QUIET};
use super::marks::{Which, hubs, marker, trunk_sign};
use super::scene::{Fact, StillScene, Symbol};
use super::text::{Fonts, Weight};
use crate::body::Joint;
use crate::frames::Pixel;

/// Sizes of letters and lines, units.
const TITLE: f64 = 5.6;
const DETAIL: f64 = 3.6;
const FACT: f64 = 3.8;
const LEGEND: f64 = 2.9;
const PADDING: f64 = 3.2;
/// Between loupe and words.
const SIDE_GAP: f64 = 2.4;
/// Room for the sign in front of a fact.
const SIGN: f64 = 4.9;
/// A line's height over its letters' size.
const LEADING: f64 = 1.42;

/// What a strip shows.
pub struct Content<'a> {
    /// Title and detail of each picture above, from left to right.
    pub heads: &'a [(&'a String, &'a String)],
    pub facts: &'a [Fact],
    pub legend: &'a str,
    pub loupe: Option<RgbImage>,
}

/// One line of text, placed relative to the strip's corner.
struct Row {
    text: String,
    at: Pixel,
    symbol: Option<Symbol>,
    weight: Weight,
    size: f64,
    ink: Ink,
}

pub struct Strip {
    rows: Vec<Row>,
    loupe: Option<(RgbImage, Pixel)>,
    height: f64,
    width: f64,
    unit: f64,
}

impl Strip {
    pub fn new(fonts: &Fonts, content: &Content<'_>, width: f64, unit: f64) -> Self {
        let mut strip =
            Self { rows: Vec::new(), loupe: None, height: 0.6 * PADDING * unit, width, unit };
        strip.heads(fonts, content.heads);
        let mut left = PADDING * unit;
        let top = strip.height + unit;
        if let Some(loupe) = &content.loupe {
            strip.loupe = Some((loupe.clone(), Pixel::new(left, top)));
            left += f64::from(loupe.width()) + SIDE_GAP * unit;
        }
        for fact in content.facts {
            strip.fact(fonts, fact, left);
        }
        strip.lines(fonts, content.legend, LEGEND, QUIET, left);
        if let Some((loupe, _)) = &strip.loupe {
            strip.height = strip.height.max(top + f64::from(loupe.height()));
        }
        strip.height += 0.9 * PADDING * unit;
        strip
    }

    /// Titles side by side; the details beside their titles where there is room for all, else below.
    fn heads(&mut self, fonts: &Fonts, heads: &[(&String, &String)]) {
        let (unit, left) = (self.unit, PADDING * self.unit);
        let column = self.width / f64::from(u32::try_from(heads.len().max(1)).unwrap_or(1));
        let widest = column - left - PADDING * unit;
        let fits = |(title, detail): &(&String, &String)| {
            let lines = fonts.lines(Weight::Bold, TITLE * unit, title, widest);
            let last = lines.last().map_or(0.0, |l| fonts.width(Weight::Bold, TITLE * unit, l));
            last + 3.0 * unit + fonts.width(Weight::Medium, DETAIL * unit, detail) <= widest
        };
        let beside = heads.iter().all(fits);
        let (title_y, mut deepest) = (self.height, 0.0_f64);
        for (index, (title, detail)) in heads.iter().enumerate() {
            let start = left + column * f64::from(u32::try_from(index).unwrap_or(0));
            self.height = title_y;
            let lines = fonts.lines(Weight::Bold, TITLE * unit, title, widest);
            for line in &lines {
                self.row(line, start, TITLE, Weight::Bold, LIGHT);
            }
            if beside {
                let width = fonts.width(Weight::Medium, DETAIL * unit, detail);
                let baseline = self.rows.last().map_or(self.height, |title| title.at.y);
                let height = self.height;
                self.row(detail, start + widest - width, DETAIL, Weight::Medium, QUIET);
                self.height = height;
                if let Some(row) = self.rows.last_mut() {
                    row.at.y = baseline;
                }
            } else {
                for line in fonts.lines(Weight::Medium, DETAIL * unit, detail, widest) {
                    self.row(&line, start, DETAIL, Weight::Medium, QUIET);
                }
            }
            deepest = deepest.max(self.height);
        }
        self.height = deepest.max(title_y) + 0.4 * unit;
    }

    fn fact(&mut self, fonts: &Fonts, fact: &Fact, left: f64) {
        let first = self.rows.len();
        self.lines(fonts, &fact.text, FACT, LIGHT, left + SIGN * self.unit);
        if let Some(row) = self.rows.get_mut(first) {
            row.symbol = Some(fact.symbol);
        }
        self.height += 0.5 * self.unit;
    }

    fn lines(&mut self, fonts: &Fonts, text: &str, size: f64, ink: Ink, x: f64) {
        let room = self.width - PADDING * self.unit - x;
        for line in fonts.lines(Weight::Medium, size * self.unit, text, room) {
            self.row(&line, x, size, Weight::Medium, ink);
        }
    }

    fn row(&mut self, text: &str, x: f64, size: f64, weight: Weight, ink: Ink) {
        let size = size * self.unit;
        self.height += size * LEADING;
        let at = Pixel::new(x, self.height - 0.3 * size);
        self.rows.push(Row { text: text.to_owned(), at, symbol: None, weight, size, ink });
    }

    pub fn height(&self) -> f64 {
        self.height
    }

    pub fn draw(&self, canvas: &mut Canvas, fonts: &Fonts, top: f64) {
        let unit = self.unit;
        for row in &self.rows {
            let baseline = top + row.at.y;
            if let Some(path) = fonts.path(row.weight, row.size, &row.text, row.at.x, baseline) {
                canvas.fill(&path, row.ink);
            }
            if let Some(symbol) = row.symbol {
                let x = row.at.x - (SIGN - 1.8) * unit;
                sign(canvas, symbol, Pixel::new(x, baseline - 0.36 * row.size), unit);
            }
        }
        if let Some((loupe, corner)) = &self.loupe {
            canvas.paste(loupe, Pixel::new(corner.x, corner.y + top));
        }
        let edge = Line { halo: 0.0, ..Line::new(QUIET.faint(120), 0.2 * unit) };
        canvas.line(Pixel::new(0.0, top), Pixel::new(self.width, top), &edge);
    }
}

fn sign(canvas: &mut Canvas, symbol: Symbol, centre: Pixel, unit: f64) {
    match symbol {
        Symbol::LowerHub => marker(canvas, Which::Lower, centre, false, unit),
        Symbol::UpperHub => marker(canvas, Which::Upper, centre, false, unit),
        Symbol::Trunk => trunk_sign(canvas, centre, unit),
        Symbol::None => {}
    }
}

/// What the pictures' signs mean, as far as they occur.
pub fn legend(scenes: &[&StillScene]) -> String {
    let filled = |scene: &&StillScene| {
        let joint = |joint: Joint| scene.joints[joint].is_some_and(|mark| mark.filled);
        hubs(scene).any(|(_, hub)| hub.now.filled)
            || scene.skeleton && Joint::ALL.into_iter().any(joint)
    };
    let moved = |scene: &&StillScene| hubs(scene).any(|(_, hub)| hub.address.is_some());
    let valued = |scene: &&StillScene| scene.facts.iter().any(|fact| fact.text.contains('±'));
    let mut parts = Vec::new();
    if scenes.iter().any(moved) {
        parts.push("Thin outline with its upright line: where the hub was at address.");
    }
    if scenes.iter().any(filled) {
        parts.push("Hollow: estimated, not seen.");
    }
    if scenes.iter().any(valued) {
        parts.push("±\u{a0}one standard deviation.");
    }
    parts.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stills::scene::tests::standing;

    #[test]
    fn every_line_stays_inside_the_strip_and_beside_the_loupe() {
        let fonts = Fonts::embedded().unwrap();
        let scene = standing();
        let long = "Arm level going back, the second swing of three".to_owned();
        let detail = "down-the-line, 12.34 s".to_owned();
        for (width, heads) in [(720.0, 1), (500.0, 2), (1920.0, 2)] {
            let content = Content {
                heads: &vec![(&long, &detail); heads],
                facts: &scene.facts,
                legend: &legend(&[&scene]),
                loupe: Some(RgbImage::new(180, 180)),
            };
            let strip = Strip::new(&fonts, &content, width, 7.2);
            let loupe = strip
                .loupe
                .as_ref()
                .map(|(_, at)| super::super::Area::new(at.x, at.y, at.x + 180.0, at.y + 180.0));
            for row in &strip.rows {
                let right = row.at.x + fonts.width(row.weight, row.size, &row.text);
                let area = super::super::Area::new(row.at.x, row.at.y - row.size, right, row.at.y);
                assert!(right <= width && row.at.y <= strip.height(), "{} at {right}", row.text);
                assert!(!loupe.unwrap().overlaps(&area), "{}", row.text);
            }
        }
    }

    #[test]
    fn the_legend_explains_only_what_is_drawn() {
        let mut scene = standing();
        assert!(legend(&[&scene]).contains("at address") && !legend(&[&scene]).contains("Hollow"));
        scene.lower.as_mut().unwrap().now.filled = true;
        assert!(legend(&[&scene]).contains("Hollow"));
        scene.lower.as_mut().unwrap().address = None;
        scene.upper.as_mut().unwrap().address = None;
        assert!(!legend(&[&scene]).contains("at address"));
    }
}
