//! The page put together, from top to bottom: who, the sentences, the table, the ladder beside
//! pictures and what to work on, the tasks, cautions and how it was made.
//!
//! Rule for what is too long: sentences and tasks get smaller in steps; then tasks are left out
//! from the last on. The ladder, pictures and words share what is left, down to the ladder's
//! least height; words get smaller in steps and then end in an ellipsis. Whatever is left out is
//! told as a warning.

use super::block::Block;
use super::grid::{changes, values};
use super::words::{SIZES, SMALLEST, answers, foot, tasks, work};
use super::{Photo, Sheet, SheetInput};
use crate::chart::{
    Anchor, Bounds, Drawing, Face, LadderInput, Lettering, Point, Shape, Stroke, Tone, Weight,
    ladder, shortened,
};

const MARGIN: f64 = 40.0;
/// Between the two columns, and between parts.
const GAP: f64 = 22.0;
const PART: f64 = 10.0;
/// The ladder's height, and what it has of the width.
const LEAST_MIDDLE: f64 = 350.0;
const MOST_MIDDLE: f64 = 560.0;
const LADDER_SHARE: f64 = 0.565;
const MOST_PHOTOS: usize = 3;
/// Width of a picture, of its height.
pub const PHOTO_SHAPE: f64 = 0.64;
/// Sentences and the table have this much at the most, so that the rest has room.
const MOST_ANSWERS: f64 = 150.0;

/// The page, and what did not fit.
#[must_use]
pub fn sheet(input: &SheetInput, letters: &Lettering) -> Sheet {
    let (width, height) = input.paper.size();
    let inner = width - 2.0 * MARGIN;
    let mut page = Page { shapes: Vec::new(), y: MARGIN - 10.0, warnings: Vec::new() };
    page.put("who", who(input, letters, inner));
    page.y += PART;
    let sentences = fitting_answers(input, letters, inner, &mut page.warnings);
    page.put("answer", sentences);
    page.y += PART * 0.6;
    page.put("numbers", numbers(input, letters, inner));
    page.y += PART;
    let foot = foot(input, letters, inner);
    let foot_top = height - MARGIN + 14.0 - foot.height;
    let room = foot_top - PART - page.y;
    let least = least_middle(input, letters, inner);
    let practice = fitting_tasks(input, letters, inner, room - least - PART, &mut page.warnings);
    let middle_height = (room - practice.height - PART).min(MOST_MIDDLE).max(least);
    let middle = middle(input, letters, inner, middle_height, &mut page.warnings);
    page.put("middle", middle);
    page.y += PART;
    page.put("practice", practice);
    let line = Point::new(MARGIN, foot_top - PART / 2.0);
    let stroke = Stroke::new(Tone::Rule, 1.0);
    page.shapes.push(Shape::segment(line, Point::new(width - MARGIN, line.y), stroke));
    page.shapes.push(foot.placed("foot", MARGIN, foot_top));
    let sentences: Vec<&str> = input.answers.iter().map(|(_, said)| said.as_str()).collect();
    let drawing = Drawing {
        width,
        height,
        title: title(input),
        description: sentences.join(" "),
        shapes: page.shapes,
    };
    let mut warnings = page.warnings;
    warnings.extend(unwritten(letters));
    Sheet { drawing, warnings }
}

struct Page {
    shapes: Vec<Shape>,
    y: f64,
    warnings: Vec<String>,
}

impl Page {
    fn put(&mut self, name: &str, block: Block) {
        let height = block.height;
        self.shapes.push(block.placed(name, MARGIN, self.y));
        self.y += height;
    }
}

fn title(input: &SheetInput) -> String {
    if input.name.is_empty() {
        "Swing sheet".to_owned()
    } else {
        format!("Swing sheet: {}", input.name)
    }
}

