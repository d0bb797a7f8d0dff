//! From the lines of a trace to the inputs of the watch: what each node said, decoded by the kit, and a count of all
//! that was refused. Nothing is refused in silence, and nothing refused becomes a number.

use crate::input::Input;
use crate::kit::{Calibration, Fitted, Kit, Node};
use crate::measure::measure;
use crate::reading::{NoValue, Packet, Reading};
use crate::senml::{self, Datum, RELATIVE_BELOW_S, Record};
use crate::trace::{Arrival, TraceLine};
use crate::words::Channel;
use crate::xdr::{Quad, QuadFault, Sentence, XdrFault};
use serde::Serialize;
use std::collections::BTreeMap;

/// A pack with more records is refused. Twice what a node of all eight channels sends in a second at 100 Hz, so that
/// no honest node is near it; it bounds the time that one packet can take.
pub const MAX_RECORDS: usize = 1600;
/// Readings older than this by the node's own word are not judged, s (docs/forms.md, "Wire").
pub const LATE_S: f64 = 1.0;
/// Nodes that the kit does not know are counted by name up to this many, then together, so that noise cannot fill the
/// memory.
const NAMED: usize = 32;
/// Where the others are counted.
const OTHERS: &str = "(others)";

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
    /// Not a finite number.
    NotANumber,
    /// Older than a second, by the node's own word.
    Late,
    /// Kept by the broker from earlier: would look live.
    Retained,
    /// Steps and words are not taken from there.
    NotAllowed,
}

impl Reason {
    /// The word by which it is counted.
    pub const fn word(self) -> &'static str {
        match self {
            Reason::UnknownNode => "unknown-node",
            Reason::NotUnderstood => "not-understood",
            Reason::WrongSum => "wrong-sum",
            Reason::TooLong => "too-long",
            Reason::OtherNode => "other-node",
            Reason::UnknownName => "unknown-name",
            Reason::WrongUnit => "wrong-unit",
            Reason::NotANumber => "not-a-number",
            Reason::Late => "late",
            Reason::Retained => "retained",
            Reason::NotAllowed => "not-allowed",
        }
    }
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

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let node = if self.node.is_empty() { "a node without a name" } else { &self.node };
        write!(f, "{node}: {} ({})", self.text, self.reason.word())
    }
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
    nodes: Vec<Node>,
    counts: BTreeMap<String, BTreeMap<Reason, u64>>,
}

/// A name on the wire, looked up in a node.
enum Named<'k> {
    Channel(&'k Fitted),
    Seq,
    Unknown,
}

impl Intake {
    /// Decodes by this kit.
    pub fn new(kit: &Kit) -> Self {
        Intake { nodes: kit.nodes.clone(), counts: BTreeMap::new() }
    }

    /// What this line gives the watch.
    pub fn take(&mut self, line: &TraceLine) -> Taken {
        let mut taken = Taken::default();
        match &line.what {
            Arrival::Step(step) => taken.inputs.push(Input::Step(step.clone())),
            Arrival::Said(said) => taken.inputs.push(Input::Said(said.clone())),
            Arrival::Link { link, state } => taken.inputs.push(Input::Link { link: link.clone(), state: *state }),
            Arrival::Wall { wall } => taken.inputs.push(Input::Wall(*wall)),
            Arrival::Presence { node, presence } => match self.find(node) {
                Some((node, _)) => taken.inputs.push(Input::Presence { node, presence: *presence }),
                None => taken.refuse(node, Reason::UnknownNode, "presence of a node that the kit does not have"),
            },
            Arrival::Senml { node, senml } => self.take_senml(node, senml, &mut taken),
            Arrival::Xdr { node, xdr } => self.take_xdr(node, xdr, &mut taken),
            Arrival::Raw { node, raw } => {
                let text = format!("expected SenML or an XDR sentence, found {} bytes of something else", raw.len() / 4 * 3);
                taken.refuse(node, Reason::NotUnderstood, &text);
            }
        }
        for refusal in &taken.refused {
            self.count(refusal);
        }
        taken
    }

