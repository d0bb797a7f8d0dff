//! The lift over MQTT: each node a client of its own, with its own last will; the crew another, which hears the calls.
//!
//! Topics: docs/forms.md, "Wire". Readings at QoS 0, numbered; presence retained; steps and words on the site's `said`.
//! Retained calls are not heard: they were made before we came.

use crate::play::Play;
use crate::wires::{self, Wires, WiresError};
use raisewatch_protocol::told::Call;
use raisewatch_protocol::topic;
use raisewatch_protocol::trace::{Arrival, Presence, TraceLine};
use rumqttc::{AsyncClient, Event, EventLoop, LastWill, MqttOptions, Packet, QoS};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinSet;

/// Where the broker is, and as whom we come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broker {
    /// Host.
    pub host: String,
    /// Port.
    pub port: u16,
    /// User and password.
    pub login: Option<(String, String)>,
}

impl Broker {
    /// The broker at `mqtt://host[:port]`.
    ///
    /// Errors: [`WiresError::Url`] for anything else, with what was found.
    pub fn at(url: &str) -> Result<Self, WiresError> {
        let wrong = || WiresError::Url { found: url.to_owned() };
        let rest = url.strip_prefix("mqtt://").ok_or_else(wrong)?.trim_end_matches('/');
        let (host, port) = match rest.rsplit_once(':') {
            Some((host, port)) if !host.ends_with(':') => (host, port.parse().map_err(|_| wrong())?),
            _ => (rest, 1883),
        };
        let host = host.trim_start_matches('[').trim_end_matches(']');
        if host.is_empty() || host.contains(['/', '@', ' ']) {
            return Err(wrong());
        }
        Ok(Broker { host: host.to_owned(), port, login: None })
    }

    fn options(&self, id: String) -> MqttOptions {
        let mut options = MqttOptions::new(id, self.host.clone(), self.port);
        options.set_keep_alive(Duration::from_secs(5)).set_clean_session(true);
        if let Some((user, password)) = &self.login {
            options.set_credentials(user, password);
        }
        options
    }
}

/// The lift's clients.
#[derive(Debug)]
pub struct Mqtt {
    site: String,
    nodes: Vec<(String, AsyncClient)>,
    crew: AsyncClient,
    // Dropped with the rest: the connections end, and the broker tells the last wills.
    _polls: JoinSet<()>,
}

/// Packets waiting for a broker that does not take them; more are dropped, as a radio would.
const WAITING: usize = 64;
/// After a broken connection, before the next try.
const AGAIN: Duration = Duration::from_millis(500);

impl Mqtt {
    /// Connects a client for each node and one for the crew; calls made to anybody come out of the receiver.
    ///
    /// Connecting goes on in the background, again and again while the broker is away.
    pub fn connect(broker: &Broker, site: &str, nodes: &[String]) -> (Self, mpsc::Receiver<Call>) {
        let mut polls = JoinSet::new();
        let (heard, calls) = mpsc::channel(256);
        let clients = nodes
            .iter()
            .map(|node| {
                let mut options = broker.options(format!("sim-{site}-{node}"));
                options.set_last_will(LastWill::new(topic::presence(site, node), "offline", QoS::AtLeastOnce, true));
                let (client, events) = AsyncClient::new(options, WAITING);
                polls.spawn(poll_node(events, client.clone(), topic::presence(site, node)));
                (node.clone(), client)
            })
            .collect();
        let (crew, events) = AsyncClient::new(broker.options(format!("sim-{site}-crew")), WAITING);
        polls.spawn(poll_crew(events, crew.clone(), format!("{}/{site}/call/#", topic::ROOT), heard));
        (Mqtt { site: site.to_owned(), nodes: clients, crew, _polls: polls }, calls)
    }

