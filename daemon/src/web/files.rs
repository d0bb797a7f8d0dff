//! The pages' files, out of the binary.

use super::words::Words;
use axum::body::Body;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

#[derive(RustEmbed)]
#[folder = "pages"]
struct Pages;

/// The file of that name, 304 where the client has it already, or 404 in words.
///
/// Names are looked up in a closed list; no path of the machine is ever made of them. A page gets its words here.
pub fn file(name: &str, asked: &HeaderMap, words: &Words) -> Response {
    let Some(found) = Pages::get(name) else { return not_found() };
    let is_page = name.ends_with(".html");
    let of_words = if is_page { words.tag() } else { "" };
    let tag = format!("\"{}{of_words}\"", hex(&found.metadata.sha256_hash()[..12]));
    if asked.get(header::IF_NONE_MATCH).is_some_and(|have| have.as_bytes() == tag.as_bytes()) {
        return (StatusCode::NOT_MODIFIED, [(header::ETAG, tag)]).into_response();
    }
    let kind = match name.rsplit_once('.').map(|(_, end)| end) {
        Some("html") => "text/html; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        Some("json" | "webmanifest") => "application/json",
        Some("png") => "image/png",
        _ => "text/plain; charset=utf-8",
    };
    let headers = [(header::CONTENT_TYPE, kind.to_owned()), (header::ETAG, tag), (header::CACHE_CONTROL, "no-cache".into())];
    let body = if is_page { words.fill(name, &String::from_utf8_lossy(&found.data)).into() } else { Body::from(found.data) };
    (headers, body).into_response()
}

/// "Not here", in words.
pub fn not_found() -> Response {
    (StatusCode::NOT_FOUND, "There is no such page. The pages are /spotter, /tower/ID and /desk.\n").into_response()
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_watch::phrases::Phrases;

    #[test]
    fn no_page_asks_for_a_word_that_is_none() {
        let words = Words::new(&Phrases::default().of_pages());
        for name in Pages::iter().filter(|name| name.ends_with(".html")) {
            let page = words.fill(&name, &String::from_utf8_lossy(&Pages::get(&name).unwrap().data));
            assert!(!page.contains("{{"), "{name}: {page}");
            assert!(page.contains("\"tag\":"), "{name} has no words for its scripts");
        }
    }
}
