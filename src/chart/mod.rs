//! Charts for the page, the sheet and the command line, drawn by one piece of code. In: plain
//! structs made from results that are already there; no number is worked out twice. Out: a
//! [`Drawing`] of lines, areas and text, which becomes SVG, a picture or PDF.
//!
//! Places are in units of 1/96 inch, y down. Numbers are shown as the reader's [`Style`] says.
//! What it does not do: measure, compare, judge.

mod axis;
mod differences;
mod drawing;
mod fallback;
mod flow;
mod history;
mod hub;
mod ladder;
mod legend;
mod lettering;
mod map;
mod pdf;
mod place;
mod raster;
mod svg;
mod tone;

pub use crate::results::{DecimalMark, LengthUnit, Style};
pub use differences::{Difference, DifferencesInput, Dots, differences, name as value_name};
#[cfg(test)]
pub(crate) use drawing::assert_tidy;
pub use drawing::{Anchor, Bounds, Drawing, Face, Point, Shape, Stroke, Text};
pub use flow::{bound, lines as flowed, shortened};
pub use history::{Day, HistoryInput, Seen, history};
pub use hub::Hub;
pub use ladder::{Ladder, LadderInput, Line, Rung, ladder};
pub use lettering::{Lettering, Weight};
pub use map::{MapInput, Place, Way, map};
pub use tone::{Tone, stylesheet};

/// Why a chart cannot be drawn.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    #[error("a drawing of {0:.0} by {1:.0} cannot be made: choose another width")]
    Size(f64, f64),
    #[error(
        "the map from above needs both views: measure {0} with a face-on and a down-the-line clip"
    )]
    NeedsBothViews(String),
    #[error("the map shows one swing: leave --over out")]
    OneMap,
    #[error("differences need a second swing: name its folder with --over")]
    NeedsTwo,
    #[error("{0} must end in .svg, .png or .pdf: the ending says what is written")]
    Ending(String),
    #[error("cannot make the PDF file: {0}")]
    Pdf(String),
    #[error("cannot make the picture file: {0}")]
    Png(#[from] crate::stills::StillError),
    #[error(
        "{0} has no hub travel that could be drawn: measure a clip that was filmed face-on or down-the-line"
    )]
    NoTravel(String),
    #[error(
        "{0} and {1} were not filmed from one side: lay two swings of the same view over each other"
    )]
    OtherView(String, String),
}
