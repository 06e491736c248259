//! From the pipeline's types to the plain result. In: one measured swing. Out: [`SwingResult`].

use std::collections::BTreeMap;

use super::round::{at, rounded, significant};
use super::{
    Causes, ClipEntry, Correction, EventEntry, Explanation, MotionNote, Pupil, SCHEMA, ScaleEntry,
    SwingMeasure, SwingResult, Unit, Value,
};
use crate::calibration::{ScaleMethod, View};
use crate::events::{Event, Events};
use crate::frames::{Handed, PictureSize};
use crate::geometry::{Measure, Measured, Missing};
use crate::track::CameraMotion;
use crate::units::Estimate;
use crate::warning::{Kind, Warning};

/// What is known about one clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    pub view: View,
    /// File name without its folder.
    pub file: String,
    pub sha256: String,
    pub size: PictureSize,
    /// File time of every displayed frame, seconds, in order.
    pub file_times: Vec<f64>,
    /// Seconds of file time for one second of real time.
    pub stretch: f64,
    pub motion: CameraMotion,
    /// Real time of the first displayed frame on the result's clock, seconds.
    pub offset_s: f64,
}

/// One measured swing.
#[derive(Clone, Debug)]
pub struct Measurement<'a> {
    pub stature_m: Option<f64>,
    pub handed: Handed,
    pub clips: &'a [Clip],
    pub method: ScaleMethod,
    pub scale_relative_sd: f64,
    /// On the result's clock.
    pub events: &'a Events,
    /// What was measured at each event, indexed by `Measure as usize`.
    pub at_events: &'a BTreeMap<Event, [Result<Measured, Missing>; Measure::ALL.len()]>,
    /// In seconds, radians, or a plain ratio.
    pub swing: &'a BTreeMap<SwingMeasure, Result<Estimate, Missing>>,
    pub notes: &'a [Warning],
    pub corrections: &'a [Correction],
}

/// Writes the measurement down.
#[must_use]
pub fn assemble(measured: &Measurement<'_>) -> SwingResult {
    SwingResult {
        schema: SCHEMA.to_owned(),
        program: format!("hubgauge {}", env!("CARGO_PKG_VERSION")),
        pupil: Pupil { stature_m: measured.stature_m.map(|m| at(m, 4)), handed: measured.handed },
        clips: measured.clips.iter().map(|clip| clip_entry(clip, measured.clips.len())).collect(),
        scale: ScaleEntry {
            method: measured.method,
            relative_sd: significant(measured.scale_relative_sd),
        },
        events: event_entries(measured),
        measures: measures(measured),
        swing: measured.swing.iter().map(|(&key, value)| (key, swing_value(key, *value))).collect(),
        explain: explanation(measured),
        notes: notes(measured.notes, |kind| option(kind, measured.handed)),
        corrections: measured.corrections.to_vec(),
    }
}

fn clip_entry(clip: &Clip, clips: usize) -> ClipEntry {
    ClipEntry {
        view: clip.view,
        file: clip.file.clone(),
        sha256: clip.sha256.clone(),
        frames: clip.file_times.len(),
        width: clip.size.width,
        height: clip.size.height,
        first_s: at(clip.file_times.first().copied().unwrap_or_default(), 6),
        last_s: at(clip.file_times.last().copied().unwrap_or_default(), 6),
        time_scale: at(clip.stretch, 6),
        camera_motion: match clip.motion {
            CameraMotion::Still => MotionNote::Still,
            CameraMotion::Compensated { .. } => MotionNote::Compensated,
            CameraMotion::Untrusted => MotionNote::Untrusted,
        },
        offset_s: (clips > 1).then(|| at(clip.offset_s, 5)),
    }
}

fn event_entries(measured: &Measurement<'_>) -> BTreeMap<Event, EventEntry> {
    let entry = |event: Event| {
        let when = measured.events.at(event)?;
        let (time_s, sd_s) = rounded(when.value, when.sd);
        let frames = measured
            .clips
            .iter()
            .filter_map(|clip| Some((clip.view, nearest_frame(clip, when.value)?)))
            .collect();
        Some((event, EventEntry { time_s, sd_s, frames }))
    };
    Event::ALL.into_iter().filter_map(entry).collect()
}

