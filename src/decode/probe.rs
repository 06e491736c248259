//! In: a path. Out: what the clip is, checked against the limits, and what is doubtful in it.
//!
//! Reads all packets once and decodes one picture, for the colour tags that only the codec
//! may carry. Times are file time.

use std::path::Path;
use std::sync::Arc;

use super::container::{Container, Track};
use super::error::DecodeError;
use super::timeline::{self, Timeline};
use super::{ClipInfo, TimeBase, Timestamp, ffi, reader};
use crate::frames::PictureSize;
use crate::warning::{Warned, Warning, counted};

/// A lesson's clip is seconds long; a whole session filmed in one go is still read.
pub const MAX_DURATION_S: f64 = 30.0 * 60.0;
/// Fewer frames a second cannot show a downswing of a quarter second.
pub const MIN_FPS: f64 = 5.0;
/// Faster than any phone; such a rate means broken timestamps.
pub const MAX_FPS: f64 = 2000.0;
/// A step this many times the usual one is a hole in the clip, not variable frame rate.
const HOLE_STEPS: i64 = 4;
/// The container's length and its last picture differ by less than this in whole files.
const LENGTH_SLACK_S: f64 = 0.5;

/// Opens a clip, checks it and describes it.
///
/// # Errors
/// Where it is no clip, is beyond the limits, or holds no moving picture that can be decoded.
pub fn probe(path: &Path) -> Result<Warned<ClipInfo>, DecodeError> {
    let mut clip = Container::open(path)?;
    let track = clip.track()?;
    let timeline = timeline::read(&mut clip, &track)?;
    let times = Times::new(&timeline, track.base);
    check_times(&times, &timeline, &clip)?;
    let stated_s = stated_duration(&clip, &track);
    let mut info = describe(path, &clip, &track, timeline.ticks, &times);
    info.hdr = reader::first_rendering(&info)?.is_hdr();
    let mut warnings: Vec<Warning> = track.doubts.into_iter().map(Warning::new).collect();
    warnings.extend(cut_off(&info, stated_s, timeline.broken));
    warnings.extend(holes(&info));
    Ok(Warned { output: info, warnings })
}

struct Times {
    first: Timestamp,
    duration_s: f64,
    average_fps: f64,
}

impl Times {
    #[expect(clippy::cast_precision_loss, reason = "frame counts stay far below 2^53")]
    fn new(timeline: &Timeline, base: TimeBase) -> Self {
        let at = |ticks| Timestamp { ticks, base };
        let first = at(timeline.ticks.first().copied().unwrap_or(0));
        let last = at(timeline.ticks.last().copied().unwrap_or(0));
        let span_s = last.seconds() - first.seconds();
        let average_fps = (timeline.ticks.len().max(1) - 1) as f64 / span_s.max(f64::MIN_POSITIVE);
        let end_s = at(timeline.end).seconds().max(last.seconds());
        Self { first, duration_s: end_s - first.seconds(), average_fps }
    }
}

fn check_times(times: &Times, timeline: &Timeline, clip: &Container) -> Result<(), DecodeError> {
    let file = clip.file.clone();
    let frames = timeline.ticks.len();
    if frames == 0 {
        return Err(DecodeError::NoIndex { file });
    }
    if frames < 2 {
        return Err(DecodeError::NoLength { file, frames });
    }
    if times.duration_s > MAX_DURATION_S {
        let what = format!("lasts {:.0} minutes", times.duration_s / 60.0);
        return Err(DecodeError::Limit { file, what, remedy: "cut it to 30 minutes or less" });
    }
    if !(MIN_FPS..=MAX_FPS).contains(&times.average_fps) {
        let what = format!("has {:.1} pictures a second", times.average_fps);
        return Err(DecodeError::Limit {
            file,
            what,
            remedy: "give the clip as the phone wrote it, 24 to 240 a second",
        });
    }
    Ok(())
}

