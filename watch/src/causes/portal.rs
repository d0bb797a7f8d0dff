//! `portal`: the truss draws its masts together or pushes them apart: the plumb of both changes, in opposite ways.
//!
//! A truss clamped in both cradles is shorter seen from above when it is raked (L(1 − cos t): 8 mm at 3 degrees on 6 m, docs/trade.md
//! section 2, row 63), and a strap between two heads does the same. A foot that sinks tips its own mast alone; a floor that tilts, and
//! sway, tip both the same way.

use super::lean::Changed;
use super::scope::Scope;
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::level::Layout;
use crate::estimate::watched::{MEAN_S, Straight, half_seconds, straight};
use raisewatch_protocol::words::{Kind, Severity, Step};

/// Change of plumb of each mast, deg: docs/trade.md section 2, row 63 (and section 4, mast plumb change under load).
const STOP_DEG: f64 = 0.3;
/// It clears below this part of it.
const CLEAR: f64 = 0.6;
/// The two changes are alike to within this part of the larger: what draws at two heads of one height draws alike, while two feet
/// that give way hardly do so alike.
const ALIKE: f64 = 0.5;
/// From this part of the limit on it is looked at where both masts stand now, not where they stood in the middle of their mean.
const LOOKED_AT: f64 = 0.4;
/// A straight line goes through so many means of half a second: both masts sway together, so that it is taken through what they lean
/// towards each other.
const MEANS: usize = 10;
/// A mean that has reached the limit is at it until it is below this part: what is drawn wavers with the cranks.
const STAYS: f64 = 0.9;
/// The rate counts less this part of its standard error: what only seems to go on is no portal yet.
const DOUBT: f64 = 0.5;
/// The same where the plan is raised by counted turns: a mast leans with the handle for as long as a part of a turn lasts.
const DOUBT_COUNTED: f64 = 0.7;

/// Memory of masts that are drawn.
#[derive(Clone, Debug, Default)]
pub struct PortalCauses {
    /// Every two towers.
    pairs: Vec<(usize, usize)>,
    /// The two of which it is told, until they stand apart again.
    told: Option<(usize, usize)>,
    /// Whether the plan is raised by counted turns.
    counted: Option<bool>,
}

/// Two masts, and how they lean towards each other.
#[derive(Clone, Copy, Debug)]
struct Drawn {
    near: usize,
    far: usize,
    /// Their changes of plumb towards each other are opposite and alike.
    opposite: bool,
    /// Their mean, deg; now, not 2.5 s ago.
    mean: Known,
}

/// A mast towards another: by which boxes, each with the part of its change that counts.
#[derive(Clone, Copy, Debug)]
struct Toward {
    boxes: [Option<(Changed, f64)>; 2],
    change: Known,
}

impl PortalCauses {
    /// For so many towers: of three on one clamped truss the outer two are drawn most, on a ring those across, and a strap may hold
    /// any two heads.
    pub fn new(towers: usize) -> Self {
        PortalCauses { pairs: (0..towers).flat_map(|j| (j + 1..towers).map(move |k| (j, k))).collect(), ..Self::default() }
    }

    /// Adds masts that are drawn together or pushed apart: the two that are most.
    pub fn judge(&mut self, scope: &Scope, changed: &[[Option<Changed>; 2]], found: &mut Vec<Condition>) {
        if matches!(scope.scene.step, Step::Rig | Step::Strike) {
            self.told = None;
            return;
        }
        let counted = *self.counted.get_or_insert_with(|| scope.est.sums().counted(scope.setup));
        let turns = counted && scope.scene.guarded_as_moving();
        let doubt = match scope.est.sums().layout {
            // On a ring every mast sways for itself: nothing is carried on while hands turn it.
            Layout::Ring if turns => f64::INFINITY,
            _ if turns => DOUBT_COUNTED,
            _ => DOUBT,
        };
        let drawn = |j: usize, k: usize| drawn(scope, changed, doubt, j, k);
        let all = || self.pairs.iter().filter_map(|&(j, k)| drawn(j, k));
        let most = all().max_by(|a, b| a.opposite.cmp(&b.opposite).then(a.mean.value.abs().total_cmp(&b.mean.value.abs())));
        // It keeps the two towers of which it was told.
        let kept = self.told.and_then(|(j, k)| drawn(j, k));
        let Some(most) = kept.or(most) else { return };
        let limit = if self.told.is_some() { STAYS * STOP_DEG } else { STOP_DEG };
        let portal = told(scope, &most, limit);
        if portal.stands != Stands::Clear {
            hold_leans(scope, changed, &most, &portal, found);
        }
        self.told = match portal.stands {
            Stands::At(_) => Some((most.near, most.far)),
            Stands::Clear => None,
            _ => self.told,
        };
        found.push(portal);
    }
}

/// Masts that lean as these two do are one cause: their lean waits as long as it is a warn, and once the portal is told up to what is
/// never to be exceeded.
fn hold_leans(scope: &Scope, changed: &[[Option<Changed>; 2]], most: &Drawn, portal: &Condition, found: &mut [Condition]) {
    let never = scope.rows().lean_deg.and_then(|p| p.never_exceed).unwrap_or(f64::INFINITY);
    let told = portal.stands == Stands::At(Severity::Stop);
    for lean in found.iter_mut().filter(|c| c.kind == Kind::Lean) {
        let Some(j) = lean.tower else { continue };
        let other = if j == most.near { most.far } else { most.near };
        let along = toward(scope, changed, j, other).map_or(0.0, |t| t.change.value * most.mean.value.signum());
        let own = j == most.near || j == most.far;
        let waits = match lean.stands {
            Stands::At(Severity::Stop) => told && lean.amount.is_some_and(|a| a.value.abs() < never),
            Stands::At(_) => true,
            _ => false,
        };
        if waits && (own || told && along.abs() >= CLEAR * STOP_DEG) {
            lean.stands = Stands::Within;
        }
    }
}

