//! How a camera turned between two pictures. In: where background points lie in both,
//! pixels. Out: the plane map of a camera that turned about its own centre and zoomed or
//! stepped a little: pan, tilt, roll and one scale; four numbers, as for a similarity, but
//! right at the picture's edges too. Focal length as given.
//!
//! Random pairs of points propose maps (RANSAC: Fischler & Bolles 1981), the one most points
//! agree with is refined by iteratively reweighted least squares (Tukey's biweight; Holland &
//! Welsch 1977). Seeds are fixed: the same points give the same map. It does not model
//! parallax: points at different distances from a stepping camera leave residuals, which
//! [`super::parallax`] explains.

use nalgebra::{Matrix2x4, Matrix3, Matrix4, Rotation3, Vector2, Vector3, Vector4};

use crate::frames::Pixel;
use crate::signal;
use crate::track::camera::project;

/// Sd of the sharpest corner, pixels of the small picture, and of one of strength 1. The ratio
/// counts; a common factor is fitted. Least squares theory (noise over root of strength) with
/// a floor for what the pixel grid does.
const SHARPEST: f64 = 0.03;
const NOISE: f64 = 0.3;
/// Pairs of points tried. With half the points astray a pair is good one time in four: all
/// 80 bad has a chance of 1e-10.
const PROPOSALS: usize = 80;
/// Rounds of reweighting; changes are below 0.001 px by then.
const ROUNDS: usize = 8;
/// Tukey's constant, in sd (95 % efficient for normal errors).
const TUKEY: f64 = 4.685;
/// Median of the length of a normal plane vector, in its sd (Rayleigh).
pub(super) const RAYLEIGH_MEDIAN: f64 = 1.177_4;

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Match {
    pub from: Pixel,
    pub to: Pixel,
    /// Which corner of the key picture it is.
    pub corner: usize,
    /// Sd of one axis beside the other points, any unit: weak corners are less sure.
    pub sd: f64,
}

/// The pinhole that took both pictures.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pinhole {
    pub centre: Pixel,
    pub focal: f64,
}

/// A turn and a scale.
#[derive(Clone, Copy, Debug)]
struct Turn {
    rotation: Rotation3<f64>,
    scale: f64,
}

#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Takes `from` to `to`, pixels.
    pub matrix: Matrix3<f64>,
    /// Sd of one point about the map along one axis, in the points' own `sd`.
    pub sd: f64,
    /// Points that agree.
    pub inliers: usize,
    turn: Turn,
    least_sd: f64,
}

impl Turn {
    const NONE: fn() -> Self = || Self { rotation: Rotation3::identity(), scale: 1.0 };

    fn changed(&self, by: &Vector4<f64>) -> Self {
        let step = Rotation3::new(Vector3::new(by[0], by[1], by[2]));
        Self { rotation: step * self.rotation, scale: self.scale * by[3].exp() }
    }
}

impl Pinhole {
    /// Which ninth of the picture a place lies in, 0 to 8.
    pub fn part(&self, at: Pixel) -> usize {
        let third = |v: f64, middle: f64| {
            usize::from(1.5 * v >= middle) + usize::from(1.5 * v >= 2.0 * middle)
        };
        3 * third(at.y, self.centre.y) + third(at.x, self.centre.x)
    }

    fn ray(&self, p: Pixel) -> Vector3<f64> {
        Vector3::new((p.x - self.centre.x) / self.focal, (p.y - self.centre.y) / self.focal, 1.0)
    }

    /// Where a point goes, and how that changes with the turn's four numbers.
    fn turned(&self, turn: &Turn, p: Pixel) -> (Vector2<f64>, Matrix2x4<f64>) {
        let ray = turn.rotation * self.ray(p);
        let (x, y) = (ray.x / ray.z, ray.y / ray.z);
        let zoom = self.focal * turn.scale;
        let at = Vector2::new(self.centre.x + zoom * x, self.centre.y + zoom * y);
        #[rustfmt::skip]
        let slope = Matrix2x4::new(
            -x * y, 1.0 + x * x, -y, x,
            -1.0 - y * y, x * y, x, y,
        );
        (at, slope * zoom)
    }

