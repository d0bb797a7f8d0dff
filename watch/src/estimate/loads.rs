//! Shares: means of the cells over the stretches that the causes ask for, and what they show beside what is expected.
//!
//! A share's expected value follows from the plan, the height and the heads. What is left has two parts: the slow one (weights
//! that the plan has wrong, zeros and spans of the cells) is learnt as the *base*; what comes on top of it quickly is the
//! *excess*, and something caught, resting or added. The base stands still while there is an excess, so that nothing that has
//! come is learnt away.

use super::robust::median3;
use super::window::{Mean, Stretch, Trace};
use crate::health::Health;
use crate::setup::Setup;
use raisewatch_protocol::words::Channel;

/// Means that are kept of each cell; the numbers are indices into a trace's stretches.
pub mod over {
    /// The last 0.3 s: what grows within a second (docs/trade.md section 4: 0.3 s for a hang-up).
    pub const FAST: usize = 0;
    /// The last second: limits (one turn of the crank averages its own ripple away).
    pub const ONE: usize = 1;
    /// The last 5 s: weights.
    pub const FIVE: usize = 2;
    /// The last 10 s: steps while standing.
    pub const TEN: usize = 3;
    /// One to three seconds ago: what an impulse stands out from.
    pub const BEFORE: usize = 4;
}

const STRETCHES: [Stretch; 5] =
    [Stretch::last(0.3), Stretch::last(1.0), Stretch::last(5.0), Stretch::last(10.0), Stretch { near_s: 1.0, far_s: 3.0 }];

/// A blow, or a rope that lets go, is over within half a swing of the bounce on the rope (docs/trade.md section 0: 3 to 5 Hz): as far
/// apart as the samples of a cell of ten readings a second, s.
const JOLT_S: f64 = 0.11;
/// A head has lost its load at less than this part of it; what swings back and forth within so long, s, has lost it once.
const LOST: f64 = 0.5;
const LOST_S: f64 = 1.0;
/// Samples that are kept for it: a cell of eighty readings a second.
const LATE: usize = 8;

/// One load cell.
#[derive(Clone, Debug)]
pub struct Cell {
    trace: Trace,
    raw: [f64; 3],
    seen: usize,
    /// Time of the newest sample, s.
    pub newest_s: f64,
    /// Largest and smallest raw share since [`Cell::restart_peaks`], with when.
    pub peak: (f64, f64),
    /// Smallest raw share, with when.
    pub dip: (f64, f64),
    /// A jolt is kept for so long, s: an impulse rings for half a second, and boxes beside a slow cell need seven readings to see what came
    /// of it.
    pub fades_s: f64,
    /// Largest change of the last [`Cell::fades_s`], with when: between neighbouring samples, or within [`JOLT_S`] where the cell speaks faster.
    pub jolt: (f64, f64),
    /// When it first read less than half of what it carried before, s, and when last: it lost its load, and may swing back for a second.
    pub lost: (f64, f64),
    /// Newest raw samples, newest first: when, and what.
    late: [(f64, f64); LATE],
    /// A sample within this time of the one before is its neighbour, s.
    next_s: f64,
}

impl Cell {
    fn new(rate_hz: f64) -> Self {
        // Ten seconds at twice the stated rate; a faster node has the oldest dropped.
        let room = (20.0 * rate_hz).clamp(64.0, 4000.0) as usize;
        Cell {
            trace: Trace::new(room, &STRETCHES),
            raw: [0.0; 3],
            seen: 0,
            newest_s: f64::NEG_INFINITY,
            peak: (0.0, 0.0),
            dip: (0.0, 0.0),
            jolt: (0.0, f64::NEG_INFINITY),
            lost: (f64::NEG_INFINITY, f64::NEG_INFINITY),
            fades_s: (7.0 / rate_hz).clamp(0.6, 3.5),
            late: [(f64::NEG_INFINITY, 0.0); LATE],
            // A packet may come late by half its period (docs/trade.md section 8, N1: 20 to 80 ms).
            next_s: (1.6 / rate_hz).clamp(0.25, 0.5),
        }
    }

