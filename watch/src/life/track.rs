//! One finding through its lives: what its condition did in time, and where it is in its life.

use super::delays::delays;
use super::table::Marks;
use crate::condition::{Condition, Stands};
use crate::scene::Scene;
use raisewatch_protocol::words::{Kind, LifeState, Severity};
use raisewatch_protocol::{Mono, Span};

/// A kind at a place, with all that was told of it.
#[derive(Clone, Debug)]
pub struct Track {
    /// What.
    pub kind: Kind,
    /// Tower, index in the plan.
    pub tower: Option<usize>,
    /// Channel, for kinds told of one.
    pub channel: Option<usize>,
    /// The newest condition in which something was known.
    pub now: Condition,
    /// `kind-tower-n` of this life.
    pub id: String,
    /// Which life this is, from 1.
    pub life: u32,
    /// Where it is in its life.
    pub state: LifeState,
    /// Since when it is there.
    pub entered: Mono,
    /// When this life began.
    pub began: Mono,
    /// Never falling within one life.
    pub severity: Severity,
    /// Was a stop in this life.
    pub ever_stop: bool,
    /// The lead has seen it.
    pub seen: bool,
    /// Its condition came and has not gone.
    pub stands: bool,
    /// Past its clear level since it last was over its limit for its on-delay: a hold for it may end before the finding is over, or
    /// the others would run past level during the off-delay; and what comes back for a moment does not begin it again.
    pub easing: bool,
    /// Since when the condition holds.
    pub since: Mono,
    /// The amount last told.
    pub told_amount: Option<f64>,
    /// End of a shelving.
    pub shelved_until: Option<Mono>,
    /// Whether the conditions of this moment name it.
    pub(super) given: bool,
    over_since: [Option<Mono>; 3],
    clear_since: Option<Mono>,
}

impl Track {
    pub(super) fn new(condition: &Condition) -> Self {
        Track {
            kind: condition.kind,
            tower: condition.tower,
            channel: condition.channel,
            now: *condition,
            id: String::new(),
            life: 0,
            state: LifeState::Cleared,
            entered: Mono(0),
            began: Mono(0),
            severity: Severity::Note,
            ever_stop: false,
            seen: false,
            stands: false,
            easing: false,
            since: Mono(0),
            told_amount: None,
            shelved_until: None,
            given: false,
            over_since: [None; 3],
            clear_since: None,
        }
    }

    pub(super) fn is_of(&self, condition: &Condition) -> bool {
        self.kind == condition.kind && self.tower == condition.tower && self.channel == condition.channel
    }

    /// Whether it is told of at all.
    pub fn is_open(&self) -> bool {
        self.state != LifeState::Cleared
    }

    /// Whether it is open and its condition stands as far as known: what orders are made of.
    pub fn stands_openly(&self) -> bool {
        matches!(self.state, LifeState::Raised | LifeState::Acknowledged | LifeState::Mending)
    }

    pub(super) fn marks(&self) -> Marks {
        Marks { ever_stop: self.ever_stop, seen: self.seen, stands: self.stands }
    }

    /// The condition of this moment.
    pub(super) fn take(&mut self, now: Mono, condition: &Condition) {
        self.given = true;
        match condition.stands {
            Stands::Unknown => return self.nothing_known(),
            Stands::Clear => {
                self.easing = true;
                self.over_since = [None; 3];
                self.clear_since = self.clear_since.or(Some(now));
            }
            Stands::Within => {
                self.over_since = [None; 3];
                self.clear_since = None;
            }
            Stands::At(severity) => {
                self.clear_since = None;
                for (rank, since) in self.over_since.iter_mut().enumerate() {
                    *since = if rank <= severity as usize { since.or(Some(now)) } else { None };
                }
            }
        }
        let last = self.now;
        self.now = *condition;
        if condition.amount.is_none() && !matches!(condition.stands, Stands::At(_)) {
            // Gone without a number: the line of its going tells the last that was known.
            self.now = Condition { amount: last.amount, unit: last.unit, limit: last.limit, towards: last.towards, ..self.now };
        }
    }

