//! In: a decoded frame with its colour tags. Out: rows of packed R'G'B', 8 bits, BT.709
//! primaries, as an SDR screen takes them.
//!
//! Matrix and range follow the tags (ITU-T H.273); untagged video is BT.709 from 720 lines
//! up, else BT.601. SDR with ordinary primaries needs no more: R'G'B' is passed on as coded.
//!
//! HLG, PQ and BT.2020 go through linear light: the inverse of the transfer curve
//! (BT.2100 HLG OETF, ST 2084 EOTF, BT.1886), scaled so that reference white is 1 (HLG
//! signal 0.75 and PQ 203 cd/m2, ITU-R BT.2408), BT.2020 to BT.709 primaries (BT.2087), a
//! shoulder for the highlights that keeps hue, and back: the BT.709 OETF for HLG (both are
//! scene-referred), the inverse of BT.1886 for the rest.
//!
//! Not done: P3 primaries (shown as BT.709, slightly pale), dynamic metadata.

use std::sync::LazyLock;

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame;

use super::ffi::{self, ColourTags, Conversion, Scaler};

/// From this many lines untagged video is taken as BT.709.
const HD_LINES: u32 = 720;

/// Code points of ITU-T H.273.
mod h273 {
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

    fn tables(self) -> Option<&'static Tables> {
        static WIDE: LazyLock<Tables> = LazyLock::new(|| Tables::new(bt1886, 1.0, bt1886_back));
        static HLG: LazyLock<Tables> = LazyLock::new(|| {
            Tables::new(|s| hlg_scene(s) / hlg_scene(0.75), 1.0 / hlg_scene(0.75), bt709)
        });
        static PQ: LazyLock<Tables> = LazyLock::new(|| {
            Tables::new(|s| pq_nits(s) / WHITE_NITS, PQ_PEAK_NITS / WHITE_NITS, bt1886_back)
        });
        match self {
            Self::Plain => None,
            Self::Wide => Some(&WIDE),
            Self::Hlg => Some(&HLG),
            Self::Pq => Some(&PQ),
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
        let tables = Rendering::of(&tags).tables();
        let pixel = if tables.is_some() { Pixel::RGB48LE } else { Pixel::RGB24 };
        self.prepare(frame, &tags, pixel)?;
        let scaler = self.scaler.as_mut()?;
        let stride = padded(self.size.0 as usize * 3);
        let length = stride * self.size.1 as usize;
        self.rows.resize(length, 0);
        let Some(tables) = tables else {
            return scaler.run(frame, &mut self.rows, stride).then_some((&self.rows, stride));
        };
        self.deep.resize(length * 2, 0);
        if !scaler.run(frame, &mut self.deep, stride * 2) {
            return None;
        }
        let pixels = self.size.0 as usize;
        for (deep, row) in
            self.deep.chunks_exact(stride * 2).zip(self.rows.chunks_exact_mut(stride))
        {
            tables.convert(&deep[..pixels * 6], &mut row[..pixels * 3]);
        }
        Some((&self.rows, stride))
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

/// Reference white of HDR, cd/m2 (ITU-R BT.2408).
const WHITE_NITS: f64 = 203.0;
/// Brightest PQ light that keeps a shade of its own: what phones master for (common practice, no source).
const PQ_PEAK_NITS: f64 = 1000.0;
/// Where the shoulder begins, as a share of SDR white: below it tones are kept exactly.
const KNEE: f64 = 0.8;
/// BT.2020 to BT.709 in linear light (ITU-R BT.2087-0).
const BT709_FROM_BT2020: [[f32; 3]; 3] =
    [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]];

/// Steps of the input tables (10 bits) and of the output table.
const IN: usize = 1024;
const OUT: usize = 8192;

/// One rendering as tables: signal to light, compression, light to signal.
struct Tables {
    light: Vec<f32>,
    /// Factor on all three channels by the largest of them, in steps of `peak / OUT`.
    squeeze: Vec<f32>,
    steps_per_light: f32,
    signal: Vec<u8>,
}

impl Tables {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "table steps and 8-bit codes"
    )]
    fn new(light: impl Fn(f64) -> f64, peak: f64, signal: impl Fn(f64) -> f64) -> Self {
        // Primaries outside BT.709 can go beyond the peak by the matrix's largest entry.
        let top = peak * 1.7;
        let step = |i: usize, n: usize| i as f64 / (n - 1) as f64;
        Self {
            light: (0..IN).map(|i| light(step(i, IN)) as f32).collect(),
            squeeze: (0..OUT).map(|i| squeeze(step(i, OUT) * top, peak) as f32).collect(),
            steps_per_light: ((OUT - 1) as f64 / top) as f32,
            signal: (0..OUT).map(|i| (signal(step(i, OUT)) * 255.0).round() as u8).collect(),
        }
    }

    /// A row of little-endian 16-bit R'G'B' to 8-bit R'G'B'.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "table indices, clamped by `min` and by the saturating cast"
    )]
    fn convert(&self, deep: &[u8], row: &mut [u8]) {
        for (from, to) in deep.as_chunks::<6>().0.iter().zip(row.as_chunks_mut::<3>().0) {
            let light = |at: usize| {
                self.light[usize::from(u16::from_le_bytes([from[at], from[at + 1]]) >> 6)]
            };
            let (r, g, b) = (light(0), light(2), light(4));
            let [r, g, b] = BT709_FROM_BT2020.map(|m| (m[0] * r + m[1] * g + m[2] * b).max(0.0));
            let index = (r.max(g).max(b) * self.steps_per_light) as usize;
            let factor = self.squeeze[index.min(OUT - 1)] * (OUT - 1) as f32;
            *to = [r, g, b].map(|x| self.signal[((x * factor + 0.5) as usize).min(OUT - 1)]);
        }
    }
}

