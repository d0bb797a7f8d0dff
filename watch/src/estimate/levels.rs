//! The filter over all heads: which state is what, which reading tells of which, and what to do with one that does not fit.

use super::kalman::{Block, Kalman, Term};
use super::level::Offsets;
use super::sums::Sums;
use super::tilt::{self, Tilt};
use crate::setup::Setup;
use raisewatch_protocol::words::Channel;

/// Readings further off than so many standard deviations are not taken at once.
const GATE: f64 = 5.0;
/// Offsets worse known than this are not told, mm.
const KNOWN_MM: f64 = 30.0;
/// Accuracy of a zero by spirit level and of the seat of a box, rad: 0.03 degrees.
const ZERO: f64 = 0.03 * std::f64::consts::PI / 180.0;
/// How a bias wanders, rad per square root of second: 0.03 degrees in an hour (docs/trade.md row 46).
const WANDER: f64 = 0.03 * std::f64::consts::PI / 180.0 / 60.0;
/// Sway and the ripple of a crank are purer tones than the damped oscillations that stand for them in the filter: of the variance
/// that the innovations show so much is left in the slow part. Measured on fault-free raises (tests.rs, honesty).
const NARROW: f64 = 0.3;
/// How level a floor is, and how well a height gauge sits, m.
const FLOOR_M: f64 = 0.004;

/// A height gauge.
#[derive(Clone, Debug)]
struct Gauge {
    bias: usize,
    tower: usize,
    last: [f64; 2],
    seen: usize,
    white: f64,
}

/// All heads.
#[derive(Clone, Debug)]
pub struct Levels {
    kalman: Kalman,
    towers: usize,
    at_s: Option<f64>,
    /// By channel.
    pub tilts: Vec<Option<Tilt>>,
    gauges: Vec<Option<Gauge>>,
    /// First state of the biases of the self-held share patterns.
    held: usize,
    absolute: bool,
    pace: f64,
    terms: Vec<Term>,
    /// Variance of each offset about the mean of all, and the row means, mm²; refreshed by [`Levels::tell`].
    about: Vec<f64>,
    mean_cov: f64,
    mean: f64,
    /// Whether each tower's offset may be told.
    pub known: Vec<bool>,
    /// Since when the heads are taken to move though the step says still, s.
    pub agile_until_s: f64,
    lively: f64,
    /// Mean square of the innovations in their own standard deviations: the variance of unit weight.
    unit: f64,
    unit_s: f64,
    /// Variance of each offset that the zeros of the boxes leave, mm².
    floor: Vec<f64>,
}

impl Levels {
    /// Nothing known yet.
    pub fn new(setup: &Setup, sums: &Sums) -> Self {
        let towers = setup.plan.towers.len();
        let mut blocks = vec![Block::Trend; towers];
        let mut states = 2 * towers;
        let mut tilts = Vec::new();
        let mut gauges = Vec::new();
        for seat in &setup.channels {
            tilts.push((seat.channel == Channel::TrussAlong).then(|| {
                let tilt = Tilt::new(states, 1.0 / seat.period_s);
                blocks.extend(tilt::blocks());
                states += 1 + 2 * tilt::CYCLES.len();
                tilt
            }));
            gauges.push((seat.channel == Channel::Height).then(|| {
                blocks.push(Block::Steady);
                states += 1;
                Gauge { bias: states - 1, tower: seat.tower, last: [0.0; 2], seen: 0, white: 0.003_f64.powi(2) }
            }));
        }
        let held = states;
        blocks.extend(sums.self_held.iter().map(|_| Block::Steady));
        let absolute = gauges.iter().any(Option::is_some);
        let mut levels = Levels {
            kalman: Kalman::new(&blocks),
            towers,
            at_s: None,
            tilts,
            gauges,
            held,
            absolute,
            pace: setup.plan.pace.0.max(setup.plan.pace_down.0).max(0.005),
            terms: Vec::with_capacity(2 * towers + 8),
            about: vec![0.0; towers],
            mean_cov: 0.0,
            mean: 0.0,
            known: vec![false; towers],
            agile_until_s: f64::NEG_INFINITY,
            lively: 0.0,
            unit: 1.0,
            unit_s: 0.0,
            floor: vec![0.0; towers],
        };
        levels.begin(sums);
        levels
    }

