//! In: a decoded frame with its colour tags. Out: rows of packed R'G'B', 8 bits, BT.709
//! primaries, as an SDR screen takes them.
//!
//! Matrix and range follow the tags (ITU-T H.273); untagged video is BT.709 from 720 lines
//! up, else BT.601. SDR with ordinary primaries needs no more: R'G'B' is passed on as coded.
//!
//! What has BT.2020 primaries or an HDR curve goes through linear light: see `light.rs`.
//!
//! swscale's fast way is taken on purpose: at most 3.3 levels off (measured by the tests on
//! lossless bars), where its exact one takes ten times as long.
//!
//! Not done: P3 primaries (shown as BT.709, slightly pale).

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame;

use super::ffi::{self, ColourTags, Conversion, Scaler};
use super::light::{self, Curve, LightRow, YuvCode};

/// From this many lines untagged video is taken as BT.709.
const HD_LINES: u32 = 720;

/// Code points of ITU-T H.273.
pub(super) mod h273 {
    pub const BT709: i32 = 1;
    pub const FCC: i32 = 4;
    pub const BT470BG: i32 = 5;
    pub const SMPTE170M: i32 = 6;
    pub const SMPTE240M: i32 = 7;
    pub const BT2020_NCL: i32 = 9;
    pub const BT2020_CL: i32 = 10;
    pub const PRIMARIES_BT2020: i32 = 9;
    pub const TRANSFER_PQ: i32 = 16;
    pub const TRANSFER_HLG: i32 = 18;
}

/// How a clip's R'G'B' relates to light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rendering {
    /// Ordinary SDR: passed on.
    Plain,
    /// SDR with BT.2020 primaries.
    Wide,
    Hlg,
    Pq,
}

impl Rendering {
    pub fn of(tags: &ColourTags) -> Self {
        match (tags.transfer, tags.primaries) {
            (h273::TRANSFER_HLG, _) => Self::Hlg,
            (h273::TRANSFER_PQ, _) => Self::Pq,
            (_, h273::PRIMARIES_BT2020) => Self::Wide,
            _ => Self::Plain,
        }
    }

    pub fn is_hdr(self) -> bool {
        matches!(self, Self::Hlg | Self::Pq)
    }

    fn curve(self) -> Option<&'static Curve> {
        match self {
            Self::Plain => None,
            Self::Wide => Some(&light::WIDE),
            Self::Hlg => Some(&light::HLG),
            Self::Pq => Some(&light::PQ),
        }
    }
}

/// Frames to packed RGB of one size, whatever size and format the decoder gives.
pub(super) struct Painter {
    size: (u32, u32),
    scaler: Option<Scaler>,
    rows: Vec<u8>,
    deep: Vec<u8>,
}

/// Bytes that swscale's vector code may want behind each row.
const ROW_PADDING: usize = 64;

impl Painter {
    pub fn new(size: (u32, u32)) -> Self {
        Self { size, scaler: None, rows: Vec::new(), deep: Vec::new() }
    }

    /// Rows of packed RGB and the bytes from one to the next; `None` where the frame has a
    /// format that cannot be shown.
    pub fn paint(&mut self, frame: &frame::Video) -> Option<(&[u8], usize)> {
        let tags = ffi::colour_tags(frame);
        let stride = padded(self.size.0 as usize * 3);
        self.rows.resize(stride * self.size.1 as usize, 0);
        match Rendering::of(&tags).curve() {
            None => {
                self.prepare(frame, &tags, Pixel::RGB24)?;
                let scaler = self.scaler.as_mut()?;
                scaler.run(frame, &mut self.rows, stride).then_some((&self.rows, stride))
            }
            Some(curve) => {
                self.paint_light(frame, &tags, curve, stride)?;
                Some((&self.rows, stride))
            }
        }
    }

    /// The usual 10-bit frame is read as it is, any other through 16-bit RGB.
    fn paint_light(
        &mut self,
        frame: &frame::Video,
        tags: &ColourTags,
        curve: &Curve,
        stride: usize,
    ) -> Option<()> {
        let width = self.size.0 as usize;
        let mut row = LightRow::new(width);
        if frame.format() == Pixel::YUV420P10LE && (frame.width(), frame.height()) == self.size {
            let code = YuvCode::new(matrix(tags.matrix, frame.height()), tags.full_range);
            for (y, out) in self.rows.chunks_exact_mut(stride).enumerate() {
                row.read_yuv(
                    &code,
                    plane_row(frame, 0, y)?,
                    plane_row(frame, 1, y / 2)?,
                    plane_row(frame, 2, y / 2)?,
                );
                row.write(curve, &mut out[..width * 3]);
            }
            return Some(());
        }
        self.prepare(frame, tags, Pixel::RGB48LE)?;
        self.deep.resize(self.rows.len() * 2, 0);
        let done = self.scaler.as_mut()?.run(frame, &mut self.deep, stride * 2);
        for (deep, out) in
            self.deep.chunks_exact(stride * 2).zip(self.rows.chunks_exact_mut(stride))
        {
            row.read_rgb(deep);
            row.write(curve, &mut out[..width * 3]);
        }
        done.then_some(())
    }

    /// Keeps the scaler while frames stay alike.
    fn prepare(&mut self, frame: &frame::Video, tags: &ColourTags, pixel: Pixel) -> Option<()> {
        let from = (frame.format(), frame.width(), frame.height());
        let conversion = Conversion {
            from,
            to: (pixel, self.size.0, self.size.1),
            flags: FLAGS,
            matrix: matrix(tags.matrix, frame.height()),
            full_range: tags.full_range || is_full_range(from.0),
        };
        if self.scaler.as_ref().is_none_or(|s| s.conversion != conversion) {
            self.scaler = Some(Scaler::new(conversion)?);
        }
        Some(())
    }
}

const FLAGS: i32 = ffmpeg_next::ffi::SWS_BILINEAR;

fn padded(bytes: usize) -> usize {
    (bytes + ROW_PADDING).next_multiple_of(ROW_PADDING)
}

/// swscale's name for the matrix of an H.273 code point (they are the same numbers).
fn matrix(code: i32, lines: u32) -> i32 {
    match code {
        h273::BT709 | h273::FCC | h273::BT470BG | h273::SMPTE170M | h273::SMPTE240M => code,
        h273::BT2020_NCL | h273::BT2020_CL => h273::BT2020_NCL,
        _ if lines >= HD_LINES => h273::BT709,
        _ => h273::SMPTE170M,
    }
}

/// The old formats whose very name says full range.
fn is_full_range(pixel: Pixel) -> bool {
    use Pixel::{YUVJ411P, YUVJ420P, YUVJ422P, YUVJ440P, YUVJ444P};
    matches!(pixel, YUVJ411P | YUVJ420P | YUVJ422P | YUVJ440P | YUVJ444P)
}

/// One row of a plane of 16-bit samples.
fn plane_row(frame: &frame::Video, plane: usize, y: usize) -> Option<&[u8]> {
    if plane >= frame.planes() {
        return None;
    }
    let stride = frame.stride(plane);
    frame.data(plane).get(y * stride..(y + 1) * stride)
}
