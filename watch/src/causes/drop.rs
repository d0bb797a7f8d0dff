//! `dropped`: a head fell. A blow on a cell and a step of the level that stays, or a slack rope that catches in one blow: within
//! half a second, and far below any limit of rake. A bump has no blow or comes back; a landing on pins has no blow.
//!
//! Three and more towers: the cells name the head that fell, by the pattern of shares that its fall must leave, the total as it was.
//! Cells too slow to feel the blow: standing, where nobody cranks, a step of all boxes alike that stays is a fall.

use super::fell::{self, Seen};
use super::scope::{Held, Scope};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::over as load_over;
use crate::estimate::tilt::Step as Wavers;
use crate::estimate::tilt::over;
use crate::estimate::window::{Mean, Trace};
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// The least step of a head that counts, mm: pin clearance is 5 to 10 mm (docs/trade.md section 1.8).
const STEP_MM: f64 = 7.0;
/// A blow counts when a cell goes past its share by this part of it.
const BLOW: f64 = 0.3;
/// A rope that was slack and takes so much of the share at once has caught what fell: to take a load off its pins by hand needs 1.1.
const CATCH: f64 = 1.5;
/// Standing without a blow: the least step, mm, so many times what the level wavers, and so long, s.
const UNFELT_MM: f64 = 10.0;
const UNFELT: f64 = 6.0;
const UNFELT_S: f64 = 0.25;
/// A head that falls freely leaves less than this part of its share on its cell.
const WEIGHTLESS: f64 = 0.3;
/// A step that such a fall bears out is past so many standard deviations, else past four.
const BORNE_OUT: f64 = 2.0;
/// A box is calm where it spreads by less than this part of the step.
const CALM: f64 = 0.35;
/// After a fall it rings for seconds, about where it came to rest.
const RINGS: f64 = 0.75;
/// After `stand` heads settle for so long, s.
const SETTLED_S: f64 = 20.0;
/// Three and more: a blow and a step that shares and slopes give no name to are told without one after so long, s.
const NAMELESS_S: f64 = 0.35;
/// The first swing after a fall, s (docs/trade.md section 0: 3 to 5 Hz).
const FIRST_S: f64 = 0.2;
/// A told drop stands until the level line has been whole for so long, s.
const STANDS_S: f64 = 3.0;

/// Memory of drops.
#[derive(Clone, Debug, Default)]
pub struct DropCauses {
    told: Option<(Option<usize>, Option<Known>, f64)>,
    seen: Held,
    blown: Held,
    /// The hardest blow of the first moments: later ones are those of the ringing truss.
    struck: Option<usize>,
    wavers: Wavers,
    unfelt: Held,
}

impl DropCauses {
    /// Adds a head that fell. Gives whether one has. `hung`: a tower whose section hangs; what falls then is that one.
    pub fn judge(&mut self, scope: &Scope, hung: Option<usize>, found: &mut Vec<Condition>) -> bool {
        let now_s = scope.now_s();
        let fallen = if scope.hangs() { self.fallen(scope) } else { None };
        let fallen = match hung.filter(|_| scope.towers() > 2) {
            Some(j) => fallen.map(|(_, step)| (Some(j), step)),
            None => fallen,
        };
        let lasted = self.seen.see(fallen.is_some(), now_s);
        let unfelt = self.unfelt(scope);
        if let Some((j, step)) = fallen.filter(|f| lasted >= 0.04 || f.1.is_none()).or(unfelt) {
            match self.told {
                // The same fall: its step grows as the mean closes on it.
                Some((was, told, at)) if now_s - at < 2.0 => self.told = Some((was, step.or(told), at)),
                _ => self.told = Some((j, step, now_s)),
            }
        }
        let Some((tower, step, at)) = self.told else { return false };
        if now_s - at > STANDS_S {
            self.told = None;
            return false;
        }
        found.push(Condition {
            tower,
            piece: tower.map(|j| scope.setup.plan.towers[j].piece),
            amount: step.map(|s| Known { value: -s.value.abs(), sigma: s.sigma }),
            unit: Unit::Mm,
            limit: Some(-STEP_MM),
            stands: Stands::At(Severity::Stop),
            ..Condition::of(Kind::Dropped)
        });
        true
    }

    /// The head that fell, and by how much where that is known already.
    fn fallen(&mut self, scope: &Scope) -> Option<(Option<usize>, Option<Known>)> {
        let several = scope.towers() > 2;
        let freely = if several { None } else { fell_freely(scope) };
        if freely.is_some() && !boxes(scope) {
            return Some((freely, None));
        }
        let blow = self.blow(scope);
        let blown_s = self.blown.see(blow.is_some(), scope.now_s());
        let (hit, caught) = blow?;
        let struck = self.struck.filter(|_| blown_s > FIRST_S).unwrap_or(hit);
        self.struck = Some(struck);
        let sure = |s: &Known| s.value.abs() >= STEP_MM && s.value.abs() > 4.0 * s.sigma;
        if let Some(j) = caught.filter(|c| c.1 >= CATCH).map(|c| c.0) {
            return Some((Some(j), self.step(scope).filter(|(_, s)| sure(s)).map(|s| s.1)));
        }
        match several.then(|| fell::seen(scope, struck)).flatten() {
            Some(Seen::Fell(j, by)) if j.is_some() || blown_s >= NAMELESS_S => return Some((j, Some(by))),
            Some(Seen::StaysBehind) => return None,
            _ => {}
        }
        let (low, step) = self.step(scope)?;
        // The step must be no chance, and no smaller than a pin's clearance.
        let rope = caught.is_some_and(|c| c.0 == low) && step.value.abs() > 3.0 * step.sigma && step.value.abs() > 0.6 * STEP_MM;
        let borne_out = freely == Some(low) && step.value.abs() >= STEP_MM && step.value.abs() > BORNE_OUT * step.sigma;
        let fell = sure(&step) || rope || borne_out;
        match caught {
            Some((j, _)) if fell => Some((Some(j), Some(step))),
            None if fell && !several => Some((Some(low), Some(step))),
            None if fell && blown_s >= NAMELESS_S => Some((None, Some(step))),
            _ => None,
        }
    }

