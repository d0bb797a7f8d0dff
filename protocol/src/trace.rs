//! A trace: JSON Lines that hold all that goes into the watch. The lines are those of docs/forms.md, "What goes in".
//!
//! What a line is, is told by the keys it has, never by trying one shape after another; a key that does not belong
//! is refused by name. [`Lines`] reads a whole file and also refuses time that falls.

use crate::mono::Mono;
use crate::said::{Said, SaidValue, StepSet};
use crate::words::{Channel, Step, Utterance};
use serde::{Deserialize, Serialize};
use std::io::BufRead;

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

/// What is wrong with a line of a trace.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}`{key}`: expected {expected}, found {found}", Place(*line))]
pub struct TraceFault {
    /// Line of the file, from 1; 0 where the line did not come from a file.
    pub line: u64,
    /// The key it is about.
    pub key: String,
    /// What would be right.
    pub expected: String,
    /// What was there.
    pub found: String,
}

/// "line 12: ", or nothing.
struct Place(u64);

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.0 == 0 { Ok(()) } else { write!(f, "line {}: ", self.0) }
    }
}

/// The keys that say what a line is; a line has exactly one of them. Beside each, the keys that may stand with it.
const SHAPES: &[(&str, &[&str])] = &[
    ("senml", &["node"]),
    ("xdr", &["node"]),
    ("raw", &["node"]),
    ("presence", &["node"]),
    ("link", &["state"]),
    ("step", &["by"]),
    ("said", &["tower", "channel", "value", "finding", "by"]),
    ("wall", &[]),
];

/// Every key of every line, in one pass over the text. An absent key and a null are the same: nothing was given.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Keys {
    t_ms: Option<f64>,
    node: Option<String>,
    senml: Option<serde_json::Value>,
    xdr: Option<String>,
    raw: Option<String>,
    presence: Option<Presence>,
    link: Option<String>,
    state: Option<LinkState>,
    step: Option<Step>,
    said: Option<Utterance>,
    tower: Option<String>,
    channel: Option<Channel>,
    value: Option<SaidValue>,
    finding: Option<String>,
    by: Option<String>,
    wall: Option<jiff::Timestamp>,
}

impl TraceLine {
    /// Reads one line.
    ///
    /// Errors: [`TraceFault`] (with `line` 0) naming the key, what it should hold and what it holds.
    pub fn parse(text: &str) -> Result<TraceLine, TraceFault> {
        let (t_ms, what) = Arrival::parse(text)?;
        match t_ms {
            Some(t_ms) => Ok(TraceLine { t_ms, what }),
            None => Err(fault("t_ms", "milliseconds since any origin", "no such key")),
        }
    }
    /// The line as text, without the line's end.
    pub fn to_json(&self) -> String {
        // None of the types can fail to serialise: no map with keys other than strings, no non-finite time.
        serde_json::to_string(self).unwrap_or_default()
    }
}

impl Arrival {
    /// Reads one line whose time may be left out, as a person or a page types it; the time is what the line claims.
    pub fn parse(text: &str) -> Result<(Option<Mono>, Arrival), TraceFault> {
        // serde would also fill the keys, in order, from a JSON array.
        if !text.trim_start().starts_with('{') {
            return Err(fault("line", "a JSON object", &quoted(text)));
        }
        let mut keys: Keys = serde_json::from_str(text).map_err(|error| diagnose(text, &error))?;
        let t_ms = match keys.t_ms {
            None => None,
            Some(ms) => {
                Some(Mono::from_ms(ms).ok_or_else(|| fault("t_ms", "milliseconds since any origin, not negative", &format!("{ms}")))?)
            }
        };
        Ok((t_ms, keys.arrival()?))
    }
}

impl<'de> Deserialize<'de> for TraceLine {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let mut keys = Keys::deserialize(d)?;
        let t_ms = keys.t_ms.and_then(Mono::from_ms);
        let t_ms = t_ms.ok_or_else(|| serde::de::Error::custom("`t_ms`: expected milliseconds, not negative"))?;
        Ok(TraceLine { t_ms, what: keys.arrival().map_err(serde::de::Error::custom)? })
    }
}

