//! What is said about each thing that arrives: what it is, whether it would be taken, and the kit lines that take it.

use super::guess::{Guess, by_letter, guess, numbers};
use raisewatch_protocol::kit::WireUnit;
use raisewatch_protocol::senml::{self, Datum};
use raisewatch_protocol::topic::Topic;
use raisewatch_protocol::words::Channel;
use raisewatch_protocol::xdr::{Sentence, XdrFault, checksum};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Nodes that are kept apart; a broker with more gets no further kit lines.
const NODES: usize = 64;

/// How a node is reached.
#[derive(Clone, Debug, PartialEq)]
pub enum Over {
    /// By the broker.
    Mqtt,
    /// On this port.
    Port {
        /// Device.
        port: String,
        /// Baud.
        baud: u32,
    },
}

/// One name that a node uses.
#[derive(Clone, Debug, PartialEq)]
struct Used {
    channel: Channel,
    /// What the kit must say, where the wire names no unit.
    unit: Option<WireUnit>,
    sure: bool,
}

/// What is known of one node.
#[derive(Default)]
struct Node {
    names: BTreeMap<String, Used>,
    heard: u64,
    first_s: f64,
    rate_told: bool,
}

/// Listens, and remembers who said what.
#[derive(Default)]
pub struct Ear {
    nodes: BTreeMap<String, Node>,
}

impl Ear {
    /// What to print for a publish that arrived at `now_s`.
    pub fn publish(&mut self, topic: &str, payload: &[u8], retained: bool, now_s: f64) -> Vec<String> {
        let mut out = vec![format!("{topic}{}  {}", if retained { "  (retained)" } else { "" }, shown(payload))];
        let parts: Vec<&str> = topic.split('/').collect();
        let ours = match parts[..] {
            ["raisewatch", site, ..] => Topic::of(topic, site),
            _ => None,
        };
        match ours {
            Some(Topic::Readings { .. }) if retained => {
                out.push("  refused: retained. A kept reading would look live; publish readings without the retain flag".into());
            }
            Some(Topic::Readings { node }) => self.readings(node, payload, now_s, &mut out),
            Some(Topic::Presence { .. }) => out.push("  understood: presence".into()),
            Some(Topic::Said) => out.push("  steps and words; taken where the kit says `said = true`".into()),
            None if parts[0] == "raisewatch" => out.push("  no topic of a node: readings come on raisewatch/SITE/NODE/readings".into()),
            None => {
                let (node, name) = node_of(&parts);
                self.foreign(&node, &name, payload, &Over::Mqtt, now_s, &mut out);
            }
        }
        out
    }

    /// What to print for a line that came on a port.
    pub fn line(&mut self, port: &str, baud: u32, line: &[u8], now_s: f64) -> Vec<String> {
        let mut out = vec![format!("{port}  {}", shown(line))];
        let over = Over::Port { port: port.to_owned(), baud };
        let text = std::str::from_utf8(line).unwrap_or_default();
        match Sentence::parse(text) {
            Ok(sentence) => self.sentence(&sentence, &over, now_s, &mut out),
            Err(XdrFault::NoStart) if !text.is_empty() => self.foreign("n1", "", line, &over, now_s, &mut out),
            Err(XdrFault::NoStart) => out.push(format!("  not text: is {baud} baud right?")),
            Err(fault) => out.push(format!("  refused: {fault}")),
        }
        out
    }

