//! One clip from file to lifted body: everything that does not change when the coach
//! corrects an event or a mark, and by far the larger part of the work.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use crate::decode::{self, ClipInfo, Clock, Picture, Pictures, Sound};
use crate::error::Error;
use crate::events::{self, Strike, SwingSpan};
use crate::frames::Handed;
use crate::keypoints::{self, Landmarks, Networks, Sighting};
use crate::lift::{self, Corrector};
use crate::options::{Clip, Options, Person};
use crate::track::{self, BallWatcher, Departure, Golfer, GroundFollower, GroundMotion, Marked};
use crate::units::Seconds;
use crate::warning::Warning;

pub use super::faces::Face;
pub use super::observed::{Observed, ObservedError};
use super::watcher::{Step, Watcher, go_on};
use super::{faces, first, lens, rod};

/// Pictures a second of real time in the coarse scan: a downswing (0.2 to 0.3 s, FACTS A3.5)
/// still shows in three of them.
const SCAN_PER_S: f64 = 12.0;
/// Pictures a second of real time that are measured. A hub moves less than 1 m/s (FACTS A3.8:
/// 0.8 cm a frame at 120/s), so more frames cost time and add nothing that smoothing keeps.
const DENSE_PER_S: f64 = 125.0;
/// Whole pictures in parallel scale better than the network's own threads (DEVELOPERS.md).
const THREADS: usize = 2;
/// A true rate within this of the file's is the file's.
const SAME_RATE: f64 = 1.1;

/// The networks, loaded once for all clips.
pub struct Instruments {
    pub(super) networks: Networks,
    corrector: Corrector,
}

impl Instruments {
    /// # Errors
    /// When an embedded network does not load.
    pub fn load(options: &Options) -> Result<Self, Error> {
        Ok(Self { networks: Networks::load(options.accuracy)?, corrector: Corrector::load()? })
    }
}

/// Looks at one clip.
///
/// # Errors
/// When the clip cannot be decoded, shows no golfer or no swing, or the watcher wants to stop.
pub fn observe(
    info: &ClipInfo,
    clip: &Clip,
    options: &Options,
    instruments: &Instruments,
    watcher: &dyn Watcher,
) -> Result<Observed, Error> {
    let mut notes = Vec::new();
    let lens = clip.lens.as_ref().map(|file| lens::read(file, info.size)).transpose()?;
    notes.extend(lens.as_ref().map(|lens| lens::note(lens, info.size)));
    let look = Look { info, clock: clock(info, clip), instruments, watcher };
    look.begin(Step::Checksum)?;
    let sha256 = clip.sha256.clone().map_or_else(|| decode::sha256(&clip.path), Ok)?;
    look.begin(Step::Scan)?;
    let scan = look.scan()?;
    let golfer = look.find(&scan, clip.person)?.note(&mut notes);
    let others = faces::others(&scan, &golfer.guide);
    look.begin(Step::Sound)?;
    let (span, sound) = look.listen(&golfer, &mut notes)?;
    let fps = info.average_fps * look.clock.stretch;
    if let Some(slow) = events::implausible_stretch(&span, fps) {
        return Err(Error::Slow { file: clip.path.clone(), slow });
    }
    look.begin(Step::Keypoints)?;
    let (handed, accuracy) = (options.hand(), options.accuracy);
    let (seen, ground, departures) = look.read(&span, &golfer, handed, &mut notes)?;
    look.begin(Step::Track)?;
    let track = track::assemble(seen, &ground, info.size, &look.clock)?.note(&mut notes);
    look.begin(Step::Lift)?;
    let straight = lens::straight(&track, lens.as_ref());
    let lifted = lift::lift(&straight, handed, accuracy, &instruments.corrector)?;
    let mut seen = Observed {
        info: info.clone(),
        sha256,
        clock: look.clock,
        person: clip.person,
        handed,
        accuracy,
        track,
        lens,
        lifted,
        sticks: Vec::new(),
        sound,
        departures,
        others,
        warnings: notes,
    };
    seen.sticks = rod::sticks(&seen)?;
    watcher.step(Step::Lift, 1.0);
    Ok(seen)
}

fn clock(info: &ClipInfo, clip: &Clip) -> Clock {
    let told = clip.capture_fps.map(|fps| info.stretch_at(fps)).or_else(|| info.stretch());
    let stretch = told.filter(|s| *s > SAME_RATE || *s < 1.0 / SAME_RATE).unwrap_or(1.0);
    Clock { first_s: info.first.seconds(), stretch }
}

/// One clip and who looks at it.
struct Look<'a> {
    info: &'a ClipInfo,
    clock: Clock,
    instruments: &'a Instruments,
    watcher: &'a dyn Watcher,
}

