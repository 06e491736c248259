//! In: the container's display matrix, pictures as stored. Out: upright pictures.
//!
//! ISO/IEC 14496-12: a stored point (p, q) is shown at (a p + c q, b p + d q) and then moved
//! into the frame, so only the signs and the places of the large entries matter for quarter
//! turns and mirrors. Slanted matrices are snapped to the nearest quarter turn.

use image::RgbImage;

/// First transpose (swap x and y), then mirror across the shown axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Orientation {
    pub transpose: bool,
    pub flip_x: bool,
    pub flip_y: bool,
}

/// Side of the square blocks that a transposition walks in, so that both pictures stay in cache.
const BLOCK: usize = 32;

impl Orientation {
    /// `Err` carries the nearest quarter turn where the matrix is none itself.
    pub fn from_matrix(matrix: &[i32; 9]) -> Result<Self, Self> {
        let [a, b, _, c, d, ..] = matrix.map(f64::from);
        let (straight, crossed) = (a.abs() + d.abs(), b.abs() + c.abs());
        let near = if crossed > straight {
            Self { transpose: true, flip_x: c < 0.0, flip_y: b < 0.0 }
        } else {
            Self { transpose: false, flip_x: a < 0.0, flip_y: d < 0.0 }
        };
        // 5 degrees: far more than rounding makes, far less than an eye would call level.
        let slanted = straight.min(crossed) > straight.max(crossed) * 5_f64.to_radians().tan();
        if slanted { Err(near) } else { Ok(near) }
    }

    /// Size when shown of a picture stored as `size`.
    pub fn shown(self, (width, height): (u32, u32)) -> (u32, u32) {
        if self.transpose { (height, width) } else { (width, height) }
    }

    /// Turns rows of packed RGB, `stride` bytes apart, into an upright picture.
    pub fn apply(self, stored: &[u8], stride: usize, size: (u32, u32)) -> RgbImage {
        let (width, height) = self.shown(size);
        let mut shown = RgbImage::new(width, height);
        let row = width as usize * 3;
        if self.transpose {
            self.transpose(stored, stride, &mut shown, row);
        } else {
            for (y, to) in shown.chunks_exact_mut(row).enumerate() {
                let line = if self.flip_y { height as usize - 1 - y } else { y };
                let from = &stored[line * stride..][..row];
                if self.flip_x { mirror(from, to) } else { to.copy_from_slice(from) }
            }
        }
        shown
    }

    fn transpose(self, stored: &[u8], stride: usize, shown: &mut [u8], row: usize) {
        let (width, height) = (row / 3, shown.len() / row);
        for block_y in (0..height).step_by(BLOCK) {
            for block_x in (0..width).step_by(BLOCK) {
                let right = width.min(block_x + BLOCK);
                let first = if self.flip_x { width - right } else { block_x };
                let lines = &stored[first * stride..][..(right - block_x) * stride];
                for y in block_y..height.min(block_y + BLOCK) {
                    let column = if self.flip_y { height - 1 - y } else { y };
                    let to = &mut shown[y * row..][block_x * 3..right * 3];
                    self.column_to_row(lines, stride, column * 3, to);
                }
            }
        }
    }

    /// The pixels that begin `at` bytes into each line, one below the other, into one row.
    fn column_to_row(self, lines: &[u8], stride: usize, at: usize, row: &mut [u8]) {
        let pixels = lines.chunks_exact(stride).map(|line| &line[at..at + 3]);
        let places = row.as_chunks_mut::<3>().0.iter_mut();
        if self.flip_x {
            places.rev().zip(pixels).for_each(|(to, from)| to.copy_from_slice(from));
        } else {
            places.zip(pixels).for_each(|(to, from)| to.copy_from_slice(from));
        }
    }
}

fn mirror(from: &[u8], to: &mut [u8]) {
    for (pixel, source) in to.chunks_exact_mut(3).zip(from.chunks_exact(3).rev()) {
        pixel.copy_from_slice(source);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: i32 = 1 << 16;

    fn matrix(a: i32, b: i32, c: i32, d: i32) -> [i32; 9] {
        [a, b, 0, c, d, 0, 0, 0, 1 << 30]
    }

    /// Each of the eight against the definition, point by point, on a picture of 2 x 3.
    #[test]
    fn all_eight_turns_and_mirrors_follow_the_iso_definition() {
        let (width, height) = (2_i32, 3_i32);
        let stored: Vec<u8> = (0..18).collect();
        for (a, b, c, d) in [
            (1, 0, 0, 1),
            (-1, 0, 0, 1),
            (1, 0, 0, -1),
            (-1, 0, 0, -1),
            (0, 1, -1, 0),
            (0, -1, 1, 0),
            (0, 1, 1, 0),
            (0, -1, -1, 0),
        ] {
            let turn = Orientation::from_matrix(&matrix(a * ONE, b * ONE, c * ONE, d * ONE))
                .unwrap_or_else(|_| panic!("a quarter turn"));
            let shown = turn.apply(&stored, 6, (2, 3));
            let corner = |p: i32, q: i32| (a * p + c * q, b * p + d * q);
            // The frame's corner nearest the origin after the turn.
            let all = [
                corner(0, 0),
                corner(width - 1, 0),
                corner(0, height - 1),
                corner(width - 1, height - 1),
            ];
            let left = all.iter().map(|c| c.0).min().unwrap();
            let top = all.iter().map(|c| c.1).min().unwrap();
            for q in 0..height {
                for p in 0..width {
                    let (x, y) = corner(p, q);
                    let got = shown.get_pixel((x - left) as u32, (y - top) as u32).0[0];
                    assert_eq!(i32::from(got), 3 * (q * width + p), "{turn:?} at {p},{q}");
                }
            }
        }
    }

    #[test]
    fn a_slant_is_noticed_and_snapped() {
        let slant = |degrees: f64| {
            let (s, c) = degrees.to_radians().sin_cos();
            let fixed = |x: f64| (x * 65536.0).round() as i32;
            Orientation::from_matrix(&matrix(fixed(c), fixed(s), fixed(-s), fixed(c)))
        };
        assert_eq!(slant(80.0), Err(Orientation { transpose: true, flip_x: true, flip_y: false }));
        assert_eq!(slant(89.9), Ok(Orientation { transpose: true, flip_x: true, flip_y: false }));
    }
}
