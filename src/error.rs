//! One variant per stage. The message says what is wrong and what to do next.

use std::path::PathBuf;

use crate::calibration::{CalibrationError, LensError};
use crate::chart::ChartError;
use crate::compare::CompareError;
use crate::decode::{DecodeError, EncodeError};
use crate::desk::BatchError;
use crate::events::{EventsError, Stretched};
use crate::geometry::GeometryError;
use crate::keypoints::KeypointsError;
use crate::lift::LiftError;
use crate::options::OptionsError;
use crate::page::PageError;
use crate::record::RecordError;
use crate::results::ResultError;
use crate::run::observe::ObservedError;
use crate::sheet::SheetError;
use crate::stills::StillError;
use crate::track::TrackError;
use crate::warning::counted;

/// Why nothing was measured.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Options(#[from] OptionsError),
    #[error(transparent)]
    Decode(#[from] DecodeError),
    #[error(transparent)]
    Keypoints(#[from] KeypointsError),
    #[error(transparent)]
    Track(#[from] TrackError),
    #[error(transparent)]
    Lift(#[from] LiftError),
    #[error(transparent)]
    Events(#[from] EventsError),
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
    #[error(transparent)]
    Lens(#[from] LensError),
    #[error("cannot read the lens file {}: {source}; name the JSON file of a camera calibration", file.display())]
    LensFile { file: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Geometry(#[from] GeometryError),
    #[error(transparent)]
    Results(#[from] ResultError),
    #[error(transparent)]
    Compare(#[from] CompareError),
    #[error(transparent)]
    Record(#[from] RecordError),
    #[error(transparent)]
    Batch(#[from] BatchError),
    #[error(transparent)]
    Chart(#[from] ChartError),
    #[error(transparent)]
    Sheet(#[from] SheetError),
    #[error(transparent)]
    Stills(#[from] StillError),
    #[error(transparent)]
    Page(#[from] PageError),
    #[error(transparent)]
    Encode(#[from] EncodeError),
    #[error(transparent)]
    Observed(#[from] ObservedError),
    #[error("the work on this clip was stopped")]
    Cancelled,
    #[error("the correction \"{what}\" cannot be used: {why}; change it or take it back")]
    Correction { what: String, why: String },
    /// The caller observes clip `clip` again, with the person of its options.
    #[error("another person was marked in clip {}: it must be looked at again", clip + 1)]
    LookAgain { clip: usize },
    #[error(
        "there is no frame {frame}: the clip has {}, the first is frame 0",
        counted(frames, "frame")
    )]
    NoSuchFrame { frame: usize, frames: usize },
    #[error("{}: {}", file.display(), slow.message())]
    Slow { file: PathBuf, slow: Stretched },
    #[error("cannot read {}: {source}; name a swing.json that hubgauge wrote", file.display())]
    Read { file: PathBuf, source: std::io::Error },
    #[error("cannot write into {}: {source}; choose another folder with --out", folder.display())]
    Out { folder: PathBuf, source: std::io::Error },
}

impl Error {
    #[must_use]
    pub fn read(file: &std::path::Path, source: std::io::Error) -> Self {
        Self::Read { file: file.to_owned(), source }
    }

    /// 2 for wrong arguments, 1 when the swing could not be measured.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Options(_)
            | Self::Lens(_)
            | Self::LensFile { .. }
            | Self::Chart(ChartError::Ending(_) | ChartError::OneMap | ChartError::NeedsTwo)
            | Self::Compare(
                CompareError::UnknownKey(_)
                | CompareError::Target(_)
                | CompareError::Flight { .. }
                | CompareError::TargetNotLookedAt(_),
            )
            | Self::Sheet(
                SheetError::Ending(_) | SheetError::NoTask { .. } | SheetError::TooLong { .. },
            )
            | Self::Record(RecordError::Wrong { .. })
            | Self::Batch(BatchError::Shard(_))
            | Self::Page(PageError::Size(_) | PageError::NoWatch(_)) => 2,
            _ => 1,
        }
    }
}

/// The message and what caused it, on one line.
#[must_use]
pub fn chain(error: &Error) -> String {
    let mut text = error.to_string();
    let mut cause = std::error::Error::source(error);
    while let Some(inner) = cause {
        let said = inner.to_string();
        if !text.contains(&said) {
            text = format!("{text}: {said}");
        }
        cause = inner.source();
    }
    text
}
