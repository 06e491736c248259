//! The small grey picture in which the background is followed. In: an upright RGB picture.
//! Out: a grey one, each pixel the mean of a square of pixels, long side at most 640.

use image::{GrayImage, RgbImage};

use crate::frames::{PictureSize, Pixel};

/// Long side of the small picture, pixels, at most: features there are sharp enough to
/// follow to some hundredths of a pixel, and a picture costs a few ms.
const LONG_SIDE: u32 = 640;

/// How many pixels of the picture make one of the small picture, along each side.
pub(super) fn factor(size: PictureSize) -> u32 {
    size.width.max(size.height).div_ceil(LONG_SIDE).max(1)
}

/// Position in the picture (outer corner 0, 0) of a position in the small one (first pixel's
/// centre 0, 0), and back.
pub(super) fn enlarge(at: (f32, f32), factor: u32) -> Pixel {
    let factor = f64::from(factor);
    Pixel::new((f64::from(at.0) + 0.5) * factor, (f64::from(at.1) + 0.5) * factor)
}

#[expect(clippy::cast_possible_truncation, reason = "positions need no more than f32")]
pub(super) fn reduce(at: Pixel, factor: u32) -> (f32, f32) {
    let factor = f64::from(factor);
    ((at.x / factor - 0.5) as f32, (at.y / factor - 0.5) as f32)
}

/// Means of squares of `factor` pixels, of the green channel alone: it carries most of what
/// the eye calls brightness, and is sampled most densely by cameras.
pub(super) fn shrink(picture: &RgbImage, factor: u32) -> GrayImage {
    let size = (picture.width() / factor, picture.height() / factor);
    means(picture, (0, 0), size, factor, [1])
}

/// Means of squares of `factor` pixels and some of the three colours, of the part of a picture
/// that begins at `corner`; `size`: of the small picture, all of whose squares lie in the large one.
pub(in crate::track) fn means<const N: usize>(
    picture: &RgbImage,
    corner: (u32, u32),
    size: (u32, u32),
    factor: u32,
    colours: [usize; N],
) -> GrayImage {
    let [left, top, side, width, across] =
        [corner.0, corner.1, factor, picture.width(), size.0].map(|v| v as usize);
    let mut gray = GrayImage::new(size.0, size.1);
    let source = picture.as_raw();
    let mut sums = vec![0u32; across];
    let share = colours.iter().map(|_| factor * factor).sum::<u32>();
    for (y, line) in gray.chunks_exact_mut(across.max(1)).enumerate() {
        sums.fill(0);
        for r in 0..side {
            let from = 3 * ((top + y * side + r) * width + left);
            let squares = source[from..from + 3 * side * across].chunks_exact(3 * side);
            for (sum, square) in sums.iter_mut().zip(squares) {
                for pixel in square.chunks_exact(3) {
                    *sum += colours.iter().map(|c| u32::from(pixel[*c])).sum::<u32>();
                }
            }
        }
        for (out, sum) in line.iter_mut().zip(&sums) {
            *out = u8::try_from((sum + share / 2) / share).unwrap_or(u8::MAX);
        }
    }
    gray
}

/// Mean grey over every fourth pixel that `counts` (by position in the picture).
pub(super) fn brightness(gray: &GrayImage, factor: u32, counts: impl Fn(Pixel) -> bool) -> f64 {
    let (mut sum, mut count) = (0u64, 0u32);
    for y in (0..gray.height()).step_by(4) {
        for x in (0..gray.width()).step_by(4) {
            let at = Pixel::new(f64::from((x) * factor), f64::from(y * factor));
            if counts(at) {
                sum += u64::from(gray.get_pixel(x, y).0[0]);
                count += 1;
            }
        }
    }
    if count == 0 {
        0.0
    } else {
        f64::from(u32::try_from(sum).unwrap_or(u32::MAX)) / f64::from(count)
    }
}

/// Multiplies all greys, for a camera that changed its exposure.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=255")]
pub(super) fn expose(gray: &mut GrayImage, gain: f64) {
    let table: [u8; 256] =
        std::array::from_fn(|v| (crate::signal::real(v) * gain).round().clamp(0.0, 255.0) as u8);
    for v in gray.iter_mut() {
        *v = table[usize::from(*v)];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    #[test]
    fn squares_are_averaged_and_positions_agree() {
        let picture = RgbImage::from_fn(7, 6, |x, y| {
            let v = u8::try_from(10 * x + y).unwrap();
            Rgb([v, v, v])
        });
        let small = shrink(&picture, 2);
        assert_eq!((small.width(), small.height()), (3, 3));
        // Mean of 20, 30, 21, 31 = 25.5, rounded up.
        assert_eq!(small.get_pixel(1, 0).0[0], 26);
        let at = enlarge((1.0, 0.0), 2);
        assert_eq!(at, Pixel::new(3.0, 1.0));
        assert_eq!(reduce(at, 2), (1.0, 0.0));
        assert_eq!(factor(PictureSize { width: 1080, height: 1920 }), 3);
        assert_eq!(factor(PictureSize { width: 320, height: 240 }), 1);
    }
}
