//! What a plan weighs: grillages of straight pieces on towers; shares, slopes, stiffness, and what follows from them.
//!
//! Pure: a plan in, numbers out. No time, no instruments, no people. The method with its sources: docs/method.md.

mod contact;
mod cures;
mod defaults;
mod element;
pub mod faults;
mod ldl;
pub mod lift;
pub mod linear;
pub mod model;
mod net;
mod overrides;
pub mod rake;
pub mod schedule;
pub mod sheet;
mod solver;
mod sound;
pub mod stability;
pub mod tolerance;
pub mod truss;

pub use contact::Stood;
pub use element::At;
pub use linear::{Linear, PointEffect, Row, SlopeRow};
pub use model::{Assumed, Bearing, Line, Model, Standing, StaticsError};
pub use sheet::Sheet;
