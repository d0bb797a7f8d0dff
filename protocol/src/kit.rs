//! The kit: which instruments there are, how they are reached, how they were calibrated. Keys: docs/forms.md, "Kit".

use crate::units::{Duration, Length};
use crate::words::Channel;
use jiff::Timestamp;

/// A whole kit.
#[derive(Clone, Debug, PartialEq)]
pub struct Kit {
    /// Broker by URL (`mqtt://host:port`), where the kit names one.
    pub broker: Option<String>,
    /// Whether the daemon is its own broker.
    pub own_broker: bool,
    /// File with user and password, relative to the kit.
    pub login_file: Option<String>,
    /// Whether steps and words are taken from the broker.
    pub said: bool,
    /// The nodes.
    pub nodes: Vec<Node>,
}

/// One box of instruments.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Id.
    pub id: String,
    /// Tower id it stands at.
    pub tower: String,
    /// How it is reached.
    pub over: Transport,
    /// Packets a second while moving, Hz.
    pub rate_hz: f64,
    /// Packets a second while standing, Hz; `rate_hz` if not stated.
    pub still_rate_hz: f64,
    /// Names that the node uses, and the channel each means.
    pub map: Vec<(String, Channel)>,
    /// Its channels.
    pub channels: Vec<Fitted>,
}

/// How a node is reached.
#[derive(Clone, Debug, PartialEq)]
pub enum Transport {
    /// MQTT, SenML.
    Mqtt,
    /// NMEA 0183 XDR on a serial port.
    Xdr {
        /// Device, by stable name.
        port: String,
        /// Baud; 9600 if not stated.
        baud: u32,
    },
    /// Modbus RTU on a serial port.
    Modbus {
        /// Device, by stable name.
        port: String,
        /// Baud.
        baud: u32,
        /// Address.
        address: u8,
    },
}

/// One channel that is fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// The channel.
    pub channel: Channel,
    /// Index into the plan's pieces is resolved by the watch; here the piece's id.
    pub piece: Option<String>,
    /// Where it sits on the piece.
    pub at: Option<Length>,
    /// Unit of the wire where it names none.
    pub unit: Option<WireUnit>,
    /// 1 or -1.
    pub sign: f64,
    /// What is possible, in the channel's unit (rad, N, m, V) after sign and calibration.
    pub range: Option<[f64; 2]>,
    /// From wire value to the channel's unit.
    pub calibration: Calibration,
    /// When it was calibrated.
    pub calibrated: Option<(Timestamp, String)>,
    /// A zero carried over.
    pub zero: Option<KeptZero>,
    /// Proved at an earlier test lift.
    pub proved: Option<(Timestamp, String)>,
    /// What the rope lifts over its tension; 1 if not stated.
    pub rope_ratio: f64,
    /// Modbus register.
    pub register: Option<Register>,
    /// Battery: low and empty, V.
    pub battery_limits: Option<[f64; 2]>,
}

/// A unit of the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WireUnit {
    /// Radian.
    Rad,
    /// Degree.
    Deg,
    /// Newton.
    N,
    /// Kilogram, weighed with standard gravity.
    Kg,
    /// Metre.
    M,
    /// Millimetre.
    Mm,
    /// Volt.
    V,
    /// Millivolt.
    Mv,
}

/// From wire value to channel value.
#[derive(Clone, Debug, PartialEq)]
pub enum Calibration {
    /// The wire gives the channel's unit.
    None,
    /// Straight line: channel unit per wire unit.
    Scale(f64),
    /// Points (channel value, wire value), rising; straight lines between, the outer ones go on.
    Points(Vec<(f64, f64)>),
}

/// A zero that the kit carries.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptZero {
    /// What the channel read at zero, in its unit.
    pub value: f64,
    /// When it was taken; without it the zero does not count.
    pub when: Option<Timestamp>,
    /// By whom.
    pub by: Option<String>,
    /// How long it holds; without it the zero does not count.
    pub valid: Option<Duration>,
}

/// A Modbus register map entry (polled by the Modbus source).
#[derive(Clone, Debug, PartialEq)]
pub struct Register {
    /// 3 or 4.
    pub function: u8,
    /// Address of the first register.
    pub at: u16,
    /// `u16`, `i16`, `u32`, `i32`, `f32`.
    pub kind: String,
    /// True where the high word comes first.
    pub high_first: bool,
    /// Channel unit per count.
    pub step: f64,
}