    fn matrix(&self, turn: &Turn) -> Matrix3<f64> {
        let (f, c) = (self.focal, self.centre);
        let into = Matrix3::new(f * turn.scale, 0.0, c.x, 0.0, f * turn.scale, c.y, 0.0, 0.0, 1.0);
        let from = Matrix3::new(1.0 / f, 0.0, -c.x / f, 0.0, 1.0 / f, -c.y / f, 0.0, 0.0, 1.0);
        into * turn.rotation.matrix() * from
    }

    fn miss(&self, turn: &Turn, m: &Match) -> Vector2<f64> {
        Vector2::new(m.to.x, m.to.y) - self.turned(turn, m.from).0
    }

    /// One Gauss-Newton step for weighted points.
    fn step(&self, turn: &Turn, points: &[(Match, f64)]) -> Option<Turn> {
        let mut normal = Matrix4::zeros();
        let mut side = Vector4::zeros();
        for (m, weight) in points {
            let (at, slope) = self.turned(turn, m.from);
            let miss = Vector2::new(m.to.x, m.to.y) - at;
            normal += slope.transpose() * slope * *weight;
            side += slope.transpose() * miss * *weight;
        }
        let by = normal.cholesky()?.solve(&side);
        by.iter().all(|v| v.is_finite()).then(|| turn.changed(&by))
    }
}

impl Fit {
    /// Variance of a mapped place along one axis, pixels squared: the largest of the given
    /// places. Jackknife over parts of the picture (Efron 1982), because neighbouring points
    /// share their errors: distance from the camera, the encoder's blocks.
    pub fn variance_at(&self, matches: &[Match], pinhole: &Pinhole, places: &[Pixel]) -> f64 {
        let part = |m: &Match| pinhole.part(m.from);
        let without: Vec<Matrix3<f64>> = (0..9)
            .filter(|p| matches.iter().any(|m| part(m) == *p))
            .filter_map(|p| {
                let rest: Vec<Match> = matches.iter().copied().filter(|m| part(m) != p).collect();
                let reach = TUKEY * self.sd;
                let refined = refine(&rest, pinhole, self.turn, reach, self.least_sd, 3);
                refined.map(|(turn, _)| pinhole.matrix(&turn))
            })
            .collect();
        let parts = signal::real(without.len());
        if parts < 2.0 {
            return f64::INFINITY;
        }
        let variance = |place: &Pixel| {
            let at = project(&self.matrix, *place);
            let square = |m: &Matrix3<f64>| project(m, *place).distance(at).powi(2);
            (parts - 1.0) / parts * without.iter().map(square).sum::<f64>() / 2.0
        };
        places.iter().map(variance).fold(0.0, f64::max)
    }
}

/// The map that most points agree with; `tolerance` is how far (in the points' sd) a point
/// may lie from a proposed map to agree, `least_sd` the smallest believable common factor of
/// the points' sd. `None` when the points allow none.
pub(super) fn fit(
    matches: &[Match],
    pinhole: &Pinhole,
    tolerance: f64,
    least_sd: f64,
) -> Option<Fit> {
    let turn = propose(matches, pinhole, tolerance)?;
    // The proposal's own inliers set the first scale; outliers must not.
    let (turn, sd) = refine(matches, pinhole, turn, tolerance, least_sd, ROUNDS)?;
    let misses = misses(matches, pinhole, &turn);
    let inliers = misses.iter().filter(|m| **m < TUKEY * sd).count();
    Some(Fit { matrix: pinhole.matrix(&turn), sd, inliers, turn, least_sd })
}

/// Reweighted least squares; `reach` is how far points may lie at first. Also the sd.
fn refine(
    matches: &[Match],
    pinhole: &Pinhole,
    mut turn: Turn,
    mut reach: f64,
    least_sd: f64,
    rounds: usize,
) -> Option<(Turn, f64)> {
    let mut sd = reach;
    for _ in 0..rounds {
        let misses = misses(matches, pinhole, &turn);
        let near: Vec<f64> = misses.iter().copied().filter(|m| *m <= reach).collect();
        sd = (signal::median(&near)? / RAYLEIGH_MEDIAN).max(least_sd);
        reach = TUKEY * sd;
        let weights = misses.iter().map(|miss| tukey(miss / sd));
        let weighted: Vec<(Match, f64)> =
            matches.iter().zip(weights).map(|(m, weight)| (*m, weight / (m.sd * m.sd))).collect();
        turn = pinhole.step(&turn, &weighted)?;
    }
    Some((turn, sd))
}

