//! A lift as it happens: the script played on towers and truss, the wire lines that come of it, in the order of arrival.

mod build;
mod feel;
mod hands;
mod press;

use self::build::Mounts;
use crate::ambient::Sway;
use crate::crew::Operator;
use crate::effects::{AtNode, AtTower, Effects, Names, Running};
use crate::instrument::Noise;
use crate::lead::Lead;
use crate::node::Node;
use crate::script::{Script, ScriptError};
use crate::stream::Stream;
use crate::tower::Tower;
use crate::truss::{Loose, Truss};
use crate::truth::{Head, Truth};
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::plan::{Lies, Plan};
use raisewatch_protocol::said::{Said, StepSet};
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use raisewatch_protocol::words::Channel;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Step of the mechanics, µs. Rope, pin and jam ring at 5 to 40 Hz.
const STEP_US: u64 = 2_000;
/// Hands, faults and instruments are looked at every so many steps: 10 ms.
const STEPS_A_LOOK: u64 = 5;
const DT: f64 = STEP_US as f64 * 1e-6;
const LOOK: f64 = DT * STEPS_A_LOOK as f64;

/// Why a lift cannot be played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LiftError {
    /// The script does not fit plan or kit.
    #[error(transparent)]
    Script(#[from] ScriptError),
    /// The truss cannot stand.
    #[error(transparent)]
    Loose(#[from] Loose),
    /// The kit's node stands at a tower that the plan does not have.
    #[error("kit: node \"{node}\" stands at tower \"{tower}\"; the plan has {known}")]
    NoTower {
        /// Node.
        node: String,
        /// Tower.
        tower: String,
        /// What there is.
        known: String,
    },
}

/// A line under way.
#[derive(Clone, Debug)]
struct UnderWay(Mono, u64, TraceLine);

impl PartialEq for UnderWay {
    fn eq(&self, other: &Self) -> bool {
        (self.0, self.1) == (other.0, other.1)
    }
}
impl Eq for UnderWay {}
impl PartialOrd for UnderWay {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for UnderWay {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.0, self.1).cmp(&(other.0, other.1))
    }
}

/// A tail: metres that hang are the height of the truss.
#[derive(Clone, Copy, Debug)]
struct Tail {
    weight_n_per_m: f64,
}

/// A lift in time.
#[derive(Clone, Debug)]
pub struct Lift {
    script: Script,
    tower_ids: Vec<String>,
    pins: Vec<Vec<f64>>,
    /// Where each tower stands in plan, m, and which way its piece runs.
    stands: Vec<([f64; 2], [f64; 2])>,
    piece_length_m: Vec<f64>,
    supports: Vec<(usize, f64)>,
    cradles_m: Vec<f64>,
    /// Watched place of the tilts: per node, per instrument.
    boxes: Vec<Vec<Option<usize>>>,
    middles: Vec<usize>,
    /// Per node: its tower, its channels.
    layout: Vec<(usize, Vec<Channel>)>,
    truss: Truss,
    tails: Vec<Tail>,
    planned_n: f64,
    towers: Vec<Tower>,
    base_lean: Vec<[f64; 2]>,
    operators: Vec<Operator>,
    lead: Lead,
    nodes: Vec<Node>,
    faults: Vec<Running>,
    effects: Effects,
    sway: Vec<Sway>,
    noise: Noise,
    hung: f64,
    hang_pace: f64,
    outside_n: f64,
    steps: u64,
    line_was_m: f64,
    line_start_m: f64,
    moved_s: f64,
    under_way: BinaryHeap<Reverse<UnderWay>>,
    sent: u64,
    hands: Stream,
}

