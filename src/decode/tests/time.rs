//! Times, numbers and seeking: the same frame however it is reached.

use super::{Clips, Dice, LOSSLESS, all};
use crate::decode::{DecodeError, Picture, Pictures, Timestamp, picture_at};

/// 64 x 48 pictures whose grey tells their number.
fn numbered(count: usize) -> Vec<u8> {
    (0..count)
        .flat_map(|n| {
            let mut picture = vec![(40 + 3 * n) as u8; 64 * 48];
            picture.resize(64 * 48 * 3 / 2, 128);
            picture
        })
        .collect()
}

/// The number that a picture's grey tells.
fn number(picture: &Picture) -> usize {
    let grey = f64::from(picture.pixels.get_pixel(32, 24).0[1]);
    let luma = grey * 219.0 / 255.0 + 16.0;
    ((luma - 40.0) / 3.0).round() as usize
}

fn assert_times(got: &[Picture], expected: &[f64]) {
    assert_eq!(got.len(), expected.len());
    for (picture, expected) in got.iter().zip(expected) {
        // ffprobe prints microseconds.
        assert!((picture.time.seconds() - expected).abs() < 2e-6, "{:?} {expected}", picture.time);
    }
}

/// B-frames, keyframes far apart, H.264 and HEVC with open groups, MP4 and MKV and WebM.
fn codings() -> [(&'static str, &'static str); 5] {
    [
        ("a.mp4", "-c:v libx264 -preset medium -bf 3 -g 25 -qp 0"),
        ("b.mkv", "-c:v libx264 -preset medium -bf 3 -g 25 -x264-params open-gop=1 -qp 0"),
        (
            "c.mp4",
            "-c:v libx265 -preset fast -x265-params lossless=1:bframes=4:keyint=20:open-gop=1:log-level=none",
        ),
        (
            "d.webm",
            "-c:v libvpx-vp9 -lossless 1 -cpu-used 5 -g 20 -auto-alt-ref 1 -lag-in-frames 12",
        ),
        ("e.mov", "-c:v libx264 -preset medium -bf 2 -g 250 -qp 0"),
    ]
}

#[test]
fn every_frame_found_by_its_time_is_the_frame_of_the_whole_run() {
    for (name, coding) in codings() {
        let clips = Clips::new();
        clips.raw(name, &numbered(60), "64x48", "yuv420p", coding);
        let info = clips.info(name);
        let run = all(&info);
        assert_times(&run, &clips.ffprobe_times(name));
        for (index, picture) in run.iter().enumerate() {
            assert_eq!((picture.index, number(picture)), (index, index), "{name}");
            let found = picture_at(&info, picture.time).unwrap();
            assert_eq!((found.index, found.time), (index, picture.time), "{name}");
            assert!(found.pixels == picture.pixels, "{name} {index}");
        }
    }
}

#[test]
fn a_span_begins_and_ends_where_it_says() {
    let clips = Clips::new();
    clips.raw("a.mp4", &numbered(60), "64x48", "yuv420p", codings()[0].1);
    let info = clips.info("a.mp4");
    let numbers = |from_s, to_s, step_s| -> Vec<usize> {
        let pictures = Pictures::open(&info, from_s, to_s, step_s).unwrap();
        pictures
            .map(|p| p.unwrap())
            .inspect(|p| assert_eq!(p.index, number(p)))
            .map(|p| p.index)
            .collect()
    };
    let at = |frame: f64| info.first.seconds() + frame / 30.0;
    assert_eq!(numbers(at(31.0), at(34.0), 0.0), [31, 32, 33, 34]);
    assert_eq!(numbers(at(31.2), at(33.9), 0.0), [32, 33]);
    assert_eq!(numbers(at(0.0), at(59.0), 0.5), [0, 15, 30, 45]);
    assert_eq!(numbers(at(57.5), at(900.0), 0.0), [58, 59]);
    assert_eq!(numbers(at(70.0), at(80.0), 0.0), [0; 0]);
    assert_eq!(numbers(at(9.0), at(5.0), 0.0), [0; 0]);
}

/// Matroska's milliseconds: steps of 33 and 34 ms are all "a thirtieth".
#[test]
fn thinning_does_not_stumble_over_rounded_times() {
    let clips = Clips::new();
    clips.raw("even.mp4", &numbered(60), "64x48", "yuv420p", LOSSLESS);
    clips.ffmpeg("-i even.mp4 -c copy even.mkv");
    let info = clips.info("even.mkv");
    for (step_s, expected) in [(1.0 / 30.0, 60), (1.0 / 15.0, 30), (0.1, 20)] {
        assert_eq!(Pictures::open(&info, -1.0, 9.0, step_s).unwrap().count(), expected);
    }
}

