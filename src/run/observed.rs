//! What one clip shows, kept on disk so that no clip is looked at twice. In: an observation.
//! Out: a file, and the observation back, to the last bit.
//!
//! The file: a line with name and version, the SHA-256 of the rest, the rest in postcard's
//! format. It is made under a temporary name and renamed.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::calibration::{Lens, Segment};
use crate::decode::{ClipInfo, Clock, Sound, Timestamp};
use crate::events::Signs;
use crate::frames::Handed;
use crate::keypoints::Accuracy;
use crate::lift::Lifted;
use crate::options::Person;
use crate::results::write_atomically;
use crate::track::{Departure, Track};
use crate::warning::Warning;

use super::faces::Face;

/// Another shape of the observation gets another number.
const HEAD: &[u8] = b"hubgauge.observed/6\n";
/// Bytes of a SHA-256.
const SUM: usize = 32;

/// What one clip shows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observed {
    pub info: ClipInfo,
    pub sha256: String,
    pub clock: Clock,
    /// Whom the coach has pointed at.
    pub person: Option<Person>,
    /// The hand and the network that `lifted` is for.
    pub handed: Handed,
    pub accuracy: Accuracy,
    /// In the picture as it was filmed.
    pub track: Track,
    /// Where there is one, `lifted` is in the picture that it straightens.
    pub lens: Option<Lens>,
    pub lifted: Lifted,
    /// What lies on the ground like a rod, in the picture as it was filmed.
    pub sticks: Vec<Segment>,
    pub sound: Option<Sound>,
    /// What may be the ball leaving its place.
    pub departures: Vec<Departure>,
    /// Heads of other people.
    pub others: Vec<Face>,
    pub warnings: Vec<Warning>,
}

/// Why a kept observation cannot be used. Looking at the clip again always helps.
#[derive(Debug, thiserror::Error)]
pub enum ObservedError {
    #[error("cannot read {}: {source}; look at the clip again", file.display())]
    Read { file: PathBuf, source: std::io::Error },
    #[error("{} is damaged or of another version of hubgauge: look at the clip again", file.display())]
    Damaged { file: PathBuf },
    #[error("cannot keep what was seen in {}: {cause}", file.display())]
    Write { file: PathBuf, cause: String },
}

impl Observed {
    /// What the clip tells of impact beside the body.
    #[must_use]
    pub fn signs(&self) -> Signs<'_> {
        Signs { sound: self.sound.as_ref(), clock: &self.clock, departures: &self.departures }
    }

    /// The timestamp of the displayed frame `index`.
    #[must_use]
    pub fn timestamp(&self, index: usize) -> Option<Timestamp> {
        let ticks = *self.info.frames.get(index)?;
        Some(Timestamp { ticks, base: self.info.first.base })
    }

    /// Real time of the displayed frame `index` since the first one, seconds.
    #[must_use]
    pub fn time(&self, index: usize) -> Option<f64> {
        Some(self.clock.real(self.timestamp(index)?.seconds()))
    }

    /// # Errors
    /// When the file cannot be written; an older one then stays as it was.
    pub fn write(&self, file: &Path) -> Result<(), ObservedError> {
        let fail = |cause: String| ObservedError::Write { file: file.to_owned(), cause };
        let body = postcard::to_allocvec(self).map_err(|e| fail(e.to_string()))?;
        let sum = Sha256::digest(&body);
        let bytes: Vec<u8> = [HEAD, sum.as_slice(), &body].concat();
        write_atomically(file, &bytes).map_err(|e| fail(e.to_string()))
    }

    /// What [`Self::write`] wrote. Where the clip has moved, `info.path` is the caller's to set.
    ///
    /// # Errors
    /// When the file cannot be read, is damaged or of another version.
    pub fn read(file: &Path) -> Result<Self, ObservedError> {
        let bytes = std::fs::read(file)
            .map_err(|source| ObservedError::Read { file: file.to_owned(), source })?;
        Self::from_bytes(&bytes).ok_or_else(|| ObservedError::Damaged { file: file.to_owned() })
    }

    fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (sum, body) = bytes.strip_prefix(HEAD)?.split_at_checked(SUM)?;
        if Sha256::digest(body).as_slice() != sum {
            return None;
        }
        postcard::from_bytes(body).ok()
    }
}
