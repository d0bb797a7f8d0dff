//! How long the sums take and how they grow with the towers. Wanted: 16 towers on 60 m solved in under 5 ms, a further
//! height vector in under 20 µs. `cargo bench -p raisewatch-statics`.

#![allow(clippy::unwrap_used, missing_docs)] // a bench that cannot be set up must fail

#[path = "../tests/common/mod.rs"]
mod common;
use common::*;
use divan::{Bencher, black_box};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::Length;
use raisewatch_statics::{Bearing, Model, Sheet};

fn main() {
    divan::main();
}

/// A straight truss of 60 m with loads every metre.
fn straight(towers: usize) -> Plan {
    let mut p = plan();
    p.pieces = vec![piece("front", [0.0, 0.0], [60.0, 0.0], 9.0, 1.5e6, 0.2e6)];
    p.towers = (0..towers).map(|i| tower(&format!("T{i}"), 0, 60.0 * i as f64 / (towers - 1) as f64)).collect();
    p.loads = (0..60).map(|i| point("wash", 0, f64::from(i) + 0.5, kg(10.0))).collect();
    p
}

/// A grid of 4 × 4 towers, 60 m along each side, each bay a piece.
fn grid() -> Plan {
    let mut p = plan();
    for i in 0..4 {
        for j in 0..4 {
            let at = [20.0 * f64::from(i), 20.0 * f64::from(j)];
            let here = p.pieces.len();
            if i < 3 {
                p.pieces.push(piece(&format!("x{i}{j}"), at, [at[0] + 20.0, at[1]], 9.0, 1.5e6, 0.2e6));
            }
            if j < 3 {
                p.pieces.push(piece(&format!("y{i}{j}"), at, [at[0], at[1] + 20.0], 9.0, 1.5e6, 0.2e6));
            }
            let (piece, x) = if p.pieces.len() > here { (here, 0.0) } else { (here - 1, 20.0) };
            p.towers.push(tower(&format!("T{i}{j}"), piece, x));
        }
    }
    p
}

#[divan::bench(args = [2, 3, 4, 6, 8, 12, 16])]
fn straight_60_m_solved(bencher: Bencher, towers: usize) {
    let model = Model::new(&straight(towers)).unwrap();
    let standing = model.on(Bearing::Rope, Length(5.0));
    bencher.bench(|| model.standing(black_box(&standing)));
}

#[divan::bench]
fn grid_of_16_towers_solved(bencher: Bencher) {
    let plan = grid();
    let model = Model::new(&plan).unwrap();
    assert_eq!(plan.towers.len(), 16);
    let standing = model.on(Bearing::Rope, Length(5.0));
    bencher.bench(|| model.standing(black_box(&standing)));
}

#[divan::bench(args = [2, 4, 8, 16])]
fn further_heights(bencher: Bencher, towers: usize) {
    let model = Model::new(&straight(towers)).unwrap();
    let linear = model.standing(&model.on(Bearing::Rope, Length(5.0)));
    let offsets: Vec<f64> = (0..towers).map(|i| 0.001 * i as f64).collect();
    bencher.bench(|| (linear.shares(black_box(&offsets)), linear.heads(black_box(&offsets))));
}

#[divan::bench(args = [2, 4, 8, 16])]
fn further_heights_with_towers_that_only_push(bencher: Bencher, towers: usize) {
    let model = Model::new(&straight(towers)).unwrap();
    let linear = model.standing(&model.on(Bearing::Rope, Length(5.0)));
    // Every other tower 40 mm low: some lift off.
    let offsets: Vec<f64> = (0..towers).map(|i| if i % 2 == 1 { -0.04 } else { 0.0 }).collect();
    bencher.bench(|| linear.stood(black_box(&offsets)));
}

/// With cures looked for: these long trusses are refused, which costs most.
#[divan::bench(args = [2, 4, 16], sample_count = 2, sample_size = 1)]
fn load_sheet_with_cures(bencher: Bencher, towers: usize) {
    let plan = straight(towers);
    bencher.bench(|| Sheet::new(black_box(&plan)).unwrap());
}
