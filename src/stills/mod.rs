//! Stage 10. In: pictures at the events, the body's points in them, the result. Out:
//! annotated pictures.
//!
//! Both hubs, the line between them, the address positions with a vertical through each so that
//! travel is seen as a gap, the trunk's angle, and the numbers with their sd. Words stand in a
//! strip below the picture; the few labels inside it keep clear of face, hands and each other.
//!
//! Everything is in pixels of the upright picture ([`crate::frames::Image`]). What it does not
//! do: measure, judge, or know where the club is (the caller can name boxes to keep clear).

mod canvas;
mod face;
mod label;
mod loupe;
mod marks;
mod pair;
mod scene;
mod strip;
mod text;

use image::RgbImage;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::imageops;

pub(crate) use canvas::{polyline, single};
pub use face::blur;
pub use pair::pair;
pub use scene::{Fact, HubMark, Mark, StillScene, Symbol};
pub use text::{BOLD as INTER_BOLD, MEDIUM as INTER_MEDIUM};

use crate::body::PerJoint;
use crate::frames::{Pixel, Rectangle};
use canvas::Canvas;
use strip::{Content, Strip};
use text::Fonts;

/// An upright rectangle in a picture, pixels.
pub type Area = Rectangle<Pixel>;

/// Why a still cannot be drawn.
#[derive(Debug, thiserror::Error)]
pub enum StillError {
    #[error("the picture is {0}x{1} pixels: too small or too large to draw on")]
    Size(u32, u32),
    #[error("the face cannot be hidden because the head was not found in this picture")]
    NoFace,
    #[error("the built-in font cannot be read: {0}")]
    Font(#[from] ab_glyph::InvalidFont),
    #[error("cannot make the picture file: {0}")]
    Png(#[from] image::ImageError),
}

/// Smaller pictures are enlarged to this shorter side before anything is drawn, pixels: text
/// needs about 30 pixels to be read on a phone.
const SHORTEST_SIDE: f64 = 720.0;
const LARGEST_SIDE: u32 = 16_384;
/// A hidden face gets this much more room than its box, statures: the head's own place has an
/// error.
const BLUR_MARGIN: f64 = 0.02;

/// Draws the scene on a copy of the picture, with its strip below.
///
/// # Errors
/// When the picture has no usable size, or a face is to be hidden that was not found.
pub fn annotate(picture: &RgbImage, scene: &StillScene) -> Result<RgbImage, StillError> {
    let short = checked_short_side(picture)?;
    let factor = (SHORTEST_SIDE / short).max(1.0);
    let (mut picture, scene) = enlarged(picture, scene, factor);
    hide_face(&mut picture, &scene)?;
    let fonts = Fonts::embedded()?;
    let width = f64::from(picture.width());
    let unit = strip_unit(width);
    let strip = Strip::new(
        &fonts,
        &Content {
            heads: &[(&scene.title, &scene.detail)],
            facts: &scene.facts,
            legend: &strip::legend(&[&scene]),
            loupe: loupe::magnified(&picture, &scene, unit),
        },
        width,
        unit,
    );
    let labels = short * factor / 100.0;
    with_strip(&painted(&picture, &scene, &fonts, labels)?, &strip, &fonts)
}

/// The size of the strip's words below a picture of this `width`, pixels. A phone shows it as wide
/// as itself, mostly 390 points (common practice, no source): the smallest words (2.9 units) are
/// 11 points there, however low the picture is.
fn strip_unit(width: f64) -> f64 {
    width / 100.0
}

/// The picture with a body's bones on it and nothing else; unchanged where it is too small to
/// draw on.
#[must_use]
pub fn outline(picture: &RgbImage, points: &PerJoint<Option<Pixel>>) -> RgbImage {
    let Some(mut canvas) = Canvas::new(picture, 0) else { return picture.clone() };
    marks::bones(&mut canvas, points, f64::from(picture.width().min(picture.height())) / 100.0);
    canvas.into_picture()
}

/// Draws the marks, and the title if there is one, into the picture itself: for frames of a
/// clip. No numbers, no strip.
///
/// # Errors
/// When the picture has no usable size, or a face is to be hidden that was not found.
pub fn overlay(picture: &RgbImage, scene: &StillScene) -> Result<RgbImage, StillError> {
    let unit = checked_short_side(picture)? / 100.0;
    let mut picture = picture.clone();
    hide_face(&mut picture, scene)?;
    let (width, height) = picture.dimensions();
    let mut canvas = Canvas::new(&picture, 0).ok_or(StillError::Size(width, height))?;
    marks::draw(&mut canvas, scene, marks::unit(scene, unit));
    if !scene.title.is_empty() {
        caption(&mut canvas, &Fonts::embedded()?, &scene.title, unit);
    }
    Ok(canvas.into_picture())
}

/// A word in the upper left corner.
fn caption(canvas: &mut Canvas, fonts: &Fonts, text: &str, unit: f64) {
    let (size, margin) = (5.0 * unit, 3.0 * unit);
    let width = fonts.width(text::Weight::Bold, size, text);
    let area = Area::new(margin, margin, 3.0 * margin + width, 2.6 * margin + size);
    let edge = canvas::Line { halo: 0.0, ..canvas::Line::new(canvas::DARK.faint(0), 0.1 * unit) };
    canvas.pill(&area, canvas::DARK.faint(190), &edge);
    let baseline = area.centre().y + text::CAPITAL * size / 2.0;
    if let Some(path) = fonts.path(text::Weight::Bold, size, text, 2.0 * margin, baseline) {
        canvas.fill(&path, canvas::LIGHT);
    }
}

fn checked_short_side(picture: &RgbImage) -> Result<f64, StillError> {
    let (width, height) = picture.dimensions();
    if width.min(height) < 16 || width.max(height) > LARGEST_SIDE {
        return Err(StillError::Size(width, height));
    }
    Ok(f64::from(width.min(height)))
}

fn enlarged(picture: &RgbImage, scene: &StillScene, factor: f64) -> (RgbImage, StillScene) {
    if factor <= 1.0 {
        return (picture.clone(), scene.clone());
    }
    let side = |pixels: u32| canvas::pixels(f64::from(pixels) * factor);
    let (width, height) = (side(picture.width()), side(picture.height()));
    let large = imageops::resize(picture, width, height, imageops::FilterType::CatmullRom);
    (large, scene.mapped(factor, Pixel::new(0.0, 0.0)))
}

fn hide_face(picture: &mut RgbImage, scene: &StillScene) -> Result<(), StillError> {
    if scene.blur_face {
        let head = scene.head_area().ok_or(StillError::NoFace)?;
        face::blur(picture, &head.grown(BLUR_MARGIN * scene.stature_px));
        scene.other_faces.iter().for_each(|face| face::blur(picture, face));
    }
    Ok(())
}

/// The picture with marks and labels; `unit` is the size of the labels' text.
fn painted(
    picture: &RgbImage,
    scene: &StillScene,
    fonts: &Fonts,
    unit: f64,
) -> Result<RgbImage, StillError> {
    let (width, height) = picture.dimensions();
    let mut canvas = Canvas::new(picture, 0).ok_or(StillError::Size(width, height))?;
    marks::draw(&mut canvas, scene, marks::unit(scene, unit));
    let bounds = Area::new(0.0, 0.0, f64::from(width), f64::from(height));
    for label in label::place(fonts, scene, &bounds, unit) {
        label.draw(&mut canvas, fonts, unit);
    }
    Ok(canvas.into_picture())
}

fn with_strip(picture: &RgbImage, strip: &Strip, fonts: &Fonts) -> Result<RgbImage, StillError> {
    let (width, height) = picture.dimensions();
    let below = canvas::pixels(strip.height());
    let mut canvas = Canvas::new(picture, below).ok_or(StillError::Size(width, height))?;
    strip.draw(&mut canvas, fonts, f64::from(height));
    Ok(canvas.into_picture())
}

/// The picture, made smaller where its longer side is above `most`; never larger.
#[must_use]
pub fn at_most(picture: RgbImage, most: u32) -> RgbImage {
    let long = picture.width().max(picture.height());
    if long <= most {
        return picture;
    }
    let factor = f64::from(most) / f64::from(long);
    let side = |length: u32| canvas::pixels(f64::from(length) * factor).max(1);
    let (width, height) = (side(picture.width()), side(picture.height()));
    imageops::resize(&picture, width, height, imageops::FilterType::Triangle)
}

/// The bytes of a PNG file, compressed fast.
///
/// # Errors
/// When the encoder refuses the picture.
pub fn encode_png(picture: &RgbImage) -> Result<Vec<u8>, StillError> {
    let mut bytes = Vec::new();
    let encoder =
        PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Adaptive);
    picture.write_with_encoder(encoder)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Joint;
    use scene::tests::standing;

    fn grey(width: u32, height: u32) -> RgbImage {
        RgbImage::from_pixel(width, height, image::Rgb([128, 130, 126]))
    }

    #[test]
    fn the_strip_is_added_below_and_the_picture_keeps_its_size_and_its_far_corners() {
        let still = annotate(&grey(720, 1280), &standing()).unwrap();
        assert_eq!(still.width(), 720);
        assert!(still.height() > 1280 + 100);
        for (x, y) in [(2, 2), (717, 2), (2, 1270), (717, 1270)] {
            assert_eq!(still.get_pixel(x, y).0, [128, 130, 126]);
        }
        let hub = still.get_pixel(332, 624).0;
        assert_eq!(hub, [255, 178, 38]);
        assert_eq!(still.get_pixel(354, 525).0, [126, 205, 255]);
    }

    #[test]
    fn an_estimated_hub_is_hollow() {
        let mut scene = standing();
        (scene.lean, scene.skeleton) = (None, false);
        scene.upper = None;
        scene.lower.as_mut().unwrap().now.filled = true;
        let still = annotate(&grey(720, 1280), &scene).unwrap();
        assert_eq!(still.get_pixel(332, 624).0, [128, 130, 126]);
    }

    #[test]
    fn a_small_picture_is_enlarged_so_that_text_can_be_read() {
        let scene = standing().mapped(0.25, Pixel::new(0.0, 0.0));
        assert_eq!(annotate(&grey(180, 320), &scene).unwrap().width(), 720);
    }

    #[test]
    fn what_cannot_be_drawn_is_refused_in_one_line() {
        let mut scene = standing();
        assert!(matches!(annotate(&grey(1, 1), &scene), Err(StillError::Size(1, 1))));
        scene.blur_face = true;
        assert!(annotate(&grey(720, 1280), &scene).is_ok());
        scene.joints[Joint::Head] = None;
        let error = annotate(&grey(720, 1280), &scene).unwrap_err().to_string();
        assert!(error.contains("head was not found"), "{error}");
    }

    #[test]
    fn a_body_outside_the_picture_does_not_stop_the_drawing() {
        for shift in [-3000.0, 3000.0] {
            let scene = standing().mapped(1.0, Pixel::new(shift, shift));
            let scene = StillScene { blur_face: true, ..scene };
            assert!(annotate(&grey(720, 1280), &scene).is_ok());
            assert!(pair((&grey(720, 1280), &scene), (&grey(720, 1280), &scene)).is_ok());
        }
    }

    #[test]
    fn other_people_s_faces_are_hidden_with_the_golfer_s_and_only_then() {
        let stripes = |x: u32| if x.is_multiple_of(2) { 255 } else { 0 };
        let picture = RgbImage::from_fn(720, 1280, |x, _| image::Rgb([stripes(x); 3]));
        let other = Area::new(80.0, 300.0, 140.0, 380.0);
        let scene = StillScene { other_faces: vec![other], ..standing() };
        assert!(matches!(annotate(&picture, &scene).unwrap().get_pixel(110, 340).0[0], 0 | 255));
        let scene = StillScene { blur_face: true, ..scene };
        let hidden = annotate(&picture, &scene).unwrap();
        assert!((100..156).contains(&hidden.get_pixel(110, 340).0[0]));
        assert!(matches!(hidden.get_pixel(60, 340).0[0], 0 | 255));
    }

    #[test]
    fn a_picture_is_made_smaller_never_larger() {
        assert_eq!(at_most(grey(720, 1280), 640).dimensions(), (360, 640));
        assert_eq!(at_most(grey(720, 1280), 4000).dimensions(), (720, 1280));
    }

    #[test]
    fn the_png_holds_the_picture() {
        let picture = RgbImage::from_fn(40, 30, |x, y| image::Rgb([x as u8, y as u8, 7]));
        let read = image::load_from_memory(&encode_png(&picture).unwrap()).unwrap().to_rgb8();
        assert_eq!(read, picture);
    }
}
