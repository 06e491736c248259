//! What is going on, for somebody who waits. In: words and share done. Out: one line of
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

    /// What is done, and which share of it.
    pub fn show(self, what: &str, share: f64) {
        if self.0 {
            self.say(&format!("{what} {:3.0} %", (100.0 * share).clamp(0.0, 100.0)));
        }
    }
}
