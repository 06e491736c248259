//! The comparison as text. In: [`Comparison`]. Out: at most 100 columns, what moved first, then
//! every value with its swings, then what was looked at and how.

use std::fmt::Write as _;

use super::words::{decimals, heading, number, row};
use super::{Absent, Comparison, Line, Side, Verdict};

const WIDTH: usize = 100;

#[must_use]
pub fn table(comparison: &Comparison) -> String {
    let mut out = answer(comparison);
    let _ = writeln!(
        out,
        "\n{:<22} {:>16} {:>16}  {:<25} verdict",
        "", "before", "after", "change (95 % interval)"
    );
    let mut last = "";
    for line in &comparison.lines {
        let heading = heading(line.key);
        if heading != last {
            let _ = writeln!(out, "{heading}");
            last = heading;
        }
        out.push_str(&rows(line));
    }
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
    if out.is_empty() {
        out.push_str("No change is shown.\n");
    }
    let few = of(Verdict::TooFewSwings).count();
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

fn rows(line: &Line) -> String {
    let half = line.change.high - line.change.value;
    let places = decimals(half);
    let sign = if line.change.value > 0.0 { "+" } else { "" };
    let change = format!(
        "{sign}{} ({} to {})",
        number(line.change.value, places),
        number(line.change.low, places),
        number(line.change.high, places)
    );
    let mut out = format!(
        "  {:<20} {:>16} {:>16}  {:<25} {}\n",
        row(line.key),
        mean(&line.before, places),
        mean(&line.after, places),
        change,
        line.verdict.words()
    );
    if line.before.n + line.after.n > 2 {
        let dots = |side: &Side| {
            side.swings.iter().map(|d| number(d.value, places)).collect::<Vec<_>>().join(" ")
        };
        let said = format!("each: {} | {}", dots(&line.before), dots(&line.after));
        let _ = writeln!(out, "    {}", wrapped(&said).replace('\n', "\n    "));
    }
    out
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
    let swings = |n: usize| if n == 1 { "1 swing".to_owned() } else { format!("{n} swings") };
    let mut notes = vec![format!(
        "Before: {}, after: {}. {} values were looked at together; the chance of even one false \"moved\" among them is at most 5 % (Holm 1979). ± is the spread from swing to swing, the number of swings in brackets.",
        swings(comparison.before.len()),
        swings(comparison.after.len()),
        comparison.looked_at
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
