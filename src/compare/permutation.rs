//! Exact permutation test of two sets. In: the values of both. Out: the share of all ways to
//! deal the labels that differ at least as much, two-sided.
//!
//! Method: Fisher 1935 (Pitman 1937), difference of means, every split counted. It knows scatter only, not
//! what both sets have in common or what a moved camera adds; so it is a check beside the
//! interval, not the verdict.

/// More splits than this are not counted (10 and 10 swings have 184,756).
const MOST_SPLITS: f64 = 200_000.0;

/// The exact p-value and the smallest one that so few swings can give.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Permutation {
    pub p: f64,
    pub smallest_p: f64,
}

/// None with fewer than two values on either side, or with too many splits to count.
#[must_use]
pub fn test(before: &[f64], after: &[f64]) -> Option<Permutation> {
    let (n, all) = (before.len(), before.len() + after.len());
    let ways = splits(all, n);
    if n < 2 || after.len() < 2 || ways > MOST_SPLITS {
        return None;
    }
    let values: Vec<f64> = before.iter().chain(after).copied().collect();
    let whole: f64 = values.iter().sum();
    // With the grand total fixed, the difference of means grows with |sum of one side - its share|.
    let share = whole * part(n, all);
    let observed = (before.iter().sum::<f64>() - share).abs();
    let slack = 1e-9 * values.iter().map(|v| v.abs()).sum::<f64>().max(f64::MIN_POSITIVE);
    let count = Count { values: &values, share, at_least: observed - slack };
    let extreme = count.extreme(0, n, 0.0);
    let mirrored = if n == after.len() { 2.0 } else { 1.0 };
    Some(Permutation { p: extreme / ways, smallest_p: mirrored / ways })
}

struct Count<'a> {
    values: &'a [f64],
    share: f64,
    at_least: f64,
}

impl Count<'_> {
    /// Splits from here on, `left` values still to choose, whose sum is far enough out.
    fn extreme(&self, from: usize, left: usize, sum: f64) -> f64 {
        if left == 0 {
            return f64::from(u8::from((sum - self.share).abs() >= self.at_least));
        }
        (from..=self.values.len() - left)
            .map(|i| self.extreme(i + 1, left - 1, sum + self.values[i]))
            .sum()
    }
}

/// The number of ways to choose `n` of `all`.
fn splits(all: usize, n: usize) -> f64 {
    (0..n).map(|i| part(all - i, i + 1)).product::<f64>().round()
}

#[expect(clippy::cast_precision_loss, reason = "numbers of swings stay far below 2^53")]
fn part(of: usize, whole: usize) -> f64 {
    of as f64 / whole as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_p_values_are_those_of_the_facts() {
        // FACTS G7.
        for (n, want) in [(3_u8, 0.100), (4, 0.0286), (5, 0.0079), (6, 0.0022)] {
            let before: Vec<f64> = (0..n).map(f64::from).collect();
            let after: Vec<f64> = before.iter().map(|v| v + 100.0).collect();
            let got = test(&before, &after).unwrap();
            assert!((got.p - want).abs() < 6e-5, "{n}: {got:?}");
            assert_eq!(got.p, got.smallest_p);
        }
    }

    #[test]
    fn the_p_value_is_that_of_scipy() {
        // scipy 1.17.1 stats.permutation_test, size of the difference of means, "greater",
        // all 35 splits: 5/35.
        let got = test(&[1.0, 2.5, 3.0], &[2.0, 4.1, 5.0, 6.2]).unwrap();
        assert!((got.p - 5.0 / 35.0).abs() < 1e-12, "{got:?}");
    }

    #[test]
    fn equal_sets_and_too_few_swings() {
        assert_eq!(test(&[1.0, 1.0], &[1.0, 1.0]).map(|t| t.p), Some(1.0));
        assert_eq!(test(&[1.0], &[2.0, 3.0]), None);
        assert_eq!(test(&[0.0; 30], &[1.0; 30]), None);
    }
}