    fn begin(&mut self, sums: &Sums) {
        self.lay_floor(sums);
        self.spread(0, 1.0);
        self.spread(1, 0.01_f64.powi(2));
        for c in 0..self.tilts.len() {
            self.renew(c);
        }
        for k in 0..sums.self_held.len() {
            // What the plan's weights and the cells leave open: 3 % of a mean share, and the cells' zeros.
            let open = 0.03 * sums.total_n() / self.towers as f64;
            // And whether heads or cranks were levelled: the boxes tell, and then the cells tell every change.
            let levelled: f64 = sums.self_held[k].iter().zip(&sums.levelled_n).map(|(u, n)| u * n).sum();
            self.kalman.forget(self.held + k, 0.0, open * open + 100.0 + levelled * levelled);
        }
    }

    /// Adds variance to all offsets (`which` 0) or all rates (1): of each tower by itself where heights are measured, of their
    /// differences alone where nothing tells the common height.
    fn spread(&mut self, which: usize, variance: f64) {
        let n = self.towers as f64;
        for j in 0..self.towers {
            if self.absolute {
                self.kalman.doubt(2 * j + which, variance);
            } else {
                for k in 0..self.towers {
                    let part = if j == k { 1.0 - 1.0 / n } else { -1.0 / n };
                    self.kalman.doubt_pair(2 * j + which, 2 * k + which, variance * part);
                }
            }
        }
    }

    /// A channel was zeroed or turned round.
    pub fn renew(&mut self, channel: usize) {
        if let Some(tilt) = &mut self.tilts[channel] {
            tilt.renew();
            self.kalman.forget(tilt.bias, 0.0, ZERO * ZERO);
            for k in 0..2 * tilt::CYCLES.len() {
                self.kalman.forget(tilt.bias + 1 + k, 0.0, tilt.swing());
            }
        }
        if let Some(gauge) = &mut self.gauges[channel] {
            gauge.seen = 0;
            self.kalman.forget(gauge.bias, 0.0, FLOOR_M * FLOOR_M);
        }
    }

    /// Lets time pass to `t_s`. `moving`: heads are cranked.
    pub fn predict(&mut self, t_s: f64, moving: bool) {
        let dt = self.at_s.map_or(0.0, |at| t_s - at);
        if dt <= 0.0 {
            self.at_s = Some(self.at_s.unwrap_or(t_s));
            return;
        }
        self.at_s = Some(t_s);
        self.kalman.predict(dt);
        let agile = moving || t_s < self.agile_until_s;
        // A head starts or stops about every ten seconds: a step of the pace each time. Standing, it creeps.
        let rate = if agile { self.pace * self.pace / 40.0 } else { (5e-5_f64).powi(2) };
        let settle = if agile { (5e-4_f64).powi(2) } else { (1e-4_f64).powi(2) };
        self.spread(1, rate * dt);
        self.spread(0, settle * dt);
        for tilt in self.tilts.iter().flatten() {
            self.kalman.doubt(tilt.bias, WANDER * WANDER * dt);
            let swing = tilt.swing() * 0.4;
            for k in 0..tilt::CYCLES.len() {
                let noise = swing * tilt::renewal(k, dt);
                self.kalman.doubt(tilt.bias + 1 + 2 * k, noise);
                self.kalman.doubt(tilt.bias + 2 + 2 * k, noise);
            }
        }
        self.lively *= (-dt / 2.0).exp();
    }

    /// The heads came to rest: their rates are about nothing.
    pub fn rest(&mut self) {
        for j in 0..self.towers {
            self.kalman.forget(2 * j + 1, 0.0, 0.0);
        }
        self.spread(1, 0.003_f64.powi(2));
    }

    /// Something happened that the filter did not foresee: heads may stand anywhere near.
    pub fn doubt(&mut self) {
        self.spread(0, 0.02_f64.powi(2));
        self.spread(1, self.pace * self.pace);
    }

