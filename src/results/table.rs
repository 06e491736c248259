//! The coach's table. In: [`SwingResult`]. Out: plain text of at most 100 columns, the answer
//! first, then events as columns and measures as rows.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::value::decimals_shown;
use super::words::{
    direction, event_name, hung, is_shown, measure_name, scale_words, size, swing_measure_name,
    wrapped,
};
use super::{EventEntry, Style, SwingResult, Unit, Value};
use crate::events::Event;
use crate::geometry::Measure;
use crate::units::Estimate;

/// Columns of a line.
const WIDTH: usize = 100;
const LABEL: usize = 20;
const CELL: usize = 11;

/// Rows under one heading, with what their signs mean.
struct Group {
    heading: &'static str,
    signs: &'static str,
    rows: &'static [(&'static str, Measure)],
}

const GROUPS: [Group; 6] = [
    Group {
        heading: "Travel along the target line, cm",
        signs: "+ toward the target, - away from it",
        rows: &[
            ("lower hub", Measure::LowerHubTarget),
            ("upper hub", Measure::UpperHubTarget),
            ("head", Measure::HeadTarget),
        ],
    },
    Group {
        heading: "Travel to and from the ball, cm",
        signs: "+ toward the ball, - away from it",
        rows: &[
            ("lower hub", Measure::LowerHubBall),
            ("upper hub", Measure::UpperHubBall),
            ("head", Measure::HeadBall),
        ],
    },
    Group {
        heading: "Travel up and down, cm",
        signs: "+ up, - down",
        rows: &[
            ("lower hub", Measure::LowerHubUp),
            ("upper hub", Measure::UpperHubUp),
            ("head", Measure::HeadUp),
        ],
    },
    Group {
        heading: "Trunk",
        signs: "offset + upper hub nearer target; tilt + away from target; bend + toward the ball",
        rows: &[
            ("hub offset, cm", Measure::HubOffset),
            ("spine tilt, deg", Measure::SpineTilt),
            ("forward bend, deg", Measure::ForwardBend),
        ],
    },
    Group {
        heading: "Turn since address, deg",
        signs: "+ away from the target; separation = shoulder turn minus pelvis turn",
        rows: &[
            ("pelvis turn", Measure::PelvisTurn),
            ("shoulder turn", Measure::ThoraxTurn),
            ("separation", Measure::Separation),
        ],
    },
    Group {
        heading: "Arm and slopes, deg",
        signs: "+ arm above level; + lead side lower",
        rows: &[
            ("lead arm", Measure::LeadArm),
            ("shoulder slope", Measure::ShoulderSlope),
            ("hip slope", Measure::HipSlope),
        ],
    },
];

/// The answer, the table, what is missing and why, and the notes.
#[must_use]
pub fn table(result: &SwingResult) -> String {
    let mut out = wrapped(&answer(result), WIDTH, 0);
    out.push_str("\n\n");
    out.push_str(&heading(result));
    for group in &GROUPS {
        out.push_str(&group_rows(result, group));
    }
    out.push_str(&swing_rows(result));
    out.push_str(&missing(result));
    out.push_str(&footer(result));
    out
}

/// What the hubs did by the top of the backswing, a sentence for each axis that was seen.
#[must_use]
pub fn answer(result: &SwingResult) -> String {
    answer_in(result, Style::default())
}

/// The same in the reader's units.
#[must_use]
pub fn answer_in(result: &SwingResult, style: Style) -> String {
    let target = [Measure::LowerHubTarget, Measure::UpperHubTarget, Measure::SpineTilt];
    let ball = [Measure::LowerHubBall, Measure::UpperHubBall, Measure::ForwardBend];
    let said: Vec<String> = [(target, "along the target line"), (ball, "to or from the ball")]
        .into_iter()
        .filter_map(|(measures, axis)| sentence(result, measures, axis, style))
        .collect();
    if said.is_empty() {
        return "No hub travel could be measured at the top; the reasons are below.".to_owned();
    }
    said.join(" ")
}