/// The displayed frame nearest to a time of the result's clock; none where the clip does not
/// reach that far (by more than half a frame's usual spacing).
fn nearest_frame(clip: &Clip, time_s: f64) -> Option<usize> {
    let (first, last) = (*clip.file_times.first()?, *clip.file_times.last()?);
    let file_s = first + (time_s - clip.offset_s) * clip.stretch;
    #[expect(clippy::cast_precision_loss, reason = "a clip's frames stay far below 2^53")]
    let spacing = (last - first) / (clip.file_times.len().max(2) - 1) as f64;
    if file_s < first - spacing || file_s > last + spacing {
        return None;
    }
    let far = |index: &usize| (clip.file_times[*index] - file_s).abs();
    (0..clip.file_times.len()).min_by(|a, b| far(a).total_cmp(&far(b)))
}

fn measures(measured: &Measurement<'_>) -> BTreeMap<Event, BTreeMap<Measure, Value>> {
    let value = |(measure, got): (Measure, &Result<Measured, Missing>)| {
        let value = match got {
            Ok(known) => Value::new(outside(measure, known.estimate()), unit(measure)),
            Err(reason) => Value::missing(super::words::reason(*reason)),
        };
        (measure, value)
    };
    measured
        .at_events
        .iter()
        .map(|(&event, values)| (event, Measure::ALL.into_iter().zip(values).map(value).collect()))
        .collect()
}

fn explanation(measured: &Measurement<'_>) -> Explanation {
    let causes = |(measure, got): (Measure, &Result<Measured, Missing>)| {
        Some((measure, Causes::shares(&got.as_ref().ok()?.budget)?))
    };
    let sources = measured.at_events.iter().map(|(&event, values)| {
        (event, Measure::ALL.into_iter().zip(values).filter_map(causes).collect())
    });
    Explanation {
        sources: sources.filter(|(_, causes): &(_, BTreeMap<_, _>)| !causes.is_empty()).collect(),
    }
}

fn swing_value(key: SwingMeasure, got: Result<Estimate, Missing>) -> Value {
    match (key, got) {
        (_, Err(reason)) => Value::missing(super::words::reason(reason)),
        (SwingMeasure::Tempo, Ok(known)) => Value::new(known, Unit::Ratio),
        (SwingMeasure::SeparationGain, Ok(known)) => Value::new(degrees(known), Unit::Deg),
        (_, Ok(known)) => Value::new(known, Unit::S),
    }
}

/// From metres or radians to the measure's unit outside.
pub(super) fn outside(measure: Measure, inside: Estimate) -> Estimate {
    if measure.is_length() { inside.scaled(100.0) } else { degrees(inside) }
}

fn degrees(radians: Estimate) -> Estimate {
    radians.scaled(180.0 / std::f64::consts::PI)
}

fn unit(measure: Measure) -> Unit {
    if measure.is_length() { Unit::Cm } else { Unit::Deg }
}

/// Each note once, with what `control` names for it.
#[must_use]
pub fn notes<C: AsRef<str>>(
    warnings: &[Warning],
    control: impl Fn(Kind) -> Option<C>,
) -> Vec<String> {
    let mut notes: Vec<String> = Vec::new();
    for warning in warnings {
        let note = warning.naming(control(warning.kind).as_ref().map(AsRef::as_ref));
        if !notes.contains(&note) {
            notes.push(note);
        }
    }
    notes
}

