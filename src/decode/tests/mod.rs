//! Tests of the whole stage on clips that the ffmpeg command makes on the spot.

mod colour;
mod damage;
mod encode;
mod frames;
mod refusal;
mod sound;
mod time;
mod turn;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

use super::{ClipInfo, Picture, Pictures, probe};

/// A folder of made clips, gone when dropped.
pub(super) struct Clips(TempDir);

impl Clips {
    pub fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs `ffmpeg` in the folder; arguments are separated by blanks.
    pub fn ffmpeg(&self, arguments: &str) {
        let output = Command::new("ffmpeg")
            .args(["-nostdin", "-v", "error", "-y"])
            .args(arguments.split_whitespace())
            .current_dir(self.0.path())
            .stdin(Stdio::null())
            .output()
            .expect("these tests need the ffmpeg command: apt-get install ffmpeg");
        assert!(
            output.status.success(),
            "{arguments}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }

    /// A lossless clip of raw `yuv420p` or `yuv420p10le` pictures, `format` saying how.
    pub fn raw(&self, name: &str, pictures: &[u8], size: &str, format: &str, coding: &str) {
        std::fs::write(self.path("raw.yuv"), pictures).unwrap();
        self.ffmpeg(&format!(
            "-f rawvideo -pix_fmt {format} -s {size} -r 30 -i raw.yuv {coding} {name}"
        ));
    }

    /// Times of the shown frames according to ffprobe, the outside judge.
    pub fn ffprobe_times(&self, name: &str) -> Vec<f64> {
        let output = Command::new("ffprobe")
            .args(["-v", "error", "-select_streams", "v:0", "-show_entries"])
            .args(["frame=best_effort_timestamp_time", "-of", "csv=p=0"])
            .arg(self.path(name))
            .output()
            .expect("these tests need the ffprobe command: apt-get install ffmpeg");
        let text = String::from_utf8(output.stdout).unwrap();
        // Side data may follow the time, or stand on a line of its own.
        text.lines().filter_map(|line| line.split(',').next()?.parse().ok()).collect()
    }

    pub fn info(&self, name: &str) -> ClipInfo {
        probe(&self.path(name)).unwrap().output
    }

    pub fn pictures(&self, name: &str) -> Vec<Picture> {
        all(&self.info(name))
    }
}

pub(super) fn all(info: &ClipInfo) -> Vec<Picture> {
    Pictures::open(info, f64::NEG_INFINITY, f64::INFINITY, 0.0)
        .unwrap()
        .map(Result::unwrap)
        .collect()
}

/// The one line a person sees.
pub(super) fn refused(path: &Path) -> String {
    let line = probe(path).expect_err("this file must be refused").to_string();
    assert!(!line.contains('\n'), "{line}");
    line
}

/// Numbers that look random and are the same every time (Marsaglia's xorshift64).
pub(super) struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % below as u64) as usize
    }
}

/// H.264 that loses nothing.
pub(super) const LOSSLESS: &str = "-c:v libx264 -preset ultrafast -qp 0";
