//! What is going on, for somebody who waits. In: stage and share done. Out: one line of
//! standard error that is written over; nothing unless that is a terminal.

use std::io::Write;

/// Shows progress when true.
#[derive(Clone, Copy, Debug)]
pub struct Progress(pub bool);

impl Progress {
    /// Replaces the line; an empty text clears it.
    pub fn say(self, text: &str) {
        if self.0 {
            // A terminal that cannot be written to is no reason to stop measuring.
            let _ = write!(std::io::stderr(), "\r\x1b[K{text}");
            let _ = std::io::stderr().flush();
        }
    }

    /// Share of the swing that has been read.
    pub fn show(self, done: f64, all: f64) {
        if self.0 && all > 0.0 {
            self.say(&format!(
                "reading the swing {:3.0} %",
                (100.0 * done / all).clamp(0.0, 100.0)
            ));
        }
    }
}
