//! Weights: `overload`, `light`, `extra-weight`, `missing-weight`, `off-plan`.

use super::force::{Forces, cranking_sigma};
use super::scope::{Held, Scope, against, all_known, known, limit_of};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::{Acting, acting, over};
use crate::estimate::shares::on_piece;
use crate::limits::Pair;
use crate::scene::Motion;
use raisewatch_protocol::units::Length;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// Warn from this part of the rating: 100 / (1.10 × 1.05) = 87 % is the most static load that still fits (docs/trade.md section 4).
const USED_WARN: f64 = 0.80;
/// A peak of so much of the rating over 0.3 s stops at once: the bounce of cranking is ± 7 % (docs/trade.md section 4).
const PEAK: f64 = 1.25;
/// Longest that a hand rests on a truss, s (docs/trade.md section 8, scenario 19: 1 to 8 s): a weight that stays longer was hung.
const HUNG_S: f64 = 8.5;
/// The total has changed when its second's mean moves by this part of the weight (docs/forms.md: stands within 2 %).
const STEADY: f64 = 0.02;
/// After `stand` the shares settle for so long before they count as what hangs, s.
const SETTLED_S: f64 = 20.0;

/// Memory of the weight causes.
#[derive(Clone, Debug, Default)]
pub struct WeightCauses {
    steady_n: Option<f64>,
    steady: Held,
    announced: Held,
    /// A test lift has come to rest.
    pub settled: bool,
    /// Another unit explains its weight.
    pub unit: bool,
    /// Room for one number a tower, used again at every step.
    room: Vec<f64>,
}

impl WeightCauses {
    /// Adds overloaded and light towers.
    pub fn towers(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        for j in 0..scope.towers() {
            if scope.est.loads().head[j].is_none() && scope.est.loads().rope[j].is_none() {
                continue;
            }
            self.overload(scope, j, found);
            self.light(scope, j, covered, found);
        }
    }

    fn overload(&mut self, scope: &Scope, j: usize, found: &mut Vec<Condition>) {
        let tower = &scope.setup.plan.towers[j];
        let share = &scope.est.shares()[j];
        let height = scope.est.estimate().towers[j].height_m.or(scope.est.estimate().height_m);
        // The rating falls with height: where the height is a band, its top counts (a uniform band ends √3 sigma out).
        let top = height.map_or(scope.setup.plan.trim_height.0, |h| h.value + 3.0_f64.sqrt() * h.sigma);
        let rated = tower.rated_at(Length(top)).0;
        let mut told = Condition { tower: Some(j), unit: Unit::N, ..Condition::of(Kind::Overload) };
        if let Some(one) = share.measured_n[over::ONE] {
            let load = one + tower.adapter.0;
            let peak = share.measured_n[over::FAST].map_or(load, |f| f + tower.adapter.0);
            told.stands = match load {
                _ if load >= rated || peak >= PEAK * rated => Stands::At(Severity::Stop),
                _ if load >= USED_WARN * rated => Stands::At(Severity::Warn),
                _ if load < 0.95 * USED_WARN * rated => Stands::Clear,
                _ => Stands::Within,
            };
            told.never_gated = told.stands == Stands::At(Severity::Stop);
            told.limit = Some(if told.never_gated { rated } else { USED_WARN * rated });
            told.amount = known(load.max(if peak >= PEAK * rated { peak } else { load }), scope.est.cell_sigma_n());
        }
        found.push(told);
    }

    fn light(&mut self, scope: &Scope, j: usize, covered: bool, found: &mut Vec<Condition>) {
        let least = scope.setup.plan.towers[j].least.0;
        // It hangs: not on its trestles any more, or up where there are none, however much was stripped.
        let carried = scope.est.estimate().total_n.is_none_or(|t| t.value > 0.7 * scope.est.sums().total_n()) || high(scope);
        if least <= 0.0 || !scope.hangs() {
            return;
        }
        let lowering = scope.scene.step == Step::Lower;
        let still = scope.scene.motion == Motion::Still;
        if !lowering && !still {
            return;
        }
        let (limit, severity) = if lowering { (least, Severity::Stop) } else { (2.0 * least, Severity::Warn) };
        let mut told = Condition { tower: Some(j), unit: Unit::N, limit: Some(limit), ..Condition::of(Kind::Light) };
        if let Some(one) = scope.est.shares()[j].measured_n[over::FIVE].filter(|_| carried) {
            told.amount = known(one, scope.est.cell_sigma_n());
            told.stands = match one {
                v if v < limit && !covered => Stands::At(severity),
                v if v > 1.15 * limit => Stands::Clear,
                _ => Stands::Within,
            };
        }
        found.push(told);
    }

