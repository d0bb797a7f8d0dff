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
mod tests {
    use super::super::run_length::{cusum_two_sided, h_for};
    use super::*;

    const LEAN: Rule = Rule { floor: 0.02, allowed_per_h: 0.006, allowed_most: 0.05 };

    /// Noise of a seed, standard normal.
    struct Noise(u64);
    impl Noise {
        fn next(&mut self) -> f64 {
            let mut uniform = || {
                self.0 ^= self.0 >> 12;
                self.0 ^= self.0 << 25;
                self.0 ^= self.0 >> 27;
                (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        }
    }

    /// Feeds `hours` of `at(t_s)` and white noise; the first time it is gone, s, and the drift as it is then.
    fn play(rule: Rule, hours: f64, noise: f64, seed: u64, at: impl Fn(f64) -> f64) -> (Option<f64>, Drift) {
        let (mut drift, mut noisy) = (Drift::new(rule), Noise(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1));
        for i in 1..=(hours * 3600.0 / PART_S) as usize {
            let t = i as f64 * PART_S;
            drift.take(t, at(t) + noise * noisy.next());
            if drift.gone().is_some() {
                return (Some(t), drift);
            }
        }
        (None, drift)
    }

    #[test]
    fn h_is_that_of_the_stated_run_length() {
        let blocks = RUN_LENGTH_H * 3600.0 / BLOCK_S;
        let h = h_for(K, 1.0, blocks).unwrap();
        assert!(h <= H && H < h + 0.1, "{h}");
        assert!(cusum_two_sided(K, H, 1.0).unwrap() >= blocks);
    }

    #[test]
    fn a_creeping_jack_is_real_long_before_it_is_told() {
        for (seed, per_h) in [(1, 0.1), (2, -0.1), (3, 0.05), (4, 0.02), (5, 3.0), (6, -18.0)] {
            let (at, drift) = play(LEAN, 12.0, 0.005, seed, |t| per_h * t / 3600.0);
            let at = at.unwrap_or_else(|| panic!("{per_h} an hour is never seen"));
            let gone = per_h * at / 3600.0;
            // Seen before the 0.2° that are told; what goes fast is seen within three blocks.
            assert!(gone.abs() < 0.19 || at < 4.0 * BLOCK_S, "{per_h} an hour: at {gone}");
            assert_eq!(drift.gone() == Some(Side::Above), per_h > 0.0);
            assert!(!drift.leapt());
        }
    }

    #[test]
    fn temperature_is_let_through_and_widens_with_the_hours() {
        for seed in 1..=20 {
            let (at, drift) = play(LEAN, 10.0, 0.005, seed, |t| 0.006 * t / 3600.0);
            assert_eq!(at, None, "seed {seed}");
            assert!((drift.change().unwrap() - 0.06).abs() < 0.01 && drift.allowed() == 0.05);
        }
    }

    #[test]
    fn what_returns_moves_nothing_and_what_came_at_once_is_no_drift() {
        let bump = |t: f64| if (3600.0..3605.0).contains(&t) { 0.5 } else { 0.0 };
        assert_eq!(play(LEAN, 2.0, 0.002, 1, bump).0, None);
        let step = |t: f64| if t > 3600.0 { 0.25 } else { 0.0 };
        let (at, drift) = play(LEAN, 2.0, 0.002, 1, step);
        assert!(at.is_some_and(|t| t < 3600.0 + 4.5 * BLOCK_S) && drift.leapt());
        // Gone and come back: forgotten within a few blocks.
        let (mut drift, mut forgotten) = (Drift::new(LEAN), None);
        for i in 1..2000 {
            let t = i as f64 * PART_S;
            drift.take(t, if (3000.0..6000.0).contains(&t) { 0.3 } else { 0.0 });
            if (t - 5990.0).abs() < 1.0 {
                assert_eq!(drift.gone(), Some(Side::Above));
            }
            if t > 6000.0 && drift.gone().is_none() && forgotten.is_none() {
                forgotten = Some(t - 6000.0);
            }
        }
        assert!(forgotten.is_some_and(|s| s < 6.0 * BLOCK_S), "{forgotten:?}");
        assert_eq!(drift.change(), Some(0.0));
        assert!(!drift.leapt());
    }

    #[test]
    fn a_noisy_place_takes_more_to_move_it() {
        // Learnt from the first ten minutes, not stated.
        let (at, drift) = play(LEAN, 5.0, 0.3, 3, |_| 0.0);
        assert_eq!(at, None);
        assert!(drift.sigma() > 0.05, "{}", drift.sigma());
        // Unrest that comes later counts too, by the block itself.
        let (mut drift, mut noise) = (Drift::new(LEAN), Noise(77));
        for i in 1..2000 {
            let size = if i > 400 { 0.2 } else { 0.002 };
            drift.take(i as f64 * PART_S, size * noise.next());
            assert_eq!(drift.gone(), None, "{i}");
        }
    }

    #[test]
    fn nothing_is_said_before_there_is_a_reference_and_a_new_begin_forgets() {
        let mut drift = Drift::new(LEAN);
        for i in 1..(REFERENCE as usize * PARTS) {
            drift.take(i as f64 * PART_S, 5.0);
            assert_eq!((drift.change(), drift.gone(), drift.change_in(5.0)), (None, None, None));
        }
        drift.take(60.0, 5.0);
        assert_eq!(drift.change(), Some(0.0));
        drift.begin();
        assert_eq!(drift.change(), None);
    }

    #[test]
    fn the_rate_takes_the_lag_away() {
        let (mut drift, rate) = (Drift::new(LEAN), 0.05 / 60.0);
        for i in 1..=100 {
            let t = i as f64 * PART_S;
            // The mean of a part lies half a part back.
            drift.take(t, rate * (t - PART_S / 2.0));
        }
        let now = rate * 500.0;
        let from = now - drift.change_in(0.0).unwrap();
        // What the reference swallowed of the first minute is all that is missing.
        assert!((0.0..0.06).contains(&from), "{from}");
        assert!((drift.per_s() / rate - 1.0).abs() < 1e-6);
        assert!(drift.change_in(10.0).unwrap() - drift.change_in(0.0).unwrap() - 10.0 * rate < 1e-9);
    }
}

#[cfg(test)]
mod in_control {
    //! The in-control run length as it is measured, beside the stated one: hours of noise as the trade has it, with what is allowed.

