//! The pages for people. In: addresses. Out: HTML from [`super::view`], and the files that go with
//! it; only what is embedded is served.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;

use super::api::compare::{Sides, compare_page};
use super::api::pupils::{Until, pupil_page};
use super::api::swings::{named, swing_page};
use super::reply::{Refusal, Reply, aside};
use super::shown::{HandOutPage, SettingsPage};
use super::state::Page;
use super::{tasks, view};
use crate::calibration::View;
use crate::chart;

/// Runs the making of a page aside; a refusal is a page too.
async fn page(
    state: Arc<Page>,
    make: impl FnOnce(&Page) -> Reply<String> + Send + 'static,
) -> Response {
    let shared = Arc::clone(&state);
    match aside(move || make(&shared)).await {
        Ok(html) => Html(html).into_response(),
        Err(refusal) => failure(&state, &refusal),
    }
}

fn failure(page: &Page, refusal: &Refusal) -> Response {
    let html = view::failure(refusal.status.as_u16(), &refusal.message, &page.look_of_page());
    (refusal.status, Html(html)).into_response()
}

pub async fn nothing(State(state): State<Arc<Page>>) -> Response {
    failure(&state, &Refusal::missing("page"))
}

pub async fn bench(State(state): State<Arc<Page>>) -> Response {
    page(state, |page| {
        page.refresh_pupils()?;
        Ok(view::bench(&page.bench_shown(), &page.look_of_page()))
    })
    .await
}

pub async fn swing(State(state): State<Arc<Page>>, Path(id): Path<String>) -> Response {
    page(state, move |page| Ok(view::swing(&swing_page(page, &id)?, &page.look_of_page()))).await
}

#[derive(Debug, Deserialize)]
pub struct Asked {
    view: Option<String>,
}

pub async fn check(
    State(state): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    page(state, move |page| {
        let shown = swing_page(page, &id)?;
        let view = match asked.view {
            Some(name) => named(&name)?,
            None => shown.swing.clips.keys().next().copied().unwrap_or(View::FaceOn),
        };
        Ok(view::check(&shown, view, &page.look_of_page()))
    })
    .await
}

pub async fn compare(State(state): State<Arc<Page>>, Query(sides): Query<Sides>) -> Response {
    page(state, move |page| Ok(view::compare(&compare_page(page, &sides), &page.look_of_page())))
        .await
}

#[derive(Debug, Deserialize)]
pub struct HandOut {
    after: String,
    before: Option<String>,
    #[serde(default)]
    same_setup: bool,
}

pub async fn hand_out(State(state): State<Arc<Page>>, Query(asked): Query<HandOut>) -> Response {
    page(state, move |page| {
        let swing = swing_page(page, &asked.after)?;
        let kept = page.look(|w| w.swing(&asked.after).cloned());
        let (words, chosen) = kept.map(|s| (s.words, s.tasks)).unwrap_or_default();
        let shown = HandOutPage {
            before: asked.before.as_deref().and_then(|id| page.swing_shown(id)),
            tasks: tasks::shown(page, &chosen, swing.result.as_ref())?,
            same_setup: asked.same_setup,
            words,
            paper: page.look(|w| w.settings.paper.clone()),
            swing,
        };
        Ok(view::hand_out(&shown, &page.look_of_page()))
    })
    .await
}

pub async fn pupil(
    State(state): State<Arc<Page>>,
    Path(name): Path<String>,
    Query(asked): Query<Until>,
) -> Response {
    page(state, move |page| {
        Ok(view::pupil(&pupil_page(page, &name, &asked)?, &page.look_of_page()))
    })
    .await
}

pub async fn settings(State(state): State<Arc<Page>>) -> Response {
    page(state, |page| {
        let shown = SettingsPage {
            settings: page.look(|w| w.settings.clone()),
            tasks: tasks::text(page)?,
            message: None,
        };
        Ok(view::settings(&shown, &page.look_of_page()))
    })
    .await
}

pub async fn asset(Path(name): Path<String>) -> Response {
    if name == "chart.css" {
        let mime = [(header::CONTENT_TYPE, "text/css; charset=utf-8")];
        return (mime, chart::stylesheet()).into_response();
    }
    match view::asset(&name) {
        Some((mime, bytes)) => ([(header::CONTENT_TYPE, mime)], bytes).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
