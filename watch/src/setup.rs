//! Plan and kit resolved against each other: which channel sits where. Made once, never changed.
//!
//! A channel is named by its index in [`Setup::channels`] everywhere in the watch.

use raisewatch_protocol::kit::{Fitted, Kit};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::words::Channel;

/// Plan and kit as the watch uses them.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The plan.
    pub plan: Plan,
    /// The kit.
    pub kit: Kit,
    /// Per node of the kit: its tower in the plan.
    pub node_tower: Vec<usize>,
    /// All fitted channels, node by node, in the kit's order.
    pub channels: Vec<Seat>,
}

/// One fitted channel and where it sits.
#[derive(Clone, Debug, PartialEq)]
pub struct Seat {
    /// Node, index in the kit.
    pub node: usize,
    /// Tower, index in the plan.
    pub tower: usize,
    /// What it measures.
    pub channel: Channel,
    /// Piece it sits on (tilt of the truss), or the tower's piece.
    pub piece: usize,
    /// Where on that piece, m from its `from` end; the tower's place where the kit does not say.
    pub at_m: f64,
    /// As the kit has it.
    pub fitted: Fitted,
    /// Longest time between two packets while moving, s, by the stated rate.
    pub period_s: f64,
    /// The same while still.
    pub still_period_s: f64,
}

/// Why plan and kit do not fit each other.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WatchError {
    /// A node stands at a tower that the plan does not have.
    #[error("node `{node}`: tower `{tower}` is not in the plan; expected one of {expected}")]
    NoSuchTower {
        /// Node id.
        node: String,
        /// What was found.
        tower: String,
        /// The plan's towers.
        expected: String,
    },
    /// A channel sits on a piece that the plan does not have.
    #[error("node `{node}`, channel `{channel}`: piece `{piece}` is not in the plan; expected one of {expected}")]
    NoSuchPiece {
        /// Node id.
        node: String,
        /// Channel.
        channel: Channel,
        /// What was found.
        piece: String,
        /// The plan's pieces.
        expected: String,
    },
    /// The plan cannot be stood up.
    #[error("plan: {0}")]
    Statics(String),
}

impl Setup {
    /// Resolves `kit` against `plan`.
    ///
    /// Errors: [`WatchError`], the first that is found, in the kit's order.
    pub fn new(plan: &Plan, kit: &Kit) -> Result<Self, WatchError> {
        let mut node_tower = Vec::with_capacity(kit.nodes.len());
        let mut channels = Vec::new();
        for (n, node) in kit.nodes.iter().enumerate() {
            let tower = plan.towers.iter().position(|t| t.id == node.tower).ok_or_else(|| WatchError::NoSuchTower {
                node: node.id.clone(),
                tower: node.tower.clone(),
                expected: listed(plan.towers.iter().map(|t| t.id.as_str())),
            })?;
            node_tower.push(tower);
            for fitted in &node.channels {
                let piece = match &fitted.piece {
                    None => plan.towers[tower].piece,
                    Some(id) => plan.pieces.iter().position(|p| p.id == *id).ok_or_else(|| WatchError::NoSuchPiece {
                        node: node.id.clone(),
                        channel: fitted.channel,
                        piece: id.clone(),
                        expected: listed(plan.pieces.iter().map(|p| p.id.as_str())),
                    })?,
                };
                channels.push(Seat {
                    node: n,
                    tower,
                    channel: fitted.channel,
                    piece,
                    at_m: fitted.at.unwrap_or(plan.towers[tower].at).0,
                    fitted: fitted.clone(),
                    period_s: 1.0 / node.rate_hz.max(1e-6),
                    still_period_s: 1.0 / node.still_rate_hz.max(1e-6),
                });
            }
        }
        Ok(Setup { plan: plan.clone(), kit: kit.clone(), node_tower, channels })
    }

    /// The index of a node's channel, where it is fitted.
    pub fn channel_of(&self, node: usize, channel: Channel) -> Option<usize> {
        self.channels.iter().position(|s| s.node == node && s.channel == channel)
    }

    /// The index of a tower by its id or its spoken name.
    pub fn tower(&self, word: &str) -> Option<usize> {
        self.plan
            .towers
            .iter()
            .position(|t| t.id == word)
            .or_else(|| self.plan.towers.iter().position(|t| t.name.eq_ignore_ascii_case(word)))
    }
}

fn listed<'a>(words: impl Iterator<Item = &'a str>) -> String {
    words.map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")
}
