//! The self-held patterns of the shares in the filter over the heads: what no weight can change, only offsets.
//!
//! Three towers in line have one such pattern (up, twice down, up), a ring of four the twist, and every further tower one more.
//! They are the finer level gauge: newtons for a tenth of a millimetre. The ripple of cranks is in them too; as in the tilts it
//! swings and so has no mean, and is as strong as it is seen to be.

use super::kalman::{Block, Kalman};
use super::levels::Levels;
use super::sums::{Rebeared, Sums};
use super::tilt;

/// So many looks at the patterns, five a second, tell whether cranks or heads were levelled.
const LEVELLED_AFTER: u32 = 15;
/// What friction in the cradles leaves of a mean of 0.3 s, at the least, N. No source.
const SEAT_N: f64 = 4.0;
/// The band of hands at cranks, Hz, and how broad it is: 0.8 to 1.2 turns a second (docs/trade.md section 0).
const CRANK_HZ: f64 = 1.0;
const DAMPING: f64 = 0.3;

/// A pattern that is so many standard deviations off says that a head has started or stopped.
const STARTS: f64 = 3.0;
/// Beyond so many standard deviations it has changed.
const MOVES: f64 = 4.0;
/// Within a turn a hand pulls and pushes: its head goes to and fro about its steady rise by so much rms, m. No source.
const PULLS_M: f64 = 0.0007;
/// So much of the variance of the ripple is quicker than a crank: the bounce of heads on their ropes.
const UNEVEN: f64 = 0.25;

/// One pattern.
#[derive(Clone, Debug)]
pub struct Pattern {
    /// State of what the weights make of it.
    pub bias: usize,
    /// Block of what swings in it, and the state that is felt.
    swing: (usize, usize),
    heard_s: f64,
    /// Variance of the ripple in it, over some turns, N²: that of one share.
    shown: f64,
    white: f64,
    /// The last three looks, N, newest first.
    looks: [f64; 3],
}

impl Pattern {
    /// Adds its states to those of the filter.
    pub fn new(blocks: &mut Vec<Block>, states: &mut usize) -> Self {
        let pattern = Pattern {
            bias: *states,
            swing: (blocks.len() + 1, *states + 1),
            heard_s: f64::NEG_INFINITY,
            shown: 0.0,
            white: 4.0 * SEAT_N * SEAT_N,
            looks: [f64::NAN; 3],
        };
        blocks.extend([Block::Steady, Block::Swing { omega: CRANK_HZ * std::f64::consts::TAU, damping: DAMPING }]);
        *states += 3;
        pattern
    }

    /// When it was last heard, s.
    pub(super) fn heard_at_s(&self) -> f64 {
        self.heard_s
    }

    /// Whether it has changed within three looks by more than ripple and seats can do.
    fn moves(&mut self, excess_n: f64) -> bool {
        let change = excess_n - self.looks[2];
        self.looks = [excess_n, self.looks[0], self.looks[1]];
        change.powi(2) > MOVES * MOVES * 2.0 * (self.white + self.shown)
    }

    /// Takes what the shares ripple by where no height enters, so that a head which moves is not taken for a ripple.
    /// `uneven_n`: by what hands that pull unevenly within a turn make it ripple.
    fn heard(&mut self, now_s: f64, dt_s: f64, ripple_n2: f64, uneven_n: f64) {
        self.heard_s = now_s;
        self.shown += (ripple_n2 + uneven_n * uneven_n - self.shown) * tilt::learns(dt_s, 2.5);
        self.white = SEAT_N * SEAT_N + UNEVEN * (self.shown - uneven_n * uneven_n).max(0.0);
    }

    /// Tells the filter how strongly it swings.
    pub fn disturbs(&self, kalman: &mut Kalman) {
        kalman.strengthen(self.swing.0, self.shown.max(SEAT_N * SEAT_N));
    }
}

impl Levels {
    /// Takes all self-held patterns of a truss that hangs, N over those of the level truss: once enough were heard, they tell
    /// whether cranks or heads were levelled, where the two differ by more than the weights may.
    pub fn levelled(&mut self, sums: &Sums, excess_n: &[f64]) {
        if self.heard_levelled > LEVELLED_AFTER {
            return;
        }
        self.heard_levelled += 1;
        let part = 1.0 / f64::from(self.heard_levelled);
        self.first_n.resize(excess_n.len(), 0.0);
        self.first_n.iter_mut().zip(excess_n).for_each(|(mean, e)| *mean += (e - *mean) * part);
        if self.heard_levelled <= LEVELLED_AFTER {
            return;
        }
        let heads = |k: usize| along(sums, k, &sums.levelled.shares_n);
        let open = self.open_n2(sums);
        let apart: f64 = (0..excess_n.len()).map(|k| heads(k).powi(2)).sum();
        let from = |part: f64| (0..excess_n.len()).map(|k| (self.first_n[k] - part * heads(k)).powi(2)).sum::<f64>();
        let within = 9.0 * open * excess_n.len() as f64;
        let told = [0.0, 1.0].into_iter().find(|&part| from(part) < within && from(1.0 - part) > within);
        if let Some(part) = told.filter(|_| apart > within) {
            self.forget_whole();
            for k in 0..excess_n.len() {
                self.kalman.forget(self.patterns[k].bias, part * heads(k), open);
            }
        }
    }

