//! Everything that is watched for slow change while the truss stands: masts, boxes, gauges, shares, the total, the supports.

use super::cusum::{Cusum, Side};
use super::drift::{Drift, H, K, PART_S, PARTS, Rule};
use super::settle::{Settled, Settles};
use crate::causes::scope::Scope;
use crate::estimate::level::Layout;
use crate::estimate::loads::{acting, over};
use crate::estimate::shares::on_piece;
use crate::scene::Pins;
use raisewatch_protocol::words::{Channel, Step};

/// After `stand` the truss settles on its pins for so long, s.
const SETTLES_S: f64 = 20.0;
/// What a change of rake or of plumb is worth a word while standing: 0.2 degrees (docs/trade.md section 4, rake in hold; row 22).
pub const CREEP_RAD: f64 = 0.2 * std::f64::consts::PI / 180.0;
/// No less noise is assumed than this part of what is told.
const FLOOR: f64 = 0.1;
/// A tilt of this kind moves by up to 0.05° in 10 K (docs/trade.md section 2, row 46); a hall cools by that in a working day.
const TILT_ALLOWED_RAD: f64 = 0.05 * std::f64::consts::PI / 180.0;
/// A cell creeps and moves by up to 3 lb (the same row).
const CELL_ALLOWED_N: f64 = 13.0;
const OVER_H: f64 = 8.0;
/// Least noise of a mean of a cell and of a gauge that is assumed, N and m.
const CELL_FLOOR_N: f64 = 3.0;
const GAUGE_FLOOR_M: f64 = 0.002;
/// A change of the total of so many standard deviations is a weight, whose sag and shares are no settling.
const WEIGHS: f64 = 3.0;
/// The supports are looked at once a block.
const EVERY: u32 = PARTS as u32;

/// One stand of the truss, from `stand` to the next move.
#[derive(Clone, Debug)]
pub struct Stand {
    /// By channel; those of masts, boxes and gauges.
    pub channels: Vec<Drift>,
    /// By tower.
    pub shares: Vec<Drift>,
    guards: Vec<Option<usize>>,
    /// All shares together.
    pub total: Drift,
    /// The support that has settled, as last seen.
    pub settled: Option<Settled>,
    settles: Settles,
    real: Vec<Cusum>,
    earlier_m: [f64; 2],
    leap_m: f64,
    pins: Vec<Pins>,
    stands: bool,
    changing: bool,
    due_s: f64,
    last_s: f64,
    count: u32,
    room: Vec<f64>,
}

impl Stand {
    /// A stand that has not begun.
    pub fn new(setup: &crate::setup::Setup) -> Self {
        let towers = setup.plan.towers.len();
        let cell = Rule { floor: CELL_FLOOR_N, allowed_per_h: CELL_ALLOWED_N / OVER_H, allowed_most: CELL_ALLOWED_N };
        let all =
            |n: f64| Rule { floor: cell.floor * n.sqrt(), allowed_per_h: cell.allowed_per_h * n, allowed_most: cell.allowed_most * n };
        let tilt = Rule { floor: FLOOR * CREEP_RAD, allowed_per_h: TILT_ALLOWED_RAD / OVER_H, allowed_most: TILT_ALLOWED_RAD };
        let gauge = Rule { floor: GAUGE_FLOOR_M, allowed_per_h: 0.0, allowed_most: 0.0 };
        let rule = |s: &crate::setup::Seat| {
            let rule = if s.channel == Channel::Height { gauge } else { tilt };
            // A coarse register rustles by half of its step.
            let step = s.fitted.register.as_ref().map_or(0.0, |r| r.step.abs());
            Rule { floor: rule.floor.max(0.5 * step), ..rule }
        };
        Stand {
            channels: setup.channels.iter().map(|s| Drift::new(rule(s))).collect(),
            shares: vec![Drift::new(cell); towers],
            guards: vec![None; towers],
            total: Drift::new(all(towers as f64)),
            settled: None,
            settles: Settles::new(towers),
            real: vec![Cusum::new(K, H); towers],
            earlier_m: [0.0; 2],
            leap_m: 0.0,
            pins: vec![Pins::None; towers],
            stands: false,
            changing: false,
            due_s: 0.0,
            last_s: 0.0,
            count: 0,
            room: Vec::with_capacity(towers),
        }
    }