impl Keys {
    fn arrival(&mut self) -> Result<Arrival, TraceFault> {
        let shape = self.shape()?;
        self.only(shape)?;
        let taken = match shape.0 {
            "senml" => self.senml.take().map(|senml| Ok(Arrival::Senml { node: self.node()?, senml })),
            "xdr" => self.xdr.take().map(|xdr| Ok(Arrival::Xdr { node: self.node.take().unwrap_or_default(), xdr })),
            "raw" => self.raw.take().map(|raw| Ok(Arrival::Raw { node: self.node.take().unwrap_or_default(), raw })),
            "presence" => self.presence.map(|presence| Ok(Arrival::Presence { node: self.node()?, presence })),
            "link" => self.link.take().map(|link| {
                let state = self.state.ok_or_else(|| fault("state", "\"lost\" or \"back\"", "no such key"))?;
                Ok(Arrival::Link { link, state })
            }),
            "step" => self.step.map(|step| Ok(Arrival::Step(StepSet { step, by: self.by.take() }))),
            "said" => self.said.map(|said| Ok(Arrival::Said(self.said_with(said)))),
            _ => self.wall.map(|wall| Ok(Arrival::Wall { wall })),
        };
        // `shape` saw the key, so it is there.
        taken.unwrap_or_else(|| Err(fault(shape.0, "a value", "null")))
    }

    fn said_with(&mut self, said: Utterance) -> Said {
        Said {
            said,
            tower: self.tower.take(),
            channel: self.channel,
            value: self.value.take(),
            finding: self.finding.take(),
            by: self.by.take(),
        }
    }

    fn node(&mut self) -> Result<String, TraceFault> {
        match self.node.take() {
            Some(node) if !node.is_empty() => Ok(node),
            Some(_) => Err(fault("node", "the id of a node", "an empty text")),
            None => Err(fault("node", "the id of a node", "no such key")),
        }
    }

    /// Whether each key of `SHAPES` (and those beside them) was given.
    fn has(&self, key: &str) -> bool {
        match key {
            "senml" => self.senml.is_some(),
            "xdr" => self.xdr.is_some(),
            "raw" => self.raw.is_some(),
            "presence" => self.presence.is_some(),
            "link" => self.link.is_some(),
            "step" => self.step.is_some(),
            "said" => self.said.is_some(),
            "wall" => self.wall.is_some(),
            "node" => self.node.is_some(),
            "state" => self.state.is_some(),
            "tower" => self.tower.is_some(),
            "channel" => self.channel.is_some(),
            "value" => self.value.is_some(),
            "finding" => self.finding.is_some(),
            _ => self.by.is_some(),
        }
    }

    fn shape(&self) -> Result<&'static (&'static str, &'static [&'static str]), TraceFault> {
        let mut found = SHAPES.iter().filter(|(key, _)| self.has(key));
        let Some(first) = found.next() else {
            return Err(fault("t_ms", &format!("beside it one of {}", shape_names()), "none of them"));
        };
        match found.next() {
            None => Ok(first),
            Some((second, _)) => Err(fault(second, &format!("no such key beside `{}`", first.0), "both on one line")),
        }
    }

    fn only(&self, (shape, beside): &(&str, &[&str])) -> Result<(), TraceFault> {
        const BESIDE: [&str; 7] = ["node", "state", "tower", "channel", "value", "finding", "by"];
        match BESIDE.iter().find(|key| self.has(key) && !beside.contains(key)) {
            None => Ok(()),
            Some(key) => Err(fault(key, &format!("no such key beside `{shape}`"), "one")),
        }
    }
}

fn shape_names() -> String {
    SHAPES.iter().map(|(key, _)| format!("`{key}`")).collect::<Vec<_>>().join(" ")
}

fn fault(key: &str, expected: &str, found: &str) -> TraceFault {
    TraceFault { line: 0, key: key.to_owned(), expected: expected.to_owned(), found: found.to_owned() }
}

/// Why the one pass failed, by key: a second, slower look that only a bad line gets.
fn diagnose(text: &str, error: &serde_json::Error) -> TraceFault {
    let object = match serde_json::from_str::<serde_json::Value>(text) {
        Ok(serde_json::Value::Object(object)) => object,
        Ok(other) => return fault("line", "a JSON object", &shown(&other)),
        Err(error) => return fault("line", "a JSON object", &format!("{error} in {}", quoted(text))),
    };
    for (key, value) in &object {
        if let Some((expected, right)) = expected_of(key, value) {
            if !right {
                return fault(key, &expected, &shown(value));
            }
        } else {
            return fault(
                key,
                &format!("no such key; the keys are `t_ms` `node` `state` `tower` `channel` `value` `finding` `by` {}", shape_names()),
                &shown(value),
            );
        }
    }
    // What is left, such as a key given twice, serde names itself.
    fault("line", "each key once, with a value of its kind", &error.to_string())
}

