//! What a node said: one packet, decoded, each value still in the node's own signs and calibration.

use crate::units::{Angle, Force, Length, Voltage};
use crate::words::Channel;

/// A value with the dimension of its channel, as the wire gave it (rad, N, m, V; `Raw` where the kit calibrates counts).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A tilt.
    Angle(Angle),
    /// A load.
    Force(Force),
    /// A height.
    Length(Length),
    /// A battery.
    Voltage(Voltage),
    /// Counts of a converter, to be calibrated by the kit's points.
    Raw(f64),
}

/// Why a channel gave no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum NoValue {
    /// The node said that it has none (a null field).
    Off,
    /// The value is outside what the kit calls possible.
    OutOfRange,
    /// Not understood.
    Garbled,
}

/// One channel's reading in a packet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The channel.
    pub channel: Channel,
    /// Its value, or why there is none.
    pub value: Result<Value, NoValue>,
    /// The node's own time of this reading, s since its epoch, where it gave one.
    pub node_time_s: Option<f64>,
}

/// All that one node said at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Packet {
    /// Index of the node in `Kit::nodes`.
    pub node: usize,
    /// Its readings, in the order of the wire.
    pub readings: Vec<Reading>,
    /// The node's packet number, where it counts.
    pub seq: Option<u64>,
}