    /// Lets the stand go on to now; whether it stands (else nothing here means anything).
    pub fn look(&mut self, scope: &Scope) -> bool {
        let stands = matches!(scope.scene.step, Step::Stand | Step::Change) && !scope.scene.moving_unsaid;
        let changing = scope.scene.step == Step::Change;
        let now_s = scope.now_s();
        if !stands {
            self.stands = false;
            return false;
        }
        if !self.stands {
            self.channels.iter_mut().for_each(Drift::begin);
            (self.due_s, self.last_s) = (now_s + SETTLES_S, now_s);
        }
        let repinned = self.pins.iter().zip(&scope.scene.towers).any(|(was, t)| *was != t.pins);
        if !self.stands || repinned || changing != self.changing {
            // What hangs, and what carries it, is another.
            self.weighed_anew();
        }
        for (was, tower) in self.pins.iter_mut().zip(&scope.scene.towers) {
            *was = tower.pins;
        }
        (self.stands, self.changing) = (true, changing);
        if now_s >= self.due_s {
            self.part(scope);
            (self.last_s, self.due_s) = (now_s, now_s + PART_S);
        }
        true
    }

    /// Weights and supports count from here (an announced change has come and stands).
    pub fn weighed_anew(&mut self) {
        self.shares.iter_mut().for_each(Drift::begin);
        self.total.begin();
        self.real.iter_mut().for_each(Cusum::clear);
        (self.settled, self.leap_m, self.earlier_m) = (None, 0.0, [0.0; 2]);
    }

    /// How long ago the newest part was taken, s.
    pub fn age_s(&self, now_s: f64) -> f64 {
        now_s - self.last_s
    }

    fn heard(&self, scope: &Scope, c: usize) -> bool {
        let health = &scope.health[c];
        health.live && health.trusted && health.heard.is_none_or(|h| h.s() > self.last_s)
    }

