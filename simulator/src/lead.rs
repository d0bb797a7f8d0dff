//! The lead: goes through the acts of the script, sets steps, says what must be said, answers calls.

use crate::script::{Act, Deed, LeadWays, Script, Zeroed};
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::said::{Said, StepSet};
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::Arrival;
use raisewatch_protocol::words::{CallState, Channel, Step, Utterance, Word};

/// What the lead wants done at the towers; the lift does it.
#[derive(Clone, Debug, PartialEq)]
pub enum Wish {
    /// Crank these towers to a height.
    Crank {
        /// Height of the head, m.
        to_m: f64,
        /// Whether `to_m` counts from where the heads are.
        from_here: bool,
        /// Towers; all where left out.
        towers: Option<Vec<String>>,
        /// Pause at pins.
        sections: bool,
    },
    /// Crank so many turns.
    Turns {
        /// Towers; all where left out.
        towers: Option<Vec<String>>,
        /// Turns, up positive.
        turns: f64,
    },
    /// Hang the truss on over so many seconds.
    Hang(f64),
    /// Land, one tower so many seconds after the other.
    Land(f64),
    /// Take the ropes, draw the pins.
    Unpin,
    /// All who stopped may go on.
    Free,
}

/// Where the current act is.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    /// Not begun.
    Ahead,
    /// Hands are at work.
    Busy,
    /// Done at the towers; the readings come to rest until then.
    Rests(f64),
}

/// The lead.
#[derive(Clone, Debug)]
pub struct Lead {
    acts: Vec<Act>,
    next: usize,
    stage: Stage,
    done_s: f64,
    counted: Option<(f64, f64)>,
    ways: LeadWays,
    zeros: Vec<(Channel, String)>,
    /// Words to come: when, what.
    coming: Vec<(f64, Said)>,
    answered: Vec<String>,
    /// Freed so long after a release.
    free_s: Option<f64>,
    /// The step last set.
    pub step: Step,
}

/// After a counted turn and after a turn at the test lift the readings come to rest. A little over the three seconds that
/// a total has to stand, docs/forms.md, "Moving".
const RESTS_S: f64 = 4.5;
/// After a counted part-turn.
const COUNT_RESTS_S: f64 = 2.0;

fn by_lead(said: Utterance, tower: Option<String>, finding: Option<String>) -> Said {
    Said { said, tower, channel: None, value: None, finding, by: Some("lead".to_owned()) }
}

impl Lead {
    /// The lead of this script.
    pub fn new(script: &Script, kit: &Kit) -> Self {
        let zeros = kit.nodes.iter().flat_map(|node| node.channels.iter().map(|c| (c.channel, node.tower.clone()))).collect();
        Lead {
            acts: script.act.clone(),
            next: 0,
            stage: Stage::Ahead,
            done_s: 0.0,
            counted: None,
            ways: script.lead.clone(),
            zeros,
            coming: Vec::new(),
            answered: Vec::new(),
            free_s: None,
            step: script.start.step,
        }
    }

    /// Whether every act is done.
    pub fn done(&self) -> bool {
        self.next >= self.acts.len()
    }

    /// When the last act was done, s.
    pub fn done_s(&self) -> f64 {
        self.done_s
    }

    /// Hears a call made to the lead.
    pub fn hear(&mut self, call: &Call, now_s: f64) {
        let order = matches!(call.call, Word::Hold | Word::Up | Word::Down | Word::Easy | Word::Stop);
        if call.state != CallState::Said || !order || self.answered.contains(&call.id) {
            return;
        }
        self.answered.push(call.id.clone());
        if let Some(after) = self.ways.heard {
            self.coming.push((now_s + after.0, by_lead(Utterance::Heard, None, call.finding.clone())));
        }
        if let (Word::Stop, Some(after)) = (call.call, self.ways.release) {
            let at = now_s + after.0;
            self.coming.push((at, by_lead(Utterance::Seen, None, call.finding.clone())));
            self.coming.push((at + 1.5, by_lead(Utterance::Release, None, call.finding.clone())));
            self.free_s = Some(at + 3.0);
        }
    }

    /// Goes on at `now_s`: `idle` no operator has anything to do, `stopped` a stop stands, `line_m` middle of the heads.
    pub fn advance(&mut self, now_s: f64, idle: bool, stopped: bool, line_m: f64, out: &mut Vec<Arrival>) -> Vec<Wish> {
        let mut wishes = Vec::new();
        self.speak(now_s, out);
        if self.free_s.is_some_and(|at| now_s >= at) {
            self.free_s = None;
            wishes.push(Wish::Free);
            return wishes;
        }
        if stopped {
            return wishes;
        }
        while let Some(act) = self.acts.get(self.next).cloned() {
            match self.stage {
                Stage::Ahead => {
                    let ready = act.at.map_or(0.0, |at| at.0).max(self.done_s + act.after.0);
                    if now_s < ready {
                        break;
                    }
                    self.stage = self.begin(&act.what, now_s, line_m, out, &mut wishes);
                }
                Stage::Busy if !idle || !wishes.is_empty() => break,
                Stage::Busy => self.stage = self.go_on(&act.what, now_s, line_m, &mut wishes),
                Stage::Rests(until) if now_s < until => break,
                Stage::Rests(_) if self.counted.is_some() => {
                    self.stage = self.go_on(&act.what, now_s, line_m, &mut wishes);
                }
                Stage::Rests(_) => {
                    self.next += 1;
                    self.done_s = now_s;
                    self.stage = Stage::Ahead;
                }
            }
        }
        wishes
    }

