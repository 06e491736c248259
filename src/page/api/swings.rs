//! Swings: shown, described, joined and parted, corrected, stepped through. Out: JSON, frames.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::bench::{self, SwingChange};
use super::super::frames;
use super::super::measured::{self, measured};
use super::super::reply::{Refusal, Reply, Sent, aside};
use super::super::shown::{SwingPage, SwingState};
use super::super::state::Page;
use crate::calibration::View;

/// No picture that is decoded is larger.
const LARGEST: u32 = 16_384;

/// Everything about one swing.
pub fn swing_page(page: &Page, id: &str) -> Reply<SwingPage> {
    let swing = page.swing_shown(id).ok_or_else(|| Refusal::missing("swing"))?;
    let corrections = page.look(|w| w.swing(id).map(|s| s.corrections.clone()));
    let clips = swing.clips.values().filter_map(|clip| page.clip_shown(clip)).collect();
    let others = page.swings_shown().into_iter().filter(|other| other.id != swing.id).collect();
    let ready = swing.state == SwingState::Ready;
    Ok(SwingPage {
        // An older one would not be that of the clips shown.
        result: ready.then(|| measured::result(page, &swing.id)).flatten(),
        corrections: corrections.unwrap_or_default(),
        clips,
        others,
        pupils: page.pupils(),
        swing,
    })
}

pub async fn one(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<SwingPage>> {
    aside(move || Ok(Json(swing_page(&page, &id)?))).await
}

pub async fn change(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Sent(wish): Sent<SwingChange>,
) -> Reply<Json<SwingPage>> {
    aside(move || {
        let id = bench::change_swing(&page, &id, wish)?;
        Ok(Json(swing_page(&page, &id)?))
    })
    .await
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Together {
    clips: Vec<Wanted>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    clip: String,
    #[serde(default)]
    view: Option<View>,
}

pub async fn put_together(
    State(page): State<Arc<Page>>,
    Sent(wish): Sent<Together>,
) -> Reply<Json<SwingPage>> {
    aside(move || {
        let wanted: Vec<_> = wish.clips.into_iter().map(|one| (one.clip, one.view)).collect();
        let id = bench::put_together(&page, &wanted)?;
        Ok(Json(swing_page(&page, &id)?))
    })
    .await
}

pub async fn remove(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<Value>> {
    aside(move || {
        bench::remove_swing(&page, &id)?;
        Ok(Json(json!({ "removed": id })))
    })
    .await
}

pub async fn correct(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Sent(corrections): Sent<Vec<Value>>,
) -> Reply<Json<SwingPage>> {
    aside(move || {
        let id = bench::correct(&page, &id, corrections)?;
        Ok(Json(swing_page(&page, &id)?))
    })
    .await
}

pub async fn track(
    State(page): State<Arc<Page>>,
    Path((id, view)): Path<(String, String)>,
) -> Reply<Json<frames::TrackShown>> {
    aside(move || Ok(Json(frames::track(&*measured(&page, &id)?, named(&view)?)?))).await
}

#[derive(Debug, Deserialize)]
pub struct Size {
    max: Option<u32>,
}

pub async fn frame(
    State(page): State<Arc<Page>>,
    Path((id, view, file)): Path<(String, String, String)>,
    Query(size): Query<Size>,
) -> Reply<Response> {
    let missing = || Refusal::missing("frame");
    let index = file.strip_suffix(".jpg").and_then(|index| index.parse().ok());
    let index = index.ok_or_else(missing)?;
    let most = size.max.unwrap_or(LARGEST).clamp(16, LARGEST);
    aside(move || {
        let jpeg = frames::frame(&page, &*measured(&page, &id)?, named(&view)?, index, most)?;
        Ok(([(header::CONTENT_TYPE, "image/jpeg")], jpeg).into_response())
    })
    .await
}

/// `face-on` or `down-the-line`.
pub fn named(view: &str) -> Reply<View> {
    let known = [View::FaceOn, View::DownTheLine].into_iter().find(|v| v.name() == view);
    known.ok_or_else(|| Refusal::missing("view"))
}
