//! The signatures of docs/trade.md section 2, each in a series of its own.

use super::series::*;
use crate::condition::Known;
use crate::scene::Turn;
use raisewatch_protocol::Mono;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

const TWO: [&str; 2] = ["A", "B"];
const BOTH: [&str; 2] = ["truss-along", "head-load"];

fn two(seed: u64) -> Series {
    let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), seed);
    s.run(3.0, STANDING, |_| Truth::level(2));
    s.step(Step::TestLift);
    s.run(12.0, STANDING, |_| Truth::level(2));
    assert_eq!(s.told, [], "quiet at the test lift");
    s
}

fn offsets(a: f64, b: f64) -> Truth {
    Truth { offset_mm: vec![a, b], ..Truth::level(2) }
}

/// docs/trade.md section 8, scenario 1: 3.75 mm/s from the 20th second; 50 mm at 33.3 s.
#[test]
fn a_slow_drift_is_told_in_time_and_not_before() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(45.0, CRANKING, |t| offsets(0.0, 3.75 * (t - 20.0_f64).max(0.0)));
        let told = s.first(Kind::Uneven).expect("told");
        let at = told.at_s - begin;
        println!("drift {at:.2}");
        assert!((31.0..36.0).contains(&at), "seed {seed}: {at}");
        assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Warn), "seed {seed}");
        assert!(told.condition.amount.is_some_and(|a| (a.value - 53.0).abs() < 8.0), "{:?}", told.condition.amount);
        assert_eq!(s.beside(&[Kind::Uneven]), [], "seed {seed}");
    }
}

/// Scenario 2: one stops; 0.5 deg at 2.1 s, 1 deg at 4.2 s.
#[test]
fn one_that_stops_is_told_within_a_second() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(22.0, CRANKING, |t| offsets(0.0, 25.0 * (t - 15.0_f64).max(0.0)));
        let warn = s.first_at(Kind::Uneven, Severity::Warn).expect("warn");
        let stop = s.first_at(Kind::Uneven, Severity::Stop).expect("stop");
        assert_eq!(warn.condition.tower, Some(1), "seed {seed}");
        println!("seed {seed}: warn {:.2}, stop {:.2}", warn.at_s - begin, stop.at_s - begin);
        assert!(warn.at_s - begin <= 18.1 && warn.at_s - begin > 15.5, "seed {seed}: {}", warn.at_s - begin);
        assert!(stop.at_s - begin <= 20.2, "seed {seed}: {}", stop.at_s - begin);
        assert_eq!(s.beside(&[Kind::Uneven]), []);
    }
}

/// Scenario 3: lowering, the low one holds; 15 mm/s apart, 0.5 deg at 3.5 s, told by 4.7 s.
#[test]
fn lowering_the_low_one_holds() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Lower);
        let begin = s.now_s;
        s.run(5.0, CRANKING, |_| Truth::level(2));
        s.run(8.0, CRANKING, |t| offsets(0.0, -15.0 * t));
        let told = s.first(Kind::Uneven).expect("told");
        assert_eq!(told.condition.tower, Some(1));
        assert!(told.condition.amount.is_some_and(|a| a.value < 0.0));
        assert!(told.at_s - begin - 5.0 <= 4.7, "seed {seed}: {}", told.at_s - begin - 5.0);
    }
}

/// Scenario 4: a drape line at 6 m on the truss, 8 N/mm, 200 N/s; told within 1.5 s with its place.
#[test]
fn a_soft_catch_is_told_with_its_place() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(34.0, CRANKING, |t| Truth { extra: vec![(200.0 * (t - 30.0_f64).max(0.0), 6.0)], ..Truth::level(2) });
        let told = s.first(Kind::Caught).expect("told");
        assert!((30.0..=31.5).contains(&(told.at_s - begin)), "seed {seed}: {}", told.at_s - begin);
        assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Stop));
        let place = told.condition.position.expect("a place");
        assert!((place.value - 6.0).abs() < 0.8, "seed {seed}: {place:?}");
        assert_eq!(s.beside(&[Kind::Caught]), [], "seed {seed}");
    }
}

