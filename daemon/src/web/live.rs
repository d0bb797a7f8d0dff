//! `/live`: what a page is told. `view` ten times a second, newest only; `call` as soon as it is said.
//!
//! A page that cannot keep up skips views: each is taken from a place that holds only the newest, at the moment when the
//! connection can take it. Calls are few; a page that missed some reads them in its next view.
//!
//! The pages listen by WebSocket: a browser allows six HTTP/1.1 connections to one address, all its tabs together, and
//! streams of server-sent events would take them away from one another and from STOP. Those events are there for
//! everything else that listens.

use super::crew::Present;
use super::server::stopped;
use super::{Shown, Spoken, Web};
use crate::clock::Clock;
use axum::extract::ws::{Message, WebSocket};
use axum::response::sse::{Event, Sse};
use futures_util::stream::{Stream, unfold};
use raisewatch_protocol::mono::Span;
use std::convert::Infallible;
use std::time::Duration;
use tokio::sync::{broadcast, watch};

/// Bytes that a page may send where it only listens; it has nothing to say there.
pub const HEARD: usize = 1024;

/// Oldest view that a page which has just come is shown. Views come ten times a second: where this one was not renewed
/// since, the watch stands still, and a page must not take it for the present.
const FRESH: Span = Span::ms(500);

/// How much of each view a page is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// All of it.
    Whole,
    /// What is drawn on deck.
    Deck,
}

/// One page that listens.
pub struct Listening {
    part: Part,
    clock: Clock,
    frames: watch::Receiver<Option<Shown>>,
    calls: broadcast::Receiver<Spoken>,
    stop: watch::Receiver<bool>,
    first: bool,
    /// Counts as here for as long as the stream lives.
    _present: Present,
}

impl Listening {
    /// Listens from now on.
    pub fn new(web: &Web, present: Present, part: Part) -> Self {
        let (frames, calls, stop) = (web.frames.clone(), web.calls.subscribe(), web.stop.clone());
        Listening { part, clock: web.clock.clone(), frames, calls, stop, first: true, _present: present }
    }

    /// Whether the view that is there already shows the present.
    fn is_fresh(&self) -> bool {
        self.frames.borrow().as_ref().is_some_and(|shown| self.clock.now().since(shown.made) < FRESH)
    }

    /// What to tell the page next; `None` once the program ends. Nothing is lost if the waiting is called off.
    async fn next(&mut self) -> Option<Spoken> {
        // A page opened late shows the state at once.
        if std::mem::take(&mut self.first) {
            if self.is_fresh() { self.frames.mark_changed() } else { self.frames.mark_unchanged() }
        }
        loop {
            tokio::select! {
                biased;
                () = stopped(&mut self.stop) => return None,
                spoken = self.calls.recv() => match spoken {
                    Ok(spoken) => return Some(spoken),
                    Err(broadcast::error::RecvError::Lagged(_)) => {}
                    Err(broadcast::error::RecvError::Closed) => return None,
                },
                changed = self.frames.changed() => {
                    changed.ok()?;
                    if let Some(shown) = self.frames.borrow_and_update().clone() {
                        return Some(if self.part == Part::Deck { shown.deck } else { shown.whole });
                    }
                }
            }
        }
    }
}

/// The stream of server-sent events for one listener.
pub fn events(listening: Listening) -> Sse<impl Stream<Item = Result<Event, Infallible>> + use<>> {
    Sse::new(unfold(listening, async |mut page: Listening| {
        let told = page.next().await?;
        Some((Ok(Event::default().event(told.name).data(told.json())), page))
    }))
}

/// The same over a socket: each message is the name of what is told, a line feed, and its JSON. A page that takes nothing
/// for as long as `patience` is gone, and one that speaks here is sent away.
pub async fn socket(mut socket: WebSocket, mut page: Listening, patience: Duration) {
    loop {
        tokio::select! {
            told = page.next() => {
                let Some(told) = told else { break };
                let sent = socket.send(Message::Text(told.whole));
                if !matches!(tokio::time::timeout(patience, sent).await, Ok(Ok(()))) {
                    return;
                }
            }
            heard = socket.recv() => match heard {
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
                _ => break,
            },
        }
    }
    // Whoever is gone already needs no good-bye.
    let _ = tokio::time::timeout(patience, socket.send(Message::Close(None))).await;
}
