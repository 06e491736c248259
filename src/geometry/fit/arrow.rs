//! A symmetric positive system with a band (neighbours in time) and a border (unknowns of the
//! whole clip). In: its coefficients. Out: solutions, by a banded Cholesky factor and the
//! Schur complement of the border (Golub & Van Loan, Matrix Computations, 4.3 and 3.2).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Coefficients: lower band by rows, border, corner, right-hand side.
pub(super) struct Arrow {
    size: usize,
    /// Entries left of the diagonal that may differ from zero.
    reach: usize,
    /// Row i holds columns i - reach ..= i.
    band: Vec<f64>,
    /// Row i holds the coefficients of unknown i with the border's unknowns.
    border: Vec<f64>,
    corner: DMatrix<f64>,
    pub right: Vector,
}

/// One value for each unknown.
#[derive(Clone, Debug)]
pub(super) struct Vector {
    pub band: Vec<f64>,
    pub border: DVector<f64>,
}

impl Vector {
    pub fn zeros(size: usize, edge: usize) -> Self {
        Self { band: vec![0.0; size], border: DVector::zeros(edge) }
    }

    /// Scalar product over the band.
    pub fn along(&self, other: &Self) -> f64 {
        self.band.iter().zip(&other.band).map(|(a, b)| a * b).sum()
    }
}

/// One row of a least-squares problem: its slope by some unknowns, its miss, its weight.
#[derive(Default)]
pub(super) struct Equation {
    pub band: Vec<(usize, f64)>,
    pub border: Vec<(usize, f64)>,
    pub miss: f64,
    pub weight: f64,
}

impl Arrow {
    pub fn new(size: usize, reach: usize, edge: usize) -> Self {
        Self {
            size,
            reach,
            band: vec![0.0; size * (reach + 1)],
            border: vec![0.0; size * edge],
            corner: DMatrix::zeros(edge, edge),
            right: Vector::zeros(size, edge),
        }
    }

    fn edge(&self) -> usize {
        self.corner.nrows()
    }

    /// Adds `weight * slope slope^T` and `weight * slope * miss`.
    pub fn add(&mut self, e: &Equation) {
        let (reach, edge) = (self.reach, self.edge());
        for &(i, a) in &e.band {
            let wa = e.weight * a;
            self.right.band[i] += wa * e.miss;
            for &(j, b) in e.band.iter().filter(|(j, _)| *j <= i) {
                self.band[i * (reach + 1) + reach + j - i] += wa * b;
            }
            for &(g, b) in &e.border {
                self.border[i * edge + g] += wa * b;
            }
        }
        for &(g, a) in &e.border {
            self.right.border[g] += e.weight * a * e.miss;
            for &(h, b) in &e.border {
                self.corner[(g, h)] += e.weight * a * b;
            }
        }
    }

    /// `None` when the system is not positive definite.
    pub fn factor(mut self) -> Option<Factor> {
        let (n, reach, edge) = (self.size, self.reach, self.edge());
        let width = reach + 1;
        for i in 0..n {
            let first = i.saturating_sub(reach);
            for j in first..=i {
                let from = first.max(j.saturating_sub(reach));
                let (row, other) = (i * width + reach - i, j * width + reach - j);
                let (a, b) = (&self.band[row + from..row + j], &self.band[other + from..other + j]);
                let sum: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
                let value = self.band[row + j] - sum;
                if i == j {
                    if value.is_nan() || value <= 0.0 {
                        return None;
                    }
                    self.band[row + j] = value.sqrt();
                } else {
                    self.band[row + j] = value / self.band[other + j];
                }
            }
            for j in first..i {
                let l = self.band[i * width + reach + j - i];
                if l != 0.0 {
                    let (head, tail) = self.border.split_at_mut(i * edge);
                    let done = &head[j * edge..(j + 1) * edge];
                    tail[..edge].iter_mut().zip(done).for_each(|(t, d)| *t -= l * d);
                }
            }
            let diagonal = self.band[i * width + reach];
            self.border[i * edge..(i + 1) * edge].iter_mut().for_each(|v| *v /= diagonal);
        }
        let y = DMatrix::from_row_slice(n, edge, &self.border);
        let schur = (&self.corner - y.tr_mul(&y)).cholesky()?;
        Some(Factor { size: n, reach, band: self.band, border: self.border, schur })
    }
}

/// The factored system.
pub(super) struct Factor {
    size: usize,
    reach: usize,
    band: Vec<f64>,
    border: Vec<f64>,
    schur: Cholesky<f64, Dyn>,
}

