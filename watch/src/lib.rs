//! The decision core: readings in, findings and calls out. No clock, no I/O, no randomness; the same inputs give the same bytes.
//!
//! The way of a value: [`calibrate`] (unit, points, sign, zero) -> [`estimate`] (how does the lift stand) -> [`causes`] (what is
//! not as it should be, now) -> [`life`] (what was told and what became of it) -> [`calls`] (who is told which word).
//! Beside it: [`scene`] (what people set and said), [`health`] (what each channel is good for), [`view`] (what the pages draw), [`learn`] (what is learnt of this rig and handed on).

pub mod calibrate;
pub mod calls;
pub mod causes;
pub mod condition;
pub mod estimate;
pub mod health;
pub mod instruments;
pub mod learn;
pub mod life;
pub mod limits;
pub mod node_clock;
pub mod phrases;
pub mod proof;
pub mod renewal;
pub mod scene;
pub mod setup;
pub mod slow;
pub mod spike;
pub mod steps;
pub mod text;
pub mod view;
pub mod watch;
pub mod zero;
pub mod zero_gone;