/// Scenario 5: a pipe, 3,460 N/s in all; told within half a second; no hold.
#[test]
fn a_hard_catch_is_told_at_once() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(41.5, CRANKING, |t| Truth { extra: vec![(3460.0 * (t - 40.0_f64).max(0.0), 6.0)], ..Truth::level(2) });
        let told = s.first(Kind::Caught).expect("told");
        assert!((40.0..=40.5).contains(&(told.at_s - begin)), "seed {seed}: {}", told.at_s - begin);
        assert_eq!(s.beside(&[Kind::Caught, Kind::Overload]), []);
    }
}

/// Scenario 6: rests on a case under B while lowering; told within a second, and not as a light tower.
#[test]
fn resting_is_told_and_not_as_light() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Lower);
        let begin = s.now_s;
        s.run(14.0, CRANKING, |t| Truth { extra: vec![(-3000.0 * (t - 10.0).clamp(0.0, 0.4), 6.5)], ..Truth::level(2) });
        let told = s.first(Kind::Resting).expect("told");
        assert!(told.at_s - begin <= 11.0, "seed {seed}: {}", told.at_s - begin);
        assert_eq!(told.condition.tower, Some(1));
        assert_eq!(s.beside(&[Kind::Resting]), [], "seed {seed}");
    }
}

/// Scenario 7: a section sticks lowering, the rope goes slack; told within 0.9 s.
#[test]
fn a_slack_rope_is_told_before_the_drop() {
    for seed in 1..=10 {
        let mut s = Series::new(HARBOUR, &kit(&TWO, &["truss-along", "head-load", "rope-load"]), seed);
        s.step(Step::Lower);
        s.run(12.0, CRANKING, |t| Truth { height_m: 4.0 - 0.03 * t, ..Truth::level(2) });
        let begin = s.now_s;
        s.run(3.0, CRANKING, |t| Truth { rope: vec![(1.0 - 1.9 * t).max(0.07), 1.0], offset_mm: vec![0.0, -30.0 * t], ..Truth::level(2) });
        let told = s.first(Kind::Slack).expect("told");
        assert!(told.at_s - begin <= 0.9, "seed {seed}: {}", told.at_s - begin);
        assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Stop));
        assert_eq!(s.beside(&[Kind::Slack]), [], "seed {seed}");
    }
}

/// docs/trade.md section 2, row 9: the rope pulls, the head does not feel it.
#[test]
fn a_section_that_sticks_raising_is_told() {
    let mut s = Series::new(HARBOUR, &kit(&TWO, &["truss-along", "head-load", "rope-load"]), 3);
    s.step(Step::Raise);
    s.run(10.0, CRANKING, |_| Truth::level(2));
    let begin = s.now_s;
    s.run(3.0, CRANKING, |t| Truth { rope: vec![1.0 + 2.6 * t, 1.0], offset_mm: vec![0.0, 25.0 * t], ..Truth::level(2) });
    let told = s.first(Kind::Stuck).expect("told");
    assert!(told.at_s - begin <= 1.0, "{}", told.at_s - begin);
    assert_eq!((told.condition.tower, told.condition.amount), (Some(0), None::<Known>), "null without height");
}

/// Scenario 8: the rope of A still carries; told 15 s after `stand`.
#[test]
fn a_rope_that_still_carries_is_told_after_fifteen_seconds() {
    let mut s = Series::new(HARBOUR, &kit(&TWO, &["truss-along", "head-load", "rope-load"]), 5);
    s.step(Step::Land);
    let landed = |_| Truth { rope: vec![1.0, 0.02], ..Truth::level(2) };
    s.run(20.0, STANDING, landed);
    s.step(Step::Stand);
    let begin = s.now_s;
    s.run(20.0, STANDING, landed);
    let told = s.first(Kind::NotLanded).expect("told");
    assert!((15.0..15.2).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
    assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Warn));
    assert_eq!(s.beside(&[Kind::NotLanded]), []);
}

