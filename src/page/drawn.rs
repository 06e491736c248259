//! A swing of the bench with all that charts and the sheet need. In: a swing. Out: its name,
//! result and series.

use std::sync::Arc;

use super::measured::{Measured, measured};
use super::reply::{Refusal, Reply};
use super::shown::SwingShown;
use super::state::Page;
use crate::results::{Series, SwingResult, series_csv};

pub struct Drawn {
    /// As the coach calls it.
    pub name: String,
    pub swing: Arc<Measured>,
    pub series: Series,
}

impl Drawn {
    /// # Errors
    /// When the swing has no numbers yet.
    pub fn of(page: &Page, shown: &SwingShown) -> Reply<Self> {
        let swing = measured(page, &shown.id)?;
        let csv = series_csv(&swing.measurement.evaluated.motion.frames);
        let series = csv.and_then(|csv| Series::from_csv(&csv));
        let series = series.map_err(|e| Refusal::failed(e.to_string()))?;
        let named = [&shown.label, &shown.club].into_iter().find(|name| !name.is_empty());
        let name = named.map_or_else(|| "this swing".to_owned(), Clone::clone);
        Ok(Self { name, swing, series })
    }

    pub fn result(&self) -> &SwingResult {
        &self.swing.measurement.result
    }

    pub fn all(&self) -> (&str, &SwingResult, &Series) {
        (&self.name, self.result(), &self.series)
    }
}
