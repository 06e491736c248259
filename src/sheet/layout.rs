//! The page put together, from top to bottom: who, the sentences, the ladder beside pictures and
//! changes, what to work on beside the tasks, cautions and how it was made.
//!
//! Rule for text that is too long: the ladder gives way down to its least height, then the
//! coach's words and the tasks get smaller in steps, then tasks are left out from the last on and
//! the words end in an ellipsis. Whatever is left out is told as a warning.

use super::block::Block;
use super::words::{SIZES, answers, foot, tasks, work};
use super::{Photo, Sheet, SheetInput};
use crate::chart::{
    Anchor, Bounds, DifferencesInput, Drawing, Face, LadderInput, Lettering, Point, Shape, Stroke,
    Tone, Weight, differences, ladder, shortened,
};

const MARGIN: f64 = 40.0;
/// Between the two columns, and between parts.
const GAP: f64 = 22.0;
const PART: f64 = 12.0;
/// The ladder beside the pictures is between these heights.
const LEAST_MIDDLE: f64 = 400.0;
const MOST_MIDDLE: f64 = 560.0;
const MOST_PHOTOS: usize = 3;
/// Width of a picture, of its height.
pub const PHOTO_SHAPE: f64 = 0.64;
/// The sentences at most, so that the rest has room.
const MOST_ANSWERS: f64 = 250.0;