/// Scenario 9: a pin lets go, 25 mm in 71 ms, with a blow; told within 0.5 s though the rake is under its warn.
#[test]
fn a_drop_is_told_by_its_blow_and_its_step() {
    for seed in 1..=10 {
        let mut s = Series::new(HARBOUR, &kit(&TWO, &["truss-along", "head-load", "rope-load"]), seed);
        s.step(Step::Stand);
        let pinned = Truth { rope: vec![0.02, 0.02], ..Truth::level(2) };
        s.run(60.0, STANDING, |_| pinned.clone());
        let begin = s.now_s;
        s.run(3.0, STANDING, |t| Truth {
            offset_mm: vec![-25.0 * (t / 0.071).min(1.0), 0.0],
            rope: vec![if t < 0.07 { 0.02 } else { 1.0 }, 0.02],
            blow: vec![if (0.07..0.22).contains(&t) { 3.4 } else { 1.0 }, 1.0],
            ..Truth::level(2)
        });
        let told = s.first(Kind::Dropped).expect("told");
        assert!(told.at_s - begin <= 0.5, "seed {seed}: {}", told.at_s - begin);
        assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Stop));
    }
}

/// docs/trade.md section 2, row 25: a bump swings and comes back.
#[test]
fn a_bump_is_no_drop() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Stand);
        s.run(60.0, STANDING, |_| Truth::level(2));
        let swing = |t: f64| (0.4_f64.to_radians()) * (-t / 0.6).exp() * (std::f64::consts::TAU * 0.8 * t).sin();
        s.run(10.0, STANDING, |t| Truth {
            wrong: vec![(0, Channel::TrussAlong, swing(t)), (1, Channel::TrussAlong, swing(t))],
            ..Truth::level(2)
        });
        assert_eq!(s.told, [], "seed {seed}");
    }
}

/// Scenario 11: 28.8 kg too much at 5.47 m, within 10 s, with its place.
#[test]
fn too_much_at_the_test_lift_is_told_with_its_place() {
    for seed in 1..=10 {
        let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), seed);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::TestLift);
        s.run(15.0, STANDING, |_| Truth { extra: vec![(282.0, 5.47)], ..Truth::level(2) });
        let told = s.first(Kind::ExtraWeight).expect("told");
        assert!(told.at_s <= 13.0, "seed {seed}: {}", told.at_s - 3.0);
        let (amount, place) = (told.condition.amount.unwrap(), told.condition.position.unwrap());
        assert!((amount.value - 282.0).abs() < 20.0 && (place.value - 5.47).abs() < 0.5, "{amount:?} {place:?}");
        assert_eq!(s.beside(&[Kind::ExtraWeight]), []);
    }
}

#[test]
fn too_little_at_the_test_lift_is_told_with_its_place() {
    let mut s = Series::new(HARBOUR, &kit(&TWO, &BOTH), 2);
    s.step(Step::TestLift);
    s.run(15.0, STANDING, |_| Truth { extra: vec![(-251.0, 2.5)], ..Truth::level(2) });
    let told = s.first(Kind::MissingWeight).expect("told");
    assert!((told.condition.position.unwrap().value - 2.5).abs() < 0.5);
}

/// Scenario 12: the middle of three comes 12.5 mm out of line; tilt hardly sees it.
#[test]
fn the_middle_of_three_is_told_by_its_loads() {
    for seed in 1..=10 {
        let mut s = Series::new(TANNERS, &kit(&["A", "B", "C"], &BOTH), seed);
        s.run(3.0, STANDING, |_| Truth::level(3));
        s.step(Step::TestLift);
        s.run(12.0, STANDING, |_| Truth::level(3));
        assert_eq!(s.told, [], "seed {seed}");
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(9.0, CRANKING, |t| Truth { offset_mm: vec![0.0, (25.0 * (t - 5.0)).clamp(0.0, 12.5), 0.0], ..Truth::level(3) });
        let told = s.first(Kind::Uneven).expect("told");
        assert_eq!(told.condition.tower, Some(1), "seed {seed}");
        assert!(told.at_s - begin <= 5.5 + 1.5, "seed {seed}: {}", told.at_s - begin);
        assert_eq!(s.beside(&[Kind::Uneven]), [], "seed {seed}");
    }
}

