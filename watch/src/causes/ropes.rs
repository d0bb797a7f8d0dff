//! `slipping`: brake or pawl gives, or the rope slips on its drum, and a head runs down that nobody lowers; `crossed`: a rope that
//! lies crossed on its drum lets go by a millimetre again and again.
//!
//! Where a height is measured, the head's own fall tells it. Without one a tilt cannot: a slip of 80 mm/s tips six metres by
//! 0.3 degrees in the 0.4 s that there are (docs/trade.md section 2, row 20), a crank by as much. The cells can: a drum that lets go at
//! speed v takes v·√(k·m) off the rope at once, and the head rings about the same share (docs/trade.md section 3.6, dynamic allowance).
//! A load that comes off rings about a lesser share, a head that lands is struck upwards first, a hand that stops takes no more than
//! its own pace.

use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::{Cell, over};
use raisewatch_protocol::units::STANDARD_GRAVITY;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// Heights are looked at over so long, s.
const FALL_OVER_S: f64 = 0.4;
/// A fall must be seen for at least so long, and over so many readings.
const FALL_LEAST_S: f64 = 0.18;
const FALL_READINGS: usize = 4;
/// Slowest fall that is told, mm/s: docs/trade.md section 2, row 20.
const FALL_MM_S: f64 = 20.0;
/// Hands differ by a fifth from the planned pace at most (docs/trade.md section 1.7), and may stop dead: a drum that lets go shows
/// more than one and two thirds of that. A rope that lies crossed and lets go by two millimetres comes near to it.
const LETS_GO: f64 = 1.2 * 5.0 / 3.0;
/// A drum lets go when a cell falls by this part of its share, and springs back over it by this part of the fall.
const FALLS_BY: f64 = 0.12;
const SPRINGS_BACK: f64 = 0.25;
/// A head that rings springs back by so much of its first fall (docs/trade.md section 0: 3 to 5 Hz, rung out in about a second), so
/// that one whole swing, which a cell of ten readings a second catches better than its lowest point, tells how deep the fall was.
const RINGS_BACK: f64 = 0.7;
/// What falls freely and is caught springs back by more than this times what it lost.
const CAUGHT_BY: f64 = 1.6;
/// Until so long before its lowest reading, s, it carried all but this part of what it lost: it lets go within half a swing.
const UNTIL_S: (f64, f64) = (0.2, 0.8);
const CARRIED_TILL: f64 = 0.35;
/// Two neighbouring samples part by this part of the share: more than a section that thumps (12 %) or the bounce of cranking (9 %,
/// docs/trade.md section 8, N1); and by more than hands can that stop dead.
const PARTS_BY: f64 = 0.15;
/// A told slip stands so long after its last sign, s.
const STANDS_S: f64 = 3.0;
/// A crossed rope lets go so often within so long: docs/trade.md section 2, row 12, has 3 slips in 30 s; hands that start and stop jolt a
/// cell nearly as much, but not four times in a quarter of a minute, at one tower alone.
const LETTING_GO: usize = 4;
const WITHIN_S: f64 = 15.0;
/// What counts as letting go, between two samples: more than hands that stop dead, and this part of the share.
const LITTLE: (f64, f64) = (1.25, 0.09);
/// One letting go rings for so long, s.
const RINGS_S: f64 = 0.8;

/// Memory of the ropes.
#[derive(Clone, Debug, Default)]
pub struct RopeCauses {
    heads: Vec<Head>,
}

#[derive(Clone, Debug, Default)]
struct Head {
    falling: Held,
    /// When last seen, s, and how far it fell, mm.
    slips: Option<(f64, Option<Known>)>,
    /// Newest first: when its rope let go by a little, s.
    let_go: [Option<f64>; LETTING_GO],
    crossed: bool,
}

/// How a cell fell below what it carried before, and sprang back.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Dip {
    /// N.
    by_n: f64,
    /// Over what it carried, N.
    back_n: f64,
    /// Between two samples, N.
    jolt_n: f64,
    at_s: f64,
}

impl Dip {
    /// How deep it fell, N: at its lowest reading, or by its whole swing where that lay between two readings.
    fn deep_n(&self) -> f64 {
        self.by_n.max((self.by_n + self.back_n) / (1.0 + RINGS_BACK))
    }
}

