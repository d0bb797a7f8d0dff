//! Heads that fall and boxes that step, each in a series of its own.

use super::series::*;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

const TWO: [&str; 2] = ["A", "B"];
const ROPES: [&str; 3] = ["truss-along", "head-load", "rope-load"];
const BOTH: [&str; 2] = ["truss-along", "head-load"];

fn on_pins(towers: usize) -> Truth {
    Truth { rope: vec![0.02; towers], ..Truth::level(towers) }
}

fn standing(plan: &str, towers: &[&str], channels: &[&str], seed: u64) -> Series {
    let mut s = Series::new(plan, &kit(towers, channels), seed);
    let n = towers.len();
    s.run(3.0, STANDING, |_| on_pins(n));
    s.step(Step::Stand);
    s.run(60.0, STANDING, |_| on_pins(n));
    assert_eq!(s.told, [], "quiet at first");
    s
}

/// A slack rope that catches what fell within one sample: the tower is named by its rope, before the level has settled.
#[test]
fn a_slack_rope_that_catches_names_the_tower_that_fell() {
    for tower in 0..2 {
        for seed in 1..=5 {
            let mut s = standing(HARBOUR, &TWO, &ROPES, seed);
            let begin = s.now_s;
            s.run(3.0, STANDING, |t| {
                let mut truth = on_pins(2);
                truth.offset_mm[tower] = -20.0 * (t / 0.06).min(1.0);
                truth.rope[tower] = match t {
                    t if t < 0.075 => 0.02,
                    t if t < 0.2 => 2.4,
                    _ => 1.0,
                };
                truth
            });
            let told = s.first(Kind::Dropped).expect("told");
            assert_eq!((told.condition.tower, told.severity), (Some(tower), Severity::Stop), "seed {seed}");
            assert!(told.at_s - begin <= 0.5, "seed {seed}: {}", told.at_s - begin);
            // The rope that carries again after that is one cause with it, told beside at most as what follows.
            assert_eq!(s.first(Kind::Uneven), None, "seed {seed}");
        }
    }
}

/// A load that is taken off the pins by hand loads a slack rope too, with no blow and no step.
#[test]
fn a_rope_that_is_loaded_by_hand_is_no_drop() {
    for seed in 1..=5 {
        let mut s = standing(HARBOUR, &TWO, &ROPES, seed);
        s.step(Step::Section);
        s.run(10.0, STANDING, |t| {
            let mut truth = on_pins(2);
            truth.rope[0] = (0.02 + 0.5 * t).min(1.1);
            truth.offset_mm[0] = (2.0 * t).min(4.0);
            truth
        });
        assert_eq!(s.first(Kind::Dropped), None, "seed {seed}");
    }
}

/// Three in line: the shares name the head that fell. What they cannot tell, one end from the other, the tilts do, or the blow where
/// there are none.
#[test]
fn in_line_the_shares_name_the_head_that_fell() {
    for (fell, channels) in (0..3).flat_map(|fell| [(fell, &BOTH[..]), (fell, &["head-load"][..])]) {
        for seed in 1..=5 {
            let mut s = standing(TANNERS, &["A", "B", "C"], channels, seed);
            let begin = s.now_s;
            s.run(3.0, STANDING, |t| {
                let mut truth = Truth::level(3);
                truth.offset_mm[fell] = -12.0 * (t / 0.05).min(1.0);
                // Where it lands the blow is hardest, and the whole truss feels it.
                if (0.05..0.2).contains(&t) {
                    truth.blow = (0..3).map(|j| if j == fell { 2.4 } else { 1.3 }).collect();
                }
                truth
            });
            let told = s.first(Kind::Dropped).unwrap_or_else(|| panic!("head {fell}, seed {seed}: {:?}", s.told));
            assert_eq!((told.condition.tower, told.severity), (Some(fell), Severity::Stop), "seed {seed}");
            assert!(told.at_s - begin <= 0.8, "head {fell}, seed {seed}: {}", told.at_s - begin);
            let amount = told.condition.amount;
            assert!(amount.is_none_or(|a| a.value < 0.0 && a.value > -40.0), "{amount:?}");
        }
    }
}

/// Four in a stiff line: the load of the head that fell goes to its neighbours, whose cells take the hardest blow. It is named all the same,
/// by the shares, and no neighbour ever is.
#[test]
fn in_a_stiff_line_no_neighbour_of_the_head_that_fell_is_named() {
    const FOUR: [&str; 4] = ["A", "B", "C", "D"];
    for (fell, struck) in [(0, 1), (1, 2), (2, 1), (3, 2)] {
        for seed in 1..=3 {
            let mut s = standing(WEAVERS, &FOUR, &BOTH, seed);
            let begin = s.now_s;
            s.run(3.0, STANDING, |t| {
                let mut truth = Truth::level(4);
                truth.offset_mm[fell] = -11.0 * (t / 0.05).min(1.0);
                if (0.05..0.15).contains(&t) {
                    truth.blow[struck] = 1.8;
                }
                truth
            });
            let told = s.first(Kind::Dropped).unwrap_or_else(|| panic!("head {fell}, seed {seed}: {:?}", s.told));
            assert_eq!((told.condition.tower, told.severity), (Some(fell), Severity::Stop), "seed {seed}");
            assert!(told.at_s - begin <= 0.7, "head {fell}, seed {seed}: {}", told.at_s - begin);
        }
    }
}

