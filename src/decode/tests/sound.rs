//! Sound lies on the pictures' clock.

use super::Clips;
use crate::decode::{Sound, sound};

/// A picture track, and silence with one click of 2 ms at 1.5 s.
const SOURCE: &str = "-f lavfi -i testsrc=s=64x48:r=30:d=3 -f lavfi \
    -i aevalsrc=exprs=0.8*between(t\\,1.5\\,1.502):s=48000:d=3";

fn clip(name: &str, coding: &str) -> Clips {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{SOURCE} {coding} {name}"));
    clips
}

/// Where the sound first exceeds a third of its peak, seconds of file time.
fn onset(sound: &Sound) -> f64 {
    let peak = sound.samples.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    assert!(peak > 0.2, "{peak}");
    let at = sound.samples.iter().position(|x| x.abs() > peak / 3.0).unwrap();
    sound.start_s + at as f64 / f64::from(sound.rate)
}

#[test]
fn a_click_is_found_at_its_time() {
    for (name, coding, slack_s) in [
        ("a.mov", "-c:a pcm_s16le", 3e-5),
        ("b.mp4", "-c:a aac -b:a 128k", 1.5e-3),
        ("c.mkv", "-c:a flac -ac 2", 6e-4),
        ("d.webm", "-c:v libvpx-vp9 -cpu-used 8 -c:a libopus", 2.5e-3),
    ] {
        let clips = clip(name, coding);
        let info = clips.info(name);
        assert!(info.has_sound);
        for (from_s, to_s) in [(0.0, 3.0), (1.2, 2.0), (1.49, 1.6)] {
            let sound = sound(&info, from_s, to_s).unwrap().unwrap();
            assert!((onset(&sound) - 1.5).abs() < slack_s, "{name} {from_s}: {}", onset(&sound));
            let end_s = sound.start_s + sound.samples.len() as f64 / f64::from(sound.rate);
            assert!(
                sound.start_s > from_s - 1e-4 && end_s < to_s + 1e-3,
                "{name}: {} {end_s}",
                sound.start_s
            );
        }
    }
}

/// Cut by an edit list: pictures and sound move together.
#[test]
fn a_cut_clip_keeps_sound_and_pictures_together() {
    let clips = clip("whole.mp4", "-c:v libx264 -g 30 -c:a aac");
    clips.ffmpeg("-ss 0.7 -i whole.mp4 -c copy cut.mp4");
    let info = clips.info("cut.mp4");
    let sound = sound(&info, 0.0, 3.0).unwrap().unwrap();
    assert!((onset(&sound) - 0.8).abs() < 2e-3, "{}", onset(&sound));
}

#[test]
fn a_silent_clip_has_no_sound() {
    let clips = clip("mute.mp4", "-an");
    let info = clips.info("mute.mp4");
    assert!(!info.has_sound);
    assert_eq!(sound(&info, 0.0, 3.0).unwrap(), None);
}
