//! Weak data that did not stop the measurement: it becomes a note in the result. And how many of
//! a thing, for every message.

use serde::{Deserialize, Serialize};

/// What a note is about, where the program acts on it; a note's words are for people alone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Kind {
    /// For people only.
    #[default]
    Said,
    /// Two clips hardly fit together as one swing.
    RoughPair,
    /// The hands swing like those of a golfer of the other hand.
    OtherHand,
    /// A rod found on the ground was taken for the target line.
    FoundRod,
}

/// One note in words a coach understands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    pub kind: Kind,
    pub text: String,
}

impl Warning {
    /// A note that nothing acts on.
    #[must_use]
    pub fn new(text: impl Into<String>) -> Self {
        Self::of(Kind::Said, text)
    }

    #[must_use]
    pub fn of(kind: Kind, text: impl Into<String>) -> Self {
        Self { kind, text: text.into() }
    }

    /// The note, and in brackets the control that answers it where it is read: an option of the
    /// command line, a part of the page.
    #[must_use]
    pub fn naming(&self, control: Option<&str>) -> String {
        match (self.text.strip_suffix('.'), control) {
            (Some(text), Some(control)) => format!("{text} ({control})."),
            _ => self.text.clone(),
        }
    }
}

/// A stage's output and what it has to say about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Warned<T> {
    pub output: T,
    pub warnings: Vec<Warning>,
}

impl<T> Warned<T> {
    #[must_use]
    pub fn clean(output: T) -> Self {
        Self { output, warnings: Vec::new() }
    }

    /// Hands over the output and keeps the warnings in `notes`.
    pub fn note(self, notes: &mut Vec<Warning>) -> T {
        notes.extend(self.warnings);
        self.output
    }
}

/// `1 swing`, `3 swings`.
#[must_use]
pub fn counted(count: impl std::fmt::Display, what: &str) -> String {
    let count = count.to_string();
    let end = if count == "1" { "" } else { "s" };
    format!("{count} {what}{end}")
}
