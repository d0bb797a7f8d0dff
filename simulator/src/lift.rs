//! A lift as it happens: the script played on towers and truss, the wire lines that come of it, in the order of arrival.

use crate::ambient::Sway;
use crate::crew::{Landing, Operator, Shout, Task};
use crate::effects::{AtNode, AtTower, Effects, Names, Running};
use crate::instrument::{Instrument, Noise, Wrongness};
use crate::lead::{Lead, Wish};
use crate::node::Node;
use crate::script::{Script, ScriptError};
use crate::stream::Stream;
use crate::tower::{Make, Tower};
use crate::truss::{Loose, Place, Truss};
use crate::truth::{Head, Truth};
use raisewatch_protocol::kit::{Kit, Transport};
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::plan::{Lies, Plan};
use raisewatch_protocol::said::{Said, StepSet};
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::{Arrival, TraceLine};
use raisewatch_protocol::units::STANDARD_GRAVITY;
use raisewatch_protocol::words::{Channel, Step, Utterance};
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::f64::consts::TAU;

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
    places_m: Vec<Place>,
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

/// 2031-05-14 13:56 UTC, from which nodes count their own time where the script names no wall clock.
const EPOCH_S: f64 = 1_936_533_360.0;

impl Lift {
    /// A lift of this plan with this kit by this script.
    ///
    /// Errors: [`LiftError`] where script or kit name something that is not there, or the truss cannot stand.
    pub fn new(plan: &Plan, kit: &Kit, script: &Script, seed: u64) -> Result<Self, LiftError> {
        let tower_ids: Vec<String> = plan.towers.iter().map(|t| t.id.clone()).collect();
        let mut places = Vec::new();
        let boxes = boxes(plan, kit, &mut places);
        let middles = watch_middles(plan, &mut places);
        let touched = touched(plan, script, &mut places)?;
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
        let towers = standing(plan, script, &truss, height_m, hung, seed);
        let operators = operators(plan, script, &towers, seed);
        let base_lean: Vec<[f64; 2]> = (0..towers.len())
            .map(|j| {
                let mut stream = Stream::new(seed, &format!("lean {j}"));
                [stream.normal(0.1_f64.to_radians()), stream.normal(0.1_f64.to_radians())]
            })
            .collect();
        let nodes = nodes(plan, kit, script, &truss, &boxes, &towers, &base_lean, seed)?;
        let sway = (0..=towers.len()).map(|i| Sway::new(script.noise.sway_hz, Stream::new(seed, &format!("sway {i}")))).collect();
        let mut lift = Lift {
            script: script.clone(),
            pins: plan.towers.iter().map(|t| t.pins.iter().map(|p| p.0).collect()).collect(),
            piece_length_m: plan.pieces.iter().map(|p| p.length().0).collect(),
            supports: plan.towers.iter().map(|t| (t.piece, t.at.0)).collect(),
            cradles_m: plan.towers.iter().map(|t| t.cradle.0).collect(),
            tower_ids,
            places_m: places,
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

    /// Height of a watched place as the heads carry it, m; its own sag left out.
    fn place_z(&self, place: usize) -> f64 {
        self.truss.head.iter().zip(&self.towers).map(|(head, tower)| head.z[place] * tower.z_m).sum()
    }

    /// Slope of a piece as the heads give it, rad.
    fn piece_slope(&self, piece: usize) -> f64 {
        let place = self.middles[piece];
        self.truss.head.iter().zip(&self.towers).map(|(head, tower)| head.along[place] * tower.z_m).sum()
    }

    /// Moment that presses the `to` side of a piece down, N m: what hangs rigidly swings out, flat cradles bear on an edge.
    fn piece_moment(&self, piece: usize) -> f64 {
        let slope = self.piece_slope(piece);
        let play = self.script.real.cradle_play_deg.to_radians();
        let edge = ((slope.abs() - play) / (2.0 * play.max(1e-6))).clamp(0.0, 1.0).copysign(slope);
        let shifted: f64 = (0..self.towers.len())
            .filter(|&j| self.supports[j].0 == piece)
            .map(|j| self.towers[j].cell_n.max(0.0) * self.cradles_m[j] / 2.0 * edge)
            .sum();
        self.truss.hanging_nm[piece] * self.hung * slope + if self.truss.in_line { shifted } else { 0.0 }
    }

    /// Upward forces from outside at watched places, N; tears what is torn.
    fn outside(&mut self) -> Vec<(usize, f64)> {
        let mut forces: Vec<_> = self.effects.weights.iter().map(|(place, n)| (*place, -n)).collect();
        let mut outside = 0.0;
        let mut torn = Vec::new();
        for spring in &self.effects.springs {
            let z = self.place_z(spring.place);
            let reach = if spring.above { z - spring.at_m } else { spring.at_m - z };
            // The truss itself gives way where it is held.
            let soft = 1.0 / spring.stiff + self.truss.point[spring.place].z[spring.place];
            let force = reach.max(0.0) / soft;
            if force > spring.breaks_n {
                torn.push(spring.fault);
                continue;
            }
            let up = if spring.above { -force } else { force };
            outside += up;
            forces.push((spring.place, up));
        }
        for fault in torn {
            self.faults[fault].tears();
            self.effects.springs.retain(|s| s.fault != fault);
        }
        self.outside_n = outside;
        forces
    }

    /// One step of the mechanics: what the truss presses on each head, then each head moves on.
    fn mechanics(&mut self) {
        let forces = self.outside();
        let line_m = self.line_m();
        let moments: Vec<f64> = (0..self.piece_length_m.len()).map(|p| self.piece_moment(p)).collect();
        let zs: Vec<f64> = self.towers.iter().map(|t| t.z_m).collect();
        for j in 0..self.towers.len() {
            let mut share = self.hung * self.truss.load.share[j];
            share += self.truss.tail.iter().map(|tail| self.hung * line_m * tail.share[j]).sum::<f64>();
            share += self.truss.head.iter().zip(&zs).map(|(head, z)| head.share[j] * z).sum::<f64>();
            share += forces.iter().map(|(place, n)| n * self.truss.point[*place].share[j]).sum::<f64>();
            share += moments.iter().zip(&self.truss.moment).map(|(m, moment)| m * moment.share[j]).sum::<f64>();
            let shake = self.shake(j, share);
            let runs_out = self.effects.towers.get(j).map_or(0.0, |t| t.runs_out);
            if runs_out > 0.0 {
                self.towers[j].slip(runs_out * DT);
            }
            self.towers[j].advance(share, shake, DT);
        }
    }

    /// What shakes the truss at this head, N: the crank, the place.
    fn shake(&self, j: usize, share: f64) -> f64 {
        let mut ripple = self.effects.load;
        if self.operators[j].cranking() {
            ripple += self.noise.crank_load * (TAU * self.operators[j].handle).sin();
        }
        share.max(0.0) * ripple
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

    fn grant(&mut self, wish: &Wish) {
        let count = self.towers.len();
        let chosen = |towers: &Option<Vec<String>>, ids: &[String], j: usize| {
            towers.as_ref().is_none_or(|named| named.iter().any(|name| *name == ids[j]))
        };
        for j in 0..count {
            let z = self.towers[j].z_m;
            match wish {
                Wish::Crank { to_m, from_here, towers, sections } if chosen(towers, &self.tower_ids, j) => {
                    let to_m = if *from_here { z + to_m } else { *to_m };
                    let way = (to_m - z).signum();
                    let ends = if *sections && way > 0.0 {
                        self.pins[j].iter().copied().filter(|p| *p > z + 0.05 && *p < to_m - 0.05).collect()
                    } else {
                        Vec::new()
                    };
                    self.operators[j].ask(Task::Crank { to_m: to_m + self.hands.normal(0.001), way }, ends);
                }
                Wish::Turns { towers, turns } if chosen(towers, &self.tower_ids, j) => {
                    self.operators[j].ask(Task::Turns { left: *turns }, Vec::new());
                }
                Wish::Land(stagger) if !self.effects.towers[j].unpinned => {
                    let task = self.landing(j, stagger * j as f64, z);
                    self.operators[j].ask(task, Vec::new());
                }
                Wish::Unpin => self.operators[j].ask(Task::Unpin { at_pin_s: -1.0 }, Vec::new()),
                Wish::Free => self.operators[j].freed(),
                Wish::Hang(over) => self.hang_pace = 1.0 / over.max(LOOK),
                _ => {}
            }
        }
    }

    fn landing(&mut self, j: usize, left_s: f64, z: f64) -> Task {
        let real = &self.script.real;
        let pin = self.pins[j].iter().copied().min_by(|a, b| (a - z).abs().total_cmp(&(b - z).abs())).unwrap_or(z);
        let pin_m = pin + self.hands.normal(real.pin_spread.0);
        let over_m = self.hands.between(real.over_pin[0].0, real.over_pin[1].0);
        Task::Land(Landing::Waits { left_s, pin_m, over_m })
    }

    fn run_hands(&mut self, now: Mono, now_s: f64) {
        let line = self.line_m();
        let mut shouts = Vec::new();
        for j in 0..self.towers.len() {
            let at = self.effects.towers[j];
            let (operator, tower) = (&mut self.operators[j], &mut self.towers[j]);
            operator.factor = at.factor.unwrap_or(1.0);
            operator.frozen = at.frozen;
            operator.deaf = at.deaf;
            let before = operator.handle;
            if let Some(shout) = operator.advance(tower, tower.z_m - line, &self.script.real, now_s, LOOK) {
                shouts.push((j, shout));
            }
            let turned = operator.handle - before;
            if operator.cranking() {
                self.moved_s = now_s;
            }
            tower.wind(turned, LOOK);
        }
        for (j, shout) in shouts {
            self.shout(j, shout, now);
        }
    }

    fn shout(&mut self, j: usize, shout: Shout, now: Mono) {
        let said = match shout {
            Shout::Pinned => Utterance::Pinned,
            Shout::SectionUp => Utterance::SectionUp,
            Shout::SlackSet => Utterance::SlackSet,
        };
        // A section's end and a pin are felt: a thump of some per cent, a tap at the masts.
        self.towers[j].speed += self.hands.between(0.02, 0.035) * if shout == Shout::SectionUp { -1.0 } else { 0.0 };
        self.sway[j + 1].kick(self.noise.sway_tilt * 0.5);
        let tower = self.tower_ids[j].clone();
        let by = Some(format!("{tower}'s operator"));
        self.send(now, Arrival::Said(Said { said, tower: Some(tower), channel: None, value: None, finding: None, by }));
    }

    fn run_ambient(&mut self) {
        let moving = self.operators.iter().any(Operator::cranking);
        let target = if moving { self.noise.sway_tilt } else { 0.04 * self.noise.sway_tilt };
        self.sway.iter_mut().for_each(|sway| sway.advance(target, LOOK));
    }

    /// Lean of a mast, rad: as set up, by its foot, by a bump, drawn by the truss.
    fn lean(&self, j: usize) -> [f64; 2] {
        let at = self.effects.towers.get(j).copied().unwrap_or_default();
        let [x, y] = self.base_lean[j];
        let drawn = if self.truss.in_line { self.portal(j) } else { 0.0 };
        [x + at.lean[0] + drawn, y + at.lean[1] + at.bump]
    }

    /// A raked truss is shorter seen from above: past the play of the cradles it draws the masts together.
    fn portal(&self, j: usize) -> f64 {
        let (piece, at) = self.supports[j];
        let span = |other: usize| self.supports[other].1 - at;
        let far = (0..self.supports.len()).filter(|&o| self.supports[o].0 == piece && o != j);
        let Some(other) = far.max_by(|a, b| span(*a).abs().total_cmp(&span(*b).abs())) else { return 0.0 };
        let slope = self.piece_slope(piece);
        let shortened = (span(other).abs() * (1.0 - slope.cos()) - 0.005).max(0.0);
        shortened / 2.0 / self.towers[j].z_m.max(0.5) * span(other).signum()
    }

    fn run_instruments(&mut self, now: Mono, now_s: f64) {
        let resting = matches!(self.lead.step, Step::Stand | Step::Change) && now_s - self.moved_s > 30.0;
        let mut nodes = std::mem::take(&mut self.nodes);
        let mut lines = Vec::new();
        for (n, node) in nodes.iter_mut().enumerate() {
            let wrongs: Vec<(Channel, Wrongness)> = (0..node.instruments.len())
                .map(|i| {
                    let channel = node.instruments[i].channel;
                    let mut wrong = Wrongness::default();
                    let mut from = node.tower;
                    for fault in &self.faults {
                        from = fault.spoil(node.tower, channel, now_s, &mut wrong).unwrap_or(from);
                    }
                    let there = self.there(n, i, channel, from, node.instruments[i].rope_ratio());
                    node.instruments[i].feel(there, LOOK);
                    (channel, wrong)
                })
                .collect();
            let wrong = |channel| wrongs.iter().find(|(c, _)| *c == channel).map_or_else(Wrongness::default, |(_, w)| *w);
            node.speak(now, resting, &self.effects.nodes[n], wrong, &mut lines);
        }
        self.nodes = nodes;
        lines.into_iter().for_each(|line| self.queue(line));
    }

    /// What there is for an instrument to feel at a tower, in the channel's unit.
    fn there(&self, node: usize, instrument: usize, channel: Channel, tower: usize, rope_ratio: f64) -> f64 {
        let at = &self.towers[tower];
        match channel {
            Channel::HeadLoad => at.cell_n,
            Channel::RopeLoad => at.rope_n / rope_ratio,
            Channel::Height => at.z_m,
            Channel::Battery => 4.1,
            Channel::MastAlong => self.lean(tower)[0] + self.unrest(tower, true),
            Channel::MastAcross => self.lean(tower)[1] + self.unrest(tower, false),
            Channel::TrussAlong | Channel::TrussAcross => {
                let along = channel == Channel::TrussAlong;
                // A box that reads another tower's truth is that tower's box.
                let place = self.box_of(node, instrument, tower, channel);
                place.map_or(0.0, |place| self.slope(place, along)) + self.unrest(tower, along)
            }
        }
    }

    fn box_of(&self, node: usize, instrument: usize, tower: usize, channel: Channel) -> Option<usize> {
        let own = self.boxes[node][instrument];
        if self.layout[node].0 == tower {
            return own;
        }
        let other = self.layout.iter().position(|(at, channels)| *at == tower && channels.contains(&channel))?;
        let index = self.layout[other].1.iter().position(|c| *c == channel)?;
        self.boxes[other][index].or(own)
    }

    /// Slope of the truss at a watched place, rad, all that acts together.
    fn slope(&self, place: usize, along: bool) -> f64 {
        let row = |influence: &crate::truss::Influence| if along { influence.along[place] } else { influence.across[place] };
        let line = self.line_m();
        let mut slope = self.hung * row(&self.truss.load);
        slope += self.truss.tail.iter().map(|tail| self.hung * line * row(tail)).sum::<f64>();
        slope += self.truss.head.iter().zip(&self.towers).map(|(head, tower)| row(head) * tower.z_m).sum::<f64>();
        slope += self.effects.weights.iter().map(|(at, n)| -n * row(&self.truss.point[*at])).sum::<f64>();
        for spring in &self.effects.springs {
            let share = self.outside_n / self.effects.springs.len() as f64;
            slope += share * row(&self.truss.point[spring.place]);
        }
        slope + if along { self.kinked(place) } else { self.effects.roll }
    }

    /// Slope by joints that have opened: down before, up after, zero height at the outer towers.
    fn kinked(&self, place: usize) -> f64 {
        let here = self.places_m[place];
        let kinks = self.effects.kinks.iter().filter(|(at, _)| self.places_m[*at].piece == here.piece);
        kinks
            .map(|(at, by)| {
                let towers = self.supports.iter().filter(|(piece, _)| *piece == here.piece).map(|(_, x)| *x);
                let (low, high) = towers.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
                let part = ((self.places_m[*at].at_m - low) / (high - low).max(0.1)).clamp(0.0, 1.0);
                if here.at_m < self.places_m[*at].at_m { -by * (1.0 - part) } else { by * part }
            })
            .sum()
    }

    /// Apparent tilt by shaking, rad: sway (along: the whole portal together), the crank at this tower, the place.
    fn unrest(&self, tower: usize, along: bool) -> f64 {
        let sway = if along { self.sway[0].tilt() } else { 0.7 * self.sway[tower + 1].tilt() };
        let cranks = self.operators.iter().enumerate().filter(|(_, o)| o.cranking());
        let crank: f64 = cranks
            .map(|(j, operator)| {
                let strength = if j == tower { 1.0 } else { 0.15 };
                let turn = TAU * operator.handle;
                strength * self.noise.crank_tilt * (0.85 * turn.sin() + 0.15 * (2.0 * turn).sin())
            })
            .sum();
        sway + crank * if along { 1.0 } else { 0.6 } + self.effects.tilt
    }
}

/// Watched places of the tilt instruments.
fn boxes(plan: &Plan, kit: &Kit, places: &mut Vec<Place>) -> Vec<Vec<Option<usize>>> {
    let mut watch = |node: &raisewatch_protocol::kit::Node, fitted: &raisewatch_protocol::kit::Fitted| {
        if !matches!(fitted.channel, Channel::TrussAlong | Channel::TrussAcross) {
            return None;
        }
        let tower = plan.towers.iter().find(|t| t.id == node.tower)?;
        let piece = fitted.piece.as_ref().and_then(|id| plan.pieces.iter().position(|p| p.id == *id)).unwrap_or(tower.piece);
        let at_m = fitted.at.map_or(tower.at.0, |at| at.0);
        places.push(Place { piece, at_m });
        Some(places.len() - 1)
    };
    kit.nodes.iter().map(|node| node.channels.iter().map(|fitted| watch(node, fitted)).collect()).collect()
}

fn watch_middles(plan: &Plan, places: &mut Vec<Place>) -> Vec<usize> {
    plan.pieces
        .iter()
        .enumerate()
        .map(|(piece, p)| {
            places.push(Place { piece, at_m: p.length().0 / 2.0 });
            places.len() - 1
        })
        .collect()
}

/// Watched places that the faults touch, per fault.
fn touched(plan: &Plan, script: &Script, places: &mut Vec<Place>) -> Result<Vec<Vec<usize>>, ScriptError> {
    let mut touched = vec![Vec::new(); script.fault.len()];
    for (fault, piece, at_m) in script.touched() {
        let index = match piece {
            None => 0,
            Some(id) => plan.pieces.iter().position(|p| p.id == *id).ok_or_else(|| ScriptError::Unknown {
                script: script.title.clone(),
                what: format!("fault {}", fault + 1),
                sort: "piece",
                name: id.clone(),
                known: plan.pieces.iter().map(|p| p.id.as_str()).collect::<Vec<_>>().join(", "),
            })?,
        };
        let length = plan.pieces[index].length().0;
        if !(0.0..=length).contains(&at_m) {
            return Err(ScriptError::Senseless {
                script: script.title.clone(),
                what: format!("fault {}", fault + 1),
                expected: format!("a place between 0 and {length} m"),
                found: format!("{at_m} m"),
            });
        }
        touched[fault].push(places.len());
        places.push(Place { piece: index, at_m });
    }
    Ok(touched)
}

fn standing(plan: &Plan, script: &Script, truss: &Truss, height_m: f64, hung: f64, seed: u64) -> Vec<Tower> {
    let zs: Vec<f64> = (0..plan.towers.len()).map(|j| height_m + script.start.offsets.get(j).map_or(0.0, |o| o.0)).collect();
    let real = &script.real;
    let share = |j: usize, hung: f64| {
        let tails: f64 = truss.tail.iter().map(|t| t.share[j] * height_m).sum();
        let moved: f64 = truss.head.iter().zip(&zs).map(|(h, z)| h.share[j] * z).sum();
        (truss.load.share[j] + tails) * hung + moved
    };
    plan.towers
        .iter()
        .enumerate()
        .map(|(j, tower)| {
            let mut stream = Stream::new(seed, &format!("tower {j}"));
            let mut near = |value: f64, spread: f64| value * (1.0 + stream.normal(spread).clamp(-0.5, 0.5));
            let make = Make {
                rope_n_per_m: near(tower.rope_stiffness.0, real.rope_spread),
                pin_n_per_m: near(tower.pin_stiffness.0, real.rope_spread),
                head_n: real.head.0,
                truss_kg: (share(j, 1.0) / STANDARD_GRAVITY).max(5.0),
                damping: real.damping,
                rise_m: near(tower.per_turn.0, real.rise_spread),
                layer: real.layer,
            };
            Tower::standing(make, zs[j], share(j, hung), script.start.pinned, real.slack.0)
        })
        .collect()
}

fn operators(plan: &Plan, script: &Script, towers: &[Tower], seed: u64) -> Vec<Operator> {
    plan.towers
        .iter()
        .zip(towers)
        .enumerate()
        .map(|(j, (tower, made))| {
            let (habits, late_s) = script.habits(&tower.id);
            let pace = [plan.pace.0 / made.make.rise_m, plan.pace_down.0 / made.make.rise_m];
            Operator::new(habits, late_s, pace, Stream::new(seed, &format!("operator {j}")))
        })
        .collect()
}

fn nodes(
    plan: &Plan,
    kit: &Kit,
    script: &Script,
    truss: &Truss,
    boxes: &[Vec<Option<usize>>],
    towers: &[Tower],
    leans: &[[f64; 2]],
    seed: u64,
) -> Result<Vec<Node>, LiftError> {
    let epoch_s = script.wall.map_or(EPOCH_S, |wall| wall.as_second() as f64);
    let mut made = Vec::new();
    for (node, places) in kit.nodes.iter().zip(boxes) {
        let tower = plan.towers.iter().position(|t| t.id == node.tower).ok_or_else(|| LiftError::NoTower {
            node: node.id.clone(),
            tower: node.tower.clone(),
            known: plan.towers.iter().map(|t| t.id.as_str()).collect::<Vec<_>>().join(", "),
        })?;
        let instruments = node.channels.iter().zip(places).map(|(fitted, place)| {
            let name = node.map.iter().find(|(_, c)| *c == fitted.channel).map_or(fitted.channel.word(), |(name, _)| name);
            let at_zero = match (fitted.channel, place) {
                (Channel::TrussAlong, Some(p)) => planned_slope(plan, &truss.load.along, &truss.tail, *p, true),
                (Channel::TrussAcross, Some(p)) => planned_slope(plan, &truss.load.across, &truss.tail, *p, false),
                (Channel::MastAlong, _) => leans[tower][0],
                (Channel::MastAcross, _) => leans[tower][1],
                (Channel::RopeLoad, _) => towers[tower].make.head_n / fitted.rope_ratio,
                _ => 0.0,
            };
            let stream = Stream::new(seed, &format!("{} {}", node.id, fitted.channel));
            Instrument::new(fitted, name.to_owned(), &script.noise, at_zero, stream)
        });
        let instruments = instruments.collect();
        let port = port_of(&node.over);
        let shared = kit.nodes.iter().filter(|n| port.is_some() && port_of(&n.over) == port).count();
        made.push(Node::new(node, tower, instruments, &script.noise, shared, epoch_s, seed));
    }
    Ok(made)
}

fn port_of(over: &Transport) -> Option<&str> {
    match over {
        Transport::Mqtt => None,
        Transport::Xdr { port, .. } | Transport::Modbus { port, .. } => Some(port),
    }
}

/// Slope of the level, loaded truss at working height, where its boxes were zeroed, rad.
fn planned_slope(plan: &Plan, load: &[f64], tails: &[crate::truss::Influence], place: usize, along: bool) -> f64 {
    let tail = |t: &crate::truss::Influence| if along { t.along[place] } else { t.across[place] };
    load[place] + tails.iter().map(|t| tail(t) * plan.working_height.0).sum::<f64>()
}
