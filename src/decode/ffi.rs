//! The calls into FFmpeg that ffmpeg-next 9.0.0 has no safe form for, each wrapped so that
//! the rest of the crate stays safe. Nothing is decided here.
//!
//! Why each is needed:
//! * opening in two steps, so that sizes are checked before FFmpeg decodes anything, and
//!   tags read as bytes (the crate trusts a file's tags to be UTF-8);
//! * per-stream seek, discard, pixel aspect, coded size, packet flags, `max_pixels`: no wrapper;
//! * colour tags as plain numbers (a damaged file may hold one that is no enum value);
//! * swscale with a chosen matrix and range: no wrapper, and the crate's is not `Send`.
#![allow(unsafe_code)]

use std::ffi::{CStr, CString};
use std::fs::File;
use std::ptr;

use ffmpeg::ffi as av;
use ffmpeg::format::context::{Input, StreamIo};
use ffmpeg::{Dictionary, Error, Packet, Rational, Stream, codec, format, frame};
use ffmpeg_next as ffmpeg;

/// Demuxers allowed to open a clip. Playlists and concat scripts are not among them.
const FORMATS: &str = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm";

/// Opens `file` by its content alone; no other file or address can be reached from it.
/// `look` sees the header before any picture is decoded and may refuse.
pub fn open<E>(
    file: File,
    look: impl FnOnce(&Input) -> Result<(), E>,
) -> Result<Result<Input, E>, Error> {
    let mut io = StreamIo::from_read_seek(file)?;
    let mut options = Dictionary::new();
    options.set("protocol_whitelist", "none");
    options.set("format_whitelist", FORMATS);
    // SAFETY: the context is freshly allocated and checked. avformat_open_input frees it when
    // it fails and leaves the custom io to us; when it succeeds, Input owns both, the io
    // outliving the context.
    let mut input = unsafe {
        let mut context = av::avformat_alloc_context();
        if context.is_null() {
            return Err(Error::Other { errno: ffmpeg::error::ENOMEM });
        }
        (*context).pb = io.as_mut_ptr();
        (*context).flags |= av::AVFMT_FLAG_CUSTOM_IO;
        let mut raw = options.disown();
        // FFmpeg 4.4 (Ubuntu 22.04) asks for a mutable format, later ones do not.
        let any = ptr::null_mut();
        let code = av::avformat_open_input(&raw mut context, ptr::null(), any, &raw mut raw);
        drop(Dictionary::own(raw));
        if code < 0 {
            return Err(Error::from(code));
        }
        Input::wrap_with_custom_io(context, io)
    };
    if let Err(refused) = look(&input) {
        return Ok(Err(refused));
    }
    // SAFETY: a live, opened context, borrowed mutably.
    match unsafe { av::avformat_find_stream_info(input.as_mut_ptr(), ptr::null_mut()) } {
        code if code < 0 => Err(Error::from(code)),
        _ => Ok(Ok(input)),
    }
}

/// A tag of the container, unreadable bytes replaced.
pub fn tag(input: &Input, key: &str) -> Option<String> {
    let key = CString::new(key).ok()?;
    // SAFETY: the context lives; av_dict_get accepts a null dictionary; an entry's value is a
    // NUL-terminated string owned by the dictionary, copied before the borrow ends.
    unsafe {
        let entry = av::av_dict_get((*input.as_ptr()).metadata, key.as_ptr(), ptr::null(), 0);
        let value = entry.as_ref()?.value;
        (!value.is_null()).then(|| CStr::from_ptr(value).to_string_lossy().into_owned())
    }
}

/// Coded width and height as the header states them; negative never.
pub fn coded_size(stream: &Stream) -> (u32, u32) {
    // SAFETY: every stream of a live context has codec parameters.
    let (w, h) = unsafe {
        let parameters = (*stream.as_ptr()).codecpar;
        ((*parameters).width, (*parameters).height)
    };
    (u32::try_from(w).unwrap_or(0), u32::try_from(h).unwrap_or(0))
}

/// Width of a pixel over its height; the container's word before the codec's. 0/1 = unknown.
pub fn pixel_aspect(stream: &Stream) -> Rational {
    // SAFETY: as in coded_size; plain reads.
    unsafe {
        let own = (*stream.as_ptr()).sample_aspect_ratio;
        if own.num > 0 { own } else { (*(*stream.as_ptr()).codecpar).sample_aspect_ratio }.into()
    }
}

/// Makes the demuxer skip every stream but this one.
pub fn keep_only(input: &mut Input, stream: usize) {
    let count = input.nb_streams() as usize;
    for index in 0..count {
        // SAFETY: index is below nb_streams of a live context borrowed mutably.
        unsafe {
            let other = *(*input.as_mut_ptr()).streams.add(index);
            (*other).discard = if index == stream {
                av::AVDiscard::AVDISCARD_DEFAULT
            } else {
                av::AVDiscard::AVDISCARD_ALL
            };
        }
    }
}

/// Moves to the last keyframe at or before `ticks` of this stream.
pub fn seek(input: &mut Input, stream: usize, ticks: i64) -> Result<(), Error> {
    let Ok(stream) = i32::try_from(stream) else { return Err(Error::StreamNotFound) };
    // SAFETY: a live context borrowed mutably; FFmpeg checks the stream's number.
    match unsafe { av::av_seek_frame(input.as_mut_ptr(), stream, ticks, av::AVSEEK_FLAG_BACKWARD) }
    {
        code if code < 0 => Err(Error::from(code)),
        _ => Ok(()),
    }
}