impl RopeCauses {
    /// For so many towers.
    pub fn new(towers: usize) -> Self {
        RopeCauses { heads: vec![Head::default(); towers] }
    }

    /// Adds heads that run down. Gives whether one does. `hung`: a tower whose section hangs, or has just let go: what the cells do then
    /// is its doing.
    pub fn slipping(&mut self, scope: &Scope, hung: Option<usize>, found: &mut Vec<Condition>) -> bool {
        let now_s = scope.now_s();
        let mut any = false;
        for j in 0..self.heads.len() {
            let fall = if scope.hangs() { fall(scope, j) } else { None };
            let runs = fall.is_some_and(|f| unbidden(scope, j, f));
            // Two readings in a row: one wild height is no fall.
            let seen = self.heads[j].falling.see(runs, now_s) >= 0.03;
            if seen {
                let by = fall.map(|f| Known { value: f.value * FALL_OVER_S, sigma: f.sigma * FALL_OVER_S });
                let before = self.heads[j].slips.and_then(|s| s.1);
                let most = [before, by].into_iter().flatten().min_by(|a, b| a.value.total_cmp(&b.value));
                self.heads[j].slips = Some((now_s, most));
            } else if hung.is_none() && gauge(scope, j).is_none() && self.lets_go(scope, j) {
                self.heads[j].slips = Some((now_s, None));
            }
            let Some((at, by)) = self.heads[j].slips else { continue };
            if now_s - at > STANDS_S {
                self.heads[j].slips = None;
                continue;
            }
            any = true;
            found.push(Condition {
                tower: Some(j),
                piece: Some(scope.setup.plan.towers[j].piece),
                amount: by,
                unit: Unit::Mm,
                stands: Stands::At(Severity::Stop),
                ..Condition::of(Kind::Slipping)
            });
        }
        any
    }

    /// Without a height: the cells of this tower show that its drum let go, and those of no other.
    fn lets_go(&self, scope: &Scope, j: usize) -> bool {
        if !scope.hangs() || matches!(scope.scene.step, Step::Section | Step::Land | Step::Stand | Step::Change) {
            return false;
        }
        let share = carried(scope, j);
        let Some(dip) = dip(scope, j) else { return false };
        // Where the rope is known to lie crossed, it must be twice as much.
        // What falls freely carries next to nothing, and is caught with more than it lost: that is `dropped`.
        if dip.by_n > 0.8 * share || dip.back_n > CAUGHT_BY * dip.by_n {
            return false;
        }
        let usual = if self.heads[j].crossed { 2.0 } else { 1.0 };
        let least = usual * (LETS_GO * pace_n(scope, j, share)).max(FALLS_BY * share);
        dip.deep_n() >= least && dip.jolt_n >= (usual * PARTS_BY * share).max(1.2 * 1.4 * pace_n(scope, j, share)) && alone(scope, j, dip)
    }

    /// Adds ropes that lie crossed.
    pub fn crossed(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        let now_s = scope.now_s();
        let cranked = scope.up() || scope.down();
        for j in 0..self.heads.len() {
            if scope.est.loads().head[j].is_none() && scope.est.loads().rope[j].is_none() {
                continue;
            }
            let share = carried(scope, j);
            let least = (LITTLE.0 * pace_n(scope, j, share)).max(LITTLE.1 * share);
            let jolt = jolt(scope, j).filter(|jolt| jolt.0 >= least && now_s - jolt.1 < 0.3);
            let new = jolt.filter(|jolt| self.heads[j].let_go[0].is_none_or(|at| jolt.1 - at > RINGS_S));
            let alone =
                |by: f64| (0..scope.towers()).filter(|&k| k != j).all(|k| jolt_now(scope, k) < 0.5 * by / share * carried(scope, k));
            if let Some((_, at)) = new.filter(|jolt| cranked && !covered && scope.scene.step != Step::Section && alone(jolt.0)) {
                self.heads[j].let_go.rotate_right(1);
                self.heads[j].let_go[0] = Some(at);
            }
            let oldest = self.heads[j].let_go[LETTING_GO - 1];
            let often = oldest.is_some_and(|at| now_s - at < WITHIN_S);
            let newest = self.heads[j].let_go[0];
            let over = newest.is_none_or(|at| now_s - at > WITHIN_S);
            self.heads[j].crossed = often || self.heads[j].crossed && !over;
            if newest.is_some() {
                let stands = if self.heads[j].crossed { Stands::At(Severity::Warn) } else { Stands::Clear };
                let limit = Some(least);
                let amount = jolt.and_then(|jolt| known(jolt.0, 10.0));
                found.push(Condition { tower: Some(j), amount, unit: Unit::N, limit, stands, ..Condition::of(Kind::Crossed) });
            }
        }
    }
}

