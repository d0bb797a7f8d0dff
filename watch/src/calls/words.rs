//! An order put into the call of one recipient: its word, its turns, its text.

use super::order::{Order, Unclaimed};
use super::{Moment, is_order};
use crate::phrases::Phrases;
use crate::setup::Setup;
use raisewatch_protocol::Mono;
use raisewatch_protocol::told::{Call, Then};
use raisewatch_protocol::words::{CallState, Kind, Word};

/// What one recipient is told.
#[derive(Clone, Debug)]
pub struct Made {
    call: Word,
    tower: Option<String>,
    then: Vec<Then>,
    turns: Option<f64>,
    reason: Option<Kind>,
    finding: Option<String>,
    text: String,
    level_through: Vec<String>,
}

impl Made {
    pub(super) fn into_call(self, call: &mut Call) {
        call.call = self.call;
        call.tower = self.tower;
        call.then = self.then;
        call.turns = self.turns;
        call.reason = self.reason;
        call.finding = self.finding;
        call.text = self.text;
        call.level_through = self.level_through;
    }

    pub(super) fn blank(&self, now: Mono, id: String, to: String) -> Call {
        Call {
            t_ms: now,
            id,
            call: self.call,
            to,
            tower: None,
            then: Vec::new(),
            turns: None,
            reason: None,
            finding: None,
            state: CallState::Said,
            text: String::new(),
            level_through: Vec::new(),
        }
    }

    /// Whether the recipient hears nothing new.
    pub(super) fn says_the_same(&self, old: &Call) -> bool {
        self.call == old.call
            && self.tower == old.tower
            && self.then == old.then
            && self.turns == old.turns
            && self.text == old.text
            && (!is_order(self.call) || self.finding == old.finding)
    }
}

/// The call of one recipient; `own`: the tower that it is, `None` for spotter and lead.
pub fn call(moment: &Moment, phrases: &Phrases, order: &Order, to: &str, own: Option<usize>) -> Made {
    let id = |t: usize| moment.setup.plan.towers[t].id.clone();
    let mut made = Made {
        call: order.word(),
        tower: None,
        then: Vec::new(),
        turns: None,
        reason: None,
        finding: order.track().map(|t| moment.tracks[t].id.clone()),
        text: String::new(),
        level_through: moment.estimate.level.through.iter().map(|t| id(*t)).collect(),
    };
    match order {
        Order::None(why) => made.text = in_words(moment.setup, phrases, *why),
        Order::Level => made.text = phrases.render("level", &[]),
        Order::Easy { kind, tower, .. } | Order::Stop { kind, tower, .. } => {
            made.reason = Some(*kind);
            made.tower = tower.map(id);
            let key = if order.word() == Word::Stop { "stop" } else { "easy" };
            let towards = order.track().and_then(|t| moment.tracks[t].now.towards);
            let way = phrases.way(towards, |t| name(moment, t));
            let reason = phrases.reason(*kind, tower.map(|t| name(moment, t)), &way);
            made.text = phrases.render(key, &[("reason", &reason)]);
        }
        Order::Hold { .. } => hold(moment, phrases, order, own, &mut made),
    }
    debug_assert!(!to.is_empty());
    made
}

fn hold(moment: &Moment, phrases: &Phrases, order: &Order, own: Option<usize>, made: &mut Made) {
    let Order::Hold { tower, then, kind, .. } = order else { return };
    let id = |t: usize| moment.setup.plan.towers[t].id.clone();
    made.reason = Some(*kind);
    let held = match tower {
        Some(t) => phrases.render("hold", &[("tower", name(moment, *t))]),
        None => phrases.render("hold-all", &[]),
    };
    let moved = |b: &super::Beside| {
        let key = if b.word == Word::Up { "up" } else { "down" };
        phrases.render(key, &[("tower", name(moment, b.tower)), ("turns", phrases.turns(b.turns))])
    };
    let Some(own) = own else {
        made.tower = tower.map(id);
        made.then = then.iter().map(|b| Then { tower: id(b.tower), call: b.word, turns: b.turns }).collect();
        made.text = held;
        for beside in then {
            made.text.push(' ');
            made.text.push_str(&moved(beside));
        }
        return;
    };
    made.tower = Some(id(own));
    if let Some(beside) = then.iter().find(|b| b.tower == own) {
        made.call = beside.word;
        made.turns = Some(beside.turns);
        made.text = moved(beside);
    } else if tower.is_none() || *tower == Some(own) {
        made.text = phrases.render("hold", &[("tower", name(moment, own))]);
    } else {
        // Not named: its word is the calm one.
        made.call = Word::Level;
        made.tower = None;
        made.reason = None;
        made.finding = None;
        made.text = phrases.render("level", &[]);
    }
}

/// The words of a call that claims nothing.
pub fn in_words(setup: &Setup, phrases: &Phrases, why: Unclaimed) -> String {
    let of = |key: &str, tower: usize| phrases.render(key, &[("tower", &setup.plan.towers[tower].name)]);
    match why {
        Unclaimed::NotZeroed => phrases.render("not-zeroed", &[]),
        Unclaimed::NotProved => phrases.render("not-proved", &[]),
        Unclaimed::NoData(tower) => of("no-data-from", tower),
        Unclaimed::TooSlow(tower) => of("too-slow", tower),
        Unclaimed::Unknown => phrases.render("level-unknown", &[]),
        Unclaimed::LeadDirects => phrases.render("lead-directs", &[]),
        Unclaimed::WaitForLead => phrases.render("wait-for-lead", &[]),
    }
}

fn name<'a>(moment: &'a Moment, tower: usize) -> &'a str {
    &moment.setup.plan.towers[tower].name
}
