//! Frames of a clip one by one, for somebody who steps through it. In: a described clip, frame
//! numbers in any order. Out: exactly these frames, upright RGB.
//!
//! The clip stays open. A step ahead decodes on; a step back finds the frame among those decoded
//! last, or decodes again from the keyframe before it and keeps what it meets on the way. Kept
//! are decoded frames, not pictures: they are half as large.

use std::collections::VecDeque;

use ffmpeg_next::frame;
use image::RgbImage;

use super::colour::Painter;
use super::decoding::Decoding;
use super::error::DecodeError;
use super::{ClipInfo, ffi};

/// Decoding on is quicker than seeking for so many frames: phones set a keyframe every second.
const AHEAD: usize = 60;
/// Decoded frames kept at most, and how much memory they may take together.
const KEPT: usize = 64;
const KEPT_BYTES: usize = 200_000_000;

/// An open clip that gives single frames.
pub struct Frames {
    info: ClipInfo,
    decoding: Decoding,
    painter: Painter,
    /// The decoder's next frame has this number or a later one.
    next: usize,
    kept: VecDeque<(usize, frame::Video)>,
}

impl Frames {
    /// # Errors
    /// Where the file can no longer be opened or its decoder does not start.
    pub fn open(info: &ClipInfo) -> Result<Self, DecodeError> {
        let decoding = Decoding::start(info, 0)?;
        let painter = Painter::new(decoding.track.square);
        Ok(Self { info: info.clone(), decoding, painter, next: 0, kept: VecDeque::new() })
    }

    /// The displayed frame `index`, counted from 0.
    ///
    /// # Errors
    /// Where the clip has no such frame, or it cannot be decoded.
    pub fn picture(&mut self, index: usize) -> Result<RgbImage, DecodeError> {
        if index >= self.info.frames.len() {
            return Err(self.missing(index));
        }
        if self.place(index).is_none() {
            self.decode(index)?;
        }
        let place = self.place(index).ok_or_else(|| self.missing(index))?;
        let frame = &self.kept[place].1;
        let track = &self.decoding.track;
        let Some((rows, stride)) = self.painter.paint(frame) else {
            return Err(DecodeError::Unsupported {
                file: self.decoding.clip.file.clone(),
                codec: format!("{:?} pictures", frame.format()),
            });
        };
        Ok(track.orientation.apply(rows, stride, track.square))
    }

    fn place(&self, index: usize) -> Option<usize> {
        self.kept.iter().position(|(i, _)| *i == index)
    }

    /// Decodes until the frame has come or cannot come any more.
    fn decode(&mut self, index: usize) -> Result<(), DecodeError> {
        if !(self.next..=self.next + AHEAD).contains(&index) {
            self.decoding.go_to(index)?;
        }
        while let Some(frame) = self.decoding.frame()? {
            let Some(found) = self.decoding.index(&frame) else { continue };
            self.next = found + 1;
            self.keep(found, frame);
            if found >= index {
                return Ok(());
            }
        }
        // The decoder is drained: it must seek before it can go on.
        self.next = usize::MAX - AHEAD;
        Ok(())
    }

    fn keep(&mut self, index: usize, frame: frame::Video) {
        let most = (KEPT_BYTES / ffi::bytes(&frame).max(1)).clamp(4, KEPT);
        self.kept.retain(|(i, _)| *i != index);
        self.kept.push_back((index, frame));
        while self.kept.len() > most {
            self.kept.pop_front();
        }
    }

    fn missing(&self, index: usize) -> DecodeError {
        DecodeError::NoSuchPicture {
            file: self.info.path.as_path().into(),
            time_s: self.decoding.time(index).seconds(),
        }
    }
}
