//! Command-line types of what is handed out: charts and the pupil's sheet.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::results::{DecimalMark, LengthUnit, Style};

#[derive(Debug, Args)]
pub struct ChartArgs {
    /// Folder that `measure --out` wrote
    #[arg(value_name = "RESULT_DIR")]
    pub result: PathBuf,

    /// What to draw
    #[arg(long, value_enum, default_value_t = ChartKind::Ladder)]
    pub kind: ChartKind,

    /// Folder of a second swing: laid over the first, or compared with it
    #[arg(long, value_name = "DIR")]
    pub over: Option<PathBuf>,

    /// File to write; its ending (svg, png or pdf) says what it will be
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,

    /// Width in units of 1/96 inch; a picture has twice as many pixels
    #[arg(long, value_name = "N", default_value_t = 720, value_parser = clap::value_parser!(u32).range(300..=2000))]
    pub width: u32,

    #[command(flatten)]
    pub style: StyleArgs,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ChartKind {
    /// Both hubs through time
    Ladder,
    /// Both hubs from above; needs both views
    Map,
    /// What changed from the first swing to the second (--over), with its error
    Differences,
}

#[derive(Clone, Copy, Debug, Args)]
pub struct StyleArgs {
    /// Unit of lengths
    #[arg(long, value_enum, default_value_t = UnitArg::Cm)]
    pub units: UnitArg,

    /// Decimal point or comma
    #[arg(long, value_enum, default_value_t = DecimalArg::Point)]
    pub decimal: DecimalArg,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum UnitArg {
    Cm,
    In,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum DecimalArg {
    Point,
    Comma,
}

impl From<StyleArgs> for Style {
    fn from(args: StyleArgs) -> Self {
        let length = match args.units {
            UnitArg::Cm => LengthUnit::Cm,
            UnitArg::In => LengthUnit::Inch,
        };
        let decimal = match args.decimal {
            DecimalArg::Point => DecimalMark::Point,
            DecimalArg::Comma => DecimalMark::Comma,
        };
        Self { length, decimal }
    }
}

#[derive(Debug, Args)]
#[command(after_long_help = AFTER_SHEET)]
pub struct SheetArgs {
    /// Folder that `measure --out` wrote: the swing before, or the only one
    #[arg(long, value_name = "DIR")]
    pub before: PathBuf,

    /// Folder of the swing after
    #[arg(long, value_name = "DIR")]
    pub after: Option<PathBuf>,

    /// The pupil's name as it shall stand on the sheet
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub name: String,

    /// The day of the lesson, written as you like
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub date: String,

    /// The club, as it shall stand on the sheet
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub club: String,

    /// What to work on, in your words: the text, or the name of a text file
    #[arg(long, value_name = "TEXT|FILE", default_value = "", hide_default_value = true)]
    pub words: String,

    /// A practice task by its short name, as often as you like (see `hubgauge tasks`)
    #[arg(long, value_name = "ID")]
    pub task: Vec<String>,

    /// Size of the page
    #[arg(long, value_enum, default_value_t = PaperArg::A4)]
    pub paper: PaperArg,

    /// Make faces unrecognisable
    #[arg(long)]
    pub blur_faces: bool,

    /// A pupil on record: that name stands on the sheet unless --name says otherwise, and a
    /// minor's face is made unrecognisable
    #[arg(long, value_name = "NAME", help_heading = "Library")]
    pub pupil: Option<String>,

    #[command(flatten)]
    pub at: super::desk::LibraryArg,

    /// Same camera, same place, same zoom before and after: the change is known better
    #[arg(long)]
    pub same_setup: bool,

    /// Mark the sheet as invented demo data
    #[arg(long)]
    pub invented: bool,

    #[command(flatten)]
    pub style: StyleArgs,

    /// File to write, ending in pdf or png
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

const AFTER_SHEET: &str = "\
Example:
  hubgauge sheet --before lesson/1 --after lesson/2 --name Kim --club \"7 iron\" \\
    --words \"Turn, do not slide.\" --task trail-hip-wall --out kim.pdf

Text that is too long is set smaller, then shortened; what was left out is said on standard error.";

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum PaperArg {
    A4,
    Letter,
}

#[derive(Debug, Args)]
pub struct TasksArgs {
    /// Copy the tasks into your own file, to be edited; an existing file stays as it is
    #[arg(long)]
    pub edit: bool,

    /// Show only those that fit a measured swing: the folder of `measure --out`, or a swing.json
    #[arg(long = "for", value_name = "RESULT", conflicts_with = "edit")]
    pub result: Option<PathBuf>,

    #[command(flatten)]
    pub at: super::desk::LibraryArg,
}
