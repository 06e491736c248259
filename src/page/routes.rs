//! Addresses of the page, after the token. Out: the router.

use axum::Router;

/// Everything that can be asked for.
pub fn routes() -> Router {
    Router::new()
}
