//! Traces written by hand: plain kinematics of two heads and two loads, no physics and nothing of the simulator.
//!
//! They say what a crew would see on its instruments, so that what the watch makes of it can be held against docs/forms.md.

use std::fmt::Write;

/// What the instruments of the two towers would show at one moment, before mounting errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Heights of heads A and B over the level line, mm.
    pub heads_mm: [f64; 2],
    /// Loads at the heads, N.
    pub loads_n: [f64; 2],
    /// Lean of the masts along the truss, degrees.
    pub lean_deg: [f64; 2],
    /// Whether the nodes are heard.
    pub heard: [bool; 2],
}

impl Seen {
    /// Level, carrying these loads, plumb, heard.
    pub fn level(loads_n: [f64; 2]) -> Self {
        Seen { heads_mm: [0.0; 2], loads_n, lean_deg: [0.0; 2], heard: [true; 2] }
    }
}

/// A trace that is being written: time moves on as readings and words are added.
pub struct Hand {
    /// JSON Lines.
    pub text: String,
    /// Where time stands, ms.
    pub t_ms: f64,
    /// Distance of the towers, mm.
    pub span_mm: f64,
    /// What the two truss tilts show when the truss is level, degrees: taped on by hand.
    pub taped_deg: [f64; 2],
    /// What the two cells show with nothing on, N.
    pub empty_n: [f64; 2],
    /// Whether each channel travels in a packet of its own.
    pub split: bool,
    seed: u64,
}

impl Hand {
    /// An empty trace for towers so far apart.
    pub fn new(span_mm: f64) -> Self {
        Hand { text: String::new(), t_ms: 1000.0, span_mm, taped_deg: [0.31, -0.22], empty_n: [7.0, -4.0], split: false, seed: 7 }
    }

    /// A line at the present time, given as the inside of its JSON object.
    pub fn say(&mut self, inside: &str) {
        let _ = writeln!(self.text, "{{\"t_ms\":{},{inside}}}", self.t_ms);
    }

    /// Twenty readings a second of both nodes for so many seconds; `seen` gets the seconds since this call.
    pub fn run(&mut self, seconds: f64, seen: impl Fn(f64) -> Seen) {
        for k in 0..(seconds * 20.0).round() as u32 {
            let s = seen(f64::from(k) / 20.0);
            for tower in 0..2 {
                self.t_ms += 25.0;
                if s.heard[tower] {
                    self.reading(tower, &s);
                }
            }
        }
    }

    fn reading(&mut self, tower: usize, s: &Seen) {
        let rake = (s.heads_mm[1] - s.heads_mm[0]) / self.span_mm;
        let tilt = rake + (self.taped_deg[tower] + self.noise(0.02)).to_radians();
        let load = s.loads_n[tower] + self.empty_n[tower] + self.noise(1.5);
        let lean = (s.lean_deg[tower] + self.noise(0.02)).to_radians();
        let channels = [
            format!(r#"{{"n":"truss-along","u":"rad","v":{tilt:.6}}}"#),
            format!(r#"{{"n":"head-load","u":"N","v":{load:.1}}}"#),
            format!(r#"{{"n":"mast-along","u":"rad","v":{lean:.6}}}"#),
            format!(r#"{{"n":"mast-across","u":"rad","v":{:.6}}}"#, self.noise(0.02).to_radians()),
        ];
        let packets = if self.split { channels.to_vec() } else { vec![channels.join(",")] };
        for packet in packets {
            self.say(&format!(r#""node":"n{}","senml":[{packet}]"#, tower + 1));
        }
    }

    /// Evenly spread between plus and minus `half`, the same at every run.
    fn noise(&mut self, half: f64) -> f64 {
        // Knuth's MMIX linear congruential generator; the top bits are even enough for a dither.
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.seed >> 11) as f64 / (1u64 << 53) as f64 * 2.0 - 1.0) * half
    }

    /// In `rig`: cells zeroed bare, the truss hung, tilts and masts zeroed with the heads level.
    pub fn rigged(&mut self, loads_n: [f64; 2]) {
        self.say(r#""step":"rig","by":"lead""#);
        self.run(5.0, |_| Seen::level([0.0; 2]));
        for tower in ["A", "B"] {
            self.say(&format!(r#""said":"zero","tower":"{tower}","channel":"head-load","by":"lead""#));
        }
        self.run(4.0, |t| Seen::level(loads_n.map(|n| n * (t / 4.0))));
        self.run(6.0, |_| Seen::level(loads_n));
        for tower in ["A", "B"] {
            for channel in ["truss-along", "mast-along", "mast-across"] {
                self.say(&format!(r#""said":"zero","tower":"{tower}","channel":"{channel}","by":"lead""#));
            }
        }
    }

    /// Test lift: both up a hand's breadth, then one turn of each tower alone, and level again; `way` turns a turn round.
    pub fn proved(&mut self, loads_n: [f64; 2], way: [f64; 2]) {
        self.say(r#""step":"test-lift","by":"lead""#);
        self.run(8.0, |_| Seen::level(loads_n));
        for tower in [0, 1] {
            self.turn(tower, loads_n, way[tower]);
        }
    }

    fn turn(&mut self, tower: usize, loads_n: [f64; 2], way: f64) {
        let turned = |mm: f64| {
            let mut s = Seen::level(loads_n);
            s.heads_mm[tower] = mm * way;
            s
        };
        self.say(&format!(r#""said":"turn","tower":"{}","value":1,"by":"lead""#, ["A", "B"][tower]));
        self.run(1.0, |t| turned(25.0 * t));
        self.run(6.0, |_| turned(25.0));
        self.run(1.0, |t| turned(25.0 * (1.0 - t)));
        self.run(6.0, |_| turned(0.0));
    }
}
