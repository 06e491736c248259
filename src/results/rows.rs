//! `series.csv`, read back. In: the file's bytes. Out: [`Series`]: the time of each row and, for
//! each measure, its values in the file's units (cm, deg), missing where a field is empty.
//!
//! Columns are found by their names, so that a file with more of them can be read too.

use std::collections::BTreeMap;

use super::ResultError;
use super::series::columns;
use crate::geometry::Measure;
use crate::units::Estimate;

/// The rows of a swing.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Series {
    /// Real time, seconds, on the result's clock.
    pub times: Vec<f64>,
    values: BTreeMap<Measure, Vec<Option<Estimate>>>,
}

impl Series {
    /// # Errors
    /// When the bytes are no table that `measure` wrote.
    pub fn from_csv(bytes: &[u8]) -> Result<Self, ResultError> {
        let wrong = |what: String| ResultError::NotASeries(what);
        let mut reader = csv::Reader::from_reader(bytes);
        let names = reader.headers().map_err(|error| wrong(error.to_string()))?.clone();
        let place = |name: &str| names.iter().position(|n| n == name);
        let time = place("time_s").ok_or_else(|| wrong("it has no column time_s".to_owned()))?;
        let places: Vec<(Measure, usize, usize)> = Measure::ALL
            .into_iter()
            .filter_map(|measure| {
                let [value, sd] = columns(measure);
                Some((measure, place(&value)?, place(&sd)?))
            })
            .collect();
        let mut series = Self::default();
        for row in reader.records() {
            let row = row.map_err(|error| wrong(error.to_string()))?;
            let line = row.position().map_or(0, csv::Position::line);
            let number = |place: usize| number(row.get(place).unwrap_or_default(), line);
            series
                .times
                .push(number(time)?.ok_or_else(|| wrong(format!("line {line} has no time")))?);
            for &(measure, value, sd) in &places {
                let known = number(value)?.zip(number(sd)?).map(|(v, sd)| Estimate::new(v, sd));
                series.values.entry(measure).or_default().push(known);
            }
        }
        Ok(series)
    }

    /// One entry for each time; nothing for a measure that the file lacks.
    #[must_use]
    pub fn of(&self, measure: Measure) -> &[Option<Estimate>] {
        self.values.get(&measure).map_or(&[], Vec::as_slice)
    }
}

/// An empty field is a missing value; anything else must be a finite number.
fn number(field: &str, line: u64) -> Result<Option<f64>, ResultError> {
    if field.is_empty() {
        return Ok(None);
    }
    match field.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(Some(value)),
        _ => {
            let shown: String = field.chars().filter(|c| !c.is_control()).take(40).collect();
            Err(ResultError::NotASeries(format!("line {line}: \"{shown}\" is no number")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Budget, Measured, Missing, MotionFrame};
    use crate::results::series_csv;
    use crate::units::Seconds;

    #[test]
    fn what_is_written_reads_back() {
        let frame = |time, travel| {
            let mut values = [Err(Missing::NotSeen); Measure::ALL.len()];
            let budget = Budget { keypoints: 0.01 * 0.01, ..Budget::default() };
            values[Measure::UpperHubTarget as usize] = Ok(Measured { value: travel, budget });
            MotionFrame { time: Seconds(time), filled: false, values }
        };
        let csv = series_csv(&[frame(0.0, 0.012), frame(0.25, -0.061)]).unwrap();
        let series = Series::from_csv(&csv).unwrap();
        assert_eq!(series.times, [0.0, 0.25]);
        assert_eq!(
            series.of(Measure::UpperHubTarget),
            [Some(Estimate::new(1.2, 1.0)), Some(Estimate::new(-6.1, 1.0))]
        );
        assert_eq!(series.of(Measure::LeadArm), [None, None]);
    }

    #[test]
    fn a_wrong_file_is_refused_with_its_line() {
        for (text, said) in [
            ("", "time_s"),
            ("a,b\n1,2\n", "time_s"),
            ("time_s,filled\n,0\n", "line 2"),
            ("time_s\nfast\n", "\"fast\" is no number"),
            ("time_s\ninf\n", "\"inf\" is no number"),
        ] {
            let error = Series::from_csv(text.as_bytes()).unwrap_err().to_string();
            assert!(error.contains(said) && error.contains("series.csv"), "{text:?}: {error}");
        }
        assert!(Series::from_csv(b"time_s\n1\n").unwrap().of(Measure::HeadUp).is_empty());
    }
}
