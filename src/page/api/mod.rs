//! Addresses of the page, after the token. In: requests that [`super::guard`] let through. Out:
//! the router to what answers them.

mod charts;
mod clips;
pub mod compare;
mod events;
mod hand_out;
pub mod pupils;
mod settings;
pub mod swings;

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post, put};

use super::pages;
use super::state::Page;

/// Far more than any list of corrections or page of words.
const MOST_JSON: usize = 256 * 1024;

/// Everything that can be asked for.
pub fn routes(page: Arc<Page>) -> Router {
    let small = Router::new()
        .route("/api/bench", get(clips::bench))
        .route("/api/events", get(events::events))
        .route("/api/clips/{id}", get(clips::one).patch(clips::change).delete(clips::remove))
        .route("/api/clips/{id}/cancel", post(clips::cancel))
        .route("/api/clips/{id}/retry", post(clips::retry))
        .route("/api/clips/{id}/first.jpg", get(clips::first_picture))
        .route("/api/swings", post(swings::put_together))
        .route("/api/swings/{id}", get(swings::one).patch(swings::change).delete(swings::remove))
        .route("/api/swings/{id}/corrections", put(swings::correct))
        .route("/api/swings/{id}/track/{view}", get(swings::track))
        .route("/api/swings/{id}/frame/{view}/{file}", get(swings::frame))
        .route("/api/swings/{id}/ladder.svg", get(charts::ladder))
        .route("/api/swings/{id}/map.svg", get(charts::map))
        .route("/api/swings/{id}/stills/{file}", get(hand_out::one_still))
        .route("/api/swings/{id}/clip.mp4", get(hand_out::clip))
        .route("/api/sheet", get(hand_out::one_sheet))
        .route("/api/history.svg", get(charts::history))
        .route("/api/tasks", put(settings::tasks))
        .route("/api/compare", get(compare::compare))
        .route("/api/pupils", get(pupils::all).post(pupils::add))
        .route("/api/pupils/{name}", get(pupils::one).patch(pupils::change))
        .route("/api/history", get(pupils::history))
        .route("/api/settings", get(settings::all).patch(settings::change))
        .layer(DefaultBodyLimit::max(MOST_JSON));
    // Written to disk as it comes, with its own limit.
    let clips =
        Router::new().route("/api/clips", post(clips::add)).layer(DefaultBodyLimit::disable());
    small.merge(clips).merge(people()).fallback(pages::nothing).with_state(page)
}

/// Pages and what goes with them.
fn people() -> Router<Arc<Page>> {
    Router::new()
        .route("/", get(pages::bench))
        .route("/swing/{id}", get(pages::swing))
        .route("/swing/{id}/check", get(pages::check))
        .route("/compare", get(pages::compare))
        .route("/hand-out", get(pages::hand_out))
        .route("/pupil/{name}", get(pages::pupil))
        .route("/settings", get(pages::settings))
        .route("/assets/{name}", get(pages::asset))
}
