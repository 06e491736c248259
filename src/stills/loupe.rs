//! The trunk enlarged, for the strip. In: a picture with its scene. Out: a square piece around
//! both hubs, enlarged, with the marks drawn on it, so that a travel of a few centimetres is
//! seen on a phone.

use image::{RgbImage, imageops};

use super::canvas::{Canvas, pixels};
use super::marks::{self, hubs};
use super::scene::StillScene;
use crate::frames::Pixel;

/// Side of the loupe, units.
const SIDE: f64 = 37.0;
/// Half of the piece of the world it shows: no smaller than the first, and with the second
/// around the hubs, statures.
const LEAST_HALF: f64 = 0.14;
const ROOM: f64 = 0.075;
/// Below this a loupe shows nothing that the picture does not.
const LEAST_GAIN: f64 = 1.4;

/// None without both hubs, and where the golfer fills the picture anyway.
pub fn magnified(picture: &RgbImage, scene: &StillScene, unit: f64) -> Option<RgbImage> {
    scene.lower.as_ref()?;
    scene.upper.as_ref()?;
    let points: Vec<Pixel> =
        hubs(scene).flat_map(|(_, hub)| [Some(hub.now.at), hub.address]).flatten().collect();
    let (left, right) = extent(points.iter().map(|p| p.x));
    let (top, bottom) = extent(points.iter().map(|p| p.y));
    let half = (right - left).max(bottom - top) / 2.0 + ROOM * scene.stature_px;
    let half = half.max(LEAST_HALF * scene.stature_px);
    let side = pixels(2.0 * half).min(picture.width()).min(picture.height());
    let shown = pixels(SIDE * unit);
    let factor = f64::from(shown) / f64::from(side.max(1));
    if factor < LEAST_GAIN {
        return None;
    }
    let x = pixels(f64::midpoint(left, right) - half).min(picture.width() - side);
    let y = pixels(f64::midpoint(top, bottom) - half).min(picture.height() - side);
    let piece = imageops::crop_imm(picture, x, y, side, side).to_image();
    let large = imageops::resize(&piece, shown, shown, imageops::FilterType::CatmullRom);
    let shift = Pixel::new(-f64::from(x) * factor, -f64::from(y) * factor);
    let scene = StillScene { skeleton: false, ..scene.mapped(factor, shift) };
    let mut canvas = Canvas::new(&large, 0)?;
    marks::draw(&mut canvas, &scene, 0.9 * unit);
    Some(canvas.into_picture())
}

fn extent(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
}