    /// Standing on two towers: a step of all boxes alike that stays, without a blow that a cell was quick enough to feel.
    fn unfelt(&mut self, scope: &Scope) -> Option<(Option<usize>, Option<Known>)> {
        let now_s = scope.now_s();
        let settled = scope.scene.step == Step::Stand && now_s - scope.scene.since.s() > SETTLED_S;
        let rise = if settled && scope.towers() == 2 { all_alike(scope) } else { None };
        let Some(rise) = rise else {
            self.unfelt.see(false, now_s);
            return None;
        };
        let sigma = self.wavers.wavers(now_s, rise);
        let far = rise.abs() * 1e3 > UNFELT_MM && rise.abs() > UNFELT * sigma;
        if self.unfelt.see(far, now_s) < UNFELT_S {
            return None;
        }
        Some((Some(usize::from(rise < 0.0)), Some(Known { value: rise * 1e3, sigma: sigma * 1e3 })))
    }

    /// The cell that took the hardest blow within 0.6 s, and the tower whose slack rope has caught.
    fn blow(&self, scope: &Scope) -> Option<(usize, Option<(usize, f64)>)> {
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
                if past > BLOW && now_s - when < head.fades_s && hardest.is_none_or(|(_, p)| past > p) {
                    hardest = Some((j, past));
                }
            }
            if let Some(rope) = cell(scope.est.loads().rope[j])
                && let Some(before) = rope.mean(load_over::BEFORE)
            {
                let share = scope.est.sums().planned_n(j).abs().max(50.0);
                let at_once = rope.jolt.0 > 0.6 * share && now_s - rope.jolt.1 < 0.6;
                if before.value < 0.2 * share && rope.peak.0 > 0.6 * share && now_s - rope.peak.1 < 0.6 {
                    caught = Some((j, if at_once { rope.peak.0 / share } else { 0.0 }));
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
            let Some((now, stood)) = stepped(&tilt.trace) else { continue };
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

/// Means of a box since it may have fallen and before: over 0.3 s, or where it speaks too slowly for that over as long as three readings
/// take, if it has not come back meanwhile.
fn stepped(trace: &Trace) -> Option<(Mean, Mean)> {
    let enough = |m: &Mean| m.count >= 3;
    let of = |k: usize| trace.mean(k).filter(enough);
    if let Some(now) = of(over::FAST) {
        return Some((now, of(over::STOOD)?));
    }
    let (now, stood) = (of(over::ONE).or_else(|| of(over::TWO))?, of(over::EARLIER)?);
    (now.spread < RINGS * (now.value - stood.value).abs()).then_some((now, stood))
}

/// Whether any box tells a step.
fn boxes(scope: &Scope) -> bool {
    let told = |c: usize| scope.setup.channels[c].channel == Channel::TrussAlong && scope.health[c].usable();
    (0..scope.setup.channels.len()).any(told)
}

/// The head whose cell lost its share and took far more than it the next moment, the others nothing like it: it fell freely and was
/// caught. Where no box tells a step that is enough; where they do, a step in which they swing still counts sooner.
fn fell_freely(scope: &Scope) -> Option<usize> {
    let swing = |j: usize| {
        let c = scope.est.loads().head[j].filter(|&c| scope.health[c].usable())?;
        let cell = scope.est.loads().cell(c)?;
        let before = cell.mean(load_over::BEFORE)?.value.max(50.0);
        let fresh = scope.now_s() - cell.dip.1 < 0.6 && scope.now_s() - cell.peak.1 < 0.6 && cell.dip.1 < cell.peak.1;
        Some(if fresh { (cell.dip.0 / before, cell.peak.0 / before) } else { (1.0, 1.0) })
    };
    let freely = |s: (f64, f64)| s.0 < WEIGHTLESS && s.1 > CATCH;
    (0..scope.towers()).find(|&j| {
        let others = || (0..scope.towers()).filter(|&k| k != j).filter_map(swing);
        swing(j).is_some_and(|own| freely(own) && others().all(|o| o.1 - o.0 < 0.5 * (own.1 - own.0)))
    })
}

/// How far B has risen over A by each box between 2.5 s ago and now, m, where all boxes say the same; one box alone does not count.
fn all_alike(scope: &Scope) -> Option<f64> {
    let (mut least, mut most, mut sum, mut count) = (f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0);
    for (c, seat) in scope.setup.channels.iter().enumerate() {
        if seat.channel != Channel::TrussAlong || !scope.health[c].usable() || scope.est.jumped(c) {
            continue;
        }
        let trace = &scope.est.tilt(c)?.trace;
        // What sways or swings is averaged out too badly to be held for a step.
        let (two, earlier) = (trace.mean(over::TWO)?, trace.mean(over::EARLIER)?);
        if two.count < 3 || earlier.count < 3 {
            return None;
        }
        let change = two.value - earlier.value;
        let calm = earlier.spread < CALM * change.abs() && two.spread < RINGS * change.abs();
        let rise = change / scope.est.sums().slopes[c].1[1];
        if !calm || rise.abs() * 1e3 > UNFELT_MM && !scope.est.changed_at_once(c, change) {
            return None;
        }
        least = rise.min(least);
        most = rise.max(most);
        sum += rise;
        count += 1.0;
    }
    (count > 1.5 && most - least < 0.5 * (sum / count).abs().max(2e-3)).then_some(sum / count)
}
