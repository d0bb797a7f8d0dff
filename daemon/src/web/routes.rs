//! The addresses of the pages, who may ask for them, and the headers that every answer carries.

use super::doors::Session;
use super::live::{self, Listening, Part};
use super::pace::Speaker;
use super::roles::Role;
use super::say::{From, refuse, say, too_much};
use super::{Guest, Web, files};
use axum::body::Body;
use axum::extract::ws::rejection::WebSocketUpgradeRejection;
use axum::extract::{Path, Query, RawQuery, Request, State, WebSocketUpgrade};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use axum::{Extension, Router};
use raisewatch_protocol::trace::Arrival;
use serde::Deserialize;
use std::sync::Arc;

/// The cookie that holds the session.
const COOKIE: &str = "raisewatch";
/// Letters of a name that are kept.
const NAME: usize = 40;

/// Headers of every answer. Nothing is fetched from elsewhere, nobody frames a page, no script is inline.
const HEADERS: [(&str, &str); 7] = [
    ("content-security-policy", "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)"),
];

/// All routes.
pub fn router(web: Arc<Web>) -> Router {
    Router::new()
        .route("/", get(|State(web): State<Arc<Web>>, headers: HeaderMap| async move { files::file("index.html", &headers, &web.words) }))
        .route("/spotter", get(|state, headers| page(state, headers, "spotter.html")))
        .route("/desk", get(|state, headers| page(state, headers, "desk.html")))
        // Their pages come with their own parts; until then the answer is "no such page".
        .route("/proof", get(|state, headers| page(state, headers, "proof.html")))
        .route("/review", get(|state, headers| page(state, headers, "review.html")))
        .route("/rehearse", get(|state, headers| page(state, headers, "rehearse.html")))
        .route("/tower/{id}", get(tower))
        .route("/pages/{*name}", get(file))
        .route("/pair/{code}", get(pair))
        .route("/live", get(listen))
        .route("/past", get(past))
        .route("/say", axum::routing::post(speak))
        .route("/me", get(me).post(rename))
        .fallback(|| async { files::not_found() })
        .layer(tower_http::compression::CompressionLayer::new())
        .layer(from_fn(same_origin))
        .layer(from_fn(with_headers))
        .with_state(web)
}

async fn with_headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    // What is not a file of the program changes from one moment to the next.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// What changes something must come from a page of ours: a browser names the page's origin, and no other page can forge it.
/// So must a socket, which a browser lets any page open.
async fn same_origin(request: Request, next: Next) -> Response {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD) && !request.headers().contains_key(header::UPGRADE);
    if reads || is_same_origin(request.headers()) {
        return next.run(request).await;
    }
    refuse(StatusCode::FORBIDDEN, vec!["This came from a page that is not ours; it is refused.".into()])
}

fn is_same_origin(headers: &HeaderMap) -> bool {
    let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let site = text(HeaderName::from_static("sec-fetch-site")).unwrap_or("same-origin");
    let Some(origin) = text(header::ORIGIN) else { return site == "same-origin" };
    let host = text(header::HOST).unwrap_or_default();
    let ours = origin.strip_prefix("https://").or(origin.strip_prefix("http://")).is_some_and(|from| from == host);
    ours && site == "same-origin"
}

impl Web {
    fn token<'h>(&self, headers: &'h HeaderMap) -> Option<&'h str> {
        let cookies = headers.get_all(header::COOKIE).into_iter().filter_map(|value| value.to_str().ok());
        let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
        pairs.find(|(name, _)| *name == COOKIE).map(|(_, token)| token)
    }

    fn session(&self, headers: &HeaderMap) -> Option<Session> {
        self.doors.session(self.token(headers)?, self.clock.now())
    }

    /// The session of a page that may look; an error where it may not.
    fn looks(&self, headers: &HeaderMap) -> Result<Option<Session>, NotPaired> {
        match self.session(headers) {
            None if !self.open => Err(NotPaired),
            session => Ok(session),
        }
    }
}

const NOT_PAIRED: &str = "This phone is not paired with the lift. Scan a code of the terminal at the desk.";

/// Neither a session nor open reads.
struct NotPaired;

fn not_paired() -> Response {
    refuse(StatusCode::UNAUTHORIZED, vec![NOT_PAIRED.into()])
}

/// A refusal for a person who opened an address, as a page in words.
fn words(code: StatusCode, text: &str) -> Response {
    let page = format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>raisewatch</title><link rel=\"stylesheet\" href=\"/pages/look.css\"><main><h1>Not live</h1><p>{text}</p>\
         <p>raisewatch advises only; it is no safety function.</p></main></html>\n"
    );
    (code, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], page).into_response()
}

async fn page(State(web): State<Arc<Web>>, headers: HeaderMap, name: &'static str) -> Response {
    match web.looks(&headers) {
        Ok(_) => files::file(name, &headers, &web.words),
        Err(NotPaired) => words(StatusCode::UNAUTHORIZED, NOT_PAIRED),
    }
}

async fn file(State(web): State<Arc<Web>>, Path(name): Path<String>, headers: HeaderMap) -> Response {
    files::file(&name, &headers, &web.words)
}

async fn tower(State(web): State<Arc<Web>>, Path(id): Path<String>, headers: HeaderMap) -> Response {
    if !web.towers.contains(&id) {
        return (StatusCode::NOT_FOUND, format!("The plan's towers are {}.\n", web.towers.join(", "))).into_response();
    }
    page(State(web), headers, "tower.html").await
}

#[derive(Deserialize)]
struct Named {
    name: Option<String>,
}

