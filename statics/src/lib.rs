//! What a plan weighs: grillages of straight pieces on towers; shares, slopes, stiffness, and what follows from them.
//!
//! Pure: a plan in, numbers out. No time, no instruments, no people. The method with its sources: docs/method.md.

mod contact;
mod defaults;
mod element;
mod ldl;
pub mod lift;
pub mod linear;
pub mod model;
mod net;
mod overrides;
pub mod rake;
mod sound;
pub mod tolerance;

pub use contact::Stood;
pub use element::At;
pub use linear::{Linear, PointEffect, Row, SlopeRow};
pub use model::{Assumed, Bearing, Line, Model, Standing, StaticsError};
