//! The step of a hand beside its turn. In: corners followed from key pictures, and the golfer's
//! square in each key. Out: maps that are right at the golfer's distance, with their variance
//! there. Pixels.
//!
//! A camera that steps sideways by a centimetre moves what is near by more than what is far, so
//! that a map of the background leaves some of the golfer's shift. All pictures together tell how
//! near each corner is, how the camera turned and stepped and how long its lens is: bundle
//! adjustment (Triggs et al. 2000), corners and pictures in turn, with Tukey's weights. What it
//! cannot tell, a common nearness of everything, is told by the ground beside the golfer's feet
//! ([`golfer`]): he is as far away as that.
//!
//! Where nothing near and far is seen at once a step looks like a turn; then the prior of the
//! step (what a hand does) keeps it small, and the variance says what it may have been. Not
//! modelled: a rolling shutter, a lens that bends lines, what moves by itself beyond its being
//! left out as an outlier.

mod eye;
mod golfer;
#[cfg(test)]
mod trials;

use nalgebra::Matrix3;

use super::fit::{Match, RAYLEIGH_MEDIAN, tukey};
use super::verdict::Step;
use super::{LEAST_SD, Pinhole};
use crate::frames::Pixel;
use crate::keypoints::Roi;
use crate::signal;
use crate::track::PictureFromReference;
use crate::track::camera::project;
use crate::units::Estimate;
use eye::{Eye, Lens, Normal, Numbers, STEP, ZOOM};
use golfer::{Corner, EXPECTED_SD, Stand};

/// Sd of the focal length's logarithm: phones film at 0.6 to 1.1 long sides.
const FOCAL_SD: f64 = 0.25;
/// Sd of the zoom's logarithm: a lens that focuses magnifies by up to some per cent.
const ZOOM_SD: f64 = 0.01;
/// Share of the pictures that count as looks of their own at what stays the same in all of them:
/// neighbouring pictures share the errors of a corner (the encoder's blocks stay for about ten).
const INDEPENDENT: f64 = 0.1;
/// Rounds of a picture's first fit, and of all pictures and corners in turn; changes at the golfer
/// are below 0.05 pixels by then.
const FIRST_ROUNDS: usize = 8;
const ROUNDS: usize = 20;
/// Nearness that corners can have: a little past infinity, for their errors, to very near.
const POSSIBLE: (f64, f64) = (-0.5, 4.0);
/// Factor on the sd of a map. The jackknife holds the nearness of the corners and the focal length,
/// whose errors all pictures share: errors at the hips of 28 clips of `scripts/render_bodies` were
/// 1.4 times (rms) what is stated without it, and 1.07 times on the eleven it was made with. On a
/// single clip 0.2 to 3.8 times.
const WIDE: f64 = 1.4;
/// Corners further than this from the plain map are on something that moves by itself, share of
/// the long side: a step of 6 cm, at three times the golfer's nearness.
const ASTRAY: f64 = 0.02;

/// What was followed in one picture.
pub(super) struct Look {
    /// Which step of the clip it is, and from which key.
    step: usize,
    key: usize,
    matches: Vec<Match>,
}

/// A key picture.
pub(super) struct Origin {
    pub golfer: Option<Roi>,
    pub corners: Vec<Pixel>,
    /// The step that it was made of; none where everything starts anew.
    pub step: Option<usize>,
}

impl Look {
    /// Keeps what may belong to the background, by the map of most of it.
    pub fn new(
        step: usize,
        key: usize,
        matches: &[Match],
        map: &Matrix3<f64>,
        long_side: f64,
    ) -> Self {
        let near = |m: &&Match| project(map, m.from).distance(m.to) < ASTRAY * long_side;
        Self { step, key, matches: matches.iter().filter(near).copied().collect() }
    }
}

/// The steps with maps and variances at the golfer's distance. `None` where the golfer's square
/// or his distance is not known.
pub(super) fn refined(
    steps: &[Step],
    looks: &[Look],
    origins: &[Origin],
    pinhole: Pinhole,
) -> Option<Vec<Step>> {
    let mut scene = Scene::new(looks, origins, pinhole)?;
    scene.solve()?;
    let mut steps = steps.to_vec();
    for (key, origin) in origins.iter().enumerate() {
        let (before, variance) = match origin.step.and_then(|s| steps.get(s)) {
            Some(Step { camera: Some(camera), variance, .. }) => (camera.matrix(), *variance),
            _ => (Matrix3::identity(), 0.0),
        };
        let nearness = scene.nearness_of_golfer(key)?;
        for (i, look) in looks.iter().enumerate().filter(|(_, look)| look.key == key) {
            let map = scene.lens().map(&scene.eyes[i], nearness.value) * before;
            let step = steps.get_mut(look.step)?;
            step.camera = Some(PictureFromReference::from_matrix(&map)?);
            step.variance = variance + scene.variance(i, nearness)?;
        }
    }
    Some(steps)
}