/// The height gauge of a tower that may be used.
fn gauge(scope: &Scope, j: usize) -> Option<usize> {
    let seats = scope.setup.channels.iter().enumerate();
    seats.filter(|(c, s)| s.tower == j && s.channel == Channel::Height && scope.health[*c].usable()).map(|(c, _)| c).next()
}

/// Speed of a head over the last moments by its own gauge, mm/s (up positive), with its standard deviation by the readings' own
/// scatter about the line.
pub fn fall(scope: &Scope, j: usize) -> Option<Known> {
    let c = gauge(scope, j)?;
    let newest = || {
        let now_s = scope.now_s();
        scope.est.watched(c).newest(32).take_while(move |(t, _)| now_s - t <= FALL_OVER_S)
    };
    let n = newest().count();
    let (mut t_mean, mut h_mean) = (0.0, 0.0);
    for (t, h) in newest() {
        t_mean += t / n as f64;
        h_mean += h / n as f64;
    }
    let (mut tt, mut th, mut hh) = (0.0, 0.0, 0.0);
    for (t, h) in newest() {
        tt += (t - t_mean).powi(2);
        th += (t - t_mean) * (h - h_mean);
        hh += (h - h_mean).powi(2);
    }
    let reaches = newest().last().map_or(0.0, |(t, _)| scope.now_s() - t);
    if n < FALL_READINGS || reaches < FALL_LEAST_S || tt <= 0.0 {
        return None;
    }
    let slope = th / tt;
    // A gauge cannot be better than a millimetre.
    let scatter = ((hh - slope * th).max(0.0) / (n - 2).max(1) as f64).sqrt().max(0.001);
    Some(Known { value: slope * 1e3, sigma: scatter / tt.sqrt() * 1e3 })
}

/// Whether a head is known to stand where a section of its mast ends: at its full height or at one of its pins, to within a turn.
pub fn at_section_end(scope: &Scope, j: usize) -> bool {
    let tower = &scope.setup.plan.towers[j];
    let Some(height) = scope.est.estimate().towers[j].height_m.filter(|h| h.sigma < tower.per_turn.0) else { return false };
    let ends = tower.pins.iter().chain(std::iter::once(&tower.full));
    ends.into_iter().any(|end| (height.value - end.0).abs() < tower.per_turn.0 + 2.0 * height.sigma)
}

/// Whether a head falls that nobody lowers: against the step, or faster than any hands.
fn unbidden(scope: &Scope, j: usize, fall: Known) -> bool {
    let plan = &scope.setup.plan;
    let down_mm_s = plan.pace_down.0.max(plan.pace.0) * 1e3;
    let sure = |least: f64| -fall.value > least && -fall.value > 4.0 * fall.sigma;
    let others_rise =
        (0..scope.towers()).filter(|&k| k != j).any(|k| self::fall(scope, k).is_some_and(|f| f.value > 0.3 * plan.pace.0 * 1e3));
    match scope.scene.step {
        // Onto a pin, and off it, hands lower by a little.
        Step::Section | Step::Land => sure(2.5 * down_mm_s),
        Step::Lower => sure(2.5 * down_mm_s),
        Step::Raise if others_rise => sure(FALL_MM_S),
        // A lead who lets one tower down after a stop is none of it.
        Step::Raise | Step::TestLift | Step::Stand | Step::Change => sure(1.5 * down_mm_s),
        Step::Rig | Step::Strike => false,
    }
}

/// What the tower carries, N.
fn carried(scope: &Scope, j: usize) -> f64 {
    scope.est.shares()[j].measured_n[over::ONE].unwrap_or_else(|| scope.est.sums().planned_n(j)).max(50.0)
}

