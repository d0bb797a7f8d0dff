//! Synthetic series for tests: a lift whose heads, loads and instruments are written down second by second, with noise from a
//! seed. No simulator here: what the shares should be comes from the statics, what happens comes from each test.

use super::Causes;
use crate::calibrate::Calibrated;
use crate::condition::{Condition, Stands};
use crate::estimate::Estimator;
use crate::health::Health;
use crate::life::delays::delays;
use crate::limits::Limits;
use crate::scene::{Motion, Scene};
use crate::setup::Setup;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};
use raisewatch_protocol::{Mono, Span};
use raisewatch_statics::{Bearing, Model, Standing};

/// Worked example 1 of docs/trade.md section 3.7, as docs/forms.md writes it.
pub const HARBOUR: &str = r#"
title = "Harbour Lane AGM"
site = "harbour-lane"
working-height = "1.2 m"
trim-height = "5.0 m"
pace = "25 mm/s"
tolerance = "from-statics"
[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["8 m", "0 m"]
weight = "8.5 kg/m"
bending = "1.7 MN m2"
[[tower]]
id = "A"
name = "Alpha"
at = "1 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "B"
name = "Bravo"
at = "7 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[load]]
name = "wash"
weight = "10.4 kg"
source = "weighed"
at = ["0.4 m", "1.8 m", "3.2 m", "4.8 m", "6.2 m", "7.6 m"]
[[load]]
name = "spot"
weight = "25.6 kg"
source = "label"
at = ["2.5 m", "5.5 m"]
[[cable]]
name = "multicore"
weight = "7.7 kg"
from = "0 m"
to = "8 m"
[[cable]]
name = "data"
weight = "4.9 kg"
from = "0 m"
to = "8 m"
[[cable]]
name = "tails"
weight = "2.34 kg/m"
tail-at = "7.5 m"
"#;

/// Worked example 3b: three towers in line.
pub const TANNERS: &str = r#"
title = "Tanners' Yard"
site = "tanners"
working-height = "1.2 m"
trim-height = "4.0 m"
pace = "25 mm/s"
tolerance = "from-statics"
[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["10 m", "0 m"]
weight = "24 kg/m"
bending = "1.5 MN m2"
[[tower]]
id = "A"
at = "0 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "B"
at = "5 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "C"
at = "10 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[load]]
name = "point"
weight = "20 kg"
source = "weighed"
at = ["2.5 m"]
"#;

/// Four towers in a stiff line, 4 m apart: neighbours take each other's load.
pub const WEAVERS: &str = r#"
title = "Weavers' Hall"
site = "weavers"
working-height = "1.2 m"
trim-height = "4.0 m"
pace = "25 mm/s"
tolerance = "from-statics"
[[piece]]
id = "front"
from = ["0 m", "0 m"]
to = ["12 m", "0 m"]
weight = "18 kg/m"
bending = "1.5 MN m2"
[[tower]]
id = "A"
at = "0 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "B"
at = "4 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "C"
at = "8 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[tower]]
id = "D"
at = "12 m"
rated = "500 lb"
least = "15 lb"
per-turn = "25 mm"
[[load]]
name = "wash"
weight = "10.4 kg"
source = "weighed"
at = ["1 m", "3 m", "5 m", "7 m", "9 m", "11 m"]
"#;

/// A kit with these channels at each of these towers, tilt at the tower.
pub fn kit(towers: &[&str], channels: &[&str]) -> String {
    let mut text = String::from("broker = \"mqtt://127.0.0.1:1883\"\n");
    for (i, tower) in towers.iter().enumerate() {
        text += &format!("[[node]]\nid = \"n{}\"\ntower = \"{tower}\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n", i + 1);
        for channel in channels {
            text += &format!("[node.channel.{channel}]\n");
        }
    }
    text
}

/// What really is, at one moment.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Offset of each head (two towers) or crank (more), mm.
    pub offset_mm: Vec<f64>,
    /// Forces on the truss beside the plan: N down, m from the first piece's `from` end.
    pub extra: Vec<(f64, f64)>,
    /// Tension of each rope over what the head carries, as a factor.
    pub rope: Vec<f64>,
    /// Height of the truss, m.
    pub height_m: f64,
    /// Added to each reading of a channel: tower, channel, value.
    pub wrong: Vec<(usize, Channel, f64)>,
    /// Towers that say nothing.
    pub mute: Vec<usize>,
    /// Factor on each head's share (a blow).
    pub blow: Vec<f64>,
}

impl Truth {
    /// Level, as planned.
    pub fn level(towers: usize) -> Self {
        Truth {
            offset_mm: vec![0.0; towers],
            extra: Vec::new(),
            rope: vec![1.0; towers],
            height_m: 1.2,
            wrong: Vec::new(),
            mute: Vec::new(),
            blow: vec![1.0; towers],
        }
    }
}

/// How noisy it is (docs/trade.md section 8, N1, is 1).
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    /// White noise of tilt and load.
    pub white: f64,
    /// Ripple of the cranks.
    pub crank: f64,
    /// Amplitude of sway, deg, and its frequency, Hz.
    pub sway: (f64, f64),
}

