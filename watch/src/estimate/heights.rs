//! How high the truss hangs: what the tails weigh by. Measured, else said, else a band that opens at the plan's pace.

use crate::condition::Known;
use crate::scene::{Motion, Scene};
use crate::setup::Setup;

/// Height of the truss above the floor.
#[derive(Clone, Debug)]
pub struct Height {
    /// Lowest and highest that it can be, m.
    low_m: f64,
    high_m: f64,
    at_s: Option<f64>,
    said_s: f64,
}

impl Height {
    /// At the working height.
    pub fn new(setup: &Setup) -> Self {
        let h = setup.plan.working_height.0;
        Height { low_m: h, high_m: h, at_s: None, said_s: f64::NEG_INFINITY }
    }

    /// Brings the band to `now_s`; `measured` is the mean of the height channels.
    pub fn advance(&mut self, setup: &Setup, scene: &Scene, now_s: f64, measured: Option<f64>) {
        let dt = self.at_s.map_or(0.0, |t| (now_s - t).max(0.0));
        self.at_s = Some(now_s);
        if let Some(h) = measured {
            (self.low_m, self.high_m) = (h, h);
            return;
        }
        self.hear(scene);
        let (low, high) = (setup.plan.working_height.0, setup.plan.trim_height.0.max(setup.plan.working_height.0));
        match scene.motion {
            Motion::Up => self.high_m = (self.high_m + setup.plan.pace.0 * dt).min(self.next_pin(setup).unwrap_or(high)).max(self.low_m),
            Motion::Down => self.low_m = (self.low_m - setup.plan.pace_down.0 * dt).max(low.min(self.high_m)),
            Motion::Still => {}
        }
    }

    fn hear(&mut self, scene: &Scene) {
        let newest = scene.towers.iter().filter_map(|t| t.height_said_at.zip(t.height_said_m)).max_by_key(|(at, _)| *at);
        if let Some((at, h)) = newest
            && at.s() > self.said_s
        {
            self.said_s = at.s();
            (self.low_m, self.high_m) = (h, h);
        }
    }

    /// The highest pin in reach, or trim where that is higher: where no section is said the band goes on to there.
    fn next_pin(&self, setup: &Setup) -> Option<f64> {
        let pins = setup.plan.towers.iter().flat_map(|t| t.pins.iter().map(|p| p.0));
        pins.fold(None, |top: Option<f64>, p| Some(top.map_or(p, |t| t.max(p)))).map(|top| top.max(setup.plan.trim_height.0))
    }

    /// Middle of the band and its standard deviation (a uniform band's), m.
    pub fn now(&self) -> Known {
        Known { value: 0.5 * (self.low_m + self.high_m), sigma: (self.high_m - self.low_m) / 12.0_f64.sqrt() }
    }
}
