//! Answers of the API. In: what went wrong, or data. Out: a status and `{"message": ...}` on one
//! line that a coach can act on, or JSON.

use axum::Json;
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;

use super::PageError;
use super::kept::KeptSwing;
use super::state::Page;
use crate::compare::CompareError;
use crate::error::{Error, chain};
use crate::record::RecordError;

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

    /// A swing that shows no numbers, in the words of the command line. Clips are called as the
    /// coach knows them.
    pub fn unmeasurable(page: &Page, swing: &KeptSwing, error: &Error) -> Self {
        let text = page.look(|w| {
            let clips = swing.parts.iter().filter_map(|part| w.clips.get(&part.clip));
            clips.fold(chain(error), |text, clip| {
                text.replace(&w.film(clip).display().to_string(), &clip.name)
            })
        });
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, text)
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

impl From<PageError> for Refusal {
    fn from(error: PageError) -> Self {
        Self::failed(error.to_string())
    }
}

impl From<RecordError> for Refusal {
    fn from(error: RecordError) -> Self {
        let status = match error {
            RecordError::NoPupil(_) | RecordError::NoSwing(_) => StatusCode::NOT_FOUND,
            RecordError::PupilExists(_) => StatusCode::CONFLICT,
            RecordError::Wrong { .. } => StatusCode::BAD_REQUEST,
            RecordError::Busy => StatusCode::SERVICE_UNAVAILABLE,
            RecordError::Full => StatusCode::INSUFFICIENT_STORAGE,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self::new(status, error.to_string())
    }
}

impl From<CompareError> for Refusal {
    fn from(error: CompareError) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, error.to_string())
    }
}

/// What was sent, as JSON of a known shape.
pub struct Sent<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Sent<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refusal> {
        match Json::<T>::from_request(request, state).await {
            Ok(Json(value)) => Ok(Self(value)),
            Err(rejection) => {
                let said = match rejection.status() {
                    StatusCode::PAYLOAD_TOO_LARGE => "more was sent than belongs here".to_owned(),
                    _ => rejection.body_text(),
                };
                Err(Refusal::new(rejection.status(), said))
            }
        }
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