/// How the mast of `j` has come to lean towards `k`, deg.
fn toward(scope: &Scope, changed: &[[Option<Changed>; 2]], j: usize, k: usize) -> Option<Toward> {
    let at = &scope.est.sums().at;
    let apart = scope.apart_m(j, k).max(1e-9);
    let way = [(at[k][0] - at[j][0]) / apart, (at[k][1] - at[j][1]) / apart];
    let piece = &scope.setup.plan.pieces[scope.setup.plan.towers[j].piece];
    let length = piece.length().0.max(1e-9);
    let (c, s) = ((piece.to[0].0 - piece.from[0].0) / length, (piece.to[1].0 - piece.from[1].0) / length);
    // Left of someone looking along a piece is its y.
    let parts = [way[0] * c + way[1] * s, way[1] * c - way[0] * s];
    let mut toward = Toward { boxes: [None; 2], change: Known { value: 0.0, sigma: 0.0 } };
    for (axis, part) in parts.into_iter().enumerate().filter(|p| p.1.abs() > 0.1) {
        let own = changed.get(j)?[axis]?;
        toward.boxes[axis] = Some((own, part));
        toward.change.value += part * own.change.value;
        toward.change.sigma = toward.change.sigma.hypot(part * own.change.sigma);
    }
    Some(toward)
}

fn drawn(scope: &Scope, changed: &[[Option<Changed>; 2]], doubt: f64, near: usize, far: usize) -> Option<Drawn> {
    let (a, b) = (toward(scope, changed, near, far)?, toward(scope, changed, far, near)?);
    let (value, other) = (a.change.value, b.change.value);
    let (less, more) = (value.abs().min(other.abs()), value.abs().max(other.abs()));
    let opposite = value * other > 0.0 && less >= ALIKE * more;
    let slow = Known { value: (value + other) / 2.0, sigma: a.change.sigma.hypot(b.change.sigma) / 2.0 };
    let mean = if opposite && slow.value.abs() >= LOOKED_AT * STOP_DEG { now(scope, doubt, &a, &b, slow) } else { slow };
    Some(Drawn { near, far, opposite, mean })
}

/// Where two masts that are being drawn stand now, deg: their mean, carried on to now by the rate of its 5 s.
fn now(scope: &Scope, doubt: f64, a: &Toward, b: &Toward, slow: Known) -> Known {
    let mut points = [0.0; MEANS];
    for (own, part) in a.boxes.iter().chain(&b.boxes).flatten() {
        let means: [_; MEANS] = half_seconds(scope.est.watched(own.channel), scope.now_s());
        for (point, mean) in points.iter_mut().zip(means) {
            let Some(mean) = mean else { return slow };
            *point += part * (mean - own.plumb).to_degrees() / 2.0;
        }
    }
    let Straight { mean, rate, error } = straight(&points);
    let grows = (rate * mean.signum() - doubt * error).max(0.0);
    let carried = grows * MEAN_S * MEANS as f64 / 2.0;
    Known { value: mean + carried.copysign(mean), sigma: slow.sigma }
}

fn told(scope: &Scope, most: &Drawn, limit: f64) -> Condition {
    let Known { value, sigma } = most.mean;
    let stands = match value.abs() {
        m if most.opposite && m >= limit && m > 3.0 * sigma => Stands::At(Severity::Stop),
        m if !most.opposite || m < CLEAR * STOP_DEG => Stands::Clear,
        _ => Stands::Within,
    };
    Condition {
        tower: Some(most.near),
        piece: Some(scope.setup.plan.towers[most.near].piece),
        amount: Some(most.mean),
        unit: Unit::Deg,
        limit: Some(STOP_DEG),
        stands,
        ..Condition::of(Kind::Portal)
    }
}

#[cfg(test)]
mod tests {
    use super::super::series::*;
    use super::*;
    use raisewatch_protocol::words::Channel;

    fn leaning(a_deg: f64, b_deg: f64) -> Series {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &["truss-along", "head-load", "mast-along"]), 7);
        s.run(10.0, STANDING, |_| Truth::level(2));
        s.step(Step::Raise);
        s.run(20.0, STANDING, |t| {
            let by = |deg: f64| deg.to_radians() * (t / 6.0).min(1.0);
            Truth { wrong: vec![(0, Channel::MastAlong, by(a_deg)), (1, Channel::MastAlong, by(b_deg))], ..Truth::level(2) }
        });
        s
    }

    #[test]
    fn masts_that_change_in_opposite_ways_are_a_portal_and_no_lean() {
        for (a, b) in [(0.42, -0.42), (-0.4, 0.4), (0.5, -0.35)] {
            let s = leaning(a, b);
            let told = s.first(Kind::Portal).unwrap_or_else(|| panic!("{a} {b}"));
            assert_eq!((told.severity, told.condition.tower), (Severity::Stop, Some(0)));
            assert_eq!(told.condition.amount.map(|m| m.value > 0.0), Some(a > 0.0), "towards each other is positive");
            assert_eq!(s.first_at(Kind::Lean, Severity::Warn), None, "{a} {b}");
        }
    }

    #[test]
    fn one_foot_a_tilted_floor_and_little_are_no_portal() {
        for (a, b) in [(0.0, -0.5), (0.45, 0.45), (0.2, -0.2), (0.5, -0.1)] {
            assert_eq!(leaning(a, b).first(Kind::Portal), None, "{a} {b}");
        }
    }
}
