//! What each channel is good for at this moment: heard or silent, zeroed or not, trusted or not.

use raisewatch_protocol::Mono;

/// One channel's health. Index as in [`crate::setup::Setup::channels`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Health {
    /// Arrival of its newest judged reading.
    pub heard: Option<Mono>,
    /// False while it is silent, never heard, out of range or late: the estimator then takes nothing from it and lets the
    /// uncertainty grow.
    pub live: bool,
    /// Whether it has a zero that counts.
    pub zeroed: bool,
    /// Whether one turn at the test lift moved it the right way (or the kit says so).
    pub proved: bool,
    /// False once it is known to be backwards, swapped, knocked, frozen or the like: then it guards nothing.
    pub trusted: bool,
    /// True where its node speaks less than three times a second: no level is claimed from it while the lift moves.
    pub too_slow: bool,
}

impl Health {
    /// Whether the estimator may use its value.
    pub fn usable(&self) -> bool {
        self.live && self.zeroed && self.trusted
    }
}