    /// Adds weights that hang beside the plan, or that came or went while it stands. `forces`: something holds it.
    pub fn weights(&mut self, scope: &Scope, forces: Forces, covered: bool, found: &mut Vec<Condition>) {
        if !scope.hangs() || matches!(scope.scene.step, Step::Land | Step::Change) {
            return;
        }
        let Some(pair) = scope.rows().total_n else { return };
        let steady_s = self.steady_for(scope);
        self.settled = scope.scene.step == Step::TestLift && steady_s >= HUNG_S;
        let mut room = std::mem::take(&mut self.room);
        match scope.scene.step {
            Step::Stand => self.came_or_went(scope, &pair, &mut room, found),
            _ if forces.held || covered => {}
            Step::TestLift => self.at_test_lift(scope, &pair, steady_s >= HUNG_S, &mut room, found),
            // Under way the learnt base tells it, not a second's heave.
            _ => {
                if all_known(&mut room, scope.est.loads().base_n.iter().copied()) {
                    self.hung(scope, &pair, &room, !forces.suspected, scope.est.cell_sigma_n().max(cranking_sigma(scope)), found);
                }
            }
        }
        self.room = room;
    }

    fn at_test_lift(&mut self, scope: &Scope, pair: &Pair, settled: bool, room: &mut Vec<f64>, found: &mut Vec<Condition>) {
        self.unit = wrong_unit(scope, settled, found);
        if self.unit {
            return;
        }
        if all_known(room, scope.est.shares().iter().map(|s| s.beside_n[over::FIVE])) {
            self.hung(scope, pair, room, settled, scope.est.cell_sigma_n(), found);
        }
        self.shares_off(scope, settled, found);
    }

    /// For how long the total has stood within two in a hundred, s.
    fn steady_for(&mut self, scope: &Scope) -> f64 {
        let total: Option<f64> = scope.est.shares().iter().map(|s| s.measured_n[over::ONE]).sum();
        let Some(total) = total else {
            self.steady_n = None;
            return self.steady.see(false, scope.now_s());
        };
        let near = self.steady_n.is_some_and(|s| (s - total).abs() < STEADY * scope.est.sums().total_n());
        if !near {
            self.steady_n = Some(total);
            self.steady.see(false, scope.now_s());
        }
        self.steady.see(true, scope.now_s())
    }

    /// More or less than planned, by the shares' difference from the plan.
    fn hung(&mut self, scope: &Scope, pair: &Pair, beside: &[f64], settled: bool, sigma: f64, found: &mut Vec<Condition>) {
        let total: f64 = beside.iter().sum();
        let kind = if total < 0.0 { Kind::MissingWeight } else { Kind::ExtraWeight };
        let found_one = acting(beside, sigma, &scope.est.sums().at);
        let Some(found_one) = found_one else { return };
        // It cannot be one thing at one place on this truss: no cause is found.
        let placed = place(scope, &found_one);
        let kind = if placed.is_none() && total.abs() >= pair.warn { Kind::OffPlan } else { kind };
        found.push(told(kind, total.abs(), pair, Severity::Warn, settled, &found_one, placed));
    }

    /// A share off while the total is as planned.
    fn shares_off(&mut self, scope: &Scope, settled: bool, found: &mut Vec<Condition>) {
        let Some(pair) = scope.rows().share_n.filter(|_| scope.towers() == 2) else { return };
        if found
            .iter()
            .any(|c| matches!(c.kind, Kind::ExtraWeight | Kind::MissingWeight | Kind::OffPlan) && matches!(c.stands, Stands::At(_)))
        {
            return;
        }
        let shares = scope.est.shares().iter().enumerate();
        let most = shares.filter_map(|(j, s)| s.beside_n[over::FIVE].map(|b| (j, b))).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let Some((j, beside)) = most else { return };
        let stands = match against(beside.abs(), &pair) {
            Stands::At(_) if !settled => Stands::Within,
            s => s,
        };
        found.push(Condition {
            tower: Some(j),
            amount: known(beside, scope.est.cell_sigma_n()),
            unit: Unit::N,
            limit: Some(limit_of(stands, &pair)),
            stands,
            ..Condition::of(Kind::OffPlan)
        });
    }

    /// Standing: a step in what hangs since it came to rest.
    fn came_or_went(&mut self, scope: &Scope, pair: &Pair, all: &mut Vec<f64>, found: &mut Vec<Condition>) {
        let rested = scope.now_s() - scope.scene.since.s();
        if rested <= SETTLED_S + 5.0 || !all_known(all, scope.est.shares().iter().map(|s| s.excess_n[over::FIVE])) {
            return;
        }
        let total: f64 = all.iter().sum();
        let Some(force) = acting(all, 0.3 * scope.est.cell_sigma_n() + 3.0, &scope.est.sums().at) else { return };
        let expected =
            scope.scene.expect.is_some_and(|e| e.change_n.is_none_or(|n| n * total > 0.0 && total.abs() <= 1.3 * n.abs() + pair.warn));
        // Somebody who let go of a cable is still in the mean of five seconds.
        let stays = scope.est.total_excess_n()[over::ONE].is_none_or(|now| now * total.signum() >= pair.clear * pair.warn);
        let kind = if total < 0.0 { Kind::MissingWeight } else { Kind::ExtraWeight };
        let most = if pair.stop.is_some_and(|s| total.abs() >= s) { Severity::Stop } else { Severity::Warn };
        let placed = place(scope, &force);
        found.push(told(kind, total.abs(), pair, most, !expected && stays, &force, placed));
    }

