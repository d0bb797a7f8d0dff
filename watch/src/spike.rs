//! Single wild readings of a channel, told apart from a step and from a swing, kept out of its means and counted.
//!
//! Hampel's identifier (tests/checks/robust.toml, "hampel"): a reading further from the median of those before it than so many of
//! their scaled median absolute deviations is wild. A reading alone proves nothing, so a wild one waits for the next: where that one
//! stands on the same side, both are real (a step, the begin of a swing); where it is back, the wild one was a spike.

use crate::estimate::robust::{MAD_SIGMA, median_and_mad};

/// A reading is held against so many before it.
const WINDOW: usize = 11;
/// Fewer say nothing.
const LEAST: usize = 5;
/// Wild from so many standard deviations.
const WILD: f64 = 5.0;
/// What is usual is learnt over so many readings.
const LEARNT: f64 = 200.0;
/// From the mean absolute deviation to the standard deviation of a normal distribution: the root of half pi.
const MEAN_SIGMA: f64 = 1.253_314_137_315_5;

/// The spikes of one channel.
#[derive(Clone, Debug)]
pub struct Spikes {
    /// Never wild within this, in the channel's unit.
    least: f64,
    last: [f64; WINDOW],
    seen: usize,
    /// Mean absolute deviation from the median of those before, learnt from what was not wild.
    usual: f64,
    /// A wild reading, the middle that it was held against, and how far off is wild.
    waits: Option<(f64, f64, f64, f64)>,
    count: u32,
}

impl Spikes {
    /// A channel on which what lies within `least` of the others does no harm.
    pub fn new(least: f64) -> Self {
        Spikes { least, last: [0.0; WINDOW], seen: 0, usual: 0.0, waits: None, count: 0 }
    }

    /// Takes a reading and gives those that are known to be real by now, oldest first: none while this one waits, two where it
    /// bears out the one before.
    pub fn take(&mut self, t_s: f64, value: f64) -> [Option<(f64, f64)>; 2] {
        let waited = self.waits.take();
        let borne_out = waited.and_then(|(t, wild, middle, far)| {
            let real = (value - middle) * (wild - middle).signum() > 0.5 * far;
            self.count = self.count.saturating_add(u32::from(!real));
            real.then_some((t, wild))
        });
        let wild = self.wild(value).filter(|_| borne_out.is_none());
        self.last[self.seen % WINDOW] = value;
        self.seen += 1;
        match wild {
            Some((middle, far)) => {
                self.waits = Some((t_s, value, middle, far));
                [None; 2]
            }
            None => [borne_out, Some((t_s, value))],
        }
    }

    /// The middle of those before, and from how far off a reading is wild, where this one is.
    fn wild(&mut self, value: f64) -> Option<(f64, f64)> {
        let kept = self.seen.min(WINDOW);
        let newest = self.seen.checked_sub(1).map(|n| self.last[n % WINDOW])?;
        let far_at_least = self.least.max(WILD * MEAN_SIGMA * self.usual);
        if kept < LEAST || (value - newest).abs() < 0.5 * far_at_least {
            // Near the one before it: the usual case, and a cheap one.
            self.learn((value - newest).abs() * std::f64::consts::FRAC_1_SQRT_2);
            return None;
        }
        let mut room = self.last;
        let (middle, mad) = median_and_mad(&mut room[..kept])?;
        let far = far_at_least.max(WILD * MAD_SIGMA * mad);
        let off = (value - middle).abs();
        self.learn(off.min(far));
        (off > far).then_some((middle, far))
    }

    fn learn(&mut self, deviation: f64) {
        self.usual += (deviation - self.usual) / LEARNT.min(self.seen.max(1) as f64);
    }

    /// How many there were.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// What was read before means something else (a zero).
    pub fn renew(&mut self) {
        (self.seen, self.waits) = (0, None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds `values`, one in 50 ms; what came through, and how many spikes.
    fn play(values: impl IntoIterator<Item = f64>) -> (Vec<f64>, u32) {
        let mut spikes = Spikes::new(0.1);
        let mut through = Vec::new();
        for (i, value) in values.into_iter().enumerate() {
            through.extend(spikes.take(i as f64 * 0.05, value).into_iter().flatten().map(|(_, v)| v));
        }
        (through, spikes.count())
    }

    /// Small unrest that repeats itself never.
    fn unrest(i: usize) -> f64 {
        0.02 * ((i * 7919 % 101) as f64 / 50.0 - 1.0)
    }

    #[test]
    fn a_single_wild_reading_is_rejected_and_counted() {
        for wild in [0.3, -0.3, 30.0] {
            let (through, count) = play((0..100).map(|i| if i % 40 == 30 { wild } else { unrest(i) }));
            assert_eq!((through.len(), count), (98, 2), "{wild}");
            assert!(through.iter().all(|v| v.abs() < 0.05), "{wild}");
        }
    }

    #[test]
    fn a_step_comes_through_whole_one_reading_late() {
        let (through, count) = play((0..100).map(|i| unrest(i) + if i >= 50 { 0.8 } else { 0.0 }));
        assert_eq!((through.len(), count), (100, 0));
    }

    #[test]
    fn a_swing_and_a_ramp_come_through_whole() {
        let swing = (0..400).map(|i| unrest(i) + if i > 100 { 1.15 * (i as f64 * 0.05 * std::f64::consts::TAU).sin() } else { 0.0 });
        assert_eq!(play(swing).1, 0);
        let ramp = (0..400).map(|i| unrest(i) + 0.024 * i as f64);
        assert_eq!(play(ramp).1, 0);
    }

    #[test]
    fn noise_and_a_coarse_quiet_channel_have_none() {
        let mut state = 1u64;
        let mut normal = || {
            (0..12)
                .map(|_| {
                    state ^= state << 13;
                    state ^= state >> 7;
                    state ^= state << 17;
                    (state >> 11) as f64 / (1u64 << 53) as f64
                })
                .sum::<f64>()
                - 6.0
        };
        let (through, count) = play((0..200_000).map(|_| 0.3 * normal()));
        assert!(count <= 2 && through.len() + 2 >= 200_000 - 1, "{count}");
        assert_eq!(play((0..5_000).map(|i| if i % 61 == 0 { 0.1 } else { 0.0 })).1, 0);
    }

    #[test]
    fn two_alike_are_a_step_and_two_apart_are_two_spikes() {
        let at = |i: usize, wild: [f64; 2]| match i {
            50 => wild[0],
            51 => wild[1],
            _ => unrest(i),
        };
        assert_eq!(play((0..100).map(|i| at(i, [0.5, 0.5]))).1, 0);
        assert_eq!(play((0..100).map(|i| at(i, [0.5, -0.5]))).1, 2);
    }

    #[test]
    fn what_was_zeroed_begins_anew() {
        let mut spikes = Spikes::new(0.1);
        for i in 0..50 {
            spikes.take(i as f64, unrest(i));
        }
        spikes.renew();
        assert_eq!(spikes.take(50.0, 5.0)[1], Some((50.0, 5.0)));
    }
}
