//! Stepping: whatever the order, the frame is the one found by its time.

use std::time::Instant;

use super::{Clips, Dice};
use crate::decode::{ClipInfo, DecodeError, Frames, Timestamp, picture_at};

/// Pictures that move and differ, with sound of nothing.
const MOVING: &str = "-f lavfi -i testsrc2=s=192x144:r=30:d=3";

fn fixtures() -> Vec<(&'static str, String)> {
    let hevc =
        "-c:v libx265 -preset ultrafast -x265-params keyint=25:bframes=3:open-gop=1:log-level=none";
    vec![
        ("a.mp4", format!("{MOVING} -c:v libx264 -preset fast -bf 3 -g 30 -pix_fmt yuv420p")),
        ("b.mkv", format!("{MOVING} -c:v libx264 -preset fast -g 250 -pix_fmt yuv420p")),
        ("c.mp4", format!("{MOVING} {hevc} -pix_fmt yuv420p")),
        ("d.mov", format!("{MOVING} {hevc} -pix_fmt yuv420p10le -tag:v hvc1")),
        (
            "uneven.mp4",
            format!(
                "{MOVING} -vf select=not(eq(mod(n\\,7)\\,3)),setpts=PTS+0.4*mod(N\\,3) \
                 -fps_mode vfr -c:v libx264 -preset fast -bf 2 -g 20 -pix_fmt yuv420p"
            ),
        ),
    ]
}

fn assert_exact(info: &ClipInfo, frames: &mut Frames, index: usize, name: &str) {
    let time = Timestamp { ticks: info.frames[index], base: info.first.base };
    let expected = picture_at(info, time).unwrap().pixels;
    assert!(frames.picture(index).unwrap() == expected, "{name} {index}");
}

#[test]
fn every_step_and_jump_gives_the_frame_of_that_number() {
    for (name, arguments) in fixtures() {
        let clips = Clips::new();
        clips.ffmpeg(&format!("{arguments} {name}"));
        let info = clips.info(name);
        let last = info.frames.len() - 1;
        assert!(last > 60, "{name} {last}");
        let mut frames = Frames::open(&info).unwrap();
        let steps = (20..26).chain((14..26).rev()).chain([last, last - 1, last, 0, 1, 0, last]);
        for index in steps {
            assert_exact(&info, &mut frames, index, name);
        }
        let mut dice = Dice(7);
        for _ in 0..12 {
            assert_exact(&info, &mut frames, dice.roll(last + 1), name);
        }
        let error = frames.picture(last + 1).unwrap_err();
        assert!(matches!(error, DecodeError::NoSuchPicture { .. }), "{error}");
        assert_exact(&info, &mut frames, 5, name);
    }
}

#[test]
fn an_open_clip_may_change_threads() {
    fn needs_send<T: Send>() {}
    needs_send::<Frames>();
}

#[test]
fn a_damaged_stretch_gives_an_error_and_the_frames_after_it() {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{MOVING} -c:v libx264 -g 15 -pix_fmt yuv420p whole.mp4"));
    let mut bytes = std::fs::read(clips.path("whole.mp4")).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle - 3000..middle + 3000].fill(0);
    std::fs::write(clips.path("damaged.mp4"), bytes).unwrap();
    let info = clips.info("damaged.mp4");
    let mut frames = Frames::open(&info).unwrap();
    let got: Vec<bool> = (0..info.frames.len()).map(|i| frames.picture(i).is_ok()).collect();
    assert!(got[0] && got[got.len() - 1], "{got:?}");
}

/// `cargo test --lib decode::tests::frames -- --ignored --nocapture`
#[test]
#[ignore = "a measurement, not a check"]
fn milliseconds_per_step() {
    let clips = Clips::new();
    for (name, coding) in [
        ("h264.mp4", "-c:v libx264 -preset veryfast -g 60"),
        ("hevc.mp4", "-c:v libx265 -preset ultrafast -x265-params keyint=60:log-level=none"),
    ] {
        clips.ffmpeg(&format!(
            "-f lavfi -i testsrc2=s=1080x1920:r=60:d=4 {coding} -pix_fmt yuv420p {name}"
        ));
        let info = clips.info(name);
        let mut frames = Frames::open(&info).unwrap();
        let mut time = |indices: &mut dyn Iterator<Item = usize>| {
            let mut all: Vec<f64> = indices
                .map(|index| {
                    let start = Instant::now();
                    let picture = frames.picture(index).unwrap();
                    let mut bytes = Vec::new();
                    let mut encoder =
                        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 85);
                    encoder.encode_image(&picture).unwrap();
                    start.elapsed().as_secs_f64() * 1000.0
                })
                .collect();
            all.sort_by(f64::total_cmp);
            (all[all.len() / 2], all[all.len() - 1])
        };
        println!("{name} ahead: median and most {:?} ms", time(&mut (100..160)));
        println!("{name} back: {:?} ms", time(&mut (40..160).rev()));
        let mut dice = Dice(3);
        println!("{name} anywhere: {:?} ms", time(&mut (0..20).map(|_| dice.roll(240))));
    }
}
