//! One quantity while the truss stands: averaged, compared with how it stood at first, and whether it has really gone off.
//!
//! It is fed a mean over [`PART_S`] at a time. Six of these make a block, whose value is their median: a bump that returns, a hand
//! or a gust moves one or two of six. Blocks of half a minute are nearly white under all that swings (0.3 Hz and more, three cycles
//! in each part). The first blocks are the reference; how they differ from each other says how noisy the place is, and never less
//! is assumed than a tenth of what is told. Then [`Cusum`] decides.

use super::cusum::{Cusum, Side};
use super::ewma::Ewma;

/// Seconds of one part.
pub const PART_S: f64 = 5.0;
/// Parts of one block.
pub const PARTS: usize = 6;
/// Seconds of one block.
pub const BLOCK_S: f64 = PART_S * PARTS as f64;
/// After so many blocks there is a reference.
const REFERENCE: u32 = 2;
/// It goes on being averaged over the first so many, those that lie within their noise: a slow node's blocks are rough.
/// A jack that creeps by 0.1° an hour hides 0.01° in them.
const REFERENCE_MOST: u32 = 20;
/// So many second differences of neighbouring blocks say how noisy the place is: the first ten minutes.
const DIFFERENCES: usize = 20;
/// Fewer say little: until then the unrest within the blocks speaks alone.
const DIFFERENCES_LEAST: usize = 6;
/// Reference value of the sums, in standard deviations: shifts of four matter, and the reference may be off itself.
pub const K: f64 = 2.0;
/// Decision interval: one false signal in 1,000 hours (120,000 blocks) with a reference that is a whole standard deviation off.
/// `tests::h_is_that_of_the_stated_run_length` works it out.
pub const H: f64 = 5.1;
/// The stated in-control run length, hours.
pub const RUN_LENGTH_H: f64 = 1_000.0;
/// What has returned is forgotten within three blocks or so.
const PAST_H: f64 = 6.0;
/// Weight of the newest block's unrest where it has become quieter; where it is rougher it counts at once.
const UNREST: f64 = 0.2;
/// Weight of the newest block in the average that a creep is told by: five minutes.
const LAMBDA: f64 = 0.1;
/// A rate over two minutes counts where its change is so many standard deviations.
const SURE: f64 = 4.0;
/// Median absolute deviation to standard deviation of a normal distribution.
const MAD: f64 = 1.4826;

/// What is known of a quantity beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Least standard deviation of a block that is assumed.
    pub floor: f64,
    /// What temperature and creep may do in an hour without being a fault.
    pub allowed_per_h: f64,
    /// And at most, over any time.
    pub allowed_most: f64,
}

/// One quantity.
#[derive(Clone, Debug)]
pub struct Drift {
    rule: Rule,
    parts: [f64; PARTS],
    filled: usize,
    next: usize,
    blocks: u32,
    begun_s: f64,
    last_s: f64,
    reference: f64,
    averaged: u32,
    /// The newest block, and its time.
    block: (f64, f64),
    /// The four before it, newest first.
    earlier: [(f64, f64); 4],
    differences: [f64; DIFFERENCES],
    noted: usize,
    unrest: f64,
    smooth: Ewma,
    cusum: Cusum,
    leap: f64,
}

impl Drift {
    /// A quantity of which nothing was heard yet.
    pub fn new(rule: Rule) -> Self {
        Drift {
            rule,
            parts: [0.0; PARTS],
            filled: 0,
            next: 0,
            blocks: 0,
            begun_s: 0.0,
            last_s: 0.0,
            reference: 0.0,
            averaged: 0,
            block: (0.0, 0.0),
            earlier: [(0.0, 0.0); 4],
            differences: [0.0; DIFFERENCES],
            noted: 0,
            unrest: 0.0,
            smooth: Ewma::new(LAMBDA, 1.0, 0.0, 1.0),
            cusum: Cusum::new(K, H),
            leap: 0.0,
        }
    }

    /// Begins anew: what it reads from now on is how it stands.
    pub fn begin(&mut self) {
        *self = Drift::new(self.rule);
    }

    /// Takes the mean of the last [`PART_S`]. Tells whether a block is whole with it.
    pub fn take(&mut self, t_s: f64, mean: f64) -> bool {
        if self.blocks == 0 && self.filled == 0 {
            self.begun_s = t_s;
        }
        self.last_s = t_s;
        self.parts[self.next] = mean;
        self.next = (self.next + 1) % PARTS;
        self.filled = (self.filled + 1).min(PARTS);
        self.leaps();
        let whole = self.next == 0;
        if whole {
            self.block();
        }
        whole
    }

    /// The largest change from two parts to the two that come after two more, beyond their noise, for as long as the quantity stays
    /// away: what came at once is no drift.
    fn leaps(&mut self) {
        if self.filled < PARTS {
            return;
        }
        let back = |n: usize| self.parts[(self.next + PARTS - 1 - n) % PARTS];
        let step = 0.5 * (back(0) + back(1) - back(4) - back(5));
        let leap = (step.abs() - 3.0 * self.unrest.sqrt()).max(0.0).copysign(step);
        if leap.abs() > self.leap.abs() {
            self.leap = leap;
        }
        if self.change().is_some_and(|c| c.abs() < K * self.rule.floor) {
            self.leap = 0.0;
        }
    }

