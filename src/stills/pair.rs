//! Address and a later moment side by side. In: two pictures of one clip with their scenes. Out:
//! one picture; both halves show the same piece of the world at the same scale.
//!
//! Both are cut about the place of the lower hub at address, in sizes of the clip's reference
//! picture, so that a camera that moved or zoomed does not shift one half against the other.

use image::{RgbImage, imageops};

use super::canvas::pixels;
use super::marks::body_points;
use super::scene::StillScene;
use super::strip::{Content, Strip, legend};
use super::text::Fonts;
use super::{Area, StillError, checked_short_side, hide_face, painted, strip_unit, with_strip};
use crate::frames::Pixel;

/// Room kept around the body for head, hands and club, statures.
const MARGIN: Pixel = Pixel { x: 0.36, y: 0.22 };
/// A half is never enlarged more than this: beyond it pixels show and nothing is gained.
const MOST_ENLARGED: f64 = 2.0;

/// Nothing is enlarged so far that both halves together are wider, pixels: more than a phone or
/// a printed page shows.
const WIDEST: f64 = 2400.0;
/// Labels in the halves are this much smaller than the strip's words, so that they find room beside
/// the body: their letters are 12 points on a phone.
const IN_PICTURE: f64 = 0.8;

/// Puts two annotated pieces next to each other.
///
/// # Errors
/// When a picture has no usable size, a scene has no lower hub, or a face to hide was not found.
pub fn pair(
    first: (&RgbImage, &StillScene),
    second: (&RgbImage, &StillScene),
) -> Result<RgbImage, StillError> {
    checked_short_side(first.0)?;
    checked_short_side(second.0)?;
    let window = window(first, second);
    let tall = f64::from(first.0.height().max(second.0.height()));
    let widest = (WIDEST / 2.0 / window.width()).max(1.0);
    let factor = (tall / window.height()).min(MOST_ENLARGED).min(widest);
    let (mut first, mut second) = (cut(first, &window, factor), cut(second, &window, factor));
    hide_face(&mut first.0, &first.1)?;
    hide_face(&mut second.0, &second.1)?;
    let fonts = Fonts::embedded()?;
    let gap = (first.0.width() / 50).max(1);
    let width = f64::from(first.0.width() + gap + second.0.width());
    let unit = strip_unit(width);
    let left = painted(&first.0, &first.1, &fonts, IN_PICTURE * unit)?;
    let right = painted(&second.0, &second.1, &fonts, IN_PICTURE * unit)?;
    let both = side_by_side(&left, &right, gap);
    let content = Content {
        heads: &[(&first.1.title, &first.1.detail), (&second.1.title, &second.1.detail)],
        facts: &second.1.facts,
        legend: &legend(&[&first.1, &second.1]),
        loupe: None,
    };
    let strip = Strip::new(&fonts, &content, width, unit);
    with_strip(&both, &strip, &fonts)
}

/// The place both halves share: the lower hub at address.
fn anchor(picture: &RgbImage, scene: &StillScene) -> Pixel {
    let middle = || Pixel::new(f64::from(picture.width()) / 2.0, f64::from(picture.height()) / 2.0);
    scene.lower.as_ref().map_or_else(middle, |hub| hub.address.unwrap_or(hub.now.at))
}

/// The piece of the world, in reference pixels about the anchor: both bodies with room around
/// them, no larger than what both pictures show.
fn window(first: (&RgbImage, &StillScene), second: (&RgbImage, &StillScene)) -> Area {
    let mut bodies: Option<Area> = None;
    let mut shown = Area::new(f64::MIN, f64::MIN, f64::MAX, f64::MAX);
    for (picture, scene) in [first, second] {
        let (anchor, scale) = (anchor(picture, scene), scene.camera_scale);
        let place = |p: Pixel| Pixel::new((p.x - anchor.x) / scale, (p.y - anchor.y) / scale);
        let stature = scene.stature_px / scale;
        let margin = Pixel::new(MARGIN.x * stature, MARGIN.y * stature);
        for point in body_points(scene).into_iter().map(place) {
            let room = Area::around(point, margin);
            bodies = Some(bodies.map_or(room, |all| all.union(&room)));
        }
        let (width, height) = picture.dimensions();
        let (from, to) =
            (place(Pixel::new(0.0, 0.0)), place(Pixel::new(f64::from(width), f64::from(height))));
        shown = overlap(&shown, &Area::new(from.x, from.y, to.x, to.y));
    }
    bodies.map_or(shown, |bodies| overlap(&bodies, &shown))
}

