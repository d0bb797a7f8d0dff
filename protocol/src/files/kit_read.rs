//! Reads a kit file: the broker, the nodes and how each is reached. Channels are read by `kit_channel`.

use super::kit_channel::read_channels;
use super::mistake::{Kind, Mistakes};
use super::plan_read::check_name;
use super::shorten;
use super::table::{Reader, Tab, choices, joined, shown};
use crate::kit::{Fitted, Kit, Node, Transport};
use crate::plan::Plan;
use crate::quantity::Frequency;
use crate::words::Channel;

const TOP_KEYS: &[&str] = &["broker", "own-broker", "login-file", "said"];

impl Kit {
    /// Reads a kit; `file` is its name for messages. Whether it fits a plan is [`Kit::read_for`]'s to say.
    ///
    /// # Errors
    /// All mistakes at once.
    pub fn read(text: &str, file: &str) -> Result<Kit, Mistakes> {
        read(text, file, None)
    }

    /// Reads a kit for a plan: its towers, pieces and places must be the plan's.
    ///
    /// # Errors
    /// All mistakes at once.
    pub fn read_for(text: &str, file: &str, plan: &Plan) -> Result<Kit, Mistakes> {
        read(text, file, Some(plan))
    }

    /// What of this kit does not fit the plan, in plain words; empty where all fits.
    pub fn check_against(&self, plan: &Plan) -> Vec<String> {
        let mut out = vec![];
        for node in &self.nodes {
            if !plan.towers.iter().any(|t| t.id == node.tower) {
                out.push(format!("node {}: tower `{}` is not in the plan", node.id, node.tower));
            }
            for fitted in &node.channels {
                let Some(id) = &fitted.piece else { continue };
                let piece = plan.pieces.iter().find(|p| p.id == *id);
                let place = format!("node {}, channel {}", node.id, fitted.channel);
                match (piece, fitted.at) {
                    (None, _) => out.push(format!("{place}: piece `{id}` is not in the plan")),
                    (Some(piece), Some(at)) if at.0 < -0.001 || at.0 > piece.length().0 + 0.001 => {
                        out.push(format!("{place}: {} m is off piece `{id}`, which is {} m long", at.0, piece.length().0));
                    }
                    _ => {}
                }
            }
        }
        out
    }
}

fn read(text: &str, file: &str, plan: Option<&Plan>) -> Result<Kit, Mistakes> {
    let (reader, table) = Reader::new(text, file, TOP_KEYS);
    let kit = read_kit(&Tab::new(&reader, table.get_ref(), 0..0, String::new()), plan);
    reader.end(kit)
}

fn read_kit(top: &Tab<'_, '_>, plan: Option<&Plan>) -> Option<Kit> {
    let broker = top.text("broker");
    if let Some(url) = broker
        && !["mqtt://", "mqtts://"].iter().any(|s| url.strip_prefix(s).is_some_and(|host| !host.is_empty() && !host.contains('@')))
    {
        top.wrong(
            "broker",
            Kind::BadName,
            format!("`{}`", shorten(url)),
            "a broker, as \"mqtt://127.0.0.1:1883\"; user and password stand in `login-file`",
        );
    }
    let own_broker = top.flag("own-broker").unwrap_or(false);
    if own_broker && top.has("broker") {
        top.wrong("own-broker", Kind::Contradiction, "`own-broker` beside `broker`", "one of the two");
    }
    let login_file = top.text("login-file");
    let said = top.flag("said").unwrap_or(false);
    let tabs = top.tables("node", "id");
    if tabs.is_empty() && top.get("node").is_none_or(|v| v.get_ref().is_array()) {
        top.missing("node", "at least one [[node]] of instruments");
    }
    let mut nodes: Vec<Node> = vec![];
    let mut whole = true;
    for tab in &tabs {
        match read_node(tab, plan) {
            Some(node) => {
                clashes(tab, &nodes, &node);
                nodes.push(node);
            }
            None => whole = false,
        }
    }
    top.done();
    whole.then(|| Kit { broker: broker.map(str::to_owned), own_broker, login_file: login_file.map(str::to_owned), said, nodes })
}

fn read_node(tab: &Tab<'_, '_>, plan: Option<&Plan>) -> Option<Node> {
    let id = tab.need_text("id", "\"n1\"");
    if let Some(id) = id {
        check_name(tab, "id", id);
        if matches!(id, "finding" | "call" | "monitor" | "said") {
            tab.wrong("id", Kind::ReservedName, format!("`{id}`, which is a topic of its own"), "another id");
        }
    }
    let tower = tab.need_text("tower", "\"A\"");
    if let (Some(tower), Some(plan)) = (tower, plan)
        && !plan.towers.iter().any(|t| t.id == tower)
    {
        let right = choices(tower, plan.towers.iter().map(|t| t.id.as_str()).collect::<Vec<_>>());
        tab.wrong("tower", Kind::UnknownTower, format!("`{}`, which is no tower of the plan", shorten(tower)), right);
    }
    let over = transport(tab);
    let rate = tab.above_zero("rate", tab.quantity::<Frequency>("rate"), false);
    let still = tab.above_zero("still-rate", tab.quantity::<Frequency>("still-rate"), false);
    let rate = rate.map_or(10.0, |r| r.0);
    if let Some(still) = still
        && still.0 > rate
    {
        tab.wrong("still-rate", Kind::Contradiction, format!("{} Hz, above `rate`", still.0), "a rate at or below `rate`");
    }
    let channels = read_channels(tab, over.as_ref(), plan);
    let map = map(tab, channels.as_deref().unwrap_or_default());
    tab.done();
    Some(Node {
        id: id?.to_owned(),
        tower: tower?.to_owned(),
        over: over?,
        rate_hz: rate,
        still_rate_hz: still.map_or(rate, |s| s.0),
        map: map?,
        channels: channels?,
    })
}

