//! Findings, calls and the monitor's pulse, published on the broker for beacons, displays and other programs.
//!
//! Calls and findings are retained, so that whoever comes late knows how things stand; the pulse never is, so that
//! a dead monitor cannot look alive. Publishing happens beside the poll loop, never inside it, where it would stall.
//! While the broker is away nothing is queued up: on its return the present state is published anew.

use super::Told;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::Step;
use rumqttc::{AsyncClient, Event, EventLoop, LastWill, MqttOptions, Packet, QoS};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender};
use tokio::sync::watch;

/// Requests that may wait inside the client; with the broker there it is emptied at once.
const ROOM: usize = 256;
/// First and longest pause before the next try when the broker is away.
const PAUSES: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(5));

/// How long the broker may take over the last of it.
const FAREWELL: Duration = Duration::from_secs(5);

/// What the poll loop tells the publisher.
enum Link {
    /// Connected (anew): publish the present state.
    Up,
    /// Not connected.
    Down,
    /// A retained finding or call, perhaps of an earlier run, lies on the broker.
    Leftover(String),
}

/// Publishes under `raisewatch/<site>/` until the queue ends, then says "not watching" and takes its calls back.
///
/// `options` carry address and login. The last will is set here.
pub async fn run(mut options: MqttOptions, site: String, mut queue: Receiver<Arc<Told>>) {
    let out = Topics { site };
    options.set_last_will(LastWill::new(out.monitor(), pulse_line(None, false), QoS::AtLeastOnce, false));
    let (client, polled) = AsyncClient::new(options, ROOM);
    let (tell, mut link) = tokio::sync::mpsc::channel(ROOM);
    let (tell_acked, mut acked) = watch::channel(0);
    let poll = tokio::spawn(poll(polled, out.clone(), client.clone(), tell, tell_acked));
    let mut publisher = Publisher { client, out, kept: BTreeMap::new(), last: None, up: false, asked: 0 };
    loop {
        tokio::select! {
            Some(change) = link.recv() => publisher.link(change),
            told = queue.recv() => match told {
                Some(told) => publisher.tell(&told),
                None => break,
            },
        }
    }
    publisher.leave();
    // Hung up on before it has acknowledged all, a broker drops what it has not yet read. One that is away must not hold
    // the end up.
    let _ = tokio::time::timeout(FAREWELL, acked.wait_for(|acked| *acked >= publisher.asked)).await;
    let _ = publisher.client.try_disconnect();
    let _ = tokio::time::timeout(FAREWELL, poll).await;
}

#[derive(Clone)]
struct Topics {
    site: String,
}

impl Topics {
    fn monitor(&self) -> String {
        format!("raisewatch/{}/monitor", self.site)
    }
    fn call(&self, to: &str) -> String {
        format!("raisewatch/{}/call/{to}", self.site)
    }
    fn finding(&self, id: &str) -> String {
        format!("raisewatch/{}/finding/{id}", self.site)
    }
}

/// Drives the connection: comes back with growing pauses, each change told once.
async fn poll(mut polled: EventLoop, out: Topics, client: AsyncClient, tell: Sender<Link>, acked: watch::Sender<u64>) {
    let mut pause = PAUSES.0;
    let mut up = false;
    loop {
        match polled.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                (up, pause) = (true, PAUSES.0);
                // A reconnected client is not subscribed any more.
                for ours in [out.finding("+"), out.call("+")] {
                    let _ = client.try_subscribe(ours, QoS::AtMostOnce);
                }
                if tell.send(Link::Up).await.is_err() {
                    return;
                }
            }
            Ok(Event::Incoming(Packet::Publish(found))) if found.retain && !found.payload.is_empty() => {
                let _ = tell.try_send(Link::Leftover(found.topic));
            }
            Ok(Event::Incoming(Packet::PubAck(_))) => acked.send_modify(|acked| *acked += 1),
            Ok(Event::Outgoing(rumqttc::Outgoing::Disconnect)) => return,
            Ok(_) => {}
            Err(fault) => {
                if up {
                    tracing::warn!(%fault, "calls no longer reach the broker");
                }
                up = false;
                if tell.send(Link::Down).await.is_err() {
                    return;
                }
                tokio::time::sleep(pause).await;
                pause = (pause * 2).min(PAUSES.1);
            }
        }
    }
}

