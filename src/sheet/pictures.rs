//! Which pictures stand on the sheet: one rule for the command line and the page. In: the results
//! of one or two swings. Out: what is to be shown, in order, with its caption.

use std::collections::BTreeSet;

use crate::calibration::View;
use crate::events::Event;
use crate::results::{SwingResult, capitalised, event_name};

/// One picture of the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Of the second swing, where there are two.
    pub of_second: bool,
    pub view: View,
    pub event: Event,
    pub caption: String,
}

/// Address and top of one swing, the tops of two: a third picture would leave too little room to
/// read the numbers in them.
///
/// Two swings are seen from one side where both have it, face-on if they can be.
#[must_use]
pub fn wanted(first: &SwingResult, second: Option<&SwingResult>) -> Vec<Wanted> {
    let start = views(first);
    let Some(second) = second else {
        let picture = |event| Some(one(false, *start.first()?, event, ""));
        return [Event::Address, Event::Top].into_iter().filter_map(picture).collect();
    };
    let end = views(second);
    let both = start.intersection(&end).next();
    let side = |of: &BTreeSet<View>| both.or_else(|| of.first()).copied();
    let before = side(&start).map(|view| one(false, view, Event::Top, "Before: "));
    let after = side(&end).map(|view| one(true, view, Event::Top, "After: "));
    before.into_iter().chain(after).collect()
}

/// Face-on first.
fn views(result: &SwingResult) -> BTreeSet<View> {
    result.clips.iter().map(|clip| clip.view).collect()
}

fn one(of_second: bool, view: View, event: Event, swing: &str) -> Wanted {
    let caption = capitalised(&format!("{swing}{}", event_name(event)));
    Wanted { of_second, view, event, caption }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::results::ClipEntry;

    fn seen_from(views: &[View]) -> SwingResult {
        let text = include_str!("../../fixtures/sheet/before.json");
        let mut result = SwingResult::from_json(text).unwrap();
        let clip = result.clips[0].clone();
        result.clips = views.iter().map(|view| ClipEntry { view: *view, ..clip.clone() }).collect();
        result
    }

    #[test]
    fn address_and_top_of_one_swing_the_tops_of_two() {
        let one = seen_from(&[View::DownTheLine, View::FaceOn]);
        let alone: Vec<_> = wanted(&one, None).into_iter().map(|w| (w.view, w.caption)).collect();
        let named = |text: &str| (View::FaceOn, text.to_owned());
        assert_eq!(alone, [named("Address"), named("Top")]);
        let two: Vec<_> = wanted(&one, Some(&one)).into_iter().map(|w| w.caption).collect();
        assert_eq!(two, ["Before: top", "After: top"]);
    }

    #[test]
    fn two_swings_are_seen_from_one_side_where_both_have_it() {
        let both = seen_from(&[View::FaceOn, View::DownTheLine]);
        let line = seen_from(&[View::DownTheLine]);
        let face = seen_from(&[View::FaceOn]);
        let views = |a, b| wanted(a, Some(b)).into_iter().map(|w| w.view).collect::<Vec<_>>();
        assert_eq!(views(&both, &line), [View::DownTheLine; 2]);
        assert_eq!(views(&line, &both), [View::DownTheLine; 2]);
        assert_eq!(views(&line, &face), [View::DownTheLine, View::FaceOn]);
    }
}
