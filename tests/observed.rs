//! A clip is looked at once: what was seen is kept to the last bit, can be waited for and
//! stopped.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use hubgauge::calibration::View;
use hubgauge::decode;
use hubgauge::error::Error;
use hubgauge::options::{Clip, Options};
use hubgauge::run::evaluate::evaluate;
use hubgauge::run::observe::{Instruments, Observed, ObservedError, observe};
use hubgauge::run::watcher::{Step, Watcher};
use image::RgbImage;

fn clip() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/clips/p1_before_faceon.mp4")
}

fn options() -> Options {
    let mut options = Options::new(vec![Clip::new(clip(), Some(View::FaceOn))]).unwrap();
    options.set_stature("179cm").unwrap();
    options
}

#[derive(Default)]
struct Notebook {
    steps: Mutex<Vec<(Step, f64)>>,
    pictures: Mutex<Vec<RgbImage>>,
    stop_after: Option<usize>,
    asked: AtomicUsize,
}

impl Watcher for Notebook {
    fn step(&self, step: Step, share: f64) {
        self.steps.lock().unwrap().push((step, share));
    }

    fn first_picture(&self, drawn: &RgbImage) {
        self.pictures.lock().unwrap().push(drawn.clone());
    }

    fn wants_first_picture(&self) -> bool {
        true
    }

    fn is_cancelled(&self) -> bool {
        let asked = self.asked.fetch_add(1, Ordering::Relaxed);
        self.stop_after.is_some_and(|most| asked > most)
    }
}

fn look(notebook: &Notebook) -> Result<Observed, Error> {
    let options = options();
    let info = decode::probe(&clip()).unwrap().output;
    let instruments = Instruments::load(&options).unwrap();
    observe(&info, &options.clips()[0], &options, &instruments, notebook)
}

#[test]
fn what_was_seen_is_kept_to_the_last_bit_and_the_watcher_hears_of_every_step() {
    let notebook = Notebook::default();
    let seen = look(&notebook).unwrap();
    let steps = notebook.steps.into_inner().unwrap();
    let overall: Vec<f64> = steps.iter().map(|(step, share)| step.overall(*share)).collect();
    assert!(overall.windows(2).all(|w| w[0] <= w[1]), "{steps:?}");
    assert!(Step::ALL.iter().all(|step| steps.iter().any(|(s, _)| s == step)));
    assert_eq!(notebook.pictures.lock().unwrap().len(), 1);
    let drawn = notebook.pictures.into_inner().unwrap().remove(0);
    let plain = decode::picture_at(&seen.info, seen.info.first).unwrap().pixels;
    let changed = drawn.pixels().zip(plain.pixels()).filter(|(a, b)| a != b).count();
    assert!((500..100_000).contains(&changed), "{changed}");
    if let Ok(folder) = std::env::var("HUBGAUGE_LOOK") {
        drawn.save(Path::new(&folder).join("first.png")).unwrap();
    }

    let folder = tempfile::TempDir::new().unwrap();
    let file = folder.path().join("clip.observed");
    seen.write(&file).unwrap();
    let size = std::fs::metadata(&file).unwrap().len();
    assert!(size < 8_000_000, "{size}");
    let again = Observed::read(&file).unwrap();
    assert!(again == seen);
    let json = |seen: Observed| {
        evaluate(&[seen], &options(), Vec::new()).unwrap().result.to_json().unwrap()
    };
    assert_eq!(json(again), json(seen));

    let whole = std::fs::read(&file).unwrap();
    let mut damaged = whole.clone();
    damaged[whole.len() / 2] ^= 1;
    let other: Vec<u8> =
        [b"hubgauge.observed/0\n", &whole[b"hubgauge.observed/0\n".len()..]].concat();
    for bytes in [&damaged, &other, &whole[..whole.len() - 1].to_vec(), &Vec::new()] {
        std::fs::write(&file, bytes).unwrap();
        let error = Observed::read(&file).unwrap_err();
        assert!(matches!(error, ObservedError::Damaged { .. }), "{error}");
        assert!(!error.to_string().contains('\n'));
    }
}

#[test]
fn looking_stops_when_asked_to() {
    for stop_after in [0, 6] {
        let notebook = Notebook { stop_after: Some(stop_after), ..Notebook::default() };
        let Err(error) = look(&notebook) else { panic!("went on") };
        assert!(matches!(error, Error::Cancelled), "{error}");
        let steps = notebook.steps.into_inner().unwrap();
        assert!(steps.iter().all(|(step, _)| *step <= Step::Scan), "{steps:?}");
    }
}
