//! The Kalman filter itself: a state of trends, swings and single values, updated one scalar at a time.
//!
//! It is any textbook's: `x <- F x`, `P <- F P F' + Q`, then for every scalar reading `z = h'x + noise` the gain `P h / (h'P h + r)`;
//! the tests hold it against that, written out with dense matrices. Two things are done otherwise, for speed alone:
//! - `F` is made of blocks of one or two states ([`super::motion`]), so a covariance is kept as `P = D C D'` with `D` the blocks'
//!   transition since `C` was laid down. A step of time then moves `D`, a handful of numbers, and not the `n²` of `C`; noise and
//!   readings are seen through `D`. Before `D` fades away (after [`LAID_S`]) `C` is laid down anew, as `P` is by then.
//! - Covariances are symmetric: of each only what stands on and over the diagonal is kept.
//!
//! Nothing is allocated after [`Kalman::new`].

use super::halved::{Placed, along, between, narrow, put, upper};
pub use super::motion::Block;
use super::motion::Kind;
use std::ops::Range;

/// One term of a scalar measurement: state index and factor.
pub type Term = (usize, f64);

/// The covariance is laid down anew after this time, s: by then the quickest of what swings has faded to a fifth, and rounding is
/// not yet made larger by the way there and back.
const LAID_S: f64 = 1.0;
/// And where a state has lost so much that less than this part of it is left.
const LEFT: f64 = 0.1;

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
    blocks: Vec<Placed>,
    /// By state: its block.
    within: Vec<usize>,
    kinds: Vec<Kind>,
    /// First state and kind of every trend.
    trends: Vec<(usize, usize)>,
    /// By block: variance of each of its states at rest (swings, what fades).
    strength: Vec<f64>,
    n: usize,
    x: Vec<f64>,
    /// Since when the covariances are laid down, s, and whether nothing has moved since.
    since_s: f64,
    still: bool,
    /// The covariance that the gains are made with.
    p: Vec<f64>,
    /// What the state is really known to with those gains: `p` may be kept wide so that the filter is quick, and then this is narrower.
    /// The covariance of a filter of any gain (Joseph's form).
    told: Vec<f64>,
    /// The reading's terms, in order, both covariances along them, and its gain.
    h: Vec<Term>,
    ph: Vec<f64>,
    th: Vec<f64>,
    gain: Vec<f64>,
}

impl Kalman {
    /// A filter over `blocks`, all states zero and perfectly known (set them with [`Kalman::forget`]).
    pub fn new(blocks: &[Block]) -> Self {
        let mut kinds: Vec<Kind> = Vec::new();
        let (mut placed, mut within) = (Vec::with_capacity(blocks.len()), Vec::new());
        for (b, &block) in blocks.iter().enumerate() {
            let kind = kinds.iter().position(|k| k.block == block).unwrap_or_else(|| {
                kinds.push(Kind::new(block));
                kinds.len() - 1
            });
            let first = within.len();
            within.extend(std::iter::repeat_n(b, block.states()));
            placed.push(Placed { first, last: within.len() - 1, kind });
        }
        let n = within.len();
        let trends = placed.iter().filter(|p| kinds[p.kind].block == Block::Trend).map(|p| (p.first, p.kind)).collect();
        Kalman {
            trends,
            strength: vec![0.0; placed.len()],
            blocks: placed,
            within,
            kinds,
            n,
            x: vec![0.0; n],
            since_s: 0.0,
            still: true,
            p: vec![0.0; n * n],
            told: vec![0.0; n * n],
            h: Vec::with_capacity(n),
            ph: vec![0.0; n],
            th: vec![0.0; n],
            gain: vec![0.0; n],
        }
    }

    /// Value of state `i`.
    pub fn at(&self, i: usize) -> f64 {
        self.x[i]
    }

    /// Covariance of states `i` and `j`.
    pub fn cov(&self, i: usize, j: usize) -> f64 {
        self.seen(&self.p, i, j)
    }

    /// Covariance of states `i` and `j` as it is told: that of the estimate with the gains that were used.
    pub fn told(&self, i: usize, j: usize) -> f64 {
        self.seen(&self.told, i, j)
    }

