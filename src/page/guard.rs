//! Who may ask. In: every request before anything else sees it. Out: the request without the
//! token in its path, or a refusal without a hint.
//!
//! The token in the address keeps other programs and web pages of this machine out, the checked
//! `Host` a foreign name that resolves to 127.0.0.1 (DNS rebinding), the checked `Origin` and
//! `Sec-Fetch-Site` requests that another web page makes (cross-site request forgery).
//! Headers after the OWASP Secure Headers Project.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use tower::ServiceExt as _;

use super::PageError;
use super::reply::Refusal;

/// 32 random bytes cannot be guessed; as 64 letters they are still a usable address.
const TOKEN_BYTES: usize = 32;
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' blob: data:; media-src 'self'; connect-src 'self'; form-action 'self'; \
    frame-ancestors 'none'; base-uri 'none'";

/// Random letters for a token or a name: hexadecimal.
pub fn random(bytes: usize) -> Result<String, PageError> {
    let mut raw = vec![0_u8; bytes];
    getrandom::fill(&mut raw).map_err(PageError::NoRandom)?;
    Ok(raw.iter().map(|byte| format!("{byte:02x}")).collect())
}

pub fn token() -> Result<String, PageError> {
    random(TOKEN_BYTES)
}

/// What a request must name, and what it reaches then.
#[derive(Clone)]
pub struct Guard(Arc<Inner>);

struct Inner {
    token: String,
    hosts: [String; 2],
    routes: Router,
}

/// The whole page: `routes`, reached only by those who may.
pub fn guarded(token: &str, port: u16, routes: Router) -> Router {
    let hosts = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    let guard = Guard(Arc::new(Inner { token: token.to_owned(), hosts, routes }));
    Router::new().fallback(check).with_state(guard)
}

async fn check(State(Guard(guard)): State<Guard>, mut request: Request) -> Response {
    let mut response = match guard.admit(&request) {
        Ok(uri) => {
            *request.uri_mut() = uri;
            // A router cannot fail: its error type has no values.
            match guard.routes.clone().oneshot(request).await {
                Ok(response) => response,
                Err(never) => match never {},
            }
        }
        Err(Some(refusal)) => refusal.into_response(),
        // Without a word: there is nothing here.
        Err(None) => StatusCode::NOT_FOUND.into_response(),
    };
    protect(response.headers_mut());
    response
}

impl Inner {
    fn admit(&self, request: &Request) -> Result<Uri, Option<Refusal>> {
        let headers = request.headers();
        let host = one(headers, &header::HOST).filter(|h| self.hosts.iter().any(|ours| ours == h));
        let (Some(host), Some(rest)) = (host, self.behind_token(request.uri())) else {
            return Err(None);
        };
        if !comes_from_here(headers, host, request.method()) {
            let said = "only the page itself may ask this";
            return Err(Some(Refusal::new(StatusCode::FORBIDDEN, said)));
        }
        rest.parse().map_err(|_| None)
    }

    /// Path and query after the token.
    fn behind_token(&self, uri: &Uri) -> Option<String> {
        let path = uri.path().strip_prefix('/')?;
        let (token, rest) = path.split_once('/')?;
        let query = uri.query().map(|query| format!("?{query}")).unwrap_or_default();
        same(token.as_bytes(), self.token.as_bytes()).then(|| format!("/{rest}{query}"))
    }
}

/// Takes the same time wherever two texts of one length differ.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len()
        && a.iter().zip(b).fold(0, |all, (x, y)| std::hint::black_box(all | (x ^ y))) == 0
}

/// The value of a header that is there once.
fn one<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    let first = values.next()?.to_str().ok()?;
    values.next().is_none().then_some(first)
}

fn comes_from_here(headers: &HeaderMap, host: &str, method: &Method) -> bool {
    let changes = !matches!(*method, Method::GET | Method::HEAD);
    let site = one(headers, &HeaderName::from_static("sec-fetch-site"));
    let site_fits = match site {
        Some("same-origin") => true,
        Some("none") => !changes,
        Some(_) => false,
        None => !headers.contains_key("sec-fetch-site"),
    };
    let origin_fits = match one(headers, &header::ORIGIN) {
        Some(origin) => origin.strip_prefix("http://") == Some(host),
        // A browser names the origin of every request that changes something.
        None => !changes && !headers.contains_key(header::ORIGIN),
    };
    site_fits && origin_fits
}

fn protect(headers: &mut HeaderMap) {
    let fixed: [(HeaderName, &'static str); 6] = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asks(method: &str, headers: &[(&str, &str)]) -> bool {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(name.parse::<HeaderName>().unwrap(), value.parse().unwrap());
        }
        comes_from_here(&map, "127.0.0.1:4000", &method.parse().unwrap())
    }

    #[test]
    fn only_the_page_changes_anything() {
        let ours = ("origin", "http://127.0.0.1:4000");
        assert!(asks("GET", &[]));
        assert!(asks("GET", &[("sec-fetch-site", "none")]));
        assert!(asks("POST", &[ours, ("sec-fetch-site", "same-origin")]));
        assert!(asks("DELETE", &[ours]));
        for headers in [
            &[][..],
            &[("origin", "null")],
            &[("origin", "http://localhost:4000")],
            &[("origin", "https://127.0.0.1:4000")],
            &[("origin", "http://127.0.0.1:4000.example")],
            &[ours, ("sec-fetch-site", "cross-site")],
            &[ours, ("sec-fetch-site", "same-site")],
            &[ours, ("sec-fetch-site", "none")],
            &[ours, ours],
        ] {
            assert!(!asks("PUT", headers), "{headers:?}");
        }
        assert!(!asks("GET", &[("sec-fetch-site", "cross-site")]));
        assert!(!asks("GET", &[("origin", "http://elsewhere.example")]));
    }

    #[test]
    fn tokens_differ_and_are_compared_whole() {
        let (a, b) = (token().unwrap(), token().unwrap());
        assert_eq!(a.len(), 2 * TOKEN_BYTES);
        assert!(!same(a.as_bytes(), b.as_bytes()) && same(a.as_bytes(), a.as_bytes()));
        assert!(!same(a.as_bytes(), &a.as_bytes()[1..]) && !same(b"", a.as_bytes()));
    }
}
