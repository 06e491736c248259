//! In: an RGB picture of even size. Out: the planes of a 4:2:0 frame, BT.709, limited range
//! (ITU-R BT.709-6, items 3.2 to 3.5); colour is the mean of two by two pixels.

use ffmpeg_next::frame;
use image::RgbImage;

/// Weights of red, green and blue in luma, and what brings the differences into their range.
const LUMA: [f32; 3] = [0.2126, 0.7152, 0.0722];
const BLUE: f32 = 1.8556;
const RED: f32 = 1.5748;
/// Steps of limited range for a difference of one 8-bit level.
const Y_STEP: f32 = 219.0 / 255.0;
const C_STEP: f32 = 224.0 / 255.0;

/// Fills the frame; it must be of the picture's size.
pub fn write(picture: &RgbImage, to: &mut frame::Video) {
    let width = picture.width() as usize;
    let rows: Vec<&[u8]> = picture.as_raw().chunks_exact(width * 3).collect();
    let stride = to.stride(0);
    for (row, out) in rows.iter().zip(to.data_mut(0).chunks_mut(stride)) {
        for (pixel, y) in row.chunks_exact(3).zip(out) {
            *y = level(16.0 + Y_STEP * luma(pixel));
        }
    }
    for (plane, colour) in [(1, 2), (2, 0)] {
        let stride = to.stride(plane);
        let scale = if plane == 1 { BLUE } else { RED };
        for (pair, out) in rows.chunks_exact(2).zip(to.data_mut(plane).chunks_mut(stride)) {
            let blocks = pair[0].chunks_exact(6).zip(pair[1].chunks_exact(6));
            for ((above, below), c) in blocks.zip(out) {
                let pixels = [&above[..3], &above[3..], &below[..3], &below[3..]];
                let sum: f32 = pixels.iter().map(|p| f32::from(p[colour]) - luma(p)).sum();
                *c = level(128.0 + C_STEP * sum / (4.0 * scale));
            }
        }
    }
}

fn luma(pixel: &[u8]) -> f32 {
    LUMA.iter().zip(pixel).map(|(weight, value)| weight * f32::from(*value)).sum()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held in 0..=255")]
fn level(value: f32) -> u8 {
    (value + 0.5).clamp(0.0, 255.0) as u8
}
