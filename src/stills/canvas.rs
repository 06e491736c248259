//! Drawing with halos. In: pixels and shapes, sizes in pixels. Out: a picture.

use image::RgbImage;
use tiny_skia::{
    Color, FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, Rect, Stroke, Transform,
};

use super::Area;
use crate::frames::{Flat, Pixel};

/// Red, green, blue, opacity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ink(pub u8, pub u8, pub u8, pub u8);

/// The two hubs differ in shape, in hue along the blue-yellow axis (which people who confuse red
/// and green tell apart) and in lightness. Our own choice.
pub const LOWER: Ink = Ink(255, 178, 38, 255);
pub const UPPER: Ink = Ink(126, 205, 255, 255);
pub const LIGHT: Ink = Ink(255, 255, 255, 255);
pub const QUIET: Ink = Ink(186, 194, 206, 255);
pub const DARK: Ink = Ink(14, 19, 28, 255);
/// Dark rim around everything light, so that it shows on grass in the sun and on a dark wall.
pub const HALO: Ink = Ink(8, 11, 17, 190);

impl Ink {
    pub fn faint(self, opacity: u8) -> Self {
        Self(self.0, self.1, self.2, opacity)
    }

    fn paint(self) -> Paint<'static> {
        let mut paint = Paint { anti_alias: true, ..Paint::default() };
        paint.set_color(Color::from_rgba8(self.0, self.1, self.2, self.3));
        paint
    }
}

/// How a line looks.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    pub ink: Ink,
    pub width: f64,
    /// Width of the dark rim on each side.
    pub halo: f64,
}

impl Line {
    pub fn new(ink: Ink, width: f64) -> Self {
        Self { ink, width, halo: width * 0.6 }
    }
}

pub struct Canvas {
    pixmap: Pixmap,
}

impl Canvas {
    /// A copy of the picture with room for a dark strip below.
    pub fn new(picture: &RgbImage, strip: u32) -> Option<Self> {
        let mut pixmap = Pixmap::new(picture.width(), picture.height().checked_add(strip)?)?;
        pixmap.fill(Color::from_rgba8(DARK.0, DARK.1, DARK.2, DARK.3));
        for (to, from) in pixmap.data_mut().chunks_exact_mut(4).zip(picture.pixels()) {
            to[..3].copy_from_slice(&from.0);
        }
        Some(Self { pixmap })
    }

    /// Every pixel is opaque, so premultiplied is plain.
    pub fn into_picture(self) -> RgbImage {
        let (width, height) = (self.pixmap.width(), self.pixmap.height());
        let data = self.pixmap.data();
        RgbImage::from_fn(width, height, |x, y| {
            let start = (y as usize * width as usize + x as usize) * 4;
            image::Rgb([data[start], data[start + 1], data[start + 2]])
        })
    }

    pub fn fill(&mut self, path: &Path, ink: Ink) {
        let rule = FillRule::Winding;
        self.pixmap.fill_path(path, &ink.paint(), rule, Transform::identity(), None);
    }

    /// The halo first, then the line on it.
    pub fn stroke(&mut self, path: &Path, line: &Line) {
        if line.halo > 0.0 {
            let halo = HALO.faint(scaled_opacity(line.ink.3));
            self.stroke_once(path, halo, line.width + 2.0 * line.halo);
        }
        self.stroke_once(path, line.ink, line.width);
    }

    fn stroke_once(&mut self, path: &Path, ink: Ink, width: f64) {
        let stroke = Stroke {
            width: single(width),
            line_cap: LineCap::Round,
            line_join: LineJoin::Round,
            ..Stroke::default()
        };
        self.pixmap.stroke_path(path, &ink.paint(), &stroke, Transform::identity(), None);
    }

    pub fn line(&mut self, from: Pixel, to: Pixel, line: &Line) {
        if let Some(path) = polyline(&[from, to], false) {
            self.stroke(&path, line);
        }
    }

    /// Puts a picture on top, its corner at the nearest whole pixel; what reaches out is left off.
    pub fn paste(&mut self, picture: &RgbImage, corner: Pixel) {
        let (left, top) = (pixels(corner.x), pixels(corner.y));
        let width = self.pixmap.width();
        let data = self.pixmap.data_mut();
        for (x, y, pixel) in picture.enumerate_pixels() {
            let (x, y) = (x + left, y + top);
            let start = (y as usize * width as usize + x as usize) * 4;
            if let Some(to) = data.get_mut(start..start + 3).filter(|_| x < width) {
                to.copy_from_slice(&pixel.0);
            }
        }
    }

    /// A box with rounded corners.
    pub fn pill(&mut self, area: &Area, fill: Ink, edge: &Line) {
        if let Some(path) = rounded(area, area.height().min(area.width()) * 0.3) {
            self.fill(&path, fill);
            self.stroke(&path, edge);
        }
    }
}

/// A halo is no stronger than its line.
fn scaled_opacity(opacity: u8) -> u8 {
    u8::try_from(u16::from(HALO.3) * u16::from(opacity) / 255).unwrap_or(HALO.3)
}

/// From place to place; nothing where there are none.
pub fn polyline<P: Flat>(points: &[P], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(single(first.x()), single(first.y()));
    for point in rest {
        builder.line_to(single(point.x()), single(point.y()));
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

pub fn circle(centre: Pixel, radius: f64) -> Option<Path> {
    PathBuilder::from_circle(single(centre.x), single(centre.y), single(radius))
}

/// A square on its corner, as wide as a circle of this radius looks.
pub fn diamond(centre: Pixel, radius: f64) -> Option<Path> {
    let r = radius * 1.2;
    let corner = |x: f64, y: f64| Pixel::new(centre.x + x, centre.y + y);
    polyline(&[corner(0.0, -r), corner(r, 0.0), corner(0.0, r), corner(-r, 0.0)], true)
}

fn rounded(area: &Area, radius: f64) -> Option<Path> {
    Rect::from_ltrb(single(area.left), single(area.top), single(area.right), single(area.bottom))?;
    let (l, t, r, b) =
        (single(area.left), single(area.top), single(area.right), single(area.bottom));
    let c = single(radius);
    let mut builder = PathBuilder::new();
    builder.move_to(l + c, t);
    builder.line_to(r - c, t);
    builder.quad_to(r, t, r, t + c);
    builder.line_to(r, b - c);
    builder.quad_to(r, b, r - c, b);
    builder.line_to(l + c, b);
    builder.quad_to(l, b, l, b - c);
    builder.line_to(l, t + c);
    builder.quad_to(l, t, l + c, t);
    builder.close();
    builder.finish()
}

/// From `p` so many pixels along a unit vector.
pub fn along(p: Pixel, direction: Pixel, by: f64) -> Pixel {
    Pixel::new(p.x + direction.x * by, p.y + direction.y * by)
}

/// The rasteriser works in single precision.
#[expect(clippy::cast_possible_truncation, reason = "24 bits hold every place in a picture")]
pub fn single(value: f64) -> f32 {
    value as f32
}

/// A whole, positive number of pixels.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between 0 and 65535 first"
)]
pub fn pixels(length: f64) -> u32 {
    length.round().clamp(0.0, 65_535.0) as u32
}
