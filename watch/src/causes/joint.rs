//! `joint`: a joint of the truss opens. The slopes on its two sides part by 0.1 to 0.5 degrees while their mean stays
//! (docs/trade.md section 2, row 34).
//!
//! Rake turns all boxes of a piece alike, a knock one of them (and the mean by half of it); weight that comes on parts them too, but
//! then the cells show it, on three and more towers the heads bend the truss by more than a joint does and nothing is judged, and while a load is being hung (`rig`, `change`, a test lift that has not come to rest) nothing is judged.

use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::setup::Setup;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// Warn and stop, deg: the least and the middle of row 34.
const WARN_DEG: f64 = 0.1;
const STOP_DEG: f64 = 0.25;
const CLEAR: f64 = 0.6;
/// And beyond so many standard deviations of what cranks and hands on handles leave in a mean of 5 s: two boxes are looked at all the
/// time, and a good lift speaks no word.
const BEYOND: f64 = 3.5;
/// A joint at a quarter of the span moves the mean by a quarter of the kink, a knocked box by half of it.
const MEAN_STAYS: f64 = 0.35;
/// What counts as before: as slow as boxes warm up, s; 0.1 degrees in ten hours (docs/trade.md section 8, scenario 23) is nothing in it.
const FOLLOWS_S: f64 = 600.0;
/// A reference is taken over so long, s: the slow mean of a box is over 5 s.
const TAKEN_S: f64 = 8.0;
/// Parted for so long, and never with the mean staying: it is taken for the new state, s.
const OTHERWISE_S: f64 = 15.0;
/// The truss does not bend while what the cells show beside their base is less than this part of the weight.
const UNBENT: f64 = 0.04;

/// Memory of all pairs of boxes.
#[derive(Clone, Debug, Default)]
pub struct JointCauses {
    pairs: Vec<Parting>,
    step: Option<Step>,
}

/// Two boxes next to each other on one piece.
#[derive(Clone, Copy, Debug)]
struct Parting {
    left: usize,
    right: usize,
    /// Their difference and mean that count as before, rad.
    before: Option<(f64, f64)>,
    taking: Held,
    /// They parted, but their mean moved with it: rake and a box that moved, not a joint.
    otherwise: Held,
    at_s: f64,
    stands: bool,
}

/// What two boxes say now, rad.
#[derive(Clone, Copy, Debug)]
struct Now {
    apart: f64,
    mean: f64,
    sigma: f64,
}

impl JointCauses {
    /// For the boxes of this kit.
    pub fn new(setup: &Setup) -> Self {
        let seats = &setup.channels;
        let boxes = |c: &usize| seats[*c].channel == Channel::TrussAlong;
        let next = |c: usize| {
            let same =
                (0..seats.len()).filter(boxes).filter(move |&d| seats[d].piece == seats[c].piece && seats[d].at_m > seats[c].at_m + 0.1);
            same.min_by(|&a, &b| seats[a].at_m.total_cmp(&seats[b].at_m))
        };
        let pair = |(left, right)| Parting {
            left,
            right,
            before: None,
            taking: Held::default(),
            otherwise: Held::default(),
            at_s: 0.0,
            stands: false,
        };
        JointCauses { pairs: (0..seats.len()).filter(boxes).filter_map(|c| next(c).map(|d| (c, d))).map(pair).collect(), step: None }
    }

    /// Adds joints that open. `covered`: something holds the truss or a head fell.
    pub fn judge(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        let hanging = matches!(scope.scene.step, Step::Rig | Step::Change | Step::Strike) || unrested(scope);
        let fresh = self.step != Some(scope.scene.step) && self.step.is_some_and(|s| matches!(s, Step::Rig | Step::Change | Step::Strike));
        self.step = Some(scope.scene.step);
        for pair in &mut self.pairs {
            if hanging || fresh {
                (pair.before, pair.stands, pair.taking) = (None, false, Held::default());
            }
            let now = pair.look(scope);
            found.push(pair.told(scope, now, covered || bent(scope), hanging));
        }
    }
}