/// Letters that no font has.
fn unwritten(letters: &Lettering) -> Option<String> {
    let missing = letters.missing();
    if missing.is_empty() {
        return None;
    }
    let shown: Vec<String> = missing.iter().take(12).map(char::to_string).collect();
    Some(format!(
        "no font on this machine has {}: each shows as \"?\"; install a font that has them (such as \
         Noto) and make the sheet again",
        shown.join(" ")
    ))
}

/// Name, day and club in one line with a rule under it.
fn who(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    const SIZE: f64 = 22.0;
    let mut block = Block::default();
    let quiet = Face::new(13.0, Weight::Medium, Tone::Quiet);
    let mut right: Vec<&str> = vec![&input.date, &input.club];
    right.retain(|text| !text.is_empty());
    let side = shortened(letters, quiet, &right.join(", "), width * 0.4);
    let name = if input.name.is_empty() { "Swing" } else { &input.name };
    let room = width - quiet.width(letters, &side) - GAP;
    let mut face = Face::new(SIZE, Weight::Bold, Tone::Ink);
    while face.size > 14.0 && face.width(letters, name) > room {
        face.size -= 1.0;
    }
    let name = shortened(letters, face, name, room);
    let at = |x: f64| Point::new(x, SIZE);
    block.shapes.push(Shape::Text(face.text(letters, at(0.0), Anchor::Start, &name)));
    block.shapes.push(Shape::Text(quiet.text(letters, at(width), Anchor::End, &side)));
    block.space(SIZE + 8.0);
    let ends = (Point::new(0.0, block.height), Point::new(width, block.height));
    block.shapes.push(Shape::segment(ends.0, ends.1, Stroke::new(Tone::Ink, 1.4)));
    if input.invented {
        let tag = Face::new(10.5, Weight::Bold, Tone::Aim);
        block.space(3.0);
        block.text(letters, tag, "INVENTED: demo data of a rendered body, no real person", width);
    }
    block
}

/// The largest size at which the sentences leave room; too long ones end in an ellipsis.
fn fitting_answers(
    input: &SheetInput,
    letters: &Lettering,
    width: f64,
    warnings: &mut Vec<String>,
) -> Block {
    let sizes = SIZES.into_iter().map(|size| answers(input, letters, width, size));
    if let Some(block) = sizes.into_iter().find(|block| block.height <= MOST_ANSWERS) {
        return block;
    }
    warnings.push("the sentences are too long for the sheet and were shortened".to_owned());
    let mut short = input.clone();
    let mut most = 600;
    loop {
        for ((_, sentence), (_, whole)) in short.answers.iter_mut().zip(&input.answers) {
            *sentence = cut(whole, most);
        }
        let block = answers(&short, letters, width, SMALLEST);
        if block.height <= MOST_ANSWERS || most < 100 {
            return block;
        }
        most -= 40;
    }
}

fn numbers(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    match (input.differences.is_empty(), input.values.is_empty()) {
        (false, _) => changes(input, letters, width),
        (true, false) => values(input, letters, width),
        (true, true) => Block::default(),
    }
}

/// The height that the ladder needs, whatever it is given.
fn least_middle(input: &SheetInput, letters: &Lettering, width: f64) -> f64 {
    let least = input.ladder.as_ref().map(|drawn| {
        let width = ladder_width(input, width);
        ladder(&LadderInput { width, height: Some(0.0), ..drawn.clone() }, letters).height
    });
    least.unwrap_or(0.0).max(LEAST_MIDDLE)
}

/// All of the page's width where nothing stands beside the ladder.
fn ladder_width(input: &SheetInput, width: f64) -> f64 {
    let bare = input.photos.is_empty() && input.words.trim().is_empty();
    if bare { width } else { width * LADDER_SHARE }
}

