//! A piece of the page: shapes from its own top left corner, and how high it is.

use crate::chart::{Anchor, Face, Lettering, Point, Shape, Stroke, Tone, Weight, flowed};

/// Between baselines, of the letters' size.
pub const LEADING: f64 = 1.36;

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    pub shapes: Vec<Shape>,
    pub height: f64,
}

impl Block {
    /// Room left free.
    pub fn space(&mut self, height: f64) {
        self.height += height;
    }

    /// Lines of text, as many as it takes.
    pub fn text(&mut self, letters: &Lettering, face: Face, text: &str, width: f64) {
        self.indented(letters, face, text, 0.0, width);
    }

    pub fn indented(&mut self, letters: &Lettering, face: Face, text: &str, left: f64, width: f64) {
        for line in flowed(letters, face, text, width - left) {
            let at = Point::new(left, self.height + face.size * 1.05);
            self.shapes.push(Shape::Text(face.text(letters, at, Anchor::Start, &line)));
            self.height += face.size * LEADING;
        }
    }

    /// A heading with a thin line under it.
    pub fn heading(&mut self, letters: &Lettering, text: &str, width: f64) {
        let face = Face::new(13.5, Weight::Bold, Tone::Ink);
        self.text(letters, face, text, width);
        self.height += 1.0;
        let ends = (Point::new(0.0, self.height), Point::new(width, self.height));
        self.shapes.push(Shape::segment(ends.0, ends.1, Stroke::new(Tone::Rule, 1.0)));
        self.height += 5.0;
    }

    /// Everything of another block below what is there.
    pub fn add(&mut self, other: Self) {
        let offset = Point::new(0.0, self.height);
        self.shapes.push(Shape::Group { name: String::new(), offset, shapes: other.shapes });
        self.height += other.height;
    }

    pub fn placed(self, name: &str, left: f64, top: f64) -> Shape {
        let offset = Point::new(left, top);
        Shape::Group { name: name.to_owned(), offset, shapes: self.shapes }
    }
}