/// A test lift in which the truss has not yet come to hang.
fn unrested(scope: &Scope) -> bool {
    scope.scene.step == Step::TestLift && (scope.scene.guarded_as_moving() || scope.scene.turn.is_some())
}

/// Whether the cells show something that bends the truss.
fn bent(scope: &Scope) -> bool {
    use crate::estimate::loads::over;
    let most = UNBENT * scope.est.sums().total_n();
    scope.est.total_excess_n()[over::ONE].is_some_and(|e| e.abs() > most)
        || scope.est.total_excess_n()[over::FIVE].is_some_and(|e| e.abs() > most)
}

impl Parting {
    /// Slow means of both boxes, less what the plan's sag does to their difference, and what the gauges know of the rake.
    fn look(&self, scope: &Scope) -> Option<Now> {
        let usable = |c: usize| scope.health[c].usable() && !scope.est.jumped(c) && scope.est.watched(c).heard_s() >= 4.0;
        if !usable(self.left) || !usable(self.right) {
            return None;
        }
        let (l, r) = scope.est.slow_mean(self.left).zip(scope.est.slow_mean(self.right))?;
        let slopes = [&scope.est.sums().slopes[self.left], &scope.est.sums().slopes[self.right]];
        // Heads that bend the truss themselves (three and more on one piece) part its slopes by more than a joint does.
        if (0..scope.towers()).any(|j| (slopes[1].1[j] - slopes[0].1[j]).abs() > 1e-6) {
            return None;
        }
        let planned = slopes[1].0 - slopes[0].0;
        // What swings is averaged over 5 s; both boxes sway together, each cranks for itself.
        let noise = |m: &crate::estimate::window::Mean| m.spread / (m.count as f64 / 4.0).max(1.0).sqrt();
        let sigma = noise(&l).hypot(noise(&r));
        Some(Now { apart: r.value - l.value - planned, mean: (l.value + r.value) / 2.0 - gauged_rake(scope), sigma })
    }

    fn told(&mut self, scope: &Scope, now: Option<Now>, bends: bool, hanging: bool) -> Condition {
        let seats = &scope.setup.channels;
        let mut told =
            Condition { piece: Some(seats[self.left].piece), unit: Unit::Deg, limit: Some(WARN_DEG), ..Condition::of(Kind::Joint) };
        told.tower = Some(seats[self.left].tower);
        let now_s = scope.now_s();
        let dt = now_s - self.at_s;
        self.at_s = now_s;
        let whole = self.taking.see(now.is_some() && !hanging, now_s) >= TAKEN_S;
        let Some(now) = now else { return told };
        let Some((apart, mean)) = self.before else {
            self.before = whole.then_some((now.apart, now.mean));
            return told;
        };
        let (parted, moved) = ((now.apart - apart).to_degrees(), (now.mean - mean).to_degrees());
        let sigma = now.sigma.to_degrees().hypot(0.01);
        let opens = parted.abs() >= WARN_DEG && parted.abs() > BEYOND * sigma && moved.abs() < MEAN_STAYS * parted.abs();
        // Once told it stands until the ends come together again: rake moves the mean later without closing a joint.
        self.stands = if bends { self.stands } else { opens || self.stands && parted.abs() >= CLEAR * WARN_DEG };
        if self.otherwise.see(!bends && !self.stands && parted.abs() >= WARN_DEG, now_s) > OTHERWISE_S {
            self.before = None;
            self.taking = Held::default();
        } else if !bends && parted.abs() < WARN_DEG {
            let follow = 1.0 - (-dt / FOLLOWS_S).exp();
            self.before = Some((apart + (now.apart - apart) * follow, mean + (now.mean - mean) * (1.0 - (-dt / 20.0_f64).exp())));
        }
        told.amount = known(parted, sigma);
        told.stands = match parted.abs() {
            _ if !self.stands && parted.abs() < CLEAR * WARN_DEG => Stands::Clear,
            _ if !self.stands => Stands::Within,
            p if p >= STOP_DEG => Stands::At(Severity::Stop),
            _ => Stands::At(Severity::Warn),
        };
        if told.stands == Stands::At(Severity::Stop) {
            told.limit = Some(STOP_DEG);
        }
        told
    }
}

