//! Whether the estimate is honest on fault-free lifts of the simulator, whose truth the watch does not know: its stated 95 %
//! interval holds the truth as often as it says.

#![allow(clippy::unwrap_used)] // a test, its helpers too

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::Span;
use raisewatch_simulator::{Lift, Script};
use raisewatch_tests::inside::{Count, true_offset_mm};
use raisewatch_tests::scenario::Scenario;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::Watch;
use std::collections::VecDeque;
use std::path::Path;

/// Offsets, shares, and normalised innovations squared of a lift of `scenario`'s plan and kit.
fn lift(scenario: &str, act: &str, seed: u64, offsets: &mut Count, shares: &mut Count, innovations: &mut (f64, usize)) {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let s = Scenario::read(&dir.join(format!("{scenario}.toml"))).unwrap();
    let script = Script::read(&format!("noise = \"n1\"\nwall = \"2031-05-14T14:00:00Z\"\nend = \"130 s\"\n{act}"), "honesty").unwrap();
    let mut lift = Lift::new(&s.plan, &s.kit, &script, seed).unwrap();
    let mut intake = Intake::new(&s.kit);
    let mut watch = Watch::new(&s.plan, &s.kit, Phrases::default()).unwrap();
    let mut last: VecDeque<Vec<f64>> = VecDeque::new();
    let mut next_s = 60.0;
    while !lift.over() {
        let to = lift.now() + Span::ms(20);
        for line in lift.advance(to) {
            for input in intake.take(&line).inputs {
                watch.step(line.t_ms, &input);
            }
        }
        watch.step(to, &Input::Tick);
        let truth = lift.truth();
        last.push_back(truth.heads.iter().map(|h| h.share_n).collect());
        if last.len() > 50 {
            last.pop_front();
        }
        if to.s() < next_s {
            continue;
        }
        next_s = to.s() + 5.0;
        for (j, tower) in watch.estimator().estimate().towers.iter().enumerate() {
            offsets.see(tower.offset_mm, true_offset_mm(&truth, j));
            shares.see(tower.measured_n, last.iter().map(|l| l[j]).sum::<f64>() / last.len() as f64);
        }
        for c in 0..s.kit.nodes.iter().map(|n| n.channels.len()).sum() {
            if let Some((_, i)) = watch.estimator().tilt(c).and_then(|t| t.innovation) {
                innovations.0 += i.value * i.value / i.told;
                innovations.1 += 1;
            }
        }
    }
}

/// Bounds that hold a chi-square sum of `n` in 95 of 100 (Wilson and Hilferty 1931).
fn bounds(n: f64) -> (f64, f64) {
    let at = |z: f64| n * (1.0 - 2.0 / (9.0 * n) + z * (2.0 / (9.0 * n)).sqrt()).powi(3);
    (at(-1.96), at(1.96))
}

/// The published table (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4), its last row: 74.222 and 129.561 at 100.
#[test]
fn bounds_are_those_of_the_table() {
    let (low, high) = bounds(100.0);
    assert!((low - 74.222).abs() < 0.05 && (high - 129.561).abs() < 0.05, "{low} {high}");
}

/// Raising and lowering with hands that differ by 5 % from turn to turn, and standing; eight seeds each.
fn honest(scenario: &str) {
    let (mut offsets, mut shares, mut innovations) = (Count::default(), Count::default(), (0.0, 0));
    for act in [
        "start = { step = \"raise\", height = \"1.3 m\" }\ncrew = { jitter = 0.05 }\n[[act]]\ndo = \"crank\"\nto = \"4.4 m\"\n",
        "start = { step = \"stand\", height = \"3 m\" }\n",
        "start = { step = \"lower\", height = \"4.4 m\" }\ncrew = { jitter = 0.05 }\n[[act]]\ndo = \"crank\"\nto = \"1.3 m\"\n",
    ] {
        for seed in 1..=8 {
            lift(scenario, act, seed, &mut offsets, &mut shares, &mut innovations);
        }
    }
    let (sum, n) = (innovations.0, innovations.1 as f64);
    println!("{scenario}: offsets {:.3}, shares {:.3}, innovations {:.3} of {n}", offsets.part(), shares.part(), sum / n);
    assert!(offsets.told > 500 && shares.told > 500, "the estimate is told: {offsets:?} {shares:?}");
    assert!((0.90..=0.99).contains(&offsets.part()), "offsets {offsets:?}");
    assert!((0.90..=0.99).contains(&shares.part()), "shares {shares:?}");
    let (low, high) = bounds(n);
    assert!((low..=high).contains(&sum), "innovations: {sum} of {n}, {low} to {high}");
}

#[test]
fn two_towers_hold_the_truth() {
    honest("01");
}

#[test]
fn three_in_line_hold_the_truth() {
    honest("12");
}

#[test]
fn a_ring_holds_the_truth() {
    honest("13");
}
