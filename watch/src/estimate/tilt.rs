//! One tilt box on the truss: how noisy it is, how much it swings, and whether it still says what the others say.
//!
//! A tilt is an accelerometer: 5 mm of sway at 1 Hz reads as more than a degree (docs/trade.md section 4). Sway and the ripple of cranking
//! lie between 0.3 and 1.5 Hz; in the filter each box has [`CYCLES`] damped oscillations of its own that take up what swings in
//! that band, as strong as the box is seen to swing. What turns slower is the truss.

use super::kalman::Block;
use super::window::{Stretch, Trace};
use crate::causes::scope::Held;

/// Middle frequencies of the band of sway and cranking, Hz.
pub const CYCLES: [f64; 3] = [0.45, 0.80, 1.25];
/// Damping ratio: neighbours overlap.
const DAMPING: f64 = 0.20;

/// Stretches of the trace of a box.
pub mod over {
    /// The last 0.3 s.
    pub const FAST: usize = 0;
    /// The last second.
    pub const ONE: usize = 1;
    /// 1.5 to 2.5 s ago.
    pub const BEFORE: usize = 2;
    /// 0.8 to 2.8 s ago: what a drop stands out from.
    pub const STOOD: usize = 3;
    /// The last 2 s.
    pub const TWO: usize = 4;
    /// 2.5 to 4.5 s ago.
    pub const EARLIER: usize = 5;
}
const STRETCHES: [Stretch; 6] = [
    Stretch::last(0.3),
    Stretch::last(1.0),
    Stretch { near_s: 1.5, far_s: 2.5 },
    Stretch { near_s: 0.8, far_s: 2.8 },
    Stretch::last(2.0),
    Stretch { near_s: 2.5, far_s: 4.5 },
];

/// The blocks of one box in the filter: its bias, then its oscillations.
pub fn blocks() -> impl Iterator<Item = Block> {
    let cycles = CYCLES.iter().map(|hz| Block::Cycle { omega: hz * std::f64::consts::TAU, damping: DAMPING });
    std::iter::once(Block::Steady).chain(cycles)
}

/// How much variance an oscillation of variance 1 needs anew in `dt_s` to stay as strong.
pub fn renewal(cycle: usize, dt_s: f64) -> f64 {
    let d = DAMPING * CYCLES[cycle] * std::f64::consts::TAU * dt_s;
    1.0 - (-2.0 * d).exp()
}

/// One box.
#[derive(Clone, Debug)]
pub struct Tilt {
    /// State of its bias; its oscillations follow.
    pub bias: usize,
    /// Its recent values, rad.
    pub trace: Trace,
    /// Newest values, newest first, and how many.
    last: [f64; 3],
    seen: usize,
    /// Variance of the white part, rad².
    pub white: f64,
    /// Variance of what swings, rad²: over the last seconds, and over the last second.
    swing_slow: f64,
    swing_fast: f64,
    /// Standard deviation of its strongest swing lately, rad: a crank that comes to rest leaves a hand on its handle.
    pub swung: f64,
    last_s: f64,
    /// What its means do against its twin's, over one second and over two.
    pub steps: [Step; 2],
    /// Since when its values are too far off to be taken, and which way, s.
    pub refused_since: Option<(f64, f64)>,
    /// How far off they were, rad, averaged.
    pub refused_by: f64,
    /// It was moved on its seat: nothing is taken from it until it is zeroed again.
    pub jumped: bool,
}

/// What a mean of a box against its twin's does every day.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Variance of its change from one stretch to the next, rad², and when it was learnt last, s.
    wavers: (f64, f64),
    /// Since when it has stepped away.
    pub held: Held,
}

impl Default for Step {
    fn default() -> Self {
        Step { wavers: ((2.0 * WHITE).powi(2), 0.0), held: Held::default() }
    }
}

impl Step {
    /// Standard deviation of the change, rad, before `change` is learnt into it. What is far beyond is learnt as little more than
    /// what is usual: a step must not hide itself.
    pub fn wavers(&mut self, now_s: f64, change: f64) -> f64 {
        let (variance, at_s) = self.wavers;
        let learnt = 1.0 - (-(now_s - at_s).clamp(0.0, 1.0) / 15.0).exp();
        let square = (change * change).min(9.0 * variance);
        self.wavers = ((variance + (square - variance) * learnt).max((0.2 * WHITE).powi(2)), now_s);
        variance.sqrt()
    }
}

/// White noise of a usual box, rad: 0.05 degrees (docs/trade.md section 8, N1).
const WHITE: f64 = 0.05 * std::f64::consts::PI / 180.0;

impl Tilt {
    /// A box that was not heard yet.
    pub fn new(bias: usize, rate_hz: f64) -> Self {
        let room = (8.0 * rate_hz).clamp(64.0, 2000.0) as usize;
        Tilt {
            bias,
            trace: Trace::new(room, &STRETCHES),
            last: [0.0; 3],
            seen: 0,
            white: WHITE * WHITE,
            swing_slow: (6.0 * WHITE).powi(2),
            swing_fast: (6.0 * WHITE).powi(2),
            swung: 0.0,
            last_s: 0.0,
            steps: [Step::default(); 2],
            refused_since: None,
            refused_by: 0.0,
            jumped: false,
        }
    }

    /// Its history no longer holds (zeroed, turned round).
    pub fn renew(&mut self) {
        self.trace.clear();
        self.seen = 0;
        self.refused_since = None;
        self.jumped = false;
        self.steps = [Step::default(); 2];
    }

    /// Takes a value; `trend` is what it should be without noise and swing.
    pub fn heard(&mut self, t_s: f64, value: f64, trend: f64) {
        let dt = if self.seen == 0 { 0.05 } else { (t_s - self.last_s).clamp(1e-3, 5.0) };
        self.last_s = t_s;
        self.last = [value, self.last[0], self.last[1]];
        self.seen += 1;
        self.trace.push(t_s, value);
        let off = (value - trend).powi(2).min(0.01);
        self.swing_slow += (off - self.swing_slow) * (1.0 - (-dt / 6.0).exp());
        self.swing_fast += (off - self.swing_fast) * (1.0 - (-dt / 1.0).exp());
        // As it swung before the last 1.5 s: a step must not hide itself.
        let before = self.trace.mean(over::BEFORE).filter(|m| m.count >= 4).map_or(0.0, |m| m.spread);
        self.swung = before.max(self.swung * (-dt / 20.0).exp());
        if self.seen > 3 {
            // The second difference of white noise has six times its variance; a slow motion hardly shows in it.
            let second = self.last[0] - 2.0 * self.last[1] + self.last[2];
            let white = (second * second / 6.0).min(25.0 * self.white);
            self.white += (white - self.white) * (1.0 - (-dt / 5.0).exp());
            // Below a tenth of the usual the box is quieter than its seat.
            self.white = self.white.max((0.1 * WHITE).powi(2));
        }
    }

    /// Variance of the swing now, rad².
    pub fn swing(&self) -> f64 {
        (self.swing_slow.max(0.5 * self.swing_fast) - self.white).max((0.5 * WHITE).powi(2))
    }

    /// The newest value.
    pub fn newest(&self) -> Option<f64> {
        (self.seen > 0).then_some(self.last[0])
    }
}
