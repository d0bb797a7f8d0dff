//! The filter against what is known of it, and against a textbook's with dense matrices.

use super::*;
use nalgebra::{DMatrix, DVector};

/// A wider `p` makes a quicker filter, and what it is told to be known to is what its errors are: a constant seen with gain g has
/// variance g r / (2 - g) in the end (the exponential mean).
#[test]
fn what_is_told_is_that_of_the_gains_used() {
    let mut k = Kalman::new(&[Block::Trend]);
    k.forget(0, 0.0, 1.0);
    for _ in 0..500 {
        k.spread(0, [0.05, 0.0], false);
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

/// Left alone it comes to the strength that it was set.
#[test]
fn a_swing_keeps_its_strength() {
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
    assert_eq!((k.x, k.p, k.told), (before.x, before.p, before.told));
}

/// Hours of silence in one step: what swings is forgotten and is as strong as ever, and nothing becomes infinite on the way there.
#[test]
fn a_long_silence_leaves_numbers() {
    let mut k = Kalman::new(&BLOCKS);
    (0..BLOCKS.len()).for_each(|b| k.strengthen(b, 2.0));
    (0..k.n).for_each(|i| k.forget(i, 1.0, 1.0));
    k.predict(0.3);
    k.predict(4.0 * 3600.0);
    k.lose(1, 0.0);
    k.update(&[(0, 1.0), (2, 1.0)], 0.5, 0.01, 1e9);
    for i in 0..k.n {
        assert!(k.at(i).is_finite() && (0..k.n).all(|j| k.cov(i, j).is_finite() && k.told(i, j).is_finite()));
    }
    assert!((k.cov(4, 4) - 2.0).abs() < 1e-9, "{}", k.cov(4, 4));
}

/// Random numbers, the same every time (SplitMix64: Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014).
struct Draw(u64);

impl Draw {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }
}

/// Every kind of block, some of them twice.
const BLOCKS: [Block; 9] = [
    Block::Trend,
    Block::Trend,
    Block::Swing { omega: 2.8, damping: 0.2 },
    Block::Steady,
    Block::Fading { tau_s: 1.0 },
    Block::Swing { omega: 7.9, damping: 0.2 },
    Block::Swing { omega: 2.8, damping: 0.2 },
    Block::Trend,
    Block::Fading { tau_s: 0.4 },
];

/// A Kalman filter as textbooks have it, with whole matrices: prediction `x = F x`, `P = F P F' + Q`, gain `K = P H' (H P H' + R)^-1`,
/// and Joseph's form `P = (I - K H) P (I - K H)' + K R K'`, which holds for any gain and so for the second covariance too.
/// Source: Bar-Shalom, Li, Kirubarajan, *Estimation with Applications to Tracking and Navigation* (2001), 5.2.3 and 5.2.4 (5.2.3-18);
/// Simon, *Optimal State Estimation* (2006), 5.1 (5.16 to 5.19).
struct Textbook {
    x: DVector<f64>,
    p: DMatrix<f64>,
    told: DMatrix<f64>,
    /// Place of each block and its strength.
    first: Vec<usize>,
    strength: Vec<f64>,
}

impl Textbook {
    fn new() -> Self {
        let mut n = 0;
        let mut first = Vec::new();
        for block in &BLOCKS {
            first.push(n);
            n += block.states();
        }
        let none = DMatrix::zeros(n, n);
        Textbook { x: DVector::zeros(n), p: none.clone(), told: none, first, strength: vec![0.0; BLOCKS.len()] }
    }

    /// `x' = A x` over `dt_s` by the series of the exponential, so that the closed form of a swing is judged too.
    fn predict(&mut self, dt_s: f64) {
        let n = self.x.len();
        let mut rate = DMatrix::zeros(n, n);
        let mut strong = DMatrix::zeros(n, n);
        for ((block, &i), &s) in BLOCKS.iter().zip(&self.first).zip(&self.strength) {
            match *block {
                Block::Trend => rate[(i, i + 1)] = 1.0,
                Block::Swing { omega, damping } => {
                    rate[(i, i)] = -2.0 * damping * omega;
                    rate[(i, i + 1)] = -omega;
                    rate[(i + 1, i)] = omega;
                    (strong[(i, i)], strong[(i + 1, i + 1)]) = (s, s);
                }
                Block::Fading { tau_s } => {
                    rate[(i, i)] = -1.0 / tau_s;
                    strong[(i, i)] = s;
                }
                Block::Steady => {}
            }
        }
        let f = (rate * dt_s).exp();
        // What is as strong as it is set stays so.
        let q = &strong - &f * &strong * f.transpose();
        self.x = &f * &self.x;
        self.p = &f * &self.p * f.transpose() + &q;
        self.told = &f * &self.told * f.transpose() + &q;
    }

    fn update(&mut self, terms: &[Term], z: f64, r: f64) {
        let n = self.x.len();
        let mut h = DMatrix::zeros(1, n);
        terms.iter().for_each(|&(i, k)| h[(0, i)] += k);
        let s = (&h * &self.p * h.transpose())[(0, 0)] + r;
        let gain = &self.p * h.transpose() / s;
        let off = z - (&h * &self.x)[(0, 0)];
        self.x += &gain * off;
        let left = DMatrix::identity(n, n) - &gain * &h;
        for c in [&mut self.p, &mut self.told] {
            *c = &left * &*c * left.transpose() + &gain * r * gain.transpose();
        }
    }

    fn scale(&mut self, i: usize, by: f64) {
        self.x[i] *= by;
        for c in [&mut self.p, &mut self.told] {
            c.row_mut(i).scale_mut(by);
            c.column_mut(i).scale_mut(by);
        }
    }

    fn forget(&mut self, i: usize, value: f64, variance: f64) {
        self.scale(i, 0.0);
        self.x[i] = value;
        (self.p[(i, i)], self.told[(i, i)]) = (variance, variance);
    }

    /// States and covariances within 1e-9 of what they are uncertain by.
    fn same(&self, k: &Kalman, what: &str) {
        let n = self.x.len();
        let sigma = |i: usize| self.p[(i, i)].sqrt();
        for i in 0..n {
            assert!((self.x[i] - k.at(i)).abs() < 1e-9 * (sigma(i) + self.x[i].abs()), "{what}: state {i} {} {}", k.at(i), self.x[i]);
            for j in 0..n {
                for (is, ours) in [(self.p[(i, j)], k.cov(i, j)), (self.told[(i, j)], k.told(i, j))] {
                    assert!((is - ours).abs() < 1e-9 * sigma(i) * sigma(j), "{what}: covariance {i} {j}: {ours}, textbook {is}");
                }
            }
        }
    }
}

/// Forty random filters of every kind of block, two hundred acts each: the same state and the same covariances as the textbook's.
#[test]
fn it_is_the_filter_of_the_textbooks() {
    for seed in 0..40 {
        let mut draw = Draw(seed);
        let (mut k, mut book) = (Kalman::new(&BLOCKS), Textbook::new());
        let n = book.x.len();
        for b in 0..BLOCKS.len() {
            k.strengthen(b, 0.5);
            book.strength[b] = 0.5;
        }
        for i in 0..n {
            let (value, variance) = (draw.between(-1.0, 1.0), draw.between(0.2, 4.0));
            k.forget(i, value, variance);
            book.forget(i, value, variance);
        }
        for act in 0..200 {
            let what = one_act(&mut draw, &mut k, &mut book);
            book.same(&k, &format!("seed {seed}, act {act} ({what})"));
        }
    }
}

/// One thing that the estimate does with a filter, done to both.
fn one_act(draw: &mut Draw, k: &mut Kalman, book: &mut Textbook) -> &'static str {
    let n = book.x.len();
    match draw.below(12) {
        0..=3 => {
            let dt_s = if draw.below(8) == 0 { draw.between(0.5, 3.0) } else { draw.between(0.002, 0.2) };
            k.predict(dt_s);
            book.predict(dt_s);
            "predict"
        }
        4..=7 => {
            let terms: Vec<Term> = (0..1 + draw.below(6)).map(|_| (draw.below(n), draw.between(-2.0, 2.0))).collect();
            let (z, r) = (draw.between(-3.0, 3.0), draw.between(0.05, 1.0));
            assert!(k.update(&terms, z, r, 1e9).1);
            book.update(&terms, z, r);
            "update"
        }
        8 => {
            let (b, s) = (draw.below(BLOCKS.len()), draw.between(0.01, 2.0));
            k.strengthen(b, s);
            book.strength[b] = s;
            "strengthen"
        }
        9 => {
            // A doubt of one state, and one of all trends or of how they differ.
            let (i, v) = (draw.below(n), draw.between(0.0, 0.3));
            k.doubt(i, v);
            for c in [&mut book.p, &mut book.told] {
                c[(i, i)] += v;
            }
            let (which, apart, told) = (draw.below(2), draw.below(2) == 1, draw.between(0.0, 0.3));
            k.spread(which, [v, told], apart);
            let places = [0, 2, n - 3];
            for (a, b) in places.iter().flat_map(|&a| places.map(|b| (a, b))) {
                let part = f64::from(u8::from(a == b)) - if apart { 1.0 / 3.0 } else { 0.0 };
                book.p[(a + which, b + which)] += v * part;
                book.told[(a + which, b + which)] += told * part;
            }
            "doubt"
        }
        10 => {
            let (which, by) = (draw.below(2), if draw.below(8) == 0 { 0.05 } else { draw.between(0.3, 1.0) });
            k.lose(which, by);
            let trends = BLOCKS.iter().zip(book.first.clone()).filter(|(b, _)| **b == Block::Trend);
            trends.for_each(|(_, first)| book.scale(first + which, by));
            "lose"
        }
        _ => {
            let (i, by, v) = (draw.below(n), draw.between(-0.5, 0.5), draw.between(0.1, 1.0));
            k.shift((i + 3) % n, by);
            book.x[(i + 3) % n] += by;
            k.forget(i, by, v);
            book.forget(i, by, v);
            "forget"
        }
    }
}
