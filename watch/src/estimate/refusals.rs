//! Readings that the filter refused: a box that was moved on its seat, or a truss that really jumped.

use super::Estimator;
use super::tilt::over;
use crate::health::Health;
use crate::setup::Setup;

/// A refusal shorter than this is a spike, s.
const SPIKE_S: f64 = 0.25;
/// And so are fewer than this in a row: a node that speaks every other second has one in a night by chance.
const SPIKES: usize = 3;
/// A box that alone says something else for so long was moved, s.
const ALONE_S: f64 = 1.0;
/// No crank and no foot moves a head that fast: further off than this, with no blow on any cell, the box moved, rad (0.3 deg).
const JUMP: f64 = 0.3 * std::f64::consts::PI / 180.0;

/// A box moved by so many times what its means waver, and so long, s, was moved on its seat…
const BEYOND: f64 = 5.0;
const STEP_S: f64 = 0.05;
/// …by the means of these stretches (new, old), past so many times its swing: a hand that rests on its handle for a second leans as
/// hard as it cranked, the root of two of the swing, and sway adds to it; over two seconds half of it is left…
const LOOKS: [(usize, usize, f64); 2] = [(over::ONE, over::BEFORE, 1.9), (over::TWO, over::EARLIER, 1.15)];
/// …where its twin did not go with it by this part…
const ALIKE: f64 = 0.5;
/// …where its new mean is sure by so many standard errors: a box that all of a sudden is shaken has not been moved…
const CALM: f64 = 3.0;
/// …and where most of it came within this, s.
const AT_ONCE_S: f64 = 0.3;

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
        self.levels.tilts[c].as_ref().filter(|t| !t.jumped && t.refused >= SPIKES).and_then(|t| t.refused_since)
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
            // Of a box without a zero changes mean as much as of any other.
            && health[d].live
            && health[d].trusted
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

    /// A step of one box against its twin, or against all others, that the filter had not refused (a small knock).
    fn compare_twins(&mut self, setup: &Setup, health: &[Health], now_s: f64) {
        for c in 0..setup.channels.len() {
            if self.levels.tilts[c].is_none() || self.jumped(c) || !health[c].usable() {
                continue;
            }
            // On three and more towers two boxes of a piece need not turn alike.
            let steps = if setup.plan.towers.len() > 2 {
                self.stepped_among_others(setup, health, c, now_s)
            } else {
                let twin = (0..setup.channels.len()).find(|&d| d != c && self.is_twin(setup, health, c, d, now_s));
                twin.is_some_and(|twin| (0..LOOKS.len()).any(|look| self.stepped_alone(c, twin, look, now_s)))
            };
            if steps {
                self.jump(c);
                self.levels.doubt();
            }
        }
    }

    /// Three and more towers: whether a box has stepped further than any crank goes in the time, and neither another box nor the
    /// shares went with it.
    fn stepped_among_others(&mut self, setup: &Setup, health: &[Health], c: usize, now_s: f64) -> bool {
        let (new, old, swings) = LOOKS[0];
        let Some(own) = self.change(c, new, old) else { return false };
        let heard = |d: usize| d != c && health[d].usable() && !self.jumped(d) && self.heard[d].is_some_and(|t| now_s - t < 1.0);
        let others = (0..setup.channels.len()).filter(|&d| heard(d)).filter_map(|d| self.change(d, new, old));
        let alone = others.map(f64::abs).reduce(f64::max).is_some_and(|most| most < ALIKE * own.abs());
        let far = alone && own.abs() > 2.0 * JUMP && !self.blow(now_s);
        let by_itself = if far { self.beside_shares(c, own).unwrap_or(0.0) } else { 0.0 };
        let Some(tilt) = &mut self.levels.tilts[c] else { return false };
        let least = (2.0 * JUMP).max(BEYOND * tilt.steps[0].wavers(now_s, own)).max(swings * tilt.swung);
        let steps =
            by_itself > least && self.is_calm(c, new, own) && self.at_once(c, own) > JUMP + self.levels.reach_rad(&self.sums, c, AT_ONCE_S);
        self.levels.tilts[c].as_mut().is_some_and(|tilt| tilt.steps[0].held.see(steps, now_s) >= STEP_S)
    }

    /// How much of a box's turn, rad, is left where the head moved that the shares say, whichever head that may be. `None` where a
    /// share is not measured.
    fn beside_shares(&self, c: usize, turned: f64) -> Option<f64> {
        let n = self.shares.len();
        let change = |j: usize| {
            let cell = self.shares[j].channel.and_then(|cell| self.loads.cell(cell))?;
            Some(cell.mean(super::loads::over::ONE)?.value - cell.mean(super::loads::over::BEFORE)?.value)
        };
        let mut least: Option<f64> = None;
        for k in (0..n).filter(|&k| self.sums.slopes[c].1[k].abs() > 1e-6) {
            let (mut with, mut own) = (0.0, 0.0);
            for j in 0..n {
                let row = self.sums.stiffness_n_per_m(j, k);
                with += row * change(j)?;
                own += row * row;
            }
            let left = turned - self.sums.slopes[c].1[k] * with / own.max(1.0);
            least = Some(least.map_or(left.abs(), |l| l.min(left.abs())));
        }
        least
    }

    /// Whether a box has stepped away from its twin, by one of [`LOOKS`].
    fn stepped_alone(&mut self, c: usize, twin: usize, look: usize, now_s: f64) -> bool {
        let (new, old, swings) = LOOKS[look];
        let Some((own, other)) = self.change(c, new, old).zip(self.change(twin, new, old)) else { return false };
        let Some(tilt) = &mut self.levels.tilts[c] else { return false };
        // Heads and the sway of the whole move both alike. What the two differ by every day, or a box swings, is no step.
        let apart = own - other;
        let least = JUMP.max(BEYOND * tilt.steps[look].wavers(now_s, apart)).max(swings * tilt.swung);
        let far = own.abs().min(apart.abs()) > least && other * own.signum() < ALIKE * own.abs();
        let steps = far && self.changed_at_once(c, own) && self.is_calm(c, new, own);
        self.levels.tilts[c].as_mut().is_some_and(|tilt| tilt.steps[look].held.see(steps, now_s) >= STEP_S)
    }

    /// Whether the mean of this stretch is sure enough to bear a change of so much.
    fn is_calm(&self, c: usize, stretch: usize, change: f64) -> bool {
        let mean = self.levels.tilts[c].as_ref().and_then(|tilt| tilt.trace.mean(stretch));
        mean.is_some_and(|m| change.abs() > CALM * m.spread / (m.count as f64).sqrt())
    }

    /// Change of a box's mean from one stretch ([`over`]) to another, rad.
    pub fn change(&self, c: usize, new: usize, old: usize) -> Option<f64> {
        let trace = &self.levels.tilts[c].as_ref()?.trace;
        let (now, before) = (trace.mean(new)?, trace.mean(old)?);
        (now.count >= 4 && before.count >= 4).then_some(now.value - before.value)
    }

    /// Whether most of the change came within 0.3 s: a knock, not a ramp.
    pub fn changed_at_once(&self, c: usize, change: f64) -> bool {
        self.at_once(c, change) > 0.6 * change.abs()
    }

    /// The most that a box has turned the way of this change within 0.3 s, of the last 4.5 s, rad.
    fn at_once(&self, c: usize, change: f64) -> f64 {
        let Some(tilt) = &self.levels.tilts[c] else { return 0.0 };
        // The samples that came just after the one looked at, newest first; a slower node has only its neighbour.
        let mut later = [(f64::NAN, 0.0); 8];
        let mut largest: f64 = 0.0;
        let mut newest_s = None;
        for (n, (t_s, value)) in tilt.trace.newest(200).enumerate() {
            if *newest_s.get_or_insert(t_s) - t_s > 4.5 {
                break;
            }
            let neighbour = n.wrapping_sub(1) % later.len();
            for (k, (late_s, late)) in later.iter().enumerate() {
                if n > 0 && (late_s - t_s <= AT_ONCE_S || k == neighbour) {
                    largest = largest.max((late - value) * change.signum());
                }
            }
            later[n % 8] = (t_s, value);
        }
        largest
    }
}
