//! A small rig of two towers with a tilt and a cell each, spoken for by hand.

use super::*;

pub(super) const PLAN: &str = r#"
title = "Chalk Lane"
site = "chalk-lane"
working-height = "1.2 m"
trim-height = "5 m"
pace = "25 mm/s"
tolerance = "from-statics"
[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["8 m", "0 m"]
weight = "8.5 kg/m"
source = "maker"
[[tower]]
id = "A"
name = "Alpha"
at = "1 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
collapsed = "1.2 m"
full = "5.2 m"
[[tower]]
id = "B"
name = "Bravo"
at = "7 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
collapsed = "1.2 m"
full = "5.2 m"
[[load]]
name = "wash"
weight = "20 kg"
source = "weighed"
at = ["1 m", "3 m", "5 m", "7 m"]
"#;

pub(super) const KIT: &str = r#"
broker = "mqtt://127.0.0.1:1883"
[[node]]
id = "n1"
tower = "A"
over = "mqtt"
rate = "20 Hz"
[node.channel.truss-along]
piece = "front"
at = "1 m"
range = ["-10 deg", "10 deg"]
[node.channel.head-load]
[[node]]
id = "n2"
tower = "B"
over = "mqtt"
rate = "20 Hz"
[node.channel.truss-along]
piece = "front"
at = "7 m"
range = ["-10 deg", "10 deg"]
[node.channel.head-load]
"#;

/// A rig whose truth the test sets; it speaks at 20 Hz.
pub(super) struct Rig {
    pub(super) watch: Watch,
    pub(super) now: u64,
    pub(super) b_high_mm: f64,
    pub(super) shares: [f64; 2],
    pub(super) speaks: [bool; 2],
    pub(super) tilt_sign: [f64; 2],
    /// Each reading in a packet of its own.
    pub(super) split: bool,
    pub(super) lines: Vec<Output>,
}

impl Rig {
    pub(super) fn new() -> Self {
        Rig::with(KIT)
    }

    pub(super) fn with(kit: &str) -> Self {
        let plan = Plan::read(PLAN, "plan.toml").unwrap();
        let kit = Kit::read(kit, "kit.toml").unwrap();
        let watch = Watch::new(&plan, &kit, Phrases::default()).unwrap();
        let g = raisewatch_protocol::units::STANDARD_GRAVITY;
        let half = (8.5 * 8.0 + 80.0) * g / 2.0;
        Rig { watch, now: 0, b_high_mm: 0.0, shares: [half; 2], speaks: [true; 2], tilt_sign: [1.0; 2], split: false, lines: Vec::new() }
    }

    pub(super) fn give(&mut self, input: Input) {
        let lines = self.watch.step(Mono(self.now * 1000), &input).to_vec();
        self.lines.extend(lines);
    }

    /// Runs for `ms` at 20 Hz; `each` moves the truth.
    pub(super) fn run(&mut self, ms: u64, mut each: impl FnMut(&mut Rig)) {
        let end = self.now + ms;
        while self.now < end {
            self.now += 50;
            each(self);
            for node in 0..2 {
                if !self.speaks[node] {
                    continue;
                }
                let slope = (self.b_high_mm / 6000.0).atan() * self.tilt_sign[node];
                // A tenth of a unit of noise keeps a reading from looking frozen; it follows time, so a run repeats itself.
                let wobble = ((self.now / 50) % 7) as f64 - 3.0;
                let reading = |channel, value| Reading { channel, value: Ok(value), node_time_s: None };
                let readings = vec![
                    reading(Channel::TrussAlong, Value::Angle(Angle(slope + wobble * 1e-5))),
                    reading(Channel::HeadLoad, Value::Force(Force(self.shares[node] + wobble * 0.3))),
                ];
                if self.split {
                    for reading in readings {
                        self.give(Input::Packet(Packet { node, readings: vec![reading], seq: None }));
                    }
                } else {
                    self.give(Input::Packet(Packet { node, readings, seq: None }));
                }
            }
        }
        self.give(Input::Tick);
    }

    pub(super) fn step(&mut self, step: Step) {
        self.give(Input::Step(StepSet { step, by: Some("lead".into()) }));
    }

    pub(super) fn say(&mut self, said: Utterance, tower: Option<&str>, channel: Option<Channel>, by: &str) {
        self.give(Input::Said(Said {
            said,
            tower: tower.map(str::to_owned),
            channel,
            value: (said == Utterance::Turn).then_some(SaidValue::Number(1.0)),
            finding: None,
            by: Some(by.into()),
        }));
    }

    /// Zeroes and proves it, and starts to raise.
    pub(super) fn raising() -> Self {
        let mut rig = Rig::new();
        rig.zero();
        rig.prove();
        rig.step(Step::Raise);
        rig.run(1000, |_| {});
        rig
    }

    pub(super) fn zero(&mut self) {
        let loaded = std::mem::replace(&mut self.shares, [0.0; 2]);
        self.run(4000, |_| {});
        self.say(Utterance::Zero, None, Some(Channel::HeadLoad), "lead");
        self.shares = loaded;
        self.run(4000, |_| {});
        self.say(Utterance::Zero, None, Some(Channel::TrussAlong), "lead");
        self.run(1000, |_| {});
    }

    pub(super) fn prove(&mut self) {
        self.step(Step::TestLift);
        self.run(6000, |_| {});
        for (tower, sign) in [("A", -1.0), ("B", 1.0)] {
            self.say(Utterance::Turn, Some(tower), None, "lead");
            let target = self.b_high_mm + 25.0 * sign;
            self.run(2000, |r| r.b_high_mm += 25.0 * sign / 40.0);
            self.b_high_mm = target;
            self.run(5000, |_| {});
        }
    }

    pub(super) fn findings(&self) -> Vec<String> {
        let of = |o: &Output| match o {
            Output::Finding(f) => Some(format!("{} {} {} {}", f.id, f.severity, f.state, f.to)),
            _ => None,
        };
        self.lines.iter().filter_map(of).collect()
    }

    pub(super) fn calls(&self, to: &str) -> Vec<String> {
        let of = |o: &Output| match o {
            Output::Call(c) if c.to == to => Some(format!("{} {}: {}", c.call, c.state, c.text)),
            _ => None,
        };
        self.lines.iter().filter_map(of).collect()
    }

    pub(super) fn replies(&self) -> Vec<String> {
        let of = |o: &Output| match o {
            Output::Reply { text, refused, .. } => Some(format!("{}{text}", if *refused { "refused: " } else { "" })),
            _ => None,
        };
        self.lines.iter().filter_map(of).collect()
    }
}
