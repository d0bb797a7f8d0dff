//! What every cause looks at, and the few helpers that all share.

use crate::condition::{Condition, Known, Stands};
use crate::estimate::Estimator;
use crate::health::Health;
use crate::limits::{Limits, Pair, StepLimits};
use crate::scene::{Motion, Scene};
use crate::setup::Setup;
use raisewatch_protocol::Mono;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// The present moment.
pub struct Scope<'a> {
    /// Plan and kit.
    pub setup: &'a Setup,
    /// Step, motion, pins, words.
    pub scene: &'a Scene,
    /// Limits of all steps.
    pub limits: &'a Limits,
    /// Health of all channels.
    pub health: &'a [Health],
    /// The estimate and what lies under it.
    pub est: &'a Estimator,
    /// Now.
    pub now: Mono,
}

impl Scope<'_> {
    /// Now, s.
    pub fn now_s(&self) -> f64 {
        self.now.s()
    }
    /// Limits of this step.
    pub fn rows(&self) -> &StepLimits {
        self.limits.at(self.scene.step)
    }
    /// How many towers.
    pub fn towers(&self) -> usize {
        self.setup.plan.towers.len()
    }
    /// Whether the truss hangs on its towers in this step.
    pub fn hangs(&self) -> bool {
        !matches!(self.scene.step, Step::Rig | Step::Strike)
    }
    /// Whether heads go up by the step.
    pub fn up(&self) -> bool {
        self.scene.motion == Motion::Up && matches!(self.scene.step, Step::Raise | Step::Section)
    }
    /// Whether heads come down by the step.
    pub fn down(&self) -> bool {
        self.scene.motion == Motion::Down && matches!(self.scene.step, Step::Lower | Step::Section)
    }
    /// Distance of two heads in plan, m.
    pub fn apart_m(&self, j: usize, k: usize) -> f64 {
        let (a, b) = (self.est.sums().at[j], self.est.sums().at[k]);
        (b[0] - a[0]).hypot(b[1] - a[1])
    }
}

/// How `size` (not negative) stands against a pair of limits.
pub fn against(size: f64, pair: &Pair) -> Stands {
    match pair.stop {
        Some(stop) if size >= stop => Stands::At(Severity::Stop),
        _ if size >= pair.warn => Stands::At(Severity::Warn),
        _ if size < pair.clear * pair.warn => Stands::Clear,
        _ => Stands::Within,
    }
}

/// The limit that is told: of the severity it stands at, else the warn limit.
pub fn limit_of(stands: Stands, pair: &Pair) -> f64 {
    match (stands, pair.stop) {
        (Stands::At(Severity::Stop), Some(stop)) => stop,
        _ => pair.warn,
    }
}

/// How grave, for choosing between two.
pub fn gravity(stands: Stands) -> u8 {
    match stands {
        Stands::Unknown => 0,
        Stands::Clear => 1,
        Stands::Within => 2,
        Stands::At(Severity::Note) => 3,
        Stands::At(Severity::Warn) => 4,
        Stands::At(Severity::Stop) => 5,
    }
}

/// Fills `room` with these numbers; false where one of them is not known (`room` is then of no use).
pub fn all_known(room: &mut Vec<f64>, numbers: impl Iterator<Item = Option<f64>>) -> bool {
    room.clear();
    let mut whole = true;
    room.extend(numbers.map_while(|n| {
        whole &= n.is_some();
        n
    }));
    whole
}

/// For how long something has held without a break.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Held {
    since_s: Option<f64>,
}

impl Held {
    /// For how long it has held at the last look, s; zero where it does not.
    pub fn lasted_s(&self, now_s: f64) -> f64 {
        self.since_s.map_or(0.0, |since| now_s - since)
    }

    /// Tells whether it holds now; gives for how long it has, s (zero where it does not).
    pub fn see(&mut self, holds: bool, now_s: f64) -> f64 {
        match (holds, self.since_s) {
            (false, _) => {
                self.since_s = None;
                0.0
            }
            (true, None) => {
                self.since_s = Some(now_s);
                0.0
            }
            // A microsecond forgives the rounding of times.
            (true, Some(since)) => now_s - since + 1e-6,
        }
    }
}

/// Something known by its value alone.
pub fn known(value: f64, sigma: f64) -> Option<Known> {
    Some(Known { value, sigma })
}

/// The conditions of one moment, and which of them were ever told so that their going is told too.
#[derive(Clone, Debug, Default)]
pub struct Keys {
    told: Vec<(Kind, Option<usize>)>,
}

impl Keys {
    /// Adds a clear for every condition that once stood and of which nothing is said now.
    pub fn finish(&mut self, found: &mut Vec<Condition>) {
        for c in found.iter() {
            if matches!(c.stands, Stands::At(_)) && !self.told.contains(&(c.kind, c.tower)) {
                self.told.push((c.kind, c.tower));
            }
        }
        for &(kind, tower) in &self.told {
            if !found.iter().any(|c| c.kind == kind && c.tower == tower) {
                found.push(Condition { tower, stands: Stands::Clear, ..Condition::of(kind) });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_reached_not_passed() {
        let pair = Pair { warn: 50.0, stop: Some(100.0), clear: 0.6, never_exceed: None };
        for (size, stands) in [
            (0.0, Stands::Clear),
            (29.9, Stands::Clear),
            (30.0, Stands::Within),
            (49.9, Stands::Within),
            (50.0, Stands::At(Severity::Warn)),
            (99.9, Stands::At(Severity::Warn)),
            (100.0, Stands::At(Severity::Stop)),
        ] {
            assert_eq!(against(size, &pair), stands, "{size}");
        }
        assert_eq!(against(1e6, &Pair { warn: 50.0, stop: None, clear: 0.6, never_exceed: None }), Stands::At(Severity::Warn));
    }

    #[test]
    fn what_stood_is_said_to_be_clear() {
        let mut keys = Keys::default();
        let mut found = vec![Condition { tower: Some(1), stands: Stands::At(Severity::Warn), ..Condition::of(Kind::Uneven) }];
        keys.finish(&mut found);
        assert_eq!(found.len(), 1);
        found.clear();
        keys.finish(&mut found);
        assert_eq!((found[0].kind, found[0].tower, found[0].stands), (Kind::Uneven, Some(1), Stands::Clear));
    }
}