/// The ladder at the left; pictures and what to work on at the right.
fn middle(
    input: &SheetInput,
    letters: &Lettering,
    width: f64,
    height: f64,
    warnings: &mut Vec<String>,
) -> Block {
    let ladder_width = ladder_width(input, width);
    let (left, column) = match input.ladder {
        Some(_) => (ladder_width + GAP, width - ladder_width - GAP),
        None => (0.0, width),
    };
    let mut block = Block::default();
    if let Some(drawn) = &input.ladder {
        let wanted = LadderInput { width: ladder_width, height: Some(height), ..drawn.clone() };
        let drawing = ladder(&wanted, letters);
        block.height = drawing.height;
        // Its own margin stands in the page's.
        block.shapes.push(drawing.placed("ladder", Point::new(-10.0, -8.0)));
    }
    let side = side(input, letters, column, height, warnings);
    block.height = block.height.max(side.height);
    block.shapes.push(side.placed("side", left, 0.0));
    block
}

fn side(
    input: &SheetInput,
    letters: &Lettering,
    width: f64,
    height: f64,
    warnings: &mut Vec<String>,
) -> Block {
    /// The words have at least this much below the pictures.
    const WORDS: f64 = 110.0;
    let words = input.words.trim();
    let mut block = Block::default();
    if !input.photos.is_empty() {
        let kept = if words.is_empty() { 0.0 } else { WORDS + PART };
        block.add(photos(&input.photos, letters, width, height - kept));
        block.space(PART);
    }
    if words.is_empty() {
        return block;
    }
    let room = height - block.height;
    let sizes = SIZES.into_iter().map(|size| work(words, letters, width, size));
    if let Some(fits) = sizes.into_iter().find(|block| block.height <= room) {
        block.add(fits);
        return block;
    }
    let all = words.chars().count();
    let mut most = all;
    let mut short = work(words, letters, width, SMALLEST);
    while short.height > room && most > 20 {
        most = most * 19 / 20;
        short = work(&cut(words, most), letters, width, SMALLEST);
    }
    warnings.push(format!(
        "the words have no room on the sheet: they end after about {most} of {all} letters"
    ));
    block.add(short);
    block
}

/// Side by side with a caption below each.
fn photos(photos: &[Photo], letters: &Lettering, width: f64, height: f64) -> Block {
    const BETWEEN: f64 = 10.0;
    const CAPTION: f64 = 17.0;
    let shown = &photos[..photos.len().min(MOST_PHOTOS)];
    let count = f64::from(u32::try_from(shown.len()).unwrap_or(1).max(1));
    let most = (width - BETWEEN * (count - 1.0)) / count;
    let tall = (most / PHOTO_SHAPE).min(height - CAPTION);
    let wide = tall * PHOTO_SHAPE;
    let mut block = Block::default();
    let face = Face::new(11.5, Weight::Bold, Tone::Ink);
    let mut left = 0.0;
    for photo in shown {
        let bounds = Bounds::new(left, 0.0, left + wide, tall);
        block.shapes.push(Shape::Picture { bounds, picture: photo.picture.clone() });
        let caption = shortened(letters, face, &photo.caption, wide);
        let at = Point::new(left, tall + 13.0);
        block.shapes.push(Shape::Text(face.text(letters, at, Anchor::Start, &caption)));
        left += wide + BETWEEN;
    }
    block.space(tall + CAPTION);
    block
}

/// The tasks as large as `room` lets them be, without the last ones where they must go.
fn fitting_tasks(
    input: &SheetInput,
    letters: &Lettering,
    width: f64,
    room: f64,
    warnings: &mut Vec<String>,
) -> Block {
    let mut kept = input.tasks.clone();
    loop {
        let sizes = SIZES.into_iter().skip(1).map(|size| tasks(&kept, letters, width, size));
        if let Some(block) = sizes.into_iter().find(|block| block.height <= room) {
            return block;
        }
        let Some(task) = kept.pop() else { return Block::default() };
        let title = &task.title;
        warnings.push(format!("the task \"{title}\" has no room on the sheet and was left out"));
    }
}

/// The first letters up to the end of a word, and an ellipsis.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let start: String = text.chars().take(most).collect();
    let half = start.len() / 2;
    let end = start.rfind(char::is_whitespace).filter(|end| *end > half).unwrap_or(start.len());
    format!("{} …", start[..end].trim_end())
}
