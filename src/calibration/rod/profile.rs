//! Whether a line is a rod as a picture shows one. In: the line's piece, the band at address and
//! at the top of the swing. Out: its contrast, or what speaks against it.
//!
//! A mat's edge differs on its two sides; a border joins others at its ends; a seam or a painted
//! line goes on; tiles and planks have neighbours; a shadow or a gap is darker; the club and its
//! shadow are gone at the top.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "counts of pixels along a line, not negative"
)]

use std::f64::consts::TAU;

use super::crest::{LEAST_CONTRAST, Line, Span};
use super::field::{Colour, Field, dot, mean, middle, minus, norm};

/// Why a line is no rod.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    Faint,
    Dark,
    Edge,
    Patchy,
    Moved,
    Width,
    CutOff,
    Endless,
    Joined,
    OneOfMany,
}

pub struct Profile<'a> {
    pub field: &'a Field,
    pub line: &'a Line,
    pub span: &'a Span,
    /// A rod's width here, pixels.
    pub width_px: f64,
}

/// What a rod adds to the ground.
struct Look {
    unit: Colour,
    size: f64,
}

impl Profile<'_> {
    /// # Errors
    /// With what speaks against a rod.
    pub fn judge(&self, later: &Field) -> Result<f64, Against> {
        let look = self.look()?;
        let share = |field: &Field| self.share(field, &look);
        let wide = self.wide(&look);
        let refused = [
            (share(self.field) < 0.75, Against::Patchy),
            (share(later) < 0.7, Against::Moved),
            (!(0.5..2.6).contains(&wide), Against::Width),
            (self.goes_on(&look)?, Against::Endless),
            (self.is_joined(&look), Against::Joined),
            (self.has_neighbours(&look), Against::OneOfMany),
        ];
        match refused.into_iter().find(|(against, _)| *against) {
            Some((_, why)) => Err(why),
            None => Ok(look.size),
        }
    }

    fn places(&self) -> Vec<f64> {
        let n = self.span.length().max(1.0) as usize;
        let step = self.span.length() / n as f64;
        (0..n).map(|i| self.span.from + (i as f64 + 0.5) * step).collect()
    }

    fn colour(&self, field: &Field, along: f64, across: f64) -> Colour {
        field.at(self.line.point(along, across))
    }

    /// The ground on both sides.
    fn sides(&self, field: &Field, along: f64, across: f64) -> [Colour; 2] {
        let aside = 1.5 * self.width_px + 1.5;
        [-1.0, 1.0].map(|way| {
            let at = |more: f64| self.colour(field, along, across + way * (aside + more));
            middle(at(0.0), at(1.0))
        })
    }

    fn step(&self, field: &Field, along: f64, across: f64) -> Colour {
        let [left, right] = self.sides(field, along, across);
        minus(self.colour(field, along, across), middle(left, right))
    }

    fn strength(&self, field: &Field, look: &Look, along: f64, across: f64) -> f64 {
        dot(self.step(field, along, across), look.unit) / look.size
    }

    fn look(&self) -> Result<Look, Against> {
        let places = self.places();
        let steps: Vec<Colour> = places.iter().map(|u| self.step(self.field, *u, 0.0)).collect();
        let step = mean(&steps);
        let size = norm(step);
        if size < LEAST_CONTRAST {
            return Err(Against::Faint);
        }
        let largest = step.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        if step.iter().all(|v| *v < 0.5 * largest) {
            return Err(Against::Dark);
        }
        let sides: Vec<[Colour; 2]> =
            places.iter().map(|u| self.sides(self.field, *u, 0.0)).collect();
        let uneven: Vec<Colour> = sides.iter().map(|[l, r]| minus(*l, *r)).collect();
        if norm(mean(&uneven)) > 0.15 * size + 4.0 {
            return Err(Against::Edge);
        }
        Ok(Look { unit: step.map(|v| v / size), size })
    }

    /// Of the places along it, those that look like it.
    fn share(&self, field: &Field, look: &Look) -> f64 {
        let places = self.places();
        let alike = places.iter().filter(|u| self.strength(field, look, **u, 0.0) > 0.5).count();
        alike as f64 / places.len() as f64
    }

    /// Width at half contrast over that of a rod.
    fn wide(&self, look: &Look) -> f64 {
        let places: Vec<f64> = self.places().into_iter().step_by(3).collect();
        let above = (-40..=40).filter(|i| {
            let across = f64::from(*i) * 0.1 * self.width_px;
            let sum: f64 = places
                .iter()
                .map(|u| {
                    let [left, right] = self.sides(self.field, *u, 0.0);
                    let step = minus(self.colour(self.field, *u, across), middle(left, right));
                    dot(step, look.unit) / look.size
                })
                .sum();
            sum / places.len() as f64 > 0.5
        });
        above.count() as f64 * 0.1
    }

    /// Both ends with their way outward.
    fn ends(&self) -> [(f64, f64); 2] {
        [(self.span.from, -1.0), (self.span.to, 1.0)]
    }

    fn goes_on(&self, look: &Look) -> Result<bool, Against> {
        let (near, far) = (3.0 + 0.02 * self.span.length(), 0.25 * self.span.length());
        for (end, way) in self.ends() {
            if !self.field.holds(self.line.point(end + way * 0.08 * self.span.length(), 0.0)) {
                return Err(Against::CutOff);
            }
            let beyond: Vec<f64> = (0..far as usize)
                .map(|i| end + way * (near + i as f64))
                .take_while(|u| self.field.holds(self.line.point(*u, 0.0)))
                .map(|u| self.strength(self.field, look, u, 0.0).clamp(-0.5, 1.0))
                .collect();
            if beyond.len() < 3 || beyond.iter().sum::<f64>() > 0.25 * beyond.len() as f64 {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Something of its colour leaves one of its ends to a side.
    fn is_joined(&self, look: &Look) -> bool {
        self.ends().into_iter().any(|(end, way)| {
            [3.0, 4.5, 6.0].into_iter().any(|radius| {
                let about = (0..32).filter_map(|i| {
                    let (sin, cos) = ((f64::from(i) + 0.5) / 32.0 * TAU).sin_cos();
                    let r = radius * self.width_px;
                    let seen = self.colour(self.field, end + way * (1.0 + r * cos), r * sin);
                    (cos > -0.85).then(|| dot(seen, look.unit) / look.size)
                });
                let mut ring: Vec<f64> = about.collect();
                ring.sort_by(f64::total_cmp);
                let middle = ring[ring.len() / 2];
                ring.iter().filter(|v| **v - middle > 0.5).count() > 1
            })
        })
    }

    fn has_neighbours(&self, look: &Look) -> bool {
        let places: Vec<f64> = self.places().into_iter().step_by(2).collect();
        (4..=14).flat_map(|i| [f64::from(i), -f64::from(i)]).any(|i| {
            let across = i * self.width_px;
            let sum: f64 = places.iter().map(|u| self.strength(self.field, look, *u, across)).sum();
            sum > 0.4 * places.len() as f64
        })
    }
}
