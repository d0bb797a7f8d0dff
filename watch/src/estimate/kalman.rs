//! The Kalman filter itself: a state of trends, swings and single values, updated one scalar at a time.
//!
//! Kept small and plain so that it can be read against any textbook: `x <- F x`, `P <- F P F' + Q`, then for every scalar
//! reading `z = h'x + noise` the gain `P h / (h'P h + r)`. `F` is made of blocks of one or two states, so the prediction costs
//! `O(n²)` and nothing is allocated after [`Kalman::new`].

/// One term of a scalar measurement: state index and factor.
pub type Term = (usize, f64);

/// How a block of states moves in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Block {
    /// A value and its rate: the value moves by rate times time.
    Trend,
    /// Something that swings about where it hangs: its speed, and its place times the angular frequency (two states of like size).
    /// What swings comes back, so its speed has no mean: no power at zero frequency. Its strength is set with
    /// [`Kalman::strengthen`], and the noise that keeps it so strong is added in [`Kalman::predict`].
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
    fn states(self) -> usize {
        match self {
            Block::Trend | Block::Swing { .. } => 2,
            Block::Steady | Block::Fading { .. } => 1,
        }
    }
}

/// What came of one scalar update.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Innovation {
    /// Reading less what was expected.
    pub value: f64,
    /// Variance that it should have.
    pub variance: f64,
    /// The same with what the state is really known to: what it does have.
    pub told: f64,
}

impl Innovation {
    /// In standard deviations.
    pub fn score(self) -> f64 {
        self.value / self.variance.sqrt().max(1e-300)
    }
}

/// State and covariance.
#[derive(Clone, Debug)]
pub struct Kalman {
    blocks: Vec<(usize, Block)>,
    /// By block: variance of each of its states at rest (swings, what fades).
    strength: Vec<f64>,
    /// The last swing transition that was worked out, and of which band and time: many blocks share one.
    turns: Vec<(Block, f64, [f64; 4])>,
    n: usize,
    x: Vec<f64>,
    /// Covariance, row by row, `n` by `n`, symmetric.
    p: Vec<f64>,
    ph: Vec<f64>,
    /// What the state is really known to, with the gains that `p` gives: `p` may be kept wide so that the filter is quick, and then
    /// this is narrower. The covariance of a filter of any gain (Joseph's form).
    told: Vec<f64>,
    th: Vec<f64>,
}

impl Kalman {
    /// A filter over `blocks`, all states zero and perfectly known (set them with [`Kalman::forget`]).
    pub fn new(blocks: &[Block]) -> Self {
        let mut placed = Vec::with_capacity(blocks.len());
        let mut n = 0;
        let mut turns: Vec<(Block, f64, [f64; 4])> = Vec::new();
        for &block in blocks {
            placed.push((n, block));
            n += block.states();
            if matches!(block, Block::Swing { .. }) && !turns.iter().any(|t| t.0 == block) {
                turns.push((block, -1.0, [0.0; 4]));
            }
        }
        Kalman {
            strength: vec![0.0; placed.len()],
            turns,
            blocks: placed,
            n,
            x: vec![0.0; n],
            p: vec![0.0; n * n],
            ph: vec![0.0; n],
            told: vec![0.0; n * n],
            th: vec![0.0; n],
        }
    }

    /// Value of state `i`.
    pub fn at(&self, i: usize) -> f64 {
        self.x[i]
    }

    /// Covariance of states `i` and `j`.
    pub fn cov(&self, i: usize, j: usize) -> f64 {
        self.p[i * self.n + j]
    }

    /// Covariance of states `i` and `j` as it is told: that of the estimate with the gains that were used.
    pub fn told(&self, i: usize, j: usize) -> f64 {
        self.told[i * self.n + j]
    }

    /// Sets state `i` to `value` with a variance, unrelated to all others.
    pub fn forget(&mut self, i: usize, value: f64, variance: f64) {
        self.x[i] = value;
        let n = self.n;
        for p in [&mut self.p, &mut self.told] {
            for j in 0..n {
                p[i * n + j] = 0.0;
                p[j * n + i] = 0.0;
            }
            p[i * n + i] = variance;
        }
    }

