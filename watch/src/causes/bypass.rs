//! `bypassed`: part of the load goes past a cell (a strap, a cradle whose lip touches the mast): the cell reads low.
//!
//! Two proofs. A rope that carries what is planned while the head's cell reads less: what passes the head cell still hangs on the
//! rope. Without a rope cell: at a test lift that has come to rest one tower is low by a tenth or more and all others are as
//! planned. One thing that was left off exactly at that tower looks the same; where the plan has such a thing it is told as missing.
//! Source: docs/trade.md section 2, row 45 (a cell low by 10 to 90 %, the total below plan).

use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Stands, Unit};
use crate::estimate::loads::over;
use raisewatch_protocol::plan::Hung;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// Least part of the share that goes past: row 45.
const PAST: f64 = 0.10;
/// It clears below this part of it.
const CLEAR: f64 = 0.6;
/// Differences count past so many standard deviations of a cell.
const SURE: f64 = 4.0;
/// Others are as planned within so many.
const AS_PLANNED: f64 = 3.0;
/// A rope shows it when it has stood so long beside its head, s: a section that sticks is told by then.
const BESIDE_S: f64 = 5.0;
/// A planned thing explains what is missing when it is as heavy within this part, and so near the tower, m.
const AS_HEAVY: f64 = 0.25;
const AS_NEAR_M: f64 = 0.5;

/// Memory of what goes past.
#[derive(Clone, Debug, Default)]
pub struct BypassCauses {
    beside: Vec<Held>,
    proved: Vec<bool>,
}

impl BypassCauses {
    /// For so many towers.
    pub fn new(towers: usize) -> Self {
        BypassCauses { beside: vec![Held::default(); towers], proved: vec![false; towers] }
    }

    /// Whether load is known to go past this tower's cell.
    pub fn past(&self, tower: usize) -> bool {
        self.proved.get(tower).is_some_and(|p| *p)
    }

    /// Adds cells that load goes past. `covered`: a graver cause moves the shares. `settled`: a test lift has come to rest. Gives
    /// whether one is.
    pub fn judge(&mut self, scope: &Scope, covered: bool, settled: bool, found: &mut Vec<Condition>) -> bool {
        let hanging = scope.hangs() && scope.scene.step != Step::Change;
        for j in 0..scope.towers() {
            if scope.est.loads().head[j].is_none() {
                continue;
            }
            let by_rope = if hanging && !covered { self.beside_rope(scope, j) } else { None };
            let past =
                by_rope.or_else(|| if scope.scene.step == Step::TestLift && settled && !covered { alone_low(scope, j) } else { None });
            if let Some((by, limit)) = past {
                self.proved[j] = by >= limit || self.proved[j] && by >= CLEAR * limit;
                let stands = match self.proved[j] {
                    true => Stands::At(Severity::Warn),
                    false if by < CLEAR * limit => Stands::Clear,
                    false => Stands::Within,
                };
                let amount = known(by, scope.est.cell_sigma_n());
                let piece = Some(scope.setup.plan.towers[j].piece);
                found.push(Condition {
                    tower: Some(j),
                    piece,
                    amount,
                    unit: Unit::N,
                    limit: Some(limit),
                    stands,
                    ..Condition::of(Kind::Bypassed)
                });
            } else if self.proved[j] {
                // Nothing shows it at this moment: it neither comes nor goes.
                found.push(Condition { tower: Some(j), unit: Unit::N, stands: Stands::Within, ..Condition::of(Kind::Bypassed) });
            }
        }
        self.proved.contains(&true)
    }

    /// How much less the head's cell reads than its rope, while the rope carries no more than is planned; and from where it counts.
    fn beside_rope(&mut self, scope: &Scope, j: usize) -> Option<(f64, f64)> {
        let live = |c: &usize| scope.health[*c].usable();
        let five = |c: Option<usize>| Some(scope.est.loads().cell(c.filter(live)?)?.mean(over::FIVE)?.value);
        let (head, rope) = (five(scope.est.loads().head[j])?, five(scope.est.loads().rope[j])?);
        let planned = expected(scope, j);
        let limit = (PAST * planned).max(SURE * scope.est.cell_sigma_n() * std::f64::consts::SQRT_2);
        let by = rope - head;
        // What pulls harder than is planned is a section that sticks, or a heavier truss; on its pins a rope tells nothing.
        let carries = rope > 0.7 * planned && rope < planned + limit;
        let whole = self.beside[j].see(carries && by >= limit, scope.now_s()) >= BESIDE_S;
        (whole || by < limit && carries).then_some((by, limit))
    }
}

