//! `POST /say`: what a page says. The answer comes once the watch has taken or refused it.

use super::Web;
use super::pace::{Speaker, too_often};
use super::roles::Role;
use crate::inlet::{Answer, Closed};
use axum::Json;
use axum::body::Body;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use raisewatch_protocol::mono::Span;
use raisewatch_protocol::trace::Arrival;
use raisewatch_protocol::words::Utterance;
use serde_json::json;

/// Who says something: which page, what it may say, and the name of who holds it.
pub struct From<'a> {
    pub who: Speaker,
    pub role: &'a Role,
    pub name: Option<&'a str>,
}

/// Says it. What was understood comes back beside the answer.
pub async fn say(web: &Web, from: From<'_>, body: Body) -> (Response, Option<Arrival>) {
    let what = match understood(web, &from, body).await {
        Ok(what) => what,
        Err(refusal) => return (refusal, None),
    };
    let response = match web.inlet.ask(what.clone()).await {
        Ok(Answer::Taken(texts)) => Json(json!({ "ok": true, "text": joined(&texts) })).into_response(),
        Ok(Answer::Refused(texts)) => refuse(StatusCode::CONFLICT, texts),
        Err(Closed) => refuse(StatusCode::SERVICE_UNAVAILABLE, vec!["Not watching. Shout it.".into()]),
    };
    (response, Some(what))
}

/// What the body says, signed, if this page may say it, and not too often.
async fn understood(web: &Web, from: &From<'_>, body: Body) -> Result<Arrival, Response> {
    let text = read(web, body).await?;
    let parsed = Arrival::parse(&text);
    if !matches!(&parsed, Ok((_, Arrival::Said(said))) if said.said == Utterance::Stop) {
        web.pace.take(from.who, web.clock.now()).map_err(too_much)?;
    }
    let (_, mut what) = parsed.map_err(|fault| refuse(StatusCode::BAD_REQUEST, vec![fault.to_string()]))?;
    from.role.may(&what).map_err(|text| refuse(StatusCode::FORBIDDEN, vec![text]))?;
    sign(&mut what, from.role, from.name);
    Ok(what)
}

/// The refusal of a page that speaks too often, with how long it has to wait.
pub fn too_much(wait: Span) -> Response {
    let mut refusal = refuse(StatusCode::TOO_MANY_REQUESTS, vec![too_often()]);
    let seconds = (wait.s().ceil() as u64).max(1);
    refusal.headers_mut().insert(header::RETRY_AFTER, seconds.into());
    refusal
}

/// The body as text, within its bounds of size and time.
async fn read(web: &Web, body: Body) -> Result<String, Response> {
    let whole = tokio::time::timeout(web.limits.patience, axum::body::to_bytes(body, web.limits.body)).await;
    let bytes = match whole {
        Err(_) => return Err(refuse(StatusCode::REQUEST_TIMEOUT, vec!["The words did not arrive in time.".into()])),
        Ok(Err(_)) => {
            let text = format!("Too long: at most {} bytes.", web.limits.body);
            return Err(refuse(StatusCode::PAYLOAD_TOO_LARGE, vec![text]));
        }
        Ok(Ok(bytes)) => bytes,
    };
    String::from_utf8(bytes.to_vec()).map_err(|_| refuse(StatusCode::BAD_REQUEST, vec!["Expected JSON in UTF-8.".into()]))
}

/// Puts a name to it where there is none: the session's, else the role's.
fn sign(what: &mut Arrival, role: &Role, name: Option<&str>) {
    let by = match what {
        Arrival::Said(said) => &mut said.by,
        Arrival::Step(step) => &mut step.by,
        _ => return,
    };
    if by.as_deref().is_none_or(|by| by.trim().is_empty()) {
        let role_name = || match role {
            Role::View => "viewer".to_owned(),
            Role::Spotter => "spotter".to_owned(),
            Role::Tower(id) => format!("tower {id}"),
            Role::Lead => "lead".to_owned(),
        };
        *by = Some(name.map_or_else(role_name, str::to_owned));
    }
}

/// A refusal in words.
pub fn refuse(code: StatusCode, texts: Vec<String>) -> Response {
    (code, Json(json!({ "ok": false, "text": joined(&texts) }))).into_response()
}

fn joined(texts: &[String]) -> Option<String> {
    (!texts.is_empty()).then(|| texts.join(" "))
}
