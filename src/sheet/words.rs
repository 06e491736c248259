//! The sheet's fixed words, and the blocks made of words alone.

use super::block::Block;
use super::{SheetInput, Task};
use crate::chart::{Face, LengthUnit, Lettering, Tone, Weight};
use crate::results::capitalised;

pub const CAUTIONS: &str = "Stop when something hurts, and see a licensed health professional. \
    Warm up first. Swing only with clear space all around you, nobody within reach, nobody in \
    front. This sheet describes a swing; it is no diagnosis.";

pub const HOW_SURE: &str = "± is one standard deviation: about two errors in three are smaller, 95 \
    in 100 smaller than twice that. The errors were checked on rendered bodies whose motion is \
    known exactly; how they are on filmed people has not been measured yet.";

/// Sizes of text that flows, largest first: the first one that fits is taken.
pub const SIZES: [f64; 4] = [12.5, 11.5, 10.5, 9.5];
pub const SMALLEST: f64 = 9.5;
const GAP: f64 = 22.0;

fn plain(size: f64) -> Face {
    Face::new(size, Weight::Medium, Tone::Ink)
}

fn bold(size: f64) -> Face {
    Face::new(size, Weight::Bold, Tone::Ink)
}

/// Blocks side by side, all as wide.
fn columns(count: usize, width: f64, fill: impl Fn(usize, f64) -> Block) -> Block {
    let number = f64::from(u32::try_from(count.max(1)).unwrap_or(1));
    let column = (width - GAP * (number - 1.0)) / number;
    let mut all = Block::default();
    let mut left = 0.0;
    for index in 0..count {
        let one = fill(index, column);
        all.height = all.height.max(one.height);
        all.shapes.push(one.placed("", left, 0.0));
        left += column + GAP;
    }
    all
}

/// The sentence of each swing, two of them side by side.
pub fn answers(input: &SheetInput, letters: &Lettering, width: f64, size: f64) -> Block {
    let many = input.answers.len() > 1;
    columns(input.answers.len(), width, |index, column| {
        let mut block = Block::default();
        if let Some((name, sentence)) = input.answers.get(index) {
            if many {
                block.text(letters, bold(size), &capitalised(name), column);
            }
            block.text(letters, plain(size), sentence, column);
        }
        block
    })
}

/// What to work on, in the coach's words.
pub fn work(words: &str, letters: &Lettering, width: f64, size: f64) -> Block {
    let mut block = Block::default();
    block.heading(letters, "What to work on", width);
    block.text(letters, plain(size), words, width);
    block
}

/// The tasks beside each other, three in a row at the most.
pub fn tasks(tasks: &[Task], letters: &Lettering, width: f64, size: f64) -> Block {
    const IN_A_ROW: usize = 3;
    let mut block = Block::default();
    if tasks.is_empty() {
        return block;
    }
    block.heading(letters, "Practice", width);
    for row in tasks.chunks(IN_A_ROW) {
        let side_by_side = columns(row.len(), width, |index, column| {
            row.get(index).map_or_else(Block::default, |one| task(one, letters, column, size))
        });
        block.add(side_by_side);
        block.space(4.0);
    }
    block
}

fn task(task: &Task, letters: &Lettering, width: f64, size: f64) -> Block {
    let mut block = Block::default();
    block.text(letters, bold(size), &task.title, width);
    for line in task.lines() {
        block.text(letters, plain(size), &line, width);
    }
    let quiet = Face::new(9.5, Weight::Medium, Tone::Quiet);
    block.text(letters, quiet, &format!("({})", task.source), width);
    block
}

/// Cautions, and how the numbers were made: two columns at the foot of the page.
pub fn foot(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    const SIZE: f64 = 9.0;
    let narrow = (width - GAP) * 0.36;
    let wide = width - GAP - narrow;
    let quiet = Face::new(SIZE, Weight::Medium, Tone::Quiet);
    let head = Face::new(SIZE + 1.0, Weight::Bold, Tone::Ink);
    let mut care = Block::default();
    care.text(letters, head, "Take care", narrow);
    care.text(letters, Face { tone: Tone::Ink, ..quiet }, CAUTIONS, narrow);
    let mut made = Block::default();
    made.text(letters, head, "How these numbers were made", wide);
    let in_cm = !input.photos.is_empty() && input.style.length != LengthUnit::Cm;
    let pictures = in_cm.then_some("The figures in the pictures are in centimetres.");
    let made_so = input.made.iter().map(String::as_str).chain(pictures);
    let said: Vec<&str> = made_so.chain([HOW_SURE]).collect();
    made.text(letters, quiet, &said.join(" "), wide);
    let height = care.height.max(made.height);
    let shapes = vec![care.placed("care", 0.0, 0.0), made.placed("made", narrow + GAP, 0.0)];
    Block { shapes, height }
}
