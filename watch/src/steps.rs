//! What the readings say about the step: when a test lift has come to rest, and heads that move in a still step.

use crate::estimate::Estimate;
use crate::scene::{Motion, Scene};
use raisewatch_protocol::words::Step;
use raisewatch_protocol::{Mono, Span};
use std::collections::VecDeque;

/// A test lift is still once its total has stood so long…
const STANDS_FOR: Span = Span::ms(3_000);
/// …within this share of itself.
const STANDS_WITHIN: f64 = 0.02;
/// Heads that move more than half a turn in this span move.
const MOVES_IN: Span = Span::ms(5_000);
/// The looks back are taken so often.
const LOOK_EVERY: Span = Span::ms(250);

/// Motion seen, beside motion said.
#[derive(Clone, Debug, Default)]
pub struct Steps {
    totals: VecDeque<(Mono, f64)>,
    looks: VecDeque<Look>,
    spare: Vec<Vec<Option<f64>>>,
    asked: bool,
}

#[derive(Clone, Debug)]
struct Look {
    at: Mono,
    /// Offset and height by tower, mm.
    heads_mm: Vec<Option<f64>>,
}

impl Steps {
    /// A person set the step.
    pub fn set(scene: &mut Scene, step: Step, now: Mono) {
        let motion = match step {
            Step::Raise | Step::TestLift => Motion::Up,
            Step::Land | Step::Lower => Motion::Down,
            // A section change belongs to the way that is being gone.
            Step::Section => scene.last_moving,
            Step::Rig | Step::Stand | Step::Change | Step::Strike => Motion::Still,
        };
        scene.before = Some(scene.step);
        scene.step = step;
        scene.since = now;
        if motion != scene.motion || scene.moving_unsaid {
            scene.motion_since = now;
        }
        scene.motion = motion;
        scene.moving_unsaid = false;
        if motion != Motion::Still {
            scene.last_moving = motion;
        }
        if step != Step::TestLift {
            (scene.turn, scene.turned) = (None, None);
        }
        scene.expect = None;
    }

    /// Forgets what was seen in the step before.
    pub fn begin(&mut self) {
        self.totals.clear();
        self.spare.extend(self.looks.drain(..).map(|l| l.heads_mm));
        self.asked = false;
    }

    /// A said turn is over: what it moved is no motion to ask about.
    pub fn turn_is_over(&mut self) {
        self.spare.extend(self.looks.drain(..).map(|l| l.heads_mm));
    }

    /// Looks at the newest estimate; true where the lead is to be asked for the step.
    pub fn look(&mut self, scene: &mut Scene, estimate: &Estimate, half_turn_mm: f64, now: Mono) -> bool {
        if scene.step == Step::TestLift && scene.motion != Motion::Still && self.stands(estimate, now) {
            scene.motion = Motion::Still;
            scene.motion_since = now;
        }
        if self.looks.back().is_some_and(|l| now.since(l.at) < LOOK_EVERY) {
            return false;
        }
        self.remember(estimate, now);
        if scene.motion != Motion::Still {
            scene.moving_unsaid = false;
            return false;
        }
        let moved_mm = self.moved_mm(estimate);
        let by_turn = scene.turn.is_some();
        if moved_mm > half_turn_mm && !by_turn && !scene.moving_unsaid {
            scene.moving_unsaid = true;
            scene.motion_since = now;
            return !std::mem::replace(&mut self.asked, true);
        }
        if scene.moving_unsaid && moved_mm < half_turn_mm / 2.0 {
            scene.moving_unsaid = false;
        }
        false
    }

    /// Whether the total has stood for 3 s. Where it cannot be known, the test lift counts as moving throughout.
    fn stands(&mut self, estimate: &Estimate, now: Mono) -> bool {
        let Some(total) = estimate.total_n else {
            self.totals.clear();
            return false;
        };
        while self.totals.len() > 1 && self.totals.get(1).is_some_and(|t| now.since(t.0) >= STANDS_FOR) {
            self.totals.pop_front();
        }
        if self.totals.back().is_none_or(|t| now.since(t.0) >= Span::ms(100)) {
            self.totals.push_back((now, total.value));
        }
        let over = self.totals.front().is_some_and(|t| now.since(t.0) >= STANDS_FOR);
        let (low, high) = self.totals.iter().fold((f64::MAX, f64::MIN), |(l, h), t| (l.min(t.1), h.max(t.1)));
        over && high - low <= STANDS_WITHIN * total.value.abs()
    }

    fn remember(&mut self, estimate: &Estimate, now: Mono) {
        while self.looks.len() > 1 && self.looks.get(1).is_some_and(|l| now.since(l.at) >= MOVES_IN) {
            self.spare.extend(self.looks.pop_front().map(|l| l.heads_mm));
        }
        let mut heads_mm = self.spare.pop().unwrap_or_default();
        heads_mm.clear();
        heads_mm.extend(estimate.towers.iter().map(|t| t.offset_mm.map(|o| o.value)));
        heads_mm.extend(estimate.towers.iter().map(|t| t.height_m.filter(|h| h.sigma < 0.01).map(|h| h.value * 1000.0)));
        self.looks.push_back(Look { at: now, heads_mm });
    }

