//! Primitives of a drawing. Unit: 1/96 inch (a CSS pixel), origin at the top left, y down.
//! Out: SVG ([`Drawing::to_svg`]), a picture ([`Drawing::to_picture`]), PDF
//! ([`Drawing::to_pdf`]). What it does not do: decide what is drawn where.

use std::sync::Arc;

use image::RgbImage;

use super::Tone;
use super::lettering::{ASCENT, DESCENT, Lettering, Weight};
use crate::frames::{Flat, Rectangle};

#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Point {
    pub x: f64,
    pub y: f64,
}

impl Point {
    #[must_use]
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    #[must_use]
    pub fn moved(self, by: Self) -> Self {
        Self::new(self.x + by.x, self.y + by.y)
    }
}

impl Flat for Point {
    fn at(x: f64, y: f64) -> Self {
        Self::new(x, y)
    }

    fn x(self) -> f64 {
        self.x
    }

    fn y(self) -> f64 {
        self.y
    }
}

/// An upright rectangle of a drawing.
pub type Bounds = Rectangle<Point>;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    pub tone: Tone,
    pub width: f64,
    pub dashed: bool,
}

impl Stroke {
    #[must_use]
    pub fn new(tone: Tone, width: f64) -> Self {
        Self { tone, width, dashed: false }
    }

    #[must_use]
    pub fn dashed(tone: Tone, width: f64) -> Self {
        Self { tone, width, dashed: true }
    }

    /// Length of a dash and of the gap after it.
    #[must_use]
    pub fn dash(&self) -> [f64; 2] {
        [self.width * 3.0, self.width * 2.4]
    }
}

/// Which side of its point a text stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// One line of text; `at` is on the baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    pub at: Point,
    pub anchor: Anchor,
    pub size: f64,
    pub weight: Weight,
    pub tone: Tone,
    pub content: String,
    /// As the built-in typeface sets it.
    pub width: f64,
}

impl Text {
    #[must_use]
    pub fn left(&self) -> f64 {
        match self.anchor {
            Anchor::Start => self.at.x,
            Anchor::Middle => self.at.x - self.width / 2.0,
            Anchor::End => self.at.x - self.width,
        }
    }

    /// From the top of a letter with an accent to the foot of a `g`.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        let (left, y) = (self.left(), self.at.y);
        Bounds::new(left, y - ASCENT * self.size, left + self.width, y + DESCENT * self.size)
    }
}

/// How a line of text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Face {
    pub size: f64,
    pub weight: Weight,
    pub tone: Tone,
}

impl Face {
    #[must_use]
    pub fn new(size: f64, weight: Weight, tone: Tone) -> Self {
        Self { size, weight, tone }
    }

    #[must_use]
    pub fn width(&self, letters: &Lettering, content: &str) -> f64 {
        letters.width(self.weight, self.size, content)
    }

    #[must_use]
    pub fn text(&self, letters: &Lettering, at: Point, anchor: Anchor, content: &str) -> Text {
        Text {
            at,
            anchor,
            size: self.size,
            weight: self.weight,
            tone: self.tone,
            content: content.to_owned(),
            width: self.width(letters, content),
        }
    }
}

#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Open line through points.
    Line {
        points: Vec<Point>,
        stroke: Stroke,
    },
    /// Closed, filled and perhaps edged.
    Area {
        points: Vec<Point>,
        fill: Option<(Tone, f64)>,
        edge: Option<Stroke>,
    },
    Circle {
        centre: Point,
        radius: f64,
        fill: Option<(Tone, f64)>,
        edge: Option<Stroke>,
    },
    Text(Text),
    /// The picture fills the bounds.
    Picture {
        bounds: Bounds,
        picture: Arc<RgbImage>,
    },
    /// Named for who reads the file; moved as a whole.
    Group {
        name: String,
        offset: Point,
        shapes: Vec<Shape>,
    },
}

impl Shape {
    #[must_use]
    pub fn fill(bounds: &Bounds, tone: Tone) -> Self {
        let (points, fill) = (bounds.corners().to_vec(), Some((tone, 1.0)));
        Self::Area { points, fill, edge: None }
    }

    #[must_use]
    pub fn segment(from: Point, to: Point, stroke: Stroke) -> Self {
        Self::Line { points: vec![from, to], stroke }
    }

    /// A square on its corner, as large as a circle of this radius looks.
    #[must_use]
    pub fn diamond(centre: Point, radius: f64, fill: Option<Tone>, edge: Option<Stroke>) -> Self {
        let r = radius * 1.25;
        let points = [(0.0, -r), (r, 0.0), (0.0, r), (-r, 0.0)];
        Self::Area {
            points: points.map(|(x, y)| centre.moved(Point::new(x, y))).to_vec(),
            fill: fill.map(|tone| (tone, 1.0)),
            edge,
        }
    }

    #[must_use]
    pub fn circle(centre: Point, radius: f64, fill: Option<Tone>, edge: Option<Stroke>) -> Self {
        Self::Circle { centre, radius, fill: fill.map(|tone| (tone, 1.0)), edge }
    }
}

/// A finished drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    pub width: f64,
    pub height: f64,
    /// What it is and what it says, for those who do not see it.
    pub title: String,
    pub description: String,
    pub shapes: Vec<Shape>,
}

impl Drawing {
    /// Every text with the place where it really stands.
    #[must_use]
    pub fn texts(&self) -> Vec<(String, Bounds)> {
        let mut found = Vec::new();
        collect(&self.shapes, Point::default(), &mut found);
        found
    }

    /// Everything, as one shape of a larger drawing.
    #[must_use]
    pub fn placed(self, name: &str, offset: Point) -> Shape {
        Shape::Group { name: name.to_owned(), offset, shapes: self.shapes }
    }
}

fn collect(shapes: &[Shape], offset: Point, found: &mut Vec<(String, Bounds)>) {
    for shape in shapes {
        match shape {
            Shape::Text(text) => found.push((text.content.clone(), text.bounds().moved(offset))),
            Shape::Group { offset: by, shapes, .. } => collect(shapes, offset.moved(*by), found),
            _ => {}
        }
    }
}

/// What every drawing must keep: no text on another, none outside.
#[cfg(test)]
pub(crate) fn assert_tidy(drawing: &Drawing) {
    let texts = drawing.texts();
    let page = Bounds::new(0.0, 0.0, drawing.width, drawing.height);
    for (i, (content, bounds)) in texts.iter().enumerate() {
        assert!(page.holds(bounds), "\"{content}\" leaves the drawing: {bounds:?} in {page:?}");
        for (other, place) in &texts[..i] {
            assert!(
                !bounds.overlaps(place),
                "\"{content}\" lies on \"{other}\": {bounds:?} {place:?}"
            );
        }
    }
}
