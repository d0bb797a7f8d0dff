//! What the tests across the crates share: the real programs, started, read and stopped.

pub mod program;
