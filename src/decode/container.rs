//! In: a path. Out: the opened container and its video track, checked against the limits.
//!
//! The file's content alone decides what it is; a playlist or a list of other files is no
//! clip, whatever its name. Sizes are checked before any picture is decoded.

use std::fs::{self, File};
use std::io::Read;
use std::num::NonZeroU32;
use std::path::Path;
use std::sync::Once;

use ffmpeg::codec::Id;
use ffmpeg::format::context::Input;
use ffmpeg::format::stream::Disposition;
use ffmpeg::{Packet, Rational, Stream, media};
use ffmpeg_next as ffmpeg;

use super::error::{DecodeError, FileName};
use super::orientation::Orientation;
use super::{TimeBase, ffi};

/// Longest side of a stored picture: cinema 4K. Larger ones cost memory and add nothing
/// that a body's landmarks could use.
pub const MAX_SIDE: u32 = 4096;
/// Shortest side: below this a body is a few pixels tall.
pub const MIN_SIDE: u32 = 16;
/// Phones write a handful of tracks (picture, sound, motion, location); more is not a clip.
pub const MAX_STREAMS: u32 = 16;
/// Pixel shapes up to this ratio are real (anamorphic video is 4:3 at most); others are errors.
const MAX_PIXEL_ASPECT: f64 = 4.0;

/// The video track of an opened container.
pub(super) struct Track {
    pub stream: usize,
    pub base: TimeBase,
    /// With square pixels, before rotation.
    pub square: (u32, u32),
    pub orientation: Orientation,
    pub codec: Id,
    /// Why the picture may look wrong.
    pub doubts: Vec<String>,
}

pub(super) struct Container {
    pub input: Input,
    pub file: FileName,
}

impl Container {
    pub fn open(path: &Path) -> Result<Self, DecodeError> {
        silence();
        let file = FileName::from(path);
        let (handle, head) = open_file(path, &file)?;
        let look = |input: &Input| check_header(input, &file);
        let input = ffi::open(handle, look).map_err(|error| refusal(error, &head, &file))??;
        Ok(Self { input, file })
    }

    /// The largest track of moving pictures; covers and thumbnails do not count.
    pub fn track(&self) -> Result<Track, DecodeError> {
        let moving = self.input.streams().filter(is_moving);
        let best = moving.max_by_key(|s| {
            let (w, h) = ffi::coded_size(s);
            (u64::from(w) * u64::from(h), std::cmp::Reverse(s.index()))
        });
        let file = self.file.clone();
        match best {
            Some(stream) => read_track(&stream, file),
            None if self.sound_stream().is_some() => Err(DecodeError::OnlySound { file }),
            None => Err(DecodeError::NoPictures { file }),
        }
    }

    pub fn sound_stream(&self) -> Option<Stream<'_>> {
        self.input.streams().best(media::Type::Audio)
    }

    /// The next packet of `stream`; `None` at the end of what can be read. Damaged packets
    /// are stepped over and counted.
    pub fn next_packet(&mut self, stream: usize, broken: &mut usize) -> Option<Packet> {
        let mut packet = Packet::empty();
        loop {
            match packet.read(&mut self.input) {
                Ok(()) if packet.stream() == stream => return Some(packet),
                Ok(()) => {}
                Err(ffmpeg::Error::InvalidData) => *broken += 1,
                Err(ffmpeg::Error::Eof) => return None,
                Err(_) => {
                    *broken += 1;
                    return None;
                }
            }
            // A file of nothing but broken packets must come to an end.
            if *broken > MAX_BROKEN {
                return None;
            }
            packet = Packet::empty();
        }
    }
}

/// Broken packets after which the rest of a file is given up.
const MAX_BROKEN: usize = 100_000;

/// FFmpeg writes its complaints to standard error; ours are the only ones a coach should see.
pub(super) fn silence() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| ffmpeg::log::set_level(ffmpeg::log::Level::Quiet));
}

/// The file, rewound, and its first bytes.
fn open_file(path: &Path, file: &FileName) -> Result<(File, Vec<u8>), DecodeError> {
    let unreadable = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => DecodeError::Missing { file: file.clone() },
        _ => DecodeError::Unreadable { file: file.clone(), cause: error.to_string() },
    };
    let meta = fs::metadata(path).map_err(unreadable)?;
    if meta.is_dir() {
        return Err(DecodeError::Directory { file: file.clone() });
    }
    if !meta.is_file() {
        // A pipe or a device would block or never end.
        return Err(DecodeError::NotVideo { file: file.clone() });
    }
    let mut head = Vec::new();
    let open = || File::open(path);
    open().map_err(unreadable)?.take(16).read_to_end(&mut head).map_err(unreadable)?;
    if head.is_empty() {
        return Err(DecodeError::Empty { file: file.clone() });
    }
    Ok((open().map_err(unreadable)?, head))
}