/// Everything unknown, and what was seen of it.
struct Scene<'a> {
    looks: &'a [Look],
    origins: &'a [Origin],
    stands: Vec<Stand>,
    pinhole: Pinhole,
    /// Logarithm of the focal length beside the pinhole's.
    focal: f64,
    eyes: Vec<Eye>,
    /// By key and corner.
    nearness: Vec<Vec<Estimate>>,
    /// Weight of the prior of an eye's numbers.
    held: Numbers,
}

/// Normal equations of one picture's numbers and the common focal length.
#[derive(Clone)]
struct Sums {
    normal: Normal,
    side: Numbers,
    across: Numbers,
    focal: f64,
    focal_side: f64,
}

impl<'a> Scene<'a> {
    fn new(looks: &'a [Look], origins: &'a [Origin], pinhole: Pinhole) -> Option<Self> {
        let stands: Vec<Stand> =
            origins.iter().map(|o| o.golfer.as_ref().map(Stand::of)).collect::<Option<_>>()?;
        let nearness = origins
            .iter()
            .zip(&stands)
            .map(|(origin, stand)| {
                let expected = |at: &Pixel| stand.expected(*at);
                let corners = origin.corners.iter().map(expected);
                corners.map(|value| Estimate { value, sd: EXPECTED_SD }).collect()
            })
            .collect();
        let mut sd = Numbers::repeat(f64::INFINITY);
        sd[ZOOM] = ZOOM_SD;
        sd.fixed_rows_mut::<3>(STEP).fill(stands.first()?.hand(pinhole.focal));
        let held = sd.map(|sd| sd.powi(-2));
        let eyes = vec![Eye::key(); looks.len()];
        Some(Self { looks, origins, stands, pinhole, focal: 0.0, eyes, nearness, held })
    }

    fn lens(&self) -> Lens {
        Lens { centre: self.pinhole.centre, focal: self.pinhole.focal * self.focal.exp() }
    }

    fn solve(&mut self) -> Option<()> {
        for i in 0..self.looks.len() {
            if i > 0 && self.looks[i - 1].key == self.looks[i].key {
                self.eyes[i] = self.eyes[i - 1];
            }
            for _ in 0..FIRST_ROUNDS {
                let sums = self.sums(i, &self.weights(i)?);
                let by = sums.normal.cholesky()?.solve(&sums.side);
                self.eyes[i] = self.eyes[i].changed(&by);
            }
        }
        for _ in 0..ROUNDS {
            self.move_eyes()?;
            self.move_corners()?;
        }
        Some(())
    }

    /// Weights of a look's corners, pixels to the power of -2: Tukey's, for one common scatter.
    fn weights(&self, look: usize) -> Option<Vec<f64>> {
        let matches = &self.looks[look].matches;
        let off: Vec<f64> = matches.iter().map(|m| self.miss(look, m).norm() / m.sd).collect();
        let sd = (signal::median(&off)? / RAYLEIGH_MEDIAN).max(LEAST_SD);
        let weight = |(off, m): (&f64, &Match)| tukey(off / sd) / (m.sd * sd).powi(2);
        Some(off.iter().zip(matches).map(weight).collect())
    }

    fn see(&self, look: usize, m: &Match) -> eye::Sight {
        let nearness = self.nearness[self.looks[look].key][m.corner].value;
        self.lens().see(&self.eyes[look], m.from, nearness)
    }

    fn miss(&self, look: usize, m: &Match) -> nalgebra::Vector2<f64> {
        nalgebra::Vector2::new(m.to.x, m.to.y) - self.see(look, m).at
    }

    /// The prior's and all corners' equations.
    fn sums(&self, look: usize, weights: &[f64]) -> Sums {
        let mut sums = Sums::of_prior(&self.held, &self.eyes[look]);
        for (m, weight) in self.looks[look].matches.iter().zip(weights) {
            self.add(&mut sums, look, m, *weight);
        }
        sums
    }

    fn add(&self, sums: &mut Sums, look: usize, m: &Match, weight: f64) {
        let sight = self.see(look, m);
        let miss = nalgebra::Vector2::new(m.to.x, m.to.y) - sight.at;
        let by_eye = sight.by_eye.transpose() * weight;
        sums.normal += by_eye * sight.by_eye;
        sums.side += by_eye * miss;
        sums.across += by_eye * sight.by_focal;
        sums.focal += weight * sight.by_focal.norm_squared();
        sums.focal_side += weight * sight.by_focal.dot(&miss);
    }

