//! Colours made by the formulas of the standards, coded without loss, must come back.

use super::{Clips, LOSSLESS};

/// R'G'B' of 0..1: bars at 75 % and 100 %, greys, skin.
const PATCHES: [[f64; 3]; 16] = [
    [0.75, 0.75, 0.75],
    [0.75, 0.75, 0.0],
    [0.0, 0.75, 0.75],
    [0.0, 0.75, 0.0],
    [0.75, 0.0, 0.75],
    [0.75, 0.0, 0.0],
    [0.0, 0.0, 0.75],
    [0.0, 0.0, 0.0],
    [1.0, 1.0, 1.0],
    [1.0, 0.0, 0.0],
    [0.0, 1.0, 0.0],
    [0.0, 0.0, 1.0],
    [0.5, 0.5, 0.5],
    [0.1, 0.1, 0.1],
    [0.78, 0.57, 0.44],
    [0.36, 0.22, 0.16],
];

/// Kr and Kb: ITU-R BT.601-7, BT.709-6, BT.2020-2.
const BT601: (f64, f64) = (0.299, 0.114);
const BT709: (f64, f64) = (0.2126, 0.0722);
const BT2020: (f64, f64) = (0.2627, 0.0593);

/// Codes of Y', Cb, Cr as those recommendations quantise them.
fn codes([r, g, b]: [f64; 3], (kr, kb): (f64, f64), full: bool, bits: u32) -> [f64; 3] {
    let y = kr * r + (1.0 - kr - kb) * g + kb * b;
    let (cb, cr) = ((b - y) / (2.0 * (1.0 - kb)), (r - y) / (2.0 * (1.0 - kr)));
    let unit = f64::from(1_u32 << (bits - 8));
    let top = f64::from((1_u32 << bits) - 1);
    let [y, cb, cr] = if full {
        [y * top, cb * top + 128.0 * unit, cr * top + 128.0 * unit]
    } else {
        [(219.0 * y + 16.0) * unit, (224.0 * cb + 128.0) * unit, (224.0 * cr + 128.0) * unit]
    };
    [y, cb, cr].map(|code| code.round().clamp(0.0, top))
}

/// Side of a patch, pixels.
const SIDE: usize = 16;

/// Four pictures of the patches in a row, 4:2:0 planar, `lines` high.
fn row(patches: &[[f64; 3]], lines: usize, bits: u32) -> Vec<u8> {
    let mut picture = Vec::new();
    for plane in 0..3 {
        let (side, rows) = if plane == 0 { (SIDE, lines) } else { (SIDE / 2, lines / 2) };
        for _ in 0..rows {
            for patch in patches {
                let code = patch[plane] as u16;
                for _ in 0..side {
                    picture.extend_from_slice(&code.to_le_bytes()[..if bits > 8 { 2 } else { 1 }]);
                }
            }
        }
    }
    picture.repeat(4)
}

fn centres(clips: &Clips, name: &str) -> Vec<[u8; 3]> {
    let picture = clips.pictures(name).swap_remove(2).pixels;
    let middle = picture.height() / 2;
    (0..picture.width() / SIDE as u32)
        .map(|i| picture.get_pixel(i * SIDE as u32 + 8, middle).0)
        .collect()
}

fn assert_close(got: &[[u8; 3]], expected: &[[f64; 3]], levels: f64, what: &str) {
    assert_eq!(got.len(), expected.len());
    for (got, expected) in got.iter().zip(expected) {
        for channel in 0..3 {
            let off = f64::from(got[channel]) - expected[channel] * 255.0;
            assert!(off.abs() <= levels, "{what}: got {got:?}, expected {expected:?} of 1");
        }
    }
}

fn sdr(matrix: (f64, f64), full: bool, tags: &str, lines: usize) {
    let clips = Clips::new();
    let patches = PATCHES.map(|rgb| codes(rgb, matrix, full, 8));
    let size = format!("{}x{lines}", PATCHES.len() * SIDE);
    // The range is in the codec's own tags; `yuvj420p` only makes the encoder write them.
    let format = if full { "yuvj420p" } else { "yuv420p" };
    let range = if full { "pc" } else { "tv" };
    let coding = format!("{LOSSLESS} -color_range {range} {tags}");
    clips.raw("bars.mp4", &row(&patches, lines, 8), &size, format, &coding);
    assert_close(&centres(&clips, "bars.mp4"), &PATCHES, 4.0, &format!("{tags} {range}"));
}

const AS_709: &str = "-colorspace bt709 -color_primaries bt709 -color_trc bt709";
const AS_601: &str = "-colorspace smpte170m -color_primaries smpte170m -color_trc smpte170m";

#[test]
fn bars_of_bt709_and_bt601_in_both_ranges() {
    sdr(BT709, false, AS_709, 32);
    sdr(BT709, true, AS_709, 32);
    sdr(BT601, false, AS_601, 32);
    sdr(BT601, true, AS_601, 32);
}

#[test]
fn untagged_video_is_bt601_below_720_lines_and_bt709_above() {
    sdr(BT601, false, "", 480);
    sdr(BT709, false, "", 720);
}

