//! Weak data that did not stop the measurement: it becomes a note in the result. And how many of
//! a thing, for every message.

/// One note in words a coach understands.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Warning(pub String);

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
