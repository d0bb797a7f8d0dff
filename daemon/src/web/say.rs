//! `POST /say`: what a page says. The answer comes once the watch has taken or refused it.

use super::Web;
use super::roles::Role;
use crate::inlet::{Answer, Closed};
use axum::Json;
use axum::body::Body;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use raisewatch_protocol::trace::Arrival;
use serde_json::json;

/// Says it, for a page with this role; `name` is who says it where the words do not. What was understood comes back beside the answer.
pub async fn say(web: &Web, role: &Role, name: Option<&str>, body: Body) -> (Response, Option<Arrival>) {
    let what = match understood(web, role, name, body).await {
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

/// What the body says, signed, if this role may say it.
async fn understood(web: &Web, role: &Role, name: Option<&str>, body: Body) -> Result<Arrival, Response> {
    let text = read(web, body).await?;
    let (_, mut what) = Arrival::parse(&text).map_err(|fault| refuse(StatusCode::BAD_REQUEST, vec![fault.to_string()]))?;
    role.may(&what).map_err(|text| refuse(StatusCode::FORBIDDEN, vec![text]))?;
    sign(&mut what, role, name);
    Ok(what)
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
