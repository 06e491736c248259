//! `hubgauge chart`. In: one or two result folders. Out: a chart as SVG, PNG or PDF.

use std::path::Path;

use super::folder::Folder;
use crate::chart::{
    ChartError, DifferencesInput, Drawing, LadderInput, Lettering, MapInput, differences, ladder,
    map,
};
use crate::cli::hand_out::{ChartArgs, ChartKind};
use crate::compare::{self, Question};
use crate::error::Error;
use crate::results::write_atomically;
use crate::stills;

/// Pixels of a picture for each unit of a drawing.
const PICTURE_SCALE: f64 = 2.0;

/// # Errors
/// When a folder holds no result, nothing can be drawn, or the file cannot be written.
pub fn chart(args: &ChartArgs) -> Result<String, Error> {
    // Before anything is read: a wrong ending is a wrong argument.
    Kind::of(&args.out)?;
    let first = Folder::read(&args.result)?;
    let over = args.over.as_deref().map(Folder::read).transpose()?;
    let letters = Lettering::default();
    let drawing = draw(args, &first, over.as_ref(), &letters)?;
    save(&drawing, &letters, &args.out)
}

/// Writes a drawing as the file's ending says.
pub fn save(drawing: &Drawing, letters: &Lettering, out: &Path) -> Result<String, Error> {
    let kind = Kind::of(out)?;
    write_atomically(out, &bytes(drawing, letters, kind, PICTURE_SCALE)?)?;
    Ok(format!("{}\n", out.display()))
}

fn draw(
    args: &ChartArgs,
    first: &Folder,
    over: Option<&Folder>,
    letters: &Lettering,
) -> Result<Drawing, Error> {
    let (style, width) = (args.style.into(), f64::from(args.width));
    match (args.kind, over) {
        (ChartKind::Ladder, over) => {
            let over = over.map(Folder::named);
            Ok(ladder(&LadderInput::new(first.named(), over, style, width)?, letters))
        }
        (ChartKind::Map, None) => {
            let (name, result, series) = first.named();
            Ok(map(&MapInput::new(name, result, series, style, width)?, letters))
        }
        (ChartKind::Map, Some(_)) => Err(ChartError::OneMap.into()),
        (ChartKind::Differences, None) => Err(ChartError::NeedsTwo.into()),
        (ChartKind::Differences, Some(over)) => {
            let compared = compare::compare(&[first.swing()], &[over.swing()], &Question::hubs())?;
            let sides = [first.name.as_str(), over.name.as_str()];
            Ok(differences(&DifferencesInput::new(&compared, sides, style, width), letters))
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Svg,
    Png,
    Pdf,
}

impl Kind {
    pub fn of(out: &Path) -> Result<Self, ChartError> {
        let ending = out.extension().and_then(|e| e.to_str()).unwrap_or_default();
        match ending.to_ascii_lowercase().as_str() {
            "svg" => Ok(Self::Svg),
            "png" => Ok(Self::Png),
            "pdf" => Ok(Self::Pdf),
            _ => Err(ChartError::Ending(out.display().to_string())),
        }
    }
}

pub fn bytes(
    drawing: &Drawing,
    letters: &Lettering,
    kind: Kind,
    scale: f64,
) -> Result<Vec<u8>, ChartError> {
    match kind {
        Kind::Svg => Ok(drawing.to_svg().into_bytes()),
        Kind::Png => Ok(stills::encode_png(&drawing.to_picture(letters, scale)?)?),
        Kind::Pdf => drawing.to_pdf(letters),
    }
}
