//! Stiffness learnt at the test lift: each tower cranked alone while the others stand shows what a turn does on this very rig.
//!
//! Measured, with one standard deviation: the change of every share for a millimetre of crank, the change of every slope for a turn,
//! and the rise of the head for a turn (by its height gauge, or on two towers by the slopes, where no stiffness enters). The
//! estimator takes the stiffness where it is known well enough, the calls the rise for a turn; else the plan's stand.
//! On three towers in line and on a ring of four, all that offsets do to shares is one pattern (statics: rank one), so one factor
//! on the plan's stiffness tells it whole; where there are more patterns the same factor stands for all.
//! Learnt on ropes it says nothing of pins: there the plan's hold again. Source: docs/method.md, "Learnt at the test lift".

use crate::condition::Known;
use crate::instruments::{Gauge, Instruments};
use crate::scene::{Pins, Scene, Turn};
use crate::setup::Setup;
use raisewatch_protocol::words::Channel;
use raisewatch_protocol::{Mono, Span};
use raisewatch_statics::{Bearing, Model};
use serde::Serialize;

/// Readings before the word, and after the turn was judged still, are averaged over this.
const OVER: Span = Span::ms(3_000);
/// A turn is judged as soon as a second of readings is still; so much later three are.
const LATER: Span = Span::ms(2_000);
/// Least count of readings in a mean.
const LEAST: usize = 5;
/// A turn is cranked to within this (docs/trade.md section 8: operators ± 5 %).
const HAND: f64 = 0.05;
/// Two neighbouring readings of a swinging truss hang together: half of them count.
const COUNTS: f64 = 0.5;
/// A rise for a turn is used where it is known to this: at two turns, the most that is ever called, an eighth of a turn.
const RISE_KNOWN: f64 = 0.0625;
/// What a turn can raise, mm (docs/trade.md section 0: 15 to 40).
const RISE_MM: [f64; 2] = [15.0, 40.0];
/// A factor on the stiffness is used where it is known to this, and within these bounds (ropes are 60 to 150 N/mm, section 0).
const FACTOR_KNOWN: f64 = 0.10;
const FACTOR: [f64; 2] = [0.3, 3.0];
/// A later turn departs from what was learnt beyond so many standard deviations…
const DEPARTS: f64 = 3.0;
/// …and by at least this part of it.
const DEPARTS_BY: f64 = 0.25;

/// A mean and how well it is known.
type Sample = Option<Known>;

/// What one tower's turn showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Learnt {
    /// When.
    pub at: Mono,
    /// Turns cranked, as said.
    pub turns: f64,
    /// By tower: change of its share for one millimetre of this tower's crank, N/mm.
    pub share_n_per_mm: Vec<Option<Known>>,
    /// By channel: change of its slope for one turn, deg; `None` where it is no tilt along the truss.
    pub slope_deg: Vec<Option<Known>>,
    /// Rise for one turn, mm.
    pub rise_mm: Option<Known>,
    /// The same as the first turn of this tower showed, over what it shows now, where it departs: evidence of a soft foot, a
    /// loose joint, a snag.
    pub departs: Option<f64>,
}

/// What is learnt of the stiffness.
#[derive(Clone, Debug)]
pub struct Stiffness {
    /// Planned, on ropes: N/mm by tower and cranked tower.
    planned_n_per_mm: Vec<Vec<f64>>,
    /// Planned: rad for a metre of each tower's offset, by channel.
    slopes: Vec<Vec<f64>>,
    /// Planned: rise of the head for its own offset.
    heads: Vec<f64>,
    per_turn_mm: Vec<f64>,
    before: Vec<Sample>,
    turn: Option<Turn>,
    due: Option<Mono>,
    /// By tower.
    pub learnt: Vec<Option<Learnt>>,
    /// Measured stiffness over the planned.
    pub factor: Option<Known>,
}