impl Lift {
    /// A lift of this plan with this kit by this script.
    ///
    /// Errors: [`LiftError`] where script or kit name something that is not there, or the truss cannot stand.
    pub fn new(plan: &Plan, kit: &Kit, script: &Script, seed: u64) -> Result<Self, LiftError> {
        let tower_ids: Vec<String> = plan.towers.iter().map(|t| t.id.clone()).collect();
        let mut places = Vec::new();
        let boxes = build::boxes(plan, kit, &mut places);
        let middles = build::watch_middles(plan, &mut places);
        let touched = build::touched(plan, script, &mut places)?;
        let truss = Truss::solve(plan, &places, script.real.stiffness)?;
        let tails: Vec<_> = plan
            .cables
            .iter()
            .filter_map(|c| match c.lies {
                Lies::Tail { weight, .. } => Some(Tail { weight_n_per_m: weight.0 }),
                _ => None,
            })
            .collect();
        let names = Names {
            script: &script.title,
            towers: tower_ids.iter().map(String::as_str).collect(),
            nodes: kit.nodes.iter().map(|n| n.id.as_str()).collect(),
        };
        let faults = script
            .fault
            .iter()
            .enumerate()
            .map(|(i, fault)| Running::new(i, fault, &names, touched[i].clone(), seed))
            .collect::<Result<Vec<_>, _>>()?;
        let height_m = script.start.height.map_or(plan.working_height.0, |h| h.0);
        let hung = if script.start.bare { 0.0 } else { 1.0 };
        let towers = build::standing(plan, script, &truss, height_m, hung, seed);
        let operators = build::operators(plan, script, &towers, seed);
        let base_lean: Vec<[f64; 2]> = (0..towers.len())
            .map(|j| {
                let mut stream = Stream::new(seed, &format!("lean {j}"));
                [stream.normal(0.1_f64.to_radians()), stream.normal(0.1_f64.to_radians())]
            })
            .collect();
        let nodes = {
            let mounts = Mounts { truss: &truss, boxes: &boxes, towers: &towers, leans: &base_lean };
            build::nodes(plan, kit, script, &mounts, seed)?
        };
        let sway = (0..=towers.len()).map(|i| Sway::new(script.noise.sway_hz, Stream::new(seed, &format!("sway {i}")))).collect();
        let mut lift = Lift {
            script: script.clone(),
            pins: plan.towers.iter().map(|t| t.pins.iter().map(|p| p.0).collect()).collect(),
            piece_length_m: plan.pieces.iter().map(|p| p.length().0).collect(),
            supports: plan.towers.iter().map(|t| (t.piece, t.at.0)).collect(),
            cradles_m: plan.towers.iter().map(|t| t.cradle.0).collect(),
            tower_ids,
            stands: plan.towers.iter().map(|t| build::stands(plan, t)).collect(),
            boxes,
            middles,
            layout: nodes.iter().map(|n| (n.tower, n.instruments.iter().map(|i| i.channel).collect())).collect(),
            planned_n: truss.load.share.iter().sum(),
            truss,
            tails,
            base_lean,
            operators,
            lead: Lead::new(script, kit),
            nodes,
            faults,
            effects: Effects::default(),
            sway,
            noise: script.noise,
            hung,
            hang_pace: 0.0,
            outside_n: 0.0,
            steps: 0,
            line_was_m: height_m,
            line_start_m: height_m,
            moved_s: f64::NEG_INFINITY,
            under_way: BinaryHeap::new(),
            sent: 0,
            hands: Stream::new(seed, "hands"),
            towers,
        };
        lift.open();
        Ok(lift)
    }

    /// Title of the script.
    pub fn title(&self) -> &str {
        &self.script.title
    }

    /// Now, in the lift's own time.
    pub fn now(&self) -> Mono {
        Mono(self.steps * STEP_US)
    }

    /// Whether the script is over: its end has come, or its last act was done five seconds ago.
    pub fn over(&self) -> bool {
        let now = self.now().s();
        match self.script.end {
            Some(end) => now >= end.0,
            None => self.lead.done() && now >= self.lead.done_s() + 5.0,
        }
    }

    /// Ends at `until` at the latest.
    pub fn until(&mut self, until: Option<Mono>) {
        if let Some(until) = until {
            let end = self.script.end.map_or(until.s(), |end| end.0.min(until.s()));
            self.script.end = Some(crate::quantity::Seconds(end));
        }
    }

    /// Nodes that speak MQTT.
    pub fn mqtt_nodes(&self) -> Vec<String> {
        self.nodes.iter().filter(|n| n.speaks_mqtt()).map(|n| n.id.clone()).collect()
    }

    /// The first lines: the wall clock where told, and the step.
    fn open(&mut self) {
        if let Some(wall) = self.script.wall {
            self.send(Mono(0), Arrival::Wall { wall });
        }
        let step = self.script.start.step;
        self.send(Mono(0), Arrival::Step(StepSet { step, by: Some("lead".to_owned()) }));
    }

    /// Plays on to `to` and gives the lines that arrive until then, in order. However the time is cut, the lines are the same.
    pub fn advance(&mut self, to: Mono) -> Vec<TraceLine> {
        while (self.steps + 1) * STEP_US <= to.0 {
            self.step();
        }
        let mut lines = Vec::new();
        while self.under_way.peek().is_some_and(|Reverse(line)| line.0 <= to) {
            if let Some(Reverse(UnderWay(_, _, line))) = self.under_way.pop() {
                lines.push(line);
            }
        }
        lines
    }

    /// A call is made now: whom it concerns hears it, and obeys after a while.
    pub fn hear(&mut self, call: &Call) {
        let now_s = self.now().s();
        if call.to == "lead" {
            self.lead.hear(call, now_s);
        } else if let Some(j) = self.tower_ids.iter().position(|id| *id == call.to) {
            self.operators[j].hear(call, now_s);
        }
    }

    /// What really stands.
    pub fn truth(&self) -> Truth {
        let heads = (0..self.towers.len()).map(|j| self.head(j)).collect();
        let begun = self.faults.iter().enumerate();
        Truth {
            t: self.now(),
            step: self.lead.step,
            heads,
            weight_n: self.weight_n(),
            outside_n: self.outside_n,
            done: self.lead.done(),
            begun: begun.filter_map(|(i, f)| f.begun_s.map(|s| (i, Mono(0) + Span::from_s(s)))).collect(),
        }
    }