    fn push(&mut self, t_s: f64, share_n: f64) {
        let change = self.change(t_s, share_n);
        if change > 0.0 && (change >= self.jolt.0 || t_s - self.jolt.1 > self.fades_s) {
            self.jolt = (change, t_s);
        }
        self.raw = [self.raw[1], self.raw[2], share_n];
        self.late.rotate_right(1);
        self.late[0] = (t_s, share_n);
        self.seen += 1;
        self.newest_s = t_s;
        // An impulse counts for 0.6 s: it lasts 50 to 150 ms and rings for half a second.
        if share_n >= self.peak.0 || t_s - self.peak.1 > 0.6 {
            self.peak = (share_n, t_s);
        }
        if share_n <= self.dip.0 || t_s - self.dip.1 > 0.6 {
            self.dip = (share_n, t_s);
        }
        if self.trace.mean(over::BEFORE).is_some_and(|before| share_n < LOST * before.value) {
            self.lost = if t_s - self.lost.1 > LOST_S { (t_s, t_s) } else { (self.lost.0, t_s) };
        }
        // One wild sample must not move a mean: the median of three goes into them.
        let calm = if self.seen < 3 { share_n } else { median3(self.raw[0], self.raw[1], self.raw[2]) };
        self.trace.push(t_s, calm);
    }

    /// By how much a new sample differs from the one before it, or from any within [`JOLT_S`], N.
    fn change(&self, t_s: f64, share_n: f64) -> f64 {
        let neighbour = self.late.iter().take(1).filter(|l| t_s - l.0 < self.next_s);
        let within = self.late.iter().filter(|l| t_s - l.0 <= JOLT_S);
        neighbour.chain(within).map(|l| (share_n - l.1).abs()).fold(0.0, f64::max)
    }

    /// Mean over one of [`over`]'s stretches; the newest sample where the cell speaks too slowly for the stretch.
    pub fn mean(&self, k: usize) -> Option<Mean> {
        if self.seen == 0 {
            return None;
        }
        let newest = || self.trace.newest(1).next().map(|newest| Mean { value: newest.1, spread: 0.0, count: 1 });
        self.trace.mean(k).or_else(|| newest().filter(|_| k != over::BEFORE))
    }

    /// The last seconds, median of three.
    pub fn trace(&self) -> &Trace {
        &self.trace
    }

    /// The newest raw sample.
    pub fn newest(&self) -> Option<f64> {
        (self.seen > 0).then_some(self.raw[2])
    }

    /// Since when stretch `k` has samples without a gap at its begin, s: how long the cell has been heard in it.
    pub fn begin_s(&self, k: usize) -> Option<f64> {
        self.trace.begin_s(k)
    }
}

/// Where a force that explains a change of all shares acts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Acting {
    /// N, pressed down positive.
    pub force_n: f64,
    /// N.
    pub force_sigma_n: f64,
    /// Plan coordinates, m.
    pub place_m: [f64; 2],
    /// Along and across the line of the towers alike, m.
    pub place_sigma_m: f64,
}

/// The force and its place that equilibrium demands for these changes of all shares: no stiffness enters.
/// `sigma_n` is the standard deviation of each change. Source: docs/trade.md section 3.2, s_a = (s/dW)·sqrt(Σ(x_j − x)²).
pub fn acting(changes_n: &[f64], sigma_n: f64, at: &[[f64; 2]]) -> Option<Acting> {
    let force: f64 = changes_n.iter().sum();
    if changes_n.len() != at.len() || force.abs() < 1e-6 {
        return None;
    }
    let place = [0, 1].map(|axis| changes_n.iter().zip(at).map(|(c, p)| c * p[axis]).sum::<f64>() / force);
    let spread: f64 = at.iter().map(|p| (p[0] - place[0]).powi(2) + (p[1] - place[1]).powi(2)).sum();
    Some(Acting {
        force_n: force,
        force_sigma_n: sigma_n * (at.len() as f64).sqrt(),
        place_m: place,
        place_sigma_m: (sigma_n / force.abs()) * spread.sqrt(),
    })
}

/// All cells of the kit.
#[derive(Clone, Debug)]
pub struct Loads {
    /// By channel.
    cells: Vec<Option<Cell>>,
    /// By tower: its head cell and its rope cell, as channels.
    pub head: Vec<Option<usize>>,
    /// By tower: its rope cell.
    pub rope: Vec<Option<usize>>,
    /// By tower: measured less expected that was learnt, N; `None` until learnt.
    pub base_n: Vec<Option<f64>>,
}

