//! What a reader must know beside the numbers. In: the sides. Out: plain sentences.

use super::build::scatter_of;
use super::difference::{Difference, Scatter};
use super::{FlightLine, Question, Swing};

#[must_use]
pub fn notes(
    before: &[Swing<'_>],
    after: &[Swing<'_>],
    question: &Question,
    tested: &[Difference],
    flights: &[FlightLine],
) -> Vec<String> {
    let mut notes = Vec::new();
    match scatter_of(tested) {
        Some(Scatter::Unknown) => notes.push(
            "One swing a side: the intervals hold the measurement error of these two swings only. How much the pupil differs from swing to swing is unknown, so a change between these two need not be a change of habit; film three or more a side.".to_owned(),
        ),
        Some(Scatter::Borrowed) => notes.push(
            "One side has a single swing: the pupil is taken to scatter there as on the other side.".to_owned(),
        ),
        _ => {}
    }
    notes.push(setup(question.same_setup));
    if question.same_setup && pictures(before) != pictures(after) {
        notes.push("The same set-up was stated, but the sides' clips differ in view, picture size or kind of scale: the intervals may be too narrow.".to_owned());
    }
    let twice = before.iter().find(|b| after.iter().any(|a| a.result.is_same_swing(b.result)));
    if let Some(swing) = twice {
        notes.push(format!("{} is on both sides.", swing.label));
    }
    if before.iter().chain(after).any(|swing| swing.result.explain.is_empty()) {
        notes.push("A result does not say where its errors come from: none of its error is taken to average out. Measure the clip again with this program.".to_owned());
    }
    if !flights.is_empty() {
        notes.push(flown(flights));
    }
    notes
}

fn flown(flights: &[FlightLine]) -> String {
    let mut said = "Ball-flight numbers are taken as they were read: the device's own error is unknown and not in their intervals, only the scatter from swing to swing and the rounding are. A device set up anew between the sides can shift all its directions.".to_owned();
    if flights.iter().any(|line| line.change.is_some()) {
        said += " Body and ball flight have half of the 5 % each.";
    }
    if flights.iter().any(|line| line.change.is_none()) {
        said += " With one swing a side nothing can be said of their change.";
    }
    said
}

fn setup(same: bool) -> String {
    if same {
        "Same set-up stated: the scale error is taken as common to both sides and two fifths of the camera's and of the repeating keypoint error (measured on rendered swings), so they cancel that far.".to_owned()
    } else {
        "The set-up is not stated to be the same: scale, camera and nearly all of the keypoint error (measured on rendered swings) are taken to repeat within a side and to differ between the sides. State the same set-up when the camera stood still.".to_owned()
    }
}

/// What can be seen of the set-up in the results.
fn pictures(swings: &[Swing<'_>]) -> Vec<String> {
    let mut seen: Vec<String> = swings
        .iter()
        .flat_map(|swing| {
            let method = swing.result.scale.method;
            swing
                .result
                .clips
                .iter()
                .map(move |c| format!("{:?} {} {} {method:?}", c.view, c.width, c.height))
        })
        .collect();
    seen.sort_unstable();
    seen.dedup();
    seen
}