    fn head(&self, j: usize) -> Head {
        let tower = &self.towers[j];
        Head {
            tower: self.tower_ids[j].clone(),
            height_m: tower.z_m,
            crank_m: if tower.pin_n > 0.0 { tower.z_m } else { tower.rope_m - tower.stretch_m },
            speed_m_s: tower.speed,
            share_n: tower.cell_n,
            rope_n: tower.rope_n - tower.make.head_n,
            on_pin: tower.pin_n > 0.0,
            cranking: self.operators[j].cranking(),
            lean_rad: self.lean(j),
        }
    }

    fn weight_n(&self) -> f64 {
        let tails: f64 = self.tails.iter().map(|t| t.weight_n_per_m * self.line_m()).sum();
        let added: f64 = self.effects.weights.iter().map(|w| w.1).sum();
        (self.planned_n + tails) * self.hung + added
    }

    /// Middle of the heads, m.
    fn line_m(&self) -> f64 {
        self.towers.iter().map(|t| t.z_m).sum::<f64>() / self.towers.len() as f64
    }

    fn send(&mut self, at: Mono, what: Arrival) {
        self.queue(TraceLine { t_ms: at, what });
    }

    fn queue(&mut self, line: TraceLine) {
        self.sent += 1;
        self.under_way.push(Reverse(UnderWay(line.t_ms, self.sent, line)));
    }

    fn step(&mut self) {
        if self.steps.is_multiple_of(STEPS_A_LOOK) {
            self.look();
        }
        self.mechanics();
        self.steps += 1;
    }

    /// Every 10 ms: faults, lead, hands, sway, instruments.
    fn look(&mut self) {
        let now = self.now();
        let now_s = now.s();
        self.run_faults(now_s);
        self.run_lead(now, now_s);
        self.run_hands(now, now_s);
        self.run_ambient();
        self.run_instruments(now, now_s);
    }

    fn run_faults(&mut self, now_s: f64) {
        let (line, start) = (self.line_m(), self.line_start_m);
        let was = self.line_was_m;
        self.line_was_m = line;
        let step = self.lead.step;
        let mut effects = Effects {
            towers: vec![AtTower::default(); self.towers.len()],
            nodes: vec![AtNode::default(); self.nodes.len()],
            ..Effects::default()
        };
        let mut faults = std::mem::take(&mut self.faults);
        // Passed: crossed since the last look, either way, or already so at the start.
        let passed = |height: f64| (was.min(start) <= height && line >= height) || (was.max(start) >= height && line <= height);
        for (i, fault) in faults.iter_mut().enumerate() {
            fault.act(i, &mut effects, now_s, step, passed, |place| self.place_z(place));
        }
        self.faults = faults;
        self.effects = effects;
        self.strike(now_s);
    }

    /// Faults that act on a tower's mechanism.
    fn strike(&mut self, now_s: f64) {
        for j in std::mem::take(&mut self.effects.pins_failed) {
            self.towers[j].pin_m = None;
            self.sway[0].kick(0.4_f64.to_radians());
        }
        for (j, by) in std::mem::take(&mut self.effects.slips) {
            if self.operators[j].cranking() || now_s > 0.0 {
                self.towers[j].slip(by);
            }
        }
        for (tower, at) in self.towers.iter_mut().zip(&self.effects.towers) {
            tower.sunk_m += at.sinks * LOOK;
            tower.jam_m = if at.jammed { Some(tower.jam_m.unwrap_or(tower.z_m)) } else { None };
            if let Some([least, most, turns]) = at.crossed {
                // How far it climbs before it lets go differs each time.
                let goal = *tower.lets_go_m.get_or_insert_with(|| self.hands.between(least, most));
                if tower.climb((least + most) / 2.0 / turns, goal) {
                    tower.lets_go_m = None;
                }
            } else {
                tower.climbed.0 = tower.turns;
            }
            tower.top_m = if at.topped { Some(tower.top_m.unwrap_or(tower.z_m)) } else { None };
        }
        for (said, tower, by) in std::mem::take(&mut self.effects.said) {
            let said = Said { said, tower, channel: None, value: None, finding: None, by: Some(by) };
            self.send(self.now(), Arrival::Said(said));
        }
    }

    fn run_lead(&mut self, now: Mono, now_s: f64) {
        let idle = self.operators.iter().all(Operator::idle);
        let stopped = self.operators.iter().any(Operator::stopped);
        let mut lines = Vec::new();
        let line = self.line_m();
        let wishes = self.lead.advance(now_s, idle, stopped, line, &mut lines);
        lines.into_iter().for_each(|what| self.send(now, what));
        for wish in wishes {
            self.grant(&wish);
        }
        self.hung = (self.hung + self.hang_pace * LOOK).min(1.0);
    }

    fn run_ambient(&mut self) {
        let moving = self.operators.iter().any(Operator::cranking);
        let target = if moving { self.noise.sway_tilt } else { 0.04 * self.noise.sway_tilt };
        self.sway.iter_mut().for_each(|sway| sway.advance(target, LOOK));
    }
}
