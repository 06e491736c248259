//! A value over the weeks as a chart. In: the record's [`History`], how the reader writes a day.
//! Out: the chart's input, the same for the command line and the page.

use crate::chart::{Day, HistoryInput, Seen, value_name};
use crate::compare::Key;
use crate::record::History;
use crate::results::Style;
use crate::units::Estimate;

/// More swings than these would cover each other: the means of days and labels stand for them.
const MOST_SWINGS: usize = 120;
/// The chart draws two sd to each side; the interval of a mean is that wide.
const RANGE_SD: f64 = 2.0;

/// What `chart::history` draws; `shown` writes a date as the reader likes it.
pub fn input(
    history: &History,
    shown: impl Fn(&str) -> String,
    style: Style,
    width: f64,
) -> HistoryInput {
    let day = |date: &String| Day { date: date.clone(), shown: shown(date) };
    let means = history.points.len() > MOST_SWINGS;
    let seen = if means {
        let mean = |d: &crate::record::Day| Seen {
            day: day(&d.date),
            value: Estimate::new(d.mean.mean, (d.mean.high - d.mean.low) / (2.0 * RANGE_SD)),
            after: is_after(&d.label),
        };
        history.days.iter().map(mean).collect()
    } else {
        let one = |r: &crate::record::Reading| Seen {
            day: day(&r.point.date),
            value: Estimate::new(r.point.value, r.point.sd),
            after: is_after(&r.point.label),
        };
        history.points.iter().map(one).collect()
    };
    let tasks = history
        .lessons
        .iter()
        .flat_map(|lesson| lesson.tasks.iter().map(|task| (day(&lesson.date), task.clone())));
    HistoryInput {
        name: value_name(history.key),
        unit: history.unit,
        seen,
        means,
        lessons: history.lessons.iter().map(|lesson| day(&lesson.date)).collect(),
        tasks: tasks.collect(),
        target: history.target,
        ways: ways(history.key),
        style,
        width,
    }
}

fn is_after(label: &str) -> bool {
    label.trim().eq_ignore_ascii_case("after")
}

/// What the two signs of a value mean.
fn ways(key: Key) -> [String; 2] {
    match key {
        Key::At { measure, .. } => {
            [1.0, -1.0].map(|sign| crate::results::direction(measure, sign).to_owned())
        }
        Key::Swing { .. } => [String::new(), String::new()],
    }
}
