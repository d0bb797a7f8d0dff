//! `portal`: the truss draws its masts together or pushes them apart: the plumb of both changes, in opposite ways.
//!
//! A truss clamped in both cradles is shorter seen from above when it is raked (L(1 − cos t): 8 mm at 3 degrees on 6 m, docs/trade.md
//! section 2, row 63), and a strap between two heads does the same. A foot that sinks tips its own mast alone; a floor that tilts, and
//! sway, tip both the same way.

use super::scope::Scope;
use crate::condition::{Condition, Known, Stands, Unit};
use raisewatch_protocol::words::{Kind, Severity, Step};

/// Change of plumb of each mast, deg: docs/trade.md section 2, row 63 (and section 4, mast plumb change under load).
const STOP_DEG: f64 = 0.3;
/// It clears below this part of it.
const CLEAR: f64 = 0.6;
/// The two changes are alike to within this part of the larger: what draws at two heads of one height draws alike, while two feet
/// that give way hardly do so alike.
const ALIKE: f64 = 0.5;

/// Adds pairs of masts that are drawn together or pushed apart. `along`: by tower, the change of plumb along its piece, deg.
pub fn judge(scope: &Scope, along: &[Option<Known>], found: &mut Vec<Condition>) {
    if !matches!(scope.scene.step, Step::Rig | Step::Strike) {
        for (j, k) in neighbours(scope) {
            let Some((a, b)) = lean_towards(scope, along, j, k).zip(lean_towards(scope, along, k, j)) else { continue };
            let portal = told(j, scope, a, b);
            if portal.stands != Stands::Clear {
                // Two masts that lean towards each other are one cause: the lean of each waits for it, as long as it is a warn.
                let own = |c: &&mut Condition| c.kind == Kind::Lean && (c.tower == Some(j) || c.tower == Some(k));
                for lean in found.iter_mut().filter(own).filter(|c| c.stands == Stands::At(Severity::Warn)) {
                    lean.stands = Stands::Within;
                }
            }
            found.push(portal);
        }
    }
}

/// Each two towers next to each other on one piece, in the order of their places: one clamped length of truss between them.
fn neighbours<'a>(scope: &'a Scope) -> impl Iterator<Item = (usize, usize)> + 'a {
    let towers = &scope.setup.plan.towers;
    (0..towers.len()).filter_map(move |j| {
        let next = (0..towers.len()).filter(|&k| k != j && towers[k].piece == towers[j].piece && towers[k].at.0 > towers[j].at.0);
        next.min_by(|&a, &b| towers[a].at.0.total_cmp(&towers[b].at.0)).map(|k| (j, k))
    })
}

/// By how much the mast of `j` has come to lean towards `k`, on the same piece, deg.
fn lean_towards(scope: &Scope, along: &[Option<Known>], j: usize, k: usize) -> Option<Known> {
    let towers = &scope.setup.plan.towers;
    let change = along.get(j).copied().flatten()?;
    Some(Known { value: change.value * (towers[k].at.0 - towers[j].at.0).signum(), ..change })
}

fn told(j: usize, scope: &Scope, a: Known, b: Known) -> Condition {
    let (less, more) = (a.value.abs().min(b.value.abs()), a.value.abs().max(b.value.abs()));
    let opposite = a.value * b.value > 0.0 && less >= ALIKE * more;
    let mean = (a.value + b.value) / 2.0;
    let sigma = a.sigma.hypot(b.sigma) / 2.0;
    let stands = match mean.abs() {
        m if opposite && m >= STOP_DEG && m > 3.0 * sigma => Stands::At(Severity::Stop),
        m if !opposite || m < CLEAR * STOP_DEG => Stands::Clear,
        _ => Stands::Within,
    };
    Condition {
        tower: Some(j),
        piece: Some(scope.setup.plan.towers[j].piece),
        amount: Some(Known { value: mean, sigma }),
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
