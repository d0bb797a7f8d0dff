//! What is not as it should be at this moment, and what causes it: conditions out of the estimate, without memory of the telling.
//!
//! The order is that of causation: instruments that lie, heads that fell, forces from outside, ropes against heads, and only then
//! levels and weights, which follow from all of these. Where a cause stands, what follows from it is held back (neither coming
//! nor going), so that one cause is one finding; what is over a rating or past never-exceed is never held back.

pub mod bend;
pub mod by_cells;
pub mod bypass;
pub mod drop;
#[cfg(test)]
mod drop_tests;
pub mod fell;
pub mod force;
pub mod instruments;
pub mod joint;
pub mod lean;
#[cfg(test)]
mod lean_tests;
pub mod level;
mod naming;
mod over;
pub mod plan_fit;
pub mod portal;
pub mod ropes;
pub mod scope;
#[cfg(test)]
pub(crate) mod series;
pub mod standing;
#[cfg(test)]
mod standing_tests;
#[cfg(test)]
mod tests;
pub mod weight;

use crate::condition::{Condition, Stands};
use crate::estimate::{BaseRule, Estimator};
use crate::health::Health;
use crate::learn::ahead::Trend;
use crate::limits::Limits;
use crate::scene::{Motion, Scene};
use crate::setup::Setup;
use bypass::BypassCauses;
use drop::DropCauses;
use force::ForceCauses;
use instruments::InstrumentCauses;
use joint::JointCauses;
use lean::LeanCauses;
use level::LevelCauses;
use plan_fit::PlanFit;
use portal::PortalCauses;
use raisewatch_protocol::words::{Kind, Step};
use raisewatch_protocol::{Mono, Span};
use ropes::RopeCauses;
use scope::{Keys, Scope};
use standing::StandingCauses;
use weight::WeightCauses;

/// Tells the conditions of the moment.
#[derive(Clone, Debug)]
pub struct Causes {
    keys: Keys,
    instruments: InstrumentCauses,
    drops: DropCauses,
    forces: ForceCauses,
    ropes: RopeCauses,
    levels: LevelCauses,
    leans: LeanCauses,
    portals: PortalCauses,
    joints: JointCauses,
    weights: WeightCauses,
    standing: StandingCauses,
    bypass: BypassCauses,
    fit: PlanFit,
    base: BaseRule,
    rebase: bool,
    due: Option<Mono>,
}

impl Causes {
    /// Causes of a lift that has just begun.
    pub fn new(setup: &Setup) -> Self {
        let (channels, towers) = (setup.channels.len(), setup.plan.towers.len());
        Causes {
            keys: Keys::default(),
            instruments: InstrumentCauses::new(channels),
            drops: DropCauses::default(),
            forces: ForceCauses::new(towers),
            ropes: RopeCauses::new(towers),
            levels: LevelCauses::default(),
            leans: LeanCauses::new(channels, setup.plan.pieces.len()),
            portals: PortalCauses::new(towers),
            joints: JointCauses::new(setup),
            weights: WeightCauses::default(),
            standing: StandingCauses::new(setup),
            bypass: BypassCauses::new(towers),
            fit: PlanFit::default(),
            base: BaseRule::Follows(3.0),
            rebase: false,
            due: None,
        }
    }

