//! The shares in the estimator: what is measured, what is expected, what is learnt, and the level that shares tell.

use super::loads::over;
use super::{BaseRule, Estimator, Extra};
use crate::condition::Known;
use crate::health::Health;
use crate::scene::{Pins, Scene};
use crate::setup::Setup;
use raisewatch_protocol::words::Step;

/// Span error of a cell, one standard deviation: within ± 1 % evenly (docs/trade.md section 8, N1).
const SPAN: f64 = 0.006;
/// Zero that is left after zeroing, N: within ± 2 lb before it (N1), a fraction after.
const ZERO_N: f64 = 3.0;
/// The same as it is told with a share, N: 2 lb either way, evenly (docs/trade.md section 8, N1).
const ZERO_TOLD_N: f64 = 5.1;
/// How often the shares tell the level, s.
const PATTERN_EVERY_S: f64 = 0.2;

impl Estimator {
    /// Offsets that enter the expected shares, m; zero where not known (two towers: a correction below 1 %).
    fn offset_or_level(&self, j: usize) -> f64 {
        if self.levels.known[j] { self.levels.offset_m(j) } else { 0.0 }
    }

    fn beside_by_heights(&self, j: usize) -> f64 {
        (0..self.shares.len()).map(|k| self.sums.stiffness_n_per_m(j, k) * self.offset_or_level(k)).sum()
    }

    pub(super) fn measured(&self, j: usize) -> Option<Known> {
        let value = self.shares[j].measured_n[over::ONE]?;
        let cell = self.loads.cell(self.shares[j].channel?)?;
        let mean = cell.mean(over::ONE)?;
        // The ripple of a crank is averaged over about a whole turn: a fifth of it is left of a second's mean.
        let noise = mean.spread * if mean.count > 4 { 0.2 } else { 0.7 };
        Some(Known { value, sigma: noise.hypot(ZERO_TOLD_N).hypot(SPAN * value) })
    }

    pub(super) fn expected(&self, j: usize) -> Option<Known> {
        if !(0..self.shares.len()).all(|k| self.levels.known[k]) {
            return None;
        }
        let value = self.sums.planned_n(j) + self.beside_by_heights(j);
        let by_offset: f64 = (0..self.shares.len())
            .map(|k| {
                let s = self.sums.stiffness_n_per_m(j, k);
                s * s * super::level::Offsets::cov_mm2(&self.levels, k, k) * 1e-6
            })
            .sum();
        Some(Known { value, sigma: by_offset.sqrt().hypot(0.02 * value) })
    }

    /// Brings the shares and their base up to now.
    pub(super) fn weigh(&mut self, setup: &Setup, scene: &Scene, health: &[Health], now_s: f64) {
        for j in 0..self.shares.len() {
            let on_pins = scene.towers[j].pins != Pins::None;
            let channel = self.loads.guard(j, health, on_pins);
            if self.shares[j].channel != channel && self.shares[j].channel.is_some() {
                self.loads.base_n[j] = None;
            }
            let expected = self.sums.planned_n(j) + self.beside_by_heights(j);
            let base = self.loads.base_n[j];
            let share = &mut self.shares[j];
            share.channel = channel;
            for k in 0..4 {
                let measured = channel.and_then(|c| self.loads.cell(c)).and_then(|cell| cell.mean(k)).map(|m| m.value);
                share.measured_n[k] = measured;
                share.beside_n[k] = measured.map(|m| m - expected);
                share.excess_n[k] = share.beside_n[k].zip(base).map(|(b, base)| b - base);
            }
        }
        self.follow_base(scene, now_s);
        self.total_excess = [0, 1, 2, 3].map(|k| self.shares.iter().map(|s| s.excess_n[k]).sum());
        self.find_extra(setup);
    }

    fn follow_base(&mut self, scene: &Scene, now_s: f64) {
        let dt = self.base_at_s.map_or(0.0, |t| now_s - t);
        self.base_at_s = Some(now_s);
        for j in 0..self.shares.len() {
            let Some(beside) = self.shares[j].beside_n[over::FIVE] else { continue };
            let cell = self.shares[j].channel.and_then(|c| self.loads.cell(c));
            let heard_s = cell.and_then(|cell| cell.begin_s(over::FIVE)).map_or(0.0, |t| now_s - t);
            let base = &mut self.loads.base_n[j];
            match (&mut *base, self.base) {
                // Before the truss hangs there is nothing to learn from.
                (None, _) if scene.step == Step::Rig || heard_s < 3.0 => {}
                (None, _) => *base = Some(beside),
                (Some(_), BaseRule::Held) => {}
                (Some(b), BaseRule::Follows(tau_s)) => *b += (beside - *b) * (1.0 - (-dt / tau_s).exp()),
            }
        }
    }

