//! Over weeks: one value of a pupil against the date, each swing with its 95 % range, lessons and
//! practice tasks marked, the coach's target as a line.
//!
//! In: [`HistoryInput`] in the result's units; dates as `YYYY-MM-DD`, and as the reader likes
//! them. Out: a [`Drawing`]. Swings of one day stand beside each other. Tasks have a number on
//! the time line and their words below, so that no text is crowded out.

use super::axis::Axis;
use super::drawing::{Anchor, Bounds, Drawing, Face, Point, Shape, Stroke};
use super::flow;
use super::legend::{Sign, legend};
use super::lettering::{Lettering, Weight};
use super::{Style, Tone};
use crate::results::Unit;
use crate::units::Estimate;

const MARGIN: f64 = 10.0;
const SMALL: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Quiet };
const NOTE: Face = Face { tone: Tone::Aim, weight: Weight::Bold, ..SMALL };
const LINE: f64 = 17.0;
/// 95 of 100 errors are smaller than so many sd.
const RANGE_SD: f64 = 2.0;
/// Swings of one day are this far apart, at the most.
const BESIDE: f64 = 9.0;

/// A day, and how the reader writes it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    /// `YYYY-MM-DD`
    pub date: String,
    pub shown: String,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    pub day: Day,
    pub value: Estimate,
    /// Drawn hollow, as the second swing is everywhere.
    pub after: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct HistoryInput {
    /// What is shown, e.g. `Top: lower hub along the target line`.
    pub name: String,
    pub unit: Unit,
    pub seen: Vec<Seen>,
    /// Each of them is the mean of a day's swings of one label, not a swing.
    pub means: bool,
    pub lessons: Vec<Day>,
    pub tasks: Vec<(Day, String)>,
    pub target: Option<f64>,
    /// What the two directions mean: above zero, below zero; may be empty.
    pub ways: [String; 2],
    pub style: Style,
    /// 1/96 inch.
    pub width: f64,
}

/// Days since 1970-01-01 (proleptic Gregorian; Hinnant, chrono-compatible date algorithms).
fn day_number(date: &str) -> Option<i64> {
    let mut parts = date.get(..10)?.split('-');
    let mut part = || parts.next()?.parse::<i64>().ok();
    let (year, month, day) = (part()?, part()?, part()?);
    if !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let of_era = year - era * 400;
    let of_year = (153 * (if month > 2 { month - 3 } else { month + 9 }) + 2) / 5 + day - 1;
    Some(era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468)
}

/// Where days and values stand.
struct Frame {
    plot: Bounds,
    first: f64,
    last: f64,
    up: Axis,
}

impl Frame {
    fn new(input: &HistoryInput, letters: &Lettering, top: f64) -> Self {
        let plot_height = (input.width * 0.45).clamp(200.0, 340.0);
        let shown = |value: f64| input.style.shown(value, input.unit);
        let ends = input.seen.iter().flat_map(|seen| {
            let reach = RANGE_SD * seen.value.sd;
            [seen.value.value - reach, seen.value.value + reach]
        });
        let values = ends.chain(input.target).chain([0.0]).map(shown);
        let up = Axis::around(values, top + plot_height - 8.0, top + 8.0);
        let labels =
            up.ticks().into_iter().map(|tick| SMALL.width(letters, &tick_text(input, &up, tick)));
        let left = MARGIN + labels.fold(0.0, f64::max) + 8.0;
        let plot = Bounds::new(left, top, input.width - MARGIN, top + plot_height);
        let tasks = input.tasks.iter().map(|(day, _)| day);
        let all = input.seen.iter().map(|seen| &seen.day).chain(&input.lessons).chain(tasks);
        let days: Vec<f64> = all.filter_map(|day| as_place(day_number(&day.date)?)).collect();
        let first = days.iter().copied().fold(f64::INFINITY, f64::min);
        let last = days.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Self { plot, first, last, up }
    }

