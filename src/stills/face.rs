//! Hides a face. In: a picture and the head's box. Out: the picture with coarse squares there.

use image::{Rgb, RgbImage};

use super::Area;

/// Squares across the head's box: too few to know anybody by.
const SQUARES: f64 = 5.0;

/// Replaces the ellipse in the box by squares of one colour each; nothing of the original is
/// left in it.
pub fn blur(picture: &mut RgbImage, head: &Area) {
    let side = super::canvas::pixels(head.width() / SQUARES).max(2);
    let (width, height) = picture.dimensions();
    let edge = super::canvas::pixels;
    let (left, right) = (edge(head.left), edge(head.right).min(width));
    let (top, bottom) = (edge(head.top), edge(head.bottom).min(height));
    for y in (top..bottom).step_by(side as usize) {
        for x in (left..right).step_by(side as usize) {
            let (x_end, y_end) = ((x + side).min(right), (y + side).min(bottom));
            let mean = mean(picture, (x, y), (x_end, y_end));
            for py in y..y_end {
                for px in x..x_end {
                    if in_ellipse(head, px, py) {
                        picture.put_pixel(px, py, mean);
                    }
                }
            }
        }
    }
}

fn in_ellipse(area: &Area, x: u32, y: u32) -> bool {
    let centre = area.centre();
    let across = (f64::from(x) + 0.5 - centre.x) / (area.width() / 2.0);
    let down = (f64::from(y) + 0.5 - centre.y) / (area.height() / 2.0);
    across.hypot(down) <= 1.0
}

fn mean(picture: &RgbImage, from: (u32, u32), to: (u32, u32)) -> Rgb<u8> {
    let (mut sum, mut count) = ([0u64; 3], 0u64);
    for y in from.1..to.1 {
        for x in from.0..to.0 {
            for (sum, value) in sum.iter_mut().zip(picture.get_pixel(x, y).0) {
                *sum += u64::from(value);
            }
            count += 1;
        }
    }
    Rgb(sum.map(|sum| u8::try_from(sum / count.max(1)).unwrap_or(u8::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn detail_inside_the_box_is_gone_and_outside_untouched() {
        let stripes = |x: u32, y: u32| if (x + y).is_multiple_of(2) { 255 } else { 0 };
        let before = RgbImage::from_fn(200, 200, |x, y| Rgb([stripes(x, y); 3]));
        let mut after = before.clone();
        let head = Area::new(60.0, 50.0, 110.0, 120.0);
        blur(&mut after, &head);
        for (x, y, pixel) in after.enumerate_pixels() {
            if in_ellipse(&head, x, y) {
                assert!((120..=135).contains(&pixel.0[0]), "{x} {y} {pixel:?}");
            } else {
                assert_eq!(pixel, before.get_pixel(x, y));
            }
        }
    }

    #[test]
    fn a_head_half_out_of_the_picture_is_hidden_too() {
        let mut picture =
            RgbImage::from_fn(60, 60, |x, _| Rgb([if x.is_multiple_of(2) { 255 } else { 0 }; 3]));
        blur(&mut picture, &Area::new(-30.0, -30.0, 40.0, 40.0));
        assert!((100..=155).contains(&picture.get_pixel(3, 3).0[0]));
        blur(&mut picture, &Area::new(-90.0, -90.0, -40.0, -40.0));
        blur(&mut picture, &Area::new(50.0, 50.0, 500.0, 500.0));
    }
}
