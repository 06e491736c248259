//! Command-line types of what is handed out: charts and the pupil's sheet.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::results::{DecimalMark, LengthUnit, Style};

#[derive(Debug, Args)]
pub struct ChartArgs {
    /// Folder that `measure --out` wrote
    #[arg(value_name = "RESULT_DIR")]
    pub result: PathBuf,

    /// Folder of a second swing, laid over the first
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