    /// Adds every condition of this moment to `found` (cleared by the caller, its room reused). Once after each
    /// [`Estimator::advance`]; `estimator` is then told how its base of the shares follows.
    #[allow(clippy::too_many_arguments)]
    pub fn judge(
        &mut self,
        setup: &Setup,
        scene: &Scene,
        limits: &Limits,
        health: &[Health],
        estimator: &mut Estimator,
        now: Mono,
        found: &mut Vec<Condition>,
    ) {
        let scope = Scope { setup, scene, limits, health, est: estimator, now };
        let leans = &self.leans;
        self.instruments.judge(&scope, |c| leans.odd(c), found);
        let hung = self.forces.hung(&scope);
        let dropped = self.drops.judge(&scope, hung, found) | self.ropes.slipping(&scope, hung, found);
        let forces = self.forces.judge(&scope, found);
        let resting = forces.held && scene.motion == Motion::Down;
        let ropes = self.forces.ropes(&scope, resting, |j| self.bypass.past(j), found);
        let covered = dropped || forces.held || ropes;
        self.ropes.crossed(&scope, covered, found);
        self.weights.towers(&scope, covered, found);
        self.levels.judge(&scope, covered, found);
        self.leans.judge(&scope, found);
        self.portals.judge(&scope, self.leans.changed(), found);
        self.joints.judge(&scope, covered, found);
        self.weights.weights(&scope, forces, dropped || ropes, found);
        self.standing.judge(&scope, covered, found);
        self.past_cells_and_plan(&scope, covered, found);
        self.keys.finish(found);
        self.base = base_rule(&scope, forces);
        self.rebase = self.weights.settled_announced(&scope);
        self.due = self.forces.due_s(&scope).map(|s| Mono(0) + Span::from_s(s));
        estimator.set_base(self.base);
        estimator.set_told(self.levels.told(), self.levels.sudden());
        if self.rebase {
            estimator.rebase();
            self.standing.weighed_anew();
        }
    }

    /// Load that goes past a cell, and a plan that is another lift's: what follows from them is no weight.
    fn past_cells_and_plan(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        let (settled, unit) = (self.weights.settled, self.weights.unit);
        let another = self.fit.judge(scope, settled, unit, found);
        let past = self.bypass.judge(scope, covered, settled && !unit && !another, found);
        if another || past {
            let follows = |c: &&mut Condition| matches!(c.kind, Kind::ExtraWeight | Kind::MissingWeight | Kind::OffPlan);
            for c in found.iter_mut().filter(follows).filter(|c| matches!(c.stands, Stands::At(_))) {
                c.stands = Stands::Within;
            }
        }
    }

    /// A channel was zeroed in `rig`.
    pub fn zeroed(&mut self, channel: usize) {
        self.leans.zeroed(channel);
    }

    /// When the next condition may change by time alone (a span that runs out), if any: the watch is stepped there.
    pub fn deadline(&self) -> Option<Mono> {
        self.due
    }

    /// Whether a warn of the level looks ahead by the crew's reaction.
    pub fn look_ahead(&mut self, on: bool) {
        self.levels.look_ahead(on);
    }

    /// How what stands off the line grows.
    pub fn trend(&self) -> &Trend {
        self.levels.trend()
    }

    /// Whether a channel is known to be no guard any more (knocked, frozen, noisy…): [`Health::trusted`] follows it.
    pub fn distrusts(&self, channel: usize) -> bool {
        self.instruments.distrusts(channel)
    }
}

/// How the base of the shares follows: quickly where changes are announced or settle, slowly while cranking (tails, friction,
/// cells that drift), hardly while standing, and not at all while a force is suspected.
fn base_rule(scope: &Scope, forces: force::Forces) -> BaseRule {
    let rested = scope.now_s() - scope.scene.since.s();
    match scope.scene.step {
        Step::Rig | Step::Change | Step::Strike | Step::Land => BaseRule::Follows(3.0),
        Step::TestLift => BaseRule::Follows(5.0),
        Step::Stand if rested < 20.0 => BaseRule::Follows(3.0),
        // A cell creeps and cools over hours, somebody adds a banner within a minute.
        Step::Stand if scope.est.total_excess_n()[2].is_some_and(|e| e.abs() < 15.0) => BaseRule::Follows(900.0),
        Step::Stand => BaseRule::Held,
        _ if forces.held => BaseRule::Held,
        _ if forces.suspected => BaseRule::Follows(60.0),
        _ => BaseRule::Follows(15.0),
    }
}
