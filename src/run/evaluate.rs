//! From observed clips to numbers. In: what each clip shows, the coach's marks. Out: events,
//! cameras, motion and the result. Pure and quick: no file is touched.

use std::collections::BTreeMap;

use crate::calibration::{self, Calibration, CalibrationRequest, CameraFacts, Segment, View};
use crate::error::Error;
use crate::events::{self, Events};
use crate::geometry::{self, Motion, ViewInput};
use crate::lift::Lifted;
use crate::options::{Clip, Line, Options, Place, Reference};
use crate::results::{self, SwingMeasure, SwingResult};
use crate::units::Estimate;
use crate::warning::Warning;

use super::observe::Observed;

/// A mark's length is read off a tape or known from the maker to about half a centimetre
/// (common practice, no source).
const REFERENCE_SD_M: f64 = 0.005;
/// A distance to the camera is paced or taped to about this share (common practice, no source).
const DISTANCE_RELATIVE_SD: f64 = 0.02;
/// Nearer to face-on than this azimuth is face-on, radians: half way between the views.
const BETWEEN_VIEWS: f64 = std::f64::consts::FRAC_PI_4;

/// One clip, timed and calibrated.
pub struct Viewed {
    /// Position among the observed clips.
    pub clip: usize,
    pub events: Events,
    pub calibration: Calibration,
    /// Real time of the clip's first displayed frame on the result's clock, seconds.
    pub offset_s: f64,
}

/// The numbers of one swing.
pub struct Evaluated {
    /// Face-on first.
    pub views: Vec<Viewed>,
    pub motion: Motion,
    pub result: SwingResult,
}

/// Turns what was observed into numbers.
///
/// # Errors
/// When a clip shows no whole swing, marks contradict each other, or two clips do not belong
/// together.
pub fn evaluate(
    observed: &[Observed],
    options: &Options,
    mut notes: Vec<Warning>,
) -> Result<Evaluated, Error> {
    let mut views = observed
        .iter()
        .zip(options.clips())
        .enumerate()
        .map(|(index, (seen, clip))| {
            notes.extend(seen.warnings.iter().cloned());
            view(index, seen, clip, options, &mut notes)
        })
        .collect::<Result<Vec<_>, Error>>()?;
    views.sort_by_key(|v| v.calibration.view != View::FaceOn);
    let inputs: Vec<ViewInput> = views
        .iter()
        .map(|v| ViewInput {
            lifted: &observed[v.clip].lifted,
            events: &v.events,
            calibration: &v.calibration,
            camera_motion: observed[v.clip].track.motion,
        })
        .collect();
    let motion = geometry::motion(&inputs)?.note(&mut notes);
    if let (Some(offset), Some(second)) = (motion.offset, views.get_mut(1)) {
        second.offset_s = -offset.value;
    }
    let result = write_down(observed, &views, &motion, options, &notes);
    Ok(Evaluated { views, motion, result })
}

fn view(
    index: usize,
    seen: &Observed,
    clip: &Clip,
    options: &Options,
    notes: &mut Vec<Warning>,
) -> Result<Viewed, Error> {
    let events =
        events::detect(&seen.lifted, options.handed, seen.sound.as_ref(), &seen.clock)?.note(notes);
    let view = clip.view.unwrap_or_else(|| recognised(&seen.lifted));
    let request = request(seen, clip, view, options);
    let calibration = calibration::calibrate(&seen.lifted, &events, &request)?.note(notes);
    Ok(Viewed { clip: index, events, calibration, offset_s: 0.0 })
}

fn recognised(lifted: &Lifted) -> View {
    if lifted.camera.azimuth.value < BETWEEN_VIEWS { View::FaceOn } else { View::DownTheLine }
}

fn request(seen: &Observed, clip: &Clip, view: View, options: &Options) -> CalibrationRequest {
    let mut request = CalibrationRequest::new(view, options.handed, seen.track.size);
    request.stature =
        options.stature.map(|s| Estimate::new(s.0, CalibrationRequest::STATED_STATURE_SD));
    request.references = clip.reference.iter().map(reference).collect();
    request.vertical = clip.vertical.map(segment);
    request.target_line = clip.target_line.map(segment);
    request.camera = clip.camera_fov.map(|field_of_view| CameraFacts {
        field_of_view,
        distance: clip.camera_distance.map(|d| Estimate::new(d.0, DISTANCE_RELATIVE_SD * d.0)),
    });
    request
}

fn segment(line: Line) -> Segment {
    Segment { from: line.from, to: line.to }
}

fn reference(given: &Reference) -> calibration::Reference {
    calibration::Reference {
        marks: segment(given.line),
        length: Estimate::new(given.length.0, REFERENCE_SD_M),
        place: match given.place {
            Place::Feet => calibration::Place::Feet,
            Place::BallLine => calibration::Place::BallLine { front_m: None },
            Place::Hips => calibration::Place::Hips,
        },
    }
}

fn write_down(
    observed: &[Observed],
    views: &[Viewed],
    motion: &Motion,
    options: &Options,
    notes: &[Warning],
) -> SwingResult {
    let clips: Vec<results::Clip> =
        views.iter().map(|v| clip_facts(&observed[v.clip], v)).collect();
    let calibration = &views[0].calibration;
    let relative_sd =
        views.iter().map(|v| v.calibration.scale_relative_sd()).fold(f64::INFINITY, f64::min);
    let at_events =
        motion.at_events.iter().map(|at| (at.event, at.frame.values)).collect::<BTreeMap<_, _>>();
    let swing = BTreeMap::from([
        (SwingMeasure::BackswingS, motion.swing.backswing_s),
        (SwingMeasure::DownswingS, motion.swing.downswing_s),
        (SwingMeasure::Tempo, motion.swing.tempo),
        (SwingMeasure::SeparationGain, motion.swing.separation_gain),
        (SwingMeasure::PelvisLeadS, motion.swing.pelvis_lead_s),
    ]);
    results::assemble(&results::Measurement {
        stature_m: options.stature.map(|s| s.0),
        handed: options.handed,
        clips: &clips,
        method: calibration.method,
        scale_relative_sd: relative_sd,
        events: &motion.events,
        at_events: &at_events,
        swing: &swing,
        notes,
    })
}

fn clip_facts(seen: &Observed, viewed: &Viewed) -> results::Clip {
    let file = seen.info.path.file_name().unwrap_or(seen.info.path.as_os_str());
    let seconds = |index: usize| seen.timestamp(index).map(|t| t.seconds());
    results::Clip {
        view: viewed.calibration.view,
        file: file.to_string_lossy().into_owned(),
        sha256: seen.sha256.clone(),
        size: seen.info.size,
        file_times: (0..seen.info.frames.len()).filter_map(seconds).collect(),
        stretch: seen.clock.stretch,
        motion: seen.track.motion,
        offset_s: viewed.offset_s,
    }
}