fn transport(tab: &Tab<'_, '_>) -> Option<Transport> {
    const WORDS: [&str; 3] = ["mqtt", "xdr", "modbus"];
    if !tab.has("over") {
        tab.missing("over", format!("one of {}", joined(WORDS)));
    }
    let over = tab.one_of("over", &WORDS);
    let port = tab.text("port").map(str::to_owned);
    let baud = tab.whole("baud", 300..=4_000_000).unwrap_or(9600) as u32;
    let address = tab.whole("address", 1..=247);
    let over = over?;
    for (key, where_needed) in [("port", "xdr and modbus"), ("baud", "xdr and modbus"), ("address", "modbus")] {
        let fits = over == "modbus" || (over == "xdr" && key != "address");
        if !fits && tab.has(key) {
            tab.wrong(key, Kind::Contradiction, format!("`{key}` on a node over `{over}`"), format!("`{key}` only over {where_needed}"));
        }
        if fits && key != "baud" && !tab.has(key) {
            tab.missing(key, if key == "port" { "the port, as \"/dev/serial/by-id/…\"" } else { "the address on the bus, as 3" });
        }
    }
    match over {
        "mqtt" => Some(Transport::Mqtt),
        "xdr" => Some(Transport::Xdr { port: port?, baud }),
        _ => Some(Transport::Modbus { port: port?, baud, address: u8::try_from(address?).ok()? }),
    }
}

/// Names that the node uses; each must mean a channel that is fitted.
fn map(tab: &Tab<'_, '_>, fitted: &[Fitted]) -> Option<Vec<(String, Channel)>> {
    if !tab.has("map") {
        return Some(vec![]);
    }
    let inner = tab.inner("map")?;
    let mut out = vec![];
    for (name, span, value) in inner.entries() {
        let place = inner.named(name);
        let words = || Channel::ALL.iter().map(|c| c.word()).collect::<Vec<_>>();
        let text = value.get_ref().as_str();
        match text.and_then(Channel::from_word) {
            Some(channel) if fitted.iter().any(|f| f.channel == channel) => out.push((name.to_owned(), channel)),
            Some(channel) => {
                let right = format!("a table [node.channel.{channel}]");
                tab.reader.tell(Kind::Contradiction, span, place, format!("`{channel}`, which is not fitted"), right);
            }
            None => {
                let kind = if text.is_some() { Kind::UnknownWord } else { Kind::WrongType };
                tab.reader.tell(kind, value.span(), place, shown(value.get_ref()), choices(text.unwrap_or_default(), words()));
            }
        }
    }
    Some(out)
}

/// Reports what two nodes cannot share: id, bus address, speed of a port, the load cell of a tower.
fn clashes(tab: &Tab<'_, '_>, before: &[Node], node: &Node) {
    for other in before {
        if other.id == node.id {
            tab.wrong("id", Kind::DuplicateId, format!("`{}` a second time", node.id), "an id of its own for every node");
        }
        let port = |over: &Transport| match over {
            Transport::Mqtt => None,
            Transport::Xdr { port, baud } => Some((port.clone(), *baud, None)),
            Transport::Modbus { port, baud, address } => Some((port.clone(), *baud, Some(*address))),
        };
        if let (Some(mine), Some(theirs)) = (port(&node.over), port(&other.over))
            && mine.0 == theirs.0
        {
            if mine.1 != theirs.1 {
                tab.wrong(
                    "baud",
                    Kind::Clash,
                    format!("{} baud on the port of node {}", mine.1, other.id),
                    format!("{} baud, as there", theirs.1),
                );
            }
            if mine.2.is_some() != theirs.2.is_some() {
                tab.wrong(
                    "over",
                    Kind::Clash,
                    format!("the port of node {}, which speaks otherwise", other.id),
                    "a port of its own, or one way of speaking",
                );
            } else if mine.2.is_some() && mine.2 == theirs.2 {
                tab.wrong("address", Kind::Clash, format!("the address of node {}", other.id), "an address of its own");
            }
        }
        for channel in [Channel::HeadLoad, Channel::RopeLoad] {
            let has = |n: &Node| n.channels.iter().any(|f| f.channel == channel);
            if other.tower == node.tower && has(node) && has(other) {
                let found = format!("a second `{channel}` at tower {}, beside node {}", node.tower, other.id);
                tab.wrong("channel", Kind::Clash, found, "one cell of a kind at a tower");
            }
        }
    }
}
