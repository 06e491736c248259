//! Stage 1. In: a clip on disk. Out: timed upright sRGB pictures and timed mono sound.
//!
//! [`Encoder`] goes the other way round, for clips that are handed out.
//!
//! Times are the container's timestamps; the zero of [`Timestamp::seconds`] is whatever the
//! container says, the pipeline subtracts the first displayed frame's time.

mod colour;
mod container;
mod decoding;
mod digest;
mod encode;
mod error;
mod ffi;
mod frames;
mod light;
mod orientation;
mod probe;
mod reader;
mod sound;
#[cfg(test)]
mod tests;
mod timeline;
mod written;
mod yuv;

pub use digest::sha256;
pub use encode::{Coding, EncodeError, Encoder};
pub use error::DecodeError;
pub use frames::Frames;
pub use probe::probe;
pub use reader::{Pictures, picture_at};
pub use sound::sound;

use std::num::NonZeroU32;
use std::path::PathBuf;
use std::sync::Arc;

use image::RgbImage;

use crate::frames::PictureSize;

/// Seconds one tick lasts: `num / den`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct TimeBase {
    pub num: NonZeroU32,
    pub den: NonZeroU32,
}

/// A presentation timestamp: integer ticks of a non-zero time base.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Timestamp {
    pub ticks: i64,
    pub base: TimeBase,
}

impl Timestamp {
    /// File time, seconds.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a clip's ticks stay far below 2^53")]
    pub fn seconds(self) -> f64 {
        self.ticks as f64 * f64::from(self.base.num.get()) / f64::from(self.base.den.get())
    }
}

/// What the container says about a clip, checked against the limits.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ClipInfo {
    #[serde(with = "written::path")]
    pub path: PathBuf,
    /// Of the upright picture: after display rotation and with square pixels.
    pub size: PictureSize,
    pub codec: String,
    /// First displayed frame.
    pub first: Timestamp,
    /// Duration of the video stream in file time, seconds, as far as the container knows.
    pub duration_s: f64,
    /// Frames a second of file time on average.
    pub average_fps: f64,
    /// True capture rate where the phone wrote it down, frames a second of real time.
    pub capture_fps: Option<f64>,
    /// Creation time where the container has one, seconds since 1970.
    pub created_unix_s: Option<i64>,
    pub has_sound: bool,
    /// HLG or PQ, tone-mapped to SDR while decoding.
    pub hdr: bool,
    /// Time of every displayed frame in ticks of `first.base`, rising; a frame's number is its
    /// place here.
    #[serde(with = "written::ticks")]
    pub frames: Arc<[i64]>,
}

impl ClipInfo {
    /// Seconds of file time for one second of real time, where the phone wrote down its true
    /// rate: 8 for 240 a second stretched to 30, 1 for real time.
    #[must_use]
    pub fn stretch(&self) -> Option<f64> {
        self.capture_fps.map(|fps| self.stretch_at(fps))
    }

    /// The same for a true rate, frames a second. From the usual step between frames, which
    /// missing frames do not change.
    #[must_use]
    pub fn stretch_at(&self, capture_fps: f64) -> f64 {
        let step = Timestamp { ticks: timeline::median_step(&self.frames), base: self.first.base };
        let ratio = capture_fps * step.seconds();
        // Nominal rates differ from the real ones by a percent or two (29.97 for 30).
        let near = ratio.round().max(1.0);
        if (ratio / near - 1.0).abs() < 0.05 { near } else { ratio }
    }
}

/// One displayed frame, upright, sRGB.
#[derive(Clone, Debug)]
pub struct Picture {
    pub time: Timestamp,
    /// Position among the clip's displayed frames, from 0.
    pub index: usize,
    pub pixels: RgbImage,
}

/// The sound of a clip, mixed to one channel.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Sound {
    pub rate: u32,
    /// File time of the first sample, seconds, on the same clock as the pictures.
    pub start_s: f64,
    /// -1..=1.
    pub samples: Vec<f32>,
}

/// From file time to real time: `(file - first) / stretch`.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Clock {
    /// File time of the first displayed frame, seconds.
    pub first_s: f64,
    /// Seconds of file time for one second of real time: 8 for 240 fps stretched to 30.
    pub stretch: f64,
}

impl Clock {
    #[must_use]
    pub fn real(&self, file_s: f64) -> f64 {
        (file_s - self.first_s) / self.stretch
    }

    #[must_use]
    pub fn file(&self, real_s: f64) -> f64 {
        self.first_s + real_s * self.stretch
    }
}