/// Ten bits, tagged BT.709, in HEVC.
#[test]
fn ten_bit_hevc_keeps_its_colours() {
    let clips = Clips::new();
    let patches = PATCHES.map(|rgb| codes(rgb, BT709, false, 10));
    let coding = format!(
        "-c:v libx265 -preset ultrafast -x265-params lossless=1:log-level=none {AS_709} -tag:v hvc1"
    );
    clips.raw("ten.mov", &row(&patches, 64, 10), "256x64", "yuv420p10le", &coding);
    assert_close(&centres(&clips, "ten.mov"), &PATCHES, 4.0, "10 bits");
}

const AS_HLG: &str =
    "-colorspace bt2020nc -color_primaries bt2020 -color_trc arib-std-b67 -tag:v hvc1";
const AS_PQ: &str = "-colorspace bt2020nc -color_primaries bt2020 -color_trc smpte2084 -tag:v hvc1";
const AS_WIDE: &str =
    "-colorspace bt2020nc -color_primaries bt2020 -color_trc bt2020-10 -tag:v hvc1";

fn wide(signals: &[[f64; 3]], tags: &str) -> (Vec<[u8; 3]>, bool) {
    let clips = Clips::new();
    let patches: Vec<_> = signals.iter().map(|&rgb| codes(rgb, BT2020, false, 10)).collect();
    let coding =
        format!("-c:v libx265 -preset ultrafast -x265-params lossless=1:log-level=none {tags}");
    let size = format!("{}x64", signals.len() * SIDE);
    clips.raw("wide.mp4", &row(&patches, 64, 10), &size, "yuv420p10le", &coding);
    (centres(&clips, "wide.mp4"), clips.info("wide.mp4").hdr)
}

/// BT.709 light in BT.2020 primaries: the table of ITU-R BT.2087-0.
fn bt2020_from_bt709([r, g, b]: [f64; 3]) -> [f64; 3] {
    [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
        .map(|m| m[0] * r + m[1] * g + m[2] * b)
}

/// The OETF of ITU-R BT.709, and of BT.2100 HLG (FACTS C21).
fn bt709(x: f64) -> f64 {
    if x < 0.018 { 4.5 * x } else { 1.099 * x.powf(0.45) - 0.099 }
}

fn hlg(x: f64) -> f64 {
    if x <= 1.0 / 12.0 {
        (3.0 * x).sqrt()
    } else {
        0.178_832_77 * (12.0 * x - 0.284_668_92).ln() + 0.559_910_73
    }
}

/// Light below the shoulder: greys, a BT.709 red, green and blue, skin.
const LIGHTS: [[f64; 3]; 8] = [
    [0.05, 0.05, 0.05],
    [0.18, 0.18, 0.18],
    [0.5, 0.5, 0.5],
    [0.5, 0.0, 0.0],
    [0.0, 0.5, 0.0],
    [0.0, 0.0, 0.5],
    [0.45, 0.26, 0.17],
    [0.1, 0.05, 0.03],
];

/// HLG made from known BT.709 light with reference white at signal 0.75 (E = 0.26496, FACTS
/// C21; ITU-R BT.2408) must show the same picture as that light coded by the BT.709 OETF.
#[test]
fn hlg_shows_the_colours_of_the_scene() {
    let signals = LIGHTS.map(|light| bt2020_from_bt709(light).map(|x| hlg(x * 0.264_96)));
    let (got, hdr) = wide(&signals, AS_HLG);
    assert!(hdr);
    // Near black one 10-bit step of a channel outside the gamut is a few levels.
    assert_close(&got, &LIGHTS.map(|light| light.map(bt709)), 6.0, "HLG");
}

#[test]
fn hlg_white_is_bright_and_highlights_still_differ() {
    let (got, _) = wide(&[0.75, 0.85, 0.95, 1.0].map(|s| [s; 3]), AS_HLG);
    let levels: Vec<_> = got.iter().map(|p| p[0]).collect();
    assert!((225..=250).contains(&levels[0]), "{levels:?}");
    assert!(levels.windows(2).all(|w| w[0] < w[1]), "{levels:?}");
    assert!(levels[3] >= 254, "{levels:?}");
}

/// ST 2084 inverse EOTF of nits, written from the standard the other way round.
fn pq(nits: f64) -> f64 {
    let power = (nits / 10_000.0).powf(0.159_301_757_812_5);
    ((0.835_937_5 + 18.851_562_5 * power) / (1.0 + 18.687_5 * power)).powf(78.843_75)
}

/// PQ and SDR BT.2020 show display light (BT.1886, gamma 2.4); 203 cd/m2 is white (BT.2408).
#[test]
fn pq_and_wide_sdr_show_the_light_of_the_display() {
    let expected = LIGHTS.map(|light| light.map(|x| x.powf(1.0 / 2.4)));
    let (got, hdr) = wide(&LIGHTS.map(|l| bt2020_from_bt709(l).map(|x| pq(x * 203.0))), AS_PQ);
    assert!(hdr);
    assert_close(&got, &expected, 8.0, "PQ");
    let (got, hdr) =
        wide(&LIGHTS.map(|l| bt2020_from_bt709(l).map(|x| x.powf(1.0 / 2.4))), AS_WIDE);
    assert!(!hdr);
    assert_close(&got, &expected, 8.0, "BT.2020");
}
