//! Charts of swings. In: names of swings, a width. Out: SVG, drawn by the one piece of code that
//! draws them everywhere.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::super::measured::{Measured, measured};
use super::super::reply::{Refusal, Reply, aside};
use super::super::shown::{Decimal, Units};
use super::super::state::Page;
use crate::chart::{self, DecimalMark, LadderInput, LengthUnit, Lettering, Style};
use crate::results::{Series, series_csv};

/// Narrowest phone to a wide window.
const WIDTHS: (f64, f64) = (320.0, 1600.0);
const USUAL: f64 = 640.0;

#[derive(Debug, Deserialize)]
pub struct Asked {
    /// Another swing, laid over.
    over: Option<String>,
    width: Option<f64>,
}

pub async fn ladder(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Reply<Response> {
    aside(move || {
        let first = Drawn::of(&page, &id)?;
        let over = asked.over.filter(|over| !over.is_empty());
        let second = over.map(|over| Drawn::of(&page, &over)).transpose()?;
        let other = second.as_ref().map(Drawn::input);
        let input = LadderInput::new(first.input(), other, style(&page), width(asked.width));
        let input = input.map_err(|e| Refusal::conflict(e.to_string()))?;
        Ok(svg(&chart::ladder(&input, &Lettering::default())))
    })
    .await
}

/// A swing with all that a chart needs.
struct Drawn {
    name: String,
    swing: Arc<Measured>,
    series: Series,
}

impl Drawn {
    fn of(page: &Page, id: &str) -> Reply<Self> {
        let shown = page.swing_shown(id).ok_or_else(|| Refusal::missing("swing"))?;
        let swing = measured(page, id)?;
        let csv = series_csv(&swing.measurement.evaluated.motion.frames);
        let series = csv.and_then(|csv| Series::from_csv(&csv));
        let series = series.map_err(|e| Refusal::failed(e.to_string()))?;
        let named = [shown.label, shown.club].into_iter().find(|name| !name.is_empty());
        Ok(Self { name: named.unwrap_or_else(|| "this swing".to_owned()), swing, series })
    }

    fn input(&self) -> (&str, &crate::results::SwingResult, &Series) {
        (&self.name, &self.swing.measurement.result, &self.series)
    }
}

fn style(page: &Page) -> Style {
    let settings = page.look(|w| w.settings.clone());
    Style {
        length: match settings.units {
            Units::Cm => LengthUnit::Cm,
            Units::Inches => LengthUnit::Inch,
        },
        decimal: match settings.decimal {
            Decimal::Point => DecimalMark::Point,
            Decimal::Comma => DecimalMark::Comma,
        },
    }
}

fn width(asked: Option<f64>) -> f64 {
    let asked = asked.filter(|width| width.is_finite()).unwrap_or(USUAL);
    asked.clamp(WIDTHS.0, WIDTHS.1)
}

fn svg(drawing: &chart::Drawing) -> Response {
    ([(header::CONTENT_TYPE, "image/svg+xml")], drawing.to_svg()).into_response()
}
