//! The fixture clips measured once: `golden` says whether the numbers changed, `truth` whether
//! they are right. `UPDATE_GOLDEN=1` rewrites the expected numbers.

mod expected;
mod truth;

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use hubgauge::calibration::View;
use hubgauge::options::{Clip, Options};
use hubgauge::results::SwingResult;
use hubgauge::run::{self, evaluate};

/// What was measured of one swing.
pub struct Case {
    pub name: String,
    pub views: Vec<View>,
    pub result: SwingResult,
}

pub fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn clip(swing: &str, view: View) -> Clip {
    let suffix = if view == View::FaceOn { "faceon" } else { "dtl" };
    Clip::new(fixtures().join(format!("clips/p1_{swing}_{suffix}.mp4")), Some(view))
}

fn options(swing: &str, views: &[View]) -> Options {
    let clips = views.iter().map(|view| clip(swing, *view)).collect();
    let mut options = Options::new(clips).unwrap();
    options.set_stature("179cm").unwrap();
    options
}

/// Both swings, from both sides together and from each side alone. The pictures are looked at
/// once; the numbers of one side alone come from the same observation.
pub fn cases() -> &'static [Case] {
    static CASES: OnceLock<Vec<Case>> = OnceLock::new();
    CASES.get_or_init(|| ["before", "after"].into_iter().flat_map(of_swing).collect())
}

fn of_swing(swing: &str) -> Vec<Case> {
    let views = [View::FaceOn, View::DownTheLine];
    let both = run::measure(&options(swing, &views)).unwrap();
    let alone = views.into_iter().zip(both.observed.chunks(1)).map(|(view, seen)| {
        let evaluated = evaluate::evaluate(seen, &options(swing, &[view]), Vec::new()).unwrap();
        Case { name: format!("{swing}_{view:?}"), views: vec![view], result: evaluated.result }
    });
    let mut cases: Vec<Case> = alone.collect();
    cases.push(Case { name: swing.to_owned(), views: views.to_vec(), result: both.result });
    cases
}
