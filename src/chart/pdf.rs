//! A drawing as PDF: real text in embedded, subset fonts, lines as lines. A unit of the drawing
//! is 1/96 inch; PDF counts in 1/72. Nothing but what the drawing shows is written: no date, no
//! author, no random identifier, so that the same drawing gives the same bytes.

use std::collections::BTreeMap;
use std::sync::Arc;

use image::{ImageEncoder as _, RgbImage};
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point as At, Size, Transform};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, LineJoin, Stroke as Pen, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};

use super::drawing::{Bounds, Drawing, Point, Shape, Stroke, Text};
use super::lettering::{Lettering, Run};
use super::{ChartError, Tone};
use crate::stills::single;

/// Points for each unit of a drawing.
const POINTS: f32 = 72.0 / 96.0;
/// Quality of photographs, 1 to 100: artefacts of the medium cannot be seen in print.
const JPEG_QUALITY: u8 = 88;

impl Drawing {
    /// One page of the drawing's size.
    ///
    /// # Errors
    /// When the page has no size, or a picture cannot be packed.
    pub fn to_pdf(&self, letters: &Lettering) -> Result<Vec<u8>, ChartError> {
        let wrong = || ChartError::Size(self.width, self.height);
        let (width, height) = (single(self.width) * POINTS, single(self.height) * POINTS);
        let settings = PageSettings::from_wh(width, height).ok_or_else(wrong)?;
        let mut document = Document::new();
        document.set_metadata(
            Metadata::new()
                .title(self.title.clone())
                .language("en".to_owned())
                .creator(concat!("hubgauge ", env!("CARGO_PKG_VERSION")).to_owned()),
        );
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface.push_transform(&Transform::from_scale(POINTS, POINTS));
        let mut writer = Writer { surface: &mut surface, letters, fonts: BTreeMap::new() };
        for shape in &self.shapes {
            writer.draw(shape)?;
        }
        surface.pop();
        surface.finish();
        page.finish();
        document.finish().map_err(|error| ChartError::Pdf(format!("{error:?}")))
    }
}

struct Writer<'a, 'b> {
    surface: &'a mut Surface<'b>,
    letters: &'a Lettering,
    fonts: BTreeMap<usize, Option<Font>>,
}

impl Writer<'_, '_> {
    fn draw(&mut self, shape: &Shape) -> Result<(), ChartError> {
        match shape {
            Shape::Line { points, stroke } => {
                self.path(outline(points, false), None, Some(stroke));
            }
            Shape::Area { points, fill, edge } => {
                self.path(outline(points, true), *fill, edge.as_ref());
            }
            Shape::Circle { centre, radius, fill, edge } => {
                self.path(circle(*centre, *radius), *fill, edge.as_ref());
            }
            Shape::Text(text) => self.text(text),
            Shape::Picture { bounds, picture } => self.picture(bounds, picture)?,
            Shape::Group { offset, shapes, .. } => {
                let moved = Transform::from_translate(single(offset.x), single(offset.y));
                self.surface.push_transform(&moved);
                let drawn = shapes.iter().try_for_each(|inner| self.draw(inner));
                self.surface.pop();
                drawn?;
            }
        }
        Ok(())
    }

    fn path(&mut self, path: Option<Path>, fill: Option<(Tone, f64)>, edge: Option<&Stroke>) {
        let Some(path) = path else { return };
        self.surface.set_fill(fill.map(|(tone, opacity)| filling(tone, opacity)));
        self.surface.set_stroke(edge.map(pen));
        self.surface.draw_path(&path);
    }

    fn text(&mut self, text: &Text) {
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(filling(text.tone, 1.0)));
        let mut x = text.left();
        for run in &self.letters.shape(text.weight, &text.content).runs {
            let glyphs: Vec<KrillaGlyph> = run.glyphs.iter().map(glyph).collect();
            if let Some(font) = self.font(run) {
                let start = At::from_xy(single(x), single(text.at.y));
                let size = single(text.size);
                self.surface.draw_glyphs(start, &glyphs, font, &run.text, size, false);
            }
            x += run.glyphs.iter().map(|glyph| glyph.advance).sum::<f64>() * text.size;
        }
    }

    fn font(&mut self, run: &Run) -> Option<Font> {
        let letters = self.letters;
        let load = || {
            let file = letters.font(run.font)?;
            Font::new(file.data.into(), file.index)
        };
        self.fonts.entry(run.font).or_insert_with(load).clone()
    }

    fn picture(&mut self, bounds: &Bounds, picture: &Arc<RgbImage>) -> Result<(), ChartError> {
        let failed = |what: String| ChartError::Pdf(what);
        let (width, height) = picture.dimensions();
        let mut jpeg = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, JPEG_QUALITY)
            .write_image(picture, width, height, image::ExtendedColorType::Rgb8)
            .map_err(|error| failed(error.to_string()))?;
        let image = krilla::image::Image::from_jpeg(jpeg.into(), true).map_err(failed)?;
        let size = Size::from_wh(single(bounds.width()), single(bounds.height()))
            .ok_or(ChartError::Size(bounds.width(), bounds.height()))?;
        let corner = Transform::from_translate(single(bounds.left), single(bounds.top));
        self.surface.push_transform(&corner);
        self.surface.draw_image(image, size);
        self.surface.pop();
        Ok(())
    }
}

fn glyph(glyph: &super::lettering::Glyph) -> KrillaGlyph {
    KrillaGlyph::new(
        GlyphId::new(u32::from(glyph.id)),
        single(glyph.advance),
        single(glyph.dx),
        single(glyph.dy),
        0.0,
        glyph.bytes.clone(),
        None,
    )
}

fn colour(tone: Tone) -> rgb::Color {
    let [r, g, b] = tone.light();
    rgb::Color::new(r, g, b)
}

fn filling(tone: Tone, opacity: f64) -> Fill {
    let opacity = NormalizedF32::new(single(opacity.clamp(0.0, 1.0))).unwrap_or(NormalizedF32::ONE);
    Fill { paint: colour(tone).into(), opacity, ..Fill::default() }
}

fn pen(stroke: &Stroke) -> Pen {
    let dash = stroke
        .dashed
        .then(|| StrokeDash { array: stroke.dash().map(single).to_vec(), offset: 0.0 });
    Pen {
        paint: colour(stroke.tone).into(),
        width: single(stroke.width),
        line_join: LineJoin::Round,
        dash,
        ..Pen::default()
    }
}

fn outline(points: &[Point], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let mut points = points.iter();
    let first = points.next()?;
    builder.move_to(single(first.x), single(first.y));
    for point in points {
        builder.line_to(single(point.x), single(point.y));
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

/// Four cubic curves.
fn circle(centre: Point, radius: f64) -> Option<Path> {
    /// Length of the handles for a quarter circle of radius 1: 4/3 (sqrt 2 - 1).
    const HANDLE: f64 = 0.552_284_75;
    let at = |x: f64, y: f64| (single(centre.x + radius * x), single(centre.y + radius * y));
    let mut builder = PathBuilder::new();
    let (x, y) = at(1.0, 0.0);
    builder.move_to(x, y);
    let quarters = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)];
    for (from, to) in quarters.iter().zip(quarters.iter().cycle().skip(1)) {
        let (x1, y1) = at(from.0 + HANDLE * to.0, from.1 + HANDLE * to.1);
        let (x2, y2) = at(to.0 + HANDLE * from.0, to.1 + HANDLE * from.1);
        let (x, y) = at(to.0, to.1);
        builder.cubic_to(x1, y1, x2, y2, x, y);
    }
    builder.close();
    builder.finish()
}