/// What a head that changes its speed by the planned pace takes off its cell, N: v·√(k·m).
fn pace_n(scope: &Scope, j: usize, share_n: f64) -> f64 {
    let plan = &scope.setup.plan;
    let mass_kg = (share_n + plan.towers[j].adapter.0) / STANDARD_GRAVITY;
    let pace = if scope.down() { plan.pace_down } else { plan.pace };
    pace.0 * (plan.towers[j].rope_stiffness.0 * mass_kg).sqrt()
}

/// The latest dip of a tower's cells with its springing back, of the cell that shows it most.
fn dip(scope: &Scope, j: usize) -> Option<Dip> {
    let cells = [scope.est.loads().head[j], scope.est.loads().rope[j]];
    let usable = cells.into_iter().flatten().filter(|&c| scope.health[c].usable());
    usable
        .filter_map(|c| scope.est.loads().cell(c))
        .filter_map(|cell| of_cell(cell, scope.now_s()))
        .max_by(|a, b| a.deep_n().total_cmp(&b.deep_n()))
}

/// The hardest jolt between two samples of a tower's cells within the last moments: N, and when, s.
fn jolt(scope: &Scope, j: usize) -> Option<(f64, f64)> {
    let cells = [scope.est.loads().head[j], scope.est.loads().rope[j]];
    let usable = cells.into_iter().flatten().filter(|&c| scope.health[c].usable());
    usable.filter_map(|c| scope.est.loads().cell(c)).map(|cell| cell.jolt).max_by(|a, b| a.0.total_cmp(&b.0))
}

/// The same, zero where it is over.
fn jolt_now(scope: &Scope, j: usize) -> f64 {
    jolt(scope, j).filter(|jolt| scope.now_s() - jolt.1 < 0.5).map_or(0.0, |jolt| jolt.0)
}

fn of_cell(cell: &Cell, now_s: f64) -> Option<Dip> {
    let before = cell.mean(over::BEFORE)?.value;
    let (by_n, back_n) = (before - cell.dip.0, cell.peak.0 - before);
    let fresh = now_s - cell.dip.1 < 0.5 && now_s - cell.peak.1 < 0.5 && now_s - cell.jolt.1 < 0.5;
    // First down, then back: what is struck from below, or starts, comes up first.
    let in_order = cell.peak.1 > cell.dip.1 && cell.peak.1 - cell.dip.1 < 0.45;
    (fresh && in_order && by_n > 0.0 && until_then(cell) > before - CARRIED_TILL * by_n && back_n > SPRINGS_BACK * by_n).then_some(Dip {
        by_n,
        back_n,
        jolt_n: cell.jolt.0,
        at_s: cell.dip.1,
    })
}

/// What it carried in the moments before its lowest reading, N: a hand that lifts for a second and lets go springs back as well.
fn until_then(cell: &Cell) -> f64 {
    let ages = (cell.dip.1 - UNTIL_S.1, cell.dip.1 - UNTIL_S.0);
    let then = cell.trace().newest(128).skip_while(|s| s.0 > ages.1).take_while(|s| s.0 >= ages.0);
    let (sum, count) = then.fold((0.0, 0.0), |(sum, count), s| (sum + s.1, count + 1.0));
    if count > 0.0 { sum / count } else { f64::NEG_INFINITY }
}

/// Whether no other tower's cell shows as much.
fn alone(scope: &Scope, j: usize, own: Dip) -> bool {
    let part = |by: f64, k: usize| by / carried(scope, k);
    (0..scope.towers()).filter(|&k| k != j).all(|k| dip(scope, k).is_none_or(|d| part(d.by_n, k) < 0.5 * part(own.by_n, j)))
}

#[cfg(test)]
mod tests {
    use super::super::series::*;
    use super::*;

    const TWO: [&str; 2] = ["A", "B"];

    fn raising(channels: &[&str], seed: u64) -> Series {
        let mut s = Series::new(HARBOUR, &kit(&TWO, channels), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::TestLift);
        s.run(12.0, STANDING, |_| Truth::level(2));
        s.step(Step::Raise);
        s.run(6.0, CRANKING, |_| Truth::level(2));
        assert_eq!(s.told, [], "quiet so far");
        s
    }

    /// A head whose drum lets go: a damped ring about the same share, first down. `by`: part of the share.
    fn ring(by: f64, t: f64) -> f64 {
        if t < 0.0 { 1.0 } else { 1.0 - by * (-2.5 * t).exp() * (std::f64::consts::TAU * 4.3 * t).sin() }
    }

