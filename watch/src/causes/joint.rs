//! `joint`: a joint of the truss opens. The slopes on its two sides part by 0.1 to 0.5 degrees while their mean stays
//! (docs/trade.md section 2, row 34).
//!
//! Rake turns all boxes of a piece alike, a knock one of them (and the mean by half of it); weight that comes on parts them too, but
//! then the cells show it, and while a load is being hung (`rig`, `change`, a test lift that has not come to rest) nothing is judged.
//! On three towers and more the heads bend the truss by more than a joint does: how much, the cells tell, and it is taken off. A joint
//! that opens there shifts the shares too, as its place says; what parts without that is two boxes.

use super::bend::{self, Bend, Station};
use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::setup::Setup;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// Warn and stop, deg: the least and the middle of row 34.
const WARN_DEG: f64 = 0.1;
const STOP_DEG: f64 = 0.25;
const CLEAR: f64 = 0.6;
/// And beyond so many standard deviations of what cranks and hands on handles leave in a mean of 5 s: two boxes are looked at all the
/// time, and a good lift speaks no word.
const BEYOND: f64 = 3.5;
/// A joint at a quarter of the span moves the mean by a quarter of the kink, a knocked box by half of it.
const MEAN_STAYS: f64 = 0.35;
/// The same while it goes on.
const GOES_ON: (f64, f64) = (2.5, 0.42);
/// What counts as before: as slow as boxes warm up, s; 0.1 degrees in ten hours (docs/trade.md section 8, scenario 23) is nothing in it.
const FOLLOWS_S: f64 = 600.0;
/// A reference is taken over so long, s: the slow mean of a box is over 5 s.
const TAKEN_S: f64 = 8.0;
/// Parted for so long, and never with the mean staying: it is taken for the new state, s.
const OTHERWISE_S: f64 = 15.0;
/// Beyond doubt for so long it is one, s: the on-delay in [`crate::life::delays`].
const TOLD_S: f64 = 2.4;
/// The truss does not bend while what the cells show beside their base is less than this part of the weight.
const UNBENT: f64 = 0.04;
/// How often the shape is asked for, s: it comes out of means over 5 s.
const LOOKS_S: f64 = 0.25;
/// A plan knows the stiffness of its truss to this part: joints and shear make it 0.6 to 0.9 of its chords' (docs/method.md).
const STIFFNESS: f64 = 0.25;
/// Of a share's mean over 5 s so much may be friction and cranks, N (no source), and heads that move meanwhile stand off by so much, m.
const SEAT_N: f64 = 10.0;
const MOVING_M: f64 = 0.003;
/// A joint is looked for at so many places between two boxes.
const PLACES: usize = 9;

/// Memory of all pairs of boxes.
#[derive(Clone, Debug, Default)]
pub struct JointCauses {
    pairs: Vec<Parting>,
    bend: Bend,
    looked_s: Option<f64>,
    step: Option<Step>,
    on_pins: usize,
    /// Whether the plan is raised by counted turns.
    counted: Option<bool>,
}

/// Two boxes next to each other on one piece.
#[derive(Clone, Debug)]
struct Parting {
    piece: usize,
    left: Station,
    right: Station,
    /// Their difference and mean that count as before, and what the heads made of the difference, rad.
    before: Option<(f64, f64, f64)>,
    /// Self-held shares that count as before, N.
    held_n: Vec<f64>,
    taking: Held,
    /// They parted, but their mean moved with it: rake and a box that moved, not a joint.
    otherwise: Held,
    at_s: f64,
    opens: Held,
    /// It has opened for long enough to be told.
    told: bool,
    stands: bool,
}

/// What two boxes say now, rad.
#[derive(Clone, Copy, Debug)]
struct Now {
    /// Less what is planned and what the heads make of it.
    apart: f64,
    mean: f64,
    /// What the heads make of the difference.
    bent: f64,
    sigma: f64,
}