impl Look<'_> {
    fn begin(&self, step: Step) -> Result<(), Error> {
        self.watcher.step(step, 0.0);
        go_on(self.watcher)
    }

    /// The pictures, until the watcher wants to stop; tells it how far they are.
    fn watched(
        &self,
        pictures: impl Iterator<Item = Result<Picture, decode::DecodeError>>,
        step: Step,
        (from, to): (f64, f64),
    ) -> impl Iterator<Item = Result<Picture, Error>> {
        pictures.map(move |picture| {
            go_on(self.watcher)?;
            let picture = picture?;
            let at = self.clock.real(picture.time.seconds());
            self.watcher.step(step, ((at - from) / (to - from).max(1e-9)).clamp(0.0, 1.0));
            Ok(picture)
        })
    }

    fn scan(&self) -> Result<Vec<Sighting>, Error> {
        let step = self.clock.stretch / SCAN_PER_S;
        let pictures = Pictures::open(self.info, f64::NEG_INFINITY, f64::INFINITY, step)?;
        let whole = (0.0, self.info.duration_s / self.clock.stretch);
        let pictures = self.watched(pictures, Step::Scan, whole);
        let shown = AtomicBool::new(!self.watcher.wants_first_picture());
        let read = AtomicUsize::new(0);
        let show = |picture: &Picture, people: &[Landmarks]| {
            // Another thread's picture may be read before the first one, which is waited for.
            let due = read.fetch_add(1, Ordering::Relaxed) >= 2 * THREADS || picture.index == 0;
            if due && !people.is_empty() && !shown.swap(true, Ordering::Relaxed) {
                self.watcher.first_picture(&first::drawn(&picture.pixels, people));
            }
        };
        keypoints::scan(&self.instruments.networks, pictures, THREADS, show)
    }

    /// The one who swings, or the one the coach has pointed at.
    fn find(
        &self,
        scan: &[Sighting],
        person: Option<Person>,
    ) -> Result<crate::warning::Warned<Golfer>, Error> {
        let marked = match person {
            None => None,
            Some(person) => {
                let ticks = self.info.frames.get(person.frame);
                let ticks = *ticks.ok_or(Error::NoSuchFrame {
                    frame: person.frame,
                    frames: self.info.frames.len(),
                })?;
                let file_s = decode::Timestamp { ticks, base: self.info.first.base }.seconds();
                Some(Marked { file_s, at: person.at })
            }
        };
        Ok(track::choose(scan, self.info.size, &self.clock, marked)?)
    }

    /// The swing to measure and its sound. Only where there are several is the sound needed to
    /// tell them apart; it is never that of a whole clip.
    fn listen(
        &self,
        golfer: &Golfer,
        notes: &mut Vec<Warning>,
    ) -> Result<(SwingSpan, Option<Sound>), Error> {
        let spans = events::find_swings(&golfer.hands);
        if let [_] = spans.as_slice() {
            let span = events::pick(&spans, &[])?.note(notes);
            return Ok((span, self.sound(&span)?));
        }
        let mut sounds = Vec::new();
        let mut strikes: Vec<Strike> = Vec::new();
        for span in &spans {
            go_on(self.watcher)?;
            let sound = self.sound(span)?;
            strikes.extend(sound.iter().flat_map(|s| events::find_strikes(s, &self.clock)));
            sounds.push(sound);
        }
        let span = events::pick(&spans, &strikes)?.note(notes);
        let sound = spans.iter().zip(sounds).find(|(s, _)| **s == span);
        Ok((span, sound.and_then(|(_, sound)| sound)))
    }

    fn sound(&self, span: &SwingSpan) -> Result<Option<Sound>, Error> {
        let (Seconds(from), Seconds(to)) = span.window();
        Ok(decode::sound(self.info, self.clock.file(from), self.clock.file(to))?)
    }

    /// The dense look at the swing: landmarks, the background's motion and what leaves its place
    /// on the ground, in one pass.
    fn read(
        &self,
        span: &SwingSpan,
        golfer: &Golfer,
        handed: Handed,
        notes: &mut Vec<Warning>,
    ) -> Result<(Vec<Sighting>, GroundMotion, Vec<Departure>), Error> {
        let (clock, guide) = (&self.clock, &golfer.guide);
        let (Seconds(from), Seconds(to)) = span.window();
        let step = clock.stretch / DENSE_PER_S;
        let mut pictures = Pictures::open(self.info, clock.file(from), clock.file(to), step)?;
        let mut ground = GroundFollower::new(self.info.size);
        let about_impact = keypoints::place_at(guide, clock.file(span.impact.0));
        let mut ball = about_impact
            .and_then(|roi| BallWatcher::new(self.info.size, roi, &golfer.hands, span.impact));
        let watched = self.watched(pictures.by_ref(), Step::Keypoints, (from, to));
        let followed = watched.inspect(|picture| {
            if let Ok(picture) = picture {
                let file_s = picture.time.seconds();
                let time = Seconds(clock.real(file_s));
                let golfer = keypoints::place_at(guide, file_s);
                ground.push(picture.index, time, &picture.pixels, golfer);
                if let Some(ball) = &mut ball {
                    ball.push(picture.index, time, &picture.pixels);
                }
            }
        });
        let seen: Vec<Sighting> =
            keypoints::follow(&self.instruments.networks, followed, guide, THREADS, handed)
                .map_err(|e: Error| e)?;
        notes.extend(pictures.warnings());
        let ground = ground.finish().note(notes);
        let departures = ball.map_or_else(Vec::new, |ball| ball.finish(&ground));
        Ok((seen, ground, departures))
    }
}