impl Stiffness {
    /// Nothing learnt yet.
    pub fn new(setup: &Setup, model: &Model) -> Self {
        let on_ropes = model.standing(&model.on(Bearing::Rope, setup.plan.working_height));
        let towers = setup.plan.towers.len();
        let row = |s: &crate::setup::Seat| match s.channel {
            Channel::TrussAlong => on_ropes.slope_at(s.piece, s.at_m).per_offset,
            _ => Vec::new(),
        };
        Stiffness {
            planned_n_per_mm: on_ropes.share_per_offset.iter().map(|r| r.iter().map(|v| v * 1e-3).collect()).collect(),
            slopes: setup.channels.iter().map(row).collect(),
            heads: (0..towers).map(|k| on_ropes.head_per_offset[k][k]).collect(),
            per_turn_mm: setup.plan.towers.iter().map(|t| t.per_turn.mm()).collect(),
            before: vec![None; setup.channels.len()],
            turn: None,
            due: None,
            learnt: vec![None; towers],
            factor: None,
        }
    }

    /// A turn begins: what stands before it is kept.
    pub fn begin(&mut self, setup: &Setup, instruments: &Instruments, turn: Turn, now: Mono) {
        self.due = None;
        self.turn = Some(turn);
        for (c, before) in self.before.iter_mut().enumerate() {
            *before = sample(setup, &instruments.gauges[c], c, now);
        }
    }

    /// The turn was judged: right, or something that tells nothing of the stiffness.
    pub fn judged(&mut self, right: bool, now: Mono) {
        self.due = self.turn.filter(|_| right).map(|_| now + LATER);
        if !right {
            self.turn = None;
        }
    }

    /// Another step, or another turn: what was to be measured is not.
    pub fn forget_turn(&mut self) {
        (self.turn, self.due) = (None, None);
    }

    /// When it is to be measured.
    pub fn deadline(&self) -> Option<Mono> {
        self.due
    }

    /// Measures what the turn did, once three seconds of still readings are in. True where something new was learnt.
    pub fn look(&mut self, setup: &Setup, instruments: &Instruments, scene: &Scene, now: Mono) -> bool {
        let Some(turn) = self.turn.filter(|_| self.due.is_some_and(|d| now >= d)) else { return false };
        self.forget_turn();
        // On pins a turn moves nothing.
        if scene.towers.iter().any(|t| t.pins != Pins::None) {
            return false;
        }
        let after: Vec<Sample> = (0..self.before.len()).map(|c| sample(setup, &instruments.gauges[c], c, now)).collect();
        let change = |c: usize| -> Sample {
            let (a, b) = (after[c]?, self.before[c]?);
            let usable = instruments.health[c].usable();
            usable.then(|| Known { value: a.value - b.value, sigma: a.sigma.hypot(b.sigma) })
        };
        let rise_mm = self.rise(setup, turn, &change);
        let crank_mm = turn.turns * self.per_turn_mm[turn.tower];
        let by_mm = |k: Known, over: f64| scaled(k, 1.0 / over);
        let share = |j: usize| {
            let cell = setup.channels.iter().position(|s| s.tower == j && s.channel == Channel::HeadLoad);
            let rope = || setup.channels.iter().position(|s| s.tower == j && s.channel == Channel::RopeLoad);
            cell.or_else(rope).and_then(change).map(|k| by_mm(k, crank_mm))
        };
        let share_n_per_mm: Vec<_> = (0..self.learnt.len()).map(share).collect();
        let tilts = |c: usize| {
            let tilt = setup.channels[c].channel == Channel::TrussAlong;
            change(c).filter(|_| tilt).map(|k| scaled(k, 1.0_f64.to_degrees() / turn.turns))
        };
        let slope_deg = (0..self.before.len()).map(tilts).collect();
        let mut new = Learnt { at: now, turns: turn.turns, share_n_per_mm, slope_deg, rise_mm, departs: None };
        new.departs = self.learnt[turn.tower].as_ref().and_then(|old| departs(old, &new));
        // What was learnt first stands; what departs from it is shown beside it.
        match &mut self.learnt[turn.tower] {
            Some(old) if new.departs.is_some() => old.departs = new.departs,
            slot => *slot = Some(new),
        }
        self.weigh_factor();
        true
    }

