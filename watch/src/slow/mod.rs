//! Slow change while the truss stands: what creeps, sinks or grows too slowly for the eye, and how sure that is.
//!
//! Two locks, and a finding needs both. *Is it real?* [`cusum`] over averages of half a minute, against what the first minute of
//! standing showed, with `h` chosen from a stated in-control run length ([`run_length`]). *Is it worth a word?* The trade's
//! limits, in [`crate::causes::standing`]. What temperature may do over hours is let through before the sums count.
//! Source of the method: docs/method.md, "Slow change and false alarms".

pub mod cusum;
pub mod drift;
pub mod ewma;
pub mod run_length;
pub mod settle;
pub mod stand;

#[cfg(test)]
mod published;