/// Rake by the height gauges, rad, where all heads of a pair have one: a true rake is then no change of the mean. Else zero.
fn gauged_rake(scope: &Scope) -> f64 {
    let towers = &scope.est.estimate().towers;
    let (Some(a), Some(b)) = (towers[0].height_m, towers[towers.len() - 1].height_m) else { return 0.0 };
    let fine = |k: Known| k.sigma < 0.004;
    if towers.len() == 2 && fine(a) && fine(b) { (b.value - a.value) / scope.apart_m(0, 1).max(1e-9) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::super::series::*;
    use super::*;

    fn lifted(step: Step, seed: u64) -> Series {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &["truss-along", "head-load"]), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(step);
        s.run(15.0, noise(step), |_| Truth::level(2));
        s
    }

    fn noise(step: Step) -> Noise {
        if step == Step::Raise { CRANKING } else { STANDING }
    }

    fn parted(left_deg: f64, right_deg: f64) -> Truth {
        let wrong = vec![(0, Channel::TrussAlong, left_deg.to_radians()), (1, Channel::TrussAlong, right_deg.to_radians())];
        Truth { wrong, ..Truth::level(2) }
    }

    #[test]
    fn ends_that_part_while_the_mean_stays_are_a_joint() {
        for (step, by) in [(Step::Raise, 0.4), (Step::Stand, 0.16), (Step::Stand, -0.3)] {
            for seed in 1..=6 {
                let mut s = lifted(step, seed);
                let begin = s.now_s;
                s.run(14.0, noise(step), |t| if t < 1.0 { Truth::level(2) } else { parted(-by * 0.45, by * 0.55) });
                let told = s.first(Kind::Joint).unwrap_or_else(|| panic!("{step:?} {by} seed {seed}"));
                assert!(told.at_s - begin - 1.0 < 9.0, "{step:?} {by} seed {seed}: {}", told.at_s - begin - 1.0);
                assert_eq!(s.first_at(Kind::Joint, Severity::Stop).is_some(), by.abs() > STOP_DEG, "{step:?} {by}");
            }
        }
    }

    #[test]
    fn one_box_that_moves_is_no_joint() {
        for seed in 1..=6 {
            for by in [0.2, 0.5] {
                let mut s = lifted(Step::Stand, seed);
                s.run(25.0, STANDING, |t| if t < 1.0 { Truth::level(2) } else { parted(by, 0.0) });
                assert_eq!(s.first(Kind::Joint), None, "seed {seed}, {by}");
            }
        }
    }

    #[test]
    fn rake_and_weight_are_no_joint() {
        for seed in 1..=6 {
            let mut s = lifted(Step::Raise, seed);
            s.run(12.0, CRANKING, |t| Truth { offset_mm: vec![0.0, 3.0 * t], ..Truth::level(2) });
            let mut hung = lifted(Step::Stand, seed);
            hung.run(20.0, STANDING, |t| Truth { extra: vec![(if t < 2.0 { 0.0 } else { 700.0 }, 4.0)], ..Truth::level(2) });
            assert_eq!((s.first(Kind::Joint), hung.first(Kind::Joint)), (None, None), "seed {seed}");
        }
    }

    #[test]
    fn nothing_is_judged_while_a_load_is_being_hung() {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &["truss-along", "head-load"]), 1);
        s.run(30.0, STANDING, |t| parted(-0.01 * t, 0.01 * t));
        s.step(Step::Change);
        s.run(30.0, STANDING, |t| parted(-0.3 - 0.01 * t, 0.3 + 0.01 * t));
        assert_eq!(s.first(Kind::Joint), None);
    }

    #[test]
    fn boxes_that_warm_up_over_hours_are_no_joint() {
        let mut s = lifted(Step::Stand, 3);
        s.run(1200.0, STANDING, |t| parted(0.06 * t / 7200.0, -0.06 * t / 7200.0));
        assert_eq!(s.first(Kind::Joint), None);
    }
}
