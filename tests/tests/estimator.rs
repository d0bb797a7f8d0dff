//! The estimator by itself, against the simulator's truth, where the wire is bad: packets that come late and out of order, packets
//! that are lost, nodes of mixed rates, a node that falls silent halfway. What it tells stays within what it says it knows, what
//! it cannot know is no number, and how readings are packed changes nothing.

#![allow(clippy::unwrap_used)] // a test, its helpers too

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::reading::Packet;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use raisewatch_protocol::words::Step;
use raisewatch_simulator::stream::Stream;
use raisewatch_simulator::{Lift, Script, Truth};
use raisewatch_tests::inside::{Count, true_offset_mm};
use raisewatch_tests::scenario::Scenario;
use raisewatch_watch::condition::Known;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::{Output, Watch};
use std::collections::BTreeMap;
use std::path::Path;

/// What the wire does to packets.
#[derive(Clone, Copy, Debug, Default)]
struct Wire {
    /// Every packet comes later by up to so much, each by its own: they overtake each other, s.
    late_s: f64,
    /// Share that is lost.
    lost: f64,
    /// This node is heard no more from so long after the start, s.
    gone: Option<(&'static str, f64)>,
}

/// Arrival within this much of the node's time is judged; the simulator's own way is up to 80 ms. Source: docs/forms.md, "Time".
const ALLOWED_S: f64 = 0.9;

const ACTS: [&str; 3] = [
    "start = { step = \"raise\", height = \"1.3 m\" }\n[[act]]\ndo = \"crank\"\nto = \"4.4 m\"\n",
    "start = { step = \"stand\", height = \"3 m\" }\n",
    "start = { step = \"lower\", height = \"4.4 m\" }\n[[act]]\ndo = \"crank\"\nto = \"1.3 m\"\n",
];

fn scenario(id: &str) -> Scenario {
    Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap()
}

/// A lift whose lines arrive as `wire` lets them; `each` sees the watch and the truth every 20 ms.
fn lift(id: &str, script: &str, seed: u64, wire: Wire, mut each: impl FnMut(Mono, &Watch, &Truth)) {
    let s = scenario(id);
    let script = format!("noise = {{ from = \"n1\", loss = {} }}\nwall = \"2031-05-14T14:00:00Z\"\nend = \"130 s\"\n{script}", wire.lost);
    let script = Script::read(&script, "estimator").unwrap();
    let mut lift = Lift::new(&s.plan, &s.kit, &script, seed).unwrap();
    let mut intake = Intake::new(&s.kit);
    let mut watch = Watch::new(&s.plan, &s.kit, Phrases::default()).unwrap();
    let mut way = Way::new(seed, wire);
    while !lift.over() {
        let to = lift.now() + Span::ms(20);
        for line in lift.advance(to) {
            way.send(line);
        }
        for line in way.arrived(to) {
            for input in intake.take(&line).inputs {
                watch.step(line.t_ms, &input);
            }
        }
        watch.step(to, &Input::Tick);
        each(to, &watch, &lift.truth());
    }
}

/// Packets on their way.
struct Way {
    wire: Wire,
    draw: Stream,
    on: BTreeMap<(Mono, u64), TraceLine>,
    sent: u64,
}

impl Way {
    fn new(seed: u64, wire: Wire) -> Self {
        Way { wire, draw: Stream::new(seed, "way"), on: BTreeMap::new(), sent: 0 }
    }

    fn send(&mut self, mut line: TraceLine) {
        if let Arrival::Senml { node, .. } = &line.what {
            if self.wire.gone.is_some_and(|(gone, at_s)| node == gone && line.t_ms.s() >= at_s) {
                return;
            }
            line.t_ms = line.t_ms + Span::from_s(self.draw.between(0.0, self.wire.late_s));
        }
        self.sent += 1;
        self.on.insert((line.t_ms, self.sent), line);
    }

