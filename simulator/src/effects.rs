//! What the faults of a script do at this moment: begun, running and ended, turned into forces, habits and wrong readings.

use crate::ambient::{Rumble, apparent_tilt};
use crate::fault::{Fault, InstrumentFault, What, Wrong};
use crate::instrument::Wrongness;
use crate::quantity::{Metres, Newtons, Radians};
use crate::script::ScriptError;
use crate::stream::Stream;
use raisewatch_protocol::words::{Channel, Step};
use std::f64::consts::TAU;

/// A spring from outside that touches the truss at a watched place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spring {
    /// Index of the watched place.
    pub place: usize,
    /// Stiffness, N/m.
    pub stiff: f64,
    /// Height at which it begins to push, m.
    pub at_m: f64,
    /// True: holds from above; false: bears from below.
    pub above: bool,
    /// Tears past this, N.
    pub breaks_n: f64,
    /// Index of the fault.
    pub fault: usize,
}

/// What runs at one tower.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AtTower {
    /// Multiple of the cadence.
    pub factor: Option<f64>,
    /// The operator does nothing.
    pub frozen: bool,
    /// The operator hears nothing.
    pub deaf: bool,
    /// The drum runs out, m/s.
    pub runs_out: f64,
    /// A section is jammed.
    pub jammed: bool,
    /// The mast's end is reached.
    pub topped: bool,
    /// Landing leaves the pin out.
    pub unpinned: bool,
    /// Lean by a foot, rad.
    pub lean: [f64; 2],
    /// The rope lies crossed: least and most that it lets go, m, once in so many turns.
    pub crossed: Option<[f64; 3]>,
    /// The foot goes down, m/s.
    pub sinks: f64,
    /// Lean by a bump, rad.
    pub bump: f64,
}

/// What runs at one node.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AtNode {
    /// Sends nothing.
    pub silent: bool,
    /// Its last will is told.
    pub will: bool,
    /// Share of packets lost more.
    pub loss: f64,
    /// Later by, s.
    pub late: f64,
    /// Clock off by, s.
    pub clock: f64,
    /// Packets a second, where slower.
    pub rate_hz: Option<f64>,
    /// Battery, V.
    pub battery: Option<f64>,
}

/// All that runs now.
#[derive(Clone, Debug, Default)]
pub struct Effects {
    /// Per tower.
    pub towers: Vec<AtTower>,
    /// Per node.
    pub nodes: Vec<AtNode>,
    /// Springs.
    pub springs: Vec<Spring>,
    /// Weights: watched place, N down.
    pub weights: Vec<(usize, f64)>,
    /// Roll of the truss in its cradles, rad.
    pub roll: f64,
    /// Heads are drawn together by, m.
    pub drawn: f64,
    /// Kinks: watched place, rad.
    pub kinks: Vec<(usize, f64)>,
    /// Apparent tilt on every tilt instrument, rad.
    pub tilt: f64,
    /// Load ripple, share.
    pub load: f64,
    /// Sway that the place drives, apparent rad.
    pub sway: f64,
    /// Once: pins that give way now, rope slips now (tower, m).
    pub pins_failed: Vec<usize>,
    /// Once: slips.
    pub slips: Vec<(usize, f64)>,
    /// Once: things said.
    pub said: Vec<(raisewatch_protocol::words::Utterance, Option<String>, String)>,
}

/// One push of hands.
#[derive(Clone, Copy, Debug)]
struct Push {
    place: usize,
    force_n: f64,
    rock: f64,
    until_s: f64,
    began_s: f64,
}

/// A fault as it runs.
#[derive(Clone, Debug)]
pub struct Running {
    fault: Fault,
    tower: Option<usize>,
    node: Option<usize>,
    other: Option<usize>,
    places: Vec<usize>,
    amount: f64,
    stream: Stream,
    rumble: Rumble,
    /// When what names the beginning came to pass.
    named_s: Option<f64>,
    /// When it began.
    pub begun_s: Option<f64>,
    /// When it ended.
    ended_s: Option<f64>,
    anchor_m: Option<f64>,
    torn: bool,
    push: Option<Push>,
    next_s: f64,
}

/// What a fault may name.
pub struct Names<'a> {
    /// Script's title, for what is told.
    pub script: &'a str,
    /// Towers' ids.
    pub towers: Vec<&'a str>,
    /// Nodes' ids.
    pub nodes: Vec<&'a str>,
}

