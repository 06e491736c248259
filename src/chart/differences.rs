//! Before against after: a row for each value, with every swing as a dot, the means, the 95 %
//! interval of the change and the coach's own target where there is one.
//!
//! In: [`DifferencesInput`], from a [`Comparison`], whose numbers are shown as they are. Out: a
//! [`Drawing`]. Rows of one unit share one axis. The interval is drawn where it says that the
//! mean after could be: from the mean before on. It leaves the line of the mean before out
//! when the change is larger than its error.

use super::axis::Axis;
use super::drawing::{Anchor, Drawing, Face, Point, Shape, Stroke};
use super::flow;
use super::legend::{Sign, legend};
use super::lettering::{Lettering, Weight};
use super::{Style, Tone};
use crate::compare::{Comparison, Key, Line, Side};
use crate::geometry::Measure;
use crate::results::{
    Unit, capitalised, decimals_shown, event_name, measure_name, swing_measure_name,
};

const MARGIN: f64 = 10.0;
const NAME: Face = Face { size: 13.0, weight: Weight::Bold, tone: Tone::Ink };
const SMALL: Face = Face { size: 12.0, weight: Weight::Medium, tone: Tone::Quiet };
const SAID: Face = Face { tone: Tone::Ink, ..SMALL };
const LINE: f64 = 17.0;
/// Between the two sides of a row, and around them.
const SIDE: f64 = 15.0;

