//! A made clip, read back by this program and by ffprobe.

use image::{Rgb, RgbImage};

use super::{Clips, all};
use crate::decode::{Coding, EncodeError, Encoder};

/// A bright block that moves over a coloured ground.
fn picture(n: u32) -> RgbImage {
    RgbImage::from_fn(96, 128, |x, y| {
        let inside = (10 + 4 * n..30 + 4 * n).contains(&x) && (40..60).contains(&y);
        if inside { Rgb([250, 240, 40]) } else { Rgb([30, 90, 160]) }
    })
}

/// Uneven, as a phone writes them.
fn time(n: u32) -> f64 {
    f64::from(n) * 0.066 + if n.is_multiple_of(3) { 0.01 } else { 0.0 }
}

#[test]
fn what_is_written_is_read_back_with_its_times_and_colours() {
    for coding in [Coding::H264, Coding::Vp9] {
        let mut encoder = Encoder::start(coding, (96, 128)).unwrap();
        (0..15).for_each(|n| encoder.push(&picture(n), time(n)).unwrap());
        let bytes = encoder.finish(time(15)).unwrap();
        let clips = Clips::new();
        let name = format!("made.{}", coding.ending());
        std::fs::write(clips.path(&name), &bytes).unwrap();
        let got = all(&clips.info(&name));
        assert_eq!(got.len(), 15, "{name}");
        let first = got[0].time.seconds();
        for (n, shown) in (0..).zip(&got) {
            let off = shown.time.seconds() - first - (time(n) - time(0));
            // WebM keeps milliseconds.
            assert!(off.abs() < 1.1e-3, "{name} {n} {off}");
            for (x, y) in [(5, 5), (20 + 4 * n, 50), (90, 120)] {
                let (a, b) = (shown.pixels.get_pixel(x, y).0, picture(n).get_pixel(x, y).0);
                let off = a.iter().zip(b).map(|(a, b)| a.abs_diff(b)).max().unwrap();
                assert!(off <= 12, "{name} {n} {x},{y}: {a:?} {b:?}");
            }
        }
        // WebM has no place for how long the last picture stays.
        let last = clips.info(&name).duration_s;
        let lasts = coding == Coding::Vp9 || (last - (time(15) - time(0))).abs() < 0.002;
        assert!(lasts, "{name} {last}");
    }
}

#[test]
fn the_index_stands_in_front_so_that_a_clip_plays_while_it_loads() {
    let mut encoder = Encoder::start(Coding::H264, (96, 128)).unwrap();
    (0..4).for_each(|n| encoder.push(&picture(n), time(n)).unwrap());
    let bytes = encoder.finish(time(4)).unwrap();
    let place = |name: &[u8]| bytes.windows(4).position(|w| w == name).unwrap();
    assert!(place(b"moov") < place(b"mdat"));
}

#[test]
fn what_is_no_clip_is_refused() {
    assert!(matches!(Encoder::start(Coding::H264, (95, 128)), Err(EncodeError::Pictures)));
    let mut encoder = Encoder::start(Coding::H264, (96, 128)).unwrap();
    assert!(matches!(encoder.push(&RgbImage::new(96, 126), 0.0), Err(EncodeError::Pictures)));
    encoder.push(&picture(0), 1.0).unwrap();
    assert!(matches!(encoder.push(&picture(0), 1.0), Err(EncodeError::Pictures)));
    let nothing = Encoder::start(Coding::H264, (96, 128)).unwrap();
    assert!(matches!(nothing.finish(1.0), Err(EncodeError::Pictures)));
    assert_eq!(Coding::available().unwrap(), Coding::H264);
}
