//! Answers of the API. In: what went wrong, or data. Out: a status and `{"message": ...}` on one
//! line that a coach can act on, or JSON.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

/// A request that is not fulfilled, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    pub status: StatusCode,
    pub message: String,
}

impl Refusal {
    pub fn new(status: StatusCode, message: impl Into<String>) -> Self {
        let message: String = message.into();
        Self { status, message: message.replace(char::is_control, " ") }
    }

    /// What is asked for is not there.
    pub fn missing(what: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("there is no such {what}"))
    }

    /// What was sent makes no sense.
    pub fn wrong(message: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, message)
    }

    /// It makes sense, but not now.
    pub fn conflict(message: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, message)
    }

    /// Something of ours failed.
    pub fn failed(message: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, message)
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.status, Json(serde_json::json!({ "message": self.message }))).into_response()
    }
}

pub type Reply<T> = Result<T, Refusal>;

/// Runs work that reads files or computes off the threads that answer requests.
pub async fn aside<T, F>(work: F) -> Reply<T>
where
    F: FnOnce() -> Reply<T> + Send + 'static,
    T: Send + 'static,
{
    match tokio::task::spawn_blocking(work).await {
        Ok(reply) => reply,
        Err(_) => Err(Refusal::failed("this could not be done: hubgauge has a fault here")),
    }
}