    /// Sends a line, if it is one that goes over MQTT; false where it could not be queued.
    pub fn send(&self, line: &TraceLine) -> bool {
        let sent = match &line.what {
            Arrival::Senml { node, senml } => {
                let Some(client) = self.client(node) else { return false };
                client.try_publish(topic::readings(&self.site, node), QoS::AtMostOnce, false, senml.to_string())
            }
            Arrival::Presence { node, presence } => {
                let Some(client) = self.client(node) else { return false };
                let word = if *presence == Presence::Online { "online" } else { "offline" };
                client.try_publish(topic::presence(&self.site, node), QoS::AtLeastOnce, true, word)
            }
            Arrival::Step(step) => self.say(serde_json::to_string(step)),
            Arrival::Said(said) => self.say(serde_json::to_string(said)),
            Arrival::Xdr { .. } | Arrival::Raw { .. } | Arrival::Link { .. } | Arrival::Wall { .. } => return false,
        };
        sent.is_ok()
    }

    fn say(&self, text: Result<String, serde_json::Error>) -> Result<(), rumqttc::ClientError> {
        // Our own types always print; an empty payload would be refused and counted at the other end.
        let text = text.unwrap_or_default();
        self.crew.try_publish(topic::said(&self.site), QoS::AtLeastOnce, false, text)
    }

    fn client(&self, node: &str) -> Option<&AsyncClient> {
        self.nodes.iter().find(|(id, _)| id == node).map(|(_, client)| client)
    }

    /// Says goodbye, so that nobody's last will is told.
    pub async fn close(&self) {
        for client in self.nodes.iter().map(|(_, client)| client).chain([&self.crew]) {
            // A broker that is gone needs no goodbye.
            let _ = client.disconnect().await;
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

async fn poll_node(mut events: EventLoop, client: AsyncClient, presence: String) {
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                // Full queues mean that more important things wait; presence is told anew at the next connection.
                let _ = client.try_publish(&presence, QoS::AtLeastOnce, true, "online");
            }
            Ok(_) => {}
            Err(rumqttc::ConnectionError::RequestsDone) => return,
            Err(error) => {
                tracing::warn!("broker: {error}");
                tokio::time::sleep(AGAIN).await;
            }
        }
    }
}

async fn poll_crew(mut events: EventLoop, client: AsyncClient, calls: String, heard: mpsc::Sender<Call>) {
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                // Subscriptions do not outlive a connection here: said again at each.
                let _ = client.try_subscribe(&calls, QoS::AtLeastOnce);
            }
            Ok(Event::Incoming(Packet::Publish(publish))) if !publish.retain => match serde_json::from_slice::<Call>(&publish.payload) {
                Ok(call) => {
                    if heard.send(call).await.is_err() {
                        return;
                    }
                }
                Err(error) => tracing::warn!("{}: not a call: {error}", publish.topic),
            },
            Ok(_) => {}
            Err(rumqttc::ConnectionError::RequestsDone) => return,
            Err(error) => {
                tracing::warn!("broker: {error}");
                tokio::time::sleep(AGAIN).await;
            }
        }
    }
}

/// Plays over MQTT alone, `speed` times as fast as life, until it is over; gives back what was played.
///
/// Errors: [`WiresError`] where the URL is not one of a broker.
pub async fn run<P: Play>(play: P, site: &str, url: &str, speed: f64) -> Result<P, WiresError> {
    let broker = Broker::at(url)?;
    let (mqtt, calls) = Mqtt::connect(&broker, site, &play.nodes());
    wires::run(play, Wires { mqtt: Some(mqtt), ports: None }, calls, speed).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_brokers_url_is_read() {
        let at = |url: &str| Broker::at(url).map(|b| (b.host, b.port)).ok();
        assert_eq!(at("mqtt://127.0.0.1:1884"), Some(("127.0.0.1".to_owned(), 1884)));
        assert_eq!(at("mqtt://hall.local"), Some(("hall.local".to_owned(), 1883)));
        assert_eq!(at("mqtt://[::1]:1885/"), Some(("::1".to_owned(), 1885)));
        for bad in ["127.0.0.1", "http://x", "mqtt://", "mqtt://a:b", "mqtt://u:p@host", "mqtt://a/b"] {
            assert!(Broker::at(bad).is_err(), "{bad}");
        }
    }
}
