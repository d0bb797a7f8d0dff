//! What people set and say, taken: steps, zeroes, turns, words about findings and pins. What is not taken is answered with why.

use super::Watch;
use crate::instruments::{Zero, needs_zero};
use crate::learn::hand_over::SaidBy;
use crate::life::Answer;
use crate::life::table::Refusal;
use crate::phrases::ID;
use crate::scene::{Expected, Motion, Pins, Turn};
use crate::steps::Steps;
use crate::view::SaidView;
use crate::zero::{self, ZeroRefusal};
use raisewatch_protocol::said::{Said, SaidValue};
use raisewatch_protocol::units::{Duration, Force, Length};
use raisewatch_protocol::words::{Channel, Kind, Step, Utterance};
use raisewatch_protocol::{Mono, Span, quantity};

impl Watch {
    pub(super) fn set_step(&mut self, now: Mono, step: Step, by: Option<&str>) {
        let before = self.scene.step;
        if before == Step::Rig {
            self.judge_age(now);
        }
        if before != step && !before.usual(step) {
            let text = self.phrases.render("step-unusual", &[("step", step.word()), ("before", before.word())]);
            self.reply(now, "lead", text, false);
        }
        let was_moving = self.scene.guarded_as_moving();
        Steps::set(&mut self.scene, step, now);
        self.steps.begin();
        self.ledger.step_changed(now);
        if !was_moving && self.scene.guarded_as_moving() {
            self.instruments.motion_begins();
        }
        if matches!(step, Step::Raise | Step::Lower) {
            for tower in &mut self.scene.towers {
                tower.pins = Pins::None;
                tower.pinned_at = None;
            }
        }
        self.said.clear();
        self.learn.stiffness.forget_turn();
        self.learn.memory.stepped(now, step, by);
    }

    pub(super) fn hear(&mut self, now: Mono, said: &Said) {
        let tower = match &said.tower {
            None => None,
            Some(word) => match self.setup.tower(word) {
                Some(tower) => Some(tower),
                None => return self.refuse(now, said, "no-tower", &[("what", word)]),
            },
        };
        if matches!(said.said, Utterance::Seen | Utterance::Release | Utterance::HandOver) && self.is_not_the_lead(said.by.as_deref()) {
            return self.refuse(now, said, "lead-only", &[]);
        }
        self.remember(now, said);
        self.learn.memory.heard(now, said, tower);
        match said.said {
            Utterance::Zero => self.zero(now, said, tower),
            Utterance::Turn => self.turn(now, said, tower),
            Utterance::Heard => self.calls.heard(now),
            Utterance::Stop => self.stop_said = Some(said.by.clone().unwrap_or_default()),
            Utterance::Seen => {
                let answer = self.ledger.seen(now, said.finding.as_deref());
                self.answer(now, said, answer);
            }
            Utterance::Release => self.release(now, said),
            Utterance::Shelve => self.shelve(now, said),
            Utterance::Unshelve => {
                let answer = self.ledger.unshelve(now, said.finding.as_deref());
                self.answer(now, said, answer);
            }
            Utterance::Height => self.height(now, said, tower),
            Utterance::SectionUp | Utterance::Pinned | Utterance::SlackSet => self.at_towers(now, said.said, tower),
            Utterance::TailsFree => self.scene.tails_free_at = Some(now),
            Utterance::Expect => {
                let change_n = number::<Force>(said);
                self.scene.expect = Some(Expected { change_n, tower, at: now });
            }
            Utterance::HandOver => self.hand_over(now, said),
            // For the record, the checklist and other parts of the program.
            Utterance::Tap | Utterance::KnownWeight | Utterance::SoundHeard | Utterance::ClearUnder | Utterance::Note => {}
        }
    }

    /// Who stands at a tower or watches is not the lead; a name may be.
    fn is_not_the_lead(&self, by: Option<&str>) -> bool {
        by.is_some_and(|by| by == "spotter" || by == "crew" || by.starts_with("tower") || self.setup.tower(by).is_some())
    }