    /// Whether an announced change has come and stands, so that it becomes what hangs.
    pub fn settled_announced(&mut self, scope: &Scope) -> bool {
        let came = scope.scene.step == Step::Stand
            && scope.scene.expect.is_some()
            && scope.est.total_excess_n()[over::TEN].is_some_and(|e| e.abs() > 20.0);
        self.announced.see(came, scope.now_s()) > 30.0
    }
}

/// Pounds in a kilogram, and how near a ratio must come to it or to its inverse (cells, cables and guesses included).
const POUNDS_IN_KG: f64 = 1.0 / raisewatch_protocol::units::POUND_KG;
const RATIO_NEAR: f64 = 0.05;

/// Adds `wrong-unit`: the cells of all towers, or of one while the others are as planned, read 2.205 times what is planned or
/// its inverse. Whether one was found: then nothing else is said of the weight.
fn wrong_unit(scope: &Scope, settled: bool, found: &mut Vec<Condition>) -> bool {
    let near = |ratio: f64| [POUNDS_IN_KG, 1.0 / POUNDS_IN_KG].iter().any(|r| (ratio / r - 1.0).abs() < RATIO_NEAR);
    let mut all = true;
    let (mut measured, mut planned) = (0.0, 0.0);
    let mut odd: Option<(usize, f64)> = None;
    let (mut plain, mut odds) = (0, 0);
    let towers = &scope.est.estimate().towers;
    for (j, share) in scope.est.shares().iter().enumerate() {
        let Some(n) = share.measured_n[over::FIVE].filter(|_| towers[j].planned_n > LEAST_JUDGED_N) else {
            all = false;
            continue;
        };
        let ratio = n / towers[j].planned_n;
        measured += n;
        planned += towers[j].planned_n;
        if near(ratio) {
            odd = Some((j, ratio));
            odds += 1;
        } else if (ratio - 1.0).abs() < 2.0 * RATIO_NEAR {
            plain += 1;
        }
    }
    let whole = all && planned > 0.0 && odds == towers.len() && near(measured / planned);
    let single = odd.filter(|_| all && odds == 1 && plain + 1 == towers.len());
    let mut tell = |tower: Option<usize>, ratio: Option<f64>| {
        let stands = match ratio {
            Some(_) if settled => Stands::At(Severity::Warn),
            Some(_) => Stands::Within,
            None => Stands::Clear,
        };
        let amount = ratio.and_then(|r| known(r, 0.0));
        found.push(Condition { tower, amount, unit: Unit::One, stands, ..Condition::of(Kind::WrongUnit) });
    };
    tell(None, whole.then(|| measured / planned));
    for j in 0..towers.len() {
        tell(Some(j), single.filter(|s| s.0 == j).map(|s| s.1));
    }
    whole || single.is_some()
}

/// Whether every head is measured to be half a metre over where the truss was rigged, or it stands where it was raised to.
fn high(scope: &Scope) -> bool {
    let low = scope.setup.plan.working_height.0 + 0.5;
    let measured = scope.est.estimate().towers.iter().all(|t| t.height_m.is_some_and(|h| h.value > low));
    measured || scope.scene.step == Step::Stand
}

/// Shares below this tell no ratio.
const LEAST_JUDGED_N: f64 = 100.0;

/// Where along which piece a force acts, if it can be one thing on this truss.
pub fn place(scope: &Scope, force: &Acting) -> Option<(usize, Known)> {
    let (piece, x_m, off_m) = on_piece(scope.setup, force.place_m)?;
    (off_m < 0.3 + 2.0 * force.place_sigma_m).then_some((piece, Known { value: x_m, sigma: force.place_sigma_m.hypot(off_m) }))
}

fn told(kind: Kind, size: f64, pair: &Pair, severity: Severity, counts: bool, force: &Acting, placed: Option<(usize, Known)>) -> Condition {
    let stands = match size {
        s if s >= pair.warn && counts => Stands::At(severity),
        s if s < pair.clear * pair.warn => Stands::Clear,
        _ => Stands::Within,
    };
    let limit = if severity == Severity::Stop { pair.stop.unwrap_or(pair.warn) } else { pair.warn };
    Condition {
        piece: placed.map(|p| p.0),
        position: placed.map(|p| p.1),
        amount: known(size, force.force_sigma_n),
        unit: Unit::N,
        limit: Some(limit),
        stands,
        ..Condition::of(kind)
    }
}
