//! In: a described clip and a frame's number. Out: decoded frames from there on, in order of
//! display, not yet turned into RGB.
//!
//! Decoding starts at the keyframe before the wanted frame, so that a frame is the same
//! however it was reached. Damage is stepped over: frames are then missing, never made up here.

use std::path::PathBuf;
use std::sync::Arc;

use ffmpeg::codec::{self, threading};
use ffmpeg::{Packet, Rational, decoder, frame};
use ffmpeg_next as ffmpeg;

use super::container::{Container, MAX_SIDE, Track};
use super::error::DecodeError;
use super::{ClipInfo, Timestamp, ffi};

/// Two threads of frame threading: measured 156 (H.264) and 180 (HEVC) frames a second of
/// 1080p on two cores (STACK.md); more only wait.
const THREADS: usize = 2;
/// How far before the wanted frame to look for a keyframe, seconds, one after the other while
/// the landing is behind the frame.
const STEPS_BACK_S: [f64; 3] = [0.0, 2.0, 10.0];
/// Decoder complaints in a row without a frame, after which the rest is given up.
const MAX_COMPLAINTS: usize = 10_000;

/// An opened clip with its decoder, somewhere in its stream of frames.
pub(super) struct Decoding {
    pub clip: Container,
    pub track: Track,
    decoder: decoder::Video,
    path: PathBuf,
    ticks: Arc<[i64]>,
    /// A frame decoded while looking where a seek had landed.
    ahead: Option<frame::Video>,
    broken: usize,
    complaints: usize,
}

impl Decoding {
    /// Ready to give a frame at or before number `first`, where that can be had.
    pub fn start(info: &ClipInfo, first: usize) -> Result<Self, DecodeError> {
        let mut clip = Container::open(&info.path)?;
        let track = clip.track()?;
        ffi::keep_only(&mut clip.input, track.stream);
        let decoder = Self::decoder(&clip, &track)?;
        let (ticks, path) = (Arc::clone(&info.frames), info.path.clone());
        let mut ready =
            Self { clip, track, decoder, path, ticks, ahead: None, broken: 0, complaints: 0 };
        if let Some(&target) = ready.ticks.get(first).filter(|_| first > 0) {
            ready.seek(target)?;
        }
        Ok(ready)
    }

    fn decoder(clip: &Container, track: &Track) -> Result<decoder::Video, DecodeError> {
        let fail = |error: ffmpeg::Error| DecodeError::Decoder {
            file: clip.file.clone(),
            cause: error.to_string(),
        };
        let stream =
            clip.input.stream(track.stream).ok_or_else(|| fail(ffmpeg::Error::StreamNotFound))?;
        let mut context = codec::Context::from_parameters(stream.parameters()).map_err(fail)?;
        let base: Rational = stream.time_base();
        ffi::prepare(&mut context, base, i64::from(MAX_SIDE) * i64::from(MAX_SIDE));
        context.set_threading(threading::Config {
            count: THREADS,
            ..threading::Config::kind(threading::Type::Frame)
        });
        context.decoder().video().map_err(fail)
    }

    /// Ready again to give a frame at or before number `index`.
    pub fn go_to(&mut self, index: usize) -> Result<(), DecodeError> {
        match self.ticks.get(index) {
            Some(&target) if index > 0 => self.seek(target),
            _ => self.rewind(),
        }
    }

    /// To a keyframe whose frames begin at or before `target`. Where pictures depend on ones
    /// before the keyframe (open groups), or the container seeks badly, the first landing may
    /// be too late: then further back, and at last from the start.
    fn seek(&mut self, target: i64) -> Result<(), DecodeError> {
        let base = self.track.base;
        let ticks_per_s = f64::from(base.den.get()) / f64::from(base.num.get());
        for back_s in STEPS_BACK_S {
            #[expect(clippy::cast_possible_truncation, reason = "a few seconds of ticks")]
            let to = target.saturating_sub((back_s * ticks_per_s) as i64);
            if ffi::seek(&mut self.clip.input, self.track.stream, to).is_err() {
                continue;
            }
            self.decoder.flush();
            self.ahead = None;
            self.ahead = self.frame()?;
            if self.ahead.as_ref().and_then(|frame| frame.timestamp()).is_some_and(|t| t <= target)
            {
                return Ok(());
            }
        }
        self.rewind()
    }

    fn rewind(&mut self) -> Result<(), DecodeError> {
        self.ahead = None;
        self.clip = Container::open(&self.path)?;
        ffi::keep_only(&mut self.clip.input, self.track.stream);
        self.decoder = Self::decoder(&self.clip, &self.track)?;
        Ok(())
    }

    /// The next frame in order of display, `None` at the end.
    pub fn frame(&mut self) -> Result<Option<frame::Video>, DecodeError> {
        if let Some(frame) = self.ahead.take() {
            return Ok(Some(frame));
        }
        let mut frame = frame::Video::empty();
        while self.complaints < MAX_COMPLAINTS {
            match self.decoder.receive_frame(&mut frame) {
                Ok(()) => return Ok(Some(frame)),
                Err(ffmpeg::Error::Eof) => return Ok(None),
                Err(ffmpeg::Error::Other { errno: ffmpeg::error::EAGAIN }) => self.feed()?,
                Err(error) => self.complain(error)?,
            }
        }
        Ok(None)
    }

    fn feed(&mut self) -> Result<(), DecodeError> {
        let packet: Option<Packet> = self.clip.next_packet(self.track.stream, &mut self.broken);
        let sent = match packet {
            Some(packet) => self.decoder.send_packet(&packet),
            None => self.decoder.send_eof(),
        };
        sent.or_else(|error| self.complain(error))
    }

    /// Damage is stepped over; lack of memory is not.
    fn complain(&mut self, error: ffmpeg::Error) -> Result<(), DecodeError> {
        self.complaints += 1;
        match error {
            ffmpeg::Error::Other { errno: ffmpeg::error::ENOMEM } => {
                Err(DecodeError::Decoder { file: self.clip.file.clone(), cause: error.to_string() })
            }
            _ => Ok(()),
        }
    }

    /// Its number among the clip's frames; `None` for one that the container does not show.
    pub fn index(&self, frame: &frame::Video) -> Option<usize> {
        self.ticks.binary_search(&frame.timestamp()?).ok()
    }

    pub fn time(&self, index: usize) -> Timestamp {
        Timestamp { ticks: self.ticks.get(index).copied().unwrap_or(0), base: self.track.base }
    }
}
