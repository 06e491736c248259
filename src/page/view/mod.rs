//! The coach's page as HTML. In: what is shown ([`super::shown`]) and how numbers look. Out: whole
//! documents as text. Pure functions: no file, clock or network; all words come from one file,
//! all text is escaped in one place.

mod bench;
mod check;
mod compare;
mod filmed;
mod frame;
mod hand_out;
mod html;
mod look;
mod numbers;
mod pupil;
mod said;
mod settings;
mod swing;
mod tools;
mod who;
mod words;
#[cfg(test)]
mod tests;

pub use bench::bench;
pub use check::check;
pub use compare::compare;
pub use frame::failure;
pub use hand_out::hand_out;
pub use look::{day, written_day};
pub use pupil::pupil;
pub use said::control;
pub use settings::settings;
pub use swing::swing;

/// A file that goes with the pages: its media type and bytes.
#[must_use]
pub fn asset(name: &str) -> Option<(&'static str, &'static [u8])> {
    ASSETS.iter().find(|(known, ..)| *known == name).map(|(_, mime, bytes)| (*mime, *bytes))
}

const STYLE: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Every file, embedded.
const ASSETS: [(&str, &str, &[u8]); 19] = [
    ("page.css", STYLE, include_bytes!("../assets/page.css")),
    ("icon.svg", "image/svg+xml", include_bytes!("../assets/icon.svg")),
    ("words.en.json", "application/json", words::FILE.as_bytes()),
    ("page.js", SCRIPT, include_bytes!("../assets/page.js")),
    ("words.js", SCRIPT, include_bytes!("../assets/words.js")),
    ("api.js", SCRIPT, include_bytes!("../assets/api.js")),
    ("live.js", SCRIPT, include_bytes!("../assets/live.js")),
    ("drop.js", SCRIPT, include_bytes!("../assets/drop.js")),
    ("forms.js", SCRIPT, include_bytes!("../assets/forms.js")),
    ("bench.js", SCRIPT, include_bytes!("../assets/bench.js")),
    ("drawing.js", SCRIPT, include_bytes!("../assets/drawing.js")),
    ("compare.js", SCRIPT, include_bytes!("../assets/compare.js")),
    ("hand_out.js", SCRIPT, include_bytes!("../assets/hand_out.js")),
    ("check.js", SCRIPT, include_bytes!("../assets/check.js")),
    ("frames.js", SCRIPT, include_bytes!("../assets/frames.js")),
    ("marks.js", SCRIPT, include_bytes!("../assets/marks.js")),
    ("timebar.js", SCRIPT, include_bytes!("../assets/timebar.js")),
    ("tools.js", SCRIPT, include_bytes!("../assets/tools.js")),
    ("corrections.js", SCRIPT, include_bytes!("../assets/corrections.js")),
];
