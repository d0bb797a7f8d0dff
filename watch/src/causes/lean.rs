//! `lean` and `roll`: plumb of the masts and turn of the truss, as changes since the truss left the working height.
//!
//! A mast's slow mean is held against what it showed before the lift. Where the watch began with the truss already up, its first
//! seconds are the reference of the change, and its zero tells the plumb itself, held against the limits of the set-up.
//! A roll is one thing of one piece, told once; a box that alone shows it was moved on its seat.

use super::scope::{Scope, against, gravity, known, limit_of};
use crate::condition::Unit;
use crate::condition::{Condition, Known, Stands, Towards};
use crate::estimate::watched::{half_seconds, over, straight};
use crate::limits::Pair;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// A reference that has to be taken under load is taken over so long, s.
const REFERENCE_S: f64 = 8.0;
/// What a box on a mast wanders by itself, deg: 0.01 to 0.05 in 10 K (docs/trade.md row 46). A limit counts as reached where only
/// this could still keep it from being so.
const WANDER_DEG: f64 = 0.02;
/// Of a swing of 0.45 Hz and faster so much is left in a mean over 5 s, and over 2 s: its spread over pi f T, twice the root.
const SWING_FIVE: f64 = 0.1;
const SWING_TWO: f64 = 0.25;
/// How fast a truss turns is the slope of so many means of half a second, and as in all of them it stood in their middle, s.
const TURNS: usize = 4;
const LAG_S: f64 = 1.0;
/// The on-delay of a roll that stops, s.
const DELAY_S: f64 = 0.5;
/// A rate counts less so many of its standard errors.
const RATE_DOUBT: f64 = 1.0;
/// Two boxes of a piece that turns show it alike to this part: a truss gives in torsion, but not by half of a limit.
const ALIKE: f64 = 0.5;

/// Memory of leaning masts and a turning truss.
#[derive(Clone, Debug, Default)]
pub struct LeanCauses {
    seats: Vec<Seat>,
    /// By tower: change of plumb along and across its piece.
    changed: Vec<[Option<Changed>; 2]>,
    /// By piece: the tower at which its roll was told.
    told: Vec<Option<usize>>,
}

/// What is kept of one box.
#[derive(Clone, Copy, Debug, Default)]
struct Seat {
    /// The value that counts as plumb, rad.
    plumb: Option<f64>,
    /// It was taken with the truss up.
    under_load: bool,
    /// Since when it is being taken under load, s; over [`REFERENCE_S`].
    taking: Option<f64>,
    /// Alone on its piece it shows a roll.
    odd: bool,
}

/// By how much a mast has come to lean by one of its boxes.
#[derive(Clone, Copy, Debug)]
pub struct Changed {
    /// Its box.
    pub channel: usize,
    /// What counts as plumb, rad.
    pub plumb: f64,
    /// Mean change over 5 s, deg.
    pub change: Known,
}

/// The turn of a truss at one box.
#[derive(Clone, Copy, Debug)]
struct Turned {
    channel: usize,
    tower: usize,
    now: Known,
    /// deg/s, and one standard deviation.
    rate: Known,
}

impl LeanCauses {
    /// For so many channels and pieces.
    pub fn new(channels: usize, pieces: usize) -> Self {
        LeanCauses { seats: vec![Seat::default(); channels], changed: Vec::new(), told: vec![None; pieces] }
    }

    /// A box was zeroed: from now on plumb reads nothing, whatever it showed before.
    pub fn zeroed(&mut self, channel: usize) {
        self.seats[channel] = Seat { plumb: Some(0.0), ..Seat::default() };
    }

    /// Whether a box alone shows that the truss has turned: it was moved on its seat.
    pub fn odd(&self, channel: usize) -> bool {
        self.seats.get(channel).is_some_and(|s| s.odd)
    }

    /// By tower: by how much the plumb of its mast has changed along and across its piece.
    pub fn changed(&self) -> &[[Option<Changed>; 2]] {
        &self.changed
    }

    /// Adds leaning masts and a turning truss.
    pub fn judge(&mut self, scope: &Scope, found: &mut Vec<Condition>) {
        self.changed.resize(scope.towers(), [None; 2]);
        for tower in 0..scope.towers() {
            self.lean(scope, tower, found);
        }
        for piece in 0..scope.setup.plan.pieces.len() {
            self.roll(scope, piece, found);
        }
    }

