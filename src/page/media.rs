//! A clip for a player. In: the bytes, what the player asks for. Out: all of it, or the part asked
//! for (RFC 9110, section 14): some players play nothing else.

use axum::http::StatusCode;
use axum::http::header::{self, HeaderMap};
use axum::response::{IntoResponse, Response};

pub fn part(headers: &HeaderMap, mime: &'static str, bytes: &[u8]) -> Response {
    let all =
        [(header::CONTENT_TYPE, mime.to_owned()), (header::ACCEPT_RANGES, "bytes".to_owned())];
    let asked = headers.get(header::RANGE).and_then(|value| value.to_str().ok());
    match asked.map(|asked| range(asked, bytes.len())) {
        // Several parts, or no range at all: the whole is a fair answer.
        None | Some(Asked::Whole) => (all, bytes.to_vec()).into_response(),
        Some(Asked::Part(from, to)) => {
            let said = format!("bytes {from}-{to}/{}", bytes.len());
            let piece = bytes.get(from..=to).unwrap_or_default().to_vec();
            let range = [(header::CONTENT_RANGE, said)];
            (StatusCode::PARTIAL_CONTENT, all, range, piece).into_response()
        }
        Some(Asked::Beyond) => {
            let range = [(header::CONTENT_RANGE, format!("bytes */{}", bytes.len()))];
            (StatusCode::RANGE_NOT_SATISFIABLE, range).into_response()
        }
    }
}

#[derive(Debug, PartialEq)]
enum Asked {
    Whole,
    /// First and last byte.
    Part(usize, usize),
    Beyond,
}

fn range(asked: &str, length: usize) -> Asked {
    let Some((from, to)) = asked.strip_prefix("bytes=").and_then(|r| r.split_once('-')) else {
        return Asked::Whole;
    };
    let (from, to) = (from.trim(), to.trim());
    let bounds = match (from.parse::<usize>(), to.parse::<usize>()) {
        (Ok(from), Ok(to)) if from <= to => (from, to.min(length.saturating_sub(1))),
        (Ok(from), Err(_)) if to.is_empty() => (from, length.saturating_sub(1)),
        (Err(_), Ok(last)) if from.is_empty() && last > 0 => {
            (length.saturating_sub(last), length.saturating_sub(1))
        }
        _ => return Asked::Whole,
    };
    if bounds.0 >= length { Asked::Beyond } else { Asked::Part(bounds.0, bounds.1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_what_it_says_or_the_whole() {
        assert_eq!(range("bytes=0-1", 10), Asked::Part(0, 1));
        assert_eq!(range("bytes=4-", 10), Asked::Part(4, 9));
        assert_eq!(range("bytes=-3", 10), Asked::Part(7, 9));
        assert_eq!(range("bytes=2-99", 10), Asked::Part(2, 9));
        assert_eq!(range("bytes=10-", 10), Asked::Beyond);
        for odd in ["bytes=5-2", "bytes=a-b", "lines=1-2", "bytes=0-1,3-4", "bytes=-0", ""] {
            assert_eq!(range(odd, 10), Asked::Whole, "{odd}");
        }
    }
}
