//! What two parts of raisewatch must agree on.
//!
//! `bytes <-> reading` (SenML, NMEA 0183 XDR), the words and lines of docs/forms.md, the plan and kit files,
//! units and monotonic time. No crate of ours below it, no clock, no I/O.

pub mod files;
pub mod input;
pub mod intake;
pub mod kit;
pub mod measure;
pub mod mono;
pub mod plan;
pub mod quantity;
pub mod reading;
pub mod said;
pub mod senml;
pub mod told;
pub mod topic;
pub mod trace;
pub mod units;
pub mod words;
pub mod xdr;

pub use mono::{Mono, Span};
