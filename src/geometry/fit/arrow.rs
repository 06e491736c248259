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
                let value = self.band[row + j] - dot(a, b);
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

/// Scalar product in four sums that do not wait for each other.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let ((a, last_a), (b, last_b)) = (a.as_chunks::<4>(), b.as_chunks::<4>());
    let mut sums = [0.0; 4];
    for (a, b) in a.iter().zip(b) {
        (0..4).for_each(|k| sums[k] += a[k] * b[k]);
    }
    let rest: f64 = last_a.iter().zip(last_b).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}

/// The factored system.
pub(super) struct Factor {
    size: usize,
    reach: usize,
    band: Vec<f64>,
    border: Vec<f64>,
    schur: Cholesky<f64, Dyn>,
}

/// Several right-hand sides or solutions at once: row i holds unknown i of each. Their number is
/// known to the compiler, so that a row stays in registers.
pub(super) struct Columns<const N: usize> {
    pub band: Vec<[f64; N]>,
    pub border: Vec<[f64; N]>,
}

impl<const N: usize> Columns<N> {
    pub fn zeros(size: usize, edge: usize) -> Self {
        Self { band: vec![[0.0; N]; size], border: vec![[0.0; N]; edge] }
    }
}

/// `to += factor * from`
pub(super) fn add<const N: usize>(to: &mut [f64; N], factor: f64, from: &[f64; N]) {
    to.iter_mut().zip(from).for_each(|(t, f)| *t += factor * f);
}

impl Factor {
    pub fn solve(&self, right: &Vector) -> Vector {
        let band = right.band.iter().map(|v| [*v]).collect();
        let border = right.border.iter().map(|v| [*v]).collect();
        let solved = self.solve_all(Columns { band, border });
        let border =
            DVector::from_iterator(solved.border.len(), solved.border.into_iter().flatten());
        Vector { band: solved.band.into_iter().flatten().collect(), border }
    }

    /// Sd of an unknown of the border.
    pub fn border_sd(&self, unknown: usize) -> f64 {
        let mut one = DVector::zeros(self.schur.l_dirty().nrows());
        one[unknown] = 1.0;
        self.schur.solve(&one)[unknown].max(0.0).sqrt()
    }

    pub fn solve_all<const N: usize>(&self, right: Columns<N>) -> Columns<N> {
        let Columns { band: mut z, border: mut rest } = right;
        let (n, width, edge) = (self.size, self.reach + 1, rest.len());
        // nothing asked before this row: nothing to take on from there
        let quiet = z.iter().position(|row| row.iter().any(|v| *v != 0.0)).unwrap_or(n);
        for i in quiet..n {
            let first = i.saturating_sub(self.reach);
            let row = &self.band[i * width + self.reach + first - i..=i * width + self.reach];
            let mut now = z[i];
            for (l, before) in row.iter().zip(&z[first..i]) {
                add(&mut now, -l, before);
            }
            now.iter_mut().for_each(|v| *v /= row[i - first]);
            z[i] = now;
            for (r, tie) in rest.iter_mut().zip(&self.border[i * edge..(i + 1) * edge]) {
                add(r, -tie, &now);
            }
        }
        let right = DMatrix::from_fn(edge, N, |i, m| rest[i][m]);
        let solved = self.schur.solve(&right);
        let border: Vec<[f64; N]> =
            (0..edge).map(|i| std::array::from_fn(|m| solved[(i, m)])).collect();
        for i in (0..n).rev() {
            let first = i.saturating_sub(self.reach);
            let row = &self.band[i * width + self.reach + first - i..=i * width + self.reach];
            let mut now = z[i];
            for (tie, b) in self.border[i * edge..(i + 1) * edge].iter().zip(&border) {
                add(&mut now, -tie, b);
            }
            now.iter_mut().for_each(|v| *v /= row[i - first]);
            z[i] = now;
            for (l, before) in row.iter().zip(&mut z[first..i]) {
                add(before, -l, &now);
            }
        }
        Columns { band: z, border }
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
