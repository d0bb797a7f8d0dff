//! `/live`: server-sent events. `view` ten times a second, newest only; `call` as soon as it is said.
//!
//! A page that cannot keep up skips views: each is taken from a place that holds only the newest, at the moment when the
//! connection can take it. Calls are few; a page that missed some reads them in its next view.

use super::crew::Present;
use super::server::stopped;
use super::{Spoken, Web};
use axum::response::sse::{Event, Sse};
use futures_util::stream::{Stream, unfold};
use std::convert::Infallible;
use std::sync::Arc;
use tokio::sync::{broadcast, watch};

struct Listening {
    frames: watch::Receiver<Arc<str>>,
    calls: broadcast::Receiver<Spoken>,
    stop: watch::Receiver<bool>,
    first: bool,
    /// Counts as here for as long as the stream lives.
    _present: Present,
}

/// The stream for one page.
pub fn live(web: &Web, present: Present) -> Sse<impl Stream<Item = Result<Event, Infallible>> + use<>> {
    let listening =
        Listening { frames: web.frames.clone(), calls: web.calls.subscribe(), stop: web.stop.clone(), first: true, _present: present };
    Sse::new(unfold(listening, next))
}

async fn next(mut page: Listening) -> Option<(Result<Event, Infallible>, Listening)> {
    // A page opened late shows the state at once.
    if std::mem::take(&mut page.first) {
        page.frames.mark_changed();
    }
    loop {
        let event = tokio::select! {
            biased;
            () = stopped(&mut page.stop) => return None,
            spoken = page.calls.recv() => match spoken {
                Ok(spoken) => Event::default().event(spoken.name).data(spoken.line),
                Err(broadcast::error::RecvError::Lagged(_)) => continue,
                Err(broadcast::error::RecvError::Closed) => return None,
            },
            changed = page.frames.changed() => {
                changed.ok()?;
                let frame = page.frames.borrow_and_update().clone();
                if frame.is_empty() {
                    continue;
                }
                Event::default().event("view").data(frame)
            }
        };
        return Some((Ok(event), page));
    }
}