/// Noise N1 while cranking.
pub const CRANKING: Noise = Noise { white: 1.0, crank: 1.0, sway: (0.3, 0.9) };
/// Noise N1 while nobody cranks.
pub const STANDING: Noise = Noise { white: 1.0, crank: 0.0, sway: (0.0, 0.9) };

/// Something told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// When, s.
    pub at_s: f64,
    /// What.
    pub condition: Condition,
    /// How grave.
    pub severity: Severity,
}

/// A lift under test.
pub struct Series {
    /// Plan and kit.
    pub setup: Setup,
    /// Step and words.
    pub scene: Scene,
    /// Health of the channels.
    pub health: Vec<Health>,
    /// The estimator.
    pub est: Estimator,
    causes: Causes,
    limits: Limits,
    model: Model,
    /// Now, s.
    pub now_s: f64,
    /// Cells are as noisy as ever, whatever the tilts are.
    pub cells_calm: bool,
    state: u64,
    /// All that came past its on-delay, once a severity.
    pub told: Vec<Told>,
    since: Vec<(Kind, Option<usize>, Severity, f64)>,
    found: Vec<Condition>,
}

impl Series {
    /// A lift with this plan and kit, all zeroed and proved.
    pub fn new(plan: &str, kit: &str, seed: u64) -> Self {
        let plan = Plan::read(plan, "plan.toml").expect("plan reads");
        let kit = Kit::read(kit, "kit.toml").expect("kit reads");
        let setup = Setup::new(&plan, &kit).expect("kit fits");
        let model = Model::new(&plan).expect("plan stands");
        let well = Health { heard: None, live: true, zeroed: true, proved: true, trusted: true, too_slow: false };
        Series {
            scene: Scene::new(plan.towers.len(), Mono(0)),
            health: vec![well; setup.channels.len()],
            est: Estimator::new(&setup).expect("plan stands"),
            causes: Causes::new(&setup),
            limits: Limits::new(&plan, &model),
            model,
            setup,
            now_s: 0.0,
            cells_calm: false,
            state: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1,
            told: Vec::new(),
            since: Vec::new(),
            found: Vec::new(),
        }
    }

