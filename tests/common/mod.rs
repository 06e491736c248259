//! What several tests ask of two motions.

use hubgauge::events::Event;
use hubgauge::geometry::{Measure, Motion};

/// The largest difference of these measures at top, transition and impact, centimetres or
/// degrees, and where it is.
pub fn apart(a: &Motion, b: &Motion, measures: &[Measure]) -> (f64, Event, Measure) {
    let at = [Event::Top, Event::Transition, Event::Impact];
    let pairs = at.iter().flat_map(|&event| measures.iter().map(move |&m| (event, m)));
    let differences = pairs.map(|(event, m)| {
        let value = |motion: &Motion| motion.at(event).unwrap().frame.get(m).unwrap().value;
        let apart = (value(a) - value(b)).abs();
        (if m.is_length() { 100.0 * apart } else { apart.to_degrees() }, event, m)
    });
    differences.max_by(|x, y| x.0.total_cmp(&y.0)).unwrap()
}
