//! The pages: what a phone in a gloved hand and the laptop at the desk see and say.
//!
//! Words: a *code* pairs a phone once and becomes a *session* (a cookie) with a *role*; a *frame* is one view. Pages come
//! out of the binary, draw only from frames and calls, and may say what their role allows. Nothing here judges, and a
//! slow or hostile client never slows the watch: frames are latest-wins, queues and bodies are bounded.

pub mod addresses;
pub mod crew;
pub mod doors;
mod files;
mod live;
pub mod pace;
pub mod past;
pub mod roles;
mod routes;
mod say;
pub mod server;
#[cfg(test)]
mod tests;
pub mod tls;
pub mod words;

use crate::clock::Clock;
use crate::inlet::Inlet;
use axum::extract::ws::Utf8Bytes;
use raisewatch_protocol::mono::Mono;
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, broadcast, mpsc, watch};

/// What is the same for all requests.
pub struct Web {
    /// Where what is said goes.
    pub inlet: Inlet,
    /// Newest view, ready to be sent; none before the first and after the watch has failed.
    pub frames: watch::Receiver<Option<Shown>>,
    /// Calls (and the one line that the watch has failed), ready to be sent.
    pub calls: broadcast::Sender<Spoken>,
    /// The last minutes as they were shown.
    pub past: Arc<past::Past>,
    /// How often each page speaks.
    pub pace: pace::Pace,
    /// What pages say of themselves.
    pub words: words::Words,
    /// Ids of the towers, in the plan's order.
    pub towers: Vec<String>,
    /// Who may come in.
    pub doors: Arc<doors::Doors>,
    /// Told of each pairing, so that the terminal can show a new code.
    pub paired: mpsc::Sender<roles::Role>,
    /// Who is here.
    pub crew: Arc<crew::Crew>,
    /// Life's clock, by which codes and sessions run out.
    pub clock: Clock,
    /// Whether reads need no session: only where the owner says so.
    pub open: bool,
    /// Whether pages come under TLS alone: cookies are then sent over nothing else.
    pub sealed: bool,
    /// Bounds.
    pub limits: Limits,
    /// Ends all streams.
    pub stop: watch::Receiver<bool>,
}

/// One connection.
#[derive(Clone)]
struct Guest {
    /// From where.
    from: IpAddr,
    /// Its place among the connections, for as long as it lives.
    _place: Arc<OwnedSemaphorePermit>,
}

/// One thing that a page is told, made once for all pages.
#[derive(Clone, Debug)]
pub struct Spoken {
    /// `call` or `not-watching`, said at once; `view`, drawn.
    name: &'static str,
    /// Its name, a line feed, and its JSON.
    whole: Utf8Bytes,
}

impl Spoken {
    /// Makes it of JSON.
    pub fn new(name: &'static str, json: &str) -> Self {
        Spoken { name, whole: format!("{name}\n{json}").into() }
    }

    fn json(&self) -> &str {
        self.whole.get(self.name.len() + 1..).unwrap_or_default()
    }
}

/// One view, made once for all pages.
#[derive(Clone, Debug)]
pub struct Shown {
    /// All of it, for the desk.
    whole: Spoken,
    /// What a phone on deck draws from: a quarter of it, for the air is narrow and fifty phones share it.
    deck: Spoken,
    /// When it was made, by life's clock.
    made: Mono,
}

/// Bounds on clients.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Connections at once; a lift has a dozen people.
    pub connections: usize,
    /// Bytes of something said. The longest is a note.
    pub body: usize,
    /// From the connection to the end of the header, and again for the body.
    pub patience: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Limits { connections: 256, body: 4096, patience: Duration::from_secs(5) }
    }
}

pub use routes::router;