struct Publisher {
    client: AsyncClient,
    out: Topics,
    /// What is retained by us, by topic: the newest of each call and finding.
    kept: BTreeMap<String, String>,
    /// The newest pulse.
    last: Option<(Mono, Step)>,
    up: bool,
    /// Packets at QoS 1 so far: each is acknowledged once.
    asked: u64,
}

impl Publisher {
    fn link(&mut self, change: Link) {
        match change {
            Link::Up => {
                self.up = true;
                for (topic, line) in self.kept.clone() {
                    self.publish(topic, true, line);
                }
            }
            Link::Down => self.up = false,
            Link::Leftover(topic) => {
                if !self.kept.contains_key(&topic) {
                    self.publish(topic, true, String::new());
                }
            }
        }
    }

    fn tell(&mut self, told: &Told) {
        match told {
            Told::Finding(finding) => self.keep(self.out.finding(&finding.id), finding),
            Told::Call(call) => self.keep(self.out.call(&call.to), call),
            Told::Pulse { t_ms, watching, step } => {
                self.last = Some((*t_ms, *step));
                if self.up {
                    // Not kept and not repeated: an old pulse is a lie.
                    let line = pulse_line(self.last, *watching);
                    let _ = self.client.try_publish(self.out.monitor(), QoS::AtMostOnce, false, line);
                }
            }
            // The pulse that follows says it; no call of before may stay beside it.
            Told::NotWatching { .. } => self.take_back(),
            Told::Taken(_) | Told::Refused { .. } | Told::HandOver(_) | Told::Reply { .. } => {}
        }
    }

    fn keep(&mut self, topic: String, line: &impl serde::Serialize) {
        let Ok(line) = serde_json::to_string(line) else { return };
        if self.up {
            self.publish(topic.clone(), true, line.clone());
        }
        self.kept.insert(topic, line);
    }

    /// Publishes at QoS 1, if the client can take it; what is kept is published anew when the link is up again.
    fn publish(&mut self, topic: String, retain: bool, line: String) {
        match self.client.try_publish(&topic, QoS::AtLeastOnce, retain, line) {
            Ok(()) => self.asked += 1,
            Err(_) => tracing::warn!(%topic, "not published: the broker does not take it"),
        }
    }

    /// Takes all that is retained back from the broker.
    fn take_back(&mut self) {
        for topic in std::mem::take(&mut self.kept).into_keys() {
            if self.up {
                // An empty retained packet is MQTT's way to take a retained one back.
                self.publish(topic, true, String::new());
            }
        }
    }

    /// A clean end: nothing retained stays behind that could be taken for a live call.
    fn leave(&mut self) {
        if self.up {
            self.publish(self.out.monitor(), false, pulse_line(self.last, false));
        }
        self.take_back();
    }
}

/// One pulse; absent values are null.
fn pulse_line(last: Option<(Mono, Step)>, watching: bool) -> String {
    let state = if watching { "watching" } else { "not-watching" };
    let pulse = Pulse { t_ms: last.map(|(t_ms, _)| t_ms), state, step: last.map(|(_, step)| step) };
    // Three plain values always print.
    serde_json::to_string(&pulse).unwrap_or_default()
}

#[derive(serde::Serialize)]
struct Pulse {
    t_ms: Option<Mono>,
    state: &'static str,
    step: Option<Step>,
}

/// The options for this sink, from the broker's URL and the login.
pub fn options(url: &str, site: &str, login: Option<&crate::sources::login::Login>) -> anyhow::Result<MqttOptions> {
    let client = format!("raisewatch-{site}-out-{}", std::process::id());
    crate::sources::dial::options(url, &client, login)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_is_as_the_forms_have_it() {
        assert_eq!(pulse_line(Some((Mono(1_500_500), Step::Raise)), true), r#"{"t_ms":1500.5,"state":"watching","step":"raise"}"#);
        assert_eq!(pulse_line(None, false), r#"{"t_ms":null,"state":"not-watching","step":null}"#);
    }

    #[test]
    fn topics_are_as_the_forms_have_them() {
        let out = Topics { site: "harbour-lane".into() };
        assert_eq!(out.monitor(), "raisewatch/harbour-lane/monitor");
        assert_eq!(out.call("spotter"), "raisewatch/harbour-lane/call/spotter");
        assert_eq!(out.finding("uneven-B-1"), "raisewatch/harbour-lane/finding/uneven-B-1");
    }
}