/// A name as it is kept: one line, no control letters, not too long.
fn tidy(name: Option<String>) -> Option<String> {
    let kept: String = name?.chars().filter(|letter| !letter.is_control()).take(NAME).collect();
    let kept = kept.trim();
    (!kept.is_empty()).then(|| kept.to_owned())
}

/// Turns the code of a QR into a session and opens the role's page.
async fn pair(State(web): State<Arc<Web>>, Path(code): Path<String>, Query(named): Query<Named>, headers: HeaderMap) -> Response {
    let ahead = |name: &str| headers.get(name).and_then(|value| value.to_str().ok()).is_some_and(|value| value.contains("prefetch"));
    if ahead("sec-purpose") || ahead("purpose") {
        // A browser that looks ahead would use the code up before anybody pressed anything.
        return words(StatusCode::SERVICE_UNAVAILABLE, "Open this address to pair.");
    }
    match web.doors.pair(&code, tidy(named.name), web.clock.now()) {
        Ok((token, session)) => {
            tracing::info!(role = %session.role.words(), "a page was paired; its code is used up");
            let _ = web.paired.try_send(session.role.clone());
            let sealed = if web.sealed { "; Secure" } else { "" };
            let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/; Max-Age=86400{sealed}");
            ([(header::SET_COOKIE, cookie)], Redirect::to(&session.role.page())).into_response()
        }
        Err(refused) => words(StatusCode::GONE, &refused.to_string()),
    }
}

/// By socket where one is asked for, else by server-sent events. `?deck` asks for what is drawn on deck alone.
async fn listen(
    State(web): State<Arc<Web>>,
    Extension(guest): Extension<Guest>,
    RawQuery(asked): RawQuery,
    headers: HeaderMap,
    upgrade: Result<WebSocketUpgrade, WebSocketUpgradeRejection>,
) -> Response {
    let session = match web.looks(&headers) {
        Ok(session) => session,
        Err(NotPaired) => return not_paired(),
    };
    let part = if asked.as_deref() == Some("deck") { Part::Deck } else { Part::Whole };
    let (patience, listening) = (web.limits.patience, Listening::new(&web, web.crew.enter(session.as_ref()), part));
    match upgrade {
        Ok(upgrade) => upgrade.max_message_size(live::HEARD).on_upgrade(async move |socket| {
            live::socket(socket, listening, patience).await;
            drop(guest);
        }),
        Err(_) if !headers.contains_key(header::UPGRADE) => live::events(listening).into_response(),
        Err(fault) => fault.into_response(),
    }
}

/// The last minutes of offsets and shares, for a desk that is opened late.
async fn past(State(web): State<Arc<Web>>, headers: HeaderMap) -> Response {
    match web.looks(&headers) {
        Ok(_) => ([(header::CONTENT_TYPE, "application/json")], web.past.json()).into_response(),
        Err(NotPaired) => not_paired(),
    }
}

fn speaker(session: Option<&Session>, guest: &Guest) -> Speaker {
    session.map_or(Speaker::Stranger(guest.from), |session| Speaker::Session(session.number))
}

async fn speak(State(web): State<Arc<Web>>, Extension(guest): Extension<Guest>, headers: HeaderMap, body: Body) -> Response {
    let session = match web.looks(&headers) {
        Ok(session) => session,
        Err(NotPaired) => return not_paired(),
    };
    let (role, name) = session.as_ref().map_or((&Role::View, None), |session| (&session.role, session.name.as_deref()));
    let (response, said) = say(&web, From { who: speaker(session.as_ref(), &guest), role, name }, body).await;
    if let (Some(session), Some(Arrival::Said(said))) = (&session, said)
        && said.said == raisewatch_protocol::words::Utterance::SoundHeard
    {
        web.crew.sound_heard(session.number);
    }
    response
}

async fn me(State(web): State<Arc<Web>>, headers: HeaderMap) -> Response {
    let session = web.session(&headers);
    let tower = match session.as_ref().map(|session| &session.role) {
        Some(Role::Tower(id)) => Some(id.as_str()),
        _ => None,
    };
    let role = match session.as_ref().map(|session| &session.role) {
        None => "none",
        Some(Role::View) => "view",
        Some(Role::Spotter) => "spotter",
        Some(Role::Tower(_)) => "tower",
        Some(Role::Lead) => "lead",
    };
    let name = session.as_ref().and_then(|session| session.name.as_deref());
    let looks = web.open || session.is_some();
    axum::Json(serde_json::json!({ "role": role, "tower": tower, "name": name, "looks": looks })).into_response()
}

async fn rename(State(web): State<Arc<Web>>, Extension(guest): Extension<Guest>, headers: HeaderMap, body: Body) -> Response {
    let Some(session) = web.session(&headers) else { return not_paired() };
    if let Err(wait) = web.pace.take(speaker(Some(&session), &guest), web.clock.now()) {
        return too_much(wait);
    }
    let whole = tokio::time::timeout(web.limits.patience, axum::body::to_bytes(body, web.limits.body)).await;
    let named = whole.ok().and_then(Result::ok).and_then(|bytes| serde_json::from_slice::<Named>(&bytes).ok());
    let Some(name) = tidy(named.and_then(|named| named.name)) else {
        return refuse(StatusCode::BAD_REQUEST, vec!["Expected {\"name\": a short name}.".into()]);
    };
    if let Some(token) = web.token(&headers) {
        web.doors.name(token, &name);
    }
    web.crew.name(session.number, &name);
    axum::Json(serde_json::json!({ "ok": true })).into_response()
}