/// Why FFmpeg could not open the file: not a clip at all, or one without its index.
fn refusal(error: ffmpeg::Error, head: &[u8], file: &FileName) -> DecodeError {
    let file = file.clone();
    match error {
        ffmpeg::Error::Other { errno: ffmpeg::error::ENOMEM } => {
            DecodeError::Decoder { file, cause: error.to_string() }
        }
        _ if looks_like_clip(head) => DecodeError::NoIndex { file },
        _ => DecodeError::NotVideo { file },
    }
}

/// The first box of ISO/IEC 14496-12 files, or the EBML mark of Matroska (RFC 8794).
fn looks_like_clip(head: &[u8]) -> bool {
    const BOXES: [&[u8]; 6] = [b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"];
    head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3])
        || head.get(4..8).is_some_and(|kind| BOXES.contains(&kind))
}

fn check_header(input: &Input, file: &FileName) -> Result<(), DecodeError> {
    if input.nb_streams() > MAX_STREAMS {
        return Err(DecodeError::Limit {
            file: file.clone(),
            what: format!("has {} tracks, more than {MAX_STREAMS}", input.nb_streams()),
            remedy: "export it as a plain clip",
        });
    }
    input.streams().filter(is_moving).try_for_each(|s| check_size(ffi::coded_size(&s), file))
}

fn check_size((width, height): (u32, u32), file: &FileName) -> Result<(), DecodeError> {
    let limit = |remedy| DecodeError::Limit {
        file: file.clone(),
        what: format!("has pictures of {width} x {height} pixels"),
        remedy,
    };
    if width.max(height) > MAX_SIDE {
        return Err(limit("film or export it at 4K (4096 pixels) or less"));
    }
    if width > 0 && width.min(height) < MIN_SIDE {
        return Err(limit("they are too small to see a golfer in"));
    }
    Ok(())
}

fn is_moving(stream: &Stream) -> bool {
    stream.parameters().medium() == media::Type::Video
        && !stream.disposition().contains(Disposition::ATTACHED_PIC)
}

/// The codecs that phones, action cameras and browsers write. Others are refused rather
/// than handed to seldom-tested decoders.
fn is_supported(codec: Id) -> bool {
    use Id::{AV1, H264, HEVC, MJPEG, MPEG4, PRORES, VP8, VP9};
    matches!(codec, H264 | HEVC | VP8 | VP9 | AV1 | MPEG4 | MJPEG | PRORES)
}

fn read_track(stream: &Stream, file: FileName) -> Result<Track, DecodeError> {
    let codec = stream.parameters().id();
    if !is_supported(codec) {
        return Err(DecodeError::Unsupported { file, codec: codec.name().to_owned() });
    }
    let stored = ffi::coded_size(stream);
    let Some(base) = time_base(stream.time_base()).filter(|_| stored.0 > 0 && stored.1 > 0) else {
        return Err(DecodeError::NoIndex { file });
    };
    check_size(stored, &file)?;
    let mut doubts = Vec::new();
    let orientation = match display_matrix(stream) {
        Some(matrix) => Orientation::from_matrix(&matrix).unwrap_or_else(|nearest| {
            doubts
                .push("The clip asks to be shown at a slant; only quarter turns are made.".into());
            nearest
        }),
        None => Orientation::default(),
    };
    let square = square_size(stored, ffi::pixel_aspect(stream), &mut doubts);
    check_size(square, &file)?;
    Ok(Track { stream: stream.index(), base, square, orientation, codec, doubts })
}

pub(super) fn time_base(base: Rational) -> Option<TimeBase> {
    let part = |n: i32| u32::try_from(n).ok().and_then(NonZeroU32::new);
    Some(TimeBase { num: part(base.numerator())?, den: part(base.denominator())? })
}

/// Nine native-endian integers: a b u c d v x y w of ISO/IEC 14496-12.
fn display_matrix(stream: &Stream) -> Option<[i32; 9]> {
    let kind = ffmpeg::packet::side_data::Type::DisplayMatrix;
    let side = stream.side_data().find(|side| side.kind() == kind)?;
    let (words, _) = side.data().as_chunks::<4>();
    let mut matrix = [0; 9];
    (words.len() >= matrix.len()).then(|| {
        for (value, word) in matrix.iter_mut().zip(words) {
            *value = i32::from_ne_bytes(*word);
        }
        matrix
    })
}

/// The width follows the pixel aspect and the height stays, as players do it.
fn square_size(stored: (u32, u32), aspect: Rational, doubts: &mut Vec<String>) -> (u32, u32) {
    if aspect.numerator() <= 0 || aspect.denominator() <= 0 {
        return stored;
    }
    let ratio = f64::from(aspect.numerator()) / f64::from(aspect.denominator());
    if !(MAX_PIXEL_ASPECT.recip()..=MAX_PIXEL_ASPECT).contains(&ratio) {
        doubts.push(format!(
            "The clip claims pixels {ratio:.2} times as wide as high; that is ignored."
        ));
        return stored;
    }
    (rounded(f64::from(stored.0) * ratio), stored.1)
}

/// To the nearest whole pixel; the value is a width within the limits.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 < x < 4 * 4096")]
fn rounded(x: f64) -> u32 {
    x.round() as u32
}