impl Names<'_> {
    /// Index of a tower.
    pub fn tower(&self, what: &str, id: &str) -> Result<usize, ScriptError> {
        find(self.script, what, "tower", &self.towers, id)
    }
    fn node(&self, what: &str, id: &str) -> Result<usize, ScriptError> {
        find(self.script, what, "node", &self.nodes, id)
    }
}

fn find(script: &str, what: &str, sort: &'static str, known: &[&str], name: &str) -> Result<usize, ScriptError> {
    known.iter().position(|k| *k == name).ok_or_else(|| ScriptError::Unknown {
        script: script.to_owned(),
        what: what.to_owned(),
        sort,
        name: name.to_owned(),
        known: known.join(", "),
    })
}

/// An amount of an instrument's fault, in the channel's unit.
fn amount(channel: Channel, text: &str) -> Result<f64, String> {
    let text = text.to_owned();
    match channel {
        Channel::HeadLoad | Channel::RopeLoad => Newtons::try_from(text).map(|q| q.0),
        Channel::Height => Metres::try_from(text).map(|q| q.0),
        Channel::Battery => crate::quantity::Volts::try_from(text).map(|q| q.0),
        _ => Radians::try_from(text).map(|q| q.0),
    }
}

impl Running {
    /// Makes a fault ready: names looked up, amounts read.
    pub fn new(index: usize, fault: &Fault, names: &Names, places: Vec<usize>, seed: u64) -> Result<Self, ScriptError> {
        let what = format!("fault {}", index + 1);
        let senseless = |expected: String, found: String| ScriptError::Senseless {
            script: names.script.to_owned(),
            what: what.clone(),
            expected,
            found,
        };
        if fault.when.begins.is_none() && fault.when.height.is_none() && fault.when.step.is_none() {
            return Err(senseless("when it begins: begins, height or step".to_owned(), "none of them".to_owned()));
        }
        let mut stream = Stream::new(seed, &format!("fault {index}"));
        let rumble = Rumble::new(2.0, 8.0, &mut stream);
        let (tower, node) = match &fault.what {
            What::Cadence { tower, .. }
            | What::Stops { tower }
            | What::Deaf { tower }
            | What::BrakeSlips { tower, .. }
            | What::RopeSlips { tower, .. }
            | What::Crossed { tower, .. }
            | What::Stuck { tower }
            | What::TopStop { tower }
            | What::PinFails { tower }
            | What::NotPinned { tower }
            | What::Sinks { tower, .. }
            | What::Bump { tower, .. } => (Some(names.tower(&what, tower)?), None),
            What::Instrument(fault) => (Some(names.tower(&what, &fault.tower)?), None),
            What::Silent { node, .. }
            | What::Late { node, .. }
            | What::Clock { node, .. }
            | What::Slow { node, .. }
            | What::Battery { node, .. } => (None, Some(names.node(&what, node)?)),
            What::Loss { node: Some(node), .. } => (None, Some(names.node(&what, node)?)),
            _ => (None, None),
        };
        let (mut other, mut read) = (None, 0.0);
        if let What::Instrument(InstrumentFault { channel, wrong, .. }) = &fault.what {
            match wrong {
                Wrong::Off(text) | Wrong::DriftPerHour(text) | Wrong::Value(text) | Wrong::Noise(text) => {
                    read = amount(*channel, text).map_err(|e| senseless(format!("an amount of {channel}"), e))?;
                }
                Wrong::Reads(tower) => other = Some(names.tower(&what, tower)?),
                _ => {}
            }
        }
        Ok(Running {
            fault: fault.clone(),
            tower,
            node,
            other,
            places,
            amount: read,
            stream,
            rumble,
            named_s: None,
            begun_s: None,
            ended_s: None,
            anchor_m: None,
            torn: false,
            push: None,
            next_s: 0.0,
        })
    }

    /// Whether it runs at `now_s`; notes its beginning and end. `passed` says whether a height has been passed.
    fn runs(&mut self, now_s: f64, step: Step, passed: impl Fn(f64) -> bool) -> bool {
        if self.named_s.is_none() {
            let by_time = self.fault.when.begins.is_none_or(|at| now_s >= at.0);
            let by_height = self.fault.when.height.is_none_or(|height| passed(height.0));
            let by_step = self.fault.when.step.is_none_or(|named| named == step);
            if by_time && by_height && by_step {
                self.named_s = Some(now_s);
            }
        }
        let Some(named) = self.named_s else { return false };
        if self.begun_s.is_none() && now_s >= named + self.fault.when.after.0 {
            self.begun_s = Some(now_s);
        }
        let Some(begun) = self.begun_s else { return false };
        let ended = self.fault.when.lasts.is_some_and(|lasts| now_s >= begun + lasts.0);
        if ended && self.ended_s.is_none() {
            self.ended_s = Some(now_s);
        }
        !ended
    }

