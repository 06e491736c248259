//! How a clip was filmed: slow motion that does not say so is refused, and the coach says the true
//! rate here. In: [`ClipShown`]. Out: HTML. Nothing is chosen for the coach.

use crate::page::shown::{ClipShown, ClipState};

use super::html::{Html, div, el};
use super::words::{fill, say};

/// The rate that the coach gave, and the rates to choose from where the clip was refused for it.
pub fn filmed(clip: &ClipShown) -> Html {
    let given = clip.capture_fps.map(|fps| given(clip, fps));
    let rates = clip.too_slow.as_ref().filter(|_| clip.state == ClipState::Failed);
    Html::from(given).and(rates.map(|rates| choices(clip, rates)))
}

/// Still to be taken back, unless the clip is being looked at.
fn given(clip: &ClipShown, fps: f64) -> Html {
    let said = el("p", &[("class", "quiet")], fill("filmed.given", &[("rate", &rate(fps))]));
    let busy = matches!(clip.state, ClipState::Waiting | ClipState::Looking | ClipState::Measuring);
    let back = (!busy).then(|| div("small-actions", button(clip, "", say("filmed.take_back"))));
    said.and(back)
}

fn choices(clip: &ClipShown, rates: &[f64]) -> Html {
    let buttons: Vec<Html> = rates
        .iter()
        .map(|fps| button(clip, &rate(*fps), &fill("filmed.at", &[("rate", &rate(*fps))])))
        .collect();
    let id = format!("rate-{}", clip.id);
    let typed = [
        ("type", "text"),
        ("inputmode", "decimal"),
        ("name", "rate"),
        ("id", &id),
        ("required", ""),
        ("autocomplete", "off"),
    ];
    let label = fill("bench.button_of", &[("does", say("filmed.use")), ("name", &clip.name)]);
    let send = [("type", "submit"), ("data-does", "filmed"), ("aria-label", label.as_str())];
    let other = div("rate", [el("input", &typed, ""), el("button", &send, say("filmed.use"))]);
    let inside = [
        el("p", &[], say("filmed.how")),
        div("small-actions", buttons),
        el("label", &[("for", &id)], say("filmed.other")),
        other,
    ];
    let name = fill("filmed.form", &[("name", &clip.name)]);
    el("form", &[("class", "filmed"), ("aria-label", &name)], inside)
}

/// Sends a rate; an empty one takes back what was given.
fn button(clip: &ClipShown, rate: &str, words: &str) -> Html {
    let label = fill("bench.button_of", &[("does", words), ("name", &clip.name)]);
    let attributes = [
        ("type", "button"),
        ("data-does", "filmed"),
        ("value", rate),
        ("aria-label", label.as_str()),
    ];
    el("button", &attributes, words)
}

/// As it is sent and shown: `240`, `59.94`.
fn rate(fps: f64) -> String {
    format!("{fps}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::view::tests::clip;

    #[test]
    fn only_a_clip_refused_as_too_slow_has_rates_to_choose_and_none_is_chosen() {
        let mut slow = clip("c", ClipState::Failed);
        assert_eq!(filmed(&slow), Html::default());
        slow.too_slow = Some(vec![240.0, 120.0]);
        let html = filmed(&slow).into_string();
        for said in
            ["value=\"240\"", "value=\"120\"", "Filmed at 240 frames a second", "name=\"rate\""]
        {
            assert!(html.contains(said), "{said}: {html}");
        }
        assert!(!html.contains("checked") && !html.contains("capture-fps"), "{html}");
        slow.state = ClipState::Waiting;
        assert_eq!(filmed(&slow), Html::default());
    }

    #[test]
    fn what_was_given_is_shown_and_can_be_taken_back() {
        let mut given = clip("c", ClipState::Ready);
        given.capture_fps = Some(59.94);
        let html = filmed(&given).into_string();
        assert!(html.contains("59.94 frames a second") && html.contains("value=\"\""), "{html}");
        given.state = ClipState::Measuring;
        assert!(!filmed(&given).into_string().contains("<button"));
    }
}
