//! The comparison as text. In: [`Comparison`]. Out: at most 100 columns, what moved first, then
//! every value with its swings, then what was looked at and how.

use std::fmt::Write as _;

use super::words::{decimals, heading, looked_at, number, row};
use super::{Absent, Change, Comparison, FlightLine, Line, Remark, Side, Verdict};
use crate::warning::counted;

const WIDTH: usize = 100;
/// The column of the rows' names.
const NAME: usize = 21;

#[must_use]
pub fn table(comparison: &Comparison) -> String {
    let mut out = answer(comparison);
    let _ = writeln!(
        out,
        "\n{:<23} {:>16} {:>16}  {:<25} verdict",
        "", "before", "after", "change (95 % interval)"
    );
    let mut last = "";
    for line in &comparison.lines {
        let heading = heading(line.key);
        if heading != last {
            let _ = writeln!(out, "{heading}");
            last = heading;
        }
        out.push_str(&Row::body(line).text());
    }
    out.push_str(&ball_flight(&comparison.ball_flight));
    out.push_str(&footer(comparison));
    out
}

/// What moved, a line each; or that nothing did.
fn answer(comparison: &Comparison) -> String {
    let of = |verdict| comparison.lines.iter().filter(move |line| line.verdict == verdict);
    let mut out = String::new();
    for line in of(Verdict::Moved) {
        let said = format!("{}, {}: {}.", heading(line.key), name(line), line.sentence);
        let _ = writeln!(out, "{}", wrapped(&said));
    }
    for line in comparison.ball_flight.iter().filter(|line| line.verdict == Verdict::Moved) {
        let said = format!("Ball flight, {}: {}.", line.quantity.replace('_', " "), line.sentence);
        let _ = writeln!(out, "{}", wrapped(&said));
    }
    if out.is_empty() {
        out.push_str("No change is shown.\n");
    }
    let few = of(Verdict::TooFewSwings).count()
        + comparison.ball_flight.iter().filter(|l| l.verdict == Verdict::TooFewSwings).count();
    if few > 0 {
        let _ = writeln!(out, "Too few swings to tell for {few} more.");
    }
    for line in &comparison.lines {
        if let Some(target) = &line.target {
            let said = format!("{}, {}: {}.", heading(line.key), name(line), target.sentence);
            let _ = writeln!(out, "{}", wrapped(&said));
        }
    }
    out
}

/// The row's name without its unit.
fn name(line: &Line) -> &'static str {
    let row = row(line.key);
    row.split(", ").next().unwrap_or(row)
}

/// One row of the table, of the body or of the ball's flight.
struct Row<'a> {
    name: &'a str,
    before: &'a Side,
    after: &'a Side,
    difference: f64,
    change: Option<&'a Change>,
    verdict: Verdict,
}

impl<'a> Row<'a> {
    fn body(line: &'a Line) -> Self {
        Self {
            name: row(line.key),
            before: &line.before,
            after: &line.after,
            difference: line.change.value,
            change: Some(&line.change),
            verdict: line.verdict,
        }
    }

    fn flight(line: &'a FlightLine, name: &'a str) -> Self {
        Self {
            name,
            before: &line.before,
            after: &line.after,
            difference: line.difference,
            change: line.change.as_ref(),
            verdict: line.verdict,
        }
    }

    fn text(&self) -> String {
        let places = self.change.map_or(1, |change| decimals(change.high - change.value));
        let sign = if self.difference > 0.0 { "+" } else { "" };
        let mut change = format!("{sign}{}", number(self.difference, places));
        if let Some(Change { low, high, .. }) = self.change {
            let _ = write!(change, " ({} to {})", number(*low, places), number(*high, places));
        }
        // A name of the coach's own may be longer than the column.
        let name = match self.name.chars().count() {
            0..=NAME => format!("{:<NAME$}", self.name),
            _ => format!("{}\n  {:NAME$}", self.name, ""),
        };
        let mut out = format!(
            "  {name} {:>16} {:>16}  {change:<25} {}\n",
            mean(self.before, places),
            mean(self.after, places),
            self.verdict.words()
        );
        if self.before.n + self.after.n > 2 {
            let dots = |side: &Side| {
                side.swings.iter().map(|d| number(d.value, places)).collect::<Vec<_>>().join(" ")
            };
            out += &indented(&format!("each: {} | {}", dots(self.before), dots(self.after)));
        }
        out
    }
}

/// Ball-flight rows, each with what its sign means, then the remarks with their sources.
fn ball_flight(lines: &[FlightLine]) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let mut out = "Ball flight, as read off the coach's device\n".to_owned();
    let mut remarks = String::new();
    for line in lines {
        let plain = line.quantity.replace('_', " ");
        out += &Row::flight(line, &format!("{plain}, {}", line.unit)).text();
        if let Some(sign) = line.sign {
            out += &indented(&format!("sign: {sign}"));
        }
        for Remark { text, source } in &line.remarks {
            let _ = writeln!(remarks, "{}", wrapped(&format!("{plain}: {text} ({source})")));
        }
    }
    if !remarks.is_empty() {
        let _ = write!(out, "\nRemarks, no part of any verdict:\n{remarks}");
    }
    out
}

fn indented(text: &str) -> String {
    format!("    {}\n", wrapped(text).replace('\n', "\n    "))
}

/// `-6.1 ± 0.9 (3)`: mean, spread from swing to swing, swings.
fn mean(side: &Side, places: usize) -> String {
    let mean = number(side.mean, places);
    match side.spread_sd {
        Some(sd) => format!("{mean} ± {} ({})", number(sd, places), side.n),
        None => format!("{mean} (1)"),
    }
}

fn footer(comparison: &Comparison) -> String {
    let mut notes = vec![format!(
        "Before: {}, after: {}. {} ± is the spread from swing to swing, the number of swings in brackets.",
        counted(comparison.before.len(), "swing"),
        counted(comparison.after.len(), "swing"),
        looked_at(comparison.looked_at),
    )];
    notes.extend(comparison.notes.iter().cloned());
    notes.extend(missing(&comparison.missing));
    let mut out = String::new();
    for note in notes {
        let _ = writeln!(out, "\n{}", wrapped(&note));
    }
    out
}

/// A sentence for each reason, with what it holds for.
fn missing(absent: &[Absent]) -> Vec<String> {
    let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
    for one in absent {
        match reasons.iter_mut().find(|(reason, _)| *reason == one.reason) {
            Some((_, keys)) => keys.push(one.key.to_string()),
            None => reasons.push((&one.reason, vec![one.key.to_string()])),
        }
    }
    let said =
        reasons.iter().map(|(why, keys)| format!("Not compared ({why}): {}.", keys.join(", ")));
    said.collect()
}

fn wrapped(text: &str) -> String {
    let (mut out, mut used) = (String::new(), 0);
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if used > 0 && used + 1 + length > WIDTH {
            out.push('\n');
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += length;
    }
    out
}