/// What belongs under this key, and whether this value does; `None` for a key that no line has.
fn expected_of(key: &str, value: &serde_json::Value) -> Option<(String, bool)> {
    fn one_of<'a>(words: impl Iterator<Item = &'a str>) -> String {
        format!("one of {}", words.collect::<Vec<_>>().join(" "))
    }
    let word = value.as_str();
    let (expected, right) = match key {
        "t_ms" => ("a number of milliseconds".to_owned(), value.is_number()),
        "senml" => ("a SenML pack".to_owned(), true),
        "node" | "xdr" | "raw" | "link" | "tower" | "finding" | "by" => ("a text".to_owned(), value.is_string()),
        "value" => ("a number or a text".to_owned(), value.is_string() || value.is_number()),
        "presence" => ("\"online\" or \"offline\"".to_owned(), matches!(word, Some("online" | "offline"))),
        "state" => ("\"lost\" or \"back\"".to_owned(), matches!(word, Some("lost" | "back"))),
        "step" => (one_of(Step::ALL.iter().map(|s| s.word())), word.and_then(Step::from_word).is_some()),
        "said" => (one_of(Utterance::ALL.iter().map(|s| s.word())), word.and_then(Utterance::from_word).is_some()),
        "channel" => (one_of(Channel::ALL.iter().map(|s| s.word())), word.and_then(Channel::from_word).is_some()),
        "wall" => {
            let right = word.is_some_and(|w| w.parse::<jiff::Timestamp>().is_ok());
            ("a time such as 2031-05-14T13:56:00Z".to_owned(), right)
        }
        _ => return None,
    };
    Some((expected, right || value.is_null()))
}

/// A value as it stands, cut to what a person reads.
fn shown(value: &serde_json::Value) -> String {
    quoted(&value.to_string())
}

/// A text cut to 60 characters.
fn quoted(text: &str) -> String {
    let mut cut: String = text.trim().chars().take(60).collect();
    if cut.len() < text.trim().len() {
        cut.push('…');
    }
    cut
}

/// No line of a trace is longer; a longer one is refused, so that a file that is no trace does not fill the memory.
pub const MAX_LINE_BYTES: usize = 1 << 20;

/// Reads a trace file line by line: empty lines are passed over, time never falls.
pub struct Lines<R> {
    from: R,
    line: u64,
    last: Mono,
    buffer: Vec<u8>,
}

impl<R: BufRead> Lines<R> {
    /// Reads from `from`.
    pub fn new(from: R) -> Self {
        Lines { from, line: 0, last: Mono(0), buffer: Vec::new() }
    }
    /// The number of the line that was read last, from 1.
    pub fn line(&self) -> u64 {
        self.line
    }

    fn read(&mut self) -> Result<Option<TraceLine>, TraceFault> {
        loop {
            self.buffer.clear();
            self.line += 1;
            let mut limited = std::io::Read::take(&mut self.from, MAX_LINE_BYTES as u64 + 1);
            let got = limited.read_until(b'\n', &mut self.buffer);
            let got = got.map_err(|error| fault("line", "a readable file", &error.to_string()))?;
            if got == 0 {
                return Ok(None);
            }
            if got > MAX_LINE_BYTES {
                return Err(fault("line", &format!("at most {MAX_LINE_BYTES} bytes"), "more"));
            }
            let text = std::str::from_utf8(&self.buffer);
            let text = text.map_err(|e| fault("line", "UTF-8", &format!("another byte at column {}", e.valid_up_to() + 1)))?;
            if text.trim().is_empty() {
                continue;
            }
            let line = TraceLine::parse(text)?;
            if line.t_ms < self.last {
                return Err(fault("t_ms", &format!("no less than {}, the line before", self.last.ms()), &format!("{}", line.t_ms.ms())));
            }
            self.last = line.t_ms;
            return Ok(Some(line));
        }
    }
}

impl<R: BufRead> Iterator for Lines<R> {
    type Item = Result<TraceLine, TraceFault>;
    fn next(&mut self) -> Option<Self::Item> {
        let line = self.line + 1;
        match self.read() {
            Ok(line) => line.map(Ok),
            Err(fault) => Some(Err(TraceFault { line: self.line.max(line), ..fault })),
        }
    }
}

#[cfg(test)]
#[path = "trace_tests.rs"]
mod tests;
