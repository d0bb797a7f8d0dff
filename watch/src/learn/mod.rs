//! What the watch learns of this rig while it hangs, and what it hands on: beside the way from reading to call, never in it.
//!
//! [`hand_over`] (the state that a new crew must know, in one object).

pub mod hand_over;

use crate::setup::Setup;
use hand_over::Memory;
use raisewatch_statics::Model;

/// All that is learnt.
#[derive(Clone, Debug)]
pub struct Learn {
    /// Who said what, for the hand-over.
    pub memory: Memory,
}

impl Learn {
    /// Nothing learnt yet.
    pub fn new(setup: &Setup, model: &Model) -> Self {
        Learn { memory: Memory::new(&setup.plan, model, setup.channels.len()) }
    }
}
