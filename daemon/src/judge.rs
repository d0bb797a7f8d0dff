//! What the run loop needs of a watch: so that its own rules can be tested with a watch that fails.

use crate::sinks::Told;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::Step;

/// A watch, seen from the loop.
pub trait Judge: Send {
    /// Steps it; what it says.
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told>;
    /// When it wants to be stepped next, whatever comes.
    fn deadline(&self) -> Option<Mono>;
    /// What the pages draw, as JSON.
    fn view(&self) -> serde_json::Value;
    /// The step of the lift.
    fn lift_step(&self) -> Step;
}
