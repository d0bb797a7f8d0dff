//! What goes wrong, and what merely happens: one table a fault, begun by time, height or step.

use crate::quantity::{Hertz, Metres, Newtons, Radians, Seconds, Speed, Stiff, Turning, Volts};
use raisewatch_protocol::words::{Channel, Step};
use serde::Deserialize;

/// One fault of a script: when, for how long, what.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(try_from = "toml::Table")]
pub struct Fault {
    /// When it begins and how long it lasts.
    pub when: When,
    /// What happens.
    pub what: What,
}

/// When a fault begins and how long it lasts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct When {
    /// Begins at this time since the start of the lift.
    pub begins: Option<Seconds>,
    /// Begins when the middle of the heads has passed this height (upwards or downwards).
    pub height: Option<Metres>,
    /// Begins when this step is set.
    pub step: Option<Step>,
    /// Begins so much later than what is named above.
    #[serde(default)]
    pub after: Seconds,
    /// Lasts so long; without it, to the end.
    #[serde(rename = "for")]
    pub lasts: Option<Seconds>,
}

impl TryFrom<toml::Table> for Fault {
    type Error = String;
    /// Parts the keys by hand: an unknown one must be told, which serde does not do through `flatten`.
    fn try_from(mut table: toml::Table) -> Result<Self, String> {
        let when = take_out(&mut table, &["begins", "height", "step", "after", "for"]);
        let kind = table.get("kind").map_or("no kind".to_owned(), ToString::to_string);
        let told = |e: toml::de::Error| format!("fault {kind}: {}", e.message());
        Ok(Fault { when: when.try_into().map_err(told)?, what: table.try_into().map_err(told)? })
    }
}

/// Takes these keys out of a table into one of their own.
pub fn take_out(table: &mut toml::Table, keys: &[&str]) -> toml::Table {
    keys.iter().filter_map(|key| table.remove(*key).map(|value| ((*key).to_owned(), value))).collect()
}

