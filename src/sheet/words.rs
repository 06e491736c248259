//! The sheet's fixed words, and the blocks made of words alone.

use super::block::Block;
use super::{SheetInput, Task};
use crate::chart::{Face, Lettering, Tone, Weight};

pub const CAUTIONS: &str = "Stop when something hurts, and see a licensed health professional. \
    Warm up first. Swing only with clear space all around you, nobody within reach, nobody in \
    front. This sheet describes a swing; it is no diagnosis.";

pub const HOW_SURE: &str = "± is one standard deviation: about two errors in three are smaller, 95 \
    in 100 smaller than twice that. The errors were checked on rendered bodies whose motion is \
    known exactly; how they are on filmed people has not been measured yet.";

/// Sizes of text that flows, largest first: the first one that fits is taken.
pub const SIZES: [f64; 4] = [12.5, 11.5, 10.5, 9.5];

fn plain(size: f64) -> Face {
    Face::new(size, Weight::Medium, Tone::Ink)
}

fn bold(size: f64) -> Face {
    Face::new(size, Weight::Bold, Tone::Ink)
}

/// The sentence of each swing.
pub fn answers(input: &SheetInput, letters: &Lettering, width: f64, size: f64) -> Block {
    let mut block = Block::default();
    let many = input.answers.len() > 1;
    for (name, sentence) in &input.answers {
        if many {
            block.text(letters, bold(size), &capitalised(name), width);
            block.indented(letters, plain(size), sentence, 0.0, width);
            block.space(4.0);
        } else {
            block.text(letters, plain(size + 1.0), sentence, width);
        }
    }
    block
}

/// What to work on, in the coach's words.
pub fn work(input: &SheetInput, letters: &Lettering, width: f64, size: f64) -> Block {
    let mut block = Block::default();
    block.heading(letters, "What to work on", width);
    block.text(letters, plain(size), &input.words, width);
    block
}

/// The tasks, one under the other.
pub fn tasks(tasks: &[Task], letters: &Lettering, width: f64, size: f64) -> Block {
    let mut block = Block::default();
    block.heading(letters, "Practice", width);
    for task in tasks {
        block.text(letters, bold(size), &task.title, width);
        block.text(letters, plain(size), &task.what, width);
        for (name, text) in [("Feel", &task.feel), ("Film again", &task.film)] {
            block.text(letters, plain(size), &format!("{name}: {text}"), width);
        }
        let quiet = Face::new(size - 1.5, Weight::Medium, Tone::Quiet);
        block.text(letters, quiet, &format!("({})", task.source), width);
        block.space(5.0);
    }
    block
}

/// Cautions, and how the numbers were made: two columns at the foot of the page.
pub fn foot(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    const SIZE: f64 = 9.5;
    const GAP: f64 = 22.0;
    let narrow = (width - GAP) * 0.42;
    let wide = width - GAP - narrow;
    let quiet = Face::new(SIZE, Weight::Medium, Tone::Quiet);
    let head = Face::new(SIZE + 1.0, Weight::Bold, Tone::Ink);
    let mut care = Block::default();
    care.text(letters, head, "Take care", narrow);
    care.text(letters, Face { tone: Tone::Ink, ..quiet }, CAUTIONS, narrow);
    let mut made = Block::default();
    made.text(letters, head, "How these numbers were made", wide);
    let said: Vec<&str> = input.made.iter().map(String::as_str).chain([HOW_SURE]).collect();
    made.text(letters, quiet, &said.join(" "), wide);
    let height = care.height.max(made.height);
    let shapes = vec![care.placed("care", 0.0, 0.0), made.placed("made", narrow + GAP, 0.0)];
    Block { shapes, height }
}

pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}
