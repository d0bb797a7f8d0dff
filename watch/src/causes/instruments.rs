//! `knocked`, `frozen`, `noisy`: instruments that no longer tell the truth, and what still guards without them.

use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Stands, Unit};
use crate::estimate::watched::over;
use raisewatch_protocol::words::{Channel, Kind, Severity};

/// A channel that gives one value for so long while others move, s (docs/trade.md section 4: 2 s moving).
const FROZEN_S: f64 = 2.0;
/// The same while still, s: radio sleep and coarse resolution take longer.
const FROZEN_STILL_S: f64 = 60.0;
/// Chance (log10) below which a run of one value is no chance.
const NO_CHANCE: f64 = -9.0;
/// A tilt that rustles by more than this guards no level, rad rms, when it has for so long, s (docs/trade.md section 2, row 50).
pub(super) const NOISY_RAD: f64 = 0.5 * std::f64::consts::PI / 180.0;
const NOISY_S: f64 = 3.0;
/// It is calm again below this part of it, for so long while moving; while standing a crowd dances in bursts, s.
const CALM: f64 = 0.7;
const CALM_S: f64 = 3.0;
const CALM_STILL_S: f64 = 120.0;
/// Fewer readings tell no noise.
const NOISE_OF: usize = 8;

/// Memory of the instruments.
#[derive(Clone, Debug, Default)]
pub struct InstrumentCauses {
    frozen: Vec<bool>,
    jumped: Vec<bool>,
    noisy: Vec<bool>,
    rough: Vec<Held>,
    calm: Vec<Held>,
    /// The tower at which a shaking of all is told.
    shaken: Option<usize>,
}

impl InstrumentCauses {
    /// For so many channels.
    pub fn new(channels: usize) -> Self {
        InstrumentCauses {
            frozen: vec![false; channels],
            jumped: vec![false; channels],
            noisy: vec![false; channels],
            rough: vec![Held::default(); channels],
            calm: vec![Held::default(); channels],
            shaken: None,
        }
    }

    /// Whether a channel guards nothing any more.
    pub fn distrusts(&self, channel: usize) -> bool {
        self.frozen.get(channel).is_some_and(|f| *f) || self.jumped.get(channel).is_some_and(|j| *j)
    }

    /// Adds channels that froze, were knocked or rustle. `odd`: boxes that alone say that the truss has turned about its length.
    pub fn judge(&mut self, scope: &Scope, odd: impl Fn(usize) -> bool, found: &mut Vec<Condition>) {
        for c in 0..scope.setup.channels.len() {
            self.jumped[c] = scope.est.jumped(c) || odd(c);
            self.frozen[c] = self.freezes(scope, c);
            self.noisy[c] = self.rustles(scope, c);
        }
        for tower in 0..scope.towers() {
            self.tell(scope, Kind::Knocked, tower, found);
            self.tell(scope, Kind::Frozen, tower, found);
        }
        // While it stands one cause shakes all masts alike: it is told once.
        let rustles = |t: usize| self.of(&self.noisy, scope, t).next().is_some();
        let one = self.shaken.filter(|&t| rustles(t)).or_else(|| (0..scope.towers()).find(|&t| rustles(t)));
        let all = scope.scene.guarded_as_moving();
        for tower in (0..scope.towers()).filter(|&t| rustles(t) && (all || one == Some(t))) {
            self.tell(scope, Kind::Noisy, tower, found);
        }
        self.shaken = one;
    }

    /// How much a tilt rustles within two seconds (five where it speaks seldom), rad rms.
    fn noise_rad(scope: &Scope, c: usize) -> Option<f64> {
        let own = scope.est.watched(c);
        let enough = |m: &crate::estimate::window::Mean| m.count >= NOISE_OF;
        own.mean_over(over::TWO).filter(enough).or_else(|| own.mean_over(over::FIVE).filter(enough)).map(|m| m.spread)
    }

    fn rustles(&mut self, scope: &Scope, c: usize) -> bool {
        use Channel::{MastAcross, MastAlong, TrussAcross, TrussAlong};
        if !matches!(scope.setup.channels[c].channel, TrussAlong | TrussAcross | MastAlong | MastAcross) {
            return false;
        }
        let noise = Self::noise_rad(scope, c).filter(|_| scope.health[c].live);
        let rough = self.rough[c].see(noise.is_some_and(|n| n > NOISY_RAD), scope.now_s());
        let calm = self.calm[c].see(noise.is_some_and(|n| n < CALM * NOISY_RAD), scope.now_s());
        let calm_s = if scope.scene.guarded_as_moving() { CALM_S } else { CALM_STILL_S };
        rough >= NOISY_S || self.noisy[c] && calm < calm_s
    }

    fn of<'a>(&'a self, list: &'a [bool], scope: &'a Scope, tower: usize) -> impl Iterator<Item = usize> + 'a {
        (0..list.len()).filter(move |&c| list[c] && scope.setup.channels[c].tower == tower)
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
        let list = match kind {
            Kind::Frozen => &self.frozen,
            Kind::Noisy => &self.noisy,
            _ => &self.jumped,
        };
        // What shakes one of a tower's boxes shakes the others within a second or two: standing, it is told once, as grave as it gets.
        let still = kind == Kind::Noisy && !scope.scene.guarded_as_moving();
        let roughens = |c: &usize| still && self.rough[*c].lasted_s(scope.now_s()) >= 0.5 * NOISY_S;
        let stands = self.of(list, scope, tower).next().is_some();
        let own = |c: &usize| scope.setup.channels[*c].tower == tower && (list[*c] || roughens(c));
        let Some(c) = (0..list.len()).filter(|c| stands && own(c)).min_by_key(|&c| self.guarded(scope, c)) else { return };
        let severity = match (self.guarded(scope, c), scope.scene.guarded_as_moving()) {
            (true, _) => Severity::Note,
            (false, true) => Severity::Stop,
            (false, false) => Severity::Warn,
        };
        let amount = match kind {
            Kind::Frozen => (known(scope.est.watched(c).same_for_s(), 0.1), Unit::S),
            Kind::Noisy => (Self::noise_rad(scope, c).and_then(|n| known(n.to_degrees(), 0.1)), Unit::Deg),
            _ => {
                let off = scope.est.tilt(c).map_or(0.0, |t| t.refused_by.to_degrees());
                (known(off, 0.1).filter(|_| off != 0.0), Unit::Deg)
            }
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
        let good = |d: usize| {
            d != c
                && scope.health[d].usable()
                && !self.distrusts(d)
                && !self.noisy[d]
                && self.rough[d].lasted_s(scope.now_s()) < 0.5 * NOISY_S
        };
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