/// The option of the command line that answers a note.
fn option(kind: Kind, handed: Handed) -> Option<&'static str> {
    match (kind, handed) {
        (Kind::FoundRod, _) => Some("--no-rod"),
        (Kind::OtherHand, Handed::Right) => Some("--handed left"),
        (Kind::OtherHand, Handed::Left) => Some("--handed right"),
        (Kind::Said | Kind::RoughPair, _) => None,
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::events::ImpactSource;
    use crate::geometry::Budget;
    use crate::units::Seconds;

    /// A swing with invented numbers, face-on, 60 frames a second.
    pub fn invented() -> SwingResult {
        let clip = clip(0.0, 1.0, 180);
        let events = events();
        let at_events = Event::ALL.into_iter().map(|event| (event, values(event))).collect();
        let swing = [
            (SwingMeasure::BackswingS, Ok(Estimate::new(0.861_23, 0.021_2))),
            (SwingMeasure::DownswingS, Ok(Estimate::new(0.270_1, 0.010_3))),
            (SwingMeasure::Tempo, Ok(Estimate::new(3.19, 0.14))),
            (SwingMeasure::SeparationGain, Err(Missing::NotSeen)),
        ];
        assemble(&Measurement {
            stature_m: Some(1.79),
            handed: Handed::Right,
            clips: &[clip],
            method: ScaleMethod::Stature,
            scale_relative_sd: 0.030_04,
            events: &events,
            at_events: &at_events,
            swing: &swing.into_iter().collect(),
            notes: &[Warning::new("invented numbers"), Warning::new("invented numbers")],
            corrections: &[],
        })
    }

    fn events() -> Events {
        let at = |time| Some(Estimate::new(time, 0.008));
        Events {
            address: (Seconds(0.5), Seconds(0.9)),
            takeaway: at(1.0),
            arm_level_back: at(1.516),
            top: Estimate::new(1.86, 0.008),
            transition: at(2.008),
            impact: at(2.13),
            finish: at(2.75),
            impact_source: ImpactSource::Sound,
            by_hand: Vec::new(),
        }
    }

    fn clip(first_s: f64, stretch: f64, frames: u32) -> Clip {
        Clip {
            view: View::FaceOn,
            file: "a.mp4".into(),
            sha256: "0".repeat(64),
            size: PictureSize { width: 720, height: 1280 },
            file_times: (0..frames).map(|i| first_s + f64::from(i) * stretch / 60.0).collect(),
            stretch,
            motion: CameraMotion::Still,
            offset_s: 0.0,
        }
    }

    fn values(event: Event) -> [Result<Measured, Missing>; Measure::ALL.len()] {
        let known = |value: f64, sd: f64| {
            let variance = sd * sd;
            let budget =
                Budget { keypoints: 0.7 * variance, scale: 0.3 * variance, ..Budget::default() };
            Ok(Measured { value, budget })
        };
        std::array::from_fn(|index| match Measure::ALL[index] {
            Measure::LowerHubTarget => known(-0.061_23, 0.009_1),
            Measure::UpperHubTarget => known(0.05, 0.008),
            Measure::SpineTilt => known(-12.5_f64.to_radians(), 1.5_f64.to_radians()),
            Measure::ThoraxTurn => known(112.3_f64.to_radians(), 9.3_f64.to_radians()),
            Measure::ShoulderSlope if event == Event::Top => Err(Missing::TurnedTooFar),
            measure if measure as usize % 3 == 1 && measure.is_length() => {
                Err(Missing::NeedsDownTheLine)
            }
            Measure::ForwardBend => Err(Missing::NeedsDownTheLine),
            _ => known(0.02, 0.01),
        })
    }

    #[test]
    fn units_and_digits_are_the_reader_s() {
        let result = invented();
        let top = &result.measures[&Event::Top];
        assert_eq!(
            top[&Measure::LowerHubTarget],
            Value::Known { value: -6.123, sd: 0.91, unit: Unit::Cm }
        );
        assert_eq!(
            top[&Measure::SpineTilt],
            Value::Known { value: -12.5, sd: 1.5, unit: Unit::Deg }
        );
        assert_eq!(top[&Measure::ForwardBend], Value::missing("needs a down-the-line clip"));
        assert_eq!(
            result.swing[&SwingMeasure::Tempo],
            Value::Known { value: 3.19, sd: 0.14, unit: Unit::Ratio }
        );
        assert_eq!(result.notes, ["invented numbers"]);
        let causes = result.explain.sources[&Event::Top][&Measure::LowerHubTarget];
        assert_eq!((causes.keypoints, causes.scale, causes.timing), (0.7, 0.3, 0.0));
    }

    #[test]
    fn a_note_names_what_answers_it_where_it_is_read() {
        let all = [Warning::of(Kind::FoundRod, "A rod was found."), Warning::new("The sun shone.")];
        let as_typed = notes(&all, |kind| option(kind, Handed::Right));
        assert_eq!(as_typed, ["A rod was found (--no-rod).", "The sun shone."]);
    }

    #[test]
    fn a_written_result_reads_back() {
        let result = invented();
        assert_eq!(SwingResult::from_json(&result.to_json().unwrap()).unwrap(), result);
    }

    #[test]
    fn the_frame_of_an_event_is_the_nearest_displayed_one_of_each_clip() {
        assert_eq!(invented().events[&Event::Impact].frames[&View::FaceOn], 128);
        let slow = clip(3.0, 8.0, 180);
        assert_eq!(nearest_frame(&slow, 2.13), Some(128));
        let later = Clip { offset_s: 1.0, ..clip(0.0, 1.0, 180) };
        assert_eq!(nearest_frame(&later, 2.13), Some(68));
        assert_eq!(nearest_frame(&later, 0.5), None);
        assert_eq!(nearest_frame(&Clip { file_times: Vec::new(), ..later }, 2.0), None);
    }
}
