//! Many questions at once. In: p-values. Out: p-values adjusted so that calling every one below
//! 0.05 keeps the chance of even one false call at 5 %, however the measures hang together.
//!
//! Method: Holm 1979, Scand J Statist 6:65-70.

use crate::signal::real;

/// In the order given.
#[must_use]
pub fn adjust(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut reached = 0.0_f64;
    for (rank, &index) in order.iter().enumerate() {
        reached = reached.max((real(p.len() - rank) * p[index]).min(1.0));
        adjusted[index] = reached;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn adjusted_as_by_hand() {
        // 3 x 0.01, 2 x 0.02, 1 x 0.03 (kept from falling), in the order given.
        let got = adjust(&[0.03, 0.01, 0.02]);
        for (got, want) in got.iter().zip([0.04, 0.03, 0.04]) {
            assert!((got - want).abs() < 1e-12, "{got}");
        }
        assert_eq!(adjust(&[0.9, 0.8]), [1.0, 1.0]);
        assert!(adjust(&[]).is_empty());
    }
}
