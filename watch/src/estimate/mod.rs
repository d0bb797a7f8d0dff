//! How the lift stands: each tower's offset and rate, the load that is really there, and how well each is known.
//!
//! [`levels`] is the filter over the heads (Kalman form; [`kalman`]), with the statics ([`sums`]) as its measurement model and a
//! model of sway and cranking in every tilt box ([`tilt`]). [`loads`] keeps the shares and what they show beside what is expected.
//! [`level`] lays the line from which offsets are told; [`heights`] knows how long the tails hang.
//! What the instruments fitted and heard cannot tell is `None` here, never zero.

mod halved;
pub mod hands;
pub mod heights;
pub mod kalman;
pub mod level;
pub mod levels;
pub mod loads;
mod motion;
pub mod odd;
pub mod patterns;
mod refusals;
pub mod robust;
pub mod shares;
pub mod sums;
#[cfg(test)]
mod tests;
pub mod tilt;
pub mod watched;
pub mod whole;
pub mod window;

use crate::calibrate::Calibrated;
use crate::condition::Known;
use crate::health::Health;
use crate::scene::{Motion, Pins, Scene};
use crate::setup::{Setup, WatchError};
use heights::Height;
use level::LevelLine;
use levels::Levels;
use loads::Loads;
use raisewatch_protocol::Mono;
use raisewatch_protocol::words::Channel;
use sums::Sums;
use watched::Watched;

/// The estimate of one tower. `None` where the instruments fitted and heard cannot know it; never zero in its place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TowerEstimate {
    /// Height of the head above the mean of all heads, mm. Only differences between towers mean anything; [`Estimate::level`]
    /// has the offsets that are told.
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
    /// The level line and where the heads stand from it: what is told.
    pub level: LevelLine,
    /// Height of the truss that the tails are weighed by, m.
    pub height_m: Option<Known>,
}

/// Shares at this moment, as the causes need them. By tower, N; `None` where not measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShareNow {
    /// Channel that tells it.
    pub channel: Option<usize>,
    /// Measured: mean over 0.3 s, 1 s, 5 s and 10 s.
    pub measured_n: [Option<f64>; 4],
    /// Measured less expected at the heights now, over the same stretches.
    pub beside_n: [Option<f64>; 4],
    /// The same less the learnt base: what has come lately.
    pub excess_n: [Option<f64>; 4],
}

/// Makes the estimate out of readings.
#[derive(Clone, Debug)]
pub struct Estimator {
    estimate: Estimate,
    sums: Sums,
    levels: Levels,
    loads: Loads,
    height: Height,
    shares: Vec<ShareNow>,
    heard: Vec<Option<f64>>,
    motion: Option<Motion>,
    pattern_due_s: f64,
    /// The self-held patterns of shares at the last look, N over those of the level truss.
    patterns_n: Vec<f64>,
    base_at_s: Option<f64>,
    /// Whether the base may follow: set by the causes of the step before.
    base: BaseRule,
    total_excess: [Option<f64>; 4],
    bears: Vec<bool>,
    watched: Vec<Watched>,
}

/// All heads of the filter, whether they may be told or not.
struct AsBent<'a>(&'a Levels);

impl level::Offsets for AsBent<'_> {
    fn offset_mm(&self, j: usize) -> Option<f64> {
        Some(self.0.offset_m(j) * 1000.0)
    }
    fn cov_mm2(&self, j: usize, k: usize) -> f64 {
        self.0.cov_mm2(j, k)
    }
    fn wide_mm2(&self, j: usize, k: usize) -> f64 {
        self.0.wide_mm2(j, k)
    }
}

/// How fast the base of the shares follows what is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BaseRule {
    /// Not at all: something has come that must not be learnt away.
    Held,
    /// With this time constant, s.
    Follows(f64),
}

impl Estimator {
    /// An estimator that knows nothing yet.
    ///
    /// Errors: [`WatchError::Statics`] where the plan cannot be stood up.
    pub fn new(setup: &Setup) -> Result<Self, WatchError> {
        let sums = Sums::new(setup)?;
        let n = setup.plan.towers.len();
        let height = Height::new(setup);
        let estimate = Estimate { towers: vec![TowerEstimate::default(); n], height_m: Some(height.now()), ..Estimate::default() };
        Ok(Estimator {
            estimate,
            levels: Levels::new(setup, &sums),
            loads: Loads::new(setup),
            height,
            shares: vec![ShareNow::default(); n],
            heard: vec![None; setup.channels.len()],
            motion: None,
            pattern_due_s: 0.0,
            patterns_n: Vec::new(),
            base_at_s: None,
            base: BaseRule::Follows(3.0),
            total_excess: [None; 4],
            bears: vec![false; n],
            watched: setup.channels.iter().map(|s| Watched::new(1.0 / s.period_s, s.channel)).collect(),
            sums,
        })
    }

