//! Upright rectangles. In and out: places of one frame, in that frame's unit, y down: pixels of a
//! picture, units of a drawing. What is in one frame cannot be asked about a place in another.

use std::marker::PhantomData;

/// A place in a plane, y down.
pub trait Flat: Copy {
    fn at(x: f64, y: f64) -> Self;
    fn x(self) -> f64;
    fn y(self) -> f64;
}

impl Flat for super::Pixel {
    fn at(x: f64, y: f64) -> Self {
        Self::new(x, y)
    }

    fn x(self) -> f64 {
        self.x
    }

    fn y(self) -> f64 {
        self.y
    }
}

/// An upright rectangle among places `P`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rectangle<P> {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
    places: PhantomData<P>,
}

impl<P> Rectangle<P> {
    #[must_use]
    pub const fn new(left: f64, top: f64, right: f64, bottom: f64) -> Self {
        Self { left, top, right, bottom, places: PhantomData }
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

    /// All of `other` lies inside.
    #[must_use]
    pub fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right <= self.right
            && other.bottom <= self.bottom
    }

    /// The smallest rectangle that holds both.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        let (left, top) = (self.left.min(other.left), self.top.min(other.top));
        Self::new(left, top, self.right.max(other.right), self.bottom.max(other.bottom))
    }
}

impl<P: Flat> Rectangle<P> {
    /// `half` is half the width and half the height.
    #[must_use]
    pub fn around(centre: P, half: P) -> Self {
        let (x, y) = (centre.x(), centre.y());
        Self::new(x - half.x(), y - half.y(), x + half.x(), y + half.y())
    }

    #[must_use]
    pub fn centre(&self) -> P {
        P::at(f64::midpoint(self.left, self.right), f64::midpoint(self.top, self.bottom))
    }

    /// From the upper left one, the way the clock goes.
    #[must_use]
    pub fn corners(&self) -> [P; 4] {
        [
            P::at(self.left, self.top),
            P::at(self.right, self.top),
            P::at(self.right, self.bottom),
            P::at(self.left, self.bottom),
        ]
    }

    #[must_use]
    pub fn moved(&self, by: P) -> Self {
        let (x, y) = (by.x(), by.y());
        Self::new(self.left + x, self.top + y, self.right + x, self.bottom + y)
    }

    #[must_use]
    pub fn contains(&self, p: P) -> bool {
        (self.left..=self.right).contains(&p.x()) && (self.top..=self.bottom).contains(&p.y())
    }

    /// Distance of a point from the nearest edge; 0 inside.
    #[must_use]
    pub fn distance(&self, p: P) -> f64 {
        let x = (self.left - p.x()).max(p.x() - self.right).max(0.0);
        let y = (self.top - p.y()).max(p.y() - self.bottom).max(0.0);
        x.hypot(y)
    }

    /// The point of the rectangle nearest to `p`.
    #[must_use]
    pub fn nearest(&self, p: P) -> P {
        let x = p.x().max(self.left).min(self.right);
        P::at(x, p.y().max(self.top).min(self.bottom))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Pixel;

    #[test]
    fn near_inside_and_overlap_agree() {
        let one = Rectangle::<Pixel>::new(0.0, 0.0, 10.0, 20.0);
        assert_eq!(one, Rectangle::around(Pixel::new(5.0, 10.0), Pixel::new(5.0, 10.0)));
        let outside = Pixel::new(13.0, 24.0);
        assert!(!one.contains(outside) && one.contains(one.nearest(outside)));
        assert_eq!(one.distance(outside), 5.0);
        assert_eq!(one.distance(one.centre()), 0.0);
        let other = one.moved(Pixel::new(10.0, 0.0));
        // Edges that touch do not overlap.
        assert!(!one.overlaps(&other) && one.overlaps(&other.grown(0.1)));
        let both = one.union(&other);
        assert!(both.holds(&one) && both.holds(&other) && !one.holds(&both));
        assert!(both.corners().into_iter().all(|corner| both.contains(corner)));
    }
}