    fn readings(&mut self, node: &str, payload: &[u8], now_s: f64, out: &mut Vec<String>) {
        let Ok(pack) = serde_json::from_slice::<serde_json::Value>(payload) else {
            return self.foreign(node, "", payload, &Over::Mqtt, now_s, out);
        };
        if !pack.is_array() {
            return self.foreign(node, "", payload, &Over::Mqtt, now_s, out);
        }
        let records = match senml::read(&pack, 0.0) {
            Ok(records) => records,
            Err(fault) => return out.push(format!("  refused: {fault}")),
        };
        let (mut names, mut values) = (BTreeMap::new(), Vec::new());
        for record in &records {
            let (of, name) = record.name.rsplit_once('/').unwrap_or((node, &record.name));
            if of != node {
                return out.push(format!("  refused: the pack names `{of}`, the topic `{node}`"));
            }
            let Some(Datum::Number(number)) = record.value else {
                out.push(format!("  `{name}`: no number, would not be taken"));
                continue;
            };
            values.push(format!("{name} {number} {}", record.unit.unwrap_or("(no unit)")));
            self.senml_name(name, record.unit, &mut names, out);
        }
        out.push(format!("  understood: SenML: {}", values.join(", ")));
        self.kit_lines(node, names, &Over::Mqtt, now_s, out);
    }

    fn senml_name(&self, name: &str, unit: Option<&str>, names: &mut BTreeMap<String, Used>, out: &mut Vec<String>) {
        if name == "seq" {
            return;
        }
        let known = unit.map(|unit| (unit, WireUnit::from_symbol(unit)));
        if let Some((unit, None)) = known {
            out.push(format!("  `{name}`: unit `{unit}` would be refused; expected one of rad deg N kg m mm V mV"));
        }
        match guess(name) {
            None => out.push(format!("  `{name}`: nothing that is watched, unless the kit's map says what it is")),
            Some(guess) => {
                let unit = if known.is_some() { None } else { Some(guess.unit) };
                let sure = guess.sure || (known.is_some() && name == guess.channel.word());
                names.insert(name.to_owned(), Used { channel: guess.channel, unit, sure });
            }
        }
    }

    fn sentence(&mut self, sentence: &Sentence<'_>, over: &Over, now_s: f64, out: &mut Vec<String>) {
        let mut names: BTreeMap<String, BTreeMap<String, Used>> = BTreeMap::new();
        for group in sentence.readings() {
            match group {
                Err(fault) => out.push(format!("  refused: {fault}")),
                Ok((quad, _)) => {
                    let (node, name) = quad.name.rsplit_once('.').unwrap_or(("n1", quad.name));
                    match code(name).or_else(|| guess(name).map(|g| g.channel)).or_else(|| by_letter(quad.kind)) {
                        None => out.push(format!("  `{}`: type {} is nothing that is watched", quad.name, quad.kind)),
                        Some(channel) => {
                            let used = Used { channel, unit: None, sure: code(name).is_some() };
                            names.entry(node.to_owned()).or_default().insert(name.to_owned(), used);
                        }
                    }
                }
            }
        }
        out.push("  understood: XDR".into());
        for (node, names) in names {
            self.kit_lines(&node, names, over, now_s, out);
        }
    }

    /// Something that is not in the wire's form: said plainly, with what the node must send in its place.
    fn foreign(&mut self, node: &str, name: &str, payload: &[u8], over: &Over, now_s: f64, out: &mut Vec<String>) {
        let text = std::str::from_utf8(payload).unwrap_or_default();
        let Ok(value) = serde_json::from_str::<serde_json::Value>(text.trim()) else {
            return out.push(format!("  cannot be taken: {}, expected {}", what(payload), expected(over)));
        };
        let found: Vec<(String, f64)> =
            numbers(&value).into_iter().map(|(path, number)| (if path.is_empty() { name.to_owned() } else { path }, number)).collect();
        let guessed: Vec<(String, f64, Guess)> =
            found.iter().filter_map(|(path, number)| guess(path).map(|g| (senml_safe(path), *number, g))).collect();
        let kind = match value {
            serde_json::Value::Object(_) => "a JSON object",
            serde_json::Value::Array(_) => "a JSON list that is no SenML",
            serde_json::Value::Number(_) => "a bare number",
            _ => "JSON without numbers",
        };
        out.push(format!("  cannot be taken as it is: {kind}, expected {}", expected(over)));
        if guessed.is_empty() {
            return out.push("  nothing in it looks like a tilt, load, height or battery".into());
        }
        let mut names = BTreeMap::new();
        match over {
            Over::Mqtt => {
                out.push(format!("  the node must send, to raisewatch/SITE/{node}/readings:"));
                out.push(format!("    {}", pack_of(&guessed)));
                for (name, _, g) in &guessed {
                    names.insert(name.clone(), Used { channel: g.channel, unit: None, sure: g.sure });
                }
            }
            Over::Port { .. } => {
                out.push("  the node must send:".into());
                out.push(format!("    {}", sentence_of(&guessed)));
                for (_, _, g) in &guessed {
                    names.insert(code_of(g.channel).to_owned(), Used { channel: g.channel, unit: None, sure: g.sure });
                }
            }
        }
        self.kit_lines(node, names, over, now_s, out);
    }

