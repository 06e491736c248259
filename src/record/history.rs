//! One value of a pupil over the weeks, for a chart or a table. In: a pupil, a [`Key`]. Out:
//! [`History`]: every swing, the mean of every day and label, lessons with the tasks given, the
//! coach's target. Intervals are 95 %; those of single swings hold the measurement's error only.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{Lesson, Library, Point, RecordError};
use crate::compare::{Key, Mean};
use crate::results::Unit;

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct History {
    pub pupil: String,
    pub key: Key,
    pub unit: Unit,
    pub points: Vec<Reading>,
    /// In order of day, then label.
    pub days: Vec<Day>,
    /// All lessons, those without this value too.
    pub lessons: Vec<Lesson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<f64>,
}

/// One swing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    #[serde(flatten)]
    pub point: Point,
    pub low: f64,
    pub high: f64,
}

/// The swings of one day and one label together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Day {
    pub date: String,
    pub label: String,
    #[serde(flatten)]
    pub mean: Mean,
}

impl Library {
    /// # Errors
    /// When there is no such pupil.
    pub fn over_time(&self, pupil: &str, key: Key) -> Result<History, RecordError> {
        let points = self.history(pupil, key)?;
        let mut days: BTreeMap<(&str, &str), Vec<(f64, f64)>> = BTreeMap::new();
        for point in &points {
            days.entry((&point.date, &point.label)).or_default().push((point.value, point.sd));
        }
        let days = days.into_iter().filter_map(|((date, label), values)| {
            let (date, label) = (date.to_owned(), label.to_owned());
            Some(Day { date, label, mean: Mean::of(&values)? })
        });
        let days = days.collect();
        // The same for every swing alone but for its sd, and costly to find.
        let unit = Mean::of(&[(0.0, 1.0)]);
        let reading = |point: Point| {
            let Mean { low, high, .. } = unit?;
            let (low, high) = (point.value + low * point.sd, point.value + high * point.sd);
            Some(Reading { low, high, point })
        };
        Ok(History {
            pupil: self.pupil(pupil)?.name,
            key,
            unit: key.unit(),
            points: points.into_iter().filter_map(reading).collect(),
            days,
            lessons: self.lessons(pupil)?,
            target: self.targets(pupil)?.iter().find(|t| t.key == key).map(|t| t.value),
        })
    }
}