/// One value on both sides, in the units of the result.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    pub name: String,
    pub unit: Unit,
    pub tone: Tone,
    pub before: Dots,
    pub after: Dots,
    pub change: f64,
    pub low: f64,
    pub high: f64,
    /// `moved`, `not shown`, `too few swings`.
    pub verdict: String,
    pub target: Option<f64>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Dots {
    pub values: Vec<f64>,
    pub mean: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct DifferencesInput {
    pub rows: Vec<Difference>,
    /// What the two sides are called.
    pub sides: [String; 2],
    pub style: Style,
    /// 1/96 inch.
    pub width: f64,
}

impl DifferencesInput {
    #[must_use]
    pub fn new(comparison: &Comparison, sides: [&str; 2], style: Style, width: f64) -> Self {
        let rows = comparison.lines.iter().map(Difference::new).collect();
        Self { rows, sides: sides.map(str::to_owned), style, width }
    }
}

impl Difference {
    #[must_use]
    pub fn new(line: &Line) -> Self {
        let dots = |side: &Side| Dots {
            values: side.swings.iter().map(|dot| dot.value).collect(),
            mean: side.mean,
        };
        Self {
            name: name(line.key),
            unit: line.unit,
            tone: tone(line.key),
            before: dots(&line.before),
            after: dots(&line.after),
            change: line.change.value,
            low: line.change.low,
            high: line.change.high,
            verdict: line.verdict.words().to_owned(),
            target: line.target.as_ref().map(|target| target.target),
        }
    }

    /// `+11.1 cm (95 % interval +8.9 to +13.3)`
    #[must_use]
    pub fn change_said(&self, style: Style) -> String {
        let shown = |value: f64| style.shown(value, self.unit);
        let decimals = decimals_shown(shown(self.high - self.low) / 4.0);
        let signed = |value: f64| style.signed(shown(value), decimals);
        let (change, suffix) = (signed(self.change), style.suffix(self.unit));
        format!("{change}{suffix} (95 % interval {} to {})", signed(self.low), signed(self.high))
    }

    /// Ends of everything that is drawn, in the reader's unit.
    fn reach(&self, style: Style) -> Vec<f64> {
        let interval = [self.before.mean + self.low, self.before.mean + self.high];
        let dots = self.before.values.iter().chain(&self.after.values).copied();
        let all = dots.chain(interval).chain(self.target).chain([self.after.mean]);
        all.map(|value| style.shown(value, self.unit)).collect()
    }
}

/// `Top: lower hub along the target line`
#[must_use]
pub fn name(key: Key) -> String {
    let text = match key {
        Key::At { event, measure } => {
            format!("{}: {}", event_name(event), measure_name(measure))
        }
        Key::Swing { measure } => swing_measure_name(measure).to_owned(),
    };
    capitalised(&text)
}

fn tone(key: Key) -> Tone {
    match key {
        Key::At {
            measure: Measure::LowerHubTarget | Measure::LowerHubBall | Measure::LowerHubUp,
            ..
        } => Tone::Lower,
        Key::At {
            measure: Measure::UpperHubTarget | Measure::UpperHubBall | Measure::UpperHubUp,
            ..
        } => Tone::Upper,
        _ => Tone::Ink,
    }
}

#[must_use]
pub fn differences(input: &DifferencesInput, letters: &Lettering) -> Drawing {
    let right = input.width - MARGIN;
    let [before, after] = &input.sides;
    let short = |name: &str| flow::shortened(letters, SAID, name, input.width / 3.0);
    let (before, after) = (short(before), short(after));
    let mut entries = vec![
        (Sign::Dot { tone: Tone::Ink, hollow: false }, before.as_str()),
        (Sign::Dot { tone: Tone::Ink, hollow: true }, after.as_str()),
        (Sign::Bar(Tone::Rule), "95 % interval of the change"),
    ];
    if input.rows.iter().any(|row| row.target.is_some()) {
        entries.push((Sign::Dash(Tone::Aim), "the coach's target"));
    }
    let (mut shapes, mut y) = legend(letters, &entries, MARGIN, right, MARGIN + 12.0);
    y += 14.0;
    for unit in [Unit::Cm, Unit::Deg, Unit::S, Unit::Ratio] {
        let rows: Vec<&Difference> = input.rows.iter().filter(|row| row.unit == unit).collect();
        if rows.is_empty() {
            continue;
        }
        let values = rows.iter().flat_map(|row| row.reach(input.style));
        let axis = Axis::around(values, MARGIN + 14.0, right - 20.0);
        let top = y;
        let mut group = Vec::new();
        for row in rows {
            y = draw_row(input, letters, row, &axis, y, &mut group);
        }
        shapes.extend(ticks(input, letters, &axis, unit, y));
        shapes.extend(group);
        y += 30.0;
        debug_assert!(y > top);
    }
    let title = format!("{} against {}", input.sides[0], input.sides[1]);
    let told = input
        .rows
        .iter()
        .map(|row| format!("{}: {}, {}.", row.name, row.verdict, row.change_said(input.style)));
    let description = told.collect::<Vec<_>>().join(" ");
    Drawing { width: input.width, height: y + MARGIN - 8.0, title, description, shapes }
}

/// Name and change, then the dots; where the next row starts.
fn draw_row(
    input: &DifferencesInput,
    letters: &Lettering,
    row: &Difference,
    axis: &Axis,
    top: f64,
    shapes: &mut Vec<Shape>,
) -> f64 {
    let width = input.width - 2.0 * MARGIN;
    let said = format!("{}: {}", row.verdict, row.change_said(input.style));
    let mut y = top;
    for (face, text) in [(NAME, row.name.as_str()), (SAID, said.as_str())] {
        for line in flow::lines(letters, face, text, width) {
            y += LINE;
            let at = Point::new(MARGIN, y - 4.0);
            shapes.push(Shape::Text(face.text(letters, at, Anchor::Start, &line)));
        }
    }
    let place = |value: f64| axis.place(input.style.shown(value, row.unit));
    let (first, second) = (y + SIDE, y + 2.0 * SIDE);
    let upright = |x: f64, stroke| {
        Shape::segment(Point::new(x, first - 9.0), Point::new(x, second + 9.0), stroke)
    };
    let level = |y: f64| {
        let ends = (Point::new(axis.from, y), Point::new(axis.to, y));
        Shape::segment(ends.0, ends.1, Stroke::new(Tone::Rule, 1.0))
    };
    shapes.extend([level(first), level(second)]);
    let interval = [row.before.mean + row.low, row.before.mean + row.high].map(place);
    let ends = interval.map(|x| Point::new(x, second));
    shapes.push(Shape::segment(ends[0], ends[1], Stroke::new(Tone::Rule, 9.0)));
    shapes.push(upright(place(row.before.mean), Stroke::new(Tone::Quiet, 1.2)));
    if let Some(target) = row.target {
        shapes.push(upright(place(target), Stroke::dashed(Tone::Aim, 1.8)));
    }
    for (dots, y, fill) in [(&row.before, first, row.tone), (&row.after, second, Tone::Paper)] {
        if dots.values.len() > 1 {
            let x = place(dots.mean);
            let stroke = Stroke::new(row.tone, 3.0);
            shapes.push(Shape::segment(Point::new(x, y - 8.0), Point::new(x, y + 8.0), stroke));
        }
        shapes.extend(dots.values.iter().map(|value| {
            let edge = Some(Stroke::new(row.tone, 1.6));
            Shape::circle(Point::new(place(*value), y), 4.2, Some(fill), edge)
        }));
    }
    second + 18.0
}

/// Values of the axis below its rows.
fn ticks(
    input: &DifferencesInput,
    letters: &Lettering,
    axis: &Axis,
    unit: Unit,
    y: f64,
) -> Vec<Shape> {
    let suffix = input.style.suffix(unit);
    let ticks = axis.ticks();
    let last = ticks.len().saturating_sub(1);
    let label = |(i, tick): (usize, f64)| {
        let text = input.style.number(tick, axis.decimals());
        let text = if i == last { format!("{text}{suffix}") } else { text };
        let at = Point::new(axis.place(tick), y + 12.0);
        Shape::Text(SMALL.text(letters, at, Anchor::Middle, &text))
    };
    ticks.into_iter().enumerate().map(label).collect()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::chart::drawing::assert_tidy;
    use crate::chart::{DecimalMark, LengthUnit};

    /// Invented.
    fn row(name: &str, unit: Unit, before: &[f64], after: &[f64]) -> Difference {
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let change = mean(after) - mean(before);
        Difference {
            name: name.to_owned(),
            unit,
            tone: Tone::Lower,
            before: Dots { values: before.to_vec(), mean: mean(before) },
            after: Dots { values: after.to_vec(), mean: mean(after) },
            change,
            low: change - 2.0,
            high: change + 2.0,
            verdict: "not shown".to_owned(),
            target: Some(-2.0),
        }
    }

    fn input(width: f64) -> DifferencesInput {
        let rows = vec![
            row("Top: lower hub along the target line", Unit::Cm, &[-5.0, -4.2, -4.4], &[0.5]),
            row("Top: upper hub along the target line", Unit::Cm, &[4.9], &[0.1, -1.2]),
            row("Top: spine tilt", Unit::Deg, &[-9.0], &[3.0]),
            row("Tempo", Unit::Ratio, &[3.1], &[3.2]),
        ];
        let sides = ["before".to_owned(), "after the lesson on the second of June".to_owned()];
        DifferencesInput { rows, sides, style: Style::default(), width }
    }

    #[test]
    fn words_never_overlap() {
        let letters = Lettering::new(false);
        for width in [320.0, 480.0, 720.0] {
            let mut input = input(width);
            assert_tidy(&differences(&input, &letters));
            input.style = Style { length: LengthUnit::Inch, decimal: DecimalMark::Comma };
            assert_tidy(&differences(&input, &letters));
        }
    }

    #[test]
    fn the_change_is_said_with_its_interval() {
        let row = row("x", Unit::Cm, &[-5.0], &[0.54]);
        let said = row.change_said(Style::default());
        assert_eq!(said, "+5.5 cm (95 % interval +3.5 to +7.5)");
        let style = Style { length: LengthUnit::Inch, decimal: DecimalMark::Comma };
        assert_eq!(row.change_said(style), "+2,2 in (95 % interval +1,4 to +3,0)");
    }
}
