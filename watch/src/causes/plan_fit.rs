//! `wrong-plan`: what is heard is not the lift that the plan describes: another number of towers, another span, another weight.
//!
//! A thing hung beside the plan, a cell in another unit and exchanged labels have kinds of their own; this one says that the plan
//! itself is another's (docs/trade.md section 2, row 57).

use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::over;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// A lift that weighs so much more than planned, part of the plan, is another one: twice what a guessed weight is good for
/// (docs/forms.md, "Plan": 20 %), or that the plan weighs as much more than it. One that weighs less may still stand on its trestles:
/// it is judged where heights show all heads off them, else it is `missing-weight`.
const WEIGHS: f64 = 0.40;
/// Heads this far over the working height hang free: a test lift goes 50 to 150 mm (docs/trade.md section 1.6).
const FREE_M: f64 = 0.04;
/// A span that differs so much, part of the plan's: towers are set to 50 mm (docs/trade.md section 1.3), a truss is another by a length.
const SPANS: f64 = 0.15;
/// Heads must part by so much for a span to show, m.
const PARTED_M: f64 = 0.020;
/// Readings are still for so long before and after, s: the slow means are over 5 s.
const STILL_S: f64 = 6.0;
/// What means over 5 s are good to while it stands: of a height with 2 mm of noise, m, of a tilt with 0.05 degrees and a little sway, rad.
const HEIGHT_M: f64 = 0.0004;
const TILT_RAD: f64 = 0.008 * std::f64::consts::PI / 180.0;

/// Memory of how the plan fits.
#[derive(Clone, Debug, Default)]
pub struct PlanFit {
    still: Held,
    /// Height of the last head over the first, m, and slope between them, rad, at the last rest.
    rested: Option<(f64, f64)>,
    /// Span as measured over the planned one.
    span: Option<Known>,
}

impl PlanFit {
    /// Adds a plan that does not fit. `settled`: a test lift has come to rest. `explained`: a unit explains the weight. Gives whether it
    /// stands by weight.
    pub fn judge(&mut self, scope: &Scope, settled: bool, explained: bool, found: &mut Vec<Condition>) -> bool {
        self.measure(scope);
        let unheard = (0..scope.towers()).find(|&j| !scope.setup.node_tower.contains(&j));
        let weighs = if settled && !explained && scope.scene.step == Step::TestLift { ratio(scope) } else { None };
        let spans = self.span.filter(|s| (s.value - 1.0).abs() > SPANS.max(3.0 * s.sigma));
        let other = |w: &Known| w.value - 1.0 > WEIGHS || (w.value * (1.0 + WEIGHS) < 1.0 && hangs_free(scope));
        let by_weight = weighs.filter(other);
        let mut told = Condition { unit: Unit::One, stands: Stands::Clear, ..Condition::of(Kind::WrongPlan) };
        if let Some(amount) = spans.or(by_weight) {
            (told.amount, told.stands) = (Some(amount), Stands::At(Severity::Warn));
        } else if unheard.is_some() && scope.hangs() {
            // More towers in the plan than are heard at all.
            let (heard, planned) = (heard(scope) as f64, scope.towers() as f64);
            (told.amount, told.stands) = (known(heard / planned, 0.0), Stands::At(Severity::Warn));
        } else if weighs.is_none() && scope.scene.step == Step::TestLift {
            // A hand on the truss: not judged.
            told.stands = Stands::Within;
        }
        found.push(told);
        by_weight.is_some()
    }

    /// Heads that parted between two rests: what their gauges say against what the tilts say gives the span.
    fn measure(&mut self, scope: &Scope) {
        let still = scope.scene.turn.is_none() && !scope.scene.moving_unsaid && scope.scene.step == Step::TestLift;
        let rests = self.still.see(still && scope.towers() == 2, scope.now_s()) >= STILL_S;
        if scope.scene.step != Step::TestLift {
            self.rested = None;
        }
        if !rests {
            return;
        }
        let Some(now) = parted(scope) else { return };
        let before = *self.rested.get_or_insert(now);
        let (height, slope) = (now.0 - before.0, now.1 - before.1);
        if height.abs() < PARTED_M || slope.abs() < 4.0 * TILT_RAD {
            return;
        }
        self.rested = Some(now);
        let planned = scope.apart_m(0, 1);
        let sigma = (2.0 * HEIGHT_M / height).hypot(2.0_f64.sqrt() * TILT_RAD / slope);
        self.span = Some(Known { value: height / slope / planned, sigma: sigma.abs() * (height / slope / planned).abs() });
    }
}

/// Whether every head's gauge shows it off the trestles.
fn hangs_free(scope: &Scope) -> bool {
    let free_m = scope.setup.plan.working_height.0 + FREE_M;
    scope.est.estimate().towers.iter().all(|t| t.height_m.is_some_and(|h| h.value - 3.0 * h.sigma > free_m))
}

/// How many of the plan's towers have a node at all.
fn heard(scope: &Scope) -> usize {
    (0..scope.towers()).filter(|j| scope.setup.node_tower.contains(j)).count()
}