fn describe(
    path: &Path,
    clip: &Container,
    track: &Track,
    ticks: Vec<i64>,
    times: &Times,
) -> ClipInfo {
    let (width, height) = track.orientation.shown(track.square);
    ClipInfo {
        path: path.to_owned(),
        size: PictureSize { width, height },
        codec: track.codec.name().to_owned(),
        first: times.first,
        duration_s: times.duration_s,
        average_fps: times.average_fps,
        capture_fps: capture_fps(clip),
        created_unix_s: ffi::tag(&clip.input, "creation_time").and_then(|text| unix_seconds(&text)),
        has_sound: clip.sound_stream().is_some(),
        hdr: false,
        frames: Arc::from(ticks),
    }
}

/// The rate that Android writes down for slow motion.
fn capture_fps(clip: &Container) -> Option<f64> {
    let rate: f64 = ffi::tag(&clip.input, "com.android.capture.fps")?.trim().parse().ok()?;
    (MIN_FPS..=MAX_FPS).contains(&rate).then_some(rate)
}

/// Seconds that the container says the video lasts, where it says so.
fn stated_duration(clip: &Container, track: &Track) -> Option<f64> {
    let stream = clip.input.stream(track.stream)?;
    let own = Timestamp { ticks: stream.duration(), base: track.base };
    if own.ticks > 0 {
        return Some(own.seconds());
    }
    #[expect(clippy::cast_precision_loss, reason = "microseconds of at most days")]
    let whole_s = clip.input.duration() as f64 / f64::from(ffmpeg_next::ffi::AV_TIME_BASE);
    (whole_s > 0.0).then_some(whole_s)
}

fn cut_off(info: &ClipInfo, stated_s: Option<f64>, broken: usize) -> Option<Warning> {
    match stated_s {
        Some(stated_s) if stated_s > info.duration_s + LENGTH_SLACK_S => {
            Some(Warning::new(format!(
                "The clip is cut off: it should last {stated_s:.1} s, but only {:.1} s are in the file.",
                info.duration_s
            )))
        }
        _ if broken > 0 => Some(Warning::new(format!(
            "The clip is damaged: {} of it could not be read.",
            counted(broken, "piece")
        ))),
        _ => None,
    }
}

/// Times without pictures in the middle of the clip.
fn holes(info: &ClipInfo) -> Option<Warning> {
    let usual = timeline::median_step(&info.frames);
    let step = |w: &[i64]| w[1].saturating_sub(w[0]);
    let wide = |w: &&[i64]| step(w) >= usual.saturating_mul(HOLE_STEPS);
    let count = info.frames.windows(2).filter(wide).count();
    let longest = info.frames.windows(2).filter(wide).max_by_key(|w| step(w))?;
    let seconds = |ticks| Timestamp { ticks, base: info.first.base }.seconds();
    Some(Warning::new(format!(
        "The clip has no pictures for {:.2} s at {:.2} s{}.",
        seconds(step(longest)),
        seconds(longest[0]) - info.first.seconds(),
        if count > 1 {
            format!(", and {}", counted(count - 1, "more such gap"))
        } else {
            String::new()
        }
    )))
}

/// From `2026-11-25T10:20:30.000000Z`; days by the civil calendar (H. Hinnant's algorithm).
fn unix_seconds(text: &str) -> Option<i64> {
    let part = |from: usize, to: usize| text.get(from..to)?.parse::<i64>().ok();
    let (year, month, day) = (part(0, 4)?, part(5, 7)?, part(8, 10)?);
    let (hour, minute, second) = (part(11, 13)?, part(14, 16)?, part(17, 19)?);
    if !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    let shifted = if month <= 2 { year - 1 } else { year };
    let era = shifted.div_euclid(400);
    let year_of_era = shifted.rem_euclid(400);
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    let days = era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100
        + day_of_year
        - 719_468;
    Some(days * 86_400 + hour * 3600 + minute * 60 + second)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2082844800 s lie between the epochs of ISO/IEC 14496-12 (1904) and Unix (FACTS C19).
    #[test]
    fn creation_times_count_from_1970() {
        assert_eq!(unix_seconds("1970-01-01T00:00:00.000000Z"), Some(0));
        assert_eq!(unix_seconds("1904-01-01T00:00:00.000000Z"), Some(-2_082_844_800));
        assert_eq!(unix_seconds("2000-03-01T12:00:00.000000Z"), Some(951_912_000));
        assert_eq!(unix_seconds("yesterday, about noon!"), None);
    }
}
