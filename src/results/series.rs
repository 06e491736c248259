//! `series.csv`. In: the motion of every frame. Out: one row a frame, two columns a measure.
//!
//! Columns carry their unit (`lower_hub_target_cm`, `lower_hub_target_sd_cm`); a value that is
//! missing is an empty field. `filled` is 1 where the body was interpolated, not seen.

use super::ResultError;
use super::build::outside;
use super::round::rounded;
use crate::geometry::{Measure, MotionFrame};

/// The table as text.
///
/// # Errors
/// Only what the csv writer may say; memory is the only place written to.
pub fn series_csv(frames: &[MotionFrame]) -> Result<Vec<u8>, ResultError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header())?;
    for frame in frames {
        writer.write_record(row(frame))?;
    }
    writer.into_inner().map_err(|failed| ResultError::Series(failed.into_error().into()))
}

fn header() -> Vec<String> {
    let mut names = vec!["time_s".to_owned(), "filled".to_owned()];
    names.extend(Measure::ALL.into_iter().flat_map(columns));
    names
}

/// The names of a measure's two columns.
pub fn columns(measure: Measure) -> [String; 2] {
    let (key, unit) = (key(measure), if measure.is_length() { "cm" } else { "deg" });
    [format!("{key}_{unit}"), format!("{key}_sd_{unit}")]
}

fn row(frame: &MotionFrame) -> Vec<String> {
    let mut fields = vec![format!("{:.5}", frame.time.0), u8::from(frame.filled).to_string()];
    for measure in Measure::ALL {
        let finite = frame
            .get(measure)
            .map(|measured| outside(measure, measured.estimate()))
            .ok()
            .filter(|known| known.value.is_finite() && known.sd.is_finite());
        if let Some(known) = finite {
            let (value, sd) = rounded(known.value, known.sd);
            fields.extend([value.to_string(), sd.to_string()]);
        } else {
            fields.extend([String::new(), String::new()]);
        }
    }
    fields
}

/// The measure's key in the contract.
fn key(measure: Measure) -> String {
    match serde_json::to_value(measure) {
        Ok(serde_json::Value::String(key)) => key,
        _ => format!("{measure:?}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Budget, Measured, Missing};
    use crate::units::Seconds;

    #[test]
    fn one_row_a_frame_and_empty_where_missing() {
        let mut values = [Err(Missing::NotSeen); Measure::ALL.len()];
        let budget = Budget { keypoints: 0.01 * 0.01, ..Budget::default() };
        values[Measure::LowerHubTarget as usize] = Ok(Measured { value: -0.061, budget });
        values[Measure::LeadArm as usize] =
            Ok(Measured { value: std::f64::consts::FRAC_PI_4, budget: Budget::default() });
        let frame = MotionFrame { time: Seconds(1.0 / 60.0), filled: true, values };
        let text = String::from_utf8(series_csv(&[frame]).unwrap()).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let names = reader.headers().unwrap().clone();
        let row = reader.records().next().unwrap().unwrap();
        let field = |name: &str| row[names.iter().position(|n| n == name).unwrap()].to_owned();
        assert_eq!(field("time_s"), "0.01667");
        assert_eq!(field("filled"), "1");
        assert_eq!(field("lower_hub_target_cm"), "-6.1");
        assert_eq!(field("lower_hub_target_sd_cm"), "1");
        assert_eq!(field("lead_arm_deg"), "45");
        assert_eq!(field("separation_sd_deg"), "");
        assert_eq!(names.len(), 2 + 2 * Measure::ALL.len());
    }
}