    /// An entry of `D C D'`.
    fn seen(&self, c: &[f64], i: usize, j: usize) -> f64 {
        let n = self.n;
        if self.still {
            return c[upper(n, i, j)];
        }
        let ((a, [a0, a1]), (b, [b0, b1])) = (self.moved(i), self.moved(j));
        let of = |k: usize| b0 * c[upper(n, k, b.first)] + b1 * c[upper(n, k, b.last)];
        a0 * of(a.first) + a1 * of(a.last)
    }

    /// State `i` as it is made of its block's two states when the covariance was laid down.
    fn moved(&self, i: usize) -> (Placed, [f64; 2]) {
        let block = self.blocks[self.within[i]];
        let d = &self.kinds[block.kind].since;
        if i == block.first { (block, [d[0], d[1]]) } else { (block, [d[2], d[3]]) }
    }

    /// Sets state `i` to `value` with a variance, unrelated to all others.
    pub fn forget(&mut self, i: usize, value: f64, variance: f64) {
        self.lay();
        self.x[i] = value;
        let n = self.n;
        for c in [&mut self.p, &mut self.told] {
            (0..n).for_each(|j| c[upper(n, i, j)] = 0.0);
            c[i * n + i] = variance;
        }
    }

    /// Moves state `i`: what it is told of has changed by so much, and is known as well as before.
    pub fn shift(&mut self, i: usize, by: f64) {
        self.x[i] += by;
    }

    /// Adds variance to state `i` (process noise, or a doubt).
    pub fn doubt(&mut self, i: usize, variance: f64) {
        let n = self.n;
        let block = self.blocks[self.within[i]];
        let [first, last] = self.kinds[block.kind].unit_back(i - block.first);
        for c in [&mut self.p, &mut self.told] {
            c[block.first * n + block.first] += variance * first * first;
            if block.last > block.first {
                c[block.first * n + block.last] += variance * first * last;
                c[block.last * n + block.last] += variance * last * last;
            }
        }
    }

