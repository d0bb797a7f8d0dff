//! The watch: one input at a time in, findings and calls out.
//!
//! [`Watch::step`] runs by itself every deadline that lies before `now`, each at its own exact time, and judges nothing in
//! between but at inputs. So the outputs depend on the inputs and their times alone: not on how often it is ticked, nor on how
//! packets are batched; live and replay give the same bytes.

mod handed;
mod heard;
mod learnt;
mod shown;

use crate::calibrate::Calibrated;
use crate::calls::{Calls, Unclaimed};
use crate::causes::Causes;
use crate::condition::{Condition, Stands};
use crate::estimate::Estimator;
use crate::health;
use crate::instruments::{Instruments, SLOWEST_S};
use crate::learn::Learn;
use crate::learn::hand_over::HandOver;
use crate::life::{Ledger, Told};
use crate::limits::Limits;
use crate::phrases::Phrases;
use crate::proof::{Judged, Proof};
use crate::scene::Scene;
use crate::setup::{Setup, WatchError};
use crate::steps::Steps;
use crate::text;
use crate::view::SaidView;
use crate::zero;
use crate::zero_gone::ZeroGone;
use jiff::Timestamp;
use raisewatch_protocol::Mono;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::told;
use raisewatch_protocol::words::{Kind, LifeState, Severity, Step};
use raisewatch_statics::Model;

/// One thing that the watch tells.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// A change of a finding.
    Finding(told::Finding),
    /// A change of a call, for one recipient.
    Call(told::Call),
    /// The state that was handed over, as `hand-over` was said: for the recording.
    HandOver(Box<HandOver>),
    /// An answer to what was said. Not in the findings file.
    Reply {
        /// When.
        t_ms: Mono,
        /// `lead`, `spotter`, a tower id, or whoever said it.
        to: String,
        /// In words.
        text: String,
        /// True where what was said was not taken.
        refused: bool,
    },
}

/// The decision core of one lift.
#[derive(Clone, Debug)]
pub struct Watch {
    setup: Setup,
    limits: Limits,
    phrases: Phrases,
    scene: Scene,
    instruments: Instruments,
    estimator: Estimator,
    causes: Causes,
    proof: Proof,
    zeros: ZeroGone,
    steps: Steps,
    ledger: Ledger,
    calls: Calls,
    learn: Learn,
    half_turn_mm: f64,
    stop_said: Option<String>,
    said: Vec<SaidView>,
    wall: Option<(Mono, Timestamp)>,
    started: Option<Mono>,
    now: Mono,
    shown: Mono,
    next: Option<Mono>,
    // Room that is used again at every step.
    readings: Vec<Calibrated>,
    conditions: Vec<Condition>,
    told: Vec<Told>,
    called: Vec<told::Call>,
    out: Vec<Output>,
}

/// Shares that are held back for a moment still count: something pulls at the truss, or a packet is late, s.
const FELT_S: f64 = 5.0;
/// Beyond so many standard deviations a head is told from a level one, [practice].
const SURE: f64 = 2.0;

impl Watch {
    /// A watch over this lift that has heard nothing yet.
    ///
    /// Errors: [`WatchError`] where plan and kit do not fit each other, or the plan cannot stand.
    pub fn new(plan: &Plan, kit: &Kit, mut phrases: Phrases) -> Result<Self, WatchError> {
        let setup = Setup::new(plan, kit)?;
        let model = Model::new(plan).map_err(|e| WatchError::Statics(e.to_string()))?;
        let estimator = Estimator::new(&setup)?;
        let mut instruments = Instruments::new(&setup);
        zero::kept(&setup, &mut instruments, None, |c| estimator.planned_slope_rad(c));
        phrases.pounds = plan.units.pounds;
        phrases.inches = plan.units.feet;
        let turn_mm = plan.towers.iter().map(|t| t.per_turn.mm()).fold(f64::INFINITY, f64::min);
        Ok(Watch {
            limits: Limits::new(plan, &model),
            scene: Scene::new(plan.towers.len(), Mono(0)),
            causes: Causes::new(&setup),
            proof: Proof::new(&setup, &model),
            zeros: ZeroGone::new(setup.channels.len()),
            steps: Steps::default(),
            ledger: Ledger::new(plan.towers.iter().map(|t| t.id.clone()).collect(), turn_mm / 4.0),
            calls: Calls::new(&setup),
            learn: Learn::new(&setup, &model),
            half_turn_mm: turn_mm / 2.0,
            stop_said: None,
            said: Vec::new(),
            wall: None,
            started: None,
            now: Mono(0),
            shown: Mono(0),
            next: None,
            readings: Vec::new(),
            conditions: Vec::new(),
            told: Vec::new(),
            called: Vec::new(),
            out: Vec::new(),
            setup,
            phrases,
            instruments,
            estimator,
        })
    }