#[test]
fn a_time_between_frames_is_refused() {
    let clips = Clips::new();
    clips.raw("a.mp4", &numbered(10), "64x48", "yuv420p", LOSSLESS);
    let info = clips.info("a.mp4");
    let wrong = Timestamp { ticks: info.frames[3] + 1, base: info.first.base };
    assert!(matches!(picture_at(&info, wrong), Err(DecodeError::NoSuchPicture { .. })));
}

/// Missing frames and uneven steps: the times are those of the container, to the tick.
#[test]
fn variable_frame_rate_and_missing_frames_keep_their_times() {
    let clips = Clips::new();
    clips.raw("even.mp4", &numbered(60), "64x48", "yuv420p", codings()[0].1);
    let mut dice = Dice(7);
    let kept: Vec<usize> = (0..60).filter(|&n| n == 0 || dice.roll(4) > 0).collect();
    let select = kept.iter().map(|n| format!("eq(n\\,{n})")).collect::<Vec<_>>().join("+");
    let filter = format!("select={select},setpts=PTS+mod(PTS*7\\,11)/90000/TB");
    clips.ffmpeg(&format!(
        "-i even.mp4 -vf {filter} -vsync vfr -enc_time_base 1:90000 {} -video_track_timescale 90000 vfr.mp4",
        codings()[0].1
    ));
    let run = clips.pictures("vfr.mp4");
    assert_times(&run, &clips.ffprobe_times("vfr.mp4"));
    assert_eq!(run.iter().map(number).collect::<Vec<_>>(), kept);
    assert!(run.iter().enumerate().all(|(i, p)| p.index == i));
}

/// Cut without coding again: an edit list hides the pictures before the cut, whose packets
/// have negative times.
#[test]
fn an_edit_list_is_obeyed() {
    let clips = Clips::new();
    clips.raw("whole.mp4", &numbered(60), "64x48", "yuv420p", codings()[0].1);
    clips.ffmpeg("-ss 1.1 -i whole.mp4 -c copy cut.mp4");
    let info = clips.info("cut.mp4");
    let run = all(&info);
    assert_times(&run, &clips.ffprobe_times("cut.mp4"));
    assert_eq!(run.iter().map(number).collect::<Vec<_>>(), (33..60).collect::<Vec<_>>());
    for picture in &run {
        let found = picture_at(&info, picture.time).unwrap();
        assert_eq!((found.index, number(&found)), (picture.index, number(picture)));
    }
}

/// Matroska keeps times below zero that MP4 would move.
#[test]
fn times_may_begin_anywhere() {
    let clips = Clips::new();
    clips.raw("whole.mp4", &numbered(30), "64x48", "yuv420p", codings()[0].1);
    clips.ffmpeg(
        "-itsoffset -0.5 -i whole.mp4 -c copy -avoid_negative_ts disabled -copyts early.mkv",
    );
    clips.ffmpeg("-itsoffset 3.25 -i whole.mp4 -c copy late.mp4");
    for name in ["early.mkv", "late.mp4"] {
        let info = clips.info(name);
        let run = all(&info);
        assert_times(&run, &clips.ffprobe_times(name));
        for picture in run.iter().step_by(7) {
            let found = picture_at(&info, picture.time).unwrap();
            assert_eq!((found.index, number(&found)), (picture.index, number(picture)), "{name}");
        }
    }
    assert!((clips.info("late.mp4").first.seconds() - 3.25).abs() < 0.01);
}

/// STACK.md, pitfall 7: tag 240 with steps of 1/30 s means stretched 8 times.
#[test]
fn android_slow_motion_is_told_from_real_time() {
    let clips = Clips::new();
    let tags = "-movflags use_metadata_tags -metadata com.android.capture.fps=240 -metadata creation_time=2020-02-29T12:00:00Z";
    clips.raw("slow.mp4", &numbered(30), "64x48", "yuv420p", &format!("{LOSSLESS} {tags}"));
    clips.ffmpeg(&format!("-r 240 -i slow.mp4 {LOSSLESS} {tags} real.mp4"));
    let (slow, real) = (clips.info("slow.mp4"), clips.info("real.mp4"));
    assert_eq!((slow.capture_fps, slow.stretch()), (Some(240.0), Some(8.0)));
    assert_eq!((real.capture_fps, real.stretch()), (Some(240.0), Some(1.0)));
    // 2020-02-29 is day 18321 after 1970-01-01.
    assert_eq!(slow.created_unix_s, Some(18_321 * 86_400 + 43_200));
}

/// The pipeline decodes on a thread of its own.
#[test]
fn pictures_can_be_sent_to_another_thread() {
    fn is_send<T: Send>() {}
    is_send::<Pictures>();
}