    /// All cameras and their common focal length, corners held.
    fn move_eyes(&mut self) -> Option<()> {
        let (mut weight, mut side) = (FOCAL_SD.powi(-2), -self.focal * FOCAL_SD.powi(-2));
        let mut all = Vec::with_capacity(self.looks.len());
        for i in 0..self.looks.len() {
            let sums = self.sums(i, &self.weights(i)?);
            let spread = sums.normal.cholesky()?.inverse();
            let shared = spread * sums.across;
            weight += INDEPENDENT * (sums.focal - sums.across.dot(&shared));
            side += INDEPENDENT * (sums.focal_side - shared.dot(&sums.side));
            all.push((spread * sums.side, shared));
        }
        let longer = side / weight;
        if !longer.is_finite() {
            return None;
        }
        self.focal += longer;
        for (eye, (by, shared)) in self.eyes.iter_mut().zip(all) {
            *eye = eye.changed(&(by - shared * longer));
        }
        Some(())
    }

    /// The nearness of all corners, cameras held.
    fn move_corners(&mut self) -> Option<()> {
        let prior = EXPECTED_SD.powi(-2);
        let expected = |(origin, stand): (&Origin, &Stand)| -> Vec<(f64, f64)> {
            origin.corners.iter().map(|at| (prior, prior * stand.expected(*at))).collect()
        };
        let mut sums: Vec<Vec<(f64, f64)>> =
            self.origins.iter().zip(&self.stands).map(expected).collect();
        for (i, look) in self.looks.iter().enumerate() {
            for (m, weight) in look.matches.iter().zip(self.weights(i)?) {
                let slope = self.see(i, m).by_nearness;
                let reached = self.miss(i, m) + slope * self.nearness[look.key][m.corner].value;
                let (total, side) = &mut sums[look.key][m.corner];
                *total += INDEPENDENT * weight * slope.norm_squared();
                *side += INDEPENDENT * weight * slope.dot(&reached);
            }
        }
        let (least, most) = POSSIBLE;
        let found = |(total, side): (f64, f64)| Estimate {
            value: (side / total).clamp(least, most),
            sd: total.powf(-0.5),
        };
        self.nearness = sums.into_iter().map(|key| key.into_iter().map(found).collect()).collect();
        Some(())
    }

    fn nearness_of_golfer(&self, key: usize) -> Option<Estimate> {
        let corners: Vec<Corner> = self.origins[key]
            .corners
            .iter()
            .zip(&self.nearness[key])
            .map(|(&at, &nearness)| Corner { at, nearness })
            .collect();
        self.stands[key].nearness(&corners)
    }

    /// Variance along one axis of a place on the golfer, pixels squared, the largest of several:
    /// what corners and prior leave open, what parts of the picture disagree about (jackknife,
    /// Efron 1982: neighbouring corners share their errors) and how near he is.
    fn variance(&self, look: usize, golfer: Estimate) -> Option<f64> {
        let weights = self.weights(look)?;
        let all = self.sums(look, &weights);
        let spread = all.normal.cholesky()?.inverse();
        let without = self.without_parts(look, &all, &weights)?;
        let share = 1.0 - 1.0 / signal::real(without.len());
        let variance = |place: &Pixel| {
            let sight = self.lens().see(&self.eyes[look], *place, golfer.value);
            let open = (sight.by_eye * spread * sight.by_eye.transpose()).trace();
            let parts: f64 = without.iter().map(|by| (sight.by_eye * by).norm_squared()).sum();
            let near = golfer.sd.powi(2) * sight.by_nearness.norm_squared();
            WIDE.powi(2) * (open + share * parts + near) / 2.0
        };
        let places = &self.stands[self.looks[look].key].places;
        Some(places.iter().map(variance).fold(0.0, f64::max))
    }

    /// How the camera's numbers change when one ninth of the picture is left out.
    fn without_parts(&self, look: usize, all: &Sums, weights: &[f64]) -> Option<Vec<Numbers>> {
        let mut parts: Vec<Option<Sums>> = vec![None; 9];
        for (m, weight) in self.looks[look].matches.iter().zip(weights) {
            let sums = parts[self.pinhole.part(m.from)].get_or_insert_with(Sums::none);
            self.add(sums, look, m, *weight);
        }
        let left = |part: Sums| {
            Some((all.normal - part.normal).cholesky()?.solve(&(all.side - part.side)))
        };
        parts.into_iter().flatten().map(left).collect()
    }
}

impl Sums {
    fn none() -> Self {
        let none = Numbers::zeros();
        Self { normal: Normal::zeros(), side: none, across: none, focal: 0.0, focal_side: 0.0 }
    }

    fn of_prior(held: &Numbers, eye: &Eye) -> Self {
        let mut sums = Self::none();
        sums.normal = Normal::from_diagonal(held);
        sums.side = -held.component_mul(&eye.held());
        sums
    }
}
