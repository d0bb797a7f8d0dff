//! How a drift is told from noise, a bump, a leap and what temperature may do.

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
