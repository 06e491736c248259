//! Charts of swings. In: names of swings, a width. Out: SVG, drawn by the one piece of code that
//! draws them everywhere.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::super::drawn::Drawn;
use super::super::reply::{Refusal, Reply, aside};
use super::super::state::Page;
use super::super::view;
use crate::chart::{self, LadderInput, Lettering, MapInput};
use crate::compare::Key;
use crate::desk;

/// Narrowest phone to a wide window.
const WIDTHS: (f64, f64) = (320.0, 1600.0);
const USUAL: f64 = 640.0;

#[derive(Debug, Deserialize)]
pub struct Asked {
    /// Another swing, laid over.
    over: Option<String>,
    width: Option<f64>,
}

fn drawn(page: &Page, id: &str) -> Reply<Drawn> {
    Drawn::of(page, &page.swing_shown(id).ok_or_else(|| Refusal::missing("swing"))?)
}

pub async fn ladder(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Reply<Response> {
    aside(move || {
        let first = drawn(&page, &id)?;
        let over = asked.over.filter(|over| !over.is_empty());
        let second = over.map(|over| drawn(&page, &over)).transpose()?;
        let other = second.as_ref().map(Drawn::all);
        let input = LadderInput::new(first.all(), other, page.style(), width(asked.width));
        let input = input.map_err(|e| Refusal::conflict(e.to_string()))?;
        Ok(svg(&chart::ladder(&input, &Lettering::default())))
    })
    .await
}

pub async fn map(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Reply<Response> {
    aside(move || {
        let swing = drawn(&page, &id)?;
        let (name, result, series) = swing.all();
        let input = MapInput::new(name, result, series, page.style(), width(asked.width));
        let input = input.map_err(|e| Refusal::conflict(e.to_string()))?;
        Ok(svg(&chart::map(&input, &Lettering::default())))
    })
    .await
}

#[derive(Debug, Deserialize)]
pub struct OverTime {
    pupil: String,
    key: String,
    width: Option<f64>,
}

pub async fn history(
    State(page): State<Arc<Page>>,
    Query(asked): Query<OverTime>,
) -> Reply<Response> {
    aside(move || {
        let key: Key = asked.key.parse()?;
        let history = page.library()?.over_time(&asked.pupil, key)?;
        let look = page.look_of_page();
        let shown = |date: &str| view::written_day(&look, date);
        let input = desk::history_input(&history, shown, page.style(), width(asked.width));
        Ok(svg(&chart::history(&input, &Lettering::default())))
    })
    .await
}

fn width(asked: Option<f64>) -> f64 {
    let asked = asked.filter(|width| width.is_finite()).unwrap_or(USUAL);
    asked.clamp(WIDTHS.0, WIDTHS.1)
}

fn svg(drawing: &chart::Drawing) -> Response {
    ([(header::CONTENT_TYPE, "image/svg+xml")], drawing.to_svg()).into_response()
}