    /// The most that two heads moved against each other, or one against the floor, over the looks kept, mm; what the estimate's own
    /// uncertainty explains is no move.
    fn moved_mm(&self, estimate: &Estimate) -> f64 {
        let (Some(then), Some(last)) = (self.looks.front(), self.looks.back()) else { return 0.0 };
        let n = estimate.towers.len();
        let change = |i: usize| Some(last.heads_mm.get(i).copied()?? - then.heads_mm.get(i).copied()??);
        let mut most = 0.0_f64;
        for i in 0..n {
            if let Some(rise) = change(n + i) {
                most = most.max(rise.abs());
            }
            let Some(a) = change(i) else { continue };
            let sigma = estimate.towers[i].offset_mm.map_or(0.0, |o| o.sigma);
            for j in 0..i {
                if let Some(b) = change(j) {
                    most = most.max((a - b).abs() - 3.0 * sigma);
                }
            }
        }
        most
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::condition::Known;
    use crate::estimate::TowerEstimate;

    fn estimate(total: Option<f64>, b_high_mm: f64) -> Estimate {
        let tower = |mm| TowerEstimate { offset_mm: Some(Known { value: mm, sigma: 1.0 }), ..TowerEstimate::default() };
        Estimate {
            towers: vec![tower(-b_high_mm / 2.0), tower(b_high_mm / 2.0)],
            total_n: total.map(|value| Known { value, sigma: 5.0 }),
            ..Estimate::default()
        }
    }

    fn at(ms: u64) -> Mono {
        Mono(ms * 1000)
    }

    #[test]
    fn steps_move_as_the_forms_say() {
        use Motion::*;
        let mut scene = Scene::new(2, at(0));
        let path = [
            (Step::TestLift, Up),
            (Step::Raise, Up),
            (Step::Section, Up),
            (Step::Land, Down),
            (Step::Stand, Still),
            (Step::Lower, Down),
            (Step::Section, Down),
            (Step::Strike, Still),
        ];
        for (i, (step, want)) in path.into_iter().enumerate() {
            Steps::set(&mut scene, step, at(i as u64 * 1000));
            assert_eq!(scene.motion, want, "{step}");
        }
        assert_eq!(scene.last_moving, Down);
    }

    #[test]
    fn a_test_lift_rests_once_its_total_has_stood_for_three_seconds() {
        let mut scene = Scene::new(2, at(0));
        let mut steps = Steps::default();
        Steps::set(&mut scene, Step::TestLift, at(0));
        let mut still_at = None;
        for ms in (0..12_000).step_by(50) {
            // Rising by 4 % until 4 s, then within 1 %.
            let total = 1900.0 + if ms < 4000 { 80.0 * (ms as f64 / 1000.0).fract() } else { 15.0 * (ms % 2) as f64 };
            steps.look(&mut scene, &estimate(Some(total), 0.0), 12.5, at(ms));
            if scene.motion == Motion::Still && still_at.is_none() {
                still_at = Some(ms);
            }
        }
        assert!(still_at.is_some_and(|ms| (6900..=7100).contains(&ms)), "{still_at:?}");
    }

    #[test]
    fn a_total_that_nobody_knows_never_rests() {
        let mut scene = Scene::new(2, at(0));
        let mut steps = Steps::default();
        Steps::set(&mut scene, Step::TestLift, at(0));
        for ms in (0..60_000).step_by(50) {
            steps.look(&mut scene, &estimate(None, 0.0), 12.5, at(ms));
        }
        assert_eq!(scene.motion, Motion::Up);
    }

    #[test]
    fn heads_that_move_in_a_still_step_are_guarded_and_the_step_is_asked_for_once() {
        let mut scene = Scene::new(2, at(0));
        let mut steps = Steps::default();
        Steps::set(&mut scene, Step::Stand, at(0));
        let mut asked = 0;
        for ms in (0..60_000_u64).step_by(50) {
            let high = match ms {
                0..10_000 => 0.0,
                10_000..15_000 => 8.0 * (ms - 10_000) as f64 / 1000.0,
                _ => 40.0,
            };
            asked += usize::from(steps.look(&mut scene, &estimate(Some(1900.0), high), 12.5, at(ms)));
            match ms {
                0..11_500 => assert!(!scene.moving_unsaid, "{ms}"),
                13_000..15_000 => assert!(scene.moving_unsaid, "{ms}"),
                25_000.. => assert!(!scene.moving_unsaid, "{ms}"),
                _ => {}
            }
        }
        assert_eq!(asked, 1);
    }

    #[test]
    fn a_slow_settle_is_no_motion() {
        let mut scene = Scene::new(2, at(0));
        let mut steps = Steps::default();
        Steps::set(&mut scene, Step::Stand, at(0));
        for ms in (0..600_000_u64).step_by(100) {
            steps.look(&mut scene, &estimate(Some(1900.0), ms as f64 * 1e-4), 12.5, at(ms));
            assert!(!scene.moving_unsaid);
        }
    }
}
