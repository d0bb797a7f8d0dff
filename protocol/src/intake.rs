//! From the lines of a trace to the inputs of the watch: what each node said, decoded by the kit, and a count of all
//! that was refused. Nothing is refused in silence, and nothing refused becomes a number.

use crate::input::Input;
use crate::kit::Kit;
use crate::trace::{Arrival, TraceLine};
use serde::Serialize;
use std::collections::BTreeMap;

/// Why something that arrived was not taken, one word each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// The kit has no such node.
    UnknownNode,
    /// The bytes are not what the node should speak.
    NotUnderstood,
    /// A checksum that does not fit.
    WrongSum,
    /// More than one packet may hold.
    TooLong,
    /// The pack names another node than the topic or port.
    OtherNode,
    /// The kit has no such channel or name.
    UnknownName,
    /// A unit that is none of ours, or does not fit the channel.
    WrongUnit,
    /// No unit, neither on the wire nor in the kit.
    NoUnit,
    /// Not a finite number.
    NotANumber,
    /// Older than a second, by the node's own word.
    Late,
    /// Kept by the broker from earlier: would look live.
    Retained,
    /// Steps and words are not taken from there.
    NotAllowed,
}

/// One thing that was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Refusal {
    /// The node, as the wire named it; may be empty.
    pub node: String,
    /// Why, in one word.
    pub reason: Reason,
    /// Why, in words: what was expected, what was found.
    pub text: String,
}

/// What one line gave.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Taken {
    /// For the watch, in order: normally one; two where one sentence carries two nodes.
    pub inputs: Vec<Input>,
    /// What of it was refused.
    pub refused: Vec<Refusal>,
}

/// Decodes by the kit, and counts refusals.
#[derive(Clone, Debug)]
pub struct Intake {
    nodes: BTreeMap<String, usize>,
    counts: BTreeMap<String, BTreeMap<Reason, u64>>,
}

impl Intake {
    /// Decodes by this kit.
    pub fn new(kit: &Kit) -> Self {
        Intake { nodes: kit.nodes.iter().enumerate().map(|(i, n)| (n.id.clone(), i)).collect(), counts: BTreeMap::new() }
    }

    /// What this line gives the watch.
    pub fn take(&mut self, line: &TraceLine) -> Taken {
        let mut taken = Taken::default();
        match &line.what {
            Arrival::Step(step) => taken.inputs.push(Input::Step(step.clone())),
            Arrival::Said(said) => taken.inputs.push(Input::Said(said.clone())),
            Arrival::Link { link, state } => taken.inputs.push(Input::Link { link: link.clone(), state: *state }),
            Arrival::Wall { wall } => taken.inputs.push(Input::Wall(*wall)),
            Arrival::Presence { node, presence } => {
                if let Some(&node) = self.nodes.get(node) {
                    taken.inputs.push(Input::Presence { node, presence: *presence });
                }
            }
            Arrival::Senml { .. } | Arrival::Xdr { .. } | Arrival::Raw { .. } => {}
        }
        taken
    }

    /// Counts a refusal that was made before a line came about (a retained reading).
    pub fn count(&mut self, refusal: &Refusal) {
        *self.counts.entry(refusal.node.clone()).or_default().entry(refusal.reason).or_default() += 1;
    }

    /// All refusals so far: node, reason, how many.
    pub fn counts(&self) -> &BTreeMap<String, BTreeMap<Reason, u64>> {
        &self.counts
    }
}
