//! Patches that changed between two pictures and were still before and after. In: four pictures
//! in time order, steadied. Out: connected patches of a ball's size, as pixels with weights.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

/// Least change, grey levels: video noise is 1 to 2, what an encoder adds about 5.
const LEAST: i16 = 12;
/// What is still changes by less than this share of that.
const STILL: f64 = 0.3;
/// Area over that of a ball as far away as the golfer: one before the golfer, nearer, is up to
/// three times as large, and its shadow goes with it; half of one may be hidden.
const AREA: (f64, f64) = (0.4, 6.0);
/// Least share of its upright box that a round patch fills (a circle: 0.79).
const FILLED: f64 = 0.45;
/// One side of the box over the other at most.
const LONGER: f64 = 2.5;
/// What lies around a ball, so far to all sides, changes by less than this share of what the ball
/// does: on 60 rendered clips (`render_bodies/clips.py`, seeds 1 to 5) 46 balls lay below 0.1, edges
/// of the body, of the club and of shadows above 0.17.
const AROUND_PX: usize = 3;
const ALONE: f64 = 0.15;
/// More than this share of the picture changing at once is light, not a ball.
const MOST: f64 = 0.05;

/// Pixels that changed together.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    /// Positions in the buffer, with the size of the change.
    pub pixels: Vec<(usize, f64)>,
    pub centre: (f64, f64),
}

impl Patch {
    /// Mean grey of the patch in a picture.
    pub fn grey(&self, picture: &GrayImage) -> f64 {
        let raw = picture.as_raw();
        let sum: f64 = self.pixels.iter().map(|(i, w)| w * f64::from(raw[*i])).sum();
        sum / self.pixels.iter().map(|p| p.1).sum::<f64>()
    }
}

/// `around`: a picture before, the last before the change, the first after, one after.
pub(super) fn changed(around: [&GrayImage; 4], radius: f64) -> Vec<Patch> {
    let [before, last, first, after] = around.map(|g| g.as_raw().as_slice());
    let (width, height) = around[1].dimensions();
    let mut mask = GrayImage::new(width, height);
    let mut hot = 0usize;
    for (i, m) in mask.iter_mut().enumerate() {
        let change = i16::from(first[i]) - i16::from(last[i]);
        if change.abs() < LEAST {
            continue;
        }
        let allowed = STILL * f64::from(change.abs());
        let still = |a: u8, b: u8| f64::from(a.abs_diff(b)) <= allowed;
        if still(before[i], last[i]) && still(first[i], after[i]) {
            *m = if change < 0 { 1 } else { 2 };
            hot += 1;
        }
    }
    if hot == 0 || crate::signal::real(hot) > MOST * crate::signal::real(last.len()) {
        return Vec::new();
    }
    let labels = connected_components(&mask, Connectivity::Eight, Luma([0]));
    let change = |i: usize| f64::from(first[i].abs_diff(last[i]));
    gather(labels.as_raw(), change)
        .into_iter()
        .filter(|pixels| is_round(pixels, width, std::f64::consts::PI * radius * radius))
        .filter(|pixels| is_alone(pixels, width, before, after))
        .map(|pixels| Patch { centre: centre(&pixels, width), pixels })
        .collect()
}

/// The pixels of each label.
fn gather(labels: &[u32], change: impl Fn(usize) -> f64) -> Vec<Vec<(usize, f64)>> {
    let mut patches: Vec<Vec<(usize, f64)>> = Vec::new();
    for (i, label) in labels.iter().enumerate().filter(|(_, label)| **label > 0) {
        let place = usize::try_from(*label).unwrap_or(usize::MAX) - 1;
        if patches.len() <= place {
            patches.resize(place + 1, Vec::new());
        }
        patches[place].push((i, change(i)));
    }
    patches
}

fn is_round(pixels: &[(usize, f64)], width: u32, ball: f64) -> bool {
    let area = crate::signal::real(pixels.len());
    if !(AREA.0 * ball..=AREA.1 * ball).contains(&area) || pixels.len() < 4 {
        return false;
    }
    let sides = span(pixels, width).map(|(low, high)| crate::signal::real(high - low + 1));
    area >= FILLED * sides[0] * sides[1]
        && sides[0] <= LONGER * sides[1]
        && sides[1] <= LONGER * sides[0]
}

/// First and last column and row.
fn span(pixels: &[(usize, f64)], width: u32) -> [(usize, usize); 2] {
    [0, 1].map(|axis| {
        let along = pixels.iter().map(|(i, _)| place(*i, width)[axis]);
        along.fold((usize::MAX, 0), |(l, h), v| (l.min(v), h.max(v)))
    })
}

/// Whether what lies around it is the same before and after.
fn is_alone(pixels: &[(usize, f64)], width: u32, before: &[u8], after: &[u8]) -> bool {
    let row = usize::try_from(width).unwrap_or(usize::MAX).max(1);
    let [(left, right), (top, bottom)] = span(pixels, width);
    let (mut sum, mut count) = (0.0, 0usize);
    for y in top.saturating_sub(AROUND_PX)..=(bottom + AROUND_PX).min(before.len() / row - 1) {
        for x in left.saturating_sub(AROUND_PX)..=(right + AROUND_PX).min(row - 1) {
            let i = y * row + x;
            // Found in raster order.
            if pixels.binary_search_by_key(&i, |p| p.0).is_err() {
                sum += f64::from(before[i].abs_diff(after[i]));
                count += 1;
            }
        }
    }
    let change = pixels.iter().map(|p| p.1).sum::<f64>() / crate::signal::real(pixels.len());
    sum <= ALONE * change * crate::signal::real(count)
}

fn place(i: usize, width: u32) -> [usize; 2] {
    let width = usize::try_from(width).unwrap_or(usize::MAX).max(1);
    [i % width, i / width]
}

fn centre(pixels: &[(usize, f64)], width: u32) -> (f64, f64) {
    let weight: f64 = pixels.iter().map(|p| p.1).sum();
    let mean = |axis: usize| {
        let sum: f64 =
            pixels.iter().map(|(i, w)| w * crate::signal::real(place(*i, width)[axis])).sum();
        sum / weight
    };
    (mean(0), mean(1))
}
