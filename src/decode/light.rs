//! In: rows of coded R'G'B' or Y'CbCr with an HDR curve or BT.2020 primaries. Out: rows of
//! 8-bit R'G'B' for an SDR screen with BT.709 primaries.
//!
//! Through linear light: the inverse of the transfer curve (BT.2100 HLG OETF, ST 2084 EOTF,
//! BT.1886), scaled so that reference white is 1 (HLG signal 0.75 and PQ 203 cd/m2, ITU-R
//! BT.2408), BT.2020 to BT.709 primaries (BT.2087), a shoulder for the highlights that keeps
//! hue, and back: the BT.709 OETF for HLG (both are scene-referred), the inverse of BT.1886
//! for the rest. Chroma is taken from the nearest sample. Dynamic metadata is not used.
//!
//! Rows are worked on channel by channel in separate loops, because the compiler makes
//! vector code of those without table look-ups.

use std::sync::LazyLock;

use super::colour::h273;

/// Reference white of HDR, cd/m2 (ITU-R BT.2408).
const WHITE_NITS: f64 = 203.0;
/// Brightest PQ light that keeps a shade of its own: what phones master for (common practice,
/// no source).
const PQ_PEAK_NITS: f64 = 1000.0;
/// Where the shoulder begins, as a share of SDR white: below it tones are kept exactly.
const KNEE: f32 = 0.8;
/// BT.2020 to BT.709 in linear light (ITU-R BT.2087-0).
const BT709_FROM_BT2020: [[f32; 3]; 3] =
    [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]];

/// Steps of the input table (10 bits) and of the output table.
const IN: usize = 1024;
const OUT: usize = 8192;

pub(super) static WIDE: LazyLock<Curve> = LazyLock::new(|| Curve::new(bt1886, 1.0, bt1886_back));
pub(super) static HLG: LazyLock<Curve> = LazyLock::new(|| {
    let white = hlg_scene(0.75);
    Curve::new(|s| hlg_scene(s) / white, white.recip(), bt709)
});
pub(super) static PQ: LazyLock<Curve> = LazyLock::new(|| {
    Curve::new(|s| pq_nits(s) / WHITE_NITS, PQ_PEAK_NITS / WHITE_NITS, bt1886_back)
});

/// One rendering: signal to light, shoulder, light to signal.
pub(super) struct Curve {
    light: [f32; IN],
    shoulder: Shoulder,
    signal: [u8; OUT],
}

impl Curve {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "table steps and 8-bit codes"
    )]
    fn new(light: impl Fn(f64) -> f64, peak: f64, signal: impl Fn(f64) -> f64) -> Self {
        let step = |i: usize, n: usize| i as f64 / (n - 1) as f64;
        Self {
            light: std::array::from_fn(|i| light(step(i, IN)) as f32),
            shoulder: Shoulder::new(peak as f32),
            signal: std::array::from_fn(|i| (signal(step(i, OUT)) * 255.0).round() as u8),
        }
    }
}

/// Brings light 0..=peak into 0..=1: untouched below the knee, then an extended Reinhard
/// curve (Reinhard et al. 2002, eq. 4) that leaves the knee with slope 1 and ends at 1.
struct Shoulder {
    knee: f32,
    curl: f32,
}

impl Shoulder {
    fn new(peak: f32) -> Self {
        let knee = if peak > 1.0 { KNEE } else { 1.0 };
        let top = (peak - knee) / (1.0 - KNEE);
        Self { knee, curl: if peak > 1.0 { (top * top).recip() } else { 0.0 } }
    }

    /// Factor on all three channels whose largest is `m`.
    #[inline]
    fn factor(&self, m: f32) -> f32 {
        let s = (m - self.knee).max(0.0) / (1.0 - KNEE);
        let bent = self.knee + (1.0 - KNEE) * s * (1.0 + s * self.curl) / (1.0 + s);
        if m > self.knee { bent.min(1.0) / m } else { 1.0 }
    }
}

/// From 10-bit Y'CbCr to 10-bit full-range R'G'B'.
pub(super) struct YuvCode {
    black: f32,
    luma: f32,
    red_cr: f32,
    green_cb: f32,
    green_cr: f32,
    blue_cb: f32,
}

impl YuvCode {
    /// Kr and Kb of ITU-R BT.601, BT.709, BT.2020; code ranges of the same.
    pub fn new(matrix: i32, full_range: bool) -> Self {
        let (kr, kb) = match matrix {
            h273::BT709 => (0.2126, 0.0722),
            h273::BT2020_NCL => (0.2627, 0.0593),
            _ => (0.299, 0.114),
        };
        let (black, luma, chroma) =
            if full_range { (0.0, 1.0, 1.0) } else { (64.0, 1023.0 / 876.0, 1023.0 / 896.0) };
        let (red, blue, kg) = (2.0 * (1.0 - kr), 2.0 * (1.0 - kb), 1.0 - kr - kb);
        Self {
            black,
            luma,
            red_cr: red * chroma,
            green_cb: -kb * blue / kg * chroma,
            green_cr: -kr * red / kg * chroma,
            blue_cb: blue * chroma,
        }
    }
}

/// Room for one row, channel by channel.
pub(super) struct LightRow {
    /// 10-bit codes.
    codes: [Vec<u16>; 3],
    light: [Vec<f32>; 3],
    steps: [Vec<u16>; 3],
}

impl LightRow {
    pub fn new(width: usize) -> Self {
        let codes = || std::array::from_fn(|_| vec![0; width]);
        Self { codes: codes(), light: std::array::from_fn(|_| vec![0.0; width]), steps: codes() }
    }

