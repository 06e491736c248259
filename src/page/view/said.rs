//! Phrases about a swing. In: [`SwingShown`], the sentence of its result. Out: HTML and text.

use crate::calibration::View;
use crate::page::shown::SwingShown;
use crate::results::{Correction, SwingResult};
use crate::warning::Kind;

use super::html::{Html, el};
use super::look;
use super::words::{fill, say};

/// The answer with both hubs marked as they are marked in pictures.
pub fn sentence(text: &str) -> Html {
    let text = look::sentence(text);
    let mut out = Html::default();
    let mut rest = text.as_str();
    while let Some((at, name, class)) = next_hub(rest) {
        out = out.and(&rest[..at]).and(el("span", &[("class", class)], name));
        rest = &rest[at + name.len()..];
    }
    out.and(rest)
}

/// The answer as paragraphs: along the target line first, then to and from the ball.
pub fn answer_of(text: &str) -> Html {
    let (first, second) = match text.split_once(". ") {
        Some((first, second)) => (format!("{first}."), Some(second)),
        None => (text.to_owned(), None),
    };
    let second = second.map(|text| el("p", &[("class", "answer second")], sentence(text)));
    el("p", &[("class", "answer")], sentence(&first)).and(second)
}

/// Where the next name of a hub stands.
fn next_hub(text: &str) -> Option<(usize, &'static str, &'static str)> {
    [("lower hub", "hub lower"), ("upper hub", "hub upper")]
        .into_iter()
        .filter_map(|(name, class)| Some((text.find(name)?, name, class)))
        .min_by_key(|(at, ..)| *at)
}

/// `Anna, before, 7 iron`; what is not known yet is left out.
#[must_use]
pub fn swing_name(swing: &SwingShown) -> String {
    let pupil = swing.pupil.as_deref().filter(|name| !name.is_empty());
    let label = match swing.label.as_str() {
        "before" => say("label.before"),
        "after" => say("label.after"),
        other => other,
    };
    let parts = [pupil.unwrap_or_else(|| say("swing.unnamed")), label, swing.club.as_str()];
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(", ")
}

#[must_use]
pub fn view_name(view: Option<View>) -> &'static str {
    match view {
        Some(View::FaceOn) => say("view.face-on"),
        Some(View::DownTheLine) => say("view.down-the-line"),
        None => say("view.unknown"),
    }
}

/// `2 changes by hand`, where there are any.
pub fn by_hand(count: usize) -> Option<String> {
    match count {
        0 => None,
        1 => Some(say("swing.by_hand_one").to_owned()),
        n => Some(fill("swing.by_hand", &[("count", &n.to_string())])),
    }
}

/// Where on the page a note is answered.
#[must_use]
pub fn control(kind: Kind) -> Option<String> {
    let (at, what) = match kind {
        Kind::FoundRod => (say("swing.check"), say("check.rod")),
        Kind::OtherHand => (say("bench.heading"), say("who.hand")),
        Kind::Said | Kind::RoughPair => return None,
    };
    Some(fill("swing.note_at", &[("at", at), ("what", what)]))
}

/// What the camera was worked out with beside the body: a rod that was found, marks on the ground.
pub fn used(swing: &SwingShown, result: &SwingResult) -> Option<String> {
    let rods = swing.rods.iter().map(|v| fill("swing.rod", &[("view", view_name(Some(*v)))]));
    let ground = result.corrections.iter().filter_map(|c| match c {
        Correction::Ground { view, marks } => {
            let count = marks.len().to_string();
            Some(fill("swing.ground", &[("count", &count), ("view", view_name(Some(*view)))]))
        }
        _ => None,
    });
    let said: Vec<String> = rods.chain(ground).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_hubs_are_marked_and_no_word_is_lost() {
        let said = "the lower hub 6.1 cm <and> the upper hub 5.0 cm";
        let html = sentence(said).into_string().replace('\u{a0}', " ");
        assert_eq!(
            html,
            "the <span class=\"hub lower\">lower hub</span> 6.1 cm &lt;and&gt; the \
             <span class=\"hub upper\">upper hub</span> 5.0 cm"
        );
    }

    #[test]
    fn a_note_points_to_what_the_page_has() {
        let said = crate::warning::Warning::of(Kind::FoundRod, "A rod was found.");
        assert_eq!(
            said.naming(control(Kind::FoundRod).as_deref()),
            "A rod was found (Check it: “a rod on the ground is looked for”)."
        );
    }

    #[test]
    fn the_second_axis_follows_in_its_own_paragraph() {
        let html = answer_of("At the top one. At the top two.").into_string();
        assert_eq!(
            html,
            "<p class=\"answer\">At the top one.</p><p class=\"answer second\">At the top two.</p>"
        );
    }
}