    /// Counts a refusal; for those that were made before a line came about (a retained reading).
    pub fn count(&mut self, refusal: &Refusal) {
        let known = self.find(&refusal.node).is_some() || self.counts.contains_key(&refusal.node);
        let name = if known || self.counts.len() < self.nodes.len() + NAMED { refusal.node.as_str() } else { OTHERS };
        if !self.counts.contains_key(name) {
            self.counts.insert(name.to_owned(), BTreeMap::new());
        }
        if let Some(of_node) = self.counts.get_mut(name) {
            *of_node.entry(refusal.reason).or_default() += 1;
        }
    }

    /// All refusals so far: node, reason, how many.
    pub fn counts(&self) -> &BTreeMap<String, BTreeMap<Reason, u64>> {
        &self.counts
    }

    fn find(&self, id: &str) -> Option<(usize, &Node)> {
        self.nodes.iter().enumerate().find(|(_, node)| node.id == id)
    }

    fn take_senml(&self, id: &str, pack: &serde_json::Value, taken: &mut Taken) {
        let Some((index, node)) = self.find(id) else {
            return taken.refuse(id, Reason::UnknownNode, "readings of a node that the kit does not have");
        };
        if let Some(count) = pack.as_array().map(Vec::len).filter(|&n| n > MAX_RECORDS) {
            return taken.refuse(id, Reason::TooLong, &format!("{count} records, expected at most {MAX_RECORDS}"));
        }
        // Relative times only have to be ordered among themselves: a node uses one way or the other.
        let records = match senml::read(pack, 0.0) {
            Ok(records) => records,
            Err(fault) => return taken.refuse(id, Reason::NotUnderstood, &fault.to_string()),
        };
        if let Some(other) = records.iter().find_map(|r| other_node(&r.name, id)) {
            return taken.refuse(id, Reason::OtherNode, &format!("the pack names `{other}`, expected `{id}` as in the topic"));
        }
        let mut packet = Packet { node: index, readings: Vec::with_capacity(records.len()), seq: None };
        for record in &records {
            take_record(node, record, &mut packet, taken);
        }
        if !packet.readings.is_empty() {
            taken.inputs.push(Input::Packet(packet));
        }
    }

    fn take_xdr(&self, port_node: &str, text: &str, taken: &mut Taken) {
        let sentence = match Sentence::parse(text) {
            Ok(sentence) => sentence,
            Err(fault) => return taken.refuse(port_node, reason_of(&fault), &fault.to_string()),
        };
        let mut packets: Vec<Packet> = Vec::new();
        for group in sentence.readings() {
            match group {
                Ok((quad, value)) => self.take_quad(port_node, quad, Ok(value), &mut packets, taken),
                Err(QuadFault::NotANumber(quad)) => {
                    self.take_quad(port_node, quad, Err(NoValue::Garbled), &mut packets, taken);
                }
                Err(fault) => taken.refuse(port_node, Reason::NotUnderstood, &fault.to_string()),
            }
        }
        if sentence.stray() > 0 {
            let text = format!("{} fields left over, expected groups of four", sentence.stray());
            taken.refuse(port_node, Reason::NotUnderstood, &text);
        }
        taken.inputs.extend(packets.into_iter().map(Input::Packet));
    }