    /// Packed little-endian 16-bit R'G'B'.
    pub fn read_rgb(&mut self, packed: &[u8]) {
        let [r, g, b] = &mut self.codes;
        for (((pixel, r), g), b) in packed.as_chunks::<6>().0.iter().zip(r).zip(g).zip(b) {
            let code = |at: usize| u16::from_le_bytes([pixel[at], pixel[at + 1]]) >> 6;
            (*r, *g, *b) = (code(0), code(2), code(4));
        }
    }

    /// One row of 4:2:0 planes of little-endian 10-bit samples.
    pub fn read_yuv(&mut self, code: &YuvCode, luma: &[u8], cb: &[u8], cr: &[u8]) {
        let [r, g, b] = &mut self.codes;
        let chroma = cb.as_chunks::<2>().0.iter().zip(cr.as_chunks::<2>().0);
        let pairs = r.chunks_mut(2).zip(g.chunks_mut(2)).zip(b.chunks_mut(2));
        for ((luma, (cb, cr)), ((r, g), b)) in luma.as_chunks::<4>().0.iter().zip(chroma).zip(pairs)
        {
            let centred = |sample: &[u8; 2]| f32::from(u16::from_le_bytes(*sample)) - 512.0;
            let (cb, cr) = (centred(cb), centred(cr));
            let (dr, dg, db) =
                (code.red_cr * cr, code.green_cb * cb + code.green_cr * cr, code.blue_cb * cb);
            for at in 0..r.len() {
                let y = f32::from(u16::from_le_bytes([luma[at * 2], luma[at * 2 + 1]]));
                let y = (y - code.black) * code.luma;
                (r[at], g[at], b[at]) = (clamped(y + dr), clamped(y + dg), clamped(y + db));
            }
        }
    }

    /// The row as packed 8-bit R'G'B'.
    pub fn write(&mut self, curve: &Curve, out: &mut [u8]) {
        for (codes, light) in self.codes.iter().zip(&mut self.light) {
            for (code, light) in codes.iter().zip(light) {
                *light = curve.light[usize::from(*code) % IN];
            }
        }
        self.render(&curve.shoulder);
        let [r, g, b] = &self.steps;
        for (((pixel, r), g), b) in out.as_chunks_mut::<3>().0.iter_mut().zip(r).zip(g).zip(b) {
            *pixel = [r, g, b].map(|step| curve.signal[usize::from(*step) % OUT]);
        }
    }

    /// Primaries and shoulder; no table, so that it becomes vector code.
    fn render(&mut self, shoulder: &Shoulder) {
        let [r, g, b] = &self.light;
        let [to_r, to_g, to_b] = &mut self.steps;
        let [m_r, m_g, m_b] = BT709_FROM_BT2020;
        let width = r.len();
        let (g, b) = (&g[..width], &b[..width]);
        let (to_r, to_g, to_b) = (&mut to_r[..width], &mut to_g[..width], &mut to_b[..width]);
        for i in 0..width {
            let mix = |m: [f32; 3]| (m[0] * r[i] + m[1] * g[i] + m[2] * b[i]).max(0.0);
            let (red, green, blue) = (mix(m_r), mix(m_g), mix(m_b));
            let factor = shoulder.factor(red.max(green).max(blue)) * LAST_STEP;
            to_r[i] = step(red * factor);
            to_g[i] = step(green * factor);
            to_b[i] = step(blue * factor);
        }
    }
}

const LAST_STEP: f32 = 8191.0;
const _: () = assert!(OUT == 8192, "LAST_STEP is OUT - 1");

/// To the nearest step of the output table.
#[inline]
fn step(x: f32) -> u16 {
    whole(x.min(LAST_STEP))
}

/// To the nearest 10-bit code.
#[inline]
fn clamped(x: f32) -> u16 {
    whole(x.clamp(0.0, 1023.0))
}

/// Rounds `0 <= x < 65536` by adding 2^23, after which the last bits of an f32 count ones.
/// A cast would check for NaN, which keeps the loop out of vector code.
#[inline]
#[expect(clippy::cast_possible_truncation, reason = "the low 16 bits are the number")]
fn whole(x: f32) -> u16 {
    (x + 8_388_608.0).to_bits() as u16
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
        let peak = 4.0_f64;
        let out = |m: f64| f64::from(Shoulder::new(peak as f32).factor(m as f32)) * m;
        assert_abs_diff_eq!(out(f64::from(KNEE)), f64::from(KNEE), epsilon = 1e-6);
        assert_abs_diff_eq!(out(peak), 1.0, epsilon = 1e-6);
        assert_abs_diff_eq!(
            (out(f64::from(KNEE) + 1e-3) - out(f64::from(KNEE))) / 1e-3,
            1.0,
            epsilon = 1e-2
        );
        assert!((1..400).all(|i| out(f64::from(i) * 0.01) > out(f64::from(i - 1) * 0.01 + 1e-9)));
    }

    /// Grey has no colour to lose, whatever the primaries.
    #[test]
    fn grey_stays_grey() {
        for rendering in [&*WIDE, &*HLG, &*PQ] {
            let mut row = LightRow::new(1);
            for level in (0..=u16::MAX).step_by(997) {
                let mut out = [0; 3];
                row.read_rgb(&[level.to_le_bytes(); 3].concat());
                row.write(rendering, &mut out);
                assert!(out[0].abs_diff(out[1]) <= 1 && out[1].abs_diff(out[2]) <= 1, "{out:?}");
            }
        }
    }
}