    /// Moves state `i`: what it is told of has changed by so much, and is known as well as before.
    pub fn shift(&mut self, i: usize, by: f64) {
        self.x[i] += by;
    }

    /// Adds variance to state `i` (process noise, or a doubt).
    pub fn doubt(&mut self, i: usize, variance: f64) {
        self.p[i * self.n + i] += variance;
        self.told[i * self.n + i] += variance;
    }

    /// Adds covariance to states `i` and `j`, one side only: call it for both orders.
    pub fn doubt_pair(&mut self, i: usize, j: usize, covariance: f64) {
        self.p[i * self.n + j] += covariance;
        self.told[i * self.n + j] += covariance;
    }

    /// Adds covariance for the gains alone: the filter is to be quicker than what is known asks for. One side only.
    pub fn quicken_pair(&mut self, i: usize, j: usize, covariance: f64) {
        self.p[i * self.n + j] += covariance;
    }

    /// Sets how strong swing or fading block `b` is: variance of each of its states.
    pub fn strengthen(&mut self, b: usize, variance: f64) {
        self.strength[b] = variance;
    }

    /// How strong swing or fading block `b` is.
    pub fn strength(&self, b: usize) -> f64 {
        self.strength[b]
    }

    /// All states of block `b`.
    pub fn states(&self, b: usize) -> std::ops::Range<usize> {
        let (first, block) = self.blocks[b];
        first..first + block.states()
    }

    /// Moves the state on by `dt_s`. Process noise of trends and steady values is added by the caller with [`Kalman::doubt`].
    pub fn predict(&mut self, dt_s: f64) {
        let n = self.n;
        for (block, at_s, f) in &mut self.turns {
            if let Block::Swing { omega, damping } = *block
                && *at_s != dt_s
            {
                (*at_s, *f) = (dt_s, swing(omega, damping, dt_s));
            }
        }
        for b in 0..self.blocks.len() {
            let (i, block) = self.blocks[b];
            let f = match block {
                Block::Steady => continue,
                Block::Fading { tau_s } => {
                    self.fade(b, i, (-dt_s / tau_s).exp());
                    continue;
                }
                Block::Trend => [1.0, dt_s, 0.0, 1.0],
                Block::Swing { .. } => self.turns.iter().find(|t| t.0 == block).map_or([1.0, 0.0, 0.0, 1.0], |t| t.2),
            };
            let (a, z) = (self.x[i], self.x[i + 1]);
            self.x[i] = f[0] * a + f[1] * z;
            self.x[i + 1] = f[2] * a + f[3] * z;
            let strength = if matches!(block, Block::Swing { .. }) { Some(self.strength[b]) } else { None };
            for p in [&mut self.p, &mut self.told] {
                turn(p, n, i, f);
                let Some(s) = strength else { continue };
                // Stationary: Q = s (I - F F').
                let across = -s * (f[0] * f[2] + f[1] * f[3]);
                p[i * n + i] += s * (1.0 - f[0] * f[0] - f[1] * f[1]);
                p[(i + 1) * n + i + 1] += s * (1.0 - f[2] * f[2] - f[3] * f[3]);
                p[i * n + i + 1] += across;
                p[(i + 1) * n + i] += across;
            }
        }
    }

    fn fade(&mut self, b: usize, i: usize, by: f64) {
        self.lose(i, by);
        self.doubt(i, self.strength[b] * (1.0 - by * by));
    }

    /// Lets state `i` lose so much of itself that `by` is left: its process noise is the caller's.
    pub fn lose(&mut self, i: usize, by: f64) {
        let n = self.n;
        self.x[i] *= by;
        for p in [&mut self.p, &mut self.told] {
            for j in 0..n {
                p[i * n + j] *= by;
                p[j * n + i] *= by;
            }
        }
    }

    /// Expected reading and the variance of its innovation, without updating.
    pub fn expect(&mut self, h: &[Term], r: f64) -> (f64, f64) {
        self.gain_terms(h);
        let mean = h.iter().map(|&(i, k)| k * self.x[i]).sum();
        let variance = h.iter().map(|&(i, k)| k * self.ph[i]).sum::<f64>() + r;
        (mean, variance.max(1e-300))
    }

