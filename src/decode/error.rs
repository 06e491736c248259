//! What can go wrong with a clip: one line each, with the file's name and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

use crate::warning::counted;

/// A file's own name for a message: without its folders, and never more than one line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileName(PathBuf);

impl From<&Path> for FileName {
    fn from(path: &Path) -> Self {
        Self(path.to_owned())
    }
}

impl fmt::Display for FileName {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = self.0.file_name().unwrap_or(self.0.as_os_str()).to_string_lossy();
        out.write_str(&name.replace(char::is_control, "?"))
    }
}

#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    // The caller's choice of file.
    #[error("{file}: there is no such file; check its name and folder")]
    Missing { file: FileName },
    #[error("{file} is a folder, not a clip; name the video file inside it")]
    Directory { file: FileName },
    #[error(
        "{file} cannot be read ({cause}); check that you may open it and that the disk is there"
    )]
    Unreadable { file: FileName, cause: String },
    #[error("{file} has no picture at {time_s:.3} s of its own time; ask for the time of a frame")]
    NoSuchPicture { file: FileName, time_s: f64 },

    // What is in the file.
    #[error("{file} is empty (0 bytes); copy it from the phone again")]
    Empty { file: FileName },
    #[error("{file} is not a video clip; give an MP4, MOV, MKV or WebM file as the phone wrote it")]
    NotVideo { file: FileName },
    #[error(
        "{file} is cut off or damaged: no picture in it can be found; copy it from the phone again"
    )]
    NoIndex { file: FileName },
    #[error("{file} has sound but no video; give the clip with the pictures")]
    OnlySound { file: FileName },
    #[error("{file} has no video in it; give the clip with the pictures")]
    NoPictures { file: FileName },
    #[error(
        "{file} has no length: it holds {}; give a clip of the whole swing",
        counted(frames, "picture")
    )]
    NoLength { file: FileName, frames: usize },
    #[error(
        "{file} is damaged: none of its pictures {span} could be decoded; copy it from the phone again"
    )]
    Damaged { file: FileName, span: String },

    // What this program does not do.
    #[error("{file} is coded as {codec}, which hubgauge does not read; export it as H.264 or HEVC")]
    Unsupported { file: FileName, codec: String },
    #[error("{file} {what}; {remedy}")]
    Limit { file: FileName, what: String, remedy: &'static str },

    // The machine.
    #[error("{file}: the video decoder failed ({cause}); close other programs and try again")]
    Decoder { file: FileName, cause: String },
}
