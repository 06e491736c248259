//! Reads a rotated square of a picture. In: RGB picture, square in pixel indices. Out: the
//! network's input, `[3, n, n] f32`, planes R, G, B, rows downwards.
//!
//! Method: bilinear; crop position i reads place i/n of the square, measured on pixel
//! indices without a half-pixel offset, as MediaPipe's CPU path does (POSE.md section 3.4).
//! [`Sampling::Point`] skips pixels where the square is much reduced, as the networks have
//! learnt it; [`Sampling::Mean`] takes four places about each, so that the codec's noise counts
//! less: a clip made small and poor turned the body by 6.8 degrees without it, by 3.3 with it.

use image::RgbImage;

use super::Roi;
use crate::frames::Handed;

/// What lies outside the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Border {
    /// The nearest pixel of the picture (landmark network).
    Replicated,
    /// Black (detector).
    Black,
}

/// Which way round the square is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Facing {
    AsSeen,
    /// A left-hander as a right-hander: what the mirrored picture would show in the mirrored
    /// square: crop position i reads place (n - i)/n.
    Mirrored,
}

impl From<Handed> for Facing {
    fn from(handed: Handed) -> Self {
        match handed {
            Handed::Right => Self::AsSeen,
            Handed::Left => Self::Mirrored,
        }
    }
}

/// How many places of the picture make a pixel of the crop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampling {
    Point,
    /// The mean of four, where pixels would be skipped otherwise.
    Mean,
}

/// Where a crop pixel is read, as shares of its own size from its place.
const HERE: &[(f64, f64)] = &[(0.0, 0.0)];
const AROUND: &[(f64, f64)] = &[(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)];

/// A crop pixel as large as so many of the picture's skips some of them.
const SKIPS: f64 = 1.5;

/// From 0..255 to the range of a network: `value * scale + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Range {
    pub scale: f32,
    pub offset: f32,
}

/// How a square is to be read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Reading {
    /// Pixels along a side of the crop.
    pub n: u16,
    pub border: Border,
    pub range: Range,
    pub facing: Facing,
    pub sampling: Sampling,
}

/// The square at `n` x `n`.
pub(super) fn read(image: &RgbImage, roi: &Roi, reading: Reading) -> Vec<f32> {
    let Reading { n, border, range, facing, sampling } = reading;
    let source = Source::new(image, border);
    let side = usize::from(n);
    let mut planes = vec![0.0; 3 * side * side];
    let (places, share) = match sampling {
        Sampling::Mean if roi.side > SKIPS * f64::from(n) => (AROUND, 0.25),
        Sampling::Mean | Sampling::Point => (HERE, 1.0),
    };
    for (across, down) in places {
        let moved = Roi {
            centre: roi.place(0.5 + across / f64::from(n), 0.5 + down / f64::from(n)),
            ..*roi
        };
        add(&mut planes, side, &source, &Grid::new(&moved, n, facing));
    }
    planes.iter_mut().for_each(|v| *v = *v * (share * range.scale) + range.offset);
    planes
}

fn add(planes: &mut [f32], side: usize, source: &Source, grid: &Grid) {
    let (red, rest) = planes.split_at_mut(side * side);
    let (green, blue) = rest.split_at_mut(side * side);
    let rows = red.chunks_mut(side).zip(green.chunks_mut(side)).zip(blue.chunks_mut(side));
    for (((red, green), blue), start) in rows.zip(&grid.rows) {
        let pixels = red.iter_mut().zip(green).zip(blue);
        for (((red, green), blue), step) in pixels.zip(&grid.columns) {
            let [r, g, b] = source.sample(start.0 + step.0, start.1 + step.1);
            *red += r;
            *green += g;
            *blue += b;
        }
    }
}

/// Sample positions: row start + column step, pixel indices.
struct Grid {
    rows: Vec<(f32, f32)>,
    columns: Vec<(f32, f32)>,
}

impl Grid {
    #[expect(clippy::cast_possible_truncation, reason = "f32 places a sample to 1/1000 pixel")]
    fn new(roi: &Roi, n: u16, facing: Facing) -> Self {
        let (s, c) = roi.rotation.sin_cos();
        let along = |i: u16| (f64::from(i) / f64::from(n) - 0.5) * roi.side;
        let row = |v: f64| ((roi.centre.x - s * v) as f32, (roi.centre.y + c * v) as f32);
        Self {
            rows: (0..n).map(|i| row(along(i))).collect(),
            columns: (0..n)
                .map(|i| if facing == Facing::Mirrored { n - i } else { i })
                .map(|i| ((c * along(i)) as f32, (s * along(i)) as f32))
                .collect(),
        }
    }
}

/// The picture with its border rule.
struct Source<'a> {
    bytes: &'a [u8],
    /// Bytes in a row.
    row: usize,
    width: i32,
    height: i32,
    border: Border,
}

impl<'a> Source<'a> {
    fn new(image: &'a RgbImage, border: Border) -> Self {
        let side = |n: u32| i32::try_from(n).unwrap_or(i32::MAX);
        let (width, height) = (side(image.width()), side(image.height()));
        let row = image.sample_layout().height_stride;
        Self { bytes: image.as_raw(), row, width, height, border }
    }

    /// Bilinear between four pixels; `x`, `y` on pixel indices, within +-2^23.
    #[inline]
    fn sample(&self, x: f32, y: f32) -> [f32; 3] {
        let ((left, fx), (top, fy)) = (split(x), split(y));
        let [a, b, c, d] = self.square(left, top);
        let mix = |i: usize| {
            let upper = a[i] + (b[i] - a[i]) * fx;
            let lower = c[i] + (d[i] - c[i]) * fx;
            upper + (lower - upper) * fy
        };
        [mix(0), mix(1), mix(2)]
    }