impl Loads {
    /// Cells of a kit.
    pub fn new(setup: &Setup) -> Self {
        let towers = setup.plan.towers.len();
        let (mut head, mut rope) = (vec![None; towers], vec![None; towers]);
        let mut cells = Vec::with_capacity(setup.channels.len());
        for (c, seat) in setup.channels.iter().enumerate() {
            let list = match seat.channel {
                Channel::HeadLoad => &mut head,
                Channel::RopeLoad => &mut rope,
                _ => {
                    cells.push(None);
                    continue;
                }
            };
            list[seat.tower].get_or_insert(c);
            cells.push(Some(Cell::new(1.0 / seat.period_s)));
        }
        Loads { cells, head, rope, base_n: vec![None; towers] }
    }

    /// Takes a reading of a load channel.
    pub fn take(&mut self, channel: usize, t_s: f64, share_n: f64) {
        if let Some(cell) = &mut self.cells[channel] {
            cell.push(t_s, share_n);
        }
    }

    /// Lets time pass.
    pub fn advance(&mut self, now_s: f64) {
        for cell in self.cells.iter_mut().flatten() {
            cell.trace.advance(now_s);
        }
    }

    /// A cell was zeroed: its past no longer means anything.
    pub fn renewed(&mut self, setup: &Setup, channel: usize) {
        if let Some(cell) = &mut self.cells[channel] {
            cell.trace.clear();
            cell.seen = 0;
            self.base_n[setup.channels[channel].tower] = None;
        }
    }

    /// A cell by its channel.
    pub fn cell(&self, channel: usize) -> Option<&Cell> {
        self.cells[channel].as_ref()
    }

    /// The channel that tells the share of tower `j` now: the head cell, else the rope while it carries.
    pub fn guard(&self, j: usize, health: &[Health], on_pins: bool) -> Option<usize> {
        let usable = |c: &usize| health[*c].usable() && self.cells[*c].as_ref().is_some_and(|cell| cell.seen > 0);
        self.head[j].filter(usable).or(self.rope[j].filter(|_| !on_pins).filter(usable))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example 5 of docs/trade.md section 3.7: 28.8 kg more at 4.47 m from A, sigma 1.7 kg and 0.20 m with cells of 1.2 kg.
    #[test]
    fn an_added_weight_is_placed_by_moments() {
        let g = 9.80665;
        let found = acting(&[(104.2 - 96.9) * g, (121.6 - 100.1) * g], 1.2 * g, &[[1.0, 0.0], [7.0, 0.0]]).unwrap();
        assert!((found.force_n / g - 28.8).abs() < 0.05, "{found:?}");
        assert!((found.force_sigma_n / g - 1.7).abs() < 0.05);
        assert!((found.place_m[0] - 5.48).abs() < 0.02);
        assert!((found.place_sigma_m - 0.20).abs() < 0.01);
    }

    #[test]
    fn no_force_has_no_place() {
        assert_eq!(acting(&[10.0, -10.0], 1.0, &[[0.0, 0.0], [6.0, 0.0]]), None);
        assert_eq!(acting(&[10.0], 1.0, &[[0.0, 0.0], [6.0, 0.0]]), None);
    }

    /// A swing of 4 Hz is the same jolt to a cell of ten readings a second and to faster ones.
    #[test]
    fn a_jolt_does_not_depend_on_how_often_a_cell_speaks() {
        for hz in [10.0, 20.0, 40.0, 80.0] {
            let mut cell = Cell::new(hz);
            for i in 0..(2.0 * hz) as usize {
                let t = i as f64 / hz;
                cell.push(t, 950.0 - if t > 1.0 { 200.0 * (t * 4.0 * std::f64::consts::TAU).sin() } else { 0.0 });
            }
            assert!((340.0..400.1).contains(&cell.jolt.0), "{hz}: {:?}", cell.jolt);
        }
    }

    #[test]
    fn one_wild_sample_moves_no_mean() {
        let mut cell = Cell::new(10.0);
        for i in 0..20 {
            cell.push(i as f64 * 0.1, if i == 15 { 90_000.0 } else { 950.0 });
        }
        for k in [over::FAST, over::ONE, over::FIVE] {
            assert!((cell.mean(k).unwrap().value - 950.0).abs() < 1e-6);
        }
        assert_eq!(cell.peak.0, 90_000.0);
    }
}
