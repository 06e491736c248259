//! Which of many clips are taken for one swing: every face-on clip with every clip from behind of
//! the same hand.

use std::path::{Path, PathBuf};

use super::{Timed, Viewed};
use crate::calibration::View;
use crate::decode::probe;
use crate::error::Error;
use crate::frames::Handed;
use crate::geometry::{self, GeometryError, ViewInput};
use crate::options::{Clip, Options};
use crate::run::Nobody;
use crate::run::observe::{Instruments, Observed, observe};

struct One {
    case: String,
    handed: Handed,
    seen: Observed,
    viewed: Viewed,
}

impl One {
    /// What is seen in a clip is kept beside it and read again there.
    fn new(folder: &Path, case: &serde_json::Value, view: View) -> Result<Self, Error> {
        let key = if view == View::FaceOn { "face_on" } else { "down_the_line" };
        let file = folder.join(case[key].as_str().unwrap());
        let mut clip = Clip::new(file.clone(), Some(view));
        clip.capture_fps = case["capture_fps"].as_f64();
        let mut options = Options::new(vec![clip])?;
        options.handed = if case["handed"] == "left" { Handed::Left } else { Handed::Right };
        options.set_stature(&format!("{}m", case["stature_m"]))?;
        let kept: PathBuf = file.with_extension("seen");
        let seen = Observed::read(&kept).or_else(|_| {
            let info = probe(&file)?.output;
            let tools = Instruments::load(&options)?;
            let seen = observe(&info, &options.clips()[0], &options, &tools, &Nobody)?;
            seen.write(&kept).unwrap();
            Ok::<_, Error>(seen)
        })?;
        let mut notes = Vec::new();
        let viewed = Timed::new(0, &seen, &options.clips()[0], &options, &mut notes)?
            .calibrated(&options, &mut notes)?;
        let case = case["case"].as_str().unwrap().to_owned();
        Ok(Self { case, handed: options.handed, seen, viewed })
    }

    fn input(&self) -> ViewInput<'_> {
        ViewInput {
            lifted: &self.viewed.lifted,
            events: &self.viewed.events,
            calibration: &self.viewed.calibration,
            camera_motion: self.seen.track.motion,
        }
    }
}

/// `HUBGAUGE_CLIPS=folder cargo test --lib evaluate::pairs -- --ignored --nocapture`, the folder
/// as `render_bodies/clips.py` makes it.
#[test]
#[ignore = "needs a folder of rendered clips"]
fn all_with_all() {
    let folder = PathBuf::from(std::env::var("HUBGAUGE_CLIPS").unwrap());
    let text = std::fs::read_to_string(folder.join("cases.json")).unwrap();
    let cases: Vec<serde_json::Value> = serde_json::from_str(&text).unwrap();
    let paired =
        |c: &&serde_json::Value| c["face_on"].is_string() && c["down_the_line"].is_string();
    let read = |view| -> Vec<One> {
        cases.iter().filter(paired).filter_map(|c| One::new(&folder, c, view).ok()).collect()
    };
    let (face, line) = (read(View::FaceOn), read(View::DownTheLine));
    // of true and of unlike pairs: all, taken for one swing, of these without a note
    let mut counts = [[0; 3]; 2];
    for a in &face {
        for b in line.iter().filter(|b| b.handed == a.handed) {
            let count = &mut counts[usize::from(a.case != b.case)];
            count[0] += 1;
            match geometry::motion(&[a.input(), b.input()]) {
                Ok(found) => {
                    count[1] += 1;
                    count[2] += usize::from(found.warnings.is_empty());
                    println!("{} {}: {:?}", a.case, b.case, found.warnings);
                }
                Err(GeometryError::DifferentSwings { .. }) => {}
                Err(error) => println!("{} {}: {error}", a.case, b.case),
            }
        }
    }
    println!(
        "all, taken for one swing, without a note: true {:?}, unlike {:?}",
        counts[0], counts[1]
    );
}
