//! The one queue from all sources to the run loop.
//!
//! A source stamps what it heard as soon as the bytes are there ([`Inlet::now`]), then puts it in. The queue is bounded;
//! a full queue makes the source wait, which never loses a stamp: lateness is judged by it.

use crate::clock::Clock;
use raisewatch_protocol::intake::Refusal;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use tokio::sync::{mpsc, oneshot};

/// Lines that may wait: 16 nodes at 20 Hz for more than 10 s, at about 300 bytes each.
const WAITING: usize = 4096;

/// What a source hands over.
#[derive(Debug)]
pub enum Arrived {
    /// A line for the watch, and where to send the answer if somebody waits for it.
    Line {
        /// What arrived, stamped on arrival.
        line: TraceLine,
        /// For the person who said it.
        answer: Option<oneshot::Sender<Answer>>,
    },
    /// Something that never became a line (a retained reading, a topic of another node): counted, named, dropped.
    Refused {
        /// Arrival.
        t_ms: Mono,
        /// What, and why.
        refusal: Refusal,
    },
}

/// What becomes of something said.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// The watch took it; what it answered, if anything.
    Taken(Vec<String>),
    /// It was refused, and why.
    Refused(Vec<String>),
}

/// The loop is gone: the program is ending, or the watch has failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the watch is not running")]
pub struct Closed;

/// Where sources put what they hear. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Inlet {
    clock: Clock,
    queue: mpsc::Sender<Arrived>,
}

impl Inlet {
    /// The queue's two ends.
    pub fn new(clock: Clock) -> (Inlet, mpsc::Receiver<Arrived>) {
        let (queue, outlet) = mpsc::channel(WAITING);
        (Inlet { clock, queue }, outlet)
    }

    /// The stamp for what has just arrived. Take it before anything else is done with the bytes.
    pub fn now(&self) -> Mono {
        self.clock.now()
    }

    /// The clock, for sources that must wait.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Puts in a line.
    pub async fn put(&self, line: TraceLine) -> Result<(), Closed> {
        self.queue.send(Arrived::Line { line, answer: None }).await.map_err(|_| Closed)
    }

    /// Tells of something refused before it became a line.
    pub async fn refuse(&self, t_ms: Mono, refusal: Refusal) -> Result<(), Closed> {
        self.queue.send(Arrived::Refused { t_ms, refusal }).await.map_err(|_| Closed)
    }

    /// Puts in something said or a step, stamped now, and waits for what becomes of it.
    pub async fn ask(&self, what: Arrival) -> Result<Answer, Closed> {
        let (tell, told) = oneshot::channel();
        let line = TraceLine { t_ms: self.now(), what };
        self.queue.send(Arrived::Line { line, answer: Some(tell) }).await.map_err(|_| Closed)?;
        told.await.map_err(|_| Closed)
    }

    /// As [`Inlet::ask`], from a thread that is not part of the runtime.
    pub fn ask_blocking(&self, what: Arrival) -> Result<Answer, Closed> {
        let (tell, told) = oneshot::channel();
        let line = TraceLine { t_ms: self.now(), what };
        self.queue.blocking_send(Arrived::Line { line, answer: Some(tell) }).map_err(|_| Closed)?;
        told.blocking_recv().map_err(|_| Closed)
    }
}
