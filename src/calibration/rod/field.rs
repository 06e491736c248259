//! Colours between pixels. In: pictures of one size. Out: their median, smoothed or read
//! anywhere. Colours 0 to 255; (0.5, 0.5) is the first pixel's centre, rows count from the band's.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    clippy::cast_precision_loss,
    reason = "sides of pictures are far below 2^24, and places are clamped to them"
)]

use image::RgbImage;

pub type Colour = [f64; 3];

/// The rows of a picture from some row down.
pub struct Field {
    pub width: usize,
    pub height: usize,
    pub pixels: Vec<[f32; 3]>,
}

impl Field {
    /// The middle one of every pixel's colours over pictures of one size, from the row `top` down.
    pub fn median(pictures: &[RgbImage], top: u32) -> Option<Self> {
        let (width, whole) = pictures.first()?.dimensions();
        if top >= whole || pictures.iter().any(|p| p.dimensions() != (width, whole)) {
            return None;
        }
        let mut pixels = Vec::with_capacity(width as usize * (whole - top) as usize);
        let mut seen = vec![0; pictures.len()];
        for y in top..whole {
            for x in 0..width {
                pixels.push([0, 1, 2].map(|c| {
                    seen.iter_mut().zip(pictures).for_each(|(s, p)| *s = p.get_pixel(x, y).0[c]);
                    seen.sort_unstable();
                    f32::from(seen[seen.len() / 2])
                }));
            }
        }
        Some(Self { width: width as usize, height: (whole - top) as usize, pixels })
    }

    /// The pixel at a column and row, the nearest one outside.
    pub fn pixel(&self, x: isize, y: isize) -> [f32; 3] {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        self.pixels[y * self.width + x]
    }

    /// Bilinear between pixel centres.
    pub fn at(&self, [x, y]: [f64; 2]) -> Colour {
        let (x, y) = (x - 0.5, y - 0.5);
        let (i, j) = (x.floor(), y.floor());
        let (u, v) = (x - i, y - j);
        let (i, j) = (i as isize, j as isize);
        let corners = [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(di, dj)| self.pixel(i + di, j + dj));
        [0, 1, 2].map(|c| {
            let [a, b, d, e] = corners.map(|p| f64::from(p[c]));
            (a * (1.0 - u) + b * u) * (1.0 - v) + (d * (1.0 - u) + e * u) * v
        })
    }

    /// Whether a place and what is about it was seen.
    pub fn holds(&self, [x, y]: [f64; 2]) -> bool {
        const MARGIN: f64 = 4.0;
        let inside = |v: f64, side: usize| v > MARGIN && v < side as f64 - MARGIN;
        inside(x, self.width) && inside(y, self.height)
    }

    pub fn diagonal(&self) -> f64 {
        (self.width as f64).hypot(self.height as f64)
    }

    /// Smoothed by a Gaussian of this sd, pixels.
    pub fn smoothed(&self, sigma: f64) -> Self {
        let reach = (3.0 * sigma).ceil() as isize;
        let bell = |i: isize| (-0.5 * (i as f64 / sigma).powi(2)).exp() as f32;
        let sum: f32 = (-reach..=reach).map(bell).sum();
        let kernel: Vec<(isize, f32)> = (-reach..=reach).map(|i| (i, bell(i) / sum)).collect();
        self.passed(&kernel, [1, 0]).passed(&kernel, [0, 1])
    }

    fn passed(&self, kernel: &[(isize, f32)], [dx, dy]: [isize; 2]) -> Self {
        let mut pixels = Vec::with_capacity(self.pixels.len());
        for y in 0..self.height as isize {
            for x in 0..self.width as isize {
                let mut sum = [0.0; 3];
                for (step, weight) in kernel {
                    let p = self.pixel(x + step * dx, y + step * dy);
                    sum.iter_mut().zip(p).for_each(|(s, v)| *s += weight * v);
                }
                pixels.push(sum);
            }
        }
        Self { pixels, ..*self }
    }
}

pub fn middle(a: Colour, b: Colour) -> Colour {
    [0, 1, 2].map(|c| f64::midpoint(a[c], b[c]))
}

pub fn minus(a: Colour, b: Colour) -> Colour {
    [0, 1, 2].map(|c| a[c] - b[c])
}

pub fn dot(a: Colour, b: Colour) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub fn norm(a: Colour) -> f64 {
    dot(a, a).sqrt()
}

pub fn mean(colours: &[Colour]) -> Colour {
    [0, 1, 2].map(|c| colours.iter().map(|v| v[c]).sum::<f64>() / colours.len().max(1) as f64)
}
