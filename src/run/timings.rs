//! How long each stage took. In: stage names and work. Out: lines for standard error.

use std::time::{Duration, Instant};

/// Wall time by stage, in the order the stages first ran.
#[derive(Debug, Default)]
pub struct Timings(Vec<(&'static str, Duration)>);

impl Timings {
    /// Runs `work` and adds its wall time to `stage`.
    pub fn of<T>(&mut self, stage: &'static str, work: impl FnOnce() -> T) -> T {
        let start = Instant::now();
        let output = work();
        let took = start.elapsed();
        match self.0.iter_mut().find(|(name, _)| *name == stage) {
            Some((_, sum)) => *sum += took,
            None => self.0.push((stage, took)),
        }
        output
    }

    /// One `stage seconds` line each.
    #[must_use]
    pub fn lines(&self) -> String {
        self.0
            .iter()
            .map(|(stage, took)| format!("{stage:<12} {:8.3} s\n", took.as_secs_f64()))
            .collect()
    }
}
