//! From the wire's value to the channel's: unit, points or scale, sign, zero. Nothing else ever changes a value.

use raisewatch_protocol::Mono;

/// One reading in the signs and units of docs/forms.md, calibrated, with its zero taken off where it has one.
///
/// `truss-along` and `truss-across` are slopes of the truss at the box against the horizon, rad: the planned slope for what hung
/// at the zero is in them, so sag is in the value and the statics takes it out. `head-load` and `rope-load` read the share, N
/// (a rope cell's tension times its ratio), without the adapter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibrated {
    /// The channel, index in [`crate::setup::Setup::channels`].
    pub channel: usize,
    /// Arrival of its packet.
    pub at: Mono,
    /// Value; rad, N, m or V.
    pub value: f64,
    /// False where the channel has no zero: then only changes of the value mean anything, never the value. (Mast tilts without a
    /// zero too; a height or a battery needs none and is always `true`.)
    pub zeroed: bool,
}