    fn arrived(&mut self, to: Mono) -> Vec<TraceLine> {
        let still = self.on.split_off(&(to + Span(1), 0));
        std::mem::replace(&mut self.on, still).into_values().collect()
    }
}

/// Enough of each act that the part inside is known to about a hundredth.
const SEEDS: u64 = 8;

/// Offsets from their mean, of all lifts of this kit under this wire, samples 5 s apart, the first minute dropped.
fn offsets(id: &str, wire: Wire) -> Count {
    let mut count = Count::default();
    for act in ACTS {
        for seed in 1..=SEEDS {
            let mut next_s = 60.0;
            lift(id, act, seed, wire, |now, watch, truth| {
                if now.s() < next_s {
                    return;
                }
                next_s = now.s() + 5.0;
                for (j, tower) in watch.estimator().estimate().towers.iter().enumerate() {
                    count.see(tower.offset_mm, true_offset_mm(truth, j));
                }
            });
        }
    }
    println!(
        "{id} {wire:?}: {:.3} of {} inside, sigma {:.1} mm, error {:.1} mm rms, {} untold",
        count.part(),
        count.told,
        count.sigma(),
        count.rms(),
        count.untold
    );
    count
}

/// The stated 95 % interval holds the truth in at least 90 of 100, is told nearly always, and is no wider than `widest_mm`.
fn holds(id: &str, wire: Wire, widest_mm: f64) {
    let count = offsets(id, wire);
    assert!(count.told > 200 && count.untold * 20 < count.told, "{id} {wire:?}: {count:?}");
    assert!(count.part() >= 0.90, "{id} {wire:?}: {:.3} inside", count.part());
    assert!(count.sigma() < widest_mm, "{id} {wire:?}: told to {:.1} mm", count.sigma());
}

#[test]
fn late_packets_out_of_order_are_borne() {
    for id in ["01", "12", "13"] {
        holds(id, Wire { late_s: ALLOWED_S, lost: 0.01, ..Wire::default() }, 9.0);
    }
    for id in ["12", "13"] {
        holds(id, Wire { late_s: 0.3, lost: 0.01, ..Wire::default() }, 9.0);
    }
}

#[test]
fn a_tenth_and_a_third_of_the_packets_lost_are_borne() {
    for lost in [0.1, 0.3] {
        for id in ["01", "12", "13"] {
            holds(id, Wire { lost, ..Wire::default() }, 9.0);
        }
    }
}

#[test]
fn mixed_slow_and_fast_nodes_are_borne() {
    // Fifty and five a second; fifty, five and twenty; four; fifty.
    for id in ["89q", "89t", "87q", "88q"] {
        holds(id, Wire { lost: 0.01, ..Wire::default() }, 9.0);
    }
}

#[test]
fn late_and_lost_at_once_on_mixed_nodes_are_borne() {
    for id in ["89q", "89t"] {
        holds(id, Wire { late_s: ALLOWED_S, lost: 0.1, ..Wire::default() }, 9.0);
    }
}

/// One node gone from 65 s on: the level is told by the boxes that are left, honestly, or not at all; the share of the tower that is not
/// heard is no number, and no level is claimed.
#[test]
fn a_node_that_falls_silent_halfway_leaves_no_number_behind() {
    for (id, node, tower) in [("01", "nb", 1), ("12", "nb", 1), ("12", "nc", 2), ("13", "nc", 2)] {
        let wire = Wire { lost: 0.01, gone: Some((node, 65.0)), ..Wire::default() };
        let count = offsets(id, wire);
        assert!(count.told + count.untold > 200, "{count:?}");
        assert!(count.part() >= 0.90, "{id} without {node}: {count:?}");
        for act in ACTS {
            lift(id, act, 9, wire, |now, watch, truth| {
                let told = watch.estimator().estimate().towers[tower].measured_n;
                // Standing, nodes may sleep: half a minute (docs/forms.md, "Silence").
                let forgotten_s = if truth.step == Step::Stand { 97.0 } else { 67.0 };
                assert!(now.s() < forgotten_s || told.is_none(), "{id}, {act}: at {:.2} s {told:?} of a cell that is not heard", now.s());
                let heard = watch.estimator().estimate().towers[0].measured_n.unwrap_or(Known { value: -1.0, sigma: 0.0 });
                let true_n = truth.heads[0].share_n;
                assert!(now.s() < 5.0 || (heard.value - true_n).abs() < 0.25 * true_n, "{id}: {heard:?}, truth {true_n:.0}");
            });
        }
    }
}

/// Ways to pack the readings of one packet.
const PACKINGS: [fn(&Packet) -> Vec<Packet>; 3] = [
    |whole| vec![Packet { seq: None, ..whole.clone() }],
    |whole| whole.readings.iter().map(|r| Packet { node: whole.node, readings: vec![*r], seq: None }).collect(),
    |whole| whole.readings.chunks(2).map(|two| Packet { node: whole.node, readings: two.to_vec(), seq: None }).collect(),
];

/// All that is told on these lines with readings packed so, one a line, and the estimate at the end.
fn told(s: &Scenario, lines: &[TraceLine], pack: fn(&Packet) -> Vec<Packet>) -> String {
    let mut intake = Intake::new(&s.kit);
    let mut watch = Watch::new(&s.plan, &s.kit, Phrases::default()).unwrap();
    let mut out = String::new();
    let mut tell = |watch: &mut Watch, at: Mono, input: &Input| {
        for output in watch.step(at, input) {
            match output {
                Output::Finding(finding) => out += &serde_json::to_string(finding).unwrap(),
                Output::Call(call) => out += &serde_json::to_string(call).unwrap(),
                Output::HandOver(_) | Output::Reply { .. } => continue,
            }
            out.push('\n');
        }
    };
    for line in lines {
        while let Some(due) = watch.deadline().filter(|due| *due < line.t_ms) {
            tell(&mut watch, due, &Input::Tick);
        }
        for input in intake.take(line).inputs {
            match &input {
                Input::Packet(whole) => pack(whole).into_iter().for_each(|p| tell(&mut watch, line.t_ms, &Input::Packet(p))),
                other => tell(&mut watch, line.t_ms, other),
            }
        }
    }
    tell(&mut watch, lines.last().unwrap().t_ms, &Input::Tick);
    let towers = watch.estimator().estimate().towers.iter();
    // To what is told of a number: a tenth of its unit (docs/forms.md, "What comes out").
    let tenth = |k: Option<Known>| k.map(|k| (format!("{:.1}", k.value), format!("{:.1}", k.sigma)));
    let estimates: Vec<_> = towers.map(|t| format!("{:?} {:?}", tenth(t.offset_mm), tenth(t.measured_n))).collect();
    out + &estimates.join("\n")
}

fn same(id: &str, how: &str, whole: &str, other: &str) {
    let differs = whole.lines().zip(other.lines()).find(|(a, b)| a != b);
    assert!(whole == other, "{id}, {how}: first differs\n{}\n{}", differs.map_or("", |d| d.0), differs.map_or("", |d| d.1));
}

/// Packets in order, and late ones that overtake each other, some too late to be judged: the same bytes however the readings are
/// packed, and again.
#[test]
fn the_same_bytes_however_readings_are_packed() {
    let ids = ["01", "02", "04", "07", "09", "12", "13", "16", "20", "60", "65", "80u", "89t"];
    for (id, late_s) in ids.iter().flat_map(|id| [(id, 0.0), (id, 1.3)]) {
        let s = scenario(id);
        let mut lift = Lift::new(&s.plan, &s.kit, &s.script, 3).unwrap();
        let mut way = Way::new(3, Wire { late_s, ..Wire::default() });
        let mut lines = Vec::new();
        while !lift.over() {
            let to = lift.now() + Span::ms(20);
            lift.advance(to).into_iter().for_each(|line| way.send(line));
            lines.extend(way.arrived(to));
        }
        assert!(lines.windows(2).all(|w| w[0].t_ms <= w[1].t_ms));
        let [whole, single, pairs] = PACKINGS.map(|pack| told(&s, &lines, pack));
        assert!(whole.lines().count() >= 10, "{id}: something is told: {whole}");
        same(id, "again", &whole, &told(&s, &lines, PACKINGS[0]));
        same(id, "each channel in a packet of its own", &whole, &single);
        same(id, "two channels a packet", &whole, &pairs);
    }
}