    fn remember(&mut self, now: Mono, said: &Said) {
        if self.said.len() >= MOST_SAID {
            self.said.remove(0);
        }
        self.said.retain(|s| s.said != said.said || s.tower != said.tower || s.channel != said.channel);
        self.said.push(SaidView { t_ms: now, said: said.said, tower: said.tower.clone(), channel: said.channel, by: said.by.clone() });
    }

    fn zero(&mut self, now: Mono, said: &Said, tower: Option<usize>) {
        if self.scene.step != Step::Rig {
            let step = self.scene.step.word();
            return self.refuse(now, said, "zero-in-rig", &[("step", step)]);
        }
        let Some(channel) = said.channel.filter(|c| needs_zero(*c)) else {
            return self.refuse(now, said, "zero-channel", &[]);
        };
        let seats = 0..self.setup.channels.len();
        let meant = |c: &usize| {
            let seat = &self.setup.channels[*c];
            seat.channel == channel && tower.is_none_or(|t| seat.tower == t)
        };
        let meant: Vec<usize> = seats.filter(meant).collect();
        if meant.is_empty() {
            let name = tower.map_or(self.phrases.of("everywhere"), |t| &self.setup.plan.towers[t].name).to_owned();
            let what = self.phrases.channel(channel).to_owned();
            return self.refuse(now, said, "zero-none", &[("tower", &name), ("what", &what)]);
        }
        for at in meant {
            self.zero_channel(now, said, at);
        }
    }

    fn zero_channel(&mut self, now: Mono, said: &Said, at: usize) {
        let seat = &self.setup.channels[at];
        let channel = seat.channel;
        let tower = self.setup.plan.towers[seat.tower].name.clone();
        let what = self.phrases.channel(channel).to_owned();
        match zero::measured(&self.instruments.gauges[at], channel, now) {
            Ok(value) => {
                let planned = if channel == Channel::TrussAlong { self.estimator.planned_slope_rad(at) } else { 0.0 };
                self.instruments.gauges[at].zero = Some(Zero { value, planned });
                self.instruments.gauges[at].zero_said = true;
                self.instruments.gauges[at].overloaded = false;
                self.learn.memory.zeros[at] = Some(SaidBy { t_ms: now, by: said.by.clone() });
                self.instruments.health[at].zeroed = true;
                self.estimator.renewed(&self.setup, at);
                self.causes.zeroed(at);
                let text = self.phrases.render("zero-taken", &[("what", &what), ("tower", &tower)]);
                self.reply(now, &speaker(said), text, false);
            }
            Err(ZeroRefusal::Few(count)) => {
                self.refuse(now, said, "zero-few", &[("what", &what), ("tower", &tower), ("amount", &count.to_string())]);
            }
            Err(ZeroRefusal::Spread(by, allowed)) => {
                let (unit, factor) = crate::health::told_in(channel);
                // Spreads are told finer than findings: the limits are 0.1° and 5 N.
                let shown = |v: f64| format!("{:.2} {}", v * factor, unit.word().unwrap_or(""));
                let (by, allowed) = (shown(by), shown(allowed));
                self.refuse(now, said, "zero-spread", &[("what", &what), ("tower", &tower), ("amount", &by), ("limit", &allowed)]);
            }
        }
    }

    fn turn(&mut self, now: Mono, said: &Said, tower: Option<usize>) {
        if self.scene.step != Step::TestLift {
            let step = self.scene.step.word();
            return self.refuse(now, said, "turn-step", &[("step", step)]);
        }
        let Some(tower) = tower else { return self.refuse(now, said, "turn-tower", &[]) };
        let turns = match &said.value {
            Some(SaidValue::Number(n)) if n.is_finite() && *n != 0.0 => *n,
            Some(SaidValue::Text(text)) => text.trim().parse().ok().filter(|n: &f64| n.is_finite() && *n != 0.0).unwrap_or(1.0),
            _ => 1.0,
        };
        (self.scene.turn, self.scene.turned) = (Some(Turn { tower, turns, at: now }), None);
        self.proof.begin(&self.setup, &self.instruments, now);
        self.learn.stiffness.begin(&self.setup, &self.instruments, Turn { tower, turns, at: now }, now);
    }