    /// Rise for one turn: by the height gauge of the head; on two towers also by every tilt along the truss.
    fn rise(&self, setup: &Setup, turn: Turn, change: &impl Fn(usize) -> Sample) -> Option<Known> {
        let k = turn.tower;
        let mut seen: Vec<Known> = Vec::new();
        for (c, seat) in setup.channels.iter().enumerate() {
            let per_m = match seat.channel {
                Channel::Height if seat.tower == k => self.heads[k],
                Channel::TrussAlong if self.heads.len() == 2 => self.slopes[c].get(k).copied().unwrap_or(0.0),
                _ => continue,
            };
            if per_m.abs() > 1e-4
                && let Some(moved) = change(c)
            {
                seen.push(scaled(moved, 1000.0 / (per_m * turn.turns)));
            }
        }
        let weight: f64 = seen.iter().map(|s| s.sigma.powi(-2)).sum();
        let mean = seen.iter().map(|s| s.value * s.sigma.powi(-2)).sum::<f64>() / weight;
        (!seen.is_empty() && mean.is_finite()).then(|| Known { value: mean, sigma: weight.powf(-0.5).hypot(HAND * mean) })
    }

    /// One factor on the plan's stiffness, of all that was measured: weighted least squares.
    fn weigh_factor(&mut self) {
        self.factor = None;
        if self.learnt.len() < 3 || self.learnt.iter().any(Option::is_none) {
            return;
        }
        let (mut top, mut below) = (0.0, 0.0);
        for (k, learnt) in self.learnt.iter().enumerate() {
            let Some(learnt) = learnt else { continue };
            // The rise for a turn enters where it was measured: the crank's own millimetres.
            let crank = learnt.rise_mm.map_or(1.0, |r| r.value / self.per_turn_mm[k]);
            for (j, measured) in learnt.share_n_per_mm.iter().enumerate() {
                let (Some(m), planned) = (measured, self.planned_n_per_mm[j][k] * crank) else { continue };
                let variance = m.sigma.powi(2) + (HAND * planned).powi(2);
                top += m.value * planned / variance;
                below += planned * planned / variance;
            }
        }
        if below > 0.0 {
            // The hand's own turn is common to all shares of one turn.
            let sigma = below.powf(-0.5).hypot(HAND / (self.learnt.len() as f64).sqrt());
            self.factor = Some(Known { value: top / below, sigma });
        }
    }

    /// What a metre of each offset does to every share, N/m, where it is known well enough to stand in place of the plan's.
    pub fn rows(&self) -> Option<Vec<Vec<f64>>> {
        let f = self.factor.filter(|f| f.sigma <= FACTOR_KNOWN * f.value && (FACTOR[0]..=FACTOR[1]).contains(&f.value))?;
        Some(self.planned_n_per_mm.iter().map(|r| r.iter().map(|v| v * 1e3 * f.value).collect()).collect())
    }

    /// Rise of a tower for one turn, mm: measured where it is known well enough, else the plan's.
    pub fn per_turn_mm(&self, tower: usize) -> f64 {
        let measured = self.learnt[tower].as_ref().and_then(|l| l.rise_mm);
        let good = measured.filter(|r| r.sigma <= RISE_KNOWN * r.value && (RISE_MM[0]..=RISE_MM[1]).contains(&r.value));
        good.map_or(self.per_turn_mm[tower], |r| r.value)
    }

    /// Planned change of share `j` for a millimetre at tower `k`, N/mm.
    pub fn planned_n_per_mm(&self, j: usize, k: usize) -> f64 {
        self.planned_n_per_mm[j][k]
    }

