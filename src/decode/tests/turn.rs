//! Display matrices and pixel aspect, proven by where four coloured quarters end up.

use super::{Clips, LOSSLESS};
use crate::frames::PictureSize;

/// Luma of the quarters: top left, top right, bottom left, bottom right.
const QUARTERS: [u8; 4] = [40, 90, 150, 220];

fn quarters(width: usize, height: usize) -> Vec<u8> {
    let mut picture = Vec::new();
    for y in 0..height {
        for x in 0..width {
            picture.push(QUARTERS[usize::from(y >= height / 2) * 2 + usize::from(x >= width / 2)]);
        }
    }
    picture.resize(width * height + 2 * width.div_ceil(2) * height.div_ceil(2), 128);
    picture.repeat(3)
}

/// Writes a b c d of the matrix into the video track's header, where ISO/IEC 14496-12 puts
/// it: 40 bytes behind the version of a version-0 `tkhd` box; big-endian 16.16.
fn set_matrix(clip: &std::path::Path, [a, b, c, d]: [i32; 4]) {
    let mut bytes = std::fs::read(clip).unwrap();
    let tkhd = bytes.windows(4).position(|w| w == b"tkhd").unwrap() + 4;
    assert_eq!(bytes[tkhd], 0, "version");
    for (place, value) in [(0, a), (1, b), (3, c), (4, d)] {
        let at = tkhd + 40 + place * 4;
        bytes[at..at + 4].copy_from_slice(&(value << 16).to_be_bytes());
    }
    std::fs::write(clip, bytes).unwrap();
}

/// Which quarter is shown in each corner: 0 to 3 in reading order.
fn shown(clips: &Clips, name: &str) -> [usize; 4] {
    let picture = clips.pictures(name).swap_remove(1).pixels;
    let (w, h) = picture.dimensions();
    [(1, 1), (3, 1), (1, 3), (3, 3)].map(|(x, y)| {
        let got = f64::from(picture.get_pixel(w * x / 4, h * y / 4).0[1]);
        let grey = |luma: u8| (f64::from(luma) - 16.0) * 255.0 / 219.0;
        (0..4).find(|&q| (grey(QUARTERS[q]) - got).abs() < 3.0).expect("one of the quarters")
    })
}

/// ISO/IEC 14496-12 (FACTS C17, C18): clockwise by atan2(b, a); mirrors have a negative determinant.
#[test]
fn every_matrix_turns_the_picture_upright() {
    let clips = Clips::new();
    clips.raw("plain.mp4", &quarters(64, 48), "64x48", "yuv420p", LOSSLESS);
    let cases = [
        ([1, 0, 0, 1], [0, 1, 2, 3], "as stored"),
        ([0, 1, -1, 0], [2, 0, 3, 1], "a quarter turn clockwise"),
        ([-1, 0, 0, -1], [3, 2, 1, 0], "upside down"),
        ([0, -1, 1, 0], [1, 3, 0, 2], "a quarter turn anticlockwise"),
        ([-1, 0, 0, 1], [1, 0, 3, 2], "left and right swapped"),
        ([1, 0, 0, -1], [2, 3, 0, 1], "top and bottom swapped"),
        ([0, 1, 1, 0], [0, 2, 1, 3], "mirrored on the falling diagonal"),
        ([0, -1, -1, 0], [3, 1, 2, 0], "mirrored on the rising diagonal"),
    ];
    for (matrix, expected, what) in cases {
        std::fs::copy(clips.path("plain.mp4"), clips.path("turned.mp4")).unwrap();
        set_matrix(&clips.path("turned.mp4"), matrix);
        assert_eq!(shown(&clips, "turned.mp4"), expected, "{what}");
        let size = clips.info("turned.mp4").size;
        let turned = matrix[0] == 0;
        assert_eq!((size.width, size.height), if turned { (48, 64) } else { (64, 48) }, "{what}");
    }
}

#[test]
fn wide_pixels_are_made_square_and_then_turned() {
    let clips = Clips::new();
    let coding = format!("{LOSSLESS} -aspect 16:9");
    clips.raw("wide.mp4", &quarters(72, 54), "72x54", "yuv420p", &coding);
    assert_eq!(clips.info("wide.mp4").size, PictureSize { width: 96, height: 54 });
    assert_eq!(shown(&clips, "wide.mp4"), [0, 1, 2, 3]);
    set_matrix(&clips.path("wide.mp4"), [0, 1, -1, 0]);
    assert_eq!(clips.info("wide.mp4").size, PictureSize { width: 54, height: 96 });
    assert_eq!(shown(&clips, "wide.mp4"), [2, 0, 3, 1]);
}

/// Odd sizes exist in 4:4:4 H.264 and, cropped, in VP9.
#[test]
fn odd_sizes_keep_their_last_row_and_column() {
    let clips = Clips::new();
    clips.raw(
        "odd.webm",
        &quarters(67, 45),
        "67x45",
        "yuv420p",
        "-c:v libvpx-vp9 -lossless 1 -cpu-used 8",
    );
    let pictures = clips.pictures("odd.webm");
    assert_eq!(pictures[0].pixels.dimensions(), (67, 45));
    let corner = pictures[0].pixels.get_pixel(66, 44).0;
    let inside = pictures[0].pixels.get_pixel(60, 40).0;
    assert!(corner[1].abs_diff(inside[1]) <= 2, "{corner:?} {inside:?}");
    assert_eq!(shown(&clips, "odd.webm"), [0, 1, 2, 3]);
}