    /// Takes one input at `now`; what is to be told, in order. An earlier `now` than before is taken as the one before.
    ///
    /// Readings are judged when all that came at the same moment are in, however they were packed: [`Watch::deadline`] then names
    /// this very moment, and the next step (a tick, or whatever comes later) tells what they bring. All else is answered at once.
    pub fn step(&mut self, now: Mono, input: &Input) -> &[Output] {
        self.out.clear();
        let now = now.max(self.now).max(self.shown);
        if self.started.is_none() {
            self.started = Some(now);
            self.scene.since = now;
            self.scene.motion_since = now;
        }
        while let Some(due) = self.next.filter(|d| *d < now || (*d == now && *input == Input::Tick)) {
            self.run(due);
        }
        self.shown = now;
        if self.take(now, input) {
            self.run(now);
        }
        &self.out
    }

    /// Whether a warn of the level looks ahead by the crew's reaction; it does from the start. Off, to tell what that is worth.
    pub fn look_ahead(&mut self, on: bool) {
        self.causes.look_ahead(on);
    }

    /// The step of the lift.
    pub fn lift_step(&self) -> Step {
        self.scene.step
    }

    /// The next moment at which time alone changes something; the present one where readings wait to be judged.
    pub fn deadline(&self) -> Option<Mono> {
        self.next
    }

    /// The estimate and what lies under it, to look at.
    pub fn estimator(&self) -> &Estimator {
        &self.estimator
    }

    /// Whether the input needs a judgement.
    fn take(&mut self, now: Mono, input: &Input) -> bool {
        match input {
            Input::Packet(packet) => {
                self.readings.clear();
                self.instruments.take(&self.setup, &self.scene, now, packet, &mut self.readings);
                self.instruments.refresh(&self.setup, &self.scene, now);
                self.trust();
                for reading in &self.readings {
                    self.estimator.take(&self.setup, &self.scene, &self.instruments.health, reading);
                }
                self.next = Some(now);
                false
            }
            Input::Step(set) => {
                self.set_step(now, set.step, set.by.as_deref());
                true
            }
            Input::Said(said) => {
                self.hear(now, said);
                true
            }
            Input::Presence { node, presence } => {
                if let Some(state) = self.instruments.nodes.get_mut(*node) {
                    state.presence = Some(*presence);
                }
                true
            }
            Input::Link { .. } => true,
            Input::Wall(wall) => {
                self.wall = Some((now, *wall));
                self.judge_age(now);
                true
            }
            // Before anything was heard a tick begins the lift; later it only lets time pass.
            Input::Tick => self.next.is_none() && self.now == Mono(0),
        }
    }

    /// Zeroes and proofs that the kit carries age until the lift begins.
    fn judge_age(&mut self, now: Mono) {
        let Some(wall) = self.wall_now(now) else { return };
        if self.scene.step != Step::Rig && self.scene.step != Step::TestLift {
            return;
        }
        let estimator = &self.estimator;
        zero::kept(&self.setup, &mut self.instruments, Some(wall), |c| estimator.planned_slope_rad(c));
        for channel in 0..self.setup.channels.len() {
            self.estimator.renewed(&self.setup, channel);
        }
    }

    /// The time of day now, where it was ever said.
    fn wall_now(&self, now: Mono) -> Option<Timestamp> {
        let (then, wall) = self.wall?;
        let passed = jiff::SignedDuration::from_micros(now.since(then).0 as i64);
        Some(wall.checked_add(passed).unwrap_or(wall))
    }

    fn trust(&mut self) {
        for (channel, health) in self.instruments.health.iter_mut().enumerate() {
            health.trusted = !self.causes.distrusts(channel) && !self.proof.distrusts(&self.setup, channel);
        }
    }

    /// Brings everything to `now`, judges, and tells.
    fn run(&mut self, now: Mono) {
        self.now = now;
        self.instruments.refresh(&self.setup, &self.scene, now);
        self.trust();
        self.estimator.advance(&self.setup, &self.scene, &self.instruments.health, now);
        self.look_at_steps(now);
        self.look_at_proof(now);
        self.judge(now);
        self.tell(now);
        self.learn(now);
        self.next = self.next_moment(now);
    }

    fn look_at_steps(&mut self, now: Mono) {
        let was = self.scene.guarded_as_moving();
        let asks = self.steps.look(&mut self.scene, self.estimator.estimate(), self.half_turn_mm, now);
        if !was && self.scene.guarded_as_moving() {
            self.instruments.motion_begins();
        }
        if asks {
            let text = self.phrases.render("step-asked", &[("step", self.scene.step.word())]);
            self.reply(now, "lead", text, false);
        }
    }

    fn look_at_proof(&mut self, now: Mono) {
        let Some(turn) = self.scene.turn else { return };
        let Some(judged) = self.proof.look(&self.setup, &self.instruments, &self.scene, now) else { return };
        (self.scene.turn, self.scene.turned) = (None, Some(turn));
        self.steps.turn_is_over();
        self.learn.stiffness.judged(judged == Judged::Right, now);
        let key = match judged {
            Judged::Right => "turn-proved",
            Judged::Faults => "turn-wrong",
            Judged::Nothing => "turn-nothing",
            Judged::Otherwise => "turn-wrong",
            Judged::Blunt => "turn-blunt",
            Judged::Unread => "turn-unread",
        };
        let text = self.phrases.render(key, &[("tower", &self.setup.plan.towers[turn.tower].name)]);
        self.trust();
        self.reply(now, "lead", text, judged != Judged::Right);
    }

