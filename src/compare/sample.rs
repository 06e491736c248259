//! One measure of one set of swings, its error split by how it repeats. In: the results.
//! Out: [`Sample`].
//!
//! What averages out: event timing, the camera's own motion left over, and a small part of the
//! keypoint error. What does not: scale, camera tilt and aim, depth, and most of the keypoint
//! error (the network marks the same body in the same pose the same way). A result
//! that does not say where its errors come from is taken not to average out at all.

use super::Key;
use crate::geometry::Measure;
use crate::results::{Causes, SwingMeasure, SwingResult, Value};

/// The share of the keypoint variance that repeats from swing to swing of one side. Measured on
/// rendered bodies that the corrector never saw, two like swings before one camera: 0.94 to
/// 0.96 (95 % intervals 0.91 to 0.98; DEVELOPERS.md, "Before against after").
pub const KEYPOINTS_REPEATED: f64 = 0.95;

/// One swing's value; `random` is a variance, the rest are standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Which swing of its side.
    pub swing: usize,
    pub value: f64,
    pub sd: f64,
    /// Averages out.
    pub random: f64,
    /// A wrong scale stretches a value: this carries the value's sign.
    pub scale: f64,
    /// Tilt, aim, depth.
    pub camera: f64,
    /// The keypoint error that repeats.
    pub body: f64,
    /// Not known where from.
    pub unknown: f64,
}

impl Reading {
    /// A value about whose error nothing is known.
    #[must_use]
    pub fn bare(swing: usize, value: f64) -> Self {
        let (sd, random, scale) = (0.0, 0.0, 0.0);
        Self { swing, value, sd, random, scale, camera: 0.0, body: 0.0, unknown: 0.0 }
    }
}

/// One measure over one side, in one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    pub readings: Vec<Reading>,
}

impl Sample {
    /// None where no swing of the side has the value.
    #[must_use]
    pub fn new(results: &[&SwingResult], key: Key) -> Option<Self> {
        let found =
            results.iter().enumerate().filter_map(|(swing, result)| reading(swing, result, key));
        let readings: Vec<Reading> = found.collect();
        (!readings.is_empty()).then_some(Self { readings })
    }

    #[must_use]
    pub fn n(&self) -> f64 {
        crate::signal::real(self.readings.len())
    }

    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        self.readings.iter().map(|r| r.value).collect()
    }

    /// Mean over the swings of one part of the readings.
    #[must_use]
    pub fn mean(&self, part: impl Fn(&Reading) -> f64) -> f64 {
        self.readings.iter().map(part).sum::<f64>() / self.n()
    }

    /// Variance from swing to swing; none with one swing.
    #[must_use]
    pub fn scatter(&self) -> Option<f64> {
        let mean = self.mean(|r| r.value);
        (self.readings.len() > 1).then(|| {
            self.readings.iter().map(|r| (r.value - mean).powi(2)).sum::<f64>() / (self.n() - 1.0)
        })
    }
}

fn reading(swing: usize, result: &SwingResult, key: Key) -> Option<Reading> {
    let causes = match key {
        Key::At { event, measure } => {
            result.explain.sources.get(&event).and_then(|at| at.get(&measure)).copied()
        }
        Key::Swing { measure } => Some(swing_causes(measure)),
    };
    let Value::Known { value, sd, unit } = *key.of(result)? else { return None };
    (unit == key.unit()).then(|| split(swing, value, sd, causes))
}

/// Times over the whole swing come from event times alone; the separation from the keypoints.
fn swing_causes(measure: SwingMeasure) -> Causes {
    match measure {
        SwingMeasure::SeparationGain => Causes { keypoints: 1.0, ..Causes::default() },
        _ => Causes { timing: 1.0, ..Causes::default() },
    }
}

fn split(swing: usize, value: f64, sd: f64, causes: Option<Causes>) -> Reading {
    let variance = sd * sd;
    let bare = Reading { sd, ..Reading::bare(swing, value) };
    let Some(c) = causes else { return Reading { unknown: sd, ..bare } };
    let repeated = KEYPOINTS_REPEATED * c.keypoints;
    Reading {
        random: variance * (c.timing + c.ground + c.keypoints - repeated),
        scale: (variance * c.scale).sqrt().copysign(value),
        camera: (variance * (c.tilt + c.aim + c.depth)).sqrt(),
        body: (variance * repeated).sqrt(),
        ..bare
    }
}

/// Every value that a comparison can look at: travel and turns at address are zero by
/// definition and left out.
#[must_use]
pub fn is_zero_by_definition(key: Key) -> bool {
    let Key::At { event: crate::events::Event::Address, measure } = key else { return false };
    !matches!(
        measure,
        Measure::HubOffset
            | Measure::SpineTilt
            | Measure::ForwardBend
            | Measure::LeadArm
            | Measure::ShoulderSlope
            | Measure::HipSlope
    )
}