/// Several right-hand sides or solutions at once: row i holds unknown i of each.
pub(super) struct Columns {
    pub count: usize,
    pub band: Vec<f64>,
    pub border: DMatrix<f64>,
}

impl Columns {
    pub fn zeros(size: usize, edge: usize, count: usize) -> Self {
        Self { count, band: vec![0.0; size * count], border: DMatrix::zeros(edge, count) }
    }
}

/// `to -= factor * from`
fn take(to: &mut [f64], factor: f64, from: &[f64]) {
    to.iter_mut().zip(from).for_each(|(t, f)| *t -= factor * f);
}

impl Factor {
    pub fn solve(&self, right: &Vector) -> Vector {
        let edge = right.border.len();
        let border = DMatrix::from_column_slice(edge, 1, right.border.as_slice());
        let one = Columns { count: 1, band: right.band.clone(), border };
        let solved = self.solve_all(&one);
        Vector { band: solved.band, border: solved.border.column(0).into_owned() }
    }

    /// Sd of an unknown of the border.
    pub fn border_sd(&self, unknown: usize) -> f64 {
        let mut one = DVector::zeros(self.schur.l_dirty().nrows());
        one[unknown] = 1.0;
        self.schur.solve(&one)[unknown].max(0.0).sqrt()
    }

    pub fn solve_all(&self, right: &Columns) -> Columns {
        let count = right.count;
        let (mut z, mut rest) = (right.band.clone(), right.border.clone());
        let (n, width, edge) = (self.size, self.reach + 1, rest.nrows());
        for i in 0..n {
            let first = i.saturating_sub(self.reach);
            let row = &self.band[i * width + self.reach + first - i..=i * width + self.reach];
            let (done, open) = z.split_at_mut(i * count);
            let now = &mut open[..count];
            for (l, before) in row.iter().zip(done[first * count..].chunks_exact(count)) {
                take(now, *l, before);
            }
            now.iter_mut().for_each(|v| *v /= row[i - first]);
            let ties = &self.border[i * edge..(i + 1) * edge];
            for (m, v) in now.iter().enumerate().filter(|(_, v)| **v != 0.0) {
                take(rest.column_mut(m).as_mut_slice(), *v, ties);
            }
        }
        let border = self.schur.solve(&rest);
        for i in (0..n).rev() {
            let first = i.saturating_sub(self.reach);
            let row = &self.band[i * width + self.reach + first - i..=i * width + self.reach];
            let ties = &self.border[i * edge..(i + 1) * edge];
            let (done, open) = z.split_at_mut(i * count);
            let now = &mut open[..count];
            for (m, v) in now.iter_mut().enumerate() {
                let tie: f64 = ties.iter().zip(border.column(m).iter()).map(|(a, b)| a * b).sum();
                *v = (*v - tie) / row[i - first];
            }
            for (l, before) in row.iter().zip(done[first * count..].chunks_exact_mut(count)) {
                take(before, *l, now);
            }
        }
        Columns { count, band: z, border }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_as_a_dense_system_does() {
        let (n, reach, edge) = (12, 3, 2);
        let mut arrow = Arrow::new(n, reach, edge);
        let mut dense = DMatrix::<f64>::zeros(n + edge, n + edge);
        let mut seed = 0.37_f64;
        let mut draw = || {
            seed = (seed * 997.0 + 0.123).fract();
            seed - 0.5
        };
        for k in 0..60 {
            let start = k % (n - reach);
            let e = Equation {
                band: (0..=reach).map(|j| (start + j, draw())).collect(),
                border: (0..edge).map(|g| (g, draw())).collect(),
                miss: 0.0,
                weight: 1.0 + draw(),
            };
            let mut slope = DVector::<f64>::zeros(n + edge);
            e.band.iter().for_each(|&(i, v)| slope[i] = v);
            e.border.iter().for_each(|&(g, v)| slope[n + g] = v);
            dense += &slope * slope.transpose() * e.weight;
            arrow.add(&e);
        }
        let mut right = Vector::zeros(n, edge);
        right.band.iter_mut().for_each(|v| *v = draw());
        right.border.iter_mut().for_each(|v| *v = draw());
        let all =
            DVector::from_iterator(n + edge, right.band.iter().chain(right.border.iter()).copied());
        let want = dense.cholesky().unwrap().solve(&all);
        let got = arrow.factor().unwrap().solve(&right);
        for (i, v) in got.band.iter().chain(got.border.iter()).enumerate() {
            assert!((v - want[i]).abs() < 1e-9 * want.norm(), "{i} {v} {}", want[i]);
        }
    }
}
