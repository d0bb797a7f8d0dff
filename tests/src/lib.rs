//! What the tests across the crates share: the real programs, started, read and stopped; the scenarios of the trade, played
//! by the simulator and judged from its truth.

pub mod drive;
pub mod hand;
pub mod inside;
pub mod node;
pub mod program;
pub mod quiet;
pub mod scenario;
pub mod score;
pub mod vary;
pub mod watcher;
pub mod yardstick;
