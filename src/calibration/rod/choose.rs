//! Which of the sticks on the ground is a rod laid for the swing. In: sticks, the camera as it is
//! known without them, with its covariance. Out: its position among them, or none.
//!
//! It must be as long as rods are, lie before the feet and about along the target line, all within
//! what is known of the camera. Sticks that pass and point different ways cancel each other.

use nalgebra::SVector;

use super::super::Segment;
use super::super::rows::{ALL, ROD_SD, Rows};
use super::super::solve::{Square, Theta};

/// Rods are 45 or 48 inches long (FACTS F6); those cut to a round length lie between, metres.
const LONG: [f64; 2] = [1.12, 1.24];
/// A length known worse than this, as a share, tells nothing.
const VAGUE: f64 = 0.06;
/// Its middle is before the feet, not behind them, within reach of the ball, metres.
const FRONT: [f64; 2] = [0.05, 1.6];
const ASIDE: f64 = 0.6;
/// Gates in sd: 3 leaves out 1 rod in 370 for its direction, 2 one in 20 for its length.
const GATE_HEADING: f64 = 3.0;
const GATE_LENGTH: f64 = 2.0;
/// Farther off than this the target line was not meant, radians.
const MOST: f64 = 0.2;
/// Two rods that were laid alike are this parallel, radians.
const PARALLEL: f64 = 0.05;

/// Direction from target toward ball, log length, and the middle along target and ball.
type Lying = SVector<f64, 4>;

pub fn choose(
    rows: &Rows,
    theta: &Theta,
    covariance: &Square,
    sticks: &[Segment],
) -> Option<usize> {
    let good: Vec<(f64, f64, usize)> = sticks
        .iter()
        .enumerate()
        .filter_map(|(index, stick)| {
            let (lying, sd) = spread(rows, theta, covariance, *stick)?;
            is_laid(&lying, &sd).then_some((lying[0], sd[0], index))
        })
        .collect();
    let most = good.iter().map(|g| g.0).fold(f64::NEG_INFINITY, f64::max);
    let least = good.iter().map(|g| g.0).fold(f64::INFINITY, f64::min);
    if most - least > PARALLEL {
        return None;
    }
    good.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).map(|(_, _, index)| index)
}

fn is_laid(lying: &Lying, sd: &Lying) -> bool {
    let heading_sd = sd[0].hypot(ROD_SD);
    let (low, high) = (LONG[0].ln() - GATE_LENGTH * sd[1], LONG[1].ln() + GATE_LENGTH * sd[1]);
    sd[1] < VAGUE
        && (low..=high).contains(&lying[1])
        && lying[0].abs() < MOST.min(GATE_HEADING * heading_sd)
        && lying[2].abs() < ASIDE
        && (FRONT[0]..=FRONT[1]).contains(&lying[3])
}

/// How it lies, and the sd of that from the camera's.
fn spread(
    rows: &Rows,
    theta: &Theta,
    covariance: &Square,
    stick: Segment,
) -> Option<(Lying, Lying)> {
    const STEP: f64 = 1e-4;
    let middle = lie(rows, theta, stick)?;
    let mut slopes = [Lying::zeros(); ALL];
    for (i, slope) in slopes.iter_mut().enumerate() {
        let mut moved = *theta;
        moved[i] += STEP;
        *slope = (lie(rows, &moved, stick)? - middle) / STEP;
    }
    let variance = |k: usize| {
        let slope = Theta::from_fn(|i, _| slopes[i][k]);
        slope.dot(&(covariance * slope)).max(0.0)
    };
    Some((middle, Lying::from_fn(|k, _| variance(k).sqrt())))
}

fn lie(rows: &Rows, theta: &Theta, stick: Segment) -> Option<Lying> {
    let [a, b] = [stick.from, stick.to].map(|p| rows.place_on_ground(theta, p));
    let ([ax, ay], [bx, by]) = (a?, b?);
    let (along, toward) = (bx - ax, by - ay);
    let length = along.hypot(toward);
    Some(Lying::new(
        (toward / along).atan(),
        length.ln(),
        f64::midpoint(ax, bx),
        f64::midpoint(ay, by),
    ))
}
