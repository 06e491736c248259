//! Somebody who waits for a clip. In: how far the work is. Out: nothing, or the wish to stop.

use std::sync::{Mutex, PoisonError};
use std::time::Instant;

use image::RgbImage;

use crate::error::Error;

use super::progress::Progress;
use super::timings::Timings;

/// What is being done with a clip, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// The file's checksum.
    Checksum,
    /// The first look: who is there, and when does he swing?
    Scan,
    /// Strikes in the sound.
    Sound,
    /// The second look: every picture of the swing. By far the longest beside the scan.
    Keypoints,
    Track,
    Lift,
}

impl Step {
    pub const ALL: [Self; 6] =
        [Self::Checksum, Self::Scan, Self::Sound, Self::Keypoints, Self::Track, Self::Lift];

    /// A short name, for timings and files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Checksum => "checksum",
            Self::Scan => "scan",
            Self::Sound => "sound",
            Self::Keypoints => "keypoints",
            Self::Track => "track",
            Self::Lift => "lift",
        }
    }

    /// Share of the whole observation that is done when this share of the step is. Measured on
    /// a clip of three seconds; longer ones spend more in the scan.
    #[must_use]
    pub fn overall(self, share: f64) -> f64 {
        let (from, to) = match self {
            Self::Checksum => (0.0, 0.01),
            Self::Scan => (0.01, 0.4),
            Self::Sound => (0.4, 0.41),
            Self::Keypoints => (0.41, 0.97),
            Self::Track => (0.97, 0.98),
            Self::Lift => (0.98, 1.0),
        };
        from + (to - from) * share.clamp(0.0, 1.0)
    }
}

/// Called while a clip is looked at, from more than one thread.
pub trait Watcher: Sync {
    /// `share` of the step is done, 0..=1; 0 when it begins.
    fn step(&self, step: Step, share: f64);

    /// The first picture in which somebody was found, with the body drawn on it.
    fn first_picture(&self, _drawn: &RgbImage) {}

    /// Whether `first_picture` is wanted: drawing takes a moment.
    fn wants_first_picture(&self) -> bool {
        false
    }

    /// Asked before each picture; the observation then ends with [`Error::Cancelled`].
    fn is_cancelled(&self) -> bool {
        false
    }
}

/// Nobody waits.
#[derive(Clone, Copy, Debug, Default)]
pub struct Nobody;

impl Watcher for Nobody {
    fn step(&self, _: Step, _: f64) {}
}

/// # Errors
/// When the watcher wants to stop.
pub(super) fn go_on(watcher: &dyn Watcher) -> Result<(), Error> {
    if watcher.is_cancelled() { Err(Error::Cancelled) } else { Ok(()) }
}

/// The terminal: a line of progress, and how long each step took.
pub(super) struct Terminal {
    progress: Progress,
    timings: Mutex<(Timings, Option<(Step, Instant)>)>,
}

impl Terminal {
    pub fn new(progress: bool) -> Self {
        Self { progress: Progress(progress), timings: Mutex::new((Timings::default(), None)) }
    }

    /// Runs `work` as a stage of its own, outside the steps.
    pub fn time<T>(&self, stage: &'static str, work: impl FnOnce() -> T) -> T {
        self.finish();
        let start = Instant::now();
        let output = work();
        self.with(|(timings, _)| timings.add(stage, start.elapsed()));
        output
    }

    /// Ends the step that runs and clears the line.
    pub fn finish(&self) {
        self.change(None);
        self.progress.say("");
    }

    pub fn lines(&self) -> String {
        self.with(|(timings, _)| timings.lines())
    }

    fn change(&self, next: Option<Step>) {
        self.with(|(timings, running)| {
            if let Some((step, since)) = running.take() {
                timings.add(step.name(), since.elapsed());
            }
            *running = next.map(|step| (step, Instant::now()));
        });
    }

    fn with<T>(&self, work: impl FnOnce(&mut (Timings, Option<(Step, Instant)>)) -> T) -> T {
        // Times are whole whatever happened to the thread that held them.
        work(&mut self.timings.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Watcher for Terminal {
    fn step(&self, step: Step, share: f64) {
        if self.with(|(_, running)| running.is_none_or(|(now, _)| now != step)) {
            self.change(Some(step));
        }
        match step {
            Step::Checksum | Step::Scan => {
                self.progress.show("looking for the golfer and the swing", share);
            }
            Step::Keypoints => self.progress.show("reading the swing", share),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_runs_from_nothing_to_everything_without_a_step_back() {
        let mut last = 0.0;
        for step in Step::ALL {
            for share in [0.0, 0.5, 1.0] {
                assert!(step.overall(share) >= last);
                last = step.overall(share);
            }
        }
        assert!((last - 1.0).abs() < 1e-12);
    }

    #[test]
    fn each_step_is_timed_once() {
        let terminal = Terminal::new(false);
        for (step, share) in
            [(Step::Scan, 0.0), (Step::Scan, 0.7), (Step::Lift, 0.0), (Step::Scan, 0.0)]
        {
            terminal.step(step, share);
        }
        terminal.time("write", || ());
        let lines = terminal.lines();
        let names: Vec<&str> =
            lines.lines().filter_map(|line| line.split_whitespace().next()).collect();
        assert_eq!(names, ["scan", "lift", "write"]);
    }
}
