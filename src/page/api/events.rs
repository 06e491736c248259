//! What changes, as it changes. Out: server-sent events, one JSON object each (WHATWG HTML,
//! section 9.2).

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, StreamExt as _, once};
use tokio_stream::wrappers::BroadcastStream;

use super::super::state::{Page, message};

/// A connection that is gone is noticed within this.
const KEEP_ALIVE: Duration = Duration::from_secs(10);

/// The whole bench first, then every change. A page that fell behind gets the whole again.
pub async fn events(
    State(page): State<Arc<Page>>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    // Subscribed before the state is read: nothing falls between the two.
    let changes = BroadcastStream::new(page.subscribe());
    let whole = |page: &Page| message("bench", &page.bench_shown()).unwrap_or_default();
    let first = whole(&page);
    let later = changes.map(move |change| match change {
        Ok(text) => text.to_string(),
        Err(_fell_behind) => whole(&page),
    });
    let all = once(async { first }).chain(later);
    let stream = all.map(|text| Ok(Event::default().data(text)));
    Sse::new(stream).keep_alive(KeepAlive::new().interval(KEEP_ALIVE))
}