    fn uniform(&mut self) -> f64 {
        // xorshift64*: enough for noise in a test.
        self.state ^= self.state >> 12;
        self.state ^= self.state << 25;
        self.state ^= self.state >> 27;
        (self.state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Standard normal, by twelve uniforms.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    /// Zeroes these channels of every tower.
    pub fn zero(&mut self, channels: &[Channel]) {
        for c in (0..self.setup.channels.len()).filter(|&c| channels.contains(&self.setup.channels[c].channel)) {
            self.est.renewed(&self.setup, c);
            self.causes.zeroed(c);
        }
    }

    /// Sets the step.
    pub fn step(&mut self, step: Step) {
        let motion = match step {
            Step::Raise => Motion::Up,
            Step::Lower | Step::Land => Motion::Down,
            Step::Section => self.scene.motion,
            _ => Motion::Still,
        };
        self.scene.before = Some(self.scene.step);
        self.scene.step = step;
        self.scene.since = Mono(0) + Span::from_s(self.now_s);
        if motion != self.scene.motion {
            self.scene.motion = motion;
            self.scene.motion_since = self.scene.since;
        }
        if motion != Motion::Still {
            self.scene.last_moving = motion;
        }
    }

    /// Runs for `seconds`; `truth` is asked 20 times a second with the seconds since the begin of this run. `each` sees the
    /// estimate after every step.
    pub fn run_seeing(&mut self, seconds: f64, noise: Noise, truth: impl Fn(f64) -> Truth, mut each: impl FnMut(&Self, &Truth)) {
        let begin = self.now_s;
        let steps = (seconds * 20.0).round() as usize;
        for i in 0..steps {
            let t = i as f64 * 0.05;
            let truth = truth(t);
            self.now_s = begin + t;
            self.packets(&truth, noise, i);
            each(self, &truth);
        }
        self.now_s = begin + seconds;
    }

    /// Runs for `seconds`.
    pub fn run(&mut self, seconds: f64, noise: Noise, truth: impl Fn(f64) -> Truth) {
        self.run_seeing(seconds, noise, truth, |_, _| {});
    }

    fn linear(&self, truth: &Truth) -> raisewatch_statics::Linear {
        let n = truth.offset_mm.len();
        let bearing = if n == 2 { Bearing::Rigid } else { Bearing::Rope };
        let line_height = raisewatch_protocol::units::Length((truth.height_m * 20.0).round() / 20.0);
        self.model.standing(&Standing { line_height, bearing: vec![bearing; n] })
    }

    /// The true shares, N.
    pub fn shares_of(&self, truth: &Truth) -> Vec<f64> {
        let linear = self.linear(truth);
        let mut shares = linear.shares(&truth.offset_mm.iter().map(|o| o * 1e-3).collect::<Vec<_>>());
        for &(force, x) in &truth.extra {
            for (s, e) in shares.iter_mut().zip(linear.point(0, x).share_per_n) {
                *s += force * e;
            }
        }
        shares
    }

    fn packets(&mut self, truth: &Truth, noise: Noise, i: usize) {
        let n = truth.offset_mm.len();
        let linear = self.linear(truth);
        let offsets: Vec<f64> = truth.offset_mm.iter().map(|o| o * 1e-3).collect();
        let shares = self.shares_of(truth);
        let at = Mono(0) + Span::from_s(self.now_s);
        let wave = |f: f64, phase: f64, t: f64| (std::f64::consts::TAU * f * t + phase).sin();
        for j in (0..n).filter(|j| !truth.mute.contains(j)) {
            for c in 0..self.setup.channels.len() {
                let seat = self.setup.channels[c].clone();
                if seat.tower != j || seat.channel == Channel::HeadLoad && i % 2 == 1 {
                    continue;
                }
                let ripple = noise.crank * wave(1.05 + 0.2 * j as f64 / n as f64, 1.3 * j as f64, self.now_s);
                let load = matches!(seat.channel, Channel::HeadLoad | Channel::RopeLoad);
                let random = if load && self.cells_calm { 1.0 } else { noise.white } * self.normal();
                let value = match seat.channel {
                    Channel::TrussAlong => {
                        let sway = noise.sway.0 * wave(noise.sway.1, 0.4, self.now_s);
                        linear.slope_at(seat.piece, seat.at_m).at(&offsets) + (0.4 * ripple + sway + 0.05 * random).to_radians()
                    }
                    Channel::HeadLoad => shares[j] * truth.blow[j] * (1.0 + 0.03 * ripple) + 4.9 * random,
                    Channel::RopeLoad => shares[j] * truth.rope[j] * (1.0 + 0.03 * ripple) + 4.9 * random,
                    Channel::Height => truth.height_m + offsets[j] + 0.002 * random,
                    _ => (0.05 * random).to_radians(),
                };
                let wrong: f64 = truth.wrong.iter().filter(|w| w.0 == j && w.1 == seat.channel).map(|w| w.2).sum();
                let reading = Calibrated { channel: c, at, value: if wrong.is_nan() { 0.0123 } else { value + wrong }, zeroed: true };
                self.est.take(&self.setup, &self.scene, &self.health, &reading);
            }
        }
        for c in 0..self.health.len() {
            let mute = truth.mute.contains(&self.setup.channels[c].tower);
            self.health[c].live = !mute;
            self.health[c].trusted = !self.causes.distrusts(c);
        }
        self.est.advance(&self.setup, &self.scene, &self.health, at);
        let mut found = std::mem::take(&mut self.found);
        found.clear();
        self.causes.judge(&self.setup, &self.scene, &self.limits, &self.health, &mut self.est, at, &mut found);
        self.delay(&found);
        self.found = found;
    }

    /// On-delays as the table has them, without the rest of a finding's life.
    fn delay(&mut self, found: &[Condition]) {
        for c in found {
            for severity in [Severity::Stop, Severity::Warn, Severity::Note] {
                let stands = matches!(c.stands, Stands::At(s) if s >= severity);
                let known = self.since.iter().position(|s| (s.0, s.1, s.2) == (c.kind, c.tower, severity));
                match (stands, known) {
                    (true, None) => self.since.push((c.kind, c.tower, severity, self.now_s)),
                    (false, Some(i)) => {
                        self.since.swap_remove(i);
                    }
                    _ => {}
                }
                let Some(s) = self.since.iter().find(|s| (s.0, s.1, s.2) == (c.kind, c.tower, severity)) else { continue };
                let on = delays(c.kind, severity, &self.scene, self.setup.plan.towers.len() > 2).on.s();
                let Stands::At(full) = c.stands else { continue };
                // A severity that was told takes the lower ones with it.
                let fresh = !self.told.iter().any(|t| (t.condition.kind, t.condition.tower) == (c.kind, c.tower) && t.severity >= severity);
                if fresh && severity <= full && self.now_s - s.3 >= on - 1e-9 {
                    self.told.push(Told { at_s: self.now_s, condition: *c, severity });
                }
            }
        }
    }

    /// The conditions of the last moment.
    pub fn found(&self) -> &[Condition] {
        &self.found
    }

    /// What was told first of a kind.
    pub fn first(&self, kind: Kind) -> Option<Told> {
        self.told.iter().find(|t| t.condition.kind == kind).copied()
    }
    /// What was told first of a kind and severity.
    pub fn first_at(&self, kind: Kind, severity: Severity) -> Option<Told> {
        self.told.iter().find(|t| t.condition.kind == kind && t.severity == severity).copied()
    }
    /// What was told beside these kinds.
    pub fn beside(&self, kinds: &[Kind]) -> Vec<Told> {
        self.told.iter().filter(|t| !kinds.contains(&t.condition.kind)).copied().collect()
    }
}