/// Marked by the demuxer as outside the edit list: to be decoded but not shown.
pub fn is_hidden(packet: &Packet) -> bool {
    use ffmpeg::packet::Ref;
    // SAFETY: the pointer is that of a live packet; a plain read.
    unsafe { (*packet.as_ptr()).flags & av::AV_PKT_FLAG_DISCARD != 0 }
}

/// What a decoder must know before it opens: the time base of its packets, and how many
/// pixels a picture may have before it is refused.
pub fn prepare(context: &mut codec::Context, base: Rational, max_pixels: i64) {
    // SAFETY: a live, unopened codec context borrowed mutably; plain writes.
    unsafe {
        (*context.as_mut_ptr()).pkt_timebase = base.into();
        (*context.as_mut_ptr()).max_pixels = max_pixels;
    }
}

/// Colour tags as the numbers of ITU-T H.273.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ColourTags {
    pub matrix: i32,
    pub primaries: i32,
    pub transfer: i32,
    pub full_range: bool,
}

pub fn colour_tags(frame: &frame::Video) -> ColourTags {
    // SAFETY: a live frame; the enum fields are read as the C ints that they are, so that no
    // value out of the enum's set is ever made.
    unsafe {
        let frame = frame.as_ptr();
        let range = (&raw const (*frame).color_range).cast::<i32>().read();
        ColourTags {
            matrix: (&raw const (*frame).colorspace).cast::<i32>().read(),
            primaries: (&raw const (*frame).color_primaries).cast::<i32>().read(),
            transfer: (&raw const (*frame).color_trc).cast::<i32>().read(),
            full_range: range == av::AVColorRange::AVCOL_RANGE_JPEG as i32,
        }
    }
}

/// Bytes of a frame's planes.
pub fn bytes(frame: &frame::Video) -> usize {
    (0..frame.planes()).map(|plane| frame.data(plane).len()).sum()
}

/// Which pictures a [`Scaler`] takes and gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conversion {
    pub from: (format::Pixel, u32, u32),
    pub to: (format::Pixel, u32, u32),
    pub flags: i32,
    /// One of swscale's `SWS_CS_*`.
    pub matrix: i32,
    pub full_range: bool,
}

/// swscale with its colour matrix and range set.
pub struct Scaler {
    context: ptr::NonNull<av::SwsContext>,
    pub conversion: Conversion,
}

// SAFETY: an SwsContext has no ties to the thread that made it, and is used only through
// `&mut self`.
unsafe impl Send for Scaler {}

impl Scaler {
    /// `None` where swscale knows no way between the two.
    pub fn new(conversion: Conversion) -> Option<Self> {
        let Conversion { from, to, flags, matrix, full_range } = conversion;
        let int = |n: u32| i32::try_from(n).ok();
        // SAFETY: sizes are positive ints, FFmpeg checks them and the formats; the filters and
        // parameters may be null. The coefficient tables are static.
        unsafe {
            let context = ptr::NonNull::new(av::sws_getContext(
                int(from.1)?,
                int(from.2)?,
                from.0.into(),
                int(to.1)?,
                int(to.2)?,
                to.0.into(),
                flags,
                ptr::null_mut(),
                ptr::null_mut(),
                ptr::null(),
            ))?;
            let made = Self { context, conversion };
            // Fails for pictures that are RGB already, which need no matrix.
            av::sws_setColorspaceDetails(
                context.as_ptr(),
                av::sws_getCoefficients(matrix),
                i32::from(full_range),
                av::sws_getCoefficients(av::SWS_CS_DEFAULT),
                1,
                0,
                1 << 16,
                1 << 16,
            );
            Some(made)
        }
    }

    /// Converts `frame` into `out`, rows `stride` bytes apart. `false` where the frame or the
    /// room does not fit.
    pub fn run(&mut self, frame: &frame::Video, out: &mut [u8], stride: usize) -> bool {
        let (pixel, width, height) = self.conversion.from;
        let bytes = if self.conversion.to.0 == format::Pixel::RGB48LE { 6 } else { 3 };
        let fits = (frame.format(), frame.width(), frame.height()) == (pixel, width, height)
            && stride >= self.conversion.to.1 as usize * bytes
            && out.len() >= stride * self.conversion.to.2 as usize;
        let (Ok(line), Ok(rows)) = (i32::try_from(stride), i32::try_from(height)) else {
            return false;
        };
        if !fits {
            return false;
        }
        let planes = [out.as_mut_ptr(), ptr::null_mut(), ptr::null_mut(), ptr::null_mut()];
        let lines = [line, 0, 0, 0];
        // SAFETY: the frame has the format and size that the context was made for; the output
        // is one packed plane whose rows and length were checked above.
        unsafe {
            let frame = frame.as_ptr();
            av::sws_scale(
                self.context.as_ptr(),
                (&raw const (*frame).data).cast(),
                (&raw const (*frame).linesize).cast(),
                0,
                rows,
                planes.as_ptr(),
                lines.as_ptr(),
            ) > 0
        }
    }
}

impl Drop for Scaler {
    fn drop(&mut self) {
        // SAFETY: made by sws_getContext, freed once.
        unsafe { av::sws_freeContext(self.context.as_ptr()) }
    }
}