    /// Value and variance of a combination of states.
    pub fn combined(&self, h: &[Term]) -> (f64, f64) {
        let mut mean = 0.0;
        let mut variance = 0.0;
        for &(i, k) in h {
            mean += k * self.x[i];
            for &(j, m) in h {
                variance += k * m * self.cov(i, j);
            }
        }
        (mean, variance.max(0.0))
    }

    /// Takes the reading `z = h'x + noise` of variance `r`, unless it lies more than `gate` standard deviations off.
    pub fn update(&mut self, h: &[Term], z: f64, r: f64, gate: f64) -> (Innovation, bool) {
        let (mean, variance) = self.expect(h, r);
        let n = self.n;
        self.th.fill(0.0);
        for &(i, k) in h {
            for (s, p) in self.th.iter_mut().zip(&self.told[i * n..(i + 1) * n]) {
                *s += k * p;
            }
        }
        let told = (h.iter().map(|&(i, k)| k * self.th[i]).sum::<f64>() + r).max(1e-300);
        let innovation = Innovation { value: z - mean, variance, told };
        if innovation.score().abs() > gate {
            return (innovation, false);
        }
        let k = innovation.value / variance;
        for (x, ph) in self.x.iter_mut().zip(&self.ph) {
            *x += ph * k;
        }
        for i in 0..n {
            let g = self.ph[i] / variance;
            if g != 0.0 {
                for (p, ph) in self.p[i * n..(i + 1) * n].iter_mut().zip(&self.ph) {
                    *p -= g * ph;
                }
            }
            // (I - g h') T (I - g h')' + g r g'.
            let rest = g * told - self.th[i];
            for ((p, ph), th) in self.told[i * n..(i + 1) * n].iter_mut().zip(&self.ph).zip(&self.th) {
                *p += rest * ph / variance - g * th;
            }
        }
        // Rounding must not make a variance negative.
        for i in 0..n {
            for p in [&mut self.p, &mut self.told] {
                let d = &mut p[i * n + i];
                *d = d.max(1e-18);
            }
        }
        (innovation, true)
    }

    /// P h into `self.ph`.
    fn gain_terms(&mut self, h: &[Term]) {
        let n = self.n;
        self.ph.fill(0.0);
        for &(i, k) in h {
            // P is symmetric: its row is its column, and rows lie together in memory.
            for (s, p) in self.ph.iter_mut().zip(&self.p[i * n..(i + 1) * n]) {
                *s += k * p;
            }
        }
    }
}