    fn speak(&mut self, now_s: f64, out: &mut Vec<Arrival>) {
        // Few at a time, in the order in which they were promised.
        while let Some(at) = self.coming.iter().position(|(at, _)| *at <= now_s) {
            out.push(Arrival::Said(self.coming.remove(at).1));
        }
    }

    fn begin(&mut self, deed: &Deed, now_s: f64, line_m: f64, out: &mut Vec<Arrival>, wishes: &mut Vec<Wish>) -> Stage {
        let done = Stage::Rests(now_s);
        match deed {
            Deed::Step { step } => {
                self.step = *step;
                out.push(Arrival::Step(StepSet { step: *step, by: Some("lead".to_owned()) }));
                done
            }
            Deed::Say { said, tower, channel, value, by } => {
                let by = Some(by.clone().unwrap_or_else(|| "lead".to_owned()));
                let value = value.clone().map(|v| v.0);
                out.push(Arrival::Said(Said { said: *said, tower: tower.clone(), channel: *channel, value, finding: None, by }));
                done
            }
            Deed::Zero { what } => {
                for (channel, tower) in self.zeros.iter().filter(|(channel, _)| zeroed(*channel) == Some(*what)) {
                    let said = by_lead(Utterance::Zero, Some(tower.clone()), None);
                    out.push(Arrival::Said(Said { channel: Some(*channel), ..said }));
                }
                done
            }
            Deed::Wait { lasts } => Stage::Rests(now_s + lasts.0),
            Deed::Hang { over } => {
                wishes.push(Wish::Hang(over.0));
                Stage::Rests(now_s + over.0 + RESTS_S)
            }
            Deed::Turn { tower, turns } => {
                let turns = turns.unwrap_or(1.0);
                let value = Some(raisewatch_protocol::said::SaidValue::Number(turns));
                out.push(Arrival::Said(Said { value, ..by_lead(Utterance::Turn, Some(tower.clone()), None) }));
                wishes.push(Wish::Turns { towers: Some(vec![tower.clone()]), turns });
                Stage::Busy
            }
            Deed::Turns { turns } => {
                wishes.extend(turns.iter().map(|(tower, turns)| Wish::Turns { towers: Some(vec![tower.clone()]), turns: *turns }));
                Stage::Busy
            }
            Deed::Crank { to, by, towers, sections, counted } => {
                let aim = to.map_or_else(|| line_m + by.map_or(0.0, |b| b.0), |to| to.0);
                if let Some(turns) = counted {
                    self.counted = Some((aim, turns.abs().max(0.05)));
                    return self.go_on(deed, now_s, line_m, wishes);
                }
                let from_here = to.is_none();
                let to_m = if from_here { by.map_or(0.0, |b| b.0) } else { aim };
                wishes.push(Wish::Crank { to_m, from_here, towers: towers.clone(), sections: *sections });
                Stage::Busy
            }
            Deed::Land { stagger } => {
                wishes.push(Wish::Land(stagger.0));
                Stage::Busy
            }
            Deed::Unpin => {
                wishes.push(Wish::Unpin);
                Stage::Busy
            }
        }
    }

    /// The hands are still: the next counted turn, or done.
    fn go_on(&mut self, deed: &Deed, now_s: f64, line_m: f64, wishes: &mut Vec<Wish>) -> Stage {
        let towers = match deed {
            Deed::Crank { towers, .. } => towers.clone(),
            Deed::Turn { .. } => return Stage::Rests(now_s + RESTS_S),
            _ => None,
        };
        let Some((aim, turns)) = self.counted else { return Stage::Rests(now_s) };
        if self.stage == Stage::Busy {
            return {
                self.stage = Stage::Rests(now_s + COUNT_RESTS_S);
                self.stage
            };
        }
        let left = aim - line_m;
        if left.abs() < 0.004 {
            self.counted = None;
            return Stage::Rests(now_s);
        }
        wishes.push(Wish::Turns { towers, turns: turns.copysign(left) });
        Stage::Busy
    }
}

/// With which sort of zero a channel goes; heights and batteries have none.
fn zeroed(channel: Channel) -> Option<Zeroed> {
    match channel {
        Channel::HeadLoad | Channel::RopeLoad => Some(Zeroed::Loads),
        Channel::Height | Channel::Battery => None,
        _ => Some(Zeroed::Tilts),
    }
}