    #[test]
    fn a_measured_fall_is_told_within_half_a_second() {
        for seed in 1..=10 {
            let mut s = raising(&["truss-along", "head-load", "height"], seed);
            let begin = s.now_s;
            s.run(2.0, CRANKING, |t| {
                let fallen = -80.0 * (t - 1.0).max(0.0);
                Truth { offset_mm: vec![0.0, fallen], height_m: 1.2 + 0.025 * t, ..Truth::level(2) }
            });
            let told = s.first(Kind::Slipping).expect("told");
            assert_eq!(told.condition.tower, Some(1));
            assert!(told.at_s - begin - 1.0 < 0.55, "seed {seed}: {}", told.at_s - begin - 1.0);
            assert!(told.condition.amount.is_some_and(|a| a.value < 0.0));
        }
    }

    #[test]
    fn one_that_only_stops_does_not_slip() {
        for seed in 1..=10 {
            let mut s = raising(&["truss-along", "head-load", "height"], seed);
            s.run(5.0, CRANKING, |t| Truth { offset_mm: vec![0.0, -25.0 * t], height_m: 1.2 + 0.025 * t, ..Truth::level(2) });
            assert_eq!(s.first(Kind::Slipping), None, "seed {seed}");
        }
    }

    #[test]
    fn without_heights_the_ring_of_a_drum_that_lets_go_tells_it() {
        for seed in 1..=10 {
            let mut s = raising(&["truss-along", "head-load", "rope-load"], seed);
            let begin = s.now_s;
            s.run(2.0, CRANKING, |t| {
                let by = ring(0.27, t - 1.0);
                Truth { blow: vec![1.0, by], rope: vec![1.0, by], ..Truth::level(2) }
            });
            let told = s.first(Kind::Slipping).expect("told");
            assert_eq!((told.condition.tower, told.condition.amount), (Some(1), None));
            assert!(told.at_s - begin - 1.0 < 0.4, "seed {seed}: {}", told.at_s - begin - 1.0);
        }
    }

    /// A hand that stops dead takes v·√(k·m) = 0.025·√(1e5·100) = 79 N, 8 % of the share; one that starts comes up first.
    #[test]
    fn hands_that_start_and_stop_are_no_slip_and_no_crossed_rope() {
        for (seed, by) in (1..=10).map(|s| (s, 0.085)).chain((1..=10).map(|s| (s, -0.2))) {
            let mut s = raising(&["truss-along", "head-load", "rope-load"], seed);
            s.run(6.0, CRANKING, |t| {
                let by = ring(by, t % 2.0 - 1.0);
                Truth { blow: vec![1.0, by], rope: vec![1.0, by], ..Truth::level(2) }
            });
            assert_eq!(s.first(Kind::Slipping), None, "seed {seed} {by}");
            assert_eq!(s.first(Kind::Crossed), None, "seed {seed} {by}");
        }
    }

    /// Hands that lift for a second and let go: the share springs back over what it was, long after it fell.
    #[test]
    fn hands_that_lift_and_let_go_are_no_slip() {
        for seed in 1..=10 {
            let mut s = raising(&["truss-along", "head-load"], seed);
            s.run(5.0, STANDING, |t| {
                let by = if (1.0..2.0).contains(&t) { 0.75 + 0.15 * (1.0 - ring(1.0, t - 1.0)) } else { 2.0 - ring(0.25, t - 2.0) };
                Truth { blow: vec![1.0, by], ..Truth::level(2) }
            });
            assert_eq!(s.first(Kind::Slipping), None, "seed {seed}");
        }
    }

    #[test]
    fn letting_go_again_and_again_is_a_crossed_rope() {
        for seed in 1..=10 {
            let mut s = raising(&["truss-along", "head-load"], seed);
            let begin = s.now_s;
            s.run(14.0, CRANKING, |t| Truth { blow: vec![ring(0.2, t % 1.63 - 0.3), 1.0], ..Truth::level(2) });
            let told = s.first(Kind::Crossed).expect("told");
            assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Warn));
            assert!(told.at_s - begin < 12.0, "seed {seed}: {}", told.at_s - begin);
        }
    }
}