fn sentence(
    result: &SwingResult,
    measures: [Measure; 3],
    axis: &str,
    style: Style,
) -> Option<String> {
    let [lower, upper, trunk] = measures;
    let hubs = [("lower hub", lower), ("upper hub", upper)].map(|(name, measure)| {
        result.known(Event::Top, measure).map(|known| (name, measure, known))
    });
    let travel = match hubs {
        [None, None] => return None,
        [Some(one), Some(two)] => both_hubs(one, two, axis, style),
        [Some(one), None] | [None, Some(one)] => one_hub(one, style),
    };
    let lean = result.known(Event::Top, trunk).map(|known| lean(trunk, known, style));
    Some(format!("At the top {travel}{}.", lean.unwrap_or_default()))
}

type Hub = (&'static str, Measure, Estimate);

fn both_hubs(one: Hub, two: Hub, axis: &str, style: Style) -> String {
    match (is_shown(one.2), is_shown(two.2)) {
        (false, false) => format!(
            "no movement of either hub {axis} larger than its error is shown (lower {}, upper {})",
            error_of(one, style),
            error_of(two, style)
        ),
        (true, true) => {
            let second = format!("{} {}", size(two.1, two.2, style), direction(two.1, two.2.value));
            format!("{} and the {} {second}", one_hub(one, style), two.0)
        }
        _ => format!("{}; {}", one_hub(one, style), one_hub(two, style)),
    }
}

fn one_hub(hub: Hub, style: Style) -> String {
    let (name, measure, known) = hub;
    if is_shown(known) {
        format!(
            "the {name} has moved {} {}",
            size(measure, known, style),
            direction(measure, known.value)
        )
    } else {
        format!("the {name} shows no movement larger than its error ({})", error_of(hub, style))
    }
}

fn error_of((_, _, known): Hub, style: Style) -> String {
    format!("{} {}", style.plus_minus(known, Unit::Cm), style.length_unit())
}

fn lean(measure: Measure, known: Estimate, style: Style) -> String {
    if is_shown(known) {
        format!(
            "; the trunk leans {} {}",
            size(measure, known, style),
            direction(measure, known.value)
        )
    } else {
        format!(
            "; the trunk leans no further than the error of {} degrees",
            style.number(known.sd, 1)
        )
    }
}

fn heading(result: &SwingResult) -> String {
    let short = |event| match event {
        Event::ArmLevelBack => "arm level",
        other => event_name(other),
    };
    let mut out = format!("{:LABEL$}", "");
    for &event in result.events.keys() {
        let _ = write!(out, "{:>CELL$}", short(event));
    }
    let mut row = |label: &str, text: &dyn Fn(&EventEntry) -> f64| {
        let _ = write!(out, "\n{label:LABEL$}");
        for event in result.events.values() {
            let decimals = decimals_shown(event.sd_s).clamp(2, 3);
            let _ = write!(out, "{:>CELL$.decimals$}", text(event));
        }
    };
    row("time, s", &|event| event.time_s);
    row("±", &|event| event.sd_s);
    out.push('\n');
    out
}

fn group_rows(result: &SwingResult, group: &Group) -> String {
    let known =
        |measure: Measure| result.events.keys().any(|&e| result.known(e, measure).is_some());
    let rows: Vec<_> = group.rows.iter().filter(|(_, measure)| known(*measure)).collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}  ({})\n", group.heading, group.signs);
    for (label, measure) in rows {
        let _ = write!(out, "  {label:<width$}", width = LABEL - 2);
        for &event in result.events.keys() {
            let text = result.known(event, *measure).map_or_else(
                || "-".to_owned(),
                |known| cell(known.value, known.sd, decimals_shown(known.sd).min(2)),
            );
            let _ = write!(out, "{text:>CELL$}");
        }
        out.push('\n');
    }
    out
}

/// `-6.1±0.9`, as narrow as it gets.
fn cell(value: f64, sd: f64, decimals: usize) -> String {
    let style = Style::default();
    format!("{}±{}", style.number(value, decimals), style.number(sd, decimals))
}

fn swing_rows(result: &SwingResult) -> String {
    if result.swing.is_empty() {
        return String::new();
    }
    let mut out = "\nWhole swing\n".to_owned();
    for (&key, value) in &result.swing {
        let name = swing_measure_name(key);
        let text = match value {
            Value::Known { .. } => value.to_string(),
            Value::Missing { missing } => format!("- ({missing})"),
        };
        let _ = writeln!(out, "  {name:<width$}{}", hung(&text, WIDTH, LABEL), width = LABEL - 2);
    }
    out
}