    /// Planned change of a tilt for one turn at tower `k`, deg.
    pub fn planned_slope_deg(&self, channel: usize, k: usize) -> Option<f64> {
        self.slopes[channel].get(k).map(|r| (r * self.per_turn_mm[k] * 1e-3).to_degrees())
    }
}

/// What the newer turn shows over the older one, where the shares (three and more) or the rise depart beyond doubt.
fn departs(old: &Learnt, new: &Learnt) -> Option<f64> {
    let shares = old.share_n_per_mm.iter().zip(&new.share_n_per_mm).filter_map(|(o, n)| o.zip(*n));
    let largest = shares.max_by(|a, b| a.0.value.abs().total_cmp(&b.0.value.abs()));
    let of = |(o, n): (Known, Known)| {
        let sigma = o.sigma.hypot(n.sigma).hypot(HAND * o.value);
        let off = (n.value - o.value).abs();
        (off > DEPARTS * sigma && off > DEPARTS_BY * o.value.abs()).then(|| n.value / o.value)
    };
    largest.and_then(of).or_else(|| old.rise_mm.zip(new.rise_mm).and_then(of))
}

fn scaled(k: Known, by: f64) -> Known {
    Known { value: k.value * by, sigma: (k.sigma * by).abs() }
}

/// Mean of a channel over the last three seconds, in its unit (a rope's as the share it lifts).
fn sample(setup: &Setup, gauge: &Gauge, channel: usize, now: Mono) -> Sample {
    let lifts = setup.channels[channel].lifts();
    let values = || gauge.kept.iter().filter(|k| now.since(k.0) <= OVER).map(|k| k.1 * lifts);
    let count = values().count();
    if count < LEAST {
        return None;
    }
    let mean = values().sum::<f64>() / count as f64;
    let spread = (values().map(|v| (v - mean).powi(2)).sum::<f64>() / (count - 1) as f64).sqrt();
    // A slow swing shows in the halves.
    let half = count / 2;
    let first = values().take(half).sum::<f64>() / half as f64;
    let last = values().skip(count - half).sum::<f64>() / half as f64;
    Some(Known { value: mean, sigma: (spread / (COUNTS * count as f64).sqrt()).max((last - first).abs() / 2.0) })
}

/// What was learnt, for the pages.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LearntView {
    /// Measured stiffness over the planned (three towers and more); null while not every tower was turned alone.
    pub factor: Option<f64>,
    /// One standard deviation.
    pub factor_sigma: Option<f64>,
    /// Whether the estimate uses it.
    pub used: bool,
    /// Towers that were turned alone.
    pub towers: Vec<LearntTower>,
}

/// What one tower's turn showed, beside the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LearntTower {
    /// Id.
    pub tower: String,
    /// When.
    pub t_ms: Mono,
    /// Turns cranked, as said.
    pub turns: f64,
    /// Rise for one turn, mm.
    pub rise: Option<Beside>,
    /// Whether turns are called by it.
    pub rise_used: bool,
    /// Change of every share for a millimetre of crank, N/mm.
    pub shares: Vec<BesideOf>,
    /// Change of every tilt along the truss for one turn, deg; named by node.
    pub slopes: Vec<BesideOf>,
    /// A later turn over the first, where it departs; null where it does not.
    pub departs: Option<f64>,
    /// In words.
    pub text: String,
}

/// Measured beside planned.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Beside {
    /// Measured.
    pub measured: f64,
    /// One standard deviation.
    pub sigma: f64,
    /// By the plan.
    pub planned: f64,
}

/// The same, of one tower or node.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BesideOf {
    /// Tower or node id.
    pub of: String,
    /// Measured and planned.
    #[serde(flatten)]
    pub beside: Beside,
}

impl Beside {
    /// To a thousandth.
    pub fn new(measured: Known, planned: f64) -> Self {
        let short = |v: f64| (v * 1000.0).round() / 1000.0;
        Beside { measured: short(measured.value), sigma: short(measured.sigma), planned: short(planned) }
    }
}
