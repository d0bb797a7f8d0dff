//! The yardstick: what a technician could write in an afternoon. Low-passed tilt times span against two limits, load
//! against the rating and the plan, a clock for silence. No statics: sag is rake to it, a catch is weight, sway is rake.

use crate::watcher::{Told, Watcher};
use raisewatch_protocol::input::Input;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::plan::{Hung, Lies, Plan};
use raisewatch_protocol::reading::Value;
use raisewatch_protocol::told::{Call, Then};
use raisewatch_protocol::words::{CallState, Channel, Kind, Step, Word};

/// Limits as a table on paper would have them. Source: the trade's rows in docs/method.md.
const WARN_M: f64 = 0.050;
const STOP_M: f64 = 0.100;
const TOTAL_SHARE: f64 = 0.15;
const SILENT: Span = Span::ms(1500);
const SMOOTH_S: f64 = 0.5;

/// The plain watcher.
#[derive(Debug)]
pub struct Yardstick {
    towers: Vec<(String, f64, f64)>,
    node_tower: Vec<usize>,
    planned_n: f64,
    tilt: Vec<Option<f64>>,
    load: Vec<Option<f64>>,
    heard: Vec<Option<Mono>>,
    step: Step,
    said: Option<(Word, String)>,
    number: u64,
}

fn planned(plan: &Plan) -> f64 {
    let pieces: f64 = plan.pieces.iter().map(|p| p.weight.0 * p.length().0).sum();
    let loads: f64 = plan
        .loads
        .iter()
        .map(|l| match l.hung {
            Hung::Point { weight, .. } => weight.0,
            Hung::Spread { from, to, first, last } => (to.0 - from.0) * (first.0 + last.0) / 2.0,
        })
        .sum();
    let cables: f64 = plan
        .cables
        .iter()
        .map(|c| match c.lies {
            Lies::Along { from, to, weight } => (to.0 - from.0) * weight.0,
            Lies::Coil { weight, .. } => weight.0,
            Lies::Tail { weight, .. } => weight.0 * plan.working_height.0,
        })
        .sum();
    pieces + loads + cables
}

impl Yardstick {
    /// For this plan and kit.
    pub fn new(plan: &Plan, kit: &Kit) -> Self {
        Yardstick {
            towers: plan.towers.iter().map(|t| (t.id.clone(), t.at.0, t.rated_at(plan.trim_height).0)).collect(),
            node_tower: kit.nodes.iter().map(|n| plan.towers.iter().position(|t| t.id == n.tower).unwrap_or(0)).collect(),
            planned_n: planned(plan),
            tilt: vec![None; kit.nodes.len()],
            load: vec![None; kit.nodes.len()],
            heard: vec![None; kit.nodes.len()],
            step: Step::Rig,
            said: None,
            number: 0,
        }
    }

    fn moving(&self) -> bool {
        matches!(self.step, Step::Raise | Step::Section | Step::Land | Step::Lower)
    }

    fn take(&mut self, now: Mono, node: usize, channel: Channel, value: Value) {
        let since = self.heard[node].map_or(0.05, |then| now.since(then).s());
        let gain = (since / SMOOTH_S).clamp(0.0, 1.0);
        let slot = match (channel, value) {
            (Channel::TrussAlong, Value::Angle(angle)) => Some((&mut self.tilt[node], angle.0)),
            (Channel::HeadLoad, Value::Force(force)) => Some((&mut self.load[node], force.0)),
            _ => None,
        };
        if let Some((slot, value)) = slot {
            *slot = Some(slot.map_or(value, |old| old + (value - old) * gain));
        }
    }

