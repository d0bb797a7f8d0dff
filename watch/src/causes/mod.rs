//! What is not as it should be at this moment, and what causes it: conditions out of the estimate, without memory of the telling.

use crate::condition::Condition;
use crate::estimate::Estimator;
use crate::health::Health;
use crate::limits::Limits;
use crate::scene::Scene;
use crate::setup::Setup;
use raisewatch_protocol::Mono;

/// Tells the conditions of the moment.
#[derive(Clone, Debug)]
pub struct Causes {}

impl Causes {
    /// Causes of a lift that has just begun.
    pub fn new(_setup: &Setup) -> Self {
        Causes {}
    }

    /// Adds every condition of this moment to `found` (cleared by the caller, its room reused). Once after each
    /// [`Estimator::advance`].
    pub fn judge(
        &mut self,
        _setup: &Setup,
        _scene: &Scene,
        _limits: &Limits,
        _health: &[Health],
        _estimator: &Estimator,
        _now: Mono,
        _found: &mut Vec<Condition>,
    ) {
    }

    /// When the next condition may change by time alone (a span that runs out), if any: the watch is stepped there.
    pub fn deadline(&self) -> Option<Mono> {
        None
    }

    /// Whether a channel is known to be no guard any more (knocked, frozen, noisy…): [`Health::trusted`] follows it.
    pub fn distrusts(&self, _channel: usize) -> bool {
        false
    }
}
