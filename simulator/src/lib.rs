//! The truth that stands where the towers stand.
//!
//! A loaded truss on hand-cranked towers as a mechanical system in time: masts on ropes and pins, drums, a truss that
//! bends, cables that grow, a crew that cranks unevenly and reacts late, instruments with their faults. What comes out is
//! the same wire that real nodes speak. Nothing here knows what will be noticed: it computes what happens, from its own
//! equations (the beams are solved here once more, not borrowed from the crate that the watch uses).
//!
//! Words: a [`Script`] says what is done and what goes wrong, a [`Lift`] plays it, its [`Truth`] is what really stands,
//! lines of a trace are what the instruments and the crew let out. All is seeded; the same seed gives the same bytes,
//! however the time is cut into pieces.

pub mod ambient;
pub mod crew;
pub mod effects;
pub mod fault;
pub mod file;
pub mod instrument;
pub mod lead;
pub mod lift;
pub mod logs;
pub mod mqtt;
pub mod node;
pub mod play;
pub mod pty;
pub mod quantity;
pub mod script;
pub mod stream;
pub mod tower;
pub mod truss;
pub mod truth;
pub mod wire;
pub mod wires;

pub use lift::{Lift, LiftError};
pub use script::{Script, ScriptError};
pub use truth::{Head, Truth};