/// Each reason once, with the measures (and, unless it is all of them, the events) it stands for.
fn missing(result: &SwingResult) -> String {
    let mut by_reason: BTreeMap<&str, BTreeMap<Measure, Vec<Event>>> = BTreeMap::new();
    for (&event, values) in &result.measures {
        for (&measure, value) in values {
            if let Value::Missing { missing } = value {
                by_reason.entry(missing).or_default().entry(measure).or_default().push(event);
            }
        }
    }
    if by_reason.is_empty() {
        return String::new();
    }
    let mut out = "\nNot measured (-)\n".to_owned();
    for (reason, measures) in by_reason {
        let names: Vec<String> = measures
            .into_iter()
            .map(|(measure, events)| {
                let at: Vec<_> = events.iter().map(|&event| event_name(event)).collect();
                let all = events.len() == result.measures.len();
                let name = measure_name(measure);
                if all { name.to_owned() } else { format!("{name} ({})", at.join(", ")) }
            })
            .collect();
        let _ = writeln!(
            out,
            "  {}",
            wrapped(&format!("{reason}: {}", names.join(", ")), WIDTH - 2, 4)
        );
    }
    out
}

fn footer(result: &SwingResult) -> String {
    let from = scale_words(result.scale.method);
    let mut out = format!(
        "\n± is one standard deviation: about two errors in three are smaller, 95 in 100 smaller than twice\n\
         that. Scale from {from}, ± {:.1} %.\n",
        100.0 * result.scale.relative_sd
    );
    for note in &result.notes {
        let _ = writeln!(out, "{}", wrapped(&format!("Note: {note}"), WIDTH, 6));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::results::build::tests::invented;
    use crate::results::{Unit, Value};

    #[test]
    fn the_table_fits_and_names_every_known_value_and_every_reason() {
        let result = invented();
        let text = table(&result);
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{} in {line}", line.chars().count());
        }
        assert!(text.contains("-6.1±0.9"), "{text}");
        assert!(
            text.contains("needs a down-the-line clip: lower hub to and from the ball"),
            "{text}"
        );
        assert!(
            text.contains("hip slope (top)") || text.contains("shoulder slope (top)"),
            "{text}"
        );
        for note in &result.notes {
            assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(note.as_str()));
        }
    }

    #[test]
    fn the_answer_says_what_moved_and_which_way() {
        assert_eq!(
            answer(&invented()),
            "At the top the lower hub has moved 6.1 cm (± 0.9) away from the target and the upper \
             hub 5.0 cm (± 0.8) toward the target; the trunk leans 12.5 degrees (± 1.5) toward \
             the target."
        );
    }

    #[test]
    fn the_answer_comes_in_inches_and_with_a_comma_too() {
        let style = Style {
            length: crate::results::LengthUnit::Inch,
            decimal: crate::results::DecimalMark::Comma,
        };
        let said = answer_in(&invented(), style);
        assert!(said.contains("the lower hub has moved 2,4 in (± 0,4) away"), "{said}");
        assert!(said.contains("12,5 degrees (± 1,5)"), "{said}");
    }

    #[test]
    fn what_lies_within_its_error_is_not_called_a_movement() {
        let mut result = invented();
        let top = result.measures.get_mut(&Event::Top).unwrap();
        let set = |value, sd| Value::new(Estimate::new(value, sd), Unit::Cm);
        top.insert(Measure::LowerHubTarget, set(-0.4, 0.9));
        let one = answer(&result);
        assert!(
            one.contains("lower hub shows no movement larger than its error (-0.4 ± 0.9 cm)"),
            "{one}"
        );
        assert!(one.contains("upper hub has moved 5.0 cm"), "{one}");
        let top = result.measures.get_mut(&Event::Top).unwrap();
        top.insert(Measure::UpperHubTarget, set(1.5, 0.8));
        let none = answer(&result);
        assert!(
            none.contains("no movement of either hub along the target line larger than its error")
        );
        let top = result.measures.get_mut(&Event::Top).unwrap();
        top.insert(Measure::LowerHubTarget, Value::missing("x"));
        top.insert(Measure::UpperHubTarget, Value::missing("x"));
        assert!(answer(&result).starts_with("No hub travel could be measured"));
    }
}
