//! From observed clips to numbers. In: what each clip shows, the coach's marks. Out: events,
//! cameras, motion and the result. Pure and quick: no file is touched.

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::calibration::{self, Calibration, CalibrationRequest, CameraFacts, View};
use crate::error::Error;
use crate::events::{self, Events};
use crate::frames::Handed;
use crate::geometry::{self, Motion, ViewInput};
use crate::lift::{self, Corrector, Lifted};
use crate::options::{Clip, Options, Person};
use crate::results::{self, SwingMeasure, SwingResult};
use crate::units::Estimate;
use crate::warning::Warning;

use super::by_hand::{self, ByHand};
use super::lens;
use super::observe::Observed;

/// A distance to the camera is paced or taped to about this share (common practice, no source).
const DISTANCE_RELATIVE_SD: f64 = 0.02;
/// Nearer to face-on than this azimuth is face-on, radians: half way between the views.
const BETWEEN_VIEWS: f64 = std::f64::consts::FRAC_PI_4;

/// The golfer network was shown the pictures as of the other hand.
const OTHER_HAND: &str = "The other hand was chosen after the pictures were read, so turns and tilts come from the landmarks alone and are less sure; measure the clip again with this hand.";

/// One clip, timed and calibrated.
pub struct Viewed {
    /// Position among the observed clips.
    pub clip: usize,
    pub events: Events,
    /// With the points that were set by hand.
    pub lifted: Lifted,
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
    /// The result's notes with what they are about.
    pub notes: Vec<Warning>,
}

/// Turns what was observed into numbers.
///
/// # Errors
/// When a clip shows no whole swing, marks or corrections cannot be, two clips do not belong
/// together, or a person was marked whom nobody has looked at yet ([`Error::LookAgain`]).
pub fn evaluate(
    observed: &[Observed],
    options: &Options,
    mut notes: Vec<Warning>,
) -> Result<Evaluated, Error> {
    let mut timed = observed
        .iter()
        .zip(options.clips())
        .enumerate()
        .map(|(index, (seen, clip))| {
            notes.extend(seen.warnings.iter().cloned());
            Timed::new(index, seen, clip, options, &mut notes)
        })
        .collect::<Result<Vec<_>, Error>>()?;
    timed.sort_by_key(|t| t.by_hand.view() != View::FaceOn);
    let shown: Vec<View> = timed.iter().map(|t| t.by_hand.view()).collect();
    notes.extend(by_hand::note(options, &shown)?);
    if let [first, second] = timed.as_mut_slice() {
        let (a, b) = ((&mut first.events, &first.by_hand), (&mut second.events, &second.by_hand));
        by_hand::agree(a, b);
    }
    let mut views = timed
        .into_iter()
        .map(|t| t.calibrated(options, &mut notes))
        .collect::<Result<Vec<_>, Error>>()?;
    let inputs: Vec<ViewInput> = views
        .iter()
        .map(|v| ViewInput {
            lifted: &v.lifted,
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
    Ok(Evaluated { views, motion, result, notes })
}

/// Whom a clip must have been looked at for; compare with [`Observed::person`].
///
/// # Errors
/// When the landmarks cannot be lifted for the other hand.
pub fn person_wanted(
    seen: &Observed,
    clip: usize,
    options: &Options,
) -> Result<Option<Person>, Error> {
    let view = if let Some(view) = options.view(clip) {
        view
    } else {
        recognised(lifted(seen, options.hand())?.as_ref())
    };
    Ok(options.person(clip, view))
}

/// One clip with its events.
struct Timed<'a> {
    index: usize,
    seen: &'a Observed,
    clip: &'a Clip,
    lifted: Cow<'a, Lifted>,
    by_hand: ByHand<'a>,
    events: Events,
}

impl<'a> Timed<'a> {
    fn new(
        index: usize,
        seen: &'a Observed,
        clip: &'a Clip,
        options: &'a Options,
        notes: &mut Vec<Warning>,
    ) -> Result<Self, Error> {
        let hand = options.hand();
        let lifted = lifted(seen, hand)?;
        if hand != seen.handed {
            notes.push(Warning::new(OTHER_HAND));
        }
        let view = options.view(index).unwrap_or_else(|| recognised(&lifted));
        if options.person(index, view) != seen.person {
            return Err(Error::LookAgain { clip: index });
        }
        let by_hand = ByHand::new(options, view);
        let marks = by_hand.events(seen)?;
        // A point set by hand moves no event: those are set by hand themselves.
        let events = events::detect_marked(&lifted, hand, &seen.signs(), &marks)?.note(notes);
        Ok(Self { index, seen, clip, lifted, by_hand, events })
    }

    fn calibrated(self, options: &Options, notes: &mut Vec<Warning>) -> Result<Viewed, Error> {
        let points = self.by_hand.points(self.seen)?;
        let lifted = if points.is_empty() {
            self.lifted.into_owned()
        } else {
            lift::put(&self.lifted, &points)
        };
        let mut request = request(self.seen, self.clip, self.by_hand.view(), options);
        self.by_hand.request(&mut request);
        let calibration = calibration::calibrate(&lifted, &self.events, &request)?.note(notes);
        Ok(Viewed { clip: self.index, events: self.events, lifted, calibration, offset_s: 0.0 })
    }
}

/// The body for this hand: as it was observed, or lifted again from the same landmarks alone, as
/// the golfer network read the pictures for the other hand.
fn lifted(seen: &Observed, hand: Handed) -> Result<Cow<'_, Lifted>, Error> {
    if hand == seen.handed {
        return Ok(Cow::Borrowed(&seen.lifted));
    }
    let corrector = Corrector::load()?;
    let mut track = lens::straight(&seen.track, seen.lens.as_ref()).into_owned();
    for marks in track.frames.iter_mut().filter_map(|f| f.landmarks.as_mut()) {
        marks.golfer = None;
    }
    Ok(Cow::Owned(lift::lift(&track, hand, seen.accuracy, &corrector)?))
}

fn recognised(lifted: &Lifted) -> View {
    if lifted.camera.azimuth.value < BETWEEN_VIEWS { View::FaceOn } else { View::DownTheLine }
}

fn request(seen: &Observed, clip: &Clip, view: View, options: &Options) -> CalibrationRequest {
    let mut request = CalibrationRequest::new(view, options.hand(), seen.track.size);
    request.stature =
        options.stature.map(|s| Estimate::new(s.0, CalibrationRequest::STATED_STATURE_SD));
    request.references = clip.reference.into_iter().collect();
    request.vertical = clip.vertical;
    request.target_line = clip.target_line;
    request.ground.clone_from(&clip.ground);
    if options.find_rod {
        request.sticks.clone_from(&seen.sticks);
    }
    request.lens = seen.lens;
    request.camera = clip.camera_fov.map(|field_of_view| CameraFacts {
        field_of_view,
        distance: clip.camera_distance.map(|d| Estimate::new(d.0, DISTANCE_RELATIVE_SD * d.0)),
    });
    request
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
        handed: options.hand(),
        clips: &clips,
        method: calibration.method,
        scale_relative_sd: relative_sd,
        events: &motion.events,
        at_events: &at_events,
        swing: &swing,
        notes,
        corrections: options.corrections(),
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

#[cfg(test)]
mod pairs;