    /// A spring of this fault has torn.
    pub fn tears(&mut self) {
        self.torn = true;
    }

    /// Adds what it does now. `z_m` gives the height of a watched place.
    pub fn act(
        &mut self,
        index: usize,
        effects: &mut Effects,
        now_s: f64,
        step: Step,
        passed: impl Fn(f64) -> bool,
        z_m: impl Fn(usize) -> f64,
    ) {
        let before = self.begun_s;
        let runs = self.runs(now_s, step, passed);
        let Some(begun) = self.begun_s else { return };
        let first = before.is_none();
        let since = now_s - begun;
        // What has been done stays done after its end: a foot does not come up again, a truss does not roll back.
        let lasting = self.ended_s.map_or(since, |ended| ended - begun);
        self.lasting(effects, lasting);
        if runs {
            self.while_it_runs(index, effects, now_s, since, first, z_m);
        }
    }

    fn lasting(&self, effects: &mut Effects, since: f64) {
        match (&self.fault.what, self.tower) {
            (What::Sinks { along, across, along_rate, across_rate, .. }, Some(j)) => {
                effects.towers[j].lean[0] += along.0 + along_rate.0 * since;
                effects.towers[j].lean[1] += across.0 + across_rate.0 * since;
            }
            (What::Rolls { by, over }, _) => effects.roll += by.0 * ramp(since, over.0),
            (What::Drawn { by, over }, _) => effects.drawn += by.0 * ramp(since, over.0),
            (What::Joint { by, over, .. }, _) => effects.kinks.extend(self.places.iter().map(|p| (*p, by.0 * ramp(since, over.0)))),
            (What::Clock { by, .. }, _) => {
                if let Some(node) = self.node {
                    effects.nodes[node].clock += by.0;
                }
            }
            (What::Battery { to, over, .. }, _) => {
                if let Some(node) = self.node {
                    let full = 4.1;
                    effects.nodes[node].battery = Some(full + (to.0 - full) * ramp(since, over.0));
                }
            }
            _ => {}
        }
    }

    fn while_it_runs(&mut self, index: usize, effects: &mut Effects, now_s: f64, since: f64, first: bool, z_m: impl Fn(usize) -> f64) {
        if let Some(j) = self.tower {
            self.at_tower(j, effects, now_s, since, first);
        }
        if let Some(n) = self.node {
            at_node(&self.fault.what, &mut effects.nodes[n]);
        }
        match &self.fault.what {
            What::Loss { node: None, share } => effects.nodes.iter_mut().for_each(|n| n.loss += share),
            What::Snag { stiffness, slack, breaks, .. } if !self.torn => {
                let place = self.places[0];
                let at_m = *self.anchor_m.get_or_insert(z_m(place) + slack.0);
                let breaks_n = breaks.map_or(f64::INFINITY, |b| b.0);
                effects.springs.push(Spring { place, stiff: stiffness.0, at_m, above: true, breaks_n, fault: index });
            }
            What::Case { stiffness, below, .. } => {
                let place = self.places[0];
                let at_m = *self.anchor_m.get_or_insert(z_m(place) - below.0);
                let breaks_n = f64::INFINITY;
                effects.springs.push(Spring { place, stiff: stiffness.0, at_m, above: false, breaks_n, fault: index });
            }
            What::Weight { weight, over, .. } => {
                effects.weights.push((self.places[0], weight.0 * ramp(since, over.0)));
            }
            What::Hands { .. } => self.hands(effects, now_s),
            What::Draught { frequency, tilt, load, on_off } => {
                let on = on_off.is_none_or(|time| ((since / time.0) as u64).is_multiple_of(2));
                if on {
                    let wave = (TAU * frequency.0 * now_s).sin();
                    effects.tilt += tilt.0 * wave;
                    effects.load += load * (TAU * frequency.0 * now_s + 0.8).sin();
                }
            }
            What::Rumble { tilt, sway, burst, load } => {
                effects.tilt += tilt.0 * self.rumble.at(now_s);
                effects.load += load * self.rumble.at(now_s + 17.0);
                if ((since / burst.0) as u64).is_multiple_of(2) {
                    effects.tilt += apparent_tilt(sway.0, 1.0) * (TAU * now_s).sin();
                }
            }
            What::Says { said, tower, by } if first => effects.said.push((*said, tower.clone(), by.clone())),
            _ => {}
        }
    }

