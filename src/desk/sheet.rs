//! `hubgauge sheet`. In: result folders, the coach's words and tasks. Out: the sheet as PDF or PNG,
//! what was shortened as lines on standard error.

use std::path::Path;

use super::chart::{Kind, bytes};
use super::folder::Folder;
use super::tasks;
use crate::chart::{Lettering, Style};
use crate::cli::hand_out::{PaperArg, SheetArgs};
use crate::compare::{self, Question};
use crate::error::Error;
use crate::results::{event_name, write_atomically};
use crate::run::pictures::{Moment, Wish};
use crate::sheet::{
    Content, MOST_WORDS, PHOTO_SHAPE, PICTURE_SCALE, PLACES, Paper, Photo, Places, SheetError,
    SheetInput, SwingPart, Wanted, sheet as lay_out, wanted,
};

/// Letters of the name, the day or the club.
const MOST_NAME: usize = 200;

/// # Errors
/// When a folder holds no result, a text is no text, faces cannot be hidden, or the file cannot
/// be written.
pub fn sheet(args: &SheetArgs) -> Result<(String, Vec<String>), Error> {
    let kind = match Kind::of(&args.out) {
        Ok(Kind::Svg) | Err(_) => {
            return Err(SheetError::Ending(args.out.display().to_string()).into());
        }
        Ok(kind) => kind,
    };
    let before = Folder::read(&args.before)?;
    let after = args.after.as_deref().map(Folder::read).transpose()?;
    let (name, minor) = pupil(args)?;
    let mut warnings = Vec::new();
    let hide = args.blur_faces || minor;
    let photos = photos(&before, after.as_ref(), hide, &mut warnings)?;
    let style: Style = args.style.into();
    let content = content(args, &before, after.as_ref(), style)?;
    warnings.extend(content.warnings);
    let input = SheetInput {
        paper: match args.paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        },
        style,
        name,
        date: short("--date", &args.date)?,
        club: short("--club", &args.club)?,
        answers: content.answers,
        photos,
        ladder: content.ladder,
        differences: content.differences,
        values: content.values,
        remarks: content.remarks,
        words: words(&args.words)?,
        tasks: tasks::chosen(&args.task, &args.at)?,
        made: content.made,
        invented: args.invented,
    };
    let letters = Lettering::default();
    let page = lay_out(&input, &letters);
    write_atomically(&args.out, &bytes(&page.drawing, &letters, kind, PICTURE_SCALE)?)?;
    warnings.extend(page.warnings);
    Ok((format!("{}\n", args.out.display()), warnings))
}

/// Two swings are `before` and `after`; one alone is called as its folder.
fn content(
    args: &SheetArgs,
    before: &Folder,
    after: Option<&Folder>,
    style: Style,
) -> Result<Content, Error> {
    let Some(after) = after else {
        return Ok(Content::new(part(before, &before.name), None, None, style));
    };
    let mut question = Question::hubs();
    question.same_setup = args.same_setup;
    let compared = compare::compare(&[before.swing()], &[after.swing()], &question)?;
    let (first, second) = (part(before, "before"), part(after, "after"));
    Ok(Content::new(first, Some(second), Some(&compared), style))
}

fn part<'a>(folder: &'a Folder, name: &'a str) -> SwingPart<'a> {
    SwingPart { name, result: &folder.result, series: &folder.series }
}

fn pupil(args: &SheetArgs) -> Result<(String, bool), Error> {
    let given = short("--name", &args.name)?;
    let Some(pupil) = &args.pupil else { return Ok((given, false)) };
    let known = super::open(&args.at)?.pupil(pupil)?;
    Ok((if given.is_empty() { known.name } else { given }, known.minor))
}

fn short(what: &'static str, text: &str) -> Result<String, SheetError> {
    if text.chars().count() > MOST_NAME {
        return Err(SheetError::TooLong { what, most: MOST_NAME });
    }
    Ok(text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect())
}

/// The words themselves, or those in a file of that name.
fn words(given: &str) -> Result<String, SheetError> {
    let path = Path::new(given);
    let is_name = !given.is_empty() && given.lines().count() == 1 && given.len() < MOST_WORDS;
    let text = if is_name && path.is_file() {
        let failed = |error: std::io::Error| SheetError::File {
            file: given.to_owned(),
            why: error.to_string(),
        };
        std::fs::read_to_string(path).map_err(failed)?
    } else {
        given.to_owned()
    };
    if text.chars().count() > MOST_WORDS {
        return Err(SheetError::TooLong { what: "the text of --words", most: MOST_WORDS });
    }
    Ok(text.trim().chars().map(|c| if c.is_control() && c != '\n' { ' ' } else { c }).collect())
}

fn photos(
    before: &Folder,
    after: Option<&Folder>,
    hide: bool,
    warnings: &mut Vec<String>,
) -> Result<Vec<Photo>, Error> {
    let mut photos = Vec::new();
    for one in wanted(&before.result, after.map(|after| &after.result)) {
        let folder = after.filter(|_| one.of_second).unwrap_or(before);
        match photo(folder, &one, hide)? {
            Some(photo) => photos.push(photo),
            None => warnings.push(format!(
                "there is no still of the {} in {}: the sheet goes without it",
                event_name(one.event),
                folder.path.join("stills").display()
            )),
        }
    }
    Ok(photos)
}

fn photo(folder: &Folder, one: &Wanted, hide: bool) -> Result<Option<Photo>, Error> {
    let stills = folder.path.join("stills");
    let clip = folder.result.clips.iter().find(|clip| clip.view == one.view);
    let Some(clip) = clip else { return Ok(None) };
    let aspect = f64::from(clip.height) / f64::from(clip.width.max(1));
    let file = format!("{}.png", Wish::name(one.view, Moment::At(one.event)));
    let path = stills.join(&file);
    if !path.is_file() {
        return Ok(None);
    }
    let wrong =
        |file: &Path, why: String| SheetError::File { file: file.display().to_string(), why };
    let still = image::open(&path).map_err(|error| wrong(&path, error.to_string()))?.to_rgb8();
    let known = stills.join(PLACES);
    let places: Places = match std::fs::read_to_string(&known) {
        Ok(text) => {
            serde_json::from_str(&text).map_err(|error| wrong(&known, error.to_string()))?
        }
        Err(_) => Places::new(),
    };
    let photo = Photo::cut(&still, aspect, places.get(&file), hide, PHOTO_SHAPE, &one.caption);
    match photo {
        None => Err(SheetError::NoFaces(path.display().to_string()).into()),
        some => Ok(some),
    }
}
