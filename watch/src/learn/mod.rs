//! What the watch learns of this rig while it hangs, and what it hands on: beside the way from reading to call, never in it.
//!
//! [`hand_over`] (the state that a new crew must know), [`next_turns`] (who turns how much next), [`stiffness`] (what a turn of
//! each tower did at the test lift), [`ahead`] (when a limit is reached), [`hanging`] (what was hung, by its weight and place).
//! Advice, shown and recorded: no order is made here. What the estimate and the calls take from it says so where they do.

pub mod ahead;
pub mod hand_over;
pub mod hanging;
pub mod next_turns;
pub mod stiffness;

use crate::setup::Setup;
use hand_over::Memory;
use hanging::Hanging;
use next_turns::{Head, NextTurns};
use raisewatch_statics::Model;
use stiffness::Stiffness;

/// All that is learnt.
#[derive(Clone, Debug)]
pub struct Learn {
    /// Who said what, for the hand-over.
    pub memory: Memory,
    /// Part turns.
    pub next: NextTurns,
    /// What turns did.
    pub stiffness: Stiffness,
    /// What was hung.
    pub hanging: Hanging,
    /// Whether the estimate has the measured stiffness.
    pub stiffness_used: bool,
    /// Room for the heads, used again at every step.
    pub heads: Vec<Head>,
}

impl Learn {
    /// Nothing learnt yet.
    pub fn new(setup: &Setup, model: &Model) -> Self {
        let towers = setup.plan.towers.len();
        Learn {
            memory: Memory::new(&setup.plan, model, setup.channels.len()),
            next: NextTurns::new(towers),
            stiffness: Stiffness::new(setup, model),
            hanging: Hanging::new(setup),
            stiffness_used: false,
            heads: Vec::with_capacity(towers),
        }
    }
}
