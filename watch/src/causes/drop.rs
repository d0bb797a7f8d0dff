//! `dropped`: a head fell. A blow on a cell and a step of the level that stays (or a slack rope that has caught): within half a
//! second, and far below any limit of rake. A bump has no blow or comes back; a landing on pins has no blow.

use super::scope::{Held, Scope};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::over as load_over;
use crate::estimate::tilt::over;
use raisewatch_protocol::words::{Channel, Kind, Severity};

/// The least step of a head that counts, mm: pin clearance is 5 to 10 mm (docs/trade.md section 1.8).
const STEP_MM: f64 = 7.0;
/// A blow counts when a cell goes past its share by this part of it.
const BLOW: f64 = 0.3;
/// A told drop stands until the level line has been whole for so long, s.
const STANDS_S: f64 = 3.0;

/// Memory of drops.
#[derive(Clone, Debug, Default)]
pub struct DropCauses {
    told: Option<(usize, Known, f64)>,
    seen: Held,
}

impl DropCauses {
    /// Adds a head that fell. Gives whether one has.
    pub fn judge(&mut self, scope: &Scope, found: &mut Vec<Condition>) -> bool {
        let now_s = scope.now_s();
        let fallen = if scope.hangs() { self.fallen(scope) } else { None };
        let lasted = self.seen.see(fallen.is_some(), now_s);
        if let Some((j, step)) = fallen.filter(|_| lasted >= 0.04) {
            match self.told {
                // The same fall: its step grows as the mean closes on it.
                Some((was, _, at)) if now_s - at < 2.0 => self.told = Some((was, step, at)),
                _ => self.told = Some((j, step, now_s)),
            }
        }
        let Some((j, step, at)) = self.told else { return false };
        if now_s - at > STANDS_S {
            self.told = None;
            return false;
        }
        found.push(Condition {
            tower: Some(j),
            piece: Some(scope.setup.plan.towers[j].piece),
            amount: Some(Known { value: -step.value.abs(), sigma: step.sigma }),
            unit: Unit::Mm,
            limit: Some(-STEP_MM),
            stands: Stands::At(Severity::Stop),
            ..Condition::of(Kind::Dropped)
        });
        true
    }

    fn fallen(&self, scope: &Scope) -> Option<(usize, Known)> {
        let (hit, caught) = self.blow(scope)?;
        let (low, step) = self.step(scope)?;
        // The step must be no chance, and no smaller than a pin's clearance.
        let sure = step.value.abs() >= STEP_MM && step.value.abs() > 4.0 * step.sigma;
        let rope = caught.is_some_and(|j| j == low) && step.value.abs() > 3.0 * step.sigma && step.value.abs() > 0.6 * STEP_MM;
        (sure || rope).then_some(()).map(|()| (caught.unwrap_or(if scope.towers() == 2 { low } else { hit }), step))
    }

    /// The cell that took the hardest blow within 0.6 s, and the tower whose slack rope has caught.
    fn blow(&self, scope: &Scope) -> Option<(usize, Option<usize>)> {
        let now_s = scope.now_s();
        let mut hardest: Option<(usize, f64)> = None;
        let mut caught = None;
        for j in 0..scope.towers() {
            let cell = |c: Option<usize>| c.filter(|&c| scope.health[c].usable()).and_then(|c| scope.est.loads().cell(c));
            if let Some(head) = cell(scope.est.loads().head[j])
                && let Some(before) = head.mean(load_over::BEFORE)
            {
                // A blow comes between two samples; what is cranked, caught or settles takes longer.
                let past = head.jolt.0 / before.value.abs().max(50.0);
                let when = head.jolt.1;
                if past > BLOW && now_s - when < 0.6 && hardest.is_none_or(|(_, p)| past > p) {
                    hardest = Some((j, past));
                }
            }
            if let Some(rope) = cell(scope.est.loads().rope[j])
                && let Some(before) = rope.mean(load_over::BEFORE)
            {
                let share = scope.est.sums().planned_n(j).abs().max(50.0);
                if before.value < 0.2 * share && rope.peak.0 > 0.6 * share && now_s - rope.peak.1 < 0.6 {
                    caught = Some(j);
                    hardest = hardest.or(Some((j, 1.0)));
                }
            }
        }
        hardest.map(|(j, _)| (j, caught))
    }

    /// Step of the level within the last second: two towers, by all boxes; more, by the box at the tower that was hit most.
    fn step(&self, scope: &Scope) -> Option<(usize, Known)> {
        let mut best: Option<(usize, Known)> = None;
        let (mut sum, mut weight) = (0.0, 0.0);
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            if seat.channel != Channel::TrussAlong || !scope.health[c].usable() || scope.est.jumped(c) {
                continue;
            }
            let Some(tilt) = scope.est.tilt(c) else { continue };
            let (Some(now), Some(stood)) = (tilt.trace.mean(over::FAST), tilt.trace.mean(over::STOOD)) else { continue };
            if now.count < 3 || stood.count < 3 {
                continue;
            }
            let change = now.value - stood.value;
            // What swings is not averaged out in 0.3 s.
            let sigma = stood.spread.hypot(now.spread.min(stood.spread) / (now.count as f64).sqrt());
            let row = &scope.est.sums().slopes[c].1;
            let steepest = (0..row.len()).max_by(|&a, &b| row[a].abs().total_cmp(&row[b].abs()))?;
            if scope.towers() == 2 {
                // Slope by B alone, A standing.
                sum += change / row[1] / sigma.max(1e-5).powi(2);
                weight += sigma.max(1e-5).powi(-2) * 1.0;
                let rise = sum / weight;
                let spread = (1.0 / weight).sqrt() / row[1].abs();
                best = Some((if rise > 0.0 { 0 } else { 1 }, Known { value: rise * 1e3, sigma: spread * 1e3 }));
            } else {
                let rise = change / row[steepest];
                let step = Known { value: rise * 1e3, sigma: sigma / row[steepest].abs() * 1e3 };
                let low = if rise < 0.0 {
                    steepest
                } else {
                    (0..row.len()).filter(|&j| j != steepest).max_by(|&a, &b| row[a].abs().total_cmp(&row[b].abs()))?
                };
                if best.is_none_or(|(_, b)| step.value.abs() / step.sigma > b.value.abs() / b.sigma) {
                    best = Some((low, step));
                }
            }
        }
        best
    }
}