    fn take_quad(
        &self,
        port_node: &str,
        quad: Quad<'_>,
        value: Result<Option<f64>, NoValue>,
        packets: &mut Vec<Packet>,
        taken: &mut Taken,
    ) {
        let Some((index, node, name)) = self.addressed(port_node, quad.name, taken) else { return };
        let fitted = match lookup(node, name, code) {
            Named::Channel(fitted) => fitted,
            _ => return taken.refuse(&node.id, Reason::UnknownName, &not_in_kit(name)),
        };
        let value = match (value, letters(fitted, quad.kind, quad.unit)) {
            (Err(none), _) => {
                let text = format!("{}: `{}`, expected a number", fitted.channel, quad.value);
                taken.refuse(&node.id, Reason::NotANumber, &text);
                Err(none)
            }
            (Ok(_), Err(expected)) => {
                let text = format!("{}: type and unit {},{}, expected {expected}", fitted.channel, quad.kind, quad.unit);
                taken.refuse(&node.id, Reason::WrongUnit, &text);
                Err(NoValue::Garbled)
            }
            (Ok(None), Ok(_)) => Err(NoValue::Off),
            (Ok(Some(number)), Ok(unit)) => valued(node, fitted, number, unit, taken),
        };
        let reading = Reading { channel: fitted.channel, value, node_time_s: None };
        match packets.iter_mut().find(|p| p.node == index) {
            Some(packet) => packet.readings.push(reading),
            None => packets.push(Packet { node: index, readings: vec![reading], seq: None }),
        }
    }

    /// Which node a transducer's name is of: `NODE.CODE`, or `CODE` where the port has one node.
    fn addressed<'n>(&self, port_node: &str, name: &'n str, taken: &mut Taken) -> Option<(usize, &Node, &'n str)> {
        let (id, code) = match name.rsplit_once('.') {
            Some((id, code)) if self.find(id).is_some() || port_node.is_empty() => (id, code),
            _ => (port_node, name),
        };
        match self.find(id) {
            Some(_) if !port_node.is_empty() && id != port_node => {
                taken.refuse(port_node, Reason::OtherNode, &format!("the sentence names `{id}`, expected `{port_node}`"));
                None
            }
            Some((index, node)) => Some((index, node, code)),
            None if id.is_empty() => {
                let text = format!("transducer `{name}`, expected NODE.CODE on a port with several nodes");
                taken.refuse(id, Reason::UnknownName, &text);
                None
            }
            None => {
                taken.refuse(id, Reason::UnknownNode, "a sentence of a node that the kit does not have");
                None
            }
        }
    }
}

impl Taken {
    fn refuse(&mut self, node: &str, reason: Reason, text: &str) {
        let node = node.chars().take(40).collect();
        self.refused.push(Refusal { node, reason, text: text.to_owned() });
    }
}

fn reason_of(fault: &XdrFault<'_>) -> Reason {
    match fault {
        XdrFault::WrongSum { .. } => Reason::WrongSum,
        XdrFault::TooLong { .. } => Reason::TooLong,
        XdrFault::NoStart | XdrFault::NoSum | XdrFault::BadCharacter { .. } | XdrFault::NotXdr { .. } => Reason::NotUnderstood,
    }
}

/// The node that a SenML name names, if it is another than this.
fn other_node<'n>(name: &'n str, id: &str) -> Option<&'n str> {
    name.rsplit_once('/').map(|(node, _)| node).filter(|&node| node != id)
}

fn not_in_kit(name: &str) -> String {
    let name: String = name.chars().take(40).collect();
    format!("`{name}`: neither a channel that the kit lists for this node nor a name in its map")
}

/// The channel that a node's own name means; the node's map goes before the words that all nodes share.
fn lookup<'k>(node: &'k Node, name: &str, shared: fn(&str) -> Option<Channel>) -> Named<'k> {
    let mapped = node.map.iter().find(|(own, _)| own == name).map(|&(_, channel)| channel);
    match mapped.or_else(|| shared(name)) {
        Some(channel) => match node.channels.iter().find(|f| f.channel == channel) {
            Some(fitted) => Named::Channel(fitted),
            None => Named::Unknown,
        },
        None if name == "seq" => Named::Seq,
        None => Named::Unknown,
    }
}