/// How far each point lies from the map, in its sd.
fn misses(matches: &[Match], pinhole: &Pinhole, turn: &Turn) -> Vec<f64> {
    matches.iter().map(|m| pinhole.miss(turn, m).norm() / m.sd).collect()
}

/// Weight of what misses by so many sd.
pub(super) fn tukey(miss: f64) -> f64 {
    let u = miss / TUKEY;
    if u < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
}

fn propose(matches: &[Match], pinhole: &Pinhole, tolerance: f64) -> Option<Turn> {
    if matches.len() < 3 {
        return None;
    }
    let mut draw = Draw(0x9e37_79b9_7f4a_7c15);
    let mut best: Option<(f64, Turn)> = None;
    for _ in 0..PROPOSALS {
        let (i, j) = (draw.below(matches.len()), draw.below(matches.len()));
        if matches[i].from.distance(matches[j].from) < 0.1 * pinhole.focal {
            continue;
        }
        let Some(turn) = through(pinhole, [matches[i], matches[j]]) else { continue };
        let agree: f64 = matches
            .iter()
            .filter(|m| pinhole.miss(&turn, m).norm() <= tolerance * m.sd)
            .map(|m| 1.0 / m.sd)
            .sum();
        if best.is_none_or(|(most, _)| agree > most) {
            best = Some((agree, turn));
        }
    }
    best.map(|(_, turn)| turn)
}

/// The turn that takes two points where they went.
fn through(pinhole: &Pinhole, pair: [Match; 2]) -> Option<Turn> {
    let points = pair.map(|m| (m, 1.0));
    let mut turn = Turn::NONE();
    for _ in 0..3 {
        turn = pinhole.step(&turn, &points)?;
    }
    // A hand-held camera does not double its scale between two pictures.
    (0.5..2.0).contains(&turn.scale).then_some(turn)
}

/// Linear congruential generator (Knuth's MMIX constants): fixed seed, same draws everywhere.
struct Draw(u64);

impl Draw {
    fn below(&mut self, count: usize) -> usize {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % count as u64) as usize
    }
}

/// Sd of a followed corner, pixels of the small picture: noise over gradient, and a floor.
pub(super) fn corner_sd(score: f32) -> f64 {
    SHARPEST.hypot(NOISE / f64::from(score).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    const PINHOLE: Pinhole = Pinhole { centre: Pixel { x: 360.0, y: 640.0 }, focal: 1000.0 };

    fn scene(turn: &Turn, wrong: usize) -> Vec<Match> {
        (0..100)
            .map(|i| {
                let (a, b) = (f64::from(i * 37 % 100), f64::from(i * 61 % 100));
                let from = Pixel::new(7.2 * a, 12.8 * b);
                let to = PINHOLE.turned(turn, from).0;
                let astray = usize::try_from(i).unwrap() < wrong;
                let off = if astray { 40.0 } else { 0.1 * f64::from(i).sin() };
                Match { from, to: Pixel::new(to.x + off, to.y - 0.5 * off), sd: 1.0, corner: 0 }
            })
            .collect()
    }

    #[test]
    fn a_turn_is_found_among_wrong_points() {
        let turn = Turn { rotation: Rotation3::new(Vector3::new(0.02, -0.03, 0.01)), scale: 1.01 };
        let fit = fit(&scene(&turn, 40), &PINHOLE, 3.0, 0.02).unwrap();
        let truth = PINHOLE.matrix(&turn);
        for p in [Pixel::new(50.0, 50.0), Pixel::new(360.0, 700.0), Pixel::new(700.0, 1200.0)] {
            assert!(project(&fit.matrix, p).distance(project(&truth, p)) < 0.06);
        }
        assert!(fit.inliers >= 58, "{}", fit.inliers);
        assert!(fit.sd < 0.12);
        let sd = fit.variance_at(&scene(&turn, 40), &PINHOLE, &[Pixel::new(360.0, 700.0)]).sqrt();
        assert!(sd < 0.06, "{sd}");
    }

    #[test]
    fn too_few_points_give_no_map() {
        assert!(fit(&[], &PINHOLE, 3.0, 0.02).is_none());
        let turn = Turn::NONE();
        assert!(fit(&scene(&turn, 0)[..2], &PINHOLE, 3.0, 0.02).is_none());
        let at = Pixel::new(1.0, 1.0);
        let same = [Match { from: at, to: at, corner: 0, sd: 1.0 }; 20];
        assert!(fit(&same, &PINHOLE, 3.0, 0.02).is_none());
    }
}