    /// The kit lines, where a node says something that it did not say before; its rate, once it is known.
    fn kit_lines(&mut self, id: &str, names: BTreeMap<String, Used>, over: &Over, now_s: f64, out: &mut Vec<String>) {
        if names.is_empty() || (self.nodes.len() >= NODES && !self.nodes.contains_key(id)) {
            return;
        }
        let node = self.nodes.entry(id.to_owned()).or_default();
        if node.heard == 0 {
            node.first_s = now_s;
        }
        node.heard += 1;
        let before = node.names.len();
        for (name, used) in names {
            node.names.entry(name).or_insert(used);
        }
        let rate = (node.heard > 20).then(|| (node.heard - 1) as f64 / (now_s - node.first_s).max(1e-3));
        if node.names.len() > before {
            out.push("  kit lines that would accept it:".into());
            out.extend(lines(id, node, over, rate).lines().map(|line| format!("    {line}")));
        } else if let Some(rate) = rate.filter(|_| !node.rate_told) {
            node.rate_told = true;
            out.push(format!("  {id} is heard {rate:.1} times a second: rate = \"{} Hz\"", rounded(rate)));
        }
    }
}

/// The `[[node]]` of a kit.
fn lines(id: &str, node: &Node, over: &Over, rate: Option<f64>) -> String {
    let mut text = format!("[[node]]\nid = \"{id}\"\ntower = \"A\"        # the tower it stands at\n");
    match over {
        Over::Mqtt => text.push_str("over = \"mqtt\"\n"),
        Over::Port { port, baud } => {
            let _ = writeln!(text, "over = \"xdr\"\nport = \"{port}\"\nbaud = {baud}");
        }
    }
    match rate {
        Some(rate) => writeln!(text, "rate = \"{} Hz\"", rounded(rate)),
        None => writeln!(text, "rate = \"10 Hz\"     # not yet measured"),
    }
    .unwrap_or_default();
    let own: Vec<String> = node
        .names
        .iter()
        .filter(|(name, used)| name.as_str() != used.channel.word() && code(name) != Some(used.channel))
        .map(|(name, used)| format!("\"{name}\" = \"{}\"", used.channel))
        .collect();
    if !own.is_empty() {
        let _ = writeln!(text, "map = {{ {} }}", own.join(", "));
    }
    let mut told = Vec::new();
    for (name, used) in &node.names {
        let twice = told.contains(&used.channel);
        told.push(used.channel);
        if twice {
            let _ = writeln!(text, "# {name} also looks like {}: one of the two is another channel", used.channel);
            continue;
        }
        let _ = writeln!(text, "\n[node.channel.{}]{}", used.channel, if used.sure { "" } else { "    # a guess by its name" });
        if matches!(used.channel, Channel::TrussAlong | Channel::TrussAcross) {
            text.push_str("at = \"1 m\"           # where it sits on the piece\n");
        }
        if let Some(unit) = used.unit {
            let _ = writeln!(text, "unit = \"{}\"         # the wire names none", unit.symbol());
        }
    }
    text
}

fn rounded(rate: f64) -> String {
    if rate >= 1.0 { format!("{rate:.0}") } else { format!("{rate:.2}") }
}

fn pack_of(guessed: &[(String, f64, Guess)]) -> String {
    let records = guessed.iter().map(|(name, number, g)| serde_json::json!({"n": name, "u": g.unit.symbol(), "v": number * g.times}));
    serde_json::Value::from_iter(records).to_string()
}