    /// Whether it is still being found out if cranks or heads were levelled.
    pub fn levelling(&self) -> bool {
        (1..=LEVELLED_AFTER).contains(&self.heard_levelled)
    }

    /// What the plan's weights and the cells leave open of a self-held pattern, N²: 3 % of a mean share, and the cells' zeros.
    pub(super) fn open_n2(&self, sums: &Sums) -> f64 {
        (0.03 * sums.total_n() / self.towers as f64).powi(2) + 100.0
    }

    /// Takes a self-held pattern of shares: `excess_n` of pattern `k` over that of the level truss, `lag_s` old. Ramps are followed
    /// without lag: what is read is the level of a moment ago. `ripple_n2`: square of what one share
    /// ripples by, by what no head changes.
    pub fn pattern(&mut self, sums: &Sums, k: usize, excess_n: f64, ripple_n2: f64, lag_s: f64) {
        self.terms.clear();
        let u = &sums.self_held[k];
        for m in 0..self.towers {
            let per_offset: f64 = u.iter().enumerate().map(|(j, f)| f * sums.stiffness_n_per_m(j, m)).sum();
            self.terms.extend([(2 * m, per_offset), (2 * m + 1, -lag_s * per_offset)]);
        }
        let most = self.terms.iter().step_by(2).fold(0.0_f64, |most, t| most.max(t.1.abs()));
        let uneven_n = if self.hands.rests() { 0.0 } else { PULLS_M * most };
        let pattern = &mut self.patterns[k];
        self.terms.push((pattern.bias, 1.0));
        self.terms.push((pattern.swing.1, 1.0));
        let now_s = self.at_s.unwrap_or(0.0);
        let dt = (now_s - pattern.heard_s).clamp(0.0, 1.0);
        pattern.heard(now_s, dt, ripple_n2, uneven_n);
        let white = pattern.white;
        let (expected, variance) = self.kalman.expect(&self.terms, white);
        let moves = self.patterns[k].moves(excess_n);
        self.starts |= moves;
        if (excess_n - expected).powi(2) > STARTS * STARTS * variance {
            // A head has started or stopped: by up to a pace, some tenths of a second ago.
            if now_s >= self.agile_until_s {
                self.spread(1, (0.5 * self.pace).powi(2));
                self.spread(0, (0.2 * self.pace).powi(2));
            }
            self.agile_until_s = now_s + 1.0;
        }
        self.kalman.update(&self.terms, excess_n, white, 1e9);
    }

    /// A tower went on to its pin or came off it. Where the heads were levelled, what that makes of the patterns hangs on what
    /// carries them: on ropes the middle of three in line carries a fifth more than with level cranks, on pins hardly more. Pins are
    /// level by their make, and the heads that are lifted off them are level too.
    pub fn rebear(&mut self, sums: &Sums, changed: &Rebeared) {
        let patterns = 0..sums.self_held.len();
        let before: f64 = patterns.clone().map(|k| along(sums, k, &changed.before.shares_n).powi(2)).sum();
        let seen: f64 = patterns.clone().map(|k| along(sums, k, &changed.before.shares_n) * self.kalman.at(self.patterns[k].bias)).sum();
        let heads = if before > 0.0 { (seen / before).clamp(0.0, 1.0) } else { 0.0 };
        let now = match changed {
            Rebeared { lifted: true, .. } => 1.0,
            // Between heads that are level and pins that are.
            Rebeared { pins: true, .. } => 0.5 * heads,
            _ => heads,
        };
        for k in patterns {
            let bias = self.patterns[k].bias;
            let by = now * along(sums, k, &sums.levelled.shares_n) - heads * along(sums, k, &changed.before.shares_n);
            let sigma_n = (0.05 * sums.total_n() / self.towers as f64).hypot(0.2 * by);
            self.kalman.shift(bias, by);
            self.kalman.doubt(bias, sigma_n * sigma_n);
        }
        let slopes = sums.levelled.slopes_rad.iter().zip(&changed.before.slopes_rad);
        for (tilt, (new, old)) in self.tilts.iter().zip(slopes) {
            if let Some(tilt) = tilt {
                let by = now * new - heads * old;
                self.kalman.shift(tilt.bias, by);
                self.kalman.doubt(tilt.bias, (0.2 * by).powi(2));
            }
        }
    }

    /// Doubts what a self-held pattern's bias was learnt to be (stiffness or weights changed), by `sigma_n`.
    pub fn doubt_pattern(&mut self, k: usize, sigma_n: f64) {
        self.kalman.doubt(self.patterns[k].bias, sigma_n * sigma_n);
    }
}

/// So much of these shares is pattern `k`, N.
fn along(sums: &Sums, k: usize, shares_n: &[f64]) -> f64 {
    sums.self_held[k].iter().zip(shares_n).map(|(u, n)| u * n).sum()
}