    /// The bearings changed: heads settle by centimetres at most.
    pub fn settle(&mut self) {
        self.spread(0, 0.012_f64.powi(2));
    }

    /// Takes a tilt along the truss, rad. `usable`: whether it may move the estimate.
    pub fn tilt(&mut self, sums: &Sums, channel: usize, t_s: f64, value: f64, usable: bool) {
        let Some(tilt) = &mut self.tilts[channel] else { return };
        let (level, per_offset) = &sums.slopes[channel];
        self.terms.clear();
        self.terms.extend(per_offset.iter().enumerate().map(|(j, k)| (2 * j, *k)));
        self.terms.push((tilt.bias, 1.0));
        let trend = level + self.terms.iter().map(|&(i, k)| k * self.kalman.at(i)).sum::<f64>();
        tilt.heard(t_s, value, trend);
        if !usable || tilt.jumped {
            tilt.refused_since = None;
            return;
        }
        self.terms.extend((0..tilt::CYCLES.len()).map(|k| (tilt.bias + 1 + 2 * k, 1.0)));
        let (innovation, taken) = self.kalman.update(&self.terms, value - level, tilt.white, GATE);
        let dt = (t_s - self.unit_s).clamp(0.0, 1.0);
        self.unit_s = t_s;
        // Each box adds its part; ten seconds are some ten turns of a crank.
        self.unit += (innovation.score().powi(2).min(GATE * GATE) - self.unit) * (1.0 - (-dt.max(0.01) / 10.0).exp());
        if taken {
            tilt.refused_since = None;
            // Innovations that keep to one side say that heads move in a still step.
            self.lively += 0.1 * innovation.score().clamp(-4.0, 4.0);
            if self.lively.abs() > 2.5 {
                self.agile_until_s = t_s + 5.0;
            }
            return;
        }
        let side = innovation.value.signum();
        match &mut tilt.refused_since {
            Some((_, was)) if *was == side => tilt.refused_by += 0.3 * (innovation.value - tilt.refused_by),
            _ => {
                tilt.refused_since = Some((t_s, side));
                tilt.refused_by = innovation.value;
            }
        }
    }

    /// Takes a height of a head, m.
    pub fn height(&mut self, channel: usize, value: f64, base_m: f64) {
        let Some(gauge) = &mut self.gauges[channel] else { return };
        let value = value - base_m;
        gauge.seen += 1;
        if gauge.seen > 3 {
            let second = value - 2.0 * gauge.last[0] + gauge.last[1];
            gauge.white += 0.02 * ((second * second / 6.0).min(25.0 * gauge.white) - gauge.white);
            gauge.white = gauge.white.max(1e-6);
        }
        gauge.last = [value, gauge.last[0]];
        let terms = [(2 * gauge.tower, 1.0), (gauge.bias, 1.0)];
        self.kalman.update(&terms, value, gauge.white, 1e9);
    }

    /// Takes a self-held pattern of shares: `excess_n` of pattern `k` over that of the level truss, of variance `r`.
    pub fn pattern(&mut self, sums: &Sums, k: usize, excess_n: f64, r: f64) {
        self.terms.clear();
        let u = &sums.self_held[k];
        for m in 0..self.towers {
            let per_offset: f64 = u.iter().enumerate().map(|(j, f)| f * sums.stiffness_n_per_m(j, m)).sum();
            self.terms.push((2 * m, per_offset));
        }
        self.terms.push((self.held + k, 1.0));
        self.kalman.update(&self.terms, excess_n, r, 1e9);
    }

    /// Doubts what a self-held pattern's bias was learnt to be (stiffness or weights changed), by `sigma_n`.
    pub fn doubt_pattern(&mut self, k: usize, sigma_n: f64) {
        self.kalman.doubt(self.held + k, sigma_n * sigma_n);
    }

    /// Offset of head `j` over the mean of all, m.
    pub fn offset_m(&self, j: usize) -> f64 {
        self.kalman.at(2 * j) - self.mean
    }