    fn block(&mut self) {
        let value = median(&mut self.parts.clone());
        let (before, second) = (self.block.0, self.earlier[0].0);
        self.earlier.rotate_right(1);
        self.earlier[0] = self.block;
        self.block = (value, self.last_s);
        self.blocks = self.blocks.saturating_add(1);
        if self.blocks > 2 && self.noted < DIFFERENCES {
            // Second differences: a drift from the first minute on is no noise.
            self.differences[self.noted] = (value - 2.0 * before + second).abs();
            self.noted += 1;
        }
        // Neighbouring parts: a drift hardly shows in their differences, what swings or rustles does.
        let steps = self.parts.windows(2).map(|p| (p[1] - p[0]).powi(2)).sum::<f64>() / (2.0 * (PARTS - 1) as f64);
        self.unrest = steps.max(self.unrest + UNREST * (steps - self.unrest));
        let near = (value - self.reference).abs() < K * self.noise().max(0.2 * self.rule.floor);
        if self.averaged < REFERENCE || (self.blocks <= REFERENCE_MOST && near) {
            self.averaged += 1;
            self.reference += (value - self.reference) / f64::from(self.averaged);
        }
        if self.blocks == REFERENCE {
            self.smooth = Ewma::new(LAMBDA, 1.0, self.reference, 1.0);
        }
        if self.blocks > REFERENCE {
            self.smooth.take(value);
            let sigma = self.sigma();
            self.cusum.take_allowing((value - self.reference) / sigma, self.allowed() / sigma);
            self.cusum.hold_at_most(PAST_H);
        }
    }

    /// Standard deviation of a block: by the first ten minutes, by the unrest within the last blocks, and at least the floor.
    pub fn sigma(&self) -> f64 {
        self.noise().max(self.rule.floor)
    }

    /// The same as it was seen, with no floor.
    fn noise(&self) -> f64 {
        let mut differences = self.differences;
        let learnt = match self.noted {
            0..DIFFERENCES_LEAST => 0.0,
            noted => MAD * median(&mut differences[..noted]) / 6.0_f64.sqrt(),
        };
        // The median of six is a quarter less sharp than their mean.
        let within = 1.25 * (self.unrest / PARTS as f64).sqrt();
        learnt.max(within)
    }

    /// Hours since it began.
    pub fn hours(&self) -> f64 {
        (self.last_s - self.begun_s).max(0.0) / 3600.0
    }

    /// What temperature and creep may have done by now.
    pub fn allowed(&self) -> f64 {
        (self.rule.allowed_per_h * self.hours()).min(self.rule.allowed_most)
    }

    /// To which side it has gone, where that is beyond noise and what is allowed.
    pub fn gone(&self) -> Option<Side> {
        self.cusum.signal()
    }

    /// Change since it began, over the last half minute; nothing while there is no reference.
    pub fn change(&self) -> Option<f64> {
        (self.blocks >= REFERENCE).then(|| median(&mut self.parts.clone()) - self.reference)
    }

    /// Change since it began, as it will be `ahead_s` from now at its rate. Where it goes fast, by the last three parts; where it
    /// creeps, by a moving average of minutes, its lag taken off and two standard
    /// deviations on (rather early than late).
    pub fn change_in(&self, ahead_s: f64) -> Option<f64> {
        let change = self.change()?;
        let Some(per_s) = self.sure_per_s() else {
            let lag_s = self.smooth.lag_behind(BLOCK_S) + 0.5 * BLOCK_S;
            let sure = 2.0 * self.smooth.half_width().hypot(f64::from(self.averaged.max(1)).sqrt().recip()) * self.noise();
            return Some(self.smooth.value() - self.reference + self.per_s() * (ahead_s + lag_s) + sure.copysign(change));
        };
        let back = |n: usize| self.parts[(self.next + PARTS - 1 - n) % PARTS];
        let newest = median(&mut [back(0), back(1), back(2)]);
        // The middle of three parts ends one part ago, and its mean is half a part older.
        Some(newest - self.reference + per_s * (ahead_s + 1.5 * PART_S))
    }

    /// Its rate, in its unit a second: over the last two minutes where that is beyond noise, else over the whole stand; zero
    /// where it does not drift.
    pub fn per_s(&self) -> f64 {
        let whole = || (self.smooth.value() - self.reference) / (self.last_s - self.begun_s).max(BLOCK_S);
        self.sure_per_s().unwrap_or_else(|| if self.gone().is_some() { whole() } else { 0.0 })
    }

    fn sure_per_s(&self) -> Option<f64> {
        let spans = (self.blocks.saturating_sub(1)).min(self.earlier.len() as u32);
        if self.gone().is_none() || spans == 0 {
            return None;
        }
        let earlier = self.earlier[spans as usize - 1];
        let change = self.block.0 - earlier.0;
        let noise = self.noise().max(0.2 * self.rule.floor);
        let sure = change.abs() > SURE * std::f64::consts::SQRT_2 * noise;
        sure.then(|| change / (self.block.1 - earlier.1).max(PART_S))
    }

    /// Whether most of the change came within seconds: a step, not a drift.
    pub fn leapt(&self) -> bool {
        self.change().is_some_and(|c| self.leap * c > 0.0 && self.leap.abs() > 0.6 * c.abs())
    }
}

/// Median; the mean of the middle two where their number is even. Zero of none.
pub fn median(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => 0.5 * (values[n / 2 - 1] + values[n / 2]),
    }
}

#[cfg(test)]
#[path = "drift_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "drift_in_control_tests.rs"]
mod in_control;