    fn across(&self, day: &Day) -> Option<f64> {
        let day = as_place(day_number(&day.date)?)?;
        let room = (self.plot.left + 26.0, self.plot.right - 26.0);
        let length = self.last - self.first;
        let share = if length > 0.0 { (day - self.first) / length } else { 0.5 };
        Some(room.0 + share * (room.1 - room.0))
    }
}

/// Days stay far below 2^31.
fn as_place(day: i64) -> Option<f64> {
    i32::try_from(day).ok().map(f64::from)
}

fn tick_text(input: &HistoryInput, axis: &Axis, tick: f64) -> String {
    let number = input.style.signed(tick, axis.decimals());
    if tick.abs() < 1e-9 { format!("0{}", input.style.suffix(input.unit)) } else { number }
}

#[must_use]
pub fn history(input: &HistoryInput, letters: &Lettering) -> Drawing {
    let one = if input.means { "mean of a day, 95 % range" } else { "swing, 95 % range" };
    let mut entries = vec![(Sign::Dot { tone: Tone::Ink, hollow: false }, one)];
    if input.seen.iter().any(|seen| seen.after) {
        entries.push((Sign::Dot { tone: Tone::Ink, hollow: true }, "after"));
    }
    if !input.lessons.is_empty() {
        entries.push((Sign::Dash(Tone::Aim), "lesson"));
    }
    if input.target.is_some() {
        entries.push((Sign::Level(Tone::Aim), "the coach's target"));
    }
    let right = input.width - MARGIN;
    let (mut shapes, y) = legend(letters, &entries, MARGIN, right, MARGIN + 12.0);
    let frame = Frame::new(input, letters, y + 30.0);
    shapes.extend(grid(input, letters, &frame));
    shapes.extend(lessons(input, &frame));
    shapes.extend(swings(input, &frame));
    shapes.extend(target(input, &frame));
    let mut y = frame.plot.bottom + LINE;
    shapes.extend(dates(input, letters, &frame, y));
    y += LINE;
    shapes.extend(task_numbers(input, letters, &frame));
    for (i, (day, what)) in input.tasks.iter().enumerate() {
        let text = format!("{}  {}: {what}", i + 1, day.shown);
        for line in flow::lines(letters, NOTE, &text, input.width - 2.0 * MARGIN) {
            let at = Point::new(MARGIN, y);
            shapes.push(Shape::Text(NOTE.text(letters, at, Anchor::Start, &line)));
            y += LINE;
        }
    }
    let told = input.seen.iter().map(|seen| {
        let value = input.style.signed_plus_minus(seen.value, input.unit);
        format!("{}: {value}{}.", seen.day.shown, input.style.suffix(input.unit))
    });
    let description = told.collect::<Vec<_>>().join(" ");
    let title = format!("{} over time", input.name);
    Drawing { width: input.width, height: y + MARGIN - 12.0, title, description, shapes }
}

fn grid(input: &HistoryInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let (plot, mut shapes) = (&frame.plot, Vec::new());
    let across = |y: f64, stroke| {
        Shape::segment(Point::new(plot.left, y), Point::new(plot.right, y), stroke)
    };
    for tick in frame.up.ticks() {
        let y = frame.up.place(tick);
        let zero = tick.abs() < 1e-9;
        let stroke =
            if zero { Stroke::new(Tone::Quiet, 1.2) } else { Stroke::new(Tone::Rule, 1.0) };
        shapes.push(across(y, stroke));
        let at = Point::new(plot.left - 6.0, y + 4.0);
        let text = tick_text(input, &frame.up, tick);
        shapes.push(Shape::Text(SMALL.text(letters, at, Anchor::End, &text)));
    }
    let [plus, minus] = &input.ways;
    let text = match (plus.is_empty(), minus.is_empty()) {
        (false, false) => format!("+ {plus}, - {minus}"),
        _ => String::new(),
    };
    let text = flow::shortened(letters, SMALL, &text, plot.width());
    let at = Point::new(plot.left, plot.top - 8.0);
    shapes.push(Shape::Text(SMALL.text(letters, at, Anchor::Start, &text)));
    shapes
}

