//! Files that are no clips, and clips beyond the limits: one clear line each.

use std::fs;

use super::{Clips, refused};
use crate::decode::probe;

const PICTURES: &str = "-f lavfi -i testsrc=s=64x48:r=30:d=1";

#[track_caller]
fn says(line: &str, words: &[&str]) {
    assert!(words.iter().all(|word| line.contains(word)), "{line}");
}

#[test]
fn what_is_no_file_is_refused() {
    let clips = Clips::new();
    says(&refused(&clips.path("gone.mp4")), &["gone.mp4", "no such file"]);
    fs::create_dir(clips.path("folder.mp4")).unwrap();
    says(&refused(&clips.path("folder.mp4")), &["folder.mp4", "is a folder"]);
    fs::write(clips.path("none.mp4"), "").unwrap();
    says(&refused(&clips.path("none.mp4")), &["none.mp4", "empty"]);
}

#[test]
fn what_is_no_video_is_refused() {
    let clips = Clips::new();
    fs::write(clips.path("text.mp4"), "Dear diary, today I hit it fat again.\n".repeat(50))
        .unwrap();
    says(&refused(&clips.path("text.mp4")), &["text.mp4", "not a video clip"]);
    clips.ffmpeg(&format!("{PICTURES} -frames:v 1 still.png"));
    fs::rename(clips.path("still.png"), clips.path("still.mp4")).unwrap();
    says(&refused(&clips.path("still.mp4")), &["not a video clip"]);
}

/// Each would have FFmpeg open other files or addresses.
#[test]
fn lists_of_other_files_are_refused() {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{PICTURES} other.ts"));
    clips.ffmpeg(&format!("{PICTURES} other.mp4"));
    for (name, text) in [
        ("hls.mp4", "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1.0,\nother.ts\n#EXT-X-ENDLIST\n"),
        (
            "net.mp4",
            "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1.0,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
        ),
        ("concat.mp4", "ffconcat version 1.0\nfile other.mp4\n"),
        (
            "sdp.mp4",
            "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5000 RTP/AVP 96\na=rtpmap:96 H264/90000\n",
        ),
    ] {
        fs::write(clips.path(name), text).unwrap();
        says(&refused(&clips.path(name)), &[name, "not a video clip"]);
    }
}

#[test]
fn clips_without_moving_pictures_are_refused() {
    let clips = Clips::new();
    clips.ffmpeg("-f lavfi -i sine=d=1 -c:a aac sound.mp4");
    says(&refused(&clips.path("sound.mp4")), &["sound.mp4", "no video"]);
    // A cover is no video.
    clips.ffmpeg(&format!("{PICTURES} -frames:v 1 cover.jpg"));
    clips.ffmpeg(
        "-i sound.mp4 -i cover.jpg -map 0 -map 1 -c copy -disposition:v:0 attached_pic cover.mp4",
    );
    says(&refused(&clips.path("cover.mp4")), &["cover.mp4", "no video"]);
    clips.ffmpeg(&format!("{PICTURES} -frames:v 1 one.mp4"));
    says(&refused(&clips.path("one.mp4")), &["one.mp4", "no length"]);
}

#[test]
fn a_clip_without_its_index_is_refused() {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{PICTURES} whole.mp4"));
    let whole = fs::read(clips.path("whole.mp4")).unwrap();
    fs::write(clips.path("cut.mp4"), &whole[..whole.len() / 2]).unwrap();
    says(&refused(&clips.path("cut.mp4")), &["cut.mp4", "cut off"]);
    fs::write(clips.path("head.mp4"), &whole[..20]).unwrap();
    says(&refused(&clips.path("head.mp4")), &["head.mp4", "cut off"]);
}

#[test]
fn clips_beyond_the_limits_are_refused() {
    let clips = Clips::new();
    clips.ffmpeg("-f lavfi -i color=s=4112x64:r=30:d=0.2 -c:v libx264 -preset ultrafast wide.mp4");
    says(&refused(&clips.path("wide.mp4")), &["wide.mp4", "4112 x 64", "4096"]);
    clips.ffmpeg("-f lavfi -i color=s=64x64:r=30:d=1 -vf setpts=PTS*2000 -vsync vfr long.mkv");
    says(&refused(&clips.path("long.mkv")), &["long.mkv", "minutes"]);
    clips.ffmpeg("-f lavfi -i color=s=64x64:r=1:d=9 slow.mp4");
    says(&refused(&clips.path("slow.mp4")), &["slow.mp4", "pictures a second"]);
    let maps = "-map 0 ".repeat(17);
    clips.ffmpeg(&format!(
        "-f lavfi -i color=s=64x64:r=30:d=0.2 {maps} -c:v libx264 -preset ultrafast many.mkv"
    ));
    says(&refused(&clips.path("many.mkv")), &["many.mkv", "17 tracks"]);
}

/// 16000 x 16000 must not cost the memory of such a picture: refused by its header.
#[test]
fn a_huge_picture_is_refused_by_its_header() {
    let clips = Clips::new();
    clips.ffmpeg(&format!("{PICTURES} -c:v libx264 small.mp4"));
    let mut bytes = fs::read(clips.path("small.mp4")).unwrap();
    // Width and height of the sample entry, ISO/IEC 14496-12 8.5.2: 28 bytes behind its name.
    let entry = bytes.windows(4).rposition(|w| w == b"avc1").unwrap();
    bytes[entry + 28..entry + 32].copy_from_slice(&[0x3e, 0x80, 0x3e, 0x80]);
    fs::write(clips.path("huge.mp4"), bytes).unwrap();
    says(&refused(&clips.path("huge.mp4")), &["16000 x 16000"]);
}

#[cfg(unix)]
#[test]
fn names_that_are_no_text_are_names_all_the_same() {
    use std::os::unix::ffi::OsStrExt;
    let clips = Clips::new();
    clips.ffmpeg(&format!("{PICTURES} plain.mp4"));
    let odd = clips.path("").join(std::ffi::OsStr::from_bytes(b"sch\xf6n\n1.mp4"));
    fs::rename(clips.path("plain.mp4"), &odd).unwrap();
    assert_eq!(probe(&odd).unwrap().output.frames.len(), 30);
    fs::write(&odd, "").unwrap();
    says(&refused(&odd), &["1.mp4 is empty"]);
}
