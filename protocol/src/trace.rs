//! A trace: JSON Lines that hold all that goes into the watch.

use crate::mono::Mono;
use crate::said::{Said, StepSet};
use serde::{Deserialize, Serialize};

/// One line of a trace: when, and what.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TraceLine {
    /// Arrival at this machine.
    pub t_ms: Mono,
    /// What arrived.
    #[serde(flatten)]
    pub what: Arrival,
}

/// What arrived.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Arrival {
    /// A SenML pack as JSON, from this node (the topic's).
    Senml {
        /// Node id.
        node: String,
        /// The pack, as received.
        senml: serde_json::Value,
    },
    /// One NMEA 0183 sentence. `node` is empty on a port with several nodes.
    Xdr {
        /// Node id.
        node: String,
        /// The sentence, as received.
        xdr: String,
    },
    /// Bytes that were not understood as text.
    Raw {
        /// Node id.
        node: String,
        /// Base64.
        raw: String,
    },
    /// A node's presence.
    Presence {
        /// Node id.
        node: String,
        /// Online or offline.
        presence: Presence,
    },
    /// A link of the daemon's to the world.
    Link {
        /// `broker` or a port.
        link: String,
        /// Lost or back.
        state: LinkState,
    },
    /// A step set.
    Step(StepSet),
    /// Something said.
    Said(Said),
    /// The wall clock at this moment, RFC 3339.
    Wall {
        /// The time.
        wall: jiff::Timestamp,
    },
}

/// Whether a node says it is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Presence {
    /// There.
    Online,
    /// Gone.
    Offline,
}

/// Whether a link holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LinkState {
    /// Gone.
    Lost,
    /// There again.
    Back,
}