/// Scenario 15: a box is knocked by 0.8 deg; a note, and nothing to the deck.
#[test]
fn a_head_that_was_cranked_on_purpose_at_the_test_lift_is_not_out_of_line_until_it_is_off_by_more() {
    let out = |mm: f64| Truth { offset_mm: vec![0.0, mm, 0.0], ..Truth::level(3) };
    let at_test_lift = |turned: Option<f64>, mm: f64| {
        let mut s = Series::new(TANNERS, &kit(&["A", "B", "C"], &["truss-along", "head-load"]), 12);
        s.step(Step::TestLift);
        s.run(10.0, STANDING, |_| Truth::level(3));
        s.scene.turned = turned.map(|turns| Turn { tower: 1, turns, at: Mono(0) });
        s.run(14.0, STANDING, |t| out((25.0 * t).min(mm)));
        s.first(Kind::Uneven).map(|t| t.condition.tower)
    };
    // Half a turn is 12.5 mm, the limit 9.3 mm.
    assert_eq!(at_test_lift(None, 12.5), Some(Some(1)));
    assert_eq!(at_test_lift(Some(0.5), 12.5), None, "half a turn up, on purpose");
    assert_eq!(at_test_lift(Some(-0.5), 12.5), Some(Some(1)), "half a turn down is not 12.5 mm up");
    assert_eq!(at_test_lift(Some(0.5), 30.0), Some(Some(1)), "never past the stop");
}

#[test]
fn a_knocked_box_is_a_note_while_its_twin_guards() {
    for seed in 1..=10 {
        let mut s = two(seed);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(40.0, CRANKING, |t| Truth {
            wrong: vec![(0, Channel::TrussAlong, 0.8_f64.to_radians() * ((t - 25.0) / 0.1).clamp(0.0, 1.0))],
            ..Truth::level(2)
        });
        let told = s.first(Kind::Knocked).expect("told");
        assert!(told.at_s - begin <= 28.0, "seed {seed}: {}", told.at_s - begin);
        assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Note));
        assert_eq!(s.beside(&[Kind::Knocked]), [], "seed {seed}");
    }
}

/// A zero that was refused leaves a box blind for the level, and a witness of what its twin does.
#[test]
fn a_box_without_a_zero_bears_witness_that_its_twin_was_knocked() {
    for seed in 1..=5 {
        let mut s = two(seed);
        let bare = s.setup.channels.iter().position(|c| c.tower == 1 && c.channel == Channel::TrussAlong).expect("a box at B");
        s.health[bare].zeroed = false;
        s.step(Step::Raise);
        s.run(40.0, CRANKING, |t| Truth {
            wrong: vec![(0, Channel::TrussAlong, 0.8_f64.to_radians() * ((t - 25.0) / 0.1).clamp(0.0, 1.0))],
            ..Truth::level(2)
        });
        let told = s.first(Kind::Knocked).expect("told");
        assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Stop), "seed {seed}: nothing else tells the level");
        assert_eq!(s.beside(&[Kind::Knocked]), [], "seed {seed}");
    }
}