    /// Rate of offset `j` over the mean rate, m/s, and its variance.
    pub fn rate_m_s(&self, j: usize) -> (f64, f64) {
        let n = self.towers as f64;
        let mean: f64 = (0..self.towers).map(|k| self.kalman.at(2 * k + 1)).sum::<f64>() / n;
        let cross: f64 = (0..self.towers).map(|k| self.kalman.cov(2 * j + 1, 2 * k + 1)).sum::<f64>() / n;
        let all: f64 =
            (0..self.towers).flat_map(|i| (0..self.towers).map(move |k| (i, k))).map(|(i, k)| self.kalman.cov(2 * i + 1, 2 * k + 1)).sum();
        let variance = self.kalman.cov(2 * j + 1, 2 * j + 1) - 2.0 * cross + all / (n * n);
        (self.kalman.at(2 * j + 1) - mean, variance.max(0.0))
    }

    /// Speed of head `j` up, m/s, where a height gauge tells it.
    pub fn speed_m_s(&self, j: usize) -> Option<(f64, f64)> {
        let gauged = self.gauges.iter().flatten().any(|g| g.tower == j && g.seen > 3);
        gauged.then(|| (self.kalman.at(2 * j + 1), self.kalman.cov(2 * j + 1, 2 * j + 1)))
    }

    /// Height of head `j` over the working height, m, where a gauge tells it.
    pub fn lift_m(&self, j: usize) -> Option<(f64, f64)> {
        let gauged = self.gauges.iter().flatten().any(|g| g.tower == j && g.seen > 0);
        gauged.then(|| (self.kalman.at(2 * j), self.kalman.cov(2 * j, 2 * j)))
    }

    /// What the zeros of the boxes alone leave open of each offset.
    fn lay_floor(&mut self, sums: &Sums) {
        for j in 0..self.towers {
            let steep: f64 = sums.slopes.iter().filter_map(|(_, row)| row.get(j)).map(|k| k * k).sum();
            // Half a head against the others: on two towers the offset from the mean is half the rake.
            self.floor[j] = if steep > 0.0 { (ZERO * 500.0).powi(2) / steep } else { 0.0 };
        }
    }

    /// Normalised innovation squared, averaged over about ten seconds: one where the model's noise is that of the boxes.
    pub fn unit_weight(&self) -> f64 {
        self.unit
    }

    /// Works out offsets about their mean and which of them may be told; `heard[j]`: something heard bears on tower `j`.
    pub fn tell(&mut self, heard: &[bool]) {
        let n = self.towers as f64;
        self.mean = (0..self.towers).map(|j| self.kalman.at(2 * j)).sum::<f64>() / n;
        let mut all = 0.0;
        for j in 0..self.towers {
            self.about[j] = (0..self.towers).map(|k| self.kalman.cov(2 * j, 2 * k)).sum::<f64>() / n;
            all += self.about[j] / n;
        }
        self.mean_cov = all;
        for (j, heard) in heard.iter().enumerate().take(self.towers) {
            self.known[j] = *heard && self.cov_mm2(j, j).sqrt() <= KNOWN_MM && self.kalman.cov(2 * j, 2 * j).sqrt() < 10.0;
        }
    }
}

impl Offsets for Levels {
    fn offset_mm(&self, j: usize) -> Option<f64> {
        self.known[j].then(|| self.offset_m(j) * 1000.0)
    }
    fn cov_mm2(&self, j: usize, k: usize) -> f64 {
        let c = (self.kalman.cov(2 * j, 2 * k) - self.about[j] - self.about[k] + self.mean_cov) * 1e6;
        // The filter's own noise is set for the worst crank; what it is told to be is scaled by what the innovations are (the
        // variance of unit weight of least squares), down to what the zeros leave.
        let unit = (NARROW * self.unit).clamp(0.03, 4.0);
        let n = self.towers as f64;
        let floor = if j == k { self.floor[j] } else { -(self.floor[j] * self.floor[k]).sqrt() / (n - 1.0) };
        let c = unit * c + (1.0 - unit).max(0.0) * floor;
        if j == k { c.max(0.0) } else { c }
    }
}
