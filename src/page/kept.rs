//! What the page keeps of a clip and of a swing. In and out: JSON files, each written to a
//! temporary name and renamed, so that a stop at any moment leaves the old file or the new one.

use std::collections::BTreeSet;
use std::path::Path;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::PageError;
use super::shown::ClipState;
use crate::calibration::View;
use crate::frames::Handed;
use crate::results::write_atomically;

/// A clip that came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptClip {
    pub id: String,
    /// As its owner called it.
    pub name: String,
    /// Its own name in the clip's folder: `name` with nothing in it that a path could need.
    pub file: String,
    pub size_bytes: u64,
    pub sha256: String,
    /// Milliseconds since 1970; also the order of the queue.
    pub arrived_unix_ms: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub created_unix_s: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub duration_s: Option<f64>,
    pub state: ClipState,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub message: Option<String>,
    /// As recognised from the body.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub view: Option<View>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub handed: Option<Handed>,
    /// True capture rate, frames a second, as the coach gave it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capture_fps: Option<f64>,
    /// Refused as stretched slow motion: the true rates that fit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub too_slow: Option<Vec<f64>>,
    /// What is doubtful about the file itself.
    #[serde(default)]
    pub notes: Vec<String>,
    /// Clips that are not of its swing: parted by hand, or refused by the pair check.
    #[serde(default)]
    pub apart: BTreeSet<String>,
}

/// A clip's place in a swing; the view is only there where the coach gave it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    pub clip: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub view: Option<View>,
}

/// Where a swing is in the library.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recorded {
    pub pupil: String,
    pub lesson: i64,
    pub swing: i64,
}

/// A swing: one or two clips and what the coach says about them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptSwing {
    pub id: String,
    pub parts: Vec<Part>,
    pub arrived_unix_ms: u64,
    #[serde(default)]
    pub label: String,
    #[serde(default)]
    pub club: String,
    #[serde(default)]
    pub notes: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pupil: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stature: Option<String>,
    /// Absent: as recognised, or as the pupil on record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub handed: Option<Handed>,
    #[serde(default)]
    pub corrections: Vec<serde_json::Value>,
    /// Joined or parted by hand: nothing is proposed for it any more.
    #[serde(default)]
    pub by_hand: bool,
    /// Not of age, as said here; a pupil on record may say so too.
    #[serde(default)]
    pub minor: bool,
    /// The coach's words on the pupil's sheet.
    #[serde(default)]
    pub words: String,
    /// Practice tasks chosen for the sheet.
    #[serde(default)]
    pub tasks: Vec<String>,
    /// Names of swings that were joined into it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub was: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded: Option<Recorded>,
    /// Why there is no result, on one line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub message: Option<String>,
    /// In the coach's units.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
    /// Where a rod was found unmarked and taken for the target line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rods: Vec<View>,
}

impl KeptSwing {
    pub fn new(id: String, clip: &KeptClip) -> Self {
        Self {
            id,
            parts: vec![Part { clip: clip.id.clone(), view: None }],
            arrived_unix_ms: clip.arrived_unix_ms,
            label: String::new(),
            club: String::new(),
            notes: String::new(),
            pupil: None,
            stature: None,
            handed: None,
            corrections: Vec::new(),
            by_hand: false,
            minor: false,
            words: String::new(),
            tasks: Vec::new(),
            was: Vec::new(),
            recorded: None,
            message: None,
            answer: None,
            rods: Vec::new(),
        }
    }

    pub fn has(&self, clip: &str) -> bool {
        self.parts.iter().any(|part| part.clip == clip)
    }
}

/// # Errors
/// When the disk refuses.
pub fn write(path: &Path, value: &impl Serialize) -> Result<(), PageError> {
    let kept = |source| PageError::Folder { folder: path.to_owned(), source };
    let text = serde_json::to_vec_pretty(value).map_err(|e| kept(e.into()))?;
    write_atomically(path, &text).map_err(|e| kept(std::io::Error::other(e.to_string())))
}

/// A file that is not there or makes no sense is as good as none: it is never half written, so
/// it was written by somebody else.
pub fn read<T: DeserializeOwned>(path: &Path) -> Option<T> {
    serde_json::from_slice(&std::fs::read(path).ok()?).ok()
}

/// A file name without anything that a path could be made of. What was given may be anything.
#[must_use]
pub fn file_name(given: &str) -> String {
    const LONGEST: usize = 80;
    let last = given.rsplit(['/', '\\']).next().unwrap_or(given);
    let safe: String = last
        .chars()
        .map(|c| if c.is_alphanumeric() || " ._-()".contains(c) { c } else { '_' })
        .collect();
    let safe = safe.trim_matches([' ', '.']);
    let (stem, kind) = safe.rsplit_once('.').unwrap_or((safe, ""));
    let kind: String = kind.chars().filter(char::is_ascii_alphanumeric).take(5).collect();
    let mut stem: String = stem.trim_end_matches([' ', '.']).chars().take(LONGEST).collect();
    while stem.len() > 2 * LONGEST {
        stem.pop();
    }
    match (stem.is_empty(), kind.is_empty()) {
        (true, true) => "clip".to_owned(),
        (true, false) => format!("clip.{kind}"),
        (false, true) => stem,
        (false, false) => format!("{stem}.{kind}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_never_a_path() {
        for (given, kept) in [
            ("IMG_0042.MOV", "IMG_0042.MOV"),
            ("../../etc/passwd", "passwd"),
            ("..\\..\\boot.ini", "boot.ini"),
            ("..", "clip"),
            ("", "clip"),
            (".mp4", "mp4"),
            ("a\0b\n.mp4", "a_b_.mp4"),
            ("Änne vorher (2).mp4", "Änne vorher (2).mp4"),
            ("/abs/olute/.hidden.mp4", "hidden.mp4"),
            ("x.mp4/..", "clip"),
        ] {
            assert_eq!(file_name(given), kept, "{given:?}");
        }
        assert!(file_name(&"😀é".repeat(500)).len() < 200);
        assert!(file_name(&format!("{}.mp4", "é".repeat(500))).ends_with(".mp4"));
    }

    #[test]
    fn what_is_kept_comes_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.json");
        assert_eq!(read::<Vec<u8>>(&path), None);
        write(&path, &vec![1_u8, 2]).unwrap();
        assert_eq!(read::<Vec<u8>>(&path), Some(vec![1, 2]));
    }
}