    use super::*;
    use crate::slow::cusum::Cusum;

    /// What swings and drifts in control. Sources: docs/trade.md section 8 (N1, scenarios 18, 22, 23).
    struct Place {
        state: u64,
        /// White noise of one reading, and readings in a part.
        white: f64,
        readings: usize,
        /// Peak of a swing that is on for ten minutes and off for ten.
        swing: f64,
        /// Drift in an hour, in the first eight.
        drift: f64,
    }

    impl Place {
        fn normal(&mut self) -> f64 {
            let mut uniform = || {
                self.state ^= self.state >> 12;
                self.state ^= self.state << 25;
                self.state ^= self.state >> 27;
                (self.state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        }

        /// Mean of the part that ends at `t_s`.
        fn part(&mut self, t_s: f64) -> f64 {
            let white = self.white * self.normal() / (self.readings as f64).sqrt();
            // A swing of 0.4 Hz, averaged over a part, at a phase that wanders.
            let on = (t_s / 600.0) as u64 % 2 == 1;
            let left = self.swing / (std::f64::consts::PI * 0.4 * PART_S);
            let swing = if on { left * (std::f64::consts::TAU * 0.4037 * t_s).sin() } else { 0.0 };
            white + swing + self.drift * (t_s / 3600.0).min(8.0)
        }
    }

    /// Stands of ten hours, one after another; how many of them ever had a false signal, by detector.
    fn false_stands(hours: usize) -> [usize; 4] {
        let lean = Rule { floor: 0.02, allowed_per_h: 0.05 / 8.0, allowed_most: 0.05 };
        let total = Rule { floor: 3.0 * 2.0_f64.sqrt(), allowed_per_h: 26.0 / 8.0, allowed_most: 26.0 };
        // Degrees at 20 Hz and at one reading in two seconds; newtons of two cells at 10 Hz; and noise that no floor covers.
        let cases = [(lean, 0.05, 100, 0.3, 0.005), (lean, 0.05, 2, 0.3, 0.005), (total, 7.0, 50, 60.0, -1.8), (lean, 0.5, 100, 0.0, 0.0)];
        cases.map(|(rule, white, readings, swing, drift)| {
            (0..hours / 10)
                .filter(|stand| {
                    let mut place =
                        Place { state: (*stand as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1, white, readings, swing, drift };
                    let mut seen = Drift::new(rule);
                    (1..=(36_000.0 / PART_S) as usize).any(|i| {
                        let t = i as f64 * PART_S;
                        seen.take(t, place.part(t));
                        seen.gone().is_some()
                    })
                })
                .count()
        })
    }

    #[test]
    fn a_hundred_hours_in_control_are_quiet() {
        assert_eq!(false_stands(100), [0; 4]);
    }

    /// `cargo test --release -p raisewatch-watch --lib in_control -- --ignored --nocapture`; its result stands in docs/method.md.
    #[test]
    #[ignore = "a thousand hours of each detector: some seconds, in release"]
    fn a_thousand_hours_have_at_most_one_false_signal_each() {
        let found = false_stands(1_000);
        println!("false signals in 1,000 h: {found:?}");
        assert!(found.iter().all(|f| *f <= 1), "{found:?}");
        // The sums alone, on white noise of exactly one standard deviation about a reference that is one off.
        let mut place = Place { state: 99, white: 1.0, readings: 1, swing: 0.0, drift: 0.0 };
        let (mut cusum, mut signals) = (Cusum::new(K, H), 0);
        let blocks = 40 * (RUN_LENGTH_H * 3600.0 / BLOCK_S) as usize;
        for _ in 0..blocks {
            if cusum.take(1.0 + place.normal()).is_some() {
                signals += 1;
                cusum.clear();
            }
        }
        println!("sums alone: {signals} signals in 40,000 h, stated 40");
        assert!((20..=60).contains(&signals), "{signals}");
    }
}