    fn lean(&mut self, scope: &Scope, tower: usize, found: &mut Vec<Condition>) {
        let Some(pair) = scope.rows().lean_deg else { return };
        let mut fitted = false;
        let (mut change, mut plumb) = ([None; 2], [None; 2]);
        let (mut piece, mut changed) = (0, [None; 2]);
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            let axis = match seat.channel {
                Channel::MastAlong => 0,
                Channel::MastAcross => 1,
                _ => continue,
            };
            if seat.tower != tower {
                continue;
            }
            fitted = true;
            piece = seat.piece;
            change[axis] = self.change(scope, c, over::FIVE);
            changed[axis] = change[axis].zip(self.seats[c].plumb).map(|(change, plumb)| Changed { channel: c, plumb, change });
            plumb[axis] = self.plumb(scope, c);
        }
        if !fitted {
            return;
        }
        self.changed[tower] = changed;
        let by_change = leans(scope, piece, tower, change, &pair);
        let set_up = scope.limits.at(Step::Rig).lean_deg.map(|p| leans(scope, piece, tower, plumb, &p));
        // The graver of the two tells; the change where they are alike.
        found.push(match set_up {
            Some(by_plumb) if by_change.stands == Stands::Unknown || gravity(by_plumb.stands) > gravity(by_change.stands).max(2) => {
                by_plumb
            }
            _ => by_change,
        });
    }

    fn roll(&mut self, scope: &Scope, piece: usize, found: &mut Vec<Condition>) {
        let Some(pair) = scope.rows().roll_deg else { return };
        let mut fitted = None;
        let mut all: [Option<Turned>; 8] = [None; 8];
        let mut count = 0;
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            if seat.channel != Channel::TrussAcross || seat.piece != piece {
                continue;
            }
            fitted = fitted.or(Some(seat.tower));
            if let Some(turned) = self.turned(scope, c).filter(|_| count < all.len()) {
                all[count] = Some(turned);
                count += 1;
            }
        }
        let Some(first) = fitted else { return };
        let all = &mut all[..count];
        self.find_odd(all, &pair);
        let sound = || all.iter().flatten().filter(|t| !self.seats[t.channel].odd);
        let worst = sound().max_by(|a, b| a.now.value.abs().total_cmp(&b.now.value.abs())).copied();
        // It keeps the name under which it was told.
        let named = self.told[piece].and_then(|tower| sound().find(|t| t.tower == tower)).copied();
        let (tower, turned) = match (named, worst) {
            (Some(n), Some(w)) => (n.tower, Some(Turned { tower: n.tower, ..w })),
            (_, w) => (self.told[piece].or(w.map(|w| w.tower)).unwrap_or(first), w),
        };
        let told = rolls(scope, piece, tower, turned, &pair);
        if matches!(told.stands, Stands::At(_)) {
            self.told[piece] = Some(tower);
        } else if told.stands == Stands::Clear {
            self.told[piece] = None;
        }
        found.push(told);
    }

    /// Boxes of one piece that turns agree; of two that do not, the one that has moved more since the lift began was moved itself.
    fn find_odd(&mut self, all: &[Option<Turned>], pair: &Pair) {
        for own in all.iter().flatten() {
            let others = || all.iter().flatten().filter(|o| o.channel != own.channel && !self.seats[o.channel].odd);
            if others().next().is_none() {
                continue;
            }
            let backed = others().any(|o| o.now.value * own.now.value.signum() > ALIKE * own.now.value.abs());
            let far = own.now.value.abs() >= 0.5 * pair.warn;
            let again = own.now.value.abs() < 0.4 * pair.warn;
            let odd = self.seats[own.channel].odd;
            self.seats[own.channel].odd = if odd { !(backed || again) } else { far && !backed };
        }
    }

    fn turned(&mut self, scope: &Scope, c: usize) -> Option<Turned> {
        let now = self.change(scope, c, over::TWO)?;
        let means: [Option<f64>; TURNS] = half_seconds(scope.est.watched(c), scope.now_s());
        let mut points = [0.0; TURNS];
        let whole = points.iter_mut().zip(means).all(|(point, mean)| mean.map(|m| *point = m.to_degrees()).is_some());
        let line = straight(&points);
        let rate =
            if whole { Known { value: line.rate, sigma: line.error.hypot(now.sigma) } } else { Known { value: 0.0, sigma: now.sigma } };
        Some(Turned { channel: c, tower: scope.setup.channels[c].tower, now, rate })
    }

    /// What a zeroed mast shows of plumb by itself, deg: where its reference was taken under load, or before the lift.
    fn plumb(&self, scope: &Scope, c: usize) -> Option<Known> {
        if !scope.health[c].zeroed || scope.hangs() && !self.seats[c].under_load {
            return None;
        }
        let mean = scope.est.slow_mean(c).filter(|_| scope.health[c].live && scope.health[c].trusted)?;
        (mean.count >= 4).then(|| deviation(mean, 0.0, SWING_FIVE))
    }

    /// Change of a tilt since it was plumb, deg, over one of the stretches that are kept.
    fn change(&mut self, scope: &Scope, c: usize, stretch: usize) -> Option<Known> {
        let health = &scope.health[c];
        let slow = scope.est.slow_mean(c).filter(|_| health.live && (health.trusted || self.seats[c].odd))?;
        let planned = scope.est.sums().rolls[c].1.iter().zip(&scope.est.estimate().towers);
        let by_heads: f64 = planned.map(|(k, t)| k * t.offset_mm.map_or(0.0, |o| o.value * 1e-3)).sum();
        let value = slow.value - by_heads;
        let whole = slow.count >= 4 && scope.est.watched(c).heard_s() >= 4.0;
        let seat = &mut self.seats[c];
        if !scope.hangs() {
            // Levelling goes on: the last stand before the lift is the reference.
            *seat = Seat { plumb: whole.then_some(value), ..Seat::default() };
            return None;
        }
        if seat.plumb.is_none() || seat.taking.is_some() {
            // First heard under load: its first seconds are the reference, once they are whole.
            let since = *seat.taking.get_or_insert(scope.now_s());
            let old = seat.plumb;
            seat.under_load = true;
            seat.plumb = whole.then_some(old.map_or(value, |old| old + 0.02 * (value - old)));
            if whole && scope.now_s() - since > REFERENCE_S {
                seat.taking = None;
            }
            return None;
        }
        let from = seat.plumb? + by_heads;
        match stretch {
            over::FIVE => Some(deviation(slow, from, SWING_FIVE)),
            other => {
                let mean = scope.est.watched(c).mean_over(other)?;
                Some(deviation(mean, from, SWING_TWO))
            }
        }
    }
}