    /// Adds variance to a state of every trend, 0 their values and 1 their rates: for the gains, and for what is told. `apart`: to how
    /// they differ alone, not to what they have in common.
    pub fn spread(&mut self, which: usize, variance: [f64; 2], apart: bool) {
        let (n, trends) = (self.n, &self.trends);
        let Some(&(_, kind)) = trends.first() else { return };
        let [v, w] = self.kinds[kind].unit_back(which);
        let common = if apart { 1.0 / trends.len() as f64 } else { 0.0 };
        for (c, variance) in [&mut self.p, &mut self.told].into_iter().zip(variance) {
            let (own, other) = (variance * (1.0 - common), -variance * common);
            for (t, &(a, _)) in trends.iter().enumerate() {
                let (upper, lower) = c[a * n..(a + 2) * n].split_at_mut(n);
                for &(b, _) in &trends[t..] {
                    let part = if a == b { own } else { other };
                    upper[b] += part * v * v;
                    upper[b + 1] += part * v * w;
                    lower[b + 1] += part * w * w;
                    if b > a {
                        lower[b] += part * w * v;
                    }
                }
            }
        }
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
    pub fn states(&self, b: usize) -> Range<usize> {
        self.blocks[b].first..self.blocks[b].last + 1
    }

    /// Moves the state on by `dt_s`. Process noise of trends and steady values is added by the caller with [`Kalman::doubt`].
    pub fn predict(&mut self, dt_s: f64) {
        self.kinds.iter_mut().for_each(|kind| kind.step(dt_s));
        for b in &self.blocks {
            let f = &self.kinds[b.kind].step;
            if b.first == b.last {
                self.x[b.first] *= f[0];
            } else {
                let (v, w) = (self.x[b.first], self.x[b.last]);
                self.x[b.first] = f[0] * v + f[1] * w;
                self.x[b.last] = f[2] * v + f[3] * w;
            }
        }
        self.still = false;
        self.since_s += dt_s;
        if self.since_s > LAID_S {
            self.lay();
        }
        self.blow();
    }

    /// Adds the noise of the last step to all that swings and fades.
    fn blow(&mut self) {
        let n = self.n;
        for kind in 0..self.kinds.len() {
            if matches!(self.kinds[kind].block, Block::Trend | Block::Steady) {
                continue;
            }
            let [first, across, last] = self.kinds[kind].noise_back();
            for (b, s) in self.blocks.iter().zip(&self.strength).filter(|(b, _)| b.kind == kind) {
                for c in [&mut self.p, &mut self.told] {
                    c[b.first * n + b.first] += s * first;
                    if b.last > b.first {
                        c[b.first * n + b.last] += s * across;
                        c[b.last * n + b.last] += s * last;
                    }
                }
            }
        }
    }

    /// Lets a state of every trend lose so much of itself that `by` is left, 0 their values and 1 their rates: the process noise is the
    /// caller's.
    pub fn lose(&mut self, which: usize, by: f64) {
        let Some(&(_, kind)) = self.trends.first() else { return };
        self.kinds[kind].lose(which, by);
        self.still = false;
        self.trends.iter().for_each(|&(first, _)| self.x[first + which] *= by);
        if self.kinds[kind].since[3 * which].abs() < LEFT {
            self.lay();
        }
    }

    /// Lays the covariances down as they are now.
    fn lay(&mut self) {
        self.since_s = 0.0;
        if self.still {
            return;
        }
        self.still = true;
        let n = self.n;
        for (i, a) in self.blocks.iter().enumerate() {
            let d = self.kinds[a.kind].since;
            for b in &self.blocks[i..] {
                let e = self.kinds[b.kind].since;
                for c in [&mut self.p, &mut self.told] {
                    between(c, n, (a, d), (b, e));
                }
            }
        }
        self.kinds.iter_mut().for_each(Kind::laid);
    }

    /// Expected reading and the variance of its innovation, without updating.
    pub fn expect(&mut self, h: &[Term], r: f64) -> (f64, f64) {
        self.look(h);
        let mean = h.iter().map(|&(i, k)| k * self.x[i]).sum();
        (mean, (self.along_h(&self.ph) + r).max(1e-300))
    }

    /// The terms of a reading as the states were when the covariance was laid down, and the covariances along them.
    fn look(&mut self, h: &[Term]) {
        self.h.clear();
        for &(i, k) in h {
            let (block, [first, last]) = self.moved(i);
            for (i, k) in [(block.first, k * first), (block.last, k * last)] {
                if k != 0.0 {
                    put(&mut self.h, i, k);
                }
            }
        }
        along(&self.p, self.n, &self.h, &mut self.ph);
        along(&self.told, self.n, &self.h, &mut self.th);
    }

    /// The reading's terms times what stands along them.
    fn along_h(&self, row: &[f64]) -> f64 {
        self.h.iter().map(|&(i, k)| k * row[i]).sum()
    }

    /// Takes the reading `z = h'x + noise` of variance `r`, unless it lies more than `gate` standard deviations off.
    pub fn update(&mut self, h: &[Term], z: f64, r: f64, gate: f64) -> (Innovation, bool) {
        let (mean, variance) = self.expect(h, r);
        let told = (self.along_h(&self.th) + r).max(1e-300);
        let innovation = Innovation { value: z - mean, variance, told };
        if innovation.score().abs() > gate {
            return (innovation, false);
        }
        // T - g b' - b g' with b = T h - (h'T h + r) g / 2 is (I - g h') T (I - g h')' + g r g'.
        for ((gain, th), ph) in self.gain.iter_mut().zip(&mut self.th).zip(&self.ph) {
            *gain = ph / variance;
            *th -= 0.5 * told * *gain;
        }
        for b in &self.blocks {
            let d = &self.kinds[b.kind].since;
            let [v, w] = [b.first, b.last].map(|i| self.gain[i] * innovation.value);
            self.x[b.first] += d[0] * v;
            if b.last > b.first {
                self.x[b.first] += d[1] * w;
                self.x[b.last] += d[2] * v + d[3] * w;
            }
        }
        narrow(&mut self.p, &mut self.told, &self.gain, &self.th, variance);
        (innovation, true)
    }
}

#[cfg(test)]
#[path = "kalman_tests.rs"]
mod tests;