/// What a tower should carry as its heads stand now, N.
fn expected(scope: &Scope, j: usize) -> f64 {
    scope.est.estimate().towers[j].expected_n.map_or_else(|| scope.est.sums().planned_n(j), |e| e.value)
}

/// By how much this tower alone is low, and from where that counts; nothing where it is not alone, or the plan has what is missing.
fn alone_low(scope: &Scope, j: usize) -> Option<(f64, f64)> {
    let sigma = scope.est.cell_sigma_n();
    let beside = |k: usize| scope.est.shares()[k].beside_n[over::FIVE];
    let limit = (PAST * expected(scope, j)).max(SURE * sigma);
    let by = -beside(j)?;
    let others = (0..scope.towers()).filter(|&k| k != j);
    for k in others {
        if beside(k)?.abs() > AS_PLANNED * sigma {
            return None;
        }
    }
    (by < limit || !left_off(scope, j, by)).then_some((by, limit))
}

/// Whether the plan has one thing at this tower that is as heavy as what is missing.
fn left_off(scope: &Scope, j: usize, missing_n: f64) -> bool {
    let tower = &scope.setup.plan.towers[j];
    scope.setup.plan.loads.iter().filter(|l| l.piece == tower.piece).any(|l| match l.hung {
        Hung::Point { at, weight } => (at.0 - tower.at.0).abs() < AS_NEAR_M && (weight.0 / missing_n - 1.0).abs() < AS_HEAVY,
        Hung::Spread { .. } => false,
    })
}

#[cfg(test)]
mod tests {
    use super::super::series::*;
    use super::*;
    use raisewatch_protocol::words::Channel;

    fn at_test_lift(channels: &[&str], seed: u64, truth: Truth) -> Series {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], channels), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::TestLift);
        s.run(25.0, STANDING, move |_| truth.clone());
        s
    }

    fn past(tower: usize, by_n: f64) -> Truth {
        Truth { wrong: vec![(tower, Channel::HeadLoad, -by_n)], ..Truth::level(2) }
    }

    /// Row 45: low by 10 to 90 %.
    #[test]
    fn one_tower_low_at_the_test_lift_is_a_cell_that_load_goes_past() {
        for (seed, by_n) in [(1, 150.0), (2, 300.0), (3, 800.0)] {
            let s = at_test_lift(&["truss-along", "head-load"], seed, past(0, by_n));
            let told = s.first(Kind::Bypassed).unwrap_or_else(|| panic!("{by_n}"));
            assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Warn));
            assert!(told.condition.amount.is_some_and(|a| (a.value - by_n).abs() < 20.0));
            assert_eq!(s.beside(&[Kind::Bypassed]), [], "{by_n}");
        }
    }

    /// A wash of 10.4 kg, 102 N, hangs at 1.8 m; A stands at 1 m. And a thing that is missing in the middle is no strap.
    #[test]
    fn what_was_left_off_elsewhere_or_is_little_is_not() {
        for extra in [(-256.0, 4.0), (-150.0, 2.5)] {
            let s = at_test_lift(&["truss-along", "head-load"], 4, Truth { extra: vec![extra], ..Truth::level(2) });
            assert_eq!(s.first(Kind::Bypassed), None, "{extra:?}");
            assert!(s.first(Kind::MissingWeight).is_some(), "{extra:?}");
        }
        assert_eq!(at_test_lift(&["truss-along", "head-load"], 5, past(1, 40.0)).told, []);
    }

    #[test]
    fn a_rope_that_carries_all_proves_it_and_one_that_pulls_harder_does_not() {
        let channels = ["truss-along", "head-load", "rope-load"];
        let s = at_test_lift(&channels, 6, past(1, 250.0));
        assert_eq!(s.first(Kind::Bypassed).and_then(|t| t.condition.tower), Some(1));
        let pulls = at_test_lift(&channels, 6, Truth { rope: vec![1.0, 1.35], ..Truth::level(2) });
        assert_eq!(pulls.first(Kind::Bypassed), None);
    }

    #[test]
    fn with_the_other_cell_silent_one_low_cell_proves_nothing() {
        let s = at_test_lift(&["truss-along", "head-load"], 7, Truth { mute: vec![1], ..past(0, 300.0) });
        assert_eq!(s.first(Kind::Bypassed), None);
    }
}
