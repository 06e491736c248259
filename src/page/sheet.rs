//! The pupil's sheet from swings of the bench. In: one or two swings, the coach's words, tasks.
//! Out: PDF or PNG, laid out by [`crate::sheet`].

use super::drawn::Drawn;
use super::reply::{Refusal, Reply};
use super::shown::SwingShown;
use super::state::Page;
use super::{picture, tasks};
use crate::chart::Lettering;
use crate::compare::{self, Question, Swing};
use crate::error::chain;
use crate::run::Look;
use crate::run::pictures::{Moment, Wish as StillWish, photo as cut};
use crate::sheet::{
    Content, MOST_WORDS, PICTURE_SCALE, Paper, Photo, Sheet, SheetInput, SwingPart, Wanted,
    sheet as lay_out, wanted,
};

/// What is to be on it.
pub struct Wish {
    pub before: Option<SwingShown>,
    pub after: SwingShown,
    /// The camera stood where it stood for both.
    pub same_setup: bool,
    /// `a4` or `letter`; else as set.
    pub paper: Option<String>,
    pub hide: bool,
    /// Else those kept with the swing.
    pub words: Option<String>,
    pub tasks: Option<Vec<String>>,
}

/// # Errors
/// When a swing has no numbers yet, or a face is to be hidden that was not found.
pub fn pdf(page: &Page, wish: &Wish) -> Reply<Vec<u8>> {
    let letters = Lettering::default();
    let sheet = make(page, wish, &letters)?;
    sheet.drawing.to_pdf(&letters).map_err(|e| Refusal::failed(e.to_string()))
}

/// # Errors
/// As for the PDF.
pub fn png(page: &Page, wish: &Wish) -> Reply<Vec<u8>> {
    let letters = Lettering::default();
    let sheet = make(page, wish, &letters)?;
    let drawn = sheet.drawing.to_picture(&letters, PICTURE_SCALE);
    picture::png(&drawn.map_err(|e| Refusal::failed(e.to_string()))?)
}

fn make(page: &Page, wish: &Wish, letters: &Lettering) -> Reply<Sheet> {
    let after = Drawn::of(page, &wish.after)?;
    let before = wish.before.as_ref().map(|swing| Drawn::of(page, swing)).transpose()?;
    let kept = page.look(|w| w.swing(&wish.after.id).cloned());
    let (words, chosen) = kept.map(|s| (s.words, s.tasks)).unwrap_or_default();
    let words = wish.words.clone().unwrap_or(words);
    if words.chars().count() > MOST_WORDS {
        return Err(Refusal::wrong(format!(
            "the words are too long: {MOST_WORDS} letters at most"
        )));
    }
    let content = content(page, before.as_ref(), &after, wish.same_setup)?;
    let paper = wish.paper.clone().unwrap_or_else(|| page.look(|w| w.settings.paper.clone()));
    let input = SheetInput {
        paper: if paper == "letter" { Paper::Letter } else { Paper::A4 },
        style: page.style(),
        name: wish.after.pupil.clone().unwrap_or_default(),
        date: super::view::day(&page.look_of_page(), day(&wish.after)),
        club: wish.after.club.clone(),
        answers: content.answers,
        photos: photos(before.as_ref(), &after, wish.hide)?,
        ladder: content.ladder,
        differences: content.differences,
        values: content.values,
        remarks: content.remarks,
        words: words.chars().filter(|c| !c.is_control() || *c == '\n').collect(),
        tasks: tasks::chosen(page, wish.tasks.as_deref().unwrap_or(&chosen))?,
        made: content.made,
        invented: false,
    };
    Ok(lay_out(&input, letters))
}

fn day(swing: &SwingShown) -> i64 {
    i64::try_from(swing.arrived_unix_s).unwrap_or(i64::MAX)
}

/// Two swings are `before` and `after`, whatever they are labelled.
fn content(page: &Page, before: Option<&Drawn>, after: &Drawn, same_setup: bool) -> Reply<Content> {
    let style = page.style();
    let Some(before) = before else {
        return Ok(Content::new(part(after, &after.name), None, None, style));
    };
    let swing = |label, drawn| Swing { label, result: Drawn::result(drawn) };
    let sides = [swing("before", before), swing("after", after)];
    let question = Question { same_setup, ..Question::hubs() };
    let compared = compare::compare(&sides[..1], &sides[1..], &question)?;
    let (first, second) = (part(before, "before"), part(after, "after"));
    Ok(Content::new(first, Some(second), Some(&compared), style))
}

fn part<'a>(drawn: &'a Drawn, name: &'a str) -> SwingPart<'a> {
    SwingPart { name, result: drawn.result(), series: &drawn.series }
}

fn photos(before: Option<&Drawn>, after: &Drawn, hide: bool) -> Reply<Vec<Photo>> {
    let first = before.unwrap_or(after);
    let second = before.map(|_| after);
    let look = Look { blur_faces: hide, ..Look::default() };
    let photo = |one: Wanted| {
        let drawn = second.filter(|_| one.of_second).unwrap_or(first);
        let wish = StillWish { view: one.view, moment: Moment::At(one.event), look, longest: None };
        let cut = cut(&drawn.swing.measurement, &wish, &one.caption);
        cut.map_err(|e| Refusal::conflict(chain(&e)))
    };
    let all = wanted(first.result(), second.map(Drawn::result)).into_iter().map(photo);
    Ok(all.collect::<Reply<Vec<_>>>()?.into_iter().flatten().collect())
}
