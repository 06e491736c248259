//! One clip from file to lifted body: everything that does not change when the coach
//! corrects an event or a mark, and by far the larger part of the work.

use crate::decode::{self, ClipInfo, Clock, Pictures, Sound, Timestamp};
use crate::error::Error;
use crate::events::{self, Strike, SwingSpan};
use crate::keypoints::{self, Guide, Networks, Sighting};
use crate::lift::{self, Corrector, Lifted};
use crate::options::{Clip, Options};
use crate::track::{self, GroundFollower, GroundMotion, Track};
use crate::units::Seconds;
use crate::warning::Warning;

use super::progress::Progress;
use super::timings::Timings;

/// Pictures a second of real time in the coarse scan: a downswing (0.2 to 0.3 s, FACTS A3.5)
/// still shows in three of them.
const SCAN_PER_S: f64 = 12.0;
/// Pictures a second of real time that are measured. A hub moves less than 1 m/s (FACTS A3.8:
/// 0.8 cm a frame at 120/s), so more frames cost time and add nothing that smoothing keeps.
const DENSE_PER_S: f64 = 125.0;
/// Whole pictures in parallel scale better than the network's own threads (DEVELOPERS.md).
const THREADS: usize = 2;
/// Sound around a rough impact: enough to tell a strike from the noise before and after it.
const HEARD_S: f64 = 1.5;
/// A true rate within this of the file's is the file's.
const SAME_RATE: f64 = 1.1;

/// The networks, loaded once for all clips.
pub struct Instruments {
    networks: Networks,
    corrector: Corrector,
}

impl Instruments {
    /// # Errors
    /// When an embedded network does not load.
    pub fn load(options: &Options) -> Result<Self, Error> {
        Ok(Self { networks: Networks::load(options.accuracy)?, corrector: Corrector::load()? })
    }
}

/// What one clip shows.
pub struct Observed {
    pub info: ClipInfo,
    pub sha256: String,
    pub clock: Clock,
    pub track: Track,
    pub lifted: Lifted,
    pub sound: Option<Sound>,
    pub warnings: Vec<Warning>,
}

impl Observed {
    /// The timestamp of the displayed frame `index`.
    #[must_use]
    pub fn timestamp(&self, index: usize) -> Option<Timestamp> {
        let ticks = *self.info.frames.get(index)?;
        Some(Timestamp { ticks, base: self.info.first.base })
    }
}

/// Looks at one clip.
///
/// # Errors
/// When the clip cannot be decoded, or shows no golfer or no swing.
pub fn observe(
    info: &ClipInfo,
    clip: &Clip,
    options: &Options,
    instruments: &Instruments,
    timings: &mut Timings,
) -> Result<Observed, Error> {
    let mut notes = Vec::new();
    let progress = Progress(options.progress);
    progress.say("looking for the golfer and the swing");
    let sha256 = timings.of("checksum", || decode::sha256(&clip.path))?;
    let clock = clock(info, clip);
    let scan = timings.of("scan", || scan(info, &clock, instruments))?;
    let golfer = track::choose(&scan, info.size, &clock)?.note(&mut notes);
    let spans = events::find_swings(&golfer.hands);
    let strikes = timings.of("sound", || hear(info, &clock, &spans))?;
    let span = events::pick(&spans, &strikes)?.note(&mut notes);
    if let Some(slow) = events::implausible_stretch(&span) {
        return Err(Error::Slow { file: clip.path.clone(), what: slow.message(info.average_fps) });
    }
    let (seen, ground) = timings.of("keypoints", || {
        watch(info, &clock, &span, &golfer.guide, instruments, progress, &mut notes)
    })?;
    let track =
        timings.of("track", || track::assemble(seen, &ground, info.size, &clock))?.note(&mut notes);
    let lifted = timings.of("lift", || {
        lift::lift(&track, options.handed, options.accuracy, &instruments.corrector)
    })?;
    let (Seconds(from), Seconds(to)) = span.window();
    let sound = timings.of("sound", || decode::sound(info, clock.file(from), clock.file(to)))?;
    let info = info.clone();
    Ok(Observed { info, sha256, clock, track, lifted, sound, warnings: notes })
}

fn clock(info: &ClipInfo, clip: &Clip) -> Clock {
    let told = clip.capture_fps.map(|fps| fps / info.average_fps).or_else(|| info.stretch());
    let stretch = told.filter(|s| *s > SAME_RATE || *s < 1.0 / SAME_RATE).unwrap_or(1.0);
    Clock { first_s: info.first.seconds(), stretch }
}

fn scan(info: &ClipInfo, clock: &Clock, instruments: &Instruments) -> Result<Vec<Sighting>, Error> {
    let step = clock.stretch / SCAN_PER_S;
    let pictures = Pictures::open(info, f64::NEG_INFINITY, f64::INFINITY, step)?;
    keypoints::scan(&instruments.networks, pictures, THREADS)
}

/// What was heard near the rough impact of each candidate: never the sound of a whole clip.
fn hear(info: &ClipInfo, clock: &Clock, spans: &[SwingSpan]) -> Result<Vec<Strike>, Error> {
    let mut strikes = Vec::new();
    for span in spans {
        let (from, to) = (span.impact.0 - HEARD_S, span.impact.0 + HEARD_S);
        if let Some(sound) = decode::sound(info, clock.file(from), clock.file(to))? {
            strikes.extend(events::find_strikes(&sound, clock));
        }
    }
    Ok(strikes)
}

/// The dense look at the swing: landmarks and the background's motion in one pass.
fn watch(
    info: &ClipInfo,
    clock: &Clock,
    span: &SwingSpan,
    guide: &Guide,
    instruments: &Instruments,
    progress: Progress,
    notes: &mut Vec<Warning>,
) -> Result<(Vec<Sighting>, GroundMotion), Error> {
    let (Seconds(from), Seconds(to)) = span.window();
    let step = clock.stretch / DENSE_PER_S;
    let mut pictures = Pictures::open(info, clock.file(from), clock.file(to), step)?;
    let mut ground = GroundFollower::new(info.size);
    let followed = pictures.by_ref().inspect(|picture| {
        if let Ok(picture) = picture {
            progress.show(clock.real(picture.time.seconds()) - from, to - from);
            let file_s = picture.time.seconds();
            let golfer = keypoints::place_at(guide, file_s);
            ground.push(picture.index, Seconds(clock.real(file_s)), &picture.pixels, golfer);
        }
    });
    let seen = keypoints::follow(&instruments.networks, followed, guide, THREADS);
    let seen: Vec<Sighting> = seen.map_err(|e: Error| e)?;
    notes.extend(pictures.warnings());
    Ok((seen, ground.finish().note(notes)))
}