    /// Takes one reading, at its arrival (`reading.at`). Readings come in order of arrival; those of one packet share one `at`.
    /// Only readings that [`crate::health`] calls judged come here (not late, not retained, in range).
    pub fn take(&mut self, setup: &Setup, scene: &Scene, health: &[Health], reading: &Calibrated) {
        let t_s = reading.at.s();
        let c = reading.channel;
        self.heard[c] = Some(t_s);
        self.watched[c].heard(t_s, reading.value);
        let seat = &setup.channels[c];
        match seat.channel {
            Channel::TrussAlong => {
                let moving = self.moving(scene);
                self.levels.predict(t_s, moving);
                let usable = reading.zeroed && health[c].usable() && !(moving && health[c].too_slow);
                self.levels.tilt(&self.sums, c, t_s, reading.value, usable);
            }
            Channel::Height => {
                let moving = self.moving(scene);
                self.levels.predict(t_s, moving);
                if health[c].usable() && !(moving && health[c].too_slow) {
                    self.levels.height(c, reading.value, setup.plan.working_height.0);
                }
            }
            Channel::HeadLoad | Channel::RopeLoad => {
                if reading.zeroed {
                    self.loads.take(c, t_s, reading.value);
                }
            }
            Channel::MastAlong | Channel::MastAcross | Channel::TrussAcross | Channel::Battery => {}
        }
    }

    fn moving(&self, scene: &Scene) -> bool {
        scene.guarded_as_moving() || scene.turn.is_some()
    }

    /// Brings the estimate to `now`: once after all readings of a packet, and at every tick. Silence of a channel shows in `health`.
    pub fn advance(&mut self, setup: &Setup, scene: &Scene, health: &[Health], now: Mono) {
        let now_s = now.s();
        if self.motion != Some(scene.motion) {
            if scene.motion == Motion::Still && self.motion.is_some() {
                self.levels.rest();
            }
            self.motion = Some(scene.motion);
        }
        self.levels.predict(now_s, self.moving(scene));
        self.loads.advance(now_s);
        self.watched.iter_mut().for_each(|w| w.advance(now_s));
        self.stand(setup, scene, health, now_s);
        self.settle_refusals(setup, health, now_s);
        for j in 0..self.bears.len() {
            // Some box or gauge that is live now bears on this head.
            self.bears[j] = (setup.channels.iter().enumerate()).any(|(c, seat)| match seat.channel {
                Channel::TrussAlong => health[c].usable() && !self.jumped(c) && self.sums.slopes[c].1[j].abs() > 1e-6,
                Channel::Height => health[c].usable(),
                _ => false,
            });
        }
        self.levels.tell(&self.bears);
        self.weigh(setup, scene, health, now_s);
        self.use_patterns(setup, scene, now_s);
        self.write(setup, scene, health, now_s);
    }

    /// Height and bearings, and the statics with them.
    fn stand(&mut self, setup: &Setup, scene: &Scene, health: &[Health], now_s: f64) {
        let (mut sum, mut count) = (0.0, 0.0);
        for (c, seat) in setup.channels.iter().enumerate() {
            if seat.channel == Channel::Height
                && health[c].usable()
                && let Some((lift, _)) = self.levels.lift_m(seat.tower)
            {
                sum += setup.plan.working_height.0 + lift;
                count += 1.0;
            }
        }
        self.height.advance(setup, scene, now_s, (count > 0.0).then(|| sum / count));
        if let Some(changed) = self.sums.stand(setup, self.height.now().value, |j| scene.towers[j].pins != Pins::None) {
            self.levels.settle();
            self.levels.rebear(&self.sums, &changed);
        }
    }