fn sentence_of(guessed: &[(String, f64, Guess)]) -> String {
    let mut body = "YXXDR".to_owned();
    for (_, number, g) in guessed {
        let si = number * g.times;
        let (kind, unit, value) = match g.unit {
            WireUnit::Rad => ("A", "D", si.to_degrees()),
            WireUnit::Deg => ("A", "D", si),
            WireUnit::N => ("N", "N", si),
            WireUnit::Kg => ("N", "N", raisewatch_protocol::units::Force::from_kg(si).0),
            WireUnit::M => ("D", "M", si),
            WireUnit::Mm => ("D", "M", si / 1000.0),
            WireUnit::V => ("U", "V", si),
            WireUnit::Mv => ("U", "V", si / 1000.0),
        };
        let group = format!(",{kind},{},{unit},{}", (value * 1000.0).round() / 1000.0, code_of(g.channel));
        // The standard allows 82 characters; what does not fit goes into a second sentence.
        if body.len() + group.len() <= 74 {
            body.push_str(&group);
        }
    }
    format!("${body}*{:02X}", checksum(&body))
}

fn code_of(channel: Channel) -> &'static str {
    match channel {
        Channel::TrussAlong => "TA",
        Channel::TrussAcross => "TX",
        Channel::MastAlong => "MA",
        Channel::MastAcross => "MX",
        Channel::HeadLoad => "HL",
        Channel::RopeLoad => "RL",
        Channel::Height => "HT",
        Channel::Battery => "BV",
    }
}

fn code(name: &str) -> Option<Channel> {
    Channel::ALL.iter().copied().find(|channel| code_of(*channel) == name)
}

/// Node and name from a topic that is none of ours: `hall/tower1/load` gives `tower1` and `load`.
fn node_of(parts: &[&str]) -> (String, String) {
    const GENERAL: [&str; 8] = ["data", "state", "readings", "json", "values", "telemetry", "status", "sensor"];
    let useful: Vec<&str> = parts.iter().copied().filter(|part| !part.is_empty() && !GENERAL.contains(part)).collect();
    let (node, name) = match useful[..] {
        [.., node, last] if guess(last).is_some() => (node, last),
        [.., last] => (last, last),
        [] => ("n1", ""),
    };
    (senml_safe(node), name.to_owned())
}

/// A name that SenML and the kit allow.
fn senml_safe(name: &str) -> String {
    let safe: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || "-:._".contains(c) { c } else { '-' }).collect();
    let safe = safe.trim_start_matches(|c: char| !c.is_ascii_alphanumeric());
    if safe.is_empty() { "n1".to_owned() } else { safe.chars().take(40).collect() }
}

fn expected(over: &Over) -> &'static str {
    match over {
        Over::Mqtt => "a SenML pack such as [{\"n\":\"truss-along\",\"u\":\"deg\",\"v\":0.12},{\"n\":\"head-load\",\"u\":\"N\",\"v\":951}]",
        Over::Port { .. } => "an XDR sentence such as $YXXDR,A,0.12,D,TA,N,982,N,HL*75",
    }
}

fn what(payload: &[u8]) -> &'static str {
    match std::str::from_utf8(payload) {
        Ok("") => "nothing",
        Ok(text) if text.trim_start().starts_with(['{', '[']) => "JSON that is broken",
        Ok(_) => "text",
        Err(_) => "bytes that are no text",
    }
}

/// What came, as a person can read it, on one line.
fn shown(bytes: &[u8]) -> String {
    const MOST: usize = 400;
    let cut = if bytes.len() > MOST { "…" } else { "" };
    let bytes = &bytes[..bytes.len().min(MOST)];
    match std::str::from_utf8(bytes) {
        Ok(text) => format!("{}{cut}", text.trim_end().escape_debug().to_string().replace("\\\"", "\"").replace("\\'", "'")),
        Err(_) => format!("bytes {}{cut}", bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ")),
    }
}

#[cfg(test)]
#[path = "ear_tests.rs"]
mod tests;
