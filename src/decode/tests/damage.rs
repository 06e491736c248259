//! Damaged clips give what is intact, say so, and never panic.

use std::fs;

use super::{Clips, Dice};
use crate::decode::{Picture, Pictures, picture_at, probe, sound};
use crate::warning::Warning;

const SOURCE: &str = "-f lavfi -i testsrc2=s=160x120:r=30:d=3 -f lavfi -i sine=d=3";

fn run(path: &std::path::Path) -> (Vec<Picture>, Vec<Warning>) {
    let mut notes = Vec::new();
    let info = probe(path).unwrap().note(&mut notes);
    let mut pictures = Pictures::open(&info, -1e9, 1e9, 0.0).unwrap();
    let all = pictures.by_ref().map_while(Result::ok).collect();
    notes.extend(pictures.warnings());
    (all, notes)
}

fn mentions(notes: &[Warning], word: &str) -> bool {
    notes.iter().any(|note| note.text.contains(word))
}

#[test]
fn a_whole_clip_has_nothing_to_report() {
    let clips = Clips::new();
    for name in ["whole.mp4", "whole.mkv"] {
        clips.ffmpeg(&format!("{SOURCE} -c:v libx264 -preset fast -g 30 {name}"));
        let (pictures, notes) = run(&clips.path(name));
        assert_eq!((pictures.len(), notes), (90, vec![]));
    }
}

#[test]
fn a_clip_cut_off_is_read_as_far_as_it_goes() {
    let clips = Clips::new();
    for (name, options) in [("cut.mp4", "-movflags +faststart"), ("cut.mkv", "")] {
        clips.ffmpeg(&format!("{SOURCE} -c:v libx264 -preset fast -g 30 {options} {name}"));
        let whole = run(&clips.path(name)).0;
        let bytes = fs::read(clips.path(name)).unwrap();
        fs::write(clips.path(name), &bytes[..bytes.len() * 6 / 10]).unwrap();
        let (pictures, notes) = run(&clips.path(name));
        assert!((30..80).contains(&pictures.len()), "{name} {}", pictures.len());
        assert!(mentions(&notes, "cut off"), "{name} {notes:?}");
        // A picture just before the end may be missing, where its packet is stored later.
        for picture in &pictures {
            let same = whole.iter().find(|other| other.time == picture.time).unwrap();
            assert!(same.pixels == picture.pixels, "{name} {}", picture.index);
        }
    }
}

/// A keyframe wiped out: its pictures are missing or marked, none is passed off as sound.
#[test]
fn overwritten_pictures_are_reported() {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{SOURCE} -c:v libx264 -preset fast -g 30 -bf 0 -an whole.mp4"));
    let mut bytes = fs::read(clips.path("whole.mp4")).unwrap();
    let data = bytes.windows(4).position(|w| w == b"mdat").unwrap();
    let middle = data + (bytes.len() - data) / 2;
    for (place, byte) in bytes[middle..middle + 2000].iter_mut().enumerate() {
        *byte = (place * 37) as u8;
    }
    fs::write(clips.path("bad.mp4"), bytes).unwrap();
    let (pictures, notes) = run(&clips.path("bad.mp4"));
    assert!(pictures.len() > 60);
    assert!(mentions(&notes, "damaged"), "{notes:?}");
}

#[test]
fn a_hole_in_time_is_reported() {
    let clips = Clips::new();
    clips.ffmpeg(
        "-f lavfi -i testsrc2=s=160x120:r=30:d=3 -vf select=not(between(n\\,40\\,51)) -vsync vfr hole.mp4",
    );
    let (pictures, notes) = run(&clips.path("hole.mp4"));
    assert_eq!(pictures.len(), 78);
    assert!(mentions(&notes, "no pictures for 0.43 s at 1.30 s"), "{notes:?}");
}

/// Random bytes anywhere, header included, and random ends: anything but a panic or a hang.
#[test]
fn corrupted_bytes_never_panic() {
    let clips = Clips::new();
    let mut dice = Dice(0x9e37_79b9);
    for (name, coding) in [
        ("a.mp4", "-c:v libx264 -preset fast -c:a aac"),
        ("b.mp4", "-c:v libx265 -preset ultrafast -x265-params log-level=none -c:a aac"),
        ("c.webm", "-c:v libvpx-vp9 -cpu-used 8 -c:a libopus"),
        ("d.mkv", "-c:v libx264 -preset ultrafast -c:a flac"),
    ] {
        clips.ffmpeg(&format!("{SOURCE} -t 0.7 {coding} {name}"));
        let whole = fs::read(clips.path(name)).unwrap();
        for round in 0..40 {
            let mut bytes = whole.clone();
            // Few bytes hit single fields, many wreck everything; the headers get their share.
            for _ in 0..1 << (round % 8) {
                let near = [bytes.len(), 1000, 3000][dice.roll(3)].min(bytes.len());
                let at = if dice.roll(2) == 0 {
                    dice.roll(near)
                } else {
                    bytes.len() - 1 - dice.roll(near)
                };
                bytes[at] = dice.roll(256) as u8;
            }
            if dice.roll(4) == 0 {
                bytes.truncate(dice.roll(whole.len()));
            }
            let path = clips.path("bad.bin");
            fs::write(&path, bytes).unwrap();
            let Ok(probed) = probe(&path) else { continue };
            let info = probed.output;
            if let Ok(pictures) = Pictures::open(&info, -1e12, 1e12, 0.0) {
                let all: Vec<_> = pictures.map_while(Result::ok).collect();
                assert!(all.windows(2).all(|w| w[0].index < w[1].index));
                assert!(
                    all.iter()
                        .all(|p| p.pixels.dimensions() == (info.size.width, info.size.height))
                );
            }
            let mut somewhere = info.first;
            somewhere.ticks = info.frames[dice.roll(info.frames.len())];
            let _ = picture_at(&info, somewhere);
            let _ = sound(&info, -1e12, 1e12);
        }
    }
}
