//! How the states of the filter move by themselves: blocks of one or two states, and what a step of time makes of each.
//!
//! All blocks of one make move alike, so a transition is worked out once for all of them. Two-state transitions are written row by
//! row; those of one state have only the first entry.

/// How a block of states moves in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Block {
    /// A value and its rate: the value moves by rate times time.
    Trend,
    /// Something that swings about where it hangs: its speed, and its place times the angular frequency (two states of like size).
    /// What swings comes back, so its speed has no mean: no power at zero frequency. Its strength is set with
    /// [`super::kalman::Kalman::strengthen`], and the noise that keeps it so strong is added in [`super::kalman::Kalman::predict`].
    Swing {
        /// rad/s.
        omega: f64,
        /// Damping ratio: how broad the band is.
        damping: f64,
    },
    /// Something that comes and goes slowly about nothing: it is forgotten with this time constant, s. Its strength is set and kept
    /// as that of a swing.
    Fading {
        /// s.
        tau_s: f64,
    },
    /// A value that stays as it is.
    Steady,
}

impl Block {
    /// How many states it has.
    pub fn states(self) -> usize {
        match self {
            Block::Trend | Block::Swing { .. } => 2,
            Block::Steady | Block::Fading { .. } => 1,
        }
    }

    /// Its transition over `dt_s`.
    fn over(self, dt_s: f64) -> [f64; 4] {
        match self {
            Block::Trend => [1.0, dt_s, 0.0, 1.0],
            Block::Swing { omega, damping } => swing(omega, damping, dt_s),
            Block::Fading { tau_s } => [(-dt_s / tau_s).exp(), 0.0, 0.0, 1.0],
            Block::Steady => STILL,
        }
    }
}

/// Nothing has moved.
pub const STILL: [f64; 4] = [1.0, 0.0, 0.0, 1.0];

/// All blocks that move alike.
#[derive(Clone, Debug)]
pub struct Kind {
    /// What they are.
    pub block: Block,
    /// Transition of the last step, and over what time, s.
    pub step: [f64; 4],
    at_s: f64,
    /// Noise of that step for a strength of one: first variance, covariance, second variance.
    noise: [f64; 3],
    /// Transition since the covariance was laid down, and its inverse.
    pub since: [f64; 4],
    back: [f64; 4],
}

impl Kind {
    /// Blocks that have not moved.
    pub fn new(block: Block) -> Self {
        Kind { block, step: STILL, at_s: 0.0, noise: [0.0; 3], since: STILL, back: STILL }
    }

    /// Moves on by `dt_s`.
    pub fn step(&mut self, dt_s: f64) {
        if self.at_s != dt_s {
            self.at_s = dt_s;
            let f = self.block.over(dt_s);
            self.step = f;
            // Stationary: Q = I - F F' for a strength of one.
            self.noise = match self.block {
                Block::Swing { .. } => [1.0 - f[0] * f[0] - f[1] * f[1], -(f[0] * f[2] + f[1] * f[3]), 1.0 - f[2] * f[2] - f[3] * f[3]],
                Block::Fading { .. } => [1.0 - f[0] * f[0], 0.0, 0.0],
                Block::Trend | Block::Steady => [0.0; 3],
            };
        }
        self.since = product(self.step, self.since);
        self.turn_back();
    }

    /// Lets state `place` (0 or 1) of every one lose so much that `by` is left.
    pub fn lose(&mut self, place: usize, by: f64) {
        self.since[2 * place] *= by;
        self.since[2 * place + 1] *= by;
        self.turn_back();
    }

    /// The covariance has been laid down as it is now.
    pub fn laid(&mut self) {
        (self.since, self.back) = (STILL, STILL);
    }

    /// What a unit of state `place` (0 or 1) was in both when the covariance was laid down.
    pub fn unit_back(&self, place: usize) -> [f64; 2] {
        [self.back[place], self.back[2 + place]]
    }

    /// Noise of the last step for a strength of one, seen from where the covariance was laid down.
    pub fn noise_back(&self) -> [f64; 3] {
        let ([a, b, c, d], [u, m, w]) = (self.back, self.noise);
        [a * a * u + 2.0 * a * b * m + b * b * w, a * c * u + (a * d + b * c) * m + b * d * w, c * c * u + 2.0 * c * d * m + d * d * w]
    }

    fn turn_back(&mut self) {
        let [a, b, c, d] = self.since;
        let det = a * d - b * c;
        self.back = [d / det, -b / det, -c / det, a / det];
    }
}

/// `f` after `g`.
fn product(f: [f64; 4], g: [f64; 4]) -> [f64; 4] {
    [f[0] * g[0] + f[1] * g[2], f[0] * g[1] + f[1] * g[3], f[2] * g[0] + f[3] * g[2], f[2] * g[1] + f[3] * g[3]]
}

/// Transition of a swing over `dt_s`: `v' = -2 d w v - w u`, `u' = w v` (speed, and place times `w`), in closed form.
fn swing(omega: f64, damping: f64, dt_s: f64) -> [f64; 4] {
    let own = omega * (1.0 - damping * damping).sqrt();
    let (s, c) = (own * dt_s).sin_cos();
    let fade = (-damping * omega * dt_s).exp();
    let (lag, lead) = (damping * omega / own * s, omega / own * s);
    [fade * (c - lag), -fade * lead, fade * lead, fade * (c + lag)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two half steps are one whole one, back is the inverse, and noise seen from the start is the noise itself brought there.
    #[test]
    fn steps_of_a_swing_add_up() {
        let block = Block::Swing { omega: 5.0, damping: 0.2 };
        let (mut halves, mut whole) = (Kind::new(block), Kind::new(block));
        halves.step(0.15);
        halves.step(0.15);
        whole.step(0.3);
        let there_and_back = product(whole.since, whole.back);
        let pairs = halves.since.into_iter().chain(there_and_back).zip(whole.since.into_iter().chain(STILL));
        pairs.for_each(|(is, should)| assert!((is - should).abs() < 1e-12));
        let [u, m, w] = whole.noise_back();
        let there = product(product(whole.since, [u, m, m, w]), [whole.since[0], whole.since[2], whole.since[1], whole.since[3]]);
        for (seen, is) in [(there[0], whole.noise[0]), (there[1], whole.noise[1]), (there[3], whole.noise[2])] {
            assert!((seen - is).abs() < 1e-12);
        }
    }
}