fn overlap(a: &Area, b: &Area) -> Area {
    Area::new(a.left.max(b.left), a.top.max(b.top), a.right.min(b.right), a.bottom.min(b.bottom))
}

/// The window cut out of one picture and brought to the common scale, with its scene.
fn cut(
    (picture, scene): (&RgbImage, &StillScene),
    window: &Area,
    factor: f64,
) -> (RgbImage, StillScene) {
    let (anchor, scale) = (anchor(picture, scene), scene.camera_scale);
    let left = pixels(anchor.x + window.left * scale).min(picture.width() - 1);
    let top = pixels(anchor.y + window.top * scale).min(picture.height() - 1);
    let width = pixels(window.width() * scale).clamp(1, picture.width() - left);
    let height = pixels(window.height() * scale).clamp(1, picture.height() - top);
    let piece = imageops::crop_imm(picture, left, top, width, height).to_image();
    let target = (pixels(window.width() * factor).max(1), pixels(window.height() * factor).max(1));
    let large = imageops::resize(&piece, target.0, target.1, imageops::FilterType::CatmullRom);
    let factor = f64::from(target.1) / f64::from(height);
    let shift = Pixel::new(-f64::from(left) * factor, -f64::from(top) * factor);
    (large, scene.mapped(factor, shift))
}

fn side_by_side(left: &RgbImage, right: &RgbImage, gap: u32) -> RgbImage {
    let width = left.width() + gap + right.width();
    let height = left.height().max(right.height());
    let dark = super::canvas::DARK;
    let mut both = RgbImage::from_pixel(width, height, image::Rgb([dark.0, dark.1, dark.2]));
    imageops::replace(&mut both, left, 0, 0);
    imageops::replace(&mut both, right, i64::from(left.width() + gap), 0);
    both
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stills::scene::tests::standing;

    /// Grey, with a white square 60 x 60 whose corner is at (`x`, `y`).
    fn picture(x: u32, y: u32, side: u32) -> RgbImage {
        RgbImage::from_fn(720, 1280, |px, py| {
            let inside = (x..x + side).contains(&px) && (y..y + side).contains(&py);
            image::Rgb([if inside { 255 } else { 90 }; 3])
        })
    }

    /// Centre of the pure white pixels of one half.
    fn white_centre(half: &RgbImage) -> (f64, f64) {
        let white: Vec<_> = half
            .enumerate_pixels()
            .filter(|(_, _, p)| p.0 == [255; 3])
            .map(|(x, y, _)| (x, y))
            .collect();
        let n = f64::from(u32::try_from(white.len()).unwrap());
        let sum =
            |pick: fn(&(u32, u32)) -> u32| white.iter().map(|p| f64::from(pick(p))).sum::<f64>();
        (sum(|p| p.0) / n, sum(|p| p.1) / n)
    }

    #[test]
    fn a_camera_that_moved_and_zoomed_does_not_shift_one_half_against_the_other() {
        let mut still = standing();
        (still.lean, still.upper, still.facts, still.skeleton) = (None, None, Vec::new(), false);
        still.lower.as_mut().unwrap().travel = None;
        // The second picture is 1.1 times as large and shifted: p -> 1.1 p + (-40, -60).
        let moved = StillScene { camera_scale: 1.1, ..still.mapped(1.1, Pixel::new(-40.0, -60.0)) };
        let first = picture(500, 700, 60);
        let second = picture(510, 710, 66);
        let window = window((&first, &still), (&second, &moved));
        let left = cut((&first, &still), &window, 1.5);
        let right = cut((&second, &moved), &window, 1.5);
        let ((lx, ly), (rx, ry)) = (white_centre(&left.0), white_centre(&right.0));
        assert!((lx - rx).abs() < 2.0 && (ly - ry).abs() < 2.0, "({lx}, {ly}) ({rx}, {ry})");
        let hub = |scene: &StillScene| scene.lower.as_ref().unwrap().now.at;
        assert!(hub(&left.1).distance(hub(&right.1)) < 2.0);
        assert_eq!(left.0.dimensions(), right.0.dimensions());
    }
}