    fn release(&mut self, now: Mono, said: &Said) {
        let answer = self.ledger.release(now, said.finding.as_deref());
        if !self.ledger.open().any(|t| t.kind == Kind::StopSaid) {
            self.stop_said = None;
        }
        self.answer(now, said, answer);
    }

    fn shelve(&mut self, now: Mono, said: &Said) {
        let Some(id) = said.finding.as_deref() else { return self.refuse(now, said, "which-finding", &[]) };
        let span = number::<Duration>(said).map(Span::from_s);
        let answer = self.ledger.shelve(now, &self.scene, id, span);
        self.answer(now, said, answer);
    }

    fn height(&mut self, now: Mono, said: &Said, tower: Option<usize>) {
        let Some(height) = number::<Length>(said).filter(|h| (0.0..100.0).contains(h)) else {
            return self.refuse(now, said, "height-needs", &[]);
        };
        for (at, scene) in self.scene.towers.iter_mut().enumerate() {
            if tower.is_none_or(|t| t == at) {
                scene.height_said_m = Some(height);
                scene.height_said_at = Some(now);
            }
        }
    }

    /// `section-up`, `pinned`, `slack-set`: of one tower, or of all.
    fn at_towers(&mut self, now: Mono, what: Utterance, tower: Option<usize>) {
        for (at, scene) in self.scene.towers.iter_mut().enumerate() {
            if tower.is_some_and(|t| t != at) {
                continue;
            }
            match what {
                Utterance::Pinned => {
                    scene.pins = Pins::Said;
                    scene.pinned_at = Some(now);
                }
                Utterance::SlackSet => scene.slack_set_at = Some(now),
                _ => {
                    let lowering = self.scene.last_moving == Motion::Down;
                    scene.sections_up = if lowering { scene.sections_up.saturating_sub(1) } else { scene.sections_up + 1 };
                    let pins = &self.setup.plan.towers[at].pins;
                    if let Some(pin) = scene.sections_up.checked_sub(1).and_then(|i| pins.get(i)) {
                        scene.height_said_m = Some(pin.0);
                        scene.height_said_at = Some(now);
                    }
                }
            }
        }
    }

    fn answer(&mut self, now: Mono, said: &Said, answer: Answer) {
        let named = said.finding.clone().unwrap_or_default();
        if !answer.found {
            if said.finding.is_some() {
                self.refuse(now, said, "no-finding", &[(ID, &named)]);
            }
            return;
        }
        let Some((why, track)) = answer.refused else { return };
        let key = match why {
            Refusal::NothingOpen => "nothing-open",
            Refusal::SeenFirst => "seen-first",
            Refusal::NoStop => "no-stop",
            Refusal::NotAStop => "no-shelving",
            Refusal::Mending => "mending-already",
            Refusal::Gone => "gone",
        };
        let id = self.ledger.tracks()[track].id.clone();
        self.refuse(now, said, key, &[(ID, &id)]);
    }

    fn refuse(&mut self, now: Mono, said: &Said, key: &str, fill: &[(&str, &str)]) {
        let text = self.phrases.render(key, fill);
        self.reply(now, &speaker(said), text, true);
    }
}

/// The desk's checklist holds the newest of each word, tower and channel in a step; bounded against a flood of names.
const MOST_SAID: usize = 200;

fn speaker(said: &Said) -> String {
    said.by.clone().unwrap_or_else(|| "lead".to_owned())
}

/// The number said: plain in SI units, or a text with its unit.
fn number<Q: quantity::Measure + Si>(said: &Said) -> Option<f64> {
    match said.value.as_ref()? {
        SaidValue::Number(n) => Some(*n).filter(|n| n.is_finite()),
        SaidValue::Text(text) => quantity::read::<Q>(text).ok().map(Si::si),
    }
}

/// A quantity as its bare SI number.
trait Si {
    fn si(self) -> f64;
}

impl Si for Force {
    fn si(self) -> f64 {
        self.0
    }
}

impl Si for Length {
    fn si(self) -> f64 {
        self.0
    }
}

impl Si for Duration {
    fn si(self) -> f64 {
        self.0
    }
}
