//! The tables of the sheet: what changed between two swings, or the values of one.

use super::SheetInput;
use super::block::Block;
use crate::chart::{
    Anchor, Difference, Face, Lettering, Point, Shape, Stroke, Style, Tone, Weight, shortened,
};
use crate::results::{Unit, decimals_shown};

const LINE: f64 = 18.0;
const SIZE: f64 = 11.5;
const BETWEEN: f64 = 16.0;
const REMARK: Face = Face { size: 9.5, weight: Weight::Medium, tone: Tone::Quiet };

fn plain() -> Face {
    Face::new(SIZE, Weight::Medium, Tone::Ink)
}

fn bold() -> Face {
    Face::new(SIZE, Weight::Bold, Tone::Ink)
}

/// Rows of cells: the first column as wide as is left, the others as wide as they must be.
fn table(letters: &Lettering, rows: &[(Vec<String>, Face)], width: f64) -> Block {
    let count = rows.iter().map(|(row, _)| row.len()).max().unwrap_or(0);
    let widest = |column: usize| {
        let cells =
            rows.iter().filter_map(|(row, face)| Some(face.width(letters, row.get(column)?)));
        cells.fold(0.0, f64::max)
    };
    let mut ends = vec![width];
    for column in (2..count).rev() {
        let end = ends.last().copied().unwrap_or(width);
        ends.push(end - widest(column) - BETWEEN);
    }
    ends.reverse();
    let room = ends.first().copied().unwrap_or(width) - widest(1) - BETWEEN;
    let mut block = Block::default();
    for (row, face) in rows {
        block.space(LINE);
        let y = block.height - 5.0;
        for (column, text) in row.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
            let (x, anchor) = match column.checked_sub(1).and_then(|i| ends.get(i)) {
                Some(end) => (*end, Anchor::End),
                None => (0.0, Anchor::Start),
            };
            let text =
                if column == 0 { shortened(letters, *face, text, room) } else { text.clone() };
            block.shapes.push(Shape::Text(face.text(letters, Point::new(x, y), anchor, &text)));
        }
        let line = (Point::new(0.0, block.height), Point::new(width, block.height));
        block.shapes.push(Shape::segment(line.0, line.1, Stroke::new(Tone::Rule, 0.8)));
    }
    block.space(3.0);
    block
}

/// Before, after, change with its interval, verdict.
pub fn changes(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    let head = ["", "before", "after", "change", "95 % interval", "verdict"];
    let mut rows = vec![(head.map(str::to_owned).to_vec(), bold())];
    for row in &input.differences {
        let face = if row.verdict == "moved" { bold() } else { plain() };
        rows.push((cells(row, input.style), face));
    }
    with_remarks(table(letters, &rows, width), input, letters, width)
}

fn cells(row: &Difference, style: Style) -> Vec<String> {
    let shown = |value: f64| style.shown(value, row.unit);
    let suffix = style.suffix(row.unit);
    let decimals = decimals_shown(shown(row.high - row.low) / 4.0);
    let with_unit = |value: f64| format!("{}{suffix}", style.signed(shown(value), decimals));
    let bare = |value: f64| style.signed(shown(value), decimals);
    vec![
        row.name.clone(),
        with_unit(row.before.mean),
        with_unit(row.after.mean),
        with_unit(row.change),
        format!("{} to {}", bare(row.low), bare(row.high)),
        row.verdict.clone(),
    ]
}

/// At the top and at impact, in two halves side by side.
pub fn values(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    const GAP: f64 = 30.0;
    let half = (width - GAP) / 2.0;
    let head = ["".to_owned(), "at the top".to_owned(), "at impact".to_owned()];
    let count = input.values.len().div_ceil(2);
    let mut block = Block::default();
    let mut left = 0.0;
    for part in input.values.chunks(count.max(1)) {
        let mut rows = vec![(head.to_vec(), bold())];
        rows.extend(part.iter().map(|row| (row.to_vec(), plain())));
        let table = table(letters, &rows, half);
        block.height = block.height.max(table.height);
        block.shapes.push(table.placed("", left, 0.0));
        left += half + GAP;
    }
    with_remarks(block, input, letters, width)
}

fn with_remarks(mut block: Block, input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    let mut said: Vec<&str> = input.remarks.iter().map(String::as_str).collect();
    let travel = input.differences.iter().any(|row| row.unit == Unit::Cm);
    if travel {
        said.push("+ is toward the target or toward the ball.");
    }
    if !said.is_empty() {
        block.text(letters, REMARK, &said.join(" "), width);
    }
    block
}
