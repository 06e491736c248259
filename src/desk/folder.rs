//! A folder that `measure --out` wrote. In: its path. Out: result, series, and what to call it.

use std::path::{Path, PathBuf};

use crate::compare::Swing;
use crate::error::Error;
use crate::record;
use crate::results::{Series, SwingResult};

pub struct Folder {
    pub path: PathBuf,
    /// The folder's own name.
    pub name: String,
    pub result: SwingResult,
    pub series: Series,
}

impl Folder {
    /// # Errors
    /// When `swing.json` or `series.csv` is missing or is none.
    pub fn read(path: &Path) -> Result<Self, Error> {
        let result = record::read_result(&path.join("swing.json"))?;
        let table = path.join("series.csv");
        let bytes = std::fs::read(&table).map_err(|source| Error::read(&table, source))?;
        // `.` and `..` have no name of their own.
        let whole = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let name = whole.file_name().map(|name| name.to_string_lossy().into_owned());
        Ok(Self {
            path: path.to_owned(),
            name: name.unwrap_or_else(|| "swing".to_owned()),
            result,
            series: Series::from_csv(&bytes)?,
        })
    }

    pub fn swing(&self) -> Swing<'_> {
        Swing { label: &self.name, result: &self.result }
    }

    pub fn named(&self) -> (&str, &SwingResult, &Series) {
        (&self.name, &self.result, &self.series)
    }
}
