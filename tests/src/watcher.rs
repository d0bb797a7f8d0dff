//! Whatever watches: the real watch, or the plain yardstick beside it.

use raisewatch_protocol::input::Input;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::told::{Call, Finding};

/// What a watcher tells.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// A finding.
    Finding(Finding),
    /// A call.
    Call(Call),
}

/// Something that takes inputs and tells.
pub trait Watcher {
    /// Takes one input.
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told>;
    /// When it wants to be called at the latest.
    fn deadline(&self) -> Option<Mono>;
}
