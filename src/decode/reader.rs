//! In: a described clip and a span of its time. Out: its frames in order, upright RGB.
//!
//! Decoding starts at the keyframe before the span and drops frames until it begins, so a
//! frame is the same however it was reached. One frame is held at a time. Frames that the
//! codec does not give back are counted and reported, not filled in.

use ffmpeg_next::frame;

use super::colour::{Painter, Rendering};
use super::decoding::Decoding;
use super::error::DecodeError;
use super::{ClipInfo, Picture, Timestamp, ffi, timeline};
use crate::warning::{Warning, counted};

/// Share of the usual step by which frames may come early and still keep their distance:
/// Matroska rounds times to milliseconds, cameras are never quite even.
const ROUNDING: f64 = 0.25;
/// Times closer than this are the same: far below a tick of any container.
const SAME_S: f64 = 1e-7;

/// Frames of a span of a clip. Errors end the iteration.
pub struct Pictures {
    decoding: Decoding,
    painter: Painter,
    /// Of the clip's frames: the first wanted and the first not wanted any more.
    next: usize,
    end: usize,
    min_step_s: f64,
    last_s: f64,
    /// Frames between `next` at the start and now that never came.
    missing: Missing,
    concealed: usize,
    given: usize,
    finished: bool,
}

#[derive(Default)]
struct Missing {
    count: usize,
    first_s: f64,
    last_s: f64,
}

impl Pictures {
    /// Frames with `from_s <= time <= to_s` in file time; with a `min_step_s` above 0 only
    /// those at least that far apart, and only they are turned into RGB.
    ///
    /// # Errors
    /// Where the file can no longer be opened or its decoder does not start.
    pub fn open(
        info: &ClipInfo,
        from_s: f64,
        to_s: f64,
        min_step_s: f64,
    ) -> Result<Self, DecodeError> {
        let seconds = |ticks: i64| Timestamp { ticks, base: info.first.base }.seconds();
        let first = info.frames.partition_point(|&t| seconds(t) < from_s - SAME_S);
        let end = info.frames.partition_point(|&t| seconds(t) <= to_s + SAME_S);
        Self::between(info, first, end.max(first), min_step_s)
    }

    fn between(
        info: &ClipInfo,
        first: usize,
        end: usize,
        min_step_s: f64,
    ) -> Result<Self, DecodeError> {
        let decoding = Decoding::start(info, first)?;
        let painter = Painter::new(decoding.track.square);
        let (missing, last_s) = (Missing::default(), f64::NEG_INFINITY);
        let usual = Timestamp { ticks: timeline::median_step(&info.frames), base: info.first.base };
        let min_step_s = min_step_s - ROUNDING * usual.seconds();
        Ok(Self {
            decoding,
            painter,
            next: first,
            end,
            min_step_s,
            last_s,
            missing,
            concealed: 0,
            given: 0,
            finished: false,
        })
    }

    /// What was wrong with the frames given so far.
    #[must_use]
    pub fn warnings(&self) -> Vec<Warning> {
        let mut all = Vec::new();
        let Missing { count, first_s, last_s } = self.missing;
        if count > 0 {
            all.push(Warning::new(format!(
                "The clip is damaged: {} between {first_s:.2} and {last_s:.2} s could not be decoded.",
                counted(count, "picture")
            )));
        }
        if self.concealed > 0 {
            all.push(Warning::new(format!(
                "The clip is damaged: the decoder had to make up parts of {}.",
                counted(self.concealed, "picture")
            )));
        }
        all
    }

    /// The next wanted frame, not yet painted, with its number.
    fn advance(&mut self) -> Result<Option<(frame::Video, usize)>, DecodeError> {
        while self.next < self.end {
            let Some(frame) = self.decoding.frame()? else { break };
            let Some(index) = self.decoding.index(&frame).filter(|&i| i >= self.next) else {
                continue;
            };
            self.note_missing(self.next, index.min(self.end));
            self.next = index + 1;
            if index >= self.end {
                return Ok(None);
            }
            let time_s = self.decoding.time(index).seconds();
            if time_s >= self.last_s + self.min_step_s {
                self.last_s = time_s;
                return Ok(Some((frame, index)));
            }
        }
        self.note_missing(self.next, self.end);
        self.next = self.end;
        Ok(None)
    }

    fn note_missing(&mut self, from: usize, to: usize) {
        if from >= to {
            return;
        }
        let zero_s = self.decoding.time(0).seconds();
        if self.missing.count == 0 {
            self.missing.first_s = self.decoding.time(from).seconds() - zero_s;
        }
        self.missing.last_s = self.decoding.time(to - 1).seconds() - zero_s;
        self.missing.count += to - from;
    }

    fn paint(&mut self, frame: &frame::Video, index: usize) -> Option<Picture> {
        let track = &self.decoding.track;
        let (rows, stride) = self.painter.paint(frame)?;
        let pixels = track.orientation.apply(rows, stride, track.square);
        self.concealed += usize::from(frame.is_corrupt() || frame.has_decode_errors());
        self.given += 1;
        Some(Picture { time: self.decoding.time(index), index, pixels })
    }

    fn damaged(&self) -> DecodeError {
        let file = self.decoding.clip.file.clone();
        let Missing { first_s, last_s, .. } = self.missing;
        DecodeError::Damaged { file, span: format!("between {first_s:.2} and {last_s:.2} s") }
    }
}

impl Iterator for Pictures {
    type Item = Result<Picture, DecodeError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.finished {
            return None;
        }
        let item = match self.advance() {
            Ok(Some((frame, index))) => {
                self.paint(&frame, index).ok_or_else(|| DecodeError::Unsupported {
                    file: self.decoding.clip.file.clone(),
                    codec: format!("{:?} pictures", frame.format()),
                })
            }
            Ok(None) if self.given == 0 && self.missing.count > 0 => Err(self.damaged()),
            Ok(None) => {
                self.finished = true;
                return None;
            }
            Err(error) => Err(error),
        };
        self.finished = item.is_err();
        Some(item)
    }
}

/// The frame shown at exactly `time`.
///
/// # Errors
/// Where the clip has no frame with this time, or it cannot be decoded.
pub fn picture_at(info: &ClipInfo, time: Timestamp) -> Result<Picture, DecodeError> {
    let missing =
        || DecodeError::NoSuchPicture { file: info.path.as_path().into(), time_s: time.seconds() };
    let same = time.base == info.first.base;
    let index = info.frames.binary_search(&time.ticks).ok().filter(|_| same).ok_or_else(missing)?;
    Pictures::between(info, index, index + 1, 0.0)?.next().unwrap_or_else(|| Err(missing()))
}

/// How the clip's first decodable frame is coloured.
pub(super) fn first_rendering(info: &ClipInfo) -> Result<Rendering, DecodeError> {
    let mut pictures = Pictures::between(info, 0, info.frames.len(), 0.0)?;
    match pictures.advance()? {
        Some((frame, _)) => Ok(Rendering::of(&ffi::colour_tags(&frame))),
        None => Err(pictures.damaged()),
    }
}