    /// Neither a coming nor a going: the delays start anew.
    pub(super) fn nothing_known(&mut self) {
        self.over_since = [None; 3];
        self.clear_since = None;
    }

    /// The on-delay that is left to `severity` of this condition.
    pub(super) fn waits(&self, severity: Severity, scene: &Scene, in_line: bool) -> Span {
        let sure = self.now.sure && matches!(self.now.stands, Stands::At(at) if severity <= at);
        if sure { Span::ms(0) } else { delays(self.kind, severity, scene, in_line).on }
    }

    /// The highest severity whose on-delay has run out.
    pub(super) fn due(&self, now: Mono, on: impl Fn(Severity) -> Span) -> Option<Severity> {
        // What stands already needs no second delay to go on standing at the same severity.
        self.ripe(now, on).or_else(|| (self.stands && self.over_since[0].is_some()).then_some(Severity::Note))
    }

    /// The same, however it stands already.
    pub(super) fn ripe(&self, now: Mono, on: impl Fn(Severity) -> Span) -> Option<Severity> {
        let ripe = |s: &&Severity| self.over_since[**s as usize].is_some_and(|since| since + on(**s) <= now);
        Severity::ALL.iter().rev().find(ripe).copied()
    }

    /// Whether the condition has been gone for its off-delay.
    pub(super) fn gone(&self, now: Mono, off: Span) -> bool {
        self.stands && self.clear_since.is_some_and(|since| since + off <= now)
    }

    /// Every moment at which time alone may change it.
    pub(super) fn moments(&self, on: impl Fn(Severity) -> Span, off: Span, mut each: impl FnMut(Mono)) {
        for severity in Severity::ALL {
            if let Some(since) = self.over_since[*severity as usize] {
                each(since + on(*severity));
            }
        }
        if let Some(since) = self.clear_since.filter(|_| self.stands) {
            each(since + off);
        }
        if let Some(end) = self.expires() {
            each(end);
        }
    }

    /// A new life begins.
    pub(super) fn begin(&mut self, severity: Severity, id: String) {
        self.life += 1;
        self.severity = severity;
        self.ever_stop = severity == Severity::Stop;
        self.seen = false;
        self.easing = false;
        self.told_amount = None;
        self.shelved_until = None;
        self.id = id;
    }

    /// Takes over a severity that has risen; whether it has.
    pub(super) fn rise(&mut self, severity: Severity) -> bool {
        if severity <= self.severity {
            return false;
        }
        self.severity = severity;
        self.ever_stop |= severity == Severity::Stop;
        true
    }

    pub(super) fn enter(&mut self, now: Mono, state: LifeState) {
        if state == LifeState::Raised {
            if self.state == LifeState::Cleared {
                self.began = now;
            }
            if self.state != LifeState::Raised && self.state != LifeState::Acknowledged && self.state != LifeState::Mending {
                self.since = self.over_since.iter().flatten().min().copied().unwrap_or(now);
            }
            self.seen = false;
            self.told_amount = self.now.amount.map(|a| a.value);
        }
        if state == LifeState::Acknowledged {
            self.seen = true;
        }
        self.state = state;
        self.entered = now;
    }

    /// Worse than told by a quarter turn (heights) or by a tenth (all else). Silence grows by itself: that is no news.
    pub(super) fn is_worse(&self, quarter_turn_mm: f64) -> bool {
        use crate::condition::Unit;
        let (Some(told), Some(amount)) = (self.told_amount, self.now.amount) else { return false };
        let step = match self.now.unit {
            Unit::Mm => quarter_turn_mm,
            Unit::S | Unit::None => return false,
            Unit::Deg | Unit::N | Unit::V | Unit::M | Unit::One => (told.abs() * 0.1).max(0.1),
        };
        amount.value.abs() >= told.abs() + step - 1e-9
    }
}
