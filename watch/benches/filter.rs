//! What one reading costs in the filter of the estimate, beside the same step as textbooks write it, with whole matrices.
//!
//! `cargo bench -p raisewatch-watch --bench filter`: both in one run, so that their ratio holds on a machine that does other work too.
//! That they give the same is held by a test, `estimate::kalman::tests::it_is_the_filter_of_the_textbooks`.

use divan::{Bencher, black_box};
use nalgebra::{DMatrix, DVector};
use raisewatch_watch::estimate::kalman::{Block, Kalman, Term};

fn main() {
    divan::main();
}

/// A step of time, s: a node at 20 Hz on each of so many towers.
fn dt_s(towers: usize) -> f64 {
    0.05 / towers as f64
}

/// The blocks of a line of towers with a tilt at each: heads, then bias, three swings and a rest for every box, and as much for the line.
fn blocks(towers: usize) -> Vec<Block> {
    let swings = [2.8, 5.0, 7.9].map(|omega| Block::Swing { omega, damping: 0.2 });
    let fading = Block::Fading { tau_s: 1.0 };
    let mut blocks = vec![Block::Trend; towers];
    for _ in 0..towers {
        blocks.push(Block::Steady);
        blocks.extend(swings);
        blocks.push(fading);
    }
    blocks.extend(swings);
    blocks.push(fading);
    blocks
}

/// What the box at the first tower feels: every head, its own bias and swings, and those of the line.
fn terms(towers: usize, n: usize) -> Vec<Term> {
    let own = 2 * towers;
    let heads = (0..towers).map(|t| (2 * t, 0.2 / (1.0 + t as f64)));
    heads.chain([own, own + 1, own + 3, own + 5, own + 7, n - 7, n - 5, n - 3, n - 1].map(|i| (i, 1.0))).collect()
}

#[divan::bench(args = [2, 4, 8, 16])]
fn ours(bencher: Bencher, towers: usize) {
    let blocks = blocks(towers);
    let mut filter = Kalman::new(&blocks);
    let n = blocks.iter().map(|b| b.states()).sum();
    (0..n).for_each(|i| filter.forget(i, 0.0, 1.0));
    (0..blocks.len()).for_each(|b| filter.strengthen(b, 0.1));
    let terms = terms(towers, n);
    bencher.bench_local(|| {
        filter.predict(black_box(dt_s(towers)));
        filter.spread(1, [1e-4, 1e-5], true);
        black_box(filter.update(&terms, 0.01, 0.01, 1e9))
    });
}

#[divan::bench(args = [2, 4, 8, 16])]
fn textbook(bencher: Bencher, towers: usize) {
    let n = blocks(towers).iter().map(|b| b.states()).sum();
    // Any transition costs the same.
    let f = DMatrix::<f64>::identity(n, n) * 0.99;
    let q = DMatrix::<f64>::identity(n, n) * 0.02;
    let mut h = DMatrix::zeros(1, n);
    terms(towers, n).iter().for_each(|&(i, k)| h[(0, i)] = k);
    let mut x = DVector::<f64>::zeros(n);
    let mut covariances = [DMatrix::<f64>::identity(n, n), DMatrix::<f64>::identity(n, n)];
    bencher.bench_local(|| {
        x = &f * &x;
        for c in &mut covariances {
            *c = &f * &*c * f.transpose() + &q;
        }
        let s = (&h * &covariances[0] * h.transpose())[(0, 0)] + 0.01;
        let gain = &covariances[0] * h.transpose() / s;
        let off = black_box(0.01) - (&h * &x)[(0, 0)];
        x += &gain * off;
        let left = DMatrix::<f64>::identity(n, n) - &gain * &h;
        for c in &mut covariances {
            *c = &left * &*c * left.transpose() + &gain * 0.01 * gain.transpose();
        }
    });
}