/// The page, and what did not fit.
#[must_use]
pub fn sheet(input: &SheetInput, letters: &Lettering) -> Sheet {
    let (width, height) = input.paper.size();
    let inner = width - 2.0 * MARGIN;
    let mut page = Page { shapes: Vec::new(), y: MARGIN - 8.0, warnings: Vec::new() };
    page.put("who", who(input, letters, inner));
    page.y += PART;
    let sentences = fitting_answers(input, letters, inner, &mut page.warnings);
    page.put("answer", sentences);
    page.y += PART;
    let foot = foot(input, letters, inner);
    let foot_top = height - MARGIN + 12.0 - foot.height;
    let room = foot_top - PART - page.y;
    let lower = lower(input, letters, inner, room - LEAST_MIDDLE - PART, &mut page.warnings);
    let middle_height = (room - lower.height - PART).clamp(LEAST_MIDDLE, MOST_MIDDLE);
    let middle = middle(input, letters, inner, middle_height);
    page.put("middle", middle);
    page.y += PART;
    page.put("lower", lower);
    let line = Point::new(MARGIN, foot_top - PART / 2.0);
    let stroke = Stroke::new(Tone::Rule, 1.0);
    page.shapes.push(Shape::segment(line, Point::new(width - MARGIN, line.y), stroke));
    page.shapes.push(foot.placed("foot", MARGIN, foot_top));
    let drawing = Drawing {
        width,
        height,
        title: title(input),
        description: input
            .answers
            .iter()
            .map(|(_, said)| said.as_str())
            .collect::<Vec<_>>()
            .join(" "),
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
    let tag = Face::new(11.0, Weight::Bold, Tone::Aim);
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
    block.space(SIZE + 9.0);
    let ends = (Point::new(0.0, block.height), Point::new(width, block.height));
    block.shapes.push(Shape::segment(ends.0, ends.1, Stroke::new(Tone::Ink, 1.4)));
    if input.invented {
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
    for size in SIZES {
        let block = answers(input, letters, width, size);
        if block.height <= MOST_ANSWERS {
            return block;
        }
    }
    warnings.push("the sentences are too long for the sheet and were shortened".to_owned());
    let mut short = input.clone();
    for (_, sentence) in &mut short.answers {
        *sentence = cut(sentence, 400);
    }
    answers(&short, letters, width, SIZES[SIZES.len() - 1])
}

/// The ladder at the left; pictures and changes at the right.
fn middle(input: &SheetInput, letters: &Lettering, width: f64, height: f64) -> Block {
    let column = (width - GAP) / 2.0;
    let right = right_side(input, letters, column, height);
    let mut block = Block { shapes: Vec::new(), height: right.height };
    let mut left = column + GAP;
    if let Some(drawn) = &input.ladder {
        let room = if right.shapes.is_empty() { width } else { column };
        let wanted = LadderInput { width: room, height: Some(height), ..drawn.clone() };
        let drawing = ladder(&wanted, letters);
        block.height = block.height.max(drawing.height);
        block.shapes.push(drawing.placed("ladder", Point::default()));
    } else {
        left = 0.0;
    }
    block.shapes.push(right.placed("side", left, 0.0));
    block
}

fn right_side(input: &SheetInput, letters: &Lettering, width: f64, height: f64) -> Block {
    let mut block = Block::default();
    let rest = match (input.differences.is_empty(), input.values.is_empty()) {
        (false, _) => Some(changes(input, letters, width)),
        (true, false) => Some(values(input, letters, width)),
        (true, true) => None,
    };
    let for_photos = height - rest.as_ref().map_or(0.0, |block| block.height + PART);
    if !input.photos.is_empty() {
        block.add(photos(&input.photos, letters, width, for_photos));
        block.space(PART);
    }
    if let Some(rest) = rest {
        block.add(rest);
    }
    block
}

/// Side by side with a caption below each.
fn photos(photos: &[Photo], letters: &Lettering, width: f64, height: f64) -> Block {
    const BETWEEN: f64 = 8.0;
    const CAPTION: f64 = 18.0;
    let shown = &photos[..photos.len().min(MOST_PHOTOS)];
    let count = f64::from(u32::try_from(shown.len()).unwrap_or(1).max(1));
    let most = (width - BETWEEN * (count - 1.0)) / count;
    let tall = (most / PHOTO_SHAPE).min((height - CAPTION).max(90.0));
    let wide = tall * PHOTO_SHAPE;
    let mut block = Block::default();
    let face = Face::new(11.5, Weight::Bold, Tone::Ink);
    let mut left = 0.0;
    for photo in shown {
        let bounds = Bounds::new(left, 0.0, left + wide, tall);
        block.shapes.push(Shape::Picture { bounds, picture: photo.picture.clone() });
        let caption = shortened(letters, face, &photo.caption, wide);
        let at = Point::new(left, tall + 14.0);
        block.shapes.push(Shape::Text(face.text(letters, at, Anchor::Start, &caption)));
        left += wide + BETWEEN;
    }
    block.space(tall + CAPTION);
    block
}

fn changes(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    let sides = match input.answers.as_slice() {
        [(before, _), (after, _), ..] => [before.clone(), after.clone()],
        _ => ["before".to_owned(), "after".to_owned()],
    };
    let drawn =
        DifferencesInput { rows: input.differences.clone(), sides, style: input.style, width };
    let drawing = differences(&drawn, letters);
    let mut block = Block { shapes: Vec::new(), height: drawing.height };
    block.shapes.push(drawing.placed("changes", Point::new(0.0, 0.0)));
    let quiet = Face::new(10.0, Weight::Medium, Tone::Quiet);
    for remark in &input.remarks {
        block.indented(letters, quiet, remark, 10.0, width);
    }
    block
}

/// Values at the top and at impact.
fn values(input: &SheetInput, letters: &Lettering, width: f64) -> Block {
    const LINE: f64 = 17.0;
    let face = Face::new(11.5, Weight::Medium, Tone::Ink);
    let bold = Face { weight: Weight::Bold, ..face };
    let quiet = Face::new(10.0, Weight::Medium, Tone::Quiet);
    let head = ["".to_owned(), "at the top".to_owned(), "at impact".to_owned()];
    let rows: Vec<(&[String; 3], Face)> =
        std::iter::once((&head, bold)).chain(input.values.iter().map(|row| (row, face))).collect();
    let widest = |column: usize| {
        let widths = rows.iter().map(|(row, face)| face.width(letters, &row[column]));
        widths.fold(0.0, f64::max)
    };
    let ends = [width - widest(2) - 14.0, width];
    let room = ends[0] - widest(1) - 10.0;
    let mut block = Block::default();
    for (row, face) in rows {
        block.space(LINE);
        let y = block.height - 4.0;
        let name = shortened(letters, face, &row[0], room);
        if !name.is_empty() {
            block.shapes.push(Shape::Text(face.text(
                letters,
                Point::new(0.0, y),
                Anchor::Start,
                &name,
            )));
        }
        for (text, x) in row[1..].iter().zip(ends) {
            block.shapes.push(Shape::Text(face.text(letters, Point::new(x, y), Anchor::End, text)));
        }
    }
    block.space(4.0);
    for remark in &input.remarks {
        block.text(letters, quiet, remark, width);
    }
    block
}

/// The coach's words beside the tasks, as large as `room` lets them be.
fn lower(
    input: &SheetInput,
    letters: &Lettering,
    width: f64,
    room: f64,
    warnings: &mut Vec<String>,
) -> Block {
    if input.words.trim().is_empty() && input.tasks.is_empty() {
        return Block::default();
    }
    for size in SIZES {
        let block = beside(input, letters, width, size);
        if block.height <= room {
            return block;
        }
    }
    let smallest = SIZES[SIZES.len() - 1];
    let mut short = input.clone();
    while short.tasks.len() > 1
        && beside(&SheetInput { words: String::new(), ..short.clone() }, letters, width, smallest)
            .height
            > room
    {
        if let Some(task) = short.tasks.pop() {
            warnings.push(format!(
                "the task \"{}\" has no room on the sheet and was left out",
                task.title
            ));
        }
    }
    let mut most = short.words.chars().count();
    while most > 40 && beside(&short, letters, width, smallest).height > room {
        most = most * 9 / 10;
        short.words = cut(&input.words, most);
    }
    if short.words != input.words {
        warnings.push(format!(
            "the words have no room on the sheet and end after {most} of {} letters",
            input.words.chars().count()
        ));
    }
    beside(&short, letters, width, smallest)
}

fn beside(input: &SheetInput, letters: &Lettering, width: f64, size: f64) -> Block {
    let words = !input.words.trim().is_empty();
    let both = words && !input.tasks.is_empty();
    let column = if both { (width - GAP) / 2.0 } else { width };
    let mut block = Block::default();
    if words {
        let work = work(input, letters, column, size);
        block.height = work.height;
        block.shapes.push(work.placed("work", 0.0, 0.0));
    }
    if !input.tasks.is_empty() {
        let left = if both { column + GAP } else { 0.0 };
        let tasks = tasks(&input.tasks, letters, column, size);
        block.height = block.height.max(tasks.height);
        block.shapes.push(tasks.placed("tasks", left, 0.0));
    }
    block
}

/// The first letters up to the end of a word, and an ellipsis.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let start: String = text.chars().take(most).collect();
    let end = start.rfind(char::is_whitespace).filter(|end| *end > most / 2).unwrap_or(start.len());
    format!("{} …", start[..end].trim_end())
}