    fn judge(&mut self, now: Mono) {
        self.conditions.clear();
        let started = self.started.unwrap_or(now);
        health::conditions(&self.setup, &self.instruments, &self.scene, started, now, &mut self.conditions);
        let (moment, towers) = ((now, self.wall_now(now)), &self.estimator.estimate().towers);
        let planned = |j: usize| towers[j].planned_n;
        self.zeros.conditions(&self.setup, &self.instruments, &self.scene, moment, planned, &mut self.conditions);
        self.proof.conditions(&self.setup, &self.instruments, &self.scene, &mut self.conditions);
        let stands = if self.stop_said.is_some() { Stands::At(Severity::Stop) } else { Stands::Clear };
        self.conditions.push(Condition { stands, never_gated: true, ..Condition::of(Kind::StopSaid) });
        self.causes.judge(&self.setup, &self.scene, &self.limits, &self.instruments.health, &mut self.estimator, now, &mut self.conditions);
        self.ledger.weigh(now, &self.scene, &self.conditions);
    }

    fn tell(&mut self, now: Mono) {
        self.told.clear();
        self.ledger.take_told(&mut self.told);
        for at in 0..self.told.len() {
            let Told { track, state, change } = self.told[at];
            let line = self.line(track, state, change, now);
            self.out.push(Output::Finding(line));
        }
        let unclaimed = self.unclaimed();
        self.called.clear();
        self.calls.follow(
            now,
            self.ledger.tracks(),
            &self.scene,
            self.estimator.estimate(),
            &self.setup,
            unclaimed,
            self.limits.counted_turn,
            &self.phrases,
            &mut self.called,
        );
        self.out.extend(self.called.drain(..).map(Output::Call));
    }

    fn line(&self, track: usize, state: LifeState, change: bool, now: Mono) -> told::Finding {
        let by = self.stop_said.as_deref();
        let mut line = text::finding(
            &self.ledger.tracks()[track],
            &text::Room { setup: &self.setup, scene: &self.scene, instruments: &self.instruments, phrases: &self.phrases, stop_by: by },
            now,
            change,
        );
        line.state = state;
        line
    }

    /// Why no level is claimed, if so.
    fn unclaimed(&self) -> Option<Unclaimed> {
        if !self.instruments.all_zeroed(&self.setup) {
            return Some(Unclaimed::NotZeroed);
        }
        if !self.proof.all(&self.setup, &self.instruments) {
            return Some(Unclaimed::NotProved);
        }
        for track in self.ledger.open().filter(|t| t.stands_openly() && matches!(t.kind, Kind::Silent | Kind::NeverHeard)) {
            let Some(tower) = track.tower else { continue };
            let slow = track.now.limit == Some(SLOWEST_S);
            return Some(if slow { Unclaimed::TooSlow(tower) } else { Unclaimed::NoData(tower) });
        }
        let level = &self.estimator.estimate().level;
        let known = !level.above_mm.is_empty() && level.above_mm.iter().all(Option::is_some) && self.level_is_judged();
        (!known).then_some(Unclaimed::Unknown)
    }

    /// Whether three heads and more are known well enough to be called level: not by boxes alone while they are cranked, and never
    /// where a head at its limit could not be told from a level one.
    fn level_is_judged(&self) -> bool {
        if self.setup.plan.towers.len() < 3 {
            return true;
        }
        if self.scene.guarded_as_moving() && !self.estimator.felt(FELT_S) {
            return false;
        }
        let rows = self.limits.at(self.scene.step);
        let pair = rows.twist_mm.or(rows.line_mm);
        let above = self.estimator.estimate().level.above_mm.iter().flatten();
        let widest = above.map(|a| a.sigma).fold(0.0, f64::max);
        pair.is_none_or(|pair| SURE * widest <= pair.stop.unwrap_or(pair.warn))
    }

    fn next_moment(&self, now: Mono) -> Option<Mono> {
        let started = self.started.unwrap_or(now);
        let turn = self.scene.turn.map(|t| Proof::given_up_at(&t));
        [
            health::deadline(&self.setup, &self.instruments, &self.scene, started, now),
            self.ledger.deadline(now, &self.scene),
            self.calls.deadline(now),
            self.causes.deadline(),
            turn,
            self.learn.stiffness.deadline(),
        ]
        .into_iter()
        .flatten()
        .filter(|m| *m > now)
        .min()
    }

    fn reply(&mut self, now: Mono, to: &str, text: String, refused: bool) {
        self.out.push(Output::Reply { t_ms: now, to: to.to_owned(), text, refused });
    }
}

#[cfg(test)]
mod tests;