/// docs/trade.md section 2, row 50: both tilts are shaken past use, the truss is level.
#[test]
fn tilts_that_are_shaken_all_of_a_sudden_are_rough_and_nothing_else() {
    for (seed, deg) in [(1, 1.0), (2, 1.0), (3, 1.4), (4, 1.4), (5, 2.0)] {
        let mut s = two(seed);
        s.step(Step::Raise);
        s.run(20.0, CRANKING, |_| Truth::level(2));
        let shaken = Noise { white: 20.0 * deg, ..CRANKING };
        s.cells_calm = true;
        s.run(6.0, shaken, |_| Truth::level(2));
        assert!(s.first(Kind::Noisy).is_some(), "seed {seed}: {:?}", s.told);
        assert_eq!(s.beside(&[Kind::Noisy]), [], "seed {seed}");
    }
}

/// docs/trade.md section 2, row 54: a cell that repeats one value while the other moves.
#[test]
fn a_frozen_cell_stops_a_moving_lift() {
    let mut s = two(4);
    s.step(Step::Raise);
    s.run(10.0, CRANKING, |_| Truth::level(2));
    let begin = s.now_s;
    s.run(6.0, CRANKING, |_| Truth { wrong: vec![(1, Channel::HeadLoad, f64::NAN)], ..Truth::level(2) });
    let told = s.first(Kind::Frozen).expect("told");
    assert!((2.0..4.0).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
    assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Stop));
}

/// Scenario 17: cranking alone is quiet.
#[test]
fn cranking_is_quiet() {
    for seed in 1..=5 {
        let mut s = two(seed);
        s.step(Step::Raise);
        s.run(150.0, CRANKING, |t| Truth {
            height_m: 1.2 + 0.025 * t,
            offset_mm: vec![0.0, 25.0 * (t * 0.11).sin() + 6.0 * (t * 0.7).sin()],
            ..Truth::level(2)
        });
        assert_eq!(s.told, [], "seed {seed}");
    }
}

/// Scenario 19: hands on the truss at the test lift, 133 to 267 N for 1 to 8 s.
#[test]
fn hands_on_the_truss_are_quiet() {
    for seed in 1..=5 {
        let mut s = two(seed);
        let hands = |t: f64| {
            let k = (t / 15.0) as usize;
            let on = (t - 15.0 * (k as f64)) < 1.0 + 0.6 * (k as f64);
            let force = (133.0 + 11.0 * k as f64) * if k.is_multiple_of(2) { 1.0 } else { -1.0 };
            Truth { extra: if on { vec![(force, if k.is_multiple_of(3) { 3.0 } else { 7.0 })] } else { vec![] }, ..Truth::level(2) }
        };
        s.run(180.0, STANDING, hands);
        assert_eq!(s.told, [], "seed {seed}");
    }
}

/// Turning the rig about its middle must turn the tower named, and nothing else.
#[test]
fn mirrored_series_name_the_other_tower() {
    let mut told = Vec::new();
    for side in [1.0, -1.0] {
        let mut s = two(9);
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(10.0, STANDING, |t| offsets(-6.0 * t * side, 6.0 * t * side));
        let first = s.first(Kind::Uneven).expect("told");
        told.push((first.condition.tower, first.at_s - begin));
    }
    assert_eq!((told[0].0, told[1].0), (Some(1), Some(0)));
    assert!((told[0].1 - told[1].1).abs() < 0.3, "{told:?}");
}

/// A node that is silent: its share is unknown, the level is told by the other box, and nothing becomes zero.
#[test]
fn a_silent_node_is_not_zero() {
    let mut s = two(6);
    s.step(Step::Raise);
    s.run(5.0, CRANKING, |_| Truth { mute: vec![1], ..Truth::level(2) });
    let e = s.est.estimate();
    assert_eq!((e.towers[1].measured_n, e.total_n), (None, None));
    assert!(e.towers[0].measured_n.is_some() && e.towers[1].offset_mm.is_some());
    s.run(5.0, CRANKING, |_| Truth { mute: vec![0, 1], ..Truth::level(2) });
    let e = s.est.estimate();
    assert!(e.towers.iter().all(|t| t.offset_mm.is_none() && t.measured_n.is_none()));
    assert!(e.level.above_mm.iter().all(Option::is_none));
}
