//! Readings, presence and (where the kit allows it) steps and words from an MQTT broker.
//!
//! The session is clean and the subscription is made anew at every connection: nothing that waited at the broker is
//! taken for live. What is retained is refused, presence alone excepted: it is a state, not a reading.

use super::pause::{LONGEST, Pause};
use crate::inlet::{Closed, Inlet};
use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use raisewatch_protocol::intake::{Reason, Refusal};
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::topic::{self, Topic};
use raisewatch_protocol::trace::{Arrival, LinkState, Presence, TraceLine};
use rumqttc::{AsyncClient, ConnectionError, Event, MqttOptions, Packet, Publish, QoS, SubscribeFilter, SubscribeReasonCode};

/// A payload above this is refused unread: a line of a trace must hold it, and no honest pack is near it.
const MAX_PAYLOAD: usize = 256 * 1024;
/// So much of a payload that is not understood is kept for the record.
const KEPT: usize = 4096;
/// A larger packet would break the connection for all nodes, so this stands well above [`MAX_PAYLOAD`].
const MAX_PACKET: usize = 4 * 1024 * 1024;
/// What a link to the broker is called in a trace.
pub const LINK: &str = "broker";

/// One broker to listen to.
#[derive(Clone, Debug)]
pub struct MqttSource {
    /// How to reach it, by [`super::dial::options`].
    pub options: MqttOptions,
    /// The site of the plan.
    pub site: String,
    /// Whether steps and words are taken from it.
    pub said: bool,
}

impl MqttSource {
    /// Listens until the watch is gone.
    pub async fn run(self, inlet: Inlet) -> Closed {
        let mut link = Link::default();
        loop {
            let fault = match self.connected(&inlet, &mut link).await {
                Ok(fault) => fault,
                Err(closed) => return closed,
            };
            if let Err(closed) = link.lost(&inlet, &fault).await {
                return closed;
            }
            link.pause.wait().await;
        }
    }

    /// One connection, from the first try until it breaks; gives why.
    async fn connected(&self, inlet: &Inlet, link: &mut Link) -> Result<String, Closed> {
        let mut options = self.options.clone();
        options.set_max_packet_size(MAX_PACKET, MAX_PACKET);
        let (client, mut wire) = AsyncClient::new(options, 16);
        let filters = topic::filters(&self.site, self.said);
        loop {
            let polled = wire.poll().await;
            let t_ms = inlet.now();
            match polled {
                Err(fault) => return Ok(in_words(&fault)),
                Ok(Event::Incoming(Packet::ConnAck(_))) => {
                    let all = filters.iter().map(|f| SubscribeFilter::new(f.clone(), qos_of(f)));
                    // A new connection has an empty queue of 16, so this neither waits nor fails.
                    if client.try_subscribe_many(all).is_err() {
                        return Ok("the subscription could not be queued".to_owned());
                    }
                }
                Ok(Event::Incoming(Packet::SubAck(ack))) => {
                    if let Some(at) = ack.return_codes.iter().position(|code| *code == SubscribeReasonCode::Failure) {
                        return Ok(format!("the broker refuses the subscription to {}", filters.get(at).map_or("", |f| f)));
                    }
                    link.back(inlet, t_ms).await?;
                }
                Ok(Event::Incoming(Packet::Publish(publish))) => self.heard(inlet, t_ms, &publish).await?,
                Ok(Event::Incoming(Packet::Disconnect)) => return Ok("the broker said good-bye".to_owned()),
                Ok(_) => {}
            }
        }
    }

    async fn heard(&self, inlet: &Inlet, t_ms: Mono, publish: &Publish) -> Result<(), Closed> {
        match understood(&self.site, self.said, publish) {
            Ok(Some(what)) => inlet.put(TraceLine { t_ms, what }).await,
            Ok(None) => Ok(()),
            Err(refusal) => inlet.refuse(t_ms, refusal).await,
        }
    }
}

/// What is freshest matters for readings, that it comes at all for the rest.
fn qos_of(filter: &str) -> QoS {
    if filter.ends_with("/readings") { QoS::AtMostOnce } else { QoS::AtLeastOnce }
}

