//! Upright rectangles in a picture, pixels.

use crate::frames::Pixel;

/// Left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Area {
    #[must_use]
    pub fn new(left: f64, top: f64, right: f64, bottom: f64) -> Self {
        Self { left, top, right, bottom }
    }

    /// `half` is half the width and half the height.
    #[must_use]
    pub fn around(centre: Pixel, half: Pixel) -> Self {
        Self::new(centre.x - half.x, centre.y - half.y, centre.x + half.x, centre.y + half.y)
    }

    #[must_use]
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    #[must_use]
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    #[must_use]
    pub fn centre(&self) -> Pixel {
        Pixel::new(f64::midpoint(self.left, self.right), f64::midpoint(self.top, self.bottom))
    }

    #[must_use]
    pub fn grown(&self, by: f64) -> Self {
        Self::new(self.left - by, self.top - by, self.right + by, self.bottom + by)
    }

    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    #[must_use]
    pub fn contains(&self, p: Pixel) -> bool {
        (self.left..=self.right).contains(&p.x) && (self.top..=self.bottom).contains(&p.y)
    }

    /// All of `other` lies inside.
    #[must_use]
    pub fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right <= self.right
            && other.bottom <= self.bottom
    }

    /// Distance of a point from the nearest edge; 0 inside.
    #[must_use]
    pub fn distance(&self, p: Pixel) -> f64 {
        let x = (self.left - p.x).max(p.x - self.right).max(0.0);
        let y = (self.top - p.y).max(p.y - self.bottom).max(0.0);
        x.hypot(y)
    }

    /// The point of the rectangle nearest to `p`.
    #[must_use]
    pub fn nearest(&self, p: Pixel) -> Pixel {
        Pixel::new(p.x.max(self.left).min(self.right), p.y.max(self.top).min(self.bottom))
    }
}
