//! How long each stage took. In: stage names and times. Out: lines for standard error.

use std::time::Duration;

/// Wall time by stage, in the order the stages first ran.
#[derive(Debug, Default)]
pub struct Timings(Vec<(&'static str, Duration)>);

impl Timings {
    pub fn add(&mut self, stage: &'static str, took: Duration) {
        match self.0.iter_mut().find(|(name, _)| *name == stage) {
            Some((_, sum)) => *sum += took,
            None => self.0.push((stage, took)),
        }
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