    fn write(&mut self, setup: &Setup, scene: &Scene, health: &[Health], now_s: f64) {
        let motion = if scene.motion == Motion::Still { scene.last_moving } else { scene.motion };
        let mut line = std::mem::take(&mut self.estimate.level);
        level::lay(&mut line, self.sums.layout, &self.sums.at, motion, &self.levels);
        self.estimate.level = line;
        self.estimate.height_m = Some(self.height.now());
        self.estimate.total_expected_n = self.sums.total_n();
        self.levels.tell_rates();
        let mut total = Some(Known { value: 0.0, sigma: 0.0 });
        for j in 0..self.shares.len() {
            let tower = self.tower(setup, scene, health, j, now_s);
            total = total.zip(tower.measured_n).map(|(t, m)| Known { value: t.value + m.value, sigma: t.sigma.hypot(m.sigma) });
            self.estimate.towers[j] = tower;
        }
        self.estimate.total_n = total;
    }

    fn tower(&self, setup: &Setup, scene: &Scene, health: &[Health], j: usize, now_s: f64) -> TowerEstimate {
        use level::Offsets;
        let known = self.levels.known[j];
        let offset_mm = known.then(|| Known { value: self.levels.offset_m(j) * 1000.0, sigma: self.levels.cov_mm2(j, j).sqrt() });
        let rate = self.levels.rate_m_s(j);
        let height = self.levels.lift_m(j).filter(|_| self.fresh(setup, health, j, Channel::Height));
        let said = &scene.towers[j];
        TowerEstimate {
            offset_mm,
            rate_mm_s: known.then(|| Known { value: rate.0 * 1000.0, sigma: rate.1.sqrt() * 1000.0 }),
            measured_n: self.measured(j),
            expected_n: self.expected(j),
            planned_n: self.sums.planned_n(j),
            height_m: height
                .map(|(h, v)| Known { value: setup.plan.working_height.0 + h, sigma: v.sqrt() })
                .or_else(|| said.height_said_m.filter(|_| scene.motion == Motion::Still).map(|h| Known { value: h, sigma: 0.05 })),
            speed_mm_s: self
                .levels
                .speed_m_s(j)
                .filter(|_| self.fresh(setup, health, j, Channel::Height))
                .map(|(v, var)| Known { value: v * 1000.0, sigma: var.sqrt() * 1000.0 }),
            age_s: self.age_s(setup, j, now_s),
        }
    }

    fn fresh(&self, setup: &Setup, health: &[Health], j: usize, channel: Channel) -> bool {
        setup.channels.iter().enumerate().any(|(c, s)| s.tower == j && s.channel == channel && health[c].usable())
    }

    fn age_s(&self, setup: &Setup, j: usize, now_s: f64) -> Option<f64> {
        let bears = |c: usize| match setup.channels[c].channel {
            Channel::TrussAlong => self.sums.slopes[c].1[j].abs() > 1e-6,
            Channel::Height => setup.channels[c].tower == j,
            _ => false,
        };
        let newest = (0..setup.channels.len())
            .filter(|&c| bears(c))
            .filter_map(|c| self.heard[c])
            .fold(None, |m: Option<f64>, t| Some(m.map_or(t, |m| m.max(t))));
        newest.map(|t| (now_s - t).max(0.0))
    }

    /// A channel was zeroed (or taken as backwards): what was learnt of its bias no longer holds.
    pub fn renewed(&mut self, setup: &Setup, channel: usize) {
        self.watched[channel].renew();
        self.levels.renew(channel);
        self.loads.renewed(setup, channel);
    }

    /// Slope that the plan gives at a box with the heads level, as it hangs and bears now, rad: what a zero of `truss-along`
    /// has in it.
    pub fn planned_slope_rad(&self, channel: usize) -> f64 {
        self.sums.slopes[channel].0
    }

    /// The estimate at the last `advance`.
    pub fn estimate(&self) -> &Estimate {
        &self.estimate
    }

    /// The statics as the lift stands now.
    pub fn sums(&self) -> &Sums {
        &self.sums
    }

    /// Takes what was measured of how offsets move shares, N/m (see [`Sums::set_share_per_offset`]); `None`: the
    /// plan's again. False where it cannot be one.
    pub fn set_share_per_offset(&mut self, measured: Option<&[Vec<f64>]>) -> bool {
        let taken = self.sums.set_share_per_offset(measured);
        if taken {
            // Offsets and the biases of the patterns were learnt with the stiffness before.
            self.levels.settle();
            for k in 0..self.sums.self_held.len() {
                self.levels.doubt_pattern(k, 0.05 * self.sums.total_n() / self.shares.len() as f64);
            }
        }
        taken
    }