/// Height of B over A by their gauges, m, and the mean slope of the boxes between them, rad.
fn parted(scope: &Scope) -> Option<(f64, f64)> {
    let seats = &scope.setup.channels;
    let mean = |c: usize| scope.est.slow_mean(c).filter(|m| m.count >= 10 && scope.health[c].live);
    let gauge = |j: usize| seats.iter().position(|s| s.tower == j && s.channel == Channel::Height).and_then(mean);
    let height = gauge(1)?.value - gauge(0)?.value;
    let (mut slope, mut boxes) = (0.0, 0.0);
    for (c, _) in seats.iter().enumerate().filter(|(c, s)| s.channel == Channel::TrussAlong && scope.health[*c].usable()) {
        // What the plan says of one metre at B, turned into a slope of the line between the heads.
        let row = scope.est.sums().slopes[c].1[1] * scope.apart_m(0, 1);
        if row.abs() > 0.5 {
            slope += mean(c)?.value / row;
            boxes += 1.0;
        }
    }
    (boxes > 0.0).then(|| (height, slope / boxes))
}

/// The whole weight over the planned one, where all shares are measured.
fn ratio(scope: &Scope) -> Option<Known> {
    let mut total = 0.0;
    for share in scope.est.shares() {
        total += share.measured_n[over::FIVE]?;
    }
    let planned = scope.est.sums().total_n();
    (planned > 0.0).then(|| Known { value: total / planned, sigma: scope.est.cell_sigma_n() * (scope.towers() as f64).sqrt() / planned })
}

#[cfg(test)]
mod tests {
    use super::super::series::*;
    use super::*;

    fn lifted(plan: &str, truth: impl Fn(f64) -> Truth) -> Series {
        let mut s = Series::new(plan, &kit(&["A", "B"], &["truss-along", "head-load", "height"]), 3);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::TestLift);
        s.run(40.0, STANDING, truth);
        s
    }

    #[test]
    fn half_as_much_again_is_another_lift_and_a_lamp_is_not() {
        let more = |n: f64| move |_| Truth { extra: vec![(n * 0.4, 2.0), (n * 0.6, 6.0)], ..Truth::level(2) };
        let s = lifted(HARBOUR, more(950.0));
        assert_eq!(s.first(Kind::WrongPlan).map(|t| t.severity), Some(Severity::Warn));
        assert_eq!(s.beside(&[Kind::WrongPlan, Kind::Overload]), []);
        let lamp = lifted(HARBOUR, more(280.0));
        assert_eq!(lamp.first(Kind::WrongPlan), None);
        assert!(lamp.first(Kind::ExtraWeight).is_some());
    }

    #[test]
    fn half_as_heavy_is_another_lift_only_where_it_hangs_free() {
        let less = |height_m: f64| move |_| Truth { extra: vec![(-350.0, 2.0), (-450.0, 6.0)], height_m, ..Truth::level(2) };
        let free = lifted(HARBOUR, less(1.3));
        assert_eq!(free.first(Kind::WrongPlan).map(|t| t.severity), Some(Severity::Warn), "{:?}", free.told);
        assert_eq!(free.first(Kind::MissingWeight), None);
        let trestles = lifted(HARBOUR, less(1.2));
        assert_eq!(trestles.first(Kind::WrongPlan), None);
        assert!(trestles.first(Kind::MissingWeight).is_some());
    }

    /// One turn of B, 25 mm by its gauge: on 6 m 0.24 degrees, on 4.5 m 0.32.
    #[test]
    fn a_turn_shows_the_span() {
        let turned = |t: f64| Truth { offset_mm: vec![0.0, if t < 15.0 { 0.0 } else { 25.0 }], ..Truth::level(2) };
        assert_eq!(lifted(HARBOUR, turned).first(Kind::WrongPlan), None);
        // The lift is the longer one, the plan in hand says a shorter span.
        let steeper = |t: f64| {
            let more = (25e-3 / 4.5_f64 - 25e-3 / 6.0) * f64::from(u8::from(t >= 15.0));
            let wrong = vec![(0, Channel::TrussAlong, more), (1, Channel::TrussAlong, more)];
            Truth { wrong, ..turned(t) }
        };
        let told = lifted(HARBOUR, steeper).first(Kind::WrongPlan).expect("told");
        assert!(told.condition.amount.is_some_and(|a| (a.value - 0.75).abs() < 0.1), "{:?}", told.condition.amount);
    }

    #[test]
    fn a_tower_of_the_plan_that_no_node_stands_at_is_told() {
        let mut s = Series::new(TANNERS, &kit(&["A", "B"], &["truss-along", "head-load"]), 3);
        s.run(3.0, STANDING, |_| Truth::level(3));
        assert_eq!(s.first(Kind::WrongPlan), None, "in rig nodes may still come");
        s.step(Step::TestLift);
        s.run(5.0, STANDING, |_| Truth::level(3));
        assert!(s.first(Kind::WrongPlan).is_some());
    }
}
