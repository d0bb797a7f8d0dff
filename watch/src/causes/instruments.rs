//! `knocked` and `frozen`: instruments that no longer tell the truth, and what still guards without them.

use super::scope::{Scope, known};
use crate::condition::{Condition, Stands, Unit};
use raisewatch_protocol::words::{Channel, Kind, Severity};

/// A channel that gives one value for so long while others move, s (docs/trade.md section 4: 2 s moving).
const FROZEN_S: f64 = 2.0;
/// The same while still, s: radio sleep and coarse resolution take longer.
const FROZEN_STILL_S: f64 = 60.0;
/// Chance (log10) below which a run of one value is no chance.
const NO_CHANCE: f64 = -9.0;

/// Memory of the instruments.
#[derive(Clone, Debug, Default)]
pub struct InstrumentCauses {
    frozen: Vec<bool>,
    jumped: Vec<bool>,
}

impl InstrumentCauses {
    /// For so many channels.
    pub fn new(channels: usize) -> Self {
        InstrumentCauses { frozen: vec![false; channels], jumped: vec![false; channels] }
    }

    /// Whether a channel guards nothing any more.
    pub fn distrusts(&self, channel: usize) -> bool {
        self.frozen.get(channel).is_some_and(|f| *f) || self.jumped.get(channel).is_some_and(|j| *j)
    }

    /// Adds channels that froze or were knocked. `odd`: boxes that alone say that the truss has turned about its length.
    pub fn judge(&mut self, scope: &Scope, odd: impl Fn(usize) -> bool, found: &mut Vec<Condition>) {
        for c in 0..scope.setup.channels.len() {
            self.jumped[c] = scope.est.jumped(c) || odd(c);
            self.frozen[c] = self.freezes(scope, c);
        }
        for tower in 0..scope.towers() {
            self.tell(scope, Kind::Knocked, tower, found);
            self.tell(scope, Kind::Frozen, tower, found);
        }
    }

    fn freezes(&self, scope: &Scope, c: usize) -> bool {
        // A height stands while nobody cranks and a battery always does.
        if matches!(scope.setup.channels[c].channel, Channel::Height | Channel::Battery) || !scope.health[c].live {
            return self.frozen[c];
        }
        let own = scope.est.watched(c);
        let moving = scope.scene.guarded_as_moving();
        let long = own.same_for_s() >= if moving { FROZEN_S } else { FROZEN_STILL_S };
        if self.frozen[c] {
            // It lives again with the first new value.
            return own.same_for_s() > 0.0;
        }
        long && own.log_chance() < NO_CHANCE && self.others_move(scope, c)
    }

    /// Whether another channel of the same kind (of any kind where there is none) gave a new value within the last second.
    fn others_move(&self, scope: &Scope, c: usize) -> bool {
        let seats = &scope.setup.channels;
        let analog = |d: usize| d != c && !matches!(seats[d].channel, Channel::Height | Channel::Battery) && scope.health[d].live;
        let same = |d: usize| analog(d) && seats[d].channel == seats[c].channel;
        let moves = |d: usize| scope.est.watched(d).same_for_s() < 1.0 && scope.est.watched(d).log_chance() > -3.0;
        if (0..seats.len()).any(same) {
            (0..seats.len()).any(|d| same(d) && moves(d))
        } else {
            (0..seats.len()).any(|d| analog(d) && moves(d))
        }
    }

    fn tell(&self, scope: &Scope, kind: Kind, tower: usize, found: &mut Vec<Condition>) {
        let list = if kind == Kind::Frozen { &self.frozen } else { &self.jumped };
        let ours = (0..list.len()).filter(|&c| list[c] && scope.setup.channels[c].tower == tower);
        let Some(c) = ours.min_by_key(|&c| self.guarded(scope, c)) else { return };
        let severity = match (self.guarded(scope, c), scope.scene.guarded_as_moving()) {
            (true, _) => Severity::Note,
            (false, true) => Severity::Stop,
            (false, false) => Severity::Warn,
        };
        let amount = if kind == Kind::Frozen {
            (known(scope.est.watched(c).same_for_s(), 0.1), Unit::S)
        } else {
            let off = scope.est.tilt(c).map_or(0.0, |t| t.refused_by.to_degrees());
            (known(off, 0.1).filter(|_| off != 0.0), Unit::Deg)
        };
        found.push(Condition {
            tower: Some(tower),
            piece: Some(scope.setup.channels[c].piece),
            amount: amount.0,
            unit: amount.1,
            stands: Stands::At(severity),
            ..Condition::of(kind)
        });
    }

    /// Whether others still guard what this channel guarded: another tilt of the piece or all gauges the level, nothing a share;
    /// masts, roll and a rope beside a head cell are no guard of level or share.
    fn guarded(&self, scope: &Scope, c: usize) -> bool {
        let seats = &scope.setup.channels;
        let good = |d: usize| d != c && scope.health[d].usable() && !self.distrusts(d);
        let tilt = || (0..seats.len()).any(|d| good(d) && seats[d].channel == Channel::TrussAlong && seats[d].piece == seats[c].piece);
        let gauges =
            || (0..scope.towers()).all(|j| (0..seats.len()).any(|d| good(d) && seats[d].channel == Channel::Height && seats[d].tower == j));
        match seats[c].channel {
            Channel::TrussAlong | Channel::Height => tilt() || gauges(),
            Channel::HeadLoad => false,
            Channel::RopeLoad => scope.est.loads().head[seats[c].tower].is_some_and(good),
            Channel::MastAlong | Channel::MastAcross | Channel::TrussAcross | Channel::Battery => true,
        }
    }
}