/// Factor that brings light `m` (1 = reference white) into 0..=1: none below the knee, then
/// an extended Reinhard shoulder (Reinhard et al. 2002, eq. 4) that meets the knee with the
/// same slope and reaches 1 at the peak.
fn squeeze(m: f64, peak: f64) -> f64 {
    if peak <= 1.0 {
        return 1.0_f64.min(m.recip());
    }
    if m <= KNEE {
        return 1.0;
    }
    let (s, top) = ((m - KNEE) / (1.0 - KNEE), (peak - KNEE) / (1.0 - KNEE));
    let shoulder = s * (1.0 + s / (top * top)) / (1.0 + s);
    (KNEE + (1.0 - KNEE) * shoulder).min(1.0) / m
}

/// Scene light of an HLG signal: the inverse OETF of ITU-R BT.2100.
fn hlg_scene(signal: f64) -> f64 {
    const A: f64 = 0.178_832_77;
    const B: f64 = 0.284_668_92;
    const C: f64 = 0.559_910_73;
    if signal <= 0.5 { signal * signal / 3.0 } else { (((signal - C) / A).exp() + B) / 12.0 }
}

/// Display light of a PQ signal, cd/m2: the EOTF of SMPTE ST 2084.
fn pq_nits(signal: f64) -> f64 {
    const M1: f64 = 2610.0 / 16384.0;
    const M2: f64 = 2523.0 / 4096.0 * 128.0;
    const C1: f64 = 3424.0 / 4096.0;
    const C2: f64 = 2413.0 / 4096.0 * 32.0;
    const C3: f64 = 2392.0 / 4096.0 * 32.0;
    let root = signal.powf(M2.recip());
    10_000.0 * ((root - C1).max(0.0) / (C2 - C3 * root)).powf(M1.recip())
}

/// The OETF of ITU-R BT.709.
fn bt709(light: f64) -> f64 {
    if light < 0.018 { 4.5 * light } else { 1.099 * light.powf(0.45) - 0.099 }
}

/// The EOTF of ITU-R BT.1886 with a perfect black, and its inverse.
fn bt1886(signal: f64) -> f64 {
    signal.powf(2.4)
}

fn bt1886_back(light: f64) -> f64 {
    light.powf(2.4_f64.recip())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// ITU-R BT.2100 HLG OETF; check values of FACTS C21.
    #[test]
    fn hlg_follows_bt2100() {
        assert_abs_diff_eq!(hlg_scene(0.5), 1.0 / 12.0, epsilon = 1e-12);
        assert_abs_diff_eq!(hlg_scene(0.871_64), 0.5, epsilon = 1e-5);
        assert_abs_diff_eq!(hlg_scene(1.0), 1.0, epsilon = 1e-6);
        assert_abs_diff_eq!(hlg_scene(0.75), 0.264_96, epsilon = 1e-5);
    }

    /// ITU-R BT.2408: PQ signal 0.58 is 203 cd/m2; ST 2084: 1 is 10 000 cd/m2.
    #[test]
    fn pq_follows_st2084() {
        assert_abs_diff_eq!(pq_nits(0.5807), 203.0, epsilon = 0.5);
        assert_abs_diff_eq!(pq_nits(1.0), 10_000.0, epsilon = 1e-6);
        assert_abs_diff_eq!(pq_nits(0.0), 0.0, epsilon = 1e-9);
    }

    #[test]
    fn the_shoulder_is_smooth_rises_and_ends_at_white() {
        let peak = 4.0;
        let out = |m: f64| squeeze(m, peak) * m;
        assert_abs_diff_eq!(out(KNEE), KNEE, epsilon = 1e-12);
        assert_abs_diff_eq!(out(peak), 1.0, epsilon = 1e-12);
        assert_abs_diff_eq!((out(KNEE + 1e-6) - out(KNEE)) / 1e-6, 1.0, epsilon = 1e-4);
        assert!((1..400).all(|i| out(f64::from(i) * 0.01) > out(f64::from(i - 1) * 0.01 + 1e-9)));
    }

    /// Grey has no colour to lose, whatever the primaries.
    #[test]
    fn grey_stays_grey() {
        for rendering in [Rendering::Wide, Rendering::Hlg, Rendering::Pq] {
            let tables = rendering.tables().unwrap();
            for level in (0..=u16::MAX).step_by(997) {
                let mut out = [0; 3];
                tables.convert(&[level.to_le_bytes(); 3].concat(), &mut out);
                assert!(out[0].abs_diff(out[1]) <= 1 && out[1].abs_diff(out[2]) <= 1, "{out:?}");
            }
        }
    }
}