    /// The pixel at `left`, `top`, its right, lower and lower right neighbours.
    #[inline]
    fn square(&self, left: i32, top: i32) -> [[f32; 3]; 4] {
        let inside = left >= 0 && top >= 0 && left < self.width - 1 && top < self.height - 1;
        if inside && let Some(square) = self.inner(left, top) {
            return square;
        }
        let at = |dx, dy| self.outer(left + dx, top + dy);
        [at(0, 0), at(1, 0), at(0, 1), at(1, 1)]
    }

    /// The same without border checks, for a square known to be inside.
    #[inline]
    fn inner(&self, left: i32, top: i32) -> Option<[[f32; 3]; 4]> {
        let (left, top) = (usize::try_from(left).ok()?, usize::try_from(top).ok()?);
        let start = top * self.row + 3 * left;
        let upper: &[u8; 6] = self.bytes.get(start..)?.first_chunk()?;
        let lower: &[u8; 6] = self.bytes.get(start + self.row..)?.first_chunk()?;
        let rgb =
            |p: &[u8; 6], i: usize| [f32::from(p[i]), f32::from(p[i + 1]), f32::from(p[i + 2])];
        Some([rgb(upper, 0), rgb(upper, 3), rgb(lower, 0), rgb(lower, 3)])
    }

    fn outer(&self, x: i32, y: i32) -> [f32; 3] {
        let (cx, cy) = (x.clamp(0, self.width - 1), y.clamp(0, self.height - 1));
        if self.border == Border::Black && (cx, cy) != (x, y) {
            return [0.0; 3];
        }
        let index = |n: i32| usize::try_from(n).unwrap_or(0);
        let start = 3 * (index(cy) * index(self.width) + index(cx));
        self.bytes
            .get(start..start + 3)
            .map_or([0.0; 3], |p| [f32::from(p[0]), f32::from(p[1]), f32::from(p[2])])
    }
}

/// Whole part, downwards, and the rest. `f32::floor` is a slow call on plain x86-64.
#[inline]
#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "within +-2^23")]
fn split(position: f32) -> (i32, f32) {
    let towards_zero = position as i32;
    let whole = towards_zero - i32::from(position < towards_zero as f32);
    (whole, position - whole as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Pixel;

    fn raw(n: u16, border: Border) -> Reading {
        let range = Range { scale: 1.0, offset: 0.0 };
        Reading { n, border, range, facing: Facing::AsSeen, sampling: Sampling::Point }
    }

    /// Red = 10 x, green = 10 y, blue constant.
    fn ramp() -> RgbImage {
        RgbImage::from_fn(20, 12, |x, y| {
            let tens = |n: u32| u8::try_from(10 * n).unwrap();
            image::Rgb([tens(x), tens(y), 7])
        })
    }

    #[test]
    fn an_upright_square_reads_pixel_indices() {
        let roi = Roi { centre: Pixel::new(8.0, 6.0), side: 8.0, rotation: 0.0 };
        let crop = read(&ramp(), &roi, raw(8, Border::Replicated));
        assert_eq!(crop[..3], [40.0, 50.0, 60.0]);
        assert_eq!(crop[64..67], [20.0, 20.0, 20.0]);
        assert_eq!(crop[128], 7.0);
    }

    /// Columns of 0 and 200 in turn, three to a crop pixel.
    #[test]
    fn the_mean_skips_no_pixels() {
        let stripes =
            RgbImage::from_fn(64, 64, |x, _| image::Rgb([200 * u8::try_from(x % 2).unwrap(); 3]));
        let roi = Roi { centre: Pixel::new(32.0, 32.0), side: 24.0, rotation: 0.0 };
        let reading = raw(8, Border::Replicated);
        let span = |crop: &[f32]| {
            let (low, high) =
                crop.iter().fold((f32::MAX, 0.0_f32), |(l, h), v| (l.min(*v), h.max(*v)));
            high - low
        };
        assert_eq!(span(&read(&stripes, &roi, reading)), 200.0);
        let mean = Reading { sampling: Sampling::Mean, ..reading };
        assert!(span(&read(&stripes, &roi, mean)) < 110.0);
        let fine = Roi { side: 8.0, ..roi };
        let same = read(&stripes, &fine, Reading { sampling: Sampling::Mean, ..reading });
        assert_eq!(same, read(&stripes, &fine, reading));
    }

    #[test]
    fn a_quarter_turn_reads_down_the_picture() {
        let rotation = std::f64::consts::FRAC_PI_2;
        let roi = Roi { centre: Pixel::new(9.5, 5.5), side: 4.0, rotation };
        let crop = read(&ramp(), &roi, raw(4, Border::Replicated));
        // The first crop row starts at the square's top right corner and runs downwards.
        for (got, want) in crop[..4].iter().zip([115.0; 4]) {
            assert!((got - want).abs() < 1e-3, "{got}");
        }
        for (got, want) in crop[16..20].iter().zip([35.0, 45.0, 55.0, 65.0]) {
            assert!((got - want).abs() < 1e-3, "{got}");
        }
    }

    #[test]
    fn the_border_is_replicated_or_black() {
        let roi = Roi { centre: Pixel::new(-8.0, 6.0), side: 8.0, rotation: 0.0 };
        let kept = read(&ramp(), &roi, raw(8, Border::Replicated));
        assert_eq!(kept[64], 20.0);
        assert!(kept[128..].iter().all(|&v| v == 7.0));
        let black = read(&ramp(), &roi, raw(8, Border::Black));
        assert!(black.iter().all(|&v| v == 0.0));
    }
}