    /// The cells.
    pub fn loads(&self) -> &Loads {
        &self.loads
    }

    /// Shares by tower as the causes need them.
    pub fn shares(&self) -> &[ShareNow] {
        &self.shares
    }

    /// Sum over all towers of what came on top of the base, over 0.3, 1, 5 and 10 s; `None` where a share is not measured.
    pub fn total_excess_n(&self) -> [Option<f64>; 4] {
        self.total_excess
    }

    /// A box of the truss.
    pub fn tilt(&self, channel: usize) -> Option<&tilt::Tilt> {
        self.levels.tilts.get(channel)?.as_ref()
    }

    /// Three towers and more, the first seconds: whether it is still being found out if cranks or heads were levelled.
    pub fn levelling(&self) -> bool {
        self.levels.levelling()
    }

    /// Whether within the last `lately_s` something beside boxes told of the heads: the shares (three towers and more), or a height of
    /// each of them.
    pub fn felt(&self, lately_s: f64) -> bool {
        self.levels.at_s.is_some_and(|now_s| self.levels.felt(now_s, lately_s))
    }

    /// Three towers and more: whether the shares tell now how the truss is bent or twisted.
    pub fn bent(&self) -> bool {
        self.levels.at_s.is_some_and(|now_s| self.levels.bent(now_s, 1.0))
    }

    /// A combination of offsets that the shares tell, mm, whether the heads themselves are known or not: factors that no height and
    /// no rake of the whole enters.
    pub fn bend_mm(&self, terms: &[(usize, f64)]) -> Known {
        use level::Offsets;
        let value = terms.iter().map(|&(j, f)| f * self.levels.offset_m(j) * 1000.0).sum();
        let pairs = terms.iter().flat_map(|&(j, f)| terms.iter().map(move |&(k, g)| (j, k, f * g)));
        let variance: f64 = pairs.map(|(j, k, fg)| fg * self.levels.cov_mm2(j, k)).sum();
        Known { value, sigma: variance.max(0.0).sqrt() }
    }

    /// The heads as the filter has them, known or not: what the suppositions of [`odd`] are weighed with where shares alone are heard.
    pub fn as_bent(&self) -> impl level::Offsets + '_ {
        AsBent(&self.levels)
    }

    /// Whether a box was moved on its seat.
    pub fn jumped(&self, channel: usize) -> bool {
        self.levels.tilts[channel].as_ref().is_some_and(|t| t.jumped)
    }

    /// What is kept of a channel beside the filter.
    pub fn watched(&self, channel: usize) -> &Watched {
        &self.watched[channel]
    }

    /// Mean of a channel over the last 5 s.
    pub fn slow_mean(&self, channel: usize) -> Option<window::Mean> {
        self.watched[channel].mean()
    }

    /// A combination of offsets, mm: heads and factors, which add up to nothing. Zero for heads that are not known.
    pub fn combined_mm(&self, terms: &[(usize, f64)]) -> Known {
        use level::Offsets;
        let value = terms.iter().map(|&(j, f)| f * self.levels.offset_mm(j).unwrap_or(0.0)).sum();
        let pairs = terms.iter().flat_map(|&(j, f)| terms.iter().map(move |&(k, g)| (j, k, f * g)));
        let variance: f64 = pairs.map(|(j, k, fg)| fg * self.levels.cov_mm2(j, k)).sum();
        Known { value, sigma: variance.max(0.0).sqrt() }
    }

    /// The head that the crew was told stands off, while it does (three towers and more).
    /// `sudden`: whether most of what stands off came within a turn.
    pub fn set_told(&mut self, odd: Option<usize>, sudden: bool) {
        self.estimate.level.told = odd;
        self.estimate.level.sudden = sudden;
    }

    /// How the base of the shares follows from now on.
    pub fn set_base(&mut self, rule: BaseRule) {
        self.base = rule;
    }

    /// Takes the shares as they are now for the base, over the last 5 s.
    pub fn rebase(&mut self) {
        for j in 0..self.shares.len() {
            self.loads.base_n[j] = self.shares[j].beside_n[loads::over::FIVE];
        }
    }
}