    fn part(&mut self, scope: &Scope) {
        let now_s = scope.now_s();
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            if !matches!(seat.channel, Channel::MastAlong | Channel::MastAcross | Channel::TrussAlong | Channel::Height) {
                continue;
            }
            if !scope.health[c].trusted {
                // Frozen, knocked: what it reads afterwards has another reference.
                self.channels[c].begin();
            } else if self.heard(scope, c)
                && let Some(mean) = scope.est.slow_mean(c)
            {
                self.channels[c].take(now_s, mean.value);
            }
        }
        self.weigh(scope);
        self.count += 1;
        if self.count.is_multiple_of(EVERY) {
            self.supports(scope);
        }
    }

    fn weigh(&mut self, scope: &Scope) {
        if self.changing {
            return;
        }
        let mut whole = Some(0.0);
        for (j, share) in scope.est.shares().iter().enumerate() {
            if share.channel != self.guards[j] {
                self.guards[j] = share.channel;
                self.shares[j].begin();
                self.total.begin();
            }
            let mean = share.measured_n[over::FIVE].filter(|_| share.channel.is_some_and(|c| self.heard(scope, c)));
            if let Some(mean) = mean {
                self.shares[j].take(scope.now_s(), mean);
            }
            whole = whole.zip(mean).map(|(sum, mean)| sum + mean);
        }
        if let Some(sum) = whole {
            self.total.take(scope.now_s(), sum);
        }
    }

    /// Changes of all shares since they count, in `room`; nothing while one is not known.
    pub fn share_changes(&mut self) -> Option<&[f64]> {
        self.room.clear();
        self.room.extend(self.shares.iter().map_while(Drift::change));
        (self.room.len() == self.shares.len()).then_some(&self.room[..])
    }

    /// Which support has settled, if one has.
    fn supports(&mut self, scope: &Scope) {
        let n = scope.towers();
        let sums = scope.est.sums();
        let weighs = self.total.change().is_some_and(|t| t.abs() > WEIGHS * self.total.sigma());
        let whole = self.share_changes().is_some();
        // A weight that has come sags the truss and shifts its shares: what it does by the statics is taken off.
        let weight = if weighs && whole { acting(&self.room, 1.0, &sums.at) } else { None };
        let weight = weight.and_then(|w| on_piece(scope.setup, w.place_m).map(|(piece, x, _)| (w.force_n, sums.effect(piece, x))));
        self.settles.begin(n);
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            let drift = &self.channels[c];
            let Some(change) = drift.change().filter(|_| scope.health[c].live && scope.health[c].trusted) else { continue };
            let sigma = drift.sigma().hypot(drift.allowed());
            match seat.channel {
                Channel::TrussAlong => {
                    let sag = weight.as_ref().map_or(0.0, |(f, e)| f * e.slope_rad_per_n(seat.piece, seat.at_m));
                    self.settles.add(change - sag, sigma, |k| sums.slopes[c].1[k]);
                }
                Channel::Height => self.settles.add(change, sigma, |k| f64::from(u8::from(k == seat.tower))),
                _ => {}
            }
        }
        for pattern in sums.self_held.iter().filter(|_| whole) {
            let own = |j: usize| self.room[j] - weight.as_ref().map_or(0.0, |(f, e)| f * e.share_per_n[j]);
            let excess: f64 = pattern.iter().enumerate().map(|(j, p)| p * own(j)).sum();
            let sigma = self.shares.iter().map(|d| d.sigma().hypot(d.allowed())).fold(0.0, f64::max);
            self.settles.add(excess, sigma, |k| pattern.iter().enumerate().map(|(j, p)| p * sums.stiffness_n_per_m(j, k)).sum());
        }
        self.settled = self.settles.found().filter(|s| self.sinks(scope, s));
    }

    /// Whether a settling is beyond chance, and came slowly.
    fn sinks(&mut self, scope: &Scope, seen: &Settled) -> bool {
        for k in 0..self.real.len() {
            if let Some((up_m, sigma_m)) = self.settles.alone(k) {
                self.real[k].take(up_m / sigma_m.max(FLOOR * settle_limit_m(scope, k)));
                self.real[k].hold_at_most(H);
            }
        }
        let leap = seen.down_m - self.earlier_m[1];
        self.earlier_m = [seen.down_m, self.earlier_m[0]];
        if seen.down_m < 0.3 * settle_limit_m(scope, seen.tower) {
            self.leap_m = 0.0;
        } else {
            self.leap_m = self.leap_m.max(leap);
        }
        self.real[seen.tower].signal() == Some(Side::Below) && self.leap_m < 0.7 * seen.down_m
    }
}

/// From how far down a support is told, m: a rake of 0.2 degrees to the next tower, or half of what the level may be off here.
pub fn settle_limit_m(scope: &Scope, k: usize) -> f64 {
    let rows = scope.rows();
    let row = match scope.est.sums().layout {
        Layout::Pair => rows.rake_mm,
        Layout::Line => rows.line_mm.or(rows.rake_mm),
        Layout::Ring => rows.twist_mm.or(rows.rake_mm),
    };
    (CREEP_RAD * next_m(scope, k)).min(row.map_or(f64::INFINITY, |r| 0.5e-3 * r.warn))
}

/// How far the next tower stands, m.
pub fn next_m(scope: &Scope, k: usize) -> f64 {
    (0..scope.towers()).filter(|&j| j != k).map(|j| scope.apart_m(j, k)).fold(f64::INFINITY, f64::min)
}
