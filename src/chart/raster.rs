//! A drawing as a picture, on white paper. `scale` is pixels for each unit of the drawing.

use image::RgbImage;
use rustybuzz::ttf_parser::{GlyphId, OutlineBuilder};
use tiny_skia::{
    Color, FillRule, FilterQuality, IntSize, LineJoin, Paint, Path, PathBuilder, Pixmap,
    PixmapPaint, StrokeDash, Transform,
};

use super::drawing::{Bounds, Drawing, Point, Shape, Stroke, Text};
use super::lettering::{Lettering, Shaped};
use super::{ChartError, Tone};
use crate::stills::{polyline, single};

/// No drawing of this program comes near it, pixels.
const LARGEST_SIDE: f64 = 16_384.0;

impl Drawing {
    /// # Errors
    /// When the drawing has no size at this scale, or one that is far too large.
    pub fn to_picture(&self, letters: &Lettering, scale: f64) -> Result<RgbImage, ChartError> {
        let (width, height) = (self.width * scale, self.height * scale);
        let wrong = || ChartError::Size(width, height);
        if width.max(height) > LARGEST_SIDE {
            return Err(wrong());
        }
        let mut pixmap = Pixmap::new(whole(width), whole(height)).ok_or_else(wrong)?;
        let [r, g, b] = Tone::Paper.light();
        pixmap.fill(Color::from_rgba8(r, g, b, 255));
        let mut painter =
            Painter { pixmap, letters, view: Transform::from_scale(single(scale), single(scale)) };
        for shape in &self.shapes {
            painter.draw(shape);
        }
        Ok(opaque(&painter.pixmap))
    }
}

struct Painter<'a> {
    pixmap: Pixmap,
    letters: &'a Lettering,
    view: Transform,
}

impl Painter<'_> {
    fn draw(&mut self, shape: &Shape) {
        match shape {
            Shape::Line { points, stroke } => {
                if let Some(path) = polyline(points, false) {
                    self.stroke(&path, stroke);
                }
            }
            Shape::Area { points, fill, edge } => {
                if let Some(path) = polyline(points, true) {
                    self.filled(&path, *fill, edge.as_ref());
                }
            }
            Shape::Circle { centre, radius, fill, edge } => {
                let (x, y, r) = (single(centre.x), single(centre.y), single(*radius));
                if let Some(path) = PathBuilder::from_circle(x, y, r) {
                    self.filled(&path, *fill, edge.as_ref());
                }
            }
            Shape::Text(text) => self.text(text),
            Shape::Picture { bounds, picture } => self.picture(bounds, picture),
            Shape::Group { offset, shapes, .. } => {
                let before = self.view;
                self.view = before.pre_translate(single(offset.x), single(offset.y));
                shapes.iter().for_each(|inner| self.draw(inner));
                self.view = before;
            }
        }
    }

    fn filled(&mut self, path: &Path, fill: Option<(Tone, f64)>, edge: Option<&Stroke>) {
        if let Some((tone, opacity)) = fill {
            let paint = paint(tone, opacity);
            self.pixmap.fill_path(path, &paint, FillRule::Winding, self.view, None);
        }
        if let Some(edge) = edge {
            self.stroke(path, edge);
        }
    }

    fn stroke(&mut self, path: &Path, stroke: &Stroke) {
        let dash = stroke.dashed.then(|| stroke.dash().map(single).to_vec());
        let line = tiny_skia::Stroke {
            width: single(stroke.width),
            line_join: LineJoin::Round,
            dash: dash.and_then(|array| StrokeDash::new(array, 0.0)),
            ..tiny_skia::Stroke::default()
        };
        self.pixmap.stroke_path(path, &paint(stroke.tone, 1.0), &line, self.view, None);
    }

    fn text(&mut self, text: &Text) {
        let shaped = self.letters.shape(text.weight, &text.content);
        let start = Point::new(text.left(), text.at.y);
        if let Some(path) = letters_path(self.letters, &shaped, text.size, start) {
            let paint = paint(text.tone, 1.0);
            self.pixmap.fill_path(&path, &paint, FillRule::Winding, self.view, None);
        }
    }

    fn picture(&mut self, bounds: &Bounds, picture: &RgbImage) {
        let (width, height) = picture.dimensions();
        let rgba = picture.pixels().flat_map(|p| [p.0[0], p.0[1], p.0[2], 255]).collect();
        let size = IntSize::from_wh(width, height);
        let Some(pixels) = size.and_then(|size| Pixmap::from_vec(rgba, size)) else { return };
        let place = self.view.pre_translate(single(bounds.left), single(bounds.top)).pre_scale(
            single(bounds.width() / f64::from(width)),
            single(bounds.height() / f64::from(height)),
        );
        let paint = PixmapPaint { quality: FilterQuality::Bilinear, ..PixmapPaint::default() };
        self.pixmap.draw_pixmap(0, 0, pixels.as_ref(), &paint, place, None);
    }
}

/// The outline of a line of text that starts at `start` on its baseline.
fn letters_path(letters: &Lettering, shaped: &Shaped, size: f64, start: Point) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let mut pen = start.x;
    for run in &shaped.runs {
        let Some(font) = letters.font(run.font) else { continue };
        let Some(face) = font.face() else { continue };
        let em = size / f64::from(face.units_per_em());
        for glyph in &run.glyphs {
            let at = Point::new(pen + glyph.dx * size, start.y - glyph.dy * size);
            face.outline_glyph(GlyphId(glyph.id), &mut Pen { builder: &mut builder, at, em });
            pen += glyph.advance * size;
        }
    }
    builder.finish()
}

/// Puts a glyph's outline, in font units with y up, on the drawing.
struct Pen<'a> {
    builder: &'a mut PathBuilder,
    at: Point,
    em: f64,
}

impl Pen<'_> {
    fn place(&self, x: f32, y: f32) -> (f32, f32) {
        let (x, y) = (f64::from(x) * self.em, f64::from(y) * self.em);
        (single(self.at.x + x), single(self.at.y - y))
    }
}

impl OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.place(x, y);
        self.builder.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.place(x, y);
        self.builder.line_to(x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let ((x1, y1), (x, y)) = (self.place(x1, y1), self.place(x, y));
        self.builder.quad_to(x1, y1, x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let ((x1, y1), (x2, y2), (x, y)) =
            (self.place(x1, y1), self.place(x2, y2), self.place(x, y));
        self.builder.cubic_to(x1, y1, x2, y2, x, y);
    }

    fn close(&mut self) {
        self.builder.close();
    }
}

fn paint(tone: Tone, opacity: f64) -> Paint<'static> {
    let [r, g, b] = tone.light();
    let mut colour = Color::from_rgba8(r, g, b, 255);
    colour.set_alpha(single(opacity.clamp(0.0, 1.0)));
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color(colour);
    paint
}

/// Every pixel is opaque, so premultiplied is plain.
fn opaque(pixmap: &Pixmap) -> RgbImage {
    let mut picture = RgbImage::new(pixmap.width(), pixmap.height());
    for (to, from) in picture.pixels_mut().zip(pixmap.data().chunks_exact(4)) {
        to.0.copy_from_slice(&from[..3]);
    }
    picture
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between 0 and the largest side first"
)]
fn whole(length: f64) -> u32 {
    length.ceil().clamp(0.0, LARGEST_SIDE) as u32
}