fn take_record(node: &Node, record: &Record<'_>, packet: &mut Packet, taken: &mut Taken) {
    let name = record.name.rsplit_once('/').map_or(record.name.as_ref(), |(_, name)| name);
    let fitted = match lookup(node, name, Channel::from_word) {
        Named::Channel(fitted) => fitted,
        Named::Seq => return take_seq(node, record, packet, taken),
        Named::Unknown => return taken.refuse(&node.id, Reason::UnknownName, &not_in_kit(name)),
    };
    let node_time_s = match record.time_s {
        // Relative and past: its age. Relative and ahead cannot be a reading's age, so it is the node's own clock.
        Some(t) if (-RELATIVE_BELOW_S..=0.0).contains(&t) => {
            if t < -LATE_S {
                let text = format!("{}: {:.1} s old, expected at most {LATE_S} s", fitted.channel, -t);
                return taken.refuse(&node.id, Reason::Late, &text);
            }
            None
        }
        t => t,
    };
    let value = match &record.value {
        Some(Datum::Number(number)) if record.value_stated => valued(node, fitted, *number, record.unit, taken),
        other => {
            let found = match other {
                Some(Datum::Number(_)) => "none of its own",
                Some(Datum::Text(_)) => "a text",
                Some(Datum::Truth(_)) => "true or false",
                Some(Datum::Bytes(_)) => "bytes",
                None => "a sum alone",
            };
            taken.refuse(&node.id, Reason::NotANumber, &format!("{}: expected a number, found {found}", fitted.channel));
            Err(NoValue::Garbled)
        }
    };
    packet.readings.push(Reading { channel: fitted.channel, value, node_time_s });
}

fn take_seq(node: &Node, record: &Record<'_>, packet: &mut Packet, taken: &mut Taken) {
    if !matches!(record.unit, None | Some("count")) {
        let text = format!("seq: unit `{}`, expected `count`", record.unit.unwrap_or_default());
        return taken.refuse(&node.id, Reason::WrongUnit, &text);
    }
    match record.value {
        // Beyond 2^53 neighbouring whole numbers are one number.
        Some(Datum::Number(n)) if n >= 0.0 && n.fract() == 0.0 && n <= 9_007_199_254_740_992.0 => packet.seq = Some(n as u64),
        _ => taken.refuse(&node.id, Reason::NotANumber, "seq: expected a whole number from 0"),
    }
}

fn valued(node: &Node, fitted: &Fitted, number: f64, unit: Option<&str>, taken: &mut Taken) -> Result<crate::reading::Value, NoValue> {
    measure(fitted, number, unit).map_err(|fault| {
        taken.refuse(&node.id, Reason::WrongUnit, &format!("{}: {fault}", fitted.channel));
        NoValue::Garbled
    })
}

/// The transducer codes that all nodes share (docs/forms.md, "Wire").
fn code(code: &str) -> Option<Channel> {
    Some(match code {
        "TA" => Channel::TrussAlong,
        "TX" => Channel::TrussAcross,
        "MA" => Channel::MastAlong,
        "MX" => Channel::MastAcross,
        "HL" => Channel::HeadLoad,
        "RL" => Channel::RopeLoad,
        "HT" => Channel::Height,
        "BV" => Channel::Battery,
        _ => return None,
    })
}

/// The unit that XDR's two letters mean for this channel: its own, or none for a generic number (type G, no unit) where
/// the kit says what that is.
///
/// Errors: the letters that were expected.
fn letters(fitted: &Fitted, kind: &str, unit: &str) -> Result<Option<&'static str>, &'static str> {
    use Channel::*;
    let (right_kind, right_unit, symbol, expected) = match fitted.channel {
        MastAlong | MastAcross | TrussAlong | TrussAcross => ("A", "D", "deg", "A,D (degrees)"),
        HeadLoad | RopeLoad => ("N", "N", "N", "N,N (newtons)"),
        Height => ("D", "M", "m", "D,M (metres)"),
        Battery => ("U", "V", "V", "U,V (volts)"),
    };
    match (kind, unit) {
        ("G", "") if fitted.unit.is_some() || fitted.calibration != Calibration::None => Ok(None),
        _ if (kind, unit) == (right_kind, right_unit) => Ok(Some(symbol)),
        _ => Err(expected),
    }
}

#[cfg(test)]
#[path = "intake_tests.rs"]
mod tests;
