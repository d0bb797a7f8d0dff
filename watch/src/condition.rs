//! What the causes say about the present moment: one condition a kind and place, without memory of having been told.
//!
//! The life of a finding (delays, deadband in time, states, latching) is made of these by [`crate::life`].

use raisewatch_protocol::words::{Kind, Severity};

/// How a condition stands at this moment, against its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// Nothing is known: never a going, never a coming; off-delays start anew.
    Unknown,
    /// Past its clear level: the off-delay runs.
    Clear,
    /// Between the clear level and the warn limit: neither comes nor goes.
    Within,
    /// At or over the limit of this severity: the on-delay runs (the delay of a lower severity runs with it).
    At(Severity),
}

/// One condition at this moment. Which kinds exist, in which unit and to whom: docs/forms.md, table of kinds.
///
/// The delays are not here: [`crate::life::delays`] holds them in one table by kind, severity and motion. A condition that was
/// once given and is not given in a later step counts as [`Stands::Unknown`], so its finding stays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Condition {
    /// What.
    pub kind: Kind,
    /// Tower, index in the plan; `None` tells it of all.
    pub tower: Option<usize>,
    /// Channel, index in [`crate::setup::Setup::channels`], for the kinds that are told of a channel.
    pub channel: Option<usize>,
    /// Piece, index in the plan.
    pub piece: Option<usize>,
    /// Metres from the piece's `from` end; give it with its sigma, it is told only while the sigma is at most 0.5 m.
    pub position: Option<Known>,
    /// How much, with one standard deviation, in `unit`. `None`: the instruments cannot know it.
    pub amount: Option<Known>,
    /// Unit of amount, sigma and limit.
    pub unit: Unit,
    /// The limit that holds now (of the severity it stands at, else the warn limit), in `unit`.
    pub limit: Option<f64>,
    /// How it stands.
    pub stands: Stands,
    /// Which way it leans or rolls, where it does.
    pub towards: Option<Towards>,
    /// Passed never-exceed, the rating, or blind while moving: never gated, shelved or put under another finding.
    pub never_gated: bool,
    /// The cause has weighed it in time already: its on-delay is over.
    pub sure: bool,
}

/// A way that people on the floor can look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Towards {
    /// Away from the audience.
    Upstage,
    /// Towards it.
    Downstage,
    /// Towards the head of this tower.
    Tower(usize),
    /// Along the truss, away from all towers.
    Outwards,
    /// Into the floor.
    Down,
}

/// A number that is known, and how well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// The number.
    pub value: f64,
    /// One standard deviation, in the same unit.
    pub sigma: f64,
}

/// Unit in which a condition is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Millimetre.
    Mm,
    /// Degree.
    Deg,
    /// Newton.
    N,
    /// Second.
    S,
    /// Volt.
    V,
    /// Metre.
    M,
    /// A bare number (turns, a ratio).
    One,
    /// No amount at all.
    None,
}

impl Unit {
    /// As the lines spell it; nothing for [`Unit::None`].
    pub fn word(self) -> Option<&'static str> {
        match self {
            Unit::Mm => Some("mm"),
            Unit::Deg => Some("deg"),
            Unit::N => Some("N"),
            Unit::S => Some("s"),
            Unit::V => Some("V"),
            Unit::M => Some("m"),
            Unit::One => Some("1"),
            Unit::None => None,
        }
    }
}

impl Condition {
    /// A condition of `kind` of the whole, of which nothing is known yet; fill in by struct update.
    pub fn of(kind: Kind) -> Self {
        Condition {
            kind,
            tower: None,
            channel: None,
            piece: None,
            position: None,
            amount: None,
            unit: Unit::None,
            limit: None,
            stands: Stands::Unknown,
            towards: None,
            never_gated: false,
            sure: false,
        }
    }
}