/// What can happen.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", rename_all_fields = "kebab-case", deny_unknown_fields)]
pub enum What {
    /// An operator cranks at this multiple of the usual cadence (negative: the other way).
    Cadence {
        /// Tower.
        tower: String,
        /// Multiple of the usual.
        factor: f64,
    },
    /// An operator stops cranking and hears nothing.
    Stops {
        /// Tower.
        tower: String,
    },
    /// An operator does what he likes: no call is obeyed.
    Deaf {
        /// Tower.
        tower: String,
    },
    /// Brake or pawl gives: the drum runs out at this speed.
    BrakeSlips {
        /// Tower.
        tower: String,
        /// Speed of the head downwards.
        speed: Speed,
    },
    /// The rope slips on the drum or in its clamp by so much at once, `every` so long while cranking (crossed rope).
    RopeSlips {
        /// Tower.
        tower: String,
        /// How far the head falls.
        by: Metres,
        /// Again and again.
        every: Option<Seconds>,
    },
    /// The rope lies crossed on its drum: it climbs over the crossing as the drum turns and lets go again by `least` to `most`.
    Crossed {
        /// Tower.
        tower: String,
        /// Least that it lets go at once.
        least: Metres,
        /// Most.
        most: Metres,
        /// Once in so many turns.
        turns: f64,
    },
    /// Masts are drawn together (negative: pushed apart) at their heads: a truss clamped in its cradles, a strap.
    Drawn {
        /// By so much in all.
        by: Metres,
        /// Over this time.
        #[serde(default)]
        over: Seconds,
    },
    /// A mast section jams where it is; freed when the fault ends.
    Stuck {
        /// Tower.
        tower: String,
    },
    /// The mast's top end is reached: it goes no higher than this much above where it is.
    TopStop {
        /// Tower.
        tower: String,
    },
    /// The pin gives way.
    PinFails {
        /// Tower.
        tower: String,
    },
    /// At landing this tower's pin is not put in: its load stays on the rope.
    NotPinned {
        /// Tower.
        tower: String,
    },
    /// A foot gives way: the mast leans, slowly (`along-rate`, `across-rate`) or at once (`along`, `across`).
    Sinks {
        /// Tower.
        tower: String,
        /// Lean towards +x at once.
        #[serde(default)]
        along: Radians,
        /// Lean towards +y at once.
        #[serde(default)]
        across: Radians,
        /// Lean towards +x per time.
        #[serde(default)]
        along_rate: Turning,
        /// Lean towards +y per time.
        #[serde(default)]
        across_rate: Turning,
        /// The whole tower goes down at this speed.
        #[serde(default)]
        down: Speed,
    },
    /// Something knocks a tower: its mast tips and swings back.
    Bump {
        /// Tower.
        tower: String,
        /// How far it tips.
        by: Radians,
    },
    /// Something above holds the truss: a spring that begins where the truss is, or after some `slack`.
    Snag {
        /// Piece; may be left out where there is one.
        piece: Option<String>,
        /// Where along it.
        at: Metres,
        /// How hard it is.
        stiffness: Stiff,
        /// Play before it pulls.
        #[serde(default)]
        slack: Metres,
        /// Tears when it pulls more than this.
        breaks: Option<Newtons>,
    },
    /// Something below: a case, a ladder. The truss rests on it as it comes down.
    Case {
        /// Piece; may be left out where there is one.
        piece: Option<String>,
        /// Where along it.
        at: Metres,
        /// How hard it is.
        stiffness: Stiff,
        /// Its top below the truss as the fault begins.
        #[serde(default)]
        below: Metres,
    },
    /// Weight that comes on (or off, negative) and stays while the fault lasts; `over` so long.
    Weight {
        /// Piece; may be left out where there is one.
        piece: Option<String>,
        /// Where along it.
        at: Metres,
        /// How much.
        weight: Newtons,
        /// Comes on over this time.
        #[serde(default)]
        over: Seconds,
    },
    /// Hands on the truss: pushes that come and go.
    Hands {
        /// Piece; may be left out where there is one.
        piece: Option<String>,
        /// Where along it.
        at: Vec<Metres>,
        /// Least and most force, down positive; lifts as often as it pushes.
        force: [Newtons; 2],
        /// Least and most time of one.
        lasts: [Seconds; 2],
        /// Mean pause between two.
        pause: Seconds,
        /// How far the truss is rocked about its length.
        #[serde(default)]
        rock: Radians,
    },
    /// The truss turns about its length in its cradles, evenly over the time the fault lasts, and stays.
    Rolls {
        /// How far, `y` side up.
        by: Radians,
        /// Over this time.
        over: Seconds,
    },
    /// A joint opens: the slope on both sides of it parts by this much, and stays.
    Joint {
        /// Piece; may be left out where there is one.
        piece: Option<String>,
        /// Where along it.
        at: Metres,
        /// Kink, sagging positive.
        by: Radians,
        /// Over this time.
        #[serde(default)]
        over: Seconds,
    },
    /// Draught on drape and truss: slow sway and a little load, on and off.
    Draught {
        /// Frequency.
        frequency: Hertz,
        /// Peak of the apparent tilt.
        tilt: Radians,
        /// Peak of the load ripple, share of the load.
        load: f64,
        /// On for so long, off for so long, from the beginning of the fault.
        #[serde(default)]
        on_off: Option<Seconds>,
    },
    /// Bass and a dancing crowd: ripple at several Hz, and bursts of sway at 1 Hz.
    Rumble {
        /// Peak of the raw tilt at 2 to 8 Hz.
        tilt: Radians,
        /// Amplitude of the sway bursts.
        sway: Metres,
        /// Length of one burst; as long between two.
        burst: Seconds,
        /// Peak of the load ripple, share of the load.
        load: f64,
    },
    /// An instrument's reading is off.
    #[serde(rename = "instrument")]
    Instrument(InstrumentFault),
    /// A node falls silent.
    Silent {
        /// Node.
        node: String,
        /// Whether the broker tells its last will.
        #[serde(default)]
        will: bool,
    },
    /// Packets are lost.
    Loss {
        /// Node; all where left out.
        node: Option<String>,
        /// Share of the packets.
        share: f64,
    },
    /// Packets come late by so much more.
    Late {
        /// Node.
        node: String,
        /// How much.
        by: Seconds,
    },
    /// A node's clock jumps (negative: back).
    Clock {
        /// Node.
        node: String,
        /// How much.
        by: Seconds,
    },
    /// A node speaks less often.
    Slow {
        /// Node.
        node: String,
        /// Packets a second.
        rate: Hertz,
    },
    /// A node's battery runs down.
    Battery {
        /// Node.
        node: String,
        /// To this voltage.
        to: Volts,
        /// Over this time.
        #[serde(default)]
        over: Seconds,
    },
    /// Somebody says something (a STOP, say).
    Says {
        /// The word.
        said: raisewatch_protocol::words::Utterance,
        /// Tower it concerns.
        tower: Option<String>,
        /// By whom.
        by: String,
    },
}

/// What can be wrong with one instrument.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(try_from = "toml::Table")]
pub struct InstrumentFault {
    /// Tower at which it is.
    pub tower: String,
    /// Which.
    pub channel: Channel,
    /// How it is wrong.
    pub wrong: Wrong,
}

impl TryFrom<toml::Table> for InstrumentFault {
    type Error = String;
    fn try_from(mut table: toml::Table) -> Result<Self, String> {
        #[derive(Deserialize)]
        struct Which {
            tower: String,
            channel: Channel,
        }
        let told = |e: toml::de::Error| e.message().to_owned();
        let which: Which = take_out(&mut table, &["tower", "channel"]).try_into().map_err(told)?;
        if table.len() != 1 {
            let found: Vec<_> = table.keys().cloned().collect();
            return Err(format!("expected one key that says how it is wrong (off, times, frozen, ...), found {found:?}"));
        }
        Ok(InstrumentFault { tower: which.tower, channel: which.channel, wrong: table.try_into().map_err(told)? })
    }
}

/// How a reading can be wrong. Amounts are strings with the unit of the channel.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Wrong {
    /// Off by this amount at once (knocked, taped on anew).
    Off(String),
    /// Drifts by this amount an hour.
    DriftPerHour(String),
    /// Reads this multiple of what is there (span; 0.4536: pounds for kilograms the wrong way round).
    Times(f64),
    /// Repeats its last value.
    Frozen(bool),
    /// Reads with the other sign.
    Backwards(bool),
    /// Reads what stands at another tower.
    Reads(String),
    /// Reads this, whatever is there.
    Value(String),
    /// Is not in the packets.
    Missing(bool),
    /// More noise than usual, one standard deviation.
    Noise(String),
    /// This share of the load goes past the cell.
    Bypass(f64),
}