impl JointCauses {
    /// For the boxes of this kit.
    pub fn new(setup: &Setup) -> Self {
        let mut pairs = Vec::new();
        for piece in 0..setup.plan.pieces.len() {
            let stations = bend::stations(setup, piece);
            pairs.extend(stations.windows(2).map(|two| Parting {
                piece,
                left: two[0],
                right: two[1],
                before: None,
                held_n: vec![0.0; setup.plan.towers.len()],
                taking: Held::default(),
                otherwise: Held::default(),
                at_s: 0.0,
                opens: Held::default(),
                told: false,
                stands: false,
            }));
        }
        JointCauses { pairs, ..JointCauses::default() }
    }

    /// Adds joints that open. `covered`: something holds the truss or a head fell.
    pub fn judge(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        if self.pairs.is_empty() {
            return;
        }
        let hangs = |s: Step| matches!(s, Step::Rig | Step::Change | Step::Strike);
        let hanging = hangs(scope.scene.step) || unrested(scope);
        let on_pins = scope.scene.towers.iter().filter(|t| t.pins != crate::scene::Pins::None).count();
        // On pins the same heads hold the truss in another shape.
        let borne = scope.towers() > 2 && on_pins != self.on_pins;
        let fresh = borne || self.step != Some(scope.scene.step) && self.step.is_some_and(hangs);
        (self.step, self.on_pins) = (Some(scope.scene.step), on_pins);
        if self.looked_s.is_none_or(|t| scope.now_s() - t >= LOOKS_S) {
            self.bend.look(scope);
            self.looked_s = Some(scope.now_s());
        }
        let counted = *self.counted.get_or_insert_with(|| scope.est.sums().counted(scope.setup));
        for pair in &mut self.pairs {
            if hanging || fresh {
                (pair.before, pair.stands, pair.told, pair.taking) = (None, false, false, Held::default());
            }
            let now = pair.look(scope, &self.bend, counted);
            found.push(pair.told(scope, now, &self.bend, covered || bent(scope), hanging));
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
    /// Slow means of both boxes, less what plan and heads do to their difference, and what the gauges know of the rake.
    fn look(&self, scope: &Scope, bend: &Bend, counted: bool) -> Option<Now> {
        let usable = |c: usize| scope.health[c].usable() && !scope.est.jumped(c) && scope.est.watched(c).heard_s() >= 4.0;
        // A part of a turn does not swing: its box leans with the handle for as long as it lasts, by more than a joint opens.
        if counted && scope.scene.guarded_as_moving() {
            return None;
        }
        // Across a piece every tower sways for itself, and hands rock it: a corner is judged while nobody cranks.
        let corner = self.left.across.or(self.right.across).is_some();
        if corner && scope.scene.guarded_as_moving() {
            return None;
        }
        if !bend.known() || !usable(self.left.channel) || !usable(self.right.channel) {
            return None;
        }
        let (l, r) = scope.est.slow_mean(self.left.channel).zip(scope.est.slow_mean(self.right.channel))?;
        let [(l_level, l_row), (r_level, r_row)] = [self.left, self.right].map(|s| s.row(scope.est.sums()));
        let (ls, rs) = (self.left.sign(), self.right.sign());
        let (l_bent, r_bent) = (ls * bend.slope(l_row), rs * bend.slope(r_row));
        let planned = rs * r_level - ls * l_level;
        // What swings is averaged over 5 s; both boxes sway together, each cranks for itself.
        let noise = |m: &crate::estimate::window::Mean| m.spread / (m.count as f64 / 4.0).max(1.0).sqrt();
        let sigma = noise(&l).hypot(noise(&r));
        let (l, r) = (ls * l.value - l_bent, rs * r.value - r_bent);
        Some(Now { apart: r - l - planned, mean: (l + r) / 2.0 - gauged_rake(scope), bent: r_bent - l_bent, sigma })
    }

    fn told(&mut self, scope: &Scope, now: Option<Now>, bend: &Bend, bends: bool, hanging: bool) -> Condition {
        let seats = &scope.setup.channels;
        let mut told = Condition { piece: Some(self.piece), unit: Unit::Deg, limit: Some(WARN_DEG), ..Condition::of(Kind::Joint) };
        told.tower = Some(seats[self.left.channel].tower);
        let now_s = scope.now_s();
        let dt = now_s - self.at_s;
        self.at_s = now_s;
        let whole = self.taking.see(now.is_some() && !hanging, now_s) >= TAKEN_S;
        let Some(now) = now else { return told };
        let Some((apart, mean, heads)) = self.before else {
            self.before = whole.then_some((now.apart, now.mean, now.bent));
            self.held_n.copy_from_slice(bend.held_n());
            return told;
        };
        let (parted, moved) = ((now.apart - apart).to_degrees(), (now.mean - mean).to_degrees());
        let sigma = now.sigma.to_degrees().hypot(0.01).hypot(STIFFNESS * (now.bent - heads).to_degrees());
        // What has begun to open goes on opening while nothing speaks against it.
        let opening = self.opens.lasted_s(now_s) > 0.0;
        let (beyond, stays) = if opening { GOES_ON } else { (BEYOND, MEAN_STAYS) };
        let far = parted.abs() >= WARN_DEG && parted.abs() > beyond * sigma && moved.abs() < stays * parted.abs();
        let opens = !bends && far && (self.told || self.shifts(scope, bend, parted.to_radians()));
        // Once told it stands until the ends come together again: rake moves the mean later without closing a joint.
        self.told = (self.told || self.opens.see(opens, now_s) >= TOLD_S) && (bends || parted.abs() >= CLEAR * WARN_DEG);
        self.stands = if bends { self.stands } else { opens || self.told };
        if self.otherwise.see(!bends && !self.stands && parted.abs() >= WARN_DEG, now_s) > OTHERWISE_S {
            self.before = None;
            self.taking = Held::default();
        } else if !bends && parted.abs() < WARN_DEG {
            let (slowly, soon) = (1.0 - (-dt / FOLLOWS_S).exp(), 1.0 - (-dt / 20.0_f64).exp());
            let to = |from: f64, to: f64, part: f64| from + (to - from) * part;
            self.before = Some((to(apart, now.apart, slowly), to(mean, now.mean, soon), to(heads, now.bent, soon)));
            self.held_n.iter_mut().zip(bend.held_n()).for_each(|(held, now)| *held = to(*held, *now, soon));
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

    /// Whether the shares have shifted as a joint somewhere between the boxes would shift them (on two towers: not at all).
    fn shifts(&self, scope: &Scope, bend: &Bend, kink_rad: f64) -> bool {
        let sums = scope.est.sums();
        if sums.self_held.is_empty() {
            return true;
        }
        let stiffest = (0..scope.towers()).map(|j| sums.stiffness_n_per_m(j, j)).fold(0.0, f64::max);
        let moving_n = if scope.scene.guarded_as_moving() { MOVING_M * stiffest } else { 0.0 };
        (1..=PLACES).any(|i| {
            let x_m = self.left.at_m + (self.right.at_m - self.left.at_m) * i as f64 / (PLACES + 1) as f64;
            let opened = bend::held(sums, &sums.opened(self.piece, x_m));
            let change = bend.held_n().iter().zip(&self.held_n).map(|(now, before)| now - before);
            let (mut off, mut whole) = (0.0, 0.0);
            for (change, opened) in change.zip(&opened) {
                off += (change - kink_rad * opened).powi(2);
                whole += (kink_rad * opened).powi(2);
            }
            let sigma = SEAT_N.hypot(moving_n).hypot(STIFFNESS * whole.sqrt());
            off.sqrt() <= 3.0 * sigma
        })
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
    use raisewatch_protocol::words::Channel;

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
