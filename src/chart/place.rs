//! Where labels stand. In: where they would like to stand, what is taken. Out: places without
//! overlap.

use super::drawing::{Bounds, Point};
use crate::signal::real;

/// Moves places on a line apart: at least `gap` between neighbours, all inside `low..=high`, each
/// as near to where it belongs as the others let it (least squares, by pooling neighbours; Barlow
/// and others, Statistical Inference under Order Restrictions, 1972). `wanted` ascends.
#[must_use]
pub fn spread(wanted: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    // With the gaps taken out, places only have to ascend.
    let mut offset = 0.0;
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for place in wanted {
        pools.push((place - offset, 1));
        offset += gap;
        while let [.., (before, n), (last, m)] = pools.as_slice()
            && before > last
        {
            let (n, m) = (*n, *m);
            let mean = (before * real(n) + last * real(m)) / real(n + m);
            pools.truncate(pools.len() - 2);
            pools.push((mean, n + m));
        }
    }
    let highest = (high - (offset - gap).max(0.0)).max(low);
    let mut places = Vec::with_capacity(wanted.len());
    for (mean, n) in pools {
        for _ in 0..n {
            places.push(mean.clamp(low, highest) + gap * real(places.len()));
        }
    }
    places
}

/// Directions tried around a point, and how far the farthest place is, in steps.
const DIRECTIONS: [(f64, f64); 8] = [
    (1.0, 0.0),
    (-1.0, 0.0),
    (0.0, -1.0),
    (0.0, 1.0),
    (1.0, -1.0),
    (1.0, 1.0),
    (-1.0, -1.0),
    (-1.0, 1.0),
];
const FARTHEST: u32 = 14;

/// The nearest free place for a box of this size around `anchor`, `step` apart; nothing when all
/// are taken.
#[must_use]
pub fn beside(
    anchor: Point,
    size: Point,
    step: f64,
    inside: &Bounds,
    taken: &[Bounds],
) -> Option<Bounds> {
    for distance in 1..=FARTHEST {
        let away = step * f64::from(distance);
        for (x, y) in DIRECTIONS {
            let centre = Point::new(
                anchor.x + x * (away + size.x / 2.0),
                anchor.y + y * (away + size.y / 2.0),
            );
            let place = Bounds::around(centre, Point::new(size.x / 2.0, size.y / 2.0));
            if inside.holds(&place) && !taken.iter().any(|other| other.overlaps(&place)) {
                return Some(place);
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_room_stays_where_it_belongs() {
        assert_eq!(spread(&[10.0, 50.0, 90.0], 20.0, 0.0, 100.0), [10.0, 50.0, 90.0]);
        assert!(spread(&[], 20.0, 0.0, 100.0).is_empty());
    }

    #[test]
    fn a_crowd_is_spread_evenly_around_its_middle() {
        assert_eq!(spread(&[50.0, 50.0, 50.0], 20.0, 0.0, 100.0), [30.0, 50.0, 70.0]);
        assert_eq!(spread(&[98.0, 99.0], 20.0, 0.0, 100.0), [80.0, 100.0]);
        assert_eq!(spread(&[1.0, 2.0, 60.0], 20.0, 0.0, 100.0), [0.0, 20.0, 60.0]);
    }

    #[test]
    fn the_gap_is_kept_whatever_comes() {
        for seed in 0..200_u32 {
            let mut wanted: Vec<f64> =
                (0..7).map(|i| f64::from((seed * 7919 + i * 104_729) % 500)).collect();
            wanted.sort_by(f64::total_cmp);
            let places = spread(&wanted, 30.0, 0.0, 500.0);
            assert!(places.windows(2).all(|pair| pair[1] - pair[0] >= 30.0 - 1e-9), "{places:?}");
            assert!(places.iter().all(|place| (0.0..=500.0 + 1e-9).contains(place)));
        }
    }

    #[test]
    fn a_label_avoids_what_is_taken_and_gives_up_when_all_is() {
        let inside = Bounds::new(0.0, 0.0, 200.0, 200.0);
        let (anchor, size) = (Point::new(100.0, 100.0), Point::new(40.0, 12.0));
        let free = beside(anchor, size, 6.0, &inside, &[]).unwrap();
        assert!(free.left > anchor.x);
        let taken = [Bounds::new(100.0, 0.0, 200.0, 200.0)];
        let other = beside(anchor, size, 6.0, &inside, &taken).unwrap();
        assert!(other.right <= 100.0 && !other.overlaps(&taken[0]));
        assert_eq!(beside(anchor, size, 6.0, &inside, &[inside]), None);
    }
}