/// Over everything else: it is what the rest is held against.
fn target(input: &HistoryInput, frame: &Frame) -> Option<Shape> {
    let y = frame.up.place(input.style.shown(input.target?, input.unit));
    let (from, to) = (Point::new(frame.plot.left, y), Point::new(frame.plot.right, y));
    Some(Shape::segment(from, to, Stroke::dashed(Tone::Aim, 1.8)))
}

/// With less width than this for each, upright lines would make one dark field.
const CROWDED: f64 = 8.0;

fn is_crowded(count: usize, frame: &Frame) -> bool {
    frame.plot.width() < CROWDED * f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// A line for each lesson; a short one at the foot where there are many.
fn lessons(input: &HistoryInput, frame: &Frame) -> Vec<Shape> {
    const FOOT: f64 = 10.0;
    let crowded = is_crowded(input.lessons.len(), frame);
    let top = if crowded { frame.plot.bottom - FOOT } else { frame.plot.top };
    let line = |x: f64| {
        let ends = (Point::new(x, top), Point::new(x, frame.plot.bottom));
        Shape::segment(ends.0, ends.1, Stroke::dashed(Tone::Aim, 1.2))
    };
    input.lessons.iter().filter_map(|day| frame.across(day)).map(line).collect()
}

/// Ranges first, so that no range lies over a swing; small and pale where there are many.
fn swings(input: &HistoryInput, frame: &Frame) -> Vec<Shape> {
    let (mut ranges, mut dots) = (Vec::new(), Vec::new());
    let up = |value: f64| frame.up.place(input.style.shown(value, input.unit));
    let crowded = is_crowded(input.seen.len(), frame);
    let (range, radius, edge) = if crowded {
        (Stroke::new(Tone::Rule, 1.0), 2.2, 1.0)
    } else {
        (Stroke::new(Tone::Ink, 1.4), 4.2, 1.6)
    };
    for (i, seen) in input.seen.iter().enumerate() {
        let Some(x) = frame.across(&seen.day) else { continue };
        let x = x + aside(input, i);
        let reach = RANGE_SD * seen.value.sd;
        let ends = (up(seen.value.value - reach), up(seen.value.value + reach));
        ranges.push(Shape::segment(Point::new(x, ends.0), Point::new(x, ends.1), range));
        let fill = Some(if seen.after { Tone::Paper } else { Tone::Ink });
        let at = Point::new(x, up(seen.value.value));
        dots.push(Shape::circle(at, radius, fill, Some(Stroke::new(Tone::Ink, edge))));
    }
    ranges.extend(dots);
    ranges
}

/// Swings of one day side by side around its place.
fn aside(input: &HistoryInput, index: usize) -> f64 {
    let same = |other: &&Seen| input.seen.get(index).is_some_and(|own| own.day == other.day);
    let before = input.seen.iter().take(index).filter(same).count();
    let all = input.seen.iter().filter(same).count();
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
    let step = BESIDE.min(44.0 / count(all.max(1)));
    step * (count(before) - (count(all) - 1.0) / 2.0)
}

/// As many dates as have room, the first and the last for certain.
fn dates(input: &HistoryInput, letters: &Lettering, frame: &Frame, y: f64) -> Vec<Shape> {
    let mut days: Vec<(f64, &Day)> = input
        .seen
        .iter()
        .map(|seen| &seen.day)
        .chain(&input.lessons)
        .filter_map(|day| Some((frame.across(day)?, day)))
        .collect();
    days.sort_by(|a, b| a.0.total_cmp(&b.0));
    days.dedup_by(|a, b| a.1.date == b.1.date);
    if days.len() > 2 {
        // The last one finds its place before those between.
        days.swap_remove(1);
        let second = days.len() - 1;
        days[1..=second].sort_by(|a, b| b.0.total_cmp(&a.0));
    }
    let mut taken: Vec<Bounds> = Vec::new();
    let mut shapes = Vec::new();
    for (x, day) in days {
        let half = SMALL.width(letters, &day.shown) / 2.0;
        let x = x.clamp(MARGIN + half, input.width - MARGIN - half);
        let text = SMALL.text(letters, Point::new(x, y), Anchor::Middle, &day.shown);
        if !taken.iter().any(|other| other.overlaps(&text.bounds().grown(4.0))) {
            taken.push(text.bounds());
            shapes.push(Shape::Text(text));
        }
    }
    shapes
}

/// Numbers of the tasks at the top of the time line, one after the other where days are near.
fn task_numbers(input: &HistoryInput, letters: &Lettering, frame: &Frame) -> Vec<Shape> {
    let mut shapes = Vec::new();
    let mut taken: Vec<Bounds> = Vec::new();
    for (i, (day, _)) in input.tasks.iter().enumerate() {
        let Some(x) = frame.across(day) else { continue };
        let number = (i + 1).to_string();
        let mut y = frame.plot.top + 14.0;
        let mut text = NOTE.text(letters, Point::new(x + 5.0, y), Anchor::Start, &number);
        while taken.iter().any(|other| other.overlaps(&text.bounds()))
            && y < frame.plot.bottom - LINE
        {
            y += LINE;
            text.at.y = y;
        }
        if taken.iter().any(|other| other.overlaps(&text.bounds())) {
            continue;
        }
        taken.push(text.bounds());
        shapes.push(Shape::Text(text));
    }
    shapes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::drawing::assert_tidy;

    fn day(date: &str) -> Day {
        Day { date: date.to_owned(), shown: date.to_owned() }
    }

    fn input(width: f64, days: &[&str]) -> HistoryInput {
        let seen = days.iter().enumerate().map(|(i, date)| Seen {
            day: day(date),
            value: Estimate::new(-6.0 + i as f64 * 0.7, 0.9),
            after: i % 2 == 1,
        });
        HistoryInput {
            name: "Top: lower hub along the target line".to_owned(),
            unit: Unit::Cm,
            seen: seen.collect(),
            lessons: days.iter().map(|date| day(date)).collect(),
            tasks: vec![
                (day("2026-10-01"), "Trail hip against the wall".to_owned()),
                (
                    day("2026-10-02"),
                    "Slow half swings with a pause at the top, ten a day".to_owned(),
                ),
            ],
            means: false,
            target: Some(-1.0),
            ways: ["toward the target".to_owned(), "away from the target".to_owned()],
            style: Style::default(),
            width,
        }
    }

    #[test]
    fn words_never_overlap_with_few_or_many_days() {
        let letters = Lettering::new(false);
        let many: Vec<String> = (1..=28).map(|d| format!("2026-10-{d:02}")).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        for width in [320.0, 720.0] {
            for days in [&[][..], &["2026-10-01"], &["2026-10-01"; 9], &many] {
                assert_tidy(&history(&input(width, days), &letters));
            }
        }
    }

    #[test]
    fn days_are_counted_as_the_calendar_does() {
        // date -u -d @$((n*86400)) +%F (GNU coreutils).
        for (date, number) in [("1970-01-01", 0), ("2000-02-29", 11_016), ("2026-11-25", 20_782)] {
            assert_eq!(day_number(date), Some(number));
        }
        for wrong in ["", "2026-13-01", "2026-1-1", "yesterday!"] {
            assert_eq!(day_number(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_day_that_is_none_is_left_out() {
        let drawing = history(&input(500.0, &["no day", "2026-10-05"]), &Lettering::new(false));
        assert!(!drawing.texts().iter().any(|(text, _)| text == "no day"));
    }
}
