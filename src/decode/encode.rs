//! The other way round: pictures to a clip that any phone plays. In: RGB pictures of one size
//! with rising times. Out: the bytes of a file, H.264 in MP4 (index in front) where FFmpeg has
//! x264, else VP9 in WebM. BT.709, limited range, 4:2:0, no sound.
//!
//! Times are kept as they come, to a 90,000th of a second; each frame lasts until the next. The
//! file is made in the system's folder for temporary files, since a muxer must go back in it.

use std::collections::{BTreeSet, VecDeque};

use ffmpeg::codec::{self, encoder};
use ffmpeg::format::{self, Pixel};
use ffmpeg::{Dictionary, Packet, Rational, color, frame};
use ffmpeg_next as ffmpeg;
use image::RgbImage;

use super::container::silence;
use super::yuv;

/// Ticks a second: a multiple of every usual rate.
const TICKS_PER_S: i32 = 90_000;
/// A keyframe at least so often, so that a finger can move through the clip.
const KEYFRAMES: u32 = 24;

/// Why no clip could be made.
#[derive(Debug, thiserror::Error)]
pub enum EncodeError {
    #[error("this FFmpeg can write neither H.264 (libx264) nor VP9 (libvpx): install one of them")]
    NoEncoder,
    #[error("a clip needs pictures of one even size, rising in time")]
    Pictures,
    #[error("the clip could not be made ({0}): check that the disk has room")]
    Failed(String),
}

/// How a clip is coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    H264,
    Vp9,
}

impl Coding {
    /// The best that this machine's FFmpeg has.
    ///
    /// # Errors
    /// Where it has none of the two.
    pub fn available() -> Result<Self, EncodeError> {
        let all = [Self::H264, Self::Vp9];
        let found =
            all.into_iter().find(|coding| encoder::find_by_name(coding.encoder()).is_some());
        found.ok_or(EncodeError::NoEncoder)
    }

    /// The file's ending.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            Self::H264 => "mp4",
            Self::Vp9 => "webm",
        }
    }

    fn encoder(self) -> &'static str {
        match self {
            Self::H264 => "libx264",
            Self::Vp9 => "libvpx-vp9",
        }
    }

    /// Good enough that lines drawn on a picture stay sharp, quick enough to wait for.
    fn settings(self) -> Dictionary<'static> {
        let pairs: &[(&str, &str)] = match self {
            Self::H264 => &[("preset", "veryfast"), ("crf", "22")],
            Self::Vp9 => &[
                ("crf", "33"),
                ("b", "0"),
                ("deadline", "good"),
                ("cpu-used", "5"),
                ("row-mt", "1"),
            ],
        };
        let mut settings = Dictionary::new();
        pairs.iter().for_each(|(key, value)| settings.set(key, value));
        settings
    }
}

/// A clip that is being made; nothing is left of it when dropped before [`Encoder::finish`].
pub struct Encoder {
    // The file is closed before its folder goes.
    output: format::context::Output,
    folder: tempfile::TempDir,
    encoder: encoder::video::Encoder,
    base: Rational,
    size: (u32, u32),
    begin_s: Option<f64>,
    /// Ticks of each picture since the first one.
    times: BTreeSet<i64>,
    /// Coded pictures whose end is not known yet.
    waiting: VecDeque<Packet>,
}

impl Encoder {
    /// # Errors
    /// When the size is odd or the encoder does not start.
    pub fn start(coding: Coding, size: (u32, u32)) -> Result<Self, EncodeError> {
        silence();
        if size.0 % 2 + size.1 % 2 > 0 || size.0.min(size.1) == 0 {
            return Err(EncodeError::Pictures);
        }
        let folder = tempfile::TempDir::new().map_err(failed)?;
        let file = folder.path().join("clip");
        if file.to_str().is_none() {
            // FFmpeg takes names as text.
            return Err(failed("the folder for temporary files has an unreadable name"));
        }
        let mut output = format::output_as(&file, coding.ending()).map_err(failed)?;
        let named = encoder::find_by_name(coding.encoder()).ok_or(EncodeError::NoEncoder)?;
        let mut stream = output.add_stream(named).map_err(failed)?;
        let encoder = open(coding, named, size).map_err(failed)?;
        stream.set_parameters(&encoder);
        stream.set_time_base((1, TICKS_PER_S));
        let mut options = Dictionary::new();
        options.set("movflags", "+faststart");
        drop(output.write_header_with(options).map_err(failed)?);
        let base = output.stream(0).map_or(Rational(1, TICKS_PER_S), |s| s.time_base());
        let (times, waiting) = (BTreeSet::new(), VecDeque::new());
        Ok(Self { output, folder, encoder, base, size, begin_s: None, times, waiting })
    }

