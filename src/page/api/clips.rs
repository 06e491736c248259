//! Clips: dropped, stopped, tried again, removed. Out: JSON.

use std::sync::Arc;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::reply::{Refusal, Reply, Sent, aside};
use super::super::shown::{BenchShown, ClipShown};
use super::super::state::Page;
use super::super::{bench, queue, upload};

#[derive(Debug, Deserialize)]
pub struct Named {
    #[serde(default)]
    name: String,
}

pub async fn add(
    State(page): State<Arc<Page>>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Reply<Json<Value>> {
    let id = upload::receive(&page, &named.name, &headers, body).await?;
    Ok(Json(json!({ "clip": shown(&page, &id)? })))
}

fn shown(page: &Page, id: &str) -> Reply<ClipShown> {
    page.clip_shown(id).ok_or_else(|| Refusal::missing("clip"))
}

pub async fn bench(State(page): State<Arc<Page>>) -> Reply<Json<BenchShown>> {
    aside(move || {
        page.refresh_pupils()?;
        Ok(Json(page.bench_shown()))
    })
    .await
}

pub async fn one(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<Value>> {
    Ok(Json(json!({ "clip": shown(&page, &id)? })))
}

pub async fn remove(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<Value>> {
    aside(move || {
        bench::remove_clip(&page, &id)?;
        Ok(Json(json!({ "removed": id })))
    })
    .await
}

pub async fn cancel(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<Value>> {
    aside(move || {
        queue::cancel(&page, &id)?;
        Ok(Json(json!({ "clip": shown(&page, &id)? })))
    })
    .await
}

pub async fn retry(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Reply<Json<Value>> {
    aside(move || {
        queue::retry(&page, &id)?;
        Ok(Json(json!({ "clip": shown(&page, &id)? })))
    })
    .await
}

/// What the coach says of a clip.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClipChange {
    /// Frames a second; empty: as the file says.
    capture_fps: String,
}

pub async fn change(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Sent(wish): Sent<ClipChange>,
) -> Reply<Json<Value>> {
    aside(move || {
        queue::set_rate(&page, &id, &wish.capture_fps)?;
        Ok(Json(json!({ "clip": shown(&page, &id)? })))
    })
    .await
}

pub async fn first_picture(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
) -> Reply<Response> {
    aside(move || {
        let missing = || Refusal::missing("picture");
        let path = page.look(|w| w.clips.get(&id).map(|c| w.first_picture(&c.id)));
        let bytes = std::fs::read(path.ok_or_else(missing)?).map_err(|_| missing())?;
        Ok(([(header::CONTENT_TYPE, "image/jpeg")], bytes).into_response())
    })
    .await
}