/// F P F' for one block of two states: rows `i`, `i + 1`, then columns `i`, `i + 1`.
fn turn(p: &mut [f64], n: usize, i: usize, f: [f64; 4]) {
    let (head, tail) = p.split_at_mut((i + 1) * n);
    let row = &mut head[i * n..];
    for (u, w) in row.iter_mut().zip(tail[..n].iter_mut()) {
        let (pu, pw) = (*u, *w);
        *u = f[0] * pu + f[1] * pw;
        *w = f[2] * pu + f[3] * pw;
    }
    for row in p.chunks_exact_mut(n) {
        let (pu, pw) = (row[i], row[i + 1]);
        row[i] = f[0] * pu + f[1] * pw;
        row[i + 1] = f[2] * pu + f[3] * pw;
    }
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

    /// A wider `p` makes a quicker filter, and what it is told to be known to is what its errors are: a constant seen with gain g has
    /// variance g r / (2 - g) in the end (the exponential mean).
    #[test]
    fn what_is_told_is_that_of_the_gains_used() {
        let mut k = Kalman::new(&[Block::Steady]);
        k.forget(0, 0.0, 1.0);
        for _ in 0..500 {
            k.quicken_pair(0, 0, 0.05);
            k.update(&[(0, 1.0)], 0.0, 1.0, 1e9);
        }
        let gain = (k.cov(0, 0)) / 1.0;
        assert!((k.told(0, 0) - gain / (2.0 - gain)).abs() < 1e-9, "{} {gain}", k.told(0, 0));
        assert!(k.told(0, 0) < k.cov(0, 0));
    }

    /// A constant seen n times with variance r has variance 1/(1/p0 + n/r). Source: any text on recursive least squares.
    #[test]
    fn constant_is_averaged() {
        let mut k = Kalman::new(&[Block::Steady]);
        k.forget(0, 0.0, 100.0);
        for z in [1.0, 2.0, 3.0, 4.0] {
            assert!(k.update(&[(0, 1.0)], z, 1.0, 50.0).1);
        }
        assert!((k.cov(0, 0) - 1.0 / (0.01 + 4.0)).abs() < 1e-12);
        assert!((k.at(0) - 10.0 / 4.01).abs() < 1e-12);
    }

    #[test]
    fn a_noiseless_ramp_is_followed_without_lag() {
        let mut k = Kalman::new(&[Block::Trend]);
        k.forget(0, 0.0, 1.0);
        k.forget(1, 0.0, 1.0);
        for i in 1..=200 {
            k.predict(0.05);
            k.doubt(1, 1e-4 * 0.05);
            k.update(&[(0, 1.0)], 0.3 * i as f64 * 0.05, 1e-6, 1e9);
        }
        assert!((k.at(0) - 3.0).abs() < 1e-3, "{}", k.at(0));
        assert!((k.at(1) - 0.3).abs() < 1e-3, "{}", k.at(1));
    }

    /// A quarter turn makes all speed place, and nothing is lost without damping.
    #[test]
    fn prediction_of_a_swing_turns_it() {
        let mut k = Kalman::new(&[Block::Steady, Block::Swing { omega: std::f64::consts::PI, damping: 0.0 }]);
        k.forget(1, 1.0, 0.5);
        k.predict(0.5);
        assert!((k.at(1)).abs() < 1e-12 && (k.at(2) - 1.0).abs() < 1e-12);
        assert!((k.cov(2, 2) - 0.5).abs() < 1e-12 && k.cov(1, 1).abs() < 1e-12);
    }

    /// Two half steps are one whole one, and left alone it comes to the strength that it was set.
    #[test]
    fn a_swing_keeps_its_strength() {
        let (half, whole) = (swing(5.0, 0.2, 0.15), swing(5.0, 0.2, 0.3));
        let twice = |r: usize, c: usize| half[2 * r] * half[c] + half[2 * r + 1] * half[2 + c];
        for (r, c) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            assert!((twice(r, c) - whole[2 * r + c]).abs() < 1e-12);
        }
        let mut k = Kalman::new(&[Block::Swing { omega: 5.0, damping: 0.2 }]);
        k.strengthen(0, 3.0);
        (0..400).for_each(|_| k.predict(0.05));
        assert!((k.cov(0, 0) - 3.0).abs() < 1e-6 && (k.cov(1, 1) - 3.0).abs() < 1e-6 && k.cov(0, 1).abs() < 1e-6);
    }

    #[test]
    fn what_lies_past_the_gate_changes_nothing() {
        let mut k = Kalman::new(&[Block::Trend]);
        k.forget(0, 1.0, 0.01);
        let before = k.clone();
        let (innovation, taken) = k.update(&[(0, 1.0)], 9.0, 0.01, 5.0);
        assert!(!taken && innovation.score() > 5.0);
        assert_eq!((k.x, k.p), (before.x, before.p));
    }

    #[test]
    fn covariance_stays_symmetric() {
        let mut k = Kalman::new(&[Block::Trend, Block::Trend, Block::Swing { omega: 6.0, damping: 0.2 }, Block::Steady]);
        for i in 0..7 {
            k.forget(i, 0.0, 1.0 + i as f64);
        }
        for i in 0..500 {
            k.predict(0.05);
            for j in 0..7 {
                k.doubt(j, 1e-3);
            }
            k.update(&[(0, 0.2), (2, -0.2), (4, 1.0), (6, 1.0)], (i as f64 * 0.3).sin(), 0.01, 1e9);
        }
        for i in 0..7 {
            for j in 0..7 {
                assert!((k.cov(i, j) - k.cov(j, i)).abs() < 1e-9 * (1.0 + k.cov(i, j).abs()));
            }
            assert!(k.cov(i, i) > 0.0);
        }
    }
}
