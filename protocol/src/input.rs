//! What goes into the watch: decoded readings, what people set and said, and what became of the links. No bytes any more.

use crate::reading::Packet;
use crate::said::{Said, StepSet};
use crate::trace::{LinkState, Presence};

/// One thing that reaches the watch, at one moment.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// A node spoke.
    Packet(Packet),
    /// A person set the step.
    Step(StepSet),
    /// A person said something.
    Said(Said),
    /// A node told whether it is there, or its last will did.
    Presence {
        /// Index of the node in `Kit::nodes`.
        node: usize,
        /// There or gone.
        presence: Presence,
    },
    /// A link of the daemon's to the world was lost or came back.
    Link {
        /// `broker` or a port.
        link: String,
        /// Lost or back.
        state: LinkState,
    },
    /// The wall clock at this moment: what the age of zeros and proofs is judged by.
    Wall(jiff::Timestamp),
    /// Nothing but time.
    Tick,
}