    /// What it would say now: word, tower, kind.
    fn judge(&self, now: Mono) -> Option<(Word, String, Kind)> {
        let name = |node: usize| self.towers[self.node_tower[node]].0.clone();
        if self.moving()
            && let Some(node) = self.heard.iter().position(|h| h.is_some_and(|h| now.since(h) > SILENT))
        {
            return Some((Word::Stop, name(node), Kind::Silent));
        }
        let over = self.load.iter().enumerate().find(|(n, l)| l.is_some_and(|l| l > self.towers[self.node_tower[*n]].2));
        if let Some((node, _)) = over {
            return Some((Word::Stop, name(node), Kind::Overload));
        }
        if self.load.iter().all(Option::is_some) {
            let total: f64 = self.load.iter().flatten().sum();
            if (total - self.planned_n).abs() > TOTAL_SHARE * self.planned_n && self.step != Step::Rig {
                let most = (0..self.load.len()).max_by(|a, b| self.load[*a].unwrap_or(0.0).total_cmp(&self.load[*b].unwrap_or(0.0)));
                return most.map(|node| (Word::Stop, name(node), Kind::OffPlan));
            }
        }
        self.rake()
    }

    fn rake(&self) -> Option<(Word, String, Kind)> {
        let tilts: Vec<f64> = self.tilt.iter().flatten().copied().collect();
        let (first, last) = (self.towers.first()?, self.towers.last()?);
        let slope = tilts.iter().sum::<f64>() / (tilts.len().max(1)) as f64;
        let rake = slope * (last.1 - first.1);
        let word = match rake.abs() {
            r if r > STOP_M => Word::Stop,
            r if r > WARN_M => Word::Hold,
            _ => return None,
        };
        let high = if rake > 0.0 { last } else { first };
        let low = if rake > 0.0 { first } else { last };
        let held = if self.step == Step::Lower { low } else { high };
        Some((word, held.0.clone(), Kind::Uneven))
    }

    fn tell(&mut self, now: Mono, judged: Option<(Word, String, Kind)>) -> Vec<Told> {
        let named = judged.as_ref().map(|(word, tower, _)| (*word, tower.clone()));
        if named == self.said {
            return Vec::new();
        }
        let mut told = Vec::new();
        if let Some((word, tower)) = self.said.take() {
            told.extend(self.calls(now, word, &tower, None, CallState::Over));
        }
        if let Some((word, tower, kind)) = judged {
            told.extend(self.calls(now, word, &tower, Some(kind), CallState::Said));
        }
        self.said = named;
        told
    }

    fn calls(&mut self, now: Mono, word: Word, tower: &str, reason: Option<Kind>, state: CallState) -> Vec<Told> {
        self.number += 1;
        let others = || self.towers.iter().filter(|t| t.0 != tower);
        let then = if word == Word::Hold {
            others().map(|t| Then { tower: t.0.clone(), call: Word::Up, turns: 1.0 }).collect()
        } else {
            Vec::new()
        };
        let call = |to: &str, then: Vec<Then>| {
            Told::Call(Call {
                t_ms: now,
                id: self.number.to_string(),
                call: word,
                to: to.to_owned(),
                tower: Some(tower.to_owned()),
                then,
                turns: None,
                reason,
                finding: None,
                state,
                text: String::new(),
                level_through: Vec::new(),
            })
        };
        let mut all = vec![call("spotter", then)];
        match word {
            Word::Stop => all.extend(self.towers.iter().map(|t| call(&t.0, Vec::new()))),
            _ => all.push(call(tower, Vec::new())),
        }
        all
    }
}

impl Watcher for Yardstick {
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told> {
        match input {
            Input::Step(step) => self.step = step.step,
            Input::Packet(packet) => {
                for reading in &packet.readings {
                    if let Ok(value) = reading.value {
                        self.take(now, packet.node, reading.channel, value);
                    }
                }
                self.heard[packet.node] = Some(now);
            }
            _ => {}
        }
        let judged = self.judge(now);
        self.tell(now, judged)
    }

    fn deadline(&self) -> Option<Mono> {
        // The earliest silence that is not yet over; one that stands has been told.
        let said = self.said.as_ref().is_some_and(|(word, _)| *word == Word::Stop);
        let first = self.heard.iter().flatten().min().filter(|_| self.moving() && !said);
        first.map(|heard| *heard + SILENT + Span::ms(1))
    }
}
