//! Do the intervals and verdicts keep their word? Made pupils with known means, scatter and
//! errors; seeds are fixed.

use super::difference::{Difference, SHARED_BY_SETUP};
use super::holm;
use super::sample::{Reading, Sample};
use super::verdict::Verdict;
use crate::signal::real;

/// Normal numbers by Box and Muller over splitmix64 (Steele et al. 2014).
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (radius, angle) = ((-2.0 * self.unit().ln()).sqrt(), self.unit());
        radius * (2.0 * std::f64::consts::PI * angle).cos()
    }

    /// Two numbers with unit variance and the given correlation.
    fn pair(&mut self, common: f64) -> [f64; 2] {
        let shared = common.sqrt() * self.normal();
        let own = (1.0 - common).sqrt();
        [shared + own * self.normal(), shared + own * self.normal()]
    }
}

/// Invented: centimetres, as a hub at the top might be.
#[derive(Clone, Copy)]
struct Pupil {
    mean: f64,
    change: f64,
    scatter: f64,
    random: f64,
    scale: f64,
    camera: f64,
    body: f64,
    same_setup: bool,
}

const PUPIL: Pupil = Pupil {
    mean: -6.0,
    change: 0.0,
    scatter: 1.0,
    random: 0.4,
    scale: 0.03,
    camera: 0.4,
    body: 0.4,
    same_setup: false,
};

/// Errors that all swings of a side share, for both sides.
struct Lasting {
    scale: [f64; 2],
    camera: [f64; 2],
    body: [f64; 2],
}

impl Lasting {
    fn draw(chance: &mut Chance, same: bool) -> Self {
        let (all, most) = if same { (1.0, SHARED_BY_SETUP) } else { (0.0, 0.0) };
        Self { scale: chance.pair(all), camera: chance.pair(most), body: chance.pair(most) }
    }
}

/// Both sides as measured, and the true change: of the pupil's means, or with one swing a side
/// of these two swings.
fn film(p: &Pupil, n: [usize; 2], lasting: &Lasting, chance: &mut Chance) -> ([Sample; 2], f64) {
    let mut truth = [0.0; 2];
    let sides = [0, 1].map(|side| {
        let mean = p.mean + real(side) * p.change;
        let readings = (0..n[side]).map(|swing| {
            let true_value = mean + p.scatter * chance.normal();
            truth[side] = if n == [1, 1] { true_value } else { mean };
            let value = true_value * (1.0 + p.scale * lasting.scale[side])
                + p.camera * lasting.camera[side]
                + p.body * lasting.body[side]
                + p.random * chance.normal();
            let random = p.random * p.random;
            let (scale, camera, body) = (p.scale * value, p.camera, p.body);
            Reading { swing, value, sd: 1.0, random, scale, camera, body, unknown: 0.0 }
        });
        Sample { readings: readings.collect() }
    });
    (sides, truth[1] - truth[0])
}

fn coverage(p: &Pupil, n: [usize; 2], times: u32, chance: &mut Chance) -> f64 {
    let hits = (0..times).filter(|_| {
        let lasting = Lasting::draw(chance, p.same_setup);
        let ([before, after], truth) = film(p, n, &lasting, chance);
        let got = Difference::new(&before, &after, p.same_setup);
        (got.value - truth).abs() <= got.half_width()
    });
    real(hits.count()) / f64::from(times)
}

#[test]
fn ninety_five_percent_intervals_hold_the_truth_93_to_97_times_in_a_hundred() {
    let mut chance = Chance(20_261_125);
    let mut said = String::new();
    let mut right = true;
    for n in [[1, 1], [3, 3], [5, 5], [10, 10], [3, 10], [1, 5]] {
        for change in [0.0, 4.0] {
            for (same_setup, camera) in [(true, 0.4), (true, 0.0), (false, 1.5)] {
                let pupil = Pupil { change, same_setup, camera, ..PUPIL };
                let covered = coverage(&pupil, n, 2500, &mut chance);
                right &= (0.93..=0.97).contains(&covered);
                said += &format!(
                    "{n:?} change {change} same {same_setup} camera {camera}: {covered}\n"
                );
            }
        }
    }
    println!("{said}");
    assert!(right, "{said}");
}

/// The share of comparisons with at least one "moved", over so many measures together.
fn any_moved(p: &Pupil, n: [usize; 2], measures: usize, times: u32, chance: &mut Chance) -> f64 {
    let hits = (0..times).filter(|_| {
        // Half of the measures share one error of camera and body, as those of one picture do.
        let one = Lasting::draw(chance, p.same_setup);
        let tested: Vec<Difference> = (0..measures)
            .map(|i| {
                let own = Lasting::draw(chance, p.same_setup);
                let lasting = if i % 2 == 0 { &one } else { &own };
                let ([before, after], _) = film(p, n, lasting, chance);
                Difference::new(&before, &after, p.same_setup)
            })
            .collect();
        let p: Vec<f64> = tested.iter().map(Difference::p).collect();
        let adjusted = holm::adjust(&p);
        let verdicts =
            tested.iter().zip(&adjusted).map(|(d, &p)| Verdict::new(d, p, real(measures)));
        verdicts.filter(|v| *v == Verdict::Moved).count() > 0
    });
    real(hits.count()) / f64::from(times)
}

#[test]
fn a_false_moved_over_all_measures_together_is_as_rare_as_stated() {
    let mut chance = Chance(5);
    let (mut said, mut right) = (String::new(), true);
    for n in [[1, 1], [3, 3], [5, 5], [10, 10], [3, 10], [1, 5]] {
        for same_setup in [false, true] {
            // One swing a side says nothing of the pupil's scatter: no change is then two swings
            // that are the same.
            let scatter = if n == [1, 1] { 0.0 } else { PUPIL.scatter };
            let pupil = Pupil { same_setup, scatter, ..PUPIL };
            let times = 250;
            let moved = any_moved(&pupil, n, 40, times, &mut chance);
            // Three standard errors of a simulated 5 %.
            let slack = 3.0 * (0.05 * 0.95 / f64::from(times)).sqrt();
            right &= moved <= 0.05 + slack;
            said += &format!("{n:?} same {same_setup}: {moved}\n");
        }
    }
    println!("{said}");
    assert!(right, "{said}");
}

#[test]
fn a_real_change_is_shown() {
    let mut chance = Chance(7);
    let pupil = Pupil { change: 5.0, same_setup: true, ..PUPIL };
    for (n, least) in [([1, 1], 0.5), ([5, 5], 0.8), ([10, 10], 0.99)] {
        let moved = any_moved(&pupil, n, 40, 60, &mut chance);
        assert!(moved >= least, "{n:?}: {moved}");
    }
}