/// A mean held against a reference, deg.
fn deviation(mean: crate::estimate::window::Mean, from: f64, swing: f64) -> Known {
    let noise = mean.spread * swing.max(1.0 / (mean.count.max(1) as f64).sqrt());
    Known { value: (mean.value - from).to_degrees(), sigma: noise.to_degrees().hypot(WANDER_DEG) }
}

/// How a mast leans, by both of its axes.
fn leans(scope: &Scope, piece: usize, tower: usize, axes: [Option<Known>; 2], pair: &Pair) -> Condition {
    let worst = axes.iter().flatten().max_by(|a, b| a.value.abs().total_cmp(&b.value.abs())).copied();
    let both = axes.iter().flatten().map(|a| a.value * a.value).sum::<f64>().sqrt();
    let amount = worst.map(|w| Known { value: both.copysign(w.value), sigma: w.sigma });
    let stands = amount.map_or(Stands::Unknown, |a| against(a.value.abs() + WANDER_DEG, pair));
    let way = [axes[0].map_or(0.0, |a| a.value), axes[1].map_or(0.0, |a| a.value)];
    Condition {
        tower: Some(tower),
        amount: amount.and_then(|a| known(a.value, a.sigma)),
        unit: Unit::Deg,
        limit: Some(limit_of(stands, pair)),
        towards: amount.map(|_| towards(scope, piece, tower, way)),
        stands,
        ..Condition::of(Kind::Lean)
    }
}

/// How a piece has turned. Past the warn limit, and so fast that it will be past the stop limit before hands are still, it stops.
fn rolls(scope: &Scope, piece: usize, tower: usize, turned: Option<Turned>, pair: &Pair) -> Condition {
    // Where it is now: its mean is a second old.
    let now = turned.map(|t| {
        let grows = (t.rate.value * t.now.value.signum() - RATE_DOUBT * t.rate.sigma).max(0.0);
        (Known { value: t.now.value + (grows * LAG_S).copysign(t.now.value), sigma: t.now.sigma }, grows)
    });
    let stands = now.map_or(Stands::Unknown, |(now, grows)| {
        let stands = against(now.value.abs(), pair);
        let will_be = now.value.abs() + grows * (DELAY_S + scope.setup.plan.reaction.0);
        let runs = stands == Stands::At(Severity::Warn) && grows > 0.0 && pair.stop.is_some_and(|stop| will_be >= stop);
        if runs { Stands::At(Severity::Stop) } else { stands }
    });
    // The y side up: the truss falls over towards -y.
    let way = turned.map(|t| towards(scope, piece, tower, [0.0, -t.now.value]));
    Condition {
        tower: Some(tower),
        piece: Some(piece),
        amount: now.and_then(|(now, _)| known(now.value, now.sigma)),
        unit: Unit::Deg,
        limit: Some(limit_of(stands, pair)),
        towards: way,
        stands,
        ..Condition::of(Kind::Roll)
    }
}

/// Where a lean of so much along and across a piece goes, as seen on the floor.
pub(super) fn towards(scope: &Scope, piece: usize, tower: usize, [along, across]: [f64; 2]) -> Towards {
    let plan = &scope.setup.plan;
    let p = &plan.pieces[piece];
    let (dx, dy) = (p.to[0].0 - p.from[0].0, p.to[1].0 - p.from[1].0);
    let length = dx.hypot(dy).max(1e-9);
    let (dx, dy) = (dx / length, dy / length);
    // Left of someone looking along the piece is its y.
    let way = [along * dx - across * dy, along * dy + across * dx];
    if way[1].abs() >= way[0].abs() {
        return if (way[1] > 0.0) == plan.upstage_is_y { Towards::Upstage } else { Towards::Downstage };
    }
    let at = &scope.est.sums().at;
    let ahead = |k: &usize| (at[*k][0] - at[tower][0]) * way[0].signum();
    (0..scope.towers())
        .filter(|&k| k != tower && ahead(&k) > 0.1)
        .min_by(|a, b| ahead(a).total_cmp(&ahead(b)))
        .map_or(Towards::Outwards, Towards::Tower)
}