    /// Adds a picture that is shown from `at_s` on; the clip begins with the first one.
    ///
    /// # Errors
    /// When it has another size or comes no later than the one before, or coding fails.
    pub fn push(&mut self, picture: &RgbImage, at_s: f64) -> Result<(), EncodeError> {
        let at = ticks(at_s - *self.begin_s.get_or_insert(at_s));
        if picture.dimensions() != self.size || self.times.last().is_some_and(|last| *last >= at) {
            return Err(EncodeError::Pictures);
        }
        let mut coded = frame::Video::new(Pixel::YUV420P, self.size.0, self.size.1);
        yuv::write(picture, &mut coded);
        coded.set_pts(Some(at));
        self.times.insert(at);
        self.encoder.send_frame(&coded).map_err(failed)?;
        self.collect()
    }

    /// The file's bytes; the last picture is shown until `end_s`.
    ///
    /// # Errors
    /// When coding or writing fails.
    pub fn finish(mut self, end_s: f64) -> Result<Vec<u8>, EncodeError> {
        let last = *self.times.last().ok_or(EncodeError::Pictures)?;
        let end = ticks(end_s - self.begin_s.unwrap_or(end_s));
        self.times.insert(end.max(last + 1));
        self.encoder.send_eof().map_err(failed)?;
        self.collect()?;
        self.output.write_trailer().map_err(failed)?;
        let Self { output, folder, .. } = self;
        drop(output);
        std::fs::read(folder.path().join("clip")).map_err(failed)
    }

    /// Takes what the encoder has ready, and writes what has an end.
    fn collect(&mut self) -> Result<(), EncodeError> {
        let mut packet = Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            self.waiting.push_back(std::mem::replace(&mut packet, Packet::empty()));
        }
        while let Some(mut packet) = self.waiting.pop_front() {
            let at = packet.pts().unwrap_or(0);
            let Some(next) = self.times.range(at + 1..).next() else {
                self.waiting.push_front(packet);
                break;
            };
            packet.set_duration(next - at);
            packet.set_stream(0);
            packet.rescale_ts(Rational(1, TICKS_PER_S), self.base);
            packet.write_interleaved(&mut self.output).map_err(failed)?;
        }
        Ok(())
    }
}

fn open(
    coding: Coding,
    named: ffmpeg::Codec,
    size: (u32, u32),
) -> Result<encoder::video::Encoder, ffmpeg::Error> {
    let mut context = codec::Context::new_with_codec(named);
    context.set_flags(codec::Flags::GLOBAL_HEADER);
    let mut video = context.encoder().video()?;
    video.set_width(size.0);
    video.set_height(size.1);
    video.set_format(Pixel::YUV420P);
    video.set_time_base((1, TICKS_PER_S));
    video.set_gop(KEYFRAMES);
    // Pictures in the order in which they are shown: what can be shown is known at once.
    video.set_max_b_frames(0);
    video.set_colorspace(color::Space::BT709);
    video.set_color_range(color::Range::MPEG);
    video.set_color_primaries(color::Primaries::BT709);
    video.set_color_transfer_characteristic(color::TransferCharacteristic::BT709);
    video.open_as_with(named, coding.settings())
}

#[expect(clippy::cast_possible_truncation, reason = "saturates; a clip lasts seconds")]
fn ticks(seconds: f64) -> i64 {
    (seconds * f64::from(TICKS_PER_S)).round() as i64
}

fn failed(cause: impl ToString) -> EncodeError {
    EncodeError::Failed(cause.to_string())
}