/// The arrival that a publish is, nothing where it means nothing, or why it is refused.
fn understood(site: &str, said: bool, publish: &Publish) -> Result<Option<Arrival>, Refusal> {
    let refuse = |node: &str, reason, text: String| Err(Refusal { node: node.to_owned(), reason, text });
    let payload: &[u8] = &publish.payload;
    let Some(topic) = Topic::of(&publish.topic, site) else {
        let name: String = publish.topic.chars().take(80).collect();
        return refuse("", Reason::UnknownName, format!("topic {name}: a node may not be called so"));
    };
    let (node, kind) = match topic {
        Topic::Readings { node } => (node, "readings"),
        Topic::Presence { node } => (node, "presence"),
        Topic::Said => ("", "said"),
    };
    if publish.retain && !matches!(topic, Topic::Presence { .. }) {
        return refuse(node, Reason::Retained, format!("retained {kind}: kept by the broker from earlier, would look live"));
    }
    if payload.len() > MAX_PAYLOAD {
        return refuse(node, Reason::TooLong, format!("{kind} of {} bytes, expected at most {MAX_PAYLOAD}", payload.len()));
    }
    let node = node.to_owned();
    match topic {
        Topic::Readings { .. } => match serde_json::from_slice(payload) {
            Ok(pack) => Ok(Some(Arrival::Senml { node, senml: settled(pack) })),
            Err(_) => Ok(Some(raw(node, payload))),
        },
        // An empty retained payload clears what was retained.
        Topic::Presence { .. } if payload.is_empty() => Ok(None),
        Topic::Presence { .. } => Ok(Some(match presence(payload) {
            Some(presence) => Arrival::Presence { node, presence },
            None => raw(node, payload),
        })),
        Topic::Said if !said => refuse("", Reason::NotAllowed, "said: the kit does not take steps and words from the broker".into()),
        Topic::Said => {
            match std::str::from_utf8(payload).map_err(|e| e.to_string()).and_then(|t| Arrival::parse(t).map_err(|e| e.to_string())) {
                Ok((_, what @ (Arrival::Step(_) | Arrival::Said(_)))) => Ok(Some(what)),
                Ok(_) => refuse("", Reason::NotAllowed, "said: expected a step or something said, found another line".into()),
                Err(fault) => refuse("", Reason::NotUnderstood, format!("said: {fault}")),
            }
        }
    }
}

/// Bytes as they came, cut to what the record keeps.
fn raw(node: String, payload: &[u8]) -> Arrival {
    Arrival::Raw { node, raw: BASE64_STANDARD.encode(&payload[..payload.len().min(KEPT)]) }
}

/// `online` or `offline`, bare, as a JSON text, or as `{"presence":…}`.
fn presence(payload: &[u8]) -> Option<Presence> {
    let text = std::str::from_utf8(payload).ok()?.trim();
    let word = match serde_json::from_str(text) {
        Ok(serde_json::Value::String(word)) => word,
        Ok(serde_json::Value::Object(object)) => object.get("presence")?.as_str()?.to_owned(),
        _ => text.to_owned(),
    };
    match word.as_str() {
        "online" => Some(Presence::Online),
        "offline" => Some(Presence::Offline),
        _ => None,
    }
}

/// The pack as it reads again from the record: printing and reading a number of 17 digits may move its last bit, and the
/// watch must be given now what a replay will give it.
fn settled(mut pack: serde_json::Value) -> serde_json::Value {
    // It moves at most once or twice; the bound only guards against a surprise.
    for _ in 0..8 {
        match serde_json::from_str::<serde_json::Value>(&pack.to_string()) {
            Ok(again) if again != pack => pack = again,
            _ => break,
        }
    }
    pack
}

fn in_words(fault: &ConnectionError) -> String {
    match fault {
        ConnectionError::ConnectionRefused(code) => format!("the broker refuses the connection: {code:?}"),
        other => other.to_string(),
    }
}

/// Whether the broker is there; each change is said once, not each try.
#[derive(Default)]
struct Link {
    is_lost: bool,
    why: String,
    pause: Pause,
    since: Option<Mono>,
}

impl Link {
    async fn lost(&mut self, inlet: &Inlet, why: &str) -> Result<(), Closed> {
        if let Some(since) = self.since.take()
            && inlet.clock().real_time(inlet.now().since(since)) > LONGEST
        {
            self.pause = Pause::default();
        }
        if !self.is_lost || self.why != why {
            tracing::warn!("broker: {why}; trying again");
            why.clone_into(&mut self.why);
        }
        if std::mem::replace(&mut self.is_lost, true) {
            return Ok(());
        }
        let what = Arrival::Link { link: LINK.to_owned(), state: LinkState::Lost };
        inlet.put(TraceLine { t_ms: inlet.now(), what }).await
    }

    async fn back(&mut self, inlet: &Inlet, t_ms: Mono) -> Result<(), Closed> {
        self.since = Some(t_ms);
        self.why.clear();
        if !std::mem::replace(&mut self.is_lost, false) {
            tracing::info!("broker: listening");
            return Ok(());
        }
        tracing::warn!("broker: back");
        let what = Arrival::Link { link: LINK.to_owned(), state: LinkState::Back };
        inlet.put(TraceLine { t_ms, what }).await
    }
}

#[cfg(test)]
#[path = "mqtt_tests.rs"]
mod tests;
