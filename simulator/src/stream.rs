//! Randomness: one stream for each instrument and each pair of hands, so that a change at one does not shift another.

use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

/// A stream of random numbers of its own.
#[derive(Clone, Debug)]
pub struct Stream(StdRng);

impl Stream {
    /// The stream called `name` of the run with this seed.
    pub fn new(seed: u64, name: &str) -> Self {
        // FNV-1a over the name, then mixed with the seed: streams with like names must not be alike.
        let named = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
        Stream(StdRng::seed_from_u64(named ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(23)))
    }
    /// Normally distributed with mean 0 and standard deviation `sigma`.
    pub fn normal(&mut self, sigma: f64) -> f64 {
        let unit: f64 = StandardNormal.sample(&mut self.0);
        unit * sigma
    }
    /// Evenly between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        if high > low { self.0.random_range(low..high) } else { low }
    }
    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        probability > 0.0 && self.0.random_range(0.0..1.0) < probability
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_repeat_and_differ() {
        let draw = |seed, name| (0..8).map(|_| 0).scan(Stream::new(seed, name), |s, _| Some(s.normal(1.0))).collect::<Vec<_>>();
        assert_eq!(draw(7, "A"), draw(7, "A"));
        assert_ne!(draw(7, "A"), draw(7, "B"));
        assert_ne!(draw(7, "A"), draw(8, "A"));
    }

    #[test]
    fn normal_has_its_spread() {
        let mut stream = Stream::new(1, "spread");
        let n = 20_000;
        let (sum, square) = (0..n).map(|_| stream.normal(2.0)).fold((0.0, 0.0), |(a, b), v| (a + v, b + v * v));
        assert!((sum / f64::from(n)).abs() < 0.06 && (square / f64::from(n) - 4.0).abs() < 0.2);
    }
}
