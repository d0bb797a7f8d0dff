//! A node: instruments read at its rate, packed, numbered, sent; on the way packets are lost, late, or never sent.

use crate::effects::AtNode;
use crate::instrument::{Instrument, Noise, Wrongness};
use crate::stream::Stream;
use crate::wire::{self, Sent};
use raisewatch_protocol::kit::{self, Transport};
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::trace::{Arrival, Presence, TraceLine};
use raisewatch_protocol::words::Channel;

/// One box of instruments.
#[derive(Clone, Debug)]
pub struct Node {
    /// Id.
    pub id: String,
    /// Index of its tower.
    pub tower: usize,
    /// Its instruments, in the kit's order.
    pub instruments: Vec<Instrument>,
    over: Transport,
    prefix: String,
    rate_hz: f64,
    still_rate_hz: f64,
    next_us: u64,
    seq: u64,
    clock_s: f64,
    clock_pace: f64,
    last_arrival: Mono,
    presence: Option<Presence>,
    latency: [f64; 2],
    loss: f64,
    stream: Stream,
}

/// Serial lines of 9600 baud hold at most so many sentences a second. Source: docs/forms.md, "Wire".
const MOST_SENTENCES_HZ: f64 = 10.0;

impl Node {
    /// The node that the kit lists; `shared` where its port carries others too.
    pub fn new(
        node: &kit::Node,
        tower: usize,
        instruments: Vec<Instrument>,
        noise: &Noise,
        shared: usize,
        epoch_s: f64,
        seed: u64,
    ) -> Self {
        let mut stream = Stream::new(seed, &format!("node {}", node.id));
        let serial = !matches!(node.over, Transport::Mqtt);
        let most = if serial { MOST_SENTENCES_HZ / (shared.max(1) * sentences(&instruments)) as f64 } else { f64::INFINITY };
        let rate_hz = node.rate_hz.min(most).max(0.01);
        let phase = stream.between(0.0, 1.0 / rate_hz);
        Node {
            id: node.id.clone(),
            tower,
            instruments,
            over: node.over.clone(),
            prefix: if shared > 1 { format!("{}.", node.id) } else { String::new() },
            rate_hz,
            still_rate_hz: node.still_rate_hz.min(rate_hz).max(0.001),
            next_us: (phase * 1e6) as u64,
            seq: 0,
            clock_s: epoch_s + stream.between(-0.5, 0.5),
            clock_pace: 1.0 + stream.between(-20e-6, 20e-6),
            last_arrival: Mono(0),
            presence: None,
            latency: noise.latency,
            loss: noise.loss,
            stream,
        }
    }

    /// Whether it speaks MQTT.
    pub fn speaks_mqtt(&self) -> bool {
        matches!(self.over, Transport::Mqtt)
    }

    /// Lines that leave at `now` and arrive later, as they arrive.
    ///
    /// `resting`: nobody moves and the step stands, so that the node may slow down. `wrong` tells what is wrong with each
    /// instrument.
    pub fn speak(&mut self, now: Mono, resting: bool, at: &AtNode, wrong: impl Fn(Channel) -> Wrongness, out: &mut Vec<TraceLine>) {
        self.tell_presence(now, at, out);
        let slow = if resting { self.still_rate_hz } else { self.rate_hz };
        let rate_hz = at.rate_hz.map_or(slow, |r| r.min(slow));
        // Woken from its slow pace it speaks at once.
        self.next_us = self.next_us.min(now.0 + (1e6 / rate_hz) as u64);
        if now.0 < self.next_us {
            return;
        }
        self.next_us = (self.next_us + (1e6 / rate_hz).round() as u64).max(now.0.saturating_sub(100_000));
        let values = self.values(at, wrong);
        self.seq += 1;
        let way_s = self.stream.between(self.latency[0], self.latency[1]);
        let lost = self.stream.chance(self.loss + at.loss);
        if lost || at.silent || values.is_empty() {
            return;
        }
        let due = now + Span::from_s(way_s + at.late);
        let arrival = if at.late > 0.0 { due } else { Mono(due.0.max(self.last_arrival.0 + 1)) };
        self.last_arrival = self.last_arrival.max(if at.late > 0.0 { self.last_arrival } else { arrival });
        self.send(now, arrival, at, &values, out);
    }

    fn values(&mut self, at: &AtNode, wrong: impl Fn(Channel) -> Wrongness) -> Vec<Sent> {
        let serial = !matches!(self.over, Transport::Mqtt);
        self.instruments
            .iter_mut()
            .filter_map(|instrument| {
                let channel = instrument.channel;
                if let (Channel::Battery, Some(volts)) = (channel, at.battery) {
                    instrument.feel(volts, 10.0);
                }
                let (value, unit) = instrument.sample(&wrong(channel))?;
                let name =
                    if serial && instrument.name == channel.word() { wire::code(channel).to_owned() } else { instrument.name.clone() };
                Some(Sent { name, channel, value, unit })
            })
            .collect()
    }

    fn send(&mut self, now: Mono, arrival: Mono, at: &AtNode, values: &[Sent], out: &mut Vec<TraceLine>) {
        let clock_s = self.clock_s + now.s() * self.clock_pace + at.clock;
        match &self.over {
            Transport::Mqtt => {
                let senml = wire::senml(&self.id, clock_s, self.seq, values);
                out.push(TraceLine { t_ms: arrival, what: Arrival::Senml { node: self.id.clone(), senml } });
            }
            Transport::Xdr { baud, .. } | Transport::Modbus { baud, .. } => {
                let mut t = arrival;
                for xdr in wire::xdr(&self.prefix, values) {
                    // Ten bits a character, two characters of line end.
                    t = t + Span::from_s((xdr.len() + 2) as f64 * 10.0 / f64::from((*baud).max(300)));
                    let node = if self.prefix.is_empty() { self.id.clone() } else { String::new() };
                    out.push(TraceLine { t_ms: t, what: Arrival::Xdr { node, xdr } });
                }
                self.last_arrival = t;
            }
        }
    }

    fn tell_presence(&mut self, now: Mono, at: &AtNode, out: &mut Vec<TraceLine>) {
        if !matches!(self.over, Transport::Mqtt) {
            return;
        }
        let presence = if at.silent && at.will { Presence::Offline } else { Presence::Online };
        // A node that falls silent without a will says nothing of it.
        if self.presence != Some(presence) && (at.will || !at.silent) {
            self.presence = Some(presence);
            out.push(TraceLine { t_ms: now, what: Arrival::Presence { node: self.id.clone(), presence } });
        }
    }
}

/// Sentences that one packet of these instruments takes.
fn sentences(instruments: &[Instrument]) -> usize {
    instruments.len().div_ceil(4).max(1)
}
