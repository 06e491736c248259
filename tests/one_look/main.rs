//! A clip is looked at once; what is set by hand and what is handed out follow from that look.

mod corrections;
mod hand_out;

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use hubgauge::calibration::View;
use hubgauge::decode;
use hubgauge::options::{Clip, Options};
use hubgauge::run::Nobody;
use hubgauge::run::observe::{Instruments, Observed, observe};

const CLIPS: [(&str, View); 2] =
    [("p1_before_faceon.mp4", View::FaceOn), ("p1_before_dtl.mp4", View::DownTheLine)];

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/clips").join(name)
}

fn options(clips: usize) -> Options {
    let clips = CLIPS[..clips].iter().map(|(name, view)| Clip::new(path(name), Some(*view)));
    let mut options = Options::new(clips.collect()).unwrap();
    options.set_stature("179cm").unwrap();
    options
}

/// Both clips, looked at once for all tests.
static SEEN: LazyLock<Vec<Observed>> = LazyLock::new(|| {
    let options = options(2);
    let instruments = Instruments::load(&options).unwrap();
    let look = |clip: &Clip| {
        let info = decode::probe(&clip.path).unwrap().output;
        observe(&info, clip, &options, &instruments, &Nobody).unwrap()
    };
    options.clips().iter().map(look).collect()
});