    fn at_tower(&mut self, j: usize, effects: &mut Effects, now_s: f64, since: f64, first: bool) {
        let here = &mut effects.towers[j];
        match &self.fault.what {
            What::Cadence { factor, .. } => here.factor = Some(*factor),
            What::Stops { .. } => here.frozen = true,
            What::Deaf { .. } => here.deaf = true,
            What::BrakeSlips { speed, .. } => here.runs_out += speed.0,
            What::Crossed { least, most, turns, .. } => here.crossed = Some([least.0, most.0, turns.abs().max(0.1)]),
            What::Stuck { .. } => here.jammed = true,
            What::TopStop { .. } => here.topped = true,
            What::NotPinned { .. } => here.unpinned = true,
            What::Sinks { down, .. } => here.sinks += down.0,
            What::Bump { by, .. } => here.bump += by.0 * (-since / 0.4).exp(),
            What::PinFails { .. } if first => effects.pins_failed.push(j),
            What::RopeSlips { by, every, .. } if first || every.is_some_and(|_| now_s >= self.next_s) => {
                effects.slips.push((j, by.0));
                self.next_s = now_s + every.map_or(f64::INFINITY, |e| e.0 * self.stream.between(0.7, 1.3));
            }
            _ => {}
        }
    }

    fn hands(&mut self, effects: &mut Effects, now_s: f64) {
        let What::Hands { force, lasts, pause, rock, .. } = &self.fault.what else { return };
        if self.push.is_none_or(|p| now_s >= p.until_s) && now_s >= self.next_s {
            let lasts_s = self.stream.between(lasts[0].0, lasts[1].0);
            let way = if self.stream.chance(0.5) { 1.0 } else { -1.0 };
            let place = self.places[(self.stream.between(0.0, 0.999) * self.places.len() as f64) as usize];
            let force_n = way * self.stream.between(force[0].0, force[1].0);
            self.push = Some(Push { place, force_n, rock: rock.0 * way, until_s: now_s + lasts_s, began_s: now_s });
            self.next_s = now_s + lasts_s + pause.0 * self.stream.between(0.5, 1.5);
        }
        if let Some(push) = self.push.filter(|p| now_s < p.until_s) {
            // Hands come on and off over a quarter of a second or so.
            let strength = ramp(now_s - push.began_s, 0.25) * ramp(push.until_s - now_s, 0.25);
            effects.weights.push((push.place, push.force_n * strength));
            effects.roll += push.rock * strength;
        }
    }

    /// Adds what is wrong with this instrument now. Returns the tower whose truth it reads instead, if so.
    pub fn spoil(&self, tower: usize, channel: Channel, now_s: f64, wrong: &mut Wrongness) -> Option<usize> {
        let What::Instrument(fault) = &self.fault.what else { return None };
        let begun = self.begun_s.filter(|_| self.ended_s.is_none())?;
        if self.tower != Some(tower) || fault.channel != channel {
            return None;
        }
        match &fault.wrong {
            Wrong::Off(_) => wrong.off += self.amount * ramp(now_s - begun, 0.1),
            Wrong::DriftPerHour(_) => wrong.off += self.amount * (now_s - begun) / 3600.0,
            Wrong::Times(by) => wrong.times = Some(wrong.times.unwrap_or(1.0) * by),
            Wrong::Bypass(share) => wrong.times = Some(wrong.times.unwrap_or(1.0) * (1.0 - share)),
            Wrong::Frozen(yes) => wrong.frozen |= yes,
            Wrong::Backwards(yes) => wrong.backwards |= yes,
            Wrong::Value(_) => wrong.value = Some(self.amount),
            Wrong::Missing(yes) => wrong.missing |= yes,
            Wrong::Noise(_) => wrong.noise = wrong.noise.hypot(self.amount),
            Wrong::Reads(_) => return self.other,
        }
        None
    }
}

fn at_node(what: &What, node: &mut AtNode) {
    match what {
        What::Silent { will, .. } => {
            node.silent = true;
            node.will |= will;
        }
        What::Loss { share, .. } => node.loss += share,
        What::Late { by, .. } => node.late += by.0,
        What::Slow { rate, .. } => node.rate_hz = Some(rate.0),
        _ => {}
    }
}

/// From 0 to 1 over `over` seconds.
fn ramp(since: f64, over: f64) -> f64 {
    if over <= 0.0 { 1.0 } else { (since / over).clamp(0.0, 1.0) }
}