/// Four readings a second: three of them in 0.3 s there are not. The blow is remembered until the step is seen over a second, and a blow
/// with no step is none.
#[test]
fn a_slow_node_tells_a_fall_by_its_last_second() {
    for (fell, seed) in (0..2).flat_map(|fell| (1..=5).map(move |seed| (fell, seed))) {
        for by_mm in [30.0, 0.0] {
            let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH).replace("20 Hz", "4 Hz"), seed);
            s.run(3.0, STANDING, |_| on_pins(2));
            s.step(Step::Stand);
            s.run(60.0, STANDING, |_| on_pins(2));
            let begin = s.now_s;
            s.run(4.0, STANDING, |t| {
                let mut truth = on_pins(2);
                truth.offset_mm[fell] = -by_mm * (t / 0.07).min(1.0);
                truth.blow[fell] = if (0.07..0.4).contains(&t) { 2.4 } else { 1.0 };
                truth
            });
            let told = s.first(Kind::Dropped);
            assert_eq!(told.and_then(|d| d.condition.tower), (by_mm > 0.0).then_some(fell), "seed {seed}");
            assert!(told.is_none_or(|d| d.at_s - begin <= 1.7), "seed {seed}: {told:?}");
        }
    }
}

/// Cells alone: what falls freely weighs nothing and is caught with far more than it lost; a hand that lifts and lets go is neither.
#[test]
fn cells_alone_tell_a_free_fall() {
    for seed in 1..=5 {
        for (least, most, told) in [(0.05, 2.6, true), (0.5, 1.5, false)] {
            let mut s = standing(HARBOUR, &TWO, &["head-load"], seed);
            s.run(3.0, STANDING, |t| {
                let blow = if t < 0.12 {
                    least
                } else if t < 0.24 {
                    most
                } else {
                    1.0
                };
                Truth { blow: vec![1.0, blow], ..on_pins(2) }
            });
            let dropped = s.first(Kind::Dropped);
            assert_eq!(dropped.is_some(), told, "seed {seed} {least}");
            assert!(dropped.is_none_or(|d| d.condition.tower == Some(1) && d.condition.amount.is_none()));
        }
    }
}

#[test]
fn a_blow_without_a_step_is_no_drop() {
    for (plan, towers) in [(HARBOUR, &["A", "B"][..]), (TANNERS, &["A", "B", "C"][..])] {
        for seed in 1..=5 {
            let n = towers.len();
            let mut s = standing(plan, towers, &BOTH, seed);
            s.run(5.0, STANDING, |t| Truth {
                blow: (0..n).map(|j| if j == 0 && (1.0..1.15).contains(&t) { 2.5 } else { 1.0 }).collect(),
                ..on_pins(n)
            });
            assert_eq!(s.first(Kind::Dropped), None, "{n} towers, seed {seed}");
        }
    }
}

/// The step rule: a small knock that the filter does not refuse is told by the twin that did not go with it.
#[test]
fn a_box_that_steps_away_from_its_twin_was_moved_and_the_twin_guards() {
    for tower in 0..2 {
        for seed in 1..=5 {
            let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), seed);
            s.run(3.0, STANDING, |_| Truth::level(2));
            s.step(Step::TestLift);
            s.run(20.0, STANDING, |_| Truth::level(2));
            let begin = s.now_s;
            let step = |deg: f64| Truth { wrong: vec![(tower, Channel::TrussAlong, deg.to_radians())], ..Truth::level(2) };
            s.run(8.0, STANDING, |t| step(if t > 1.0 { 0.45 } else { 0.0 }));
            let told = s.first(Kind::Knocked).unwrap_or_else(|| panic!("tower {tower}, seed {seed}"));
            assert_eq!((told.condition.tower, told.severity), (Some(tower), Severity::Note), "seed {seed}");
            assert!(told.at_s - begin < 5.0, "{}", told.at_s - begin);
            assert_eq!(s.beside(&[Kind::Knocked]), [], "seed {seed}");
            // The level is the twin's.
            let offset = s.est.estimate().towers[1].offset_mm.expect("known");
            assert!(offset.value.abs() < 5.0, "{offset:?}");
        }
    }
}

/// A ramp is a head that is cranked, whatever one box says of it; a step of both is a truss that moved.
#[test]
fn a_step_of_both_boxes_and_a_ramp_are_no_knock() {
    for seed in 1..=5 {
        let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::Raise);
        s.run(10.0, CRANKING, |_| Truth::level(2));
        // A head is jerked up by 25 mm (0.24 degrees over 6 m) within 0.3 s: both boxes show it.
        s.run(8.0, CRANKING, |t| Truth { offset_mm: vec![0.0, 25.0 * (t / 0.3).min(1.0)], ..Truth::level(2) });
        assert_eq!(s.first(Kind::Knocked), None, "seed {seed}: both");
        s.run(10.0, CRANKING, |t| Truth { offset_mm: vec![0.0, (25.0 - 10.0 * t).max(-25.0)], ..Truth::level(2) });
        assert_eq!(s.first(Kind::Knocked), None, "seed {seed}: cranked back");
    }
}

/// One spike is neither a knock nor a number.
#[test]
fn a_spike_is_no_step() {
    for seed in 1..=5 {
        let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::Raise);
        s.run(10.0, CRANKING, |_| Truth::level(2));
        let spike = |t: f64| if (1.0..1.08).contains(&t) { 3.0_f64.to_radians() } else { 0.0 };
        let mut worst = 0.0_f64;
        s.run_seeing(
            6.0,
            CRANKING,
            |t| Truth { wrong: vec![(0, Channel::TrussAlong, spike(t))], ..Truth::level(2) },
            |s, _| worst = worst.max(s.est.estimate().towers[1].offset_mm.map_or(0.0, |o| o.value.abs())),
        );
        assert_eq!(s.told, [], "seed {seed}");
        assert!(worst < 40.0, "seed {seed}: {worst} mm");
    }
}
