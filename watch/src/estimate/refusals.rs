//! Readings that the filter refused: a box that was moved on its seat, or a truss that really jumped.

use super::Estimator;
use super::tilt::over;
use crate::health::Health;
use crate::setup::Setup;

/// A refusal shorter than this is a spike, s.
const SPIKE_S: f64 = 0.25;
/// A box that alone says something else for so long was moved, s.
const ALONE_S: f64 = 1.0;
/// No crank and no foot moves a head that fast: further off than this, with no blow on any cell, the box moved, rad (0.3 deg).
const JUMP: f64 = 0.3 * std::f64::consts::PI / 180.0;

impl Estimator {
    /// Decides on every box whose readings are refused.
    pub(super) fn settle_refusals(&mut self, setup: &Setup, health: &[Health], now_s: f64) {
        let blow = self.blow(now_s);
        let mut believe = false;
        for c in 0..setup.channels.len() {
            let Some((since, _)) = self.refused(c) else { continue };
            let lasted = now_s - since;
            if lasted < SPIKE_S || !health[c].usable() {
                continue;
            }
            let twins = || (0..setup.channels.len()).filter(|&d| d != c && self.is_twin(setup, health, c, d, now_s));
            let calm = twins().filter(|&d| self.refused(d).is_none()).count();
            let off = self.levels.tilts[c].as_ref().map_or(0.0, |t| t.refused_by.abs());
            if calm > 0 && setup.plan.towers.len() > 2 {
                // One head can move alone: what lasts and is small is believed, what is past any crank is not.
                if lasted >= ALONE_S && off > 2.0 * JUMP && !blow {
                    self.jump(c);
                } else if lasted >= ALONE_S && off <= 2.0 * JUMP {
                    believe = true;
                }
            } else if calm > 0 {
                if lasted >= ALONE_S && off > JUMP * 0.7 {
                    self.jump(c);
                }
            } else if (twins().count() > 0 && lasted >= 2.0 * SPIKE_S) || blow || (lasted >= ALONE_S && off <= JUMP) {
                believe = true;
            } else if lasted >= ALONE_S {
                self.jump(c);
            }
        }
        if believe {
            self.levels.doubt();
            for tilt in self.levels.tilts.iter_mut().flatten() {
                tilt.refused_since = None;
            }
        }
        self.compare_twins(setup, health, now_s);
    }

    fn refused(&self, c: usize) -> Option<(f64, f64)> {
        self.levels.tilts[c].as_ref().filter(|t| !t.jumped).and_then(|t| t.refused_since)
    }

    fn jump(&mut self, c: usize) {
        if let Some(tilt) = &mut self.levels.tilts[c] {
            tilt.jumped = true;
            tilt.refused_since = None;
        }
    }

    /// Another box on the same piece that speaks and is believed.
    fn is_twin(&self, setup: &Setup, health: &[Health], c: usize, d: usize, now_s: f64) -> bool {
        setup.channels[d].channel == setup.channels[c].channel
            && setup.channels[d].piece == setup.channels[c].piece
            && health[d].usable()
            && !self.jumped(d)
            && self.heard[d].is_some_and(|t| now_s - t < 1.0)
    }

    /// Whether any cell took a blow within the last second: up by a third of its share, or down by as much.
    pub fn blow(&self, now_s: f64) -> bool {
        (0..self.shares.len()).any(|j| {
            let Some(cell) = self.shares[j].channel.and_then(|c| self.loads.cell(c)) else { return false };
            let Some(before) = cell.mean(super::loads::over::BEFORE) else { return false };
            let third = 0.3 * before.value.abs() + 30.0;
            let up = cell.peak.0 - before.value > third && now_s - cell.peak.1 < 1.0;
            let down = before.value - cell.dip.0 > third && now_s - cell.dip.1 < 1.0;
            up || down
        })
    }

    /// A step of one box against its twin over two seconds that the filter had not refused (a small knock).
    fn compare_twins(&mut self, setup: &Setup, health: &[Health], now_s: f64) {
        // On three and more towers two boxes of a piece need not turn alike.
        if setup.plan.towers.len() > 2 {
            return;
        }
        for c in 0..setup.channels.len() {
            if self.levels.tilts[c].is_none() || self.jumped(c) || !health[c].usable() {
                continue;
            }
            let Some(own) = self.change(c) else { continue };
            let twin = (0..setup.channels.len()).find(|&d| d != c && self.is_twin(setup, health, c, d, now_s));
            let Some(other) = twin.and_then(|d| self.change(d)) else { continue };
            // The other stood still: this one moved by itself.
            // A step within what the box swings is no step.
            let swing = self.levels.tilts[c].as_ref().map_or(0.0, |t| t.swing().sqrt());
            if own.abs() > JUMP.max(1.5 * swing) && other.abs() < 0.3 * JUMP && self.changed_at_once(c) {
                self.jump(c);
                self.levels.doubt();
            }
        }
    }

    /// Change of a box's one-second mean within about two seconds, rad.
    fn change(&self, c: usize) -> Option<f64> {
        let trace = &self.levels.tilts[c].as_ref()?.trace;
        let (now, before) = (trace.mean(over::ONE)?, trace.mean(over::BEFORE)?);
        (now.count >= 4 && before.count >= 4).then_some(now.value - before.value)
    }

    /// Whether most of the change came between two samples: a knock, not a ramp.
    fn changed_at_once(&self, c: usize) -> bool {
        let Some(tilt) = &self.levels.tilts[c] else { return false };
        let mut largest: f64 = 0.0;
        let mut last: Option<f64> = None;
        for (_, v) in tilt.trace.newest(60) {
            if let Some(l) = last {
                largest = largest.max((l - v).abs());
            }
            last = Some(v);
        }
        largest > (0.8 * JUMP).max(6.0 * tilt.white.sqrt())
    }
}
