//! How the lift stands: each tower's offset and rate, the load that is really there, and how well each is known.

use crate::calibrate::Calibrated;
use crate::condition::Known;
use crate::health::Health;
use crate::scene::Scene;
use crate::setup::{Setup, WatchError};
use raisewatch_protocol::Mono;

/// The estimate of one tower. `None` where the instruments fitted and heard cannot know it; never zero in its place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TowerEstimate {
    /// Height of the head above the mean plane of all heads, mm. Only differences between towers mean anything; the level line
    /// is laid through the heads by [`crate::calls`].
    pub offset_mm: Option<Known>,
    /// Rate of that offset, mm/s.
    pub rate_mm_s: Option<Known>,
    /// Share measured (1 s mean), N, without the adapter.
    pub measured_n: Option<Known>,
    /// Share expected at the heights estimated now, by the plan, N.
    pub expected_n: Option<Known>,
    /// Planned share, truss level, at the height now, N.
    pub planned_n: f64,
    /// Head above the floor, m, where measured or said.
    pub height_m: Option<Known>,
    /// Speed of the head up, mm/s, where it can be known.
    pub speed_mm_s: Option<Known>,
    /// How long nothing has been heard that bears on this tower's offset, s.
    pub age_s: Option<f64>,
}

/// One unknown point load that the shares show beside the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extra {
    /// Piece, index in the plan.
    pub piece: usize,
    /// Where, m from the piece's `from` end.
    pub position_m: Known,
    /// How much, N; positive presses down.
    pub force_n: Known,
}

/// The whole estimate.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Estimate {
    /// By tower, in plan order.
    pub towers: Vec<TowerEstimate>,
    /// Total measured, N: only where every tower's share is measured.
    pub total_n: Option<Known>,
    /// Total expected at this height, N.
    pub total_expected_n: f64,
    /// What the shares show beside the plan, where it is beyond noise.
    pub extra: Option<Extra>,
}

/// Makes the estimate out of readings.
#[derive(Clone, Debug)]
pub struct Estimator {
    estimate: Estimate,
}

impl Estimator {
    /// An estimator that knows nothing yet.
    ///
    /// Errors: [`WatchError::Statics`] where the plan cannot be stood up.
    pub fn new(setup: &Setup) -> Result<Self, WatchError> {
        Ok(Estimator { estimate: Estimate { towers: vec![TowerEstimate::default(); setup.plan.towers.len()], ..Estimate::default() } })
    }

    /// Takes one reading, at its arrival (`reading.at`). Readings come in order of arrival; those of one packet share one `at`.
    /// Only readings that [`crate::health`] calls judged come here (not late, not retained, in range).
    pub fn take(&mut self, _setup: &Setup, _scene: &Scene, _health: &[Health], _reading: &Calibrated) {}

    /// Brings the estimate to `now`: once after all readings of a packet, and at every tick. Silence of a channel shows in `health`.
    pub fn advance(&mut self, _setup: &Setup, _scene: &Scene, _health: &[Health], _now: Mono) {}

    /// A channel was zeroed (or taken as backwards): what was learnt of its bias no longer holds.
    pub fn renewed(&mut self, _channel: usize) {}

    /// The estimate at the last `advance`.
    pub fn estimate(&self) -> &Estimate {
        &self.estimate
    }
}
