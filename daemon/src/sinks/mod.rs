//! Where what the watch says goes: standard output, MQTT, pages, the recording.
//!
//! Each sink has a bounded queue of its own and a task or thread of its own. The run loop never waits for any of them:
//! a sink that falls behind loses lines, which is counted and told, and the others do not notice.

pub mod hub;
pub mod lines;
pub mod mqtt;
pub mod recording;

use raisewatch_protocol::intake::Refusal;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::trace::TraceLine;
use raisewatch_protocol::words::Step;
use raisewatch_watch::learn::hand_over::HandOver;

/// What a sink is told, in the order in which it came about.
#[derive(Clone, Debug)]
pub enum Told {
    /// What the watch was given, with the time it was given at (for the recording; comes before what it caused).
    Taken(TraceLine),
    /// Something refused: counted and named, it never reached the watch as a value.
    Refused {
        /// When.
        t_ms: Mono,
        /// What, and why.
        refusal: Refusal,
    },
    /// A change of a finding.
    Finding(Finding),
    /// A call to one recipient.
    Call(Call),
    /// The state that was handed over (for the recording).
    HandOver(Box<HandOver>),
    /// An answer to something said.
    Reply {
        /// When.
        t_ms: Mono,
        /// To whom, where known.
        to: Option<String>,
        /// In words.
        text: String,
        /// Whether it was refused.
        refused: bool,
    },
    /// The heartbeat, five times a second of real time.
    Pulse {
        /// When.
        t_ms: Mono,
        /// False once the watch has failed.
        watching: bool,
        /// The step.
        step: Step,
    },
    /// The watch failed and judges no more. Nothing follows but pulses that say so.
    NotWatching {
        /// When.
        t_ms: Mono,
        /// What failed.
        why: String,
    },
}

/// How the recording stands, for the pages.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct RecordingState {
    /// `recording`, `failed` or `off`.
    pub state: &'static str,
    /// File.
    pub file: Option<String>,
    /// Written so far.
    pub bytes: Option<u64>,
    /// Left on the disk.
    pub free_bytes: Option<u64>,
    /// What failed, in words.
    pub text: Option<String>,
}
