//! Whether the estimate is honest: what it calls its uncertainty holds the truth as often as it says.

use crate::causes::series::*;
use crate::condition::Known;
use raisewatch_protocol::words::{Channel, Step};

#[derive(Default)]
struct Count {
    inside: usize,
    all: usize,
    squares: f64,
    sigmas: f64,
}

impl Count {
    fn see(&mut self, told: Option<Known>, truth: f64) {
        if let Some(k) = told {
            self.all += 1;
            self.squares += (k.value - truth).powi(2);
            self.sigmas += k.sigma;
            self.inside += usize::from((k.value - truth).abs() <= 1.96 * k.sigma);
        }
    }
    /// Part inside; prints root mean square of the error beside the mean sigma.
    fn part(&self) -> f64 {
        let n = self.all as f64;
        println!("{n} samples: inside {:.3}, error {:.2}, sigma {:.2}", self.inside as f64 / n, (self.squares / n).sqrt(), self.sigmas / n);
        self.inside as f64 / self.all as f64
    }
}

/// Fault-free raises: boxes zeroed to 0.03 degrees, spans within one per cent; samples 5 s apart, the first minute dropped.
fn honesty(plan: &str, towers: &[&str], wander_mm: f64) -> (f64, f64) {
    let (mut offsets, mut shares) = (Count::default(), Count::default());
    let n = towers.len();
    for seed in 1..=12 {
        let mut s = Series::new(plan, &kit(towers, &["truss-along", "head-load"]), seed);
        let mut wrong = Vec::new();
        let mut span = Vec::new();
        for j in 0..n {
            wrong.push((j, Channel::TrussAlong, 0.03_f64.to_radians() * s.normal()));
            span.push(1.0 + 0.0058 * s.normal());
        }
        s.step(Step::TestLift);
        let truth = |t: f64| Truth {
            wrong: wrong.clone(),
            blow: span.clone(),
            offset_mm: (0..n).map(|j| wander_mm * (t * 0.15 + j as f64).sin()).collect(),
            ..Truth::level(n)
        };
        s.run(20.0, STANDING, |_| Truth { wrong: wrong.clone(), blow: span.clone(), ..Truth::level(n) });
        s.step(Step::Raise);
        let mut next = 60.0;
        let (offsets, shares) = (&mut offsets, &mut shares);
        s.run_seeing(140.0, CRANKING, truth, |s, truth| {
            if s.now_s < next {
                return;
            }
            next = s.now_s + 5.0;
            let mean = truth.offset_mm.iter().sum::<f64>() / n as f64;
            for (j, tower) in s.est.estimate().towers.iter().enumerate() {
                offsets.see(tower.offset_mm, truth.offset_mm[j] - mean);
                let share = s.shares_of(truth)[j];
                shares.see(tower.measured_n, share);
            }
        });
    }
    assert!(offsets.all > 300 && shares.all > 300, "the estimate is told");
    (offsets.part(), shares.part())
}

#[test]
fn intervals_hold_the_truth_two_towers() {
    let (offsets, shares) = honesty(HARBOUR, &["A", "B"], 20.0);
    assert!((0.90..=0.99).contains(&offsets), "offsets {offsets}");
    assert!((0.90..=0.99).contains(&shares), "shares {shares}");
}

#[test]
fn intervals_hold_the_truth_three_towers() {
    let (offsets, shares) = honesty(TANNERS, &["A", "B", "C"], 4.0);
    assert!((0.90..=0.995).contains(&offsets), "offsets {offsets}");
    assert!((0.90..=0.99).contains(&shares), "shares {shares}");
}

/// A ramp of a whole pace is followed without lag once it has lasted 3 s, and its rate is known.
#[test]
fn a_ramp_is_followed_without_lag() {
    let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &["truss-along", "head-load"]), 8);
    s.step(Step::Raise);
    let ramp = |t: f64| Truth { offset_mm: vec![0.0, 12.0 * (t - 5.0).max(0.0)], ..Truth::level(2) };
    let (mut sum, mut rates, mut count) = (0.0, 0.0, 0.0);
    s.run_seeing(12.0, CRANKING, ramp, |s, truth| {
        if s.now_s > 8.0 {
            sum += s.est.estimate().level.above_mm[1].unwrap().value - truth.offset_mm[1];
            let towers = &s.est.estimate().towers;
            rates += towers[1].rate_mm_s.unwrap().value - towers[0].rate_mm_s.unwrap().value;
            count += 1.0;
        }
    });
    // A lag of 0.2 s would be 2.4 mm.
    assert!((sum / count).abs() < 2.4, "{}", sum / count);
    assert!((rates / count - 12.0).abs() < 2.0, "{}", rates / count);
}

/// 5 mm of sway at 1 Hz reads as 1.15 degrees; the truss stands, and a tenth of a degree is all that may be left of it.
#[test]
fn sway_is_rejected() {
    for hz in [0.35, 0.5, 0.7, 0.9, 1.0, 1.2, 1.5] {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &["truss-along", "head-load"]), 8);
        s.step(Step::Raise);
        s.run(20.0, CRANKING, |_| Truth::level(2));
        // Amplitude of acceleration of 5 mm, as an angle: (2πf)² 5 mm / g.
        let deg = ((std::f64::consts::TAU * hz).powi(2) * 0.005 / 9.80665).to_degrees();
        let mut worst: f64 = 0.0;
        let begin = s.now_s;
        s.run_seeing(
            40.0,
            Noise { sway: (deg, hz), ..CRANKING },
            |_| Truth::level(2),
            |s, _| {
                if s.now_s > begin + 10.0 {
                    worst = worst.max(s.est.estimate().level.rake_mm.unwrap().value);
                }
            },
        );
        println!("{hz} Hz {deg:.2} deg: {worst:.1} mm");
        assert!(worst < 25.0, "{hz} Hz {deg} deg: {worst} mm");
    }
}