    /// The weight beside the plan that the 5 s means show, where it is beyond noise.
    fn find_extra(&mut self, setup: &Setup) {
        self.estimate.extra = None;
        let n = self.shares.len();
        let sigma = self.cell_sigma_n();
        let (mut force, mut mx, mut my) = (0.0, 0.0, 0.0);
        for j in 0..n {
            let Some(b) = self.shares[j].beside_n[over::FIVE] else { return };
            force += b;
            mx += b * self.sums.at[j][0];
            my += b * self.sums.at[j][1];
        }
        if force.abs() < 3.0 * sigma * (n as f64).sqrt() {
            return;
        }
        let place = [mx / force, my / force];
        let spread: f64 = self.sums.at.iter().map(|p| (p[0] - place[0]).powi(2) + (p[1] - place[1]).powi(2)).sum();
        self.estimate.extra = on_piece(setup, place).map(|(piece, x_m, off_m)| Extra {
            piece,
            position_m: Known { value: x_m, sigma: (sigma / force.abs() * spread.sqrt()).hypot(off_m) },
            force_n: Known { value: force, sigma: sigma * (n as f64).sqrt() },
        });
    }

    /// Standard deviation of a 5 s mean of one share, zero and span included, N.
    pub fn cell_sigma_n(&self) -> f64 {
        ZERO_N.hypot(SPAN * self.sums.total_n() / self.shares.len() as f64)
    }

    /// Lets the self-held patterns of the shares tell of the level.
    pub(super) fn use_patterns(&mut self, setup: &Setup, scene: &Scene, now_s: f64) {
        if self.sums.self_held.is_empty() || now_s < self.pattern_due_s || scene.step == Step::Rig {
            return;
        }
        self.pattern_due_s = now_s + PATTERN_EVERY_S;
        let total = self.sums.total_n();
        // Something hangs or holds: its own pattern of shares is not yet told from that of offsets.
        let foreign = self.total_excess[over::ONE].is_some_and(|e| e.abs() > 0.05 * total);
        if foreign || self.shares.iter().any(|s| s.measured_n[over::FAST].is_none()) {
            return;
        }
        // The truss must hang: on trestles the shares tell nothing of the level.
        let carried: f64 = self.shares.iter().filter_map(|s| s.measured_n[over::FAST]).sum();
        if carried < 0.7 * total {
            return;
        }
        self.patterns_n.clear();
        self.patterns_n.extend(self.sums.self_held.iter().map(|u| {
            let beside = |j: usize| self.shares[j].measured_n[over::FAST].unwrap_or(0.0) - self.sums.planned_n(j);
            u.iter().enumerate().map(|(j, f)| f * beside(j)).sum::<f64>()
        }));
        self.levels.levelled(&self.sums, &self.patterns_n);
        let ripple_n2 = self.ripple_n2();
        // Half of a mean of 0.3 s, and the sample that the median of three is late by.
        let lag_s = 0.15 + self.shares.iter().filter_map(|s| s.channel).map(|c| setup.channels[c].period_s).fold(0.0, f64::max);
        for k in 0..self.patterns_n.len() {
            self.levels.pattern(&self.sums, k, self.patterns_n[k], ripple_n2, lag_s);
        }
    }
}

impl Estimator {
    /// Variance of one share by the ripple of cranks, N²: what ripples in the total and in the moments, which no head can change.
    fn ripple_n2(&self) -> f64 {
        let change = |j: usize| self.shares[j].measured_n[over::FAST].zip(self.shares[j].measured_n[over::ONE]).map_or(0.0, |(f, o)| f - o);
        let n = self.shares.len();
        let whole: f64 = (0..n).map(|j| change(j).powi(2)).sum();
        let held: f64 = self.sums.self_held.iter().map(|u| u.iter().enumerate().map(|(j, f)| f * change(j)).sum::<f64>().powi(2)).sum();
        (whole - held).max(0.0) / (n - self.sums.self_held.len()).max(1) as f64
    }
}

/// The nearest place on any piece: piece, metres from its `from` end, and how far off it the place lies.
pub fn on_piece(setup: &Setup, place: [f64; 2]) -> Option<(usize, f64, f64)> {
    let mut best: Option<(usize, f64, f64)> = None;
    for (i, p) in setup.plan.pieces.iter().enumerate() {
        let length = p.length().0.max(1e-9);
        let along = [(p.to[0].0 - p.from[0].0) / length, (p.to[1].0 - p.from[1].0) / length];
        let d = [place[0] - p.from[0].0, place[1] - p.from[1].0];
        let x = (d[0] * along[0] + d[1] * along[1]).clamp(0.0, length);
        let off = (d[0] - x * along[0]).hypot(d[1] - x * along[1]);
        if best.is_none_or(|b| off < b.2) {
            best = Some((i, x, off));
        }
    }
    best
}
