//! Masts that lean, a truss that turns, and a box that was moved on its seat, each in a series of its own.
//! Limits while moving: lean 0.3° and 0.6°, roll 1° and 3° (docs/trade.md section 4).

use super::series::*;
use crate::condition::Towards;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

const TWO: [&str; 2] = ["A", "B"];
const MASTS: [&str; 4] = ["truss-along", "head-load", "mast-along", "mast-across"];
const ROLL: [&str; 3] = ["truss-along", "head-load", "truss-across"];

/// A rig that stood on the floor for a while, so that the plumb before the lift is known; then it is raised.
fn raised(channels: &[&str], seed: u64, before: &[(usize, Channel, f64)]) -> Series {
    let mut s = Series::new(HARBOUR, &kit(&TWO, channels), seed);
    s.run(10.0, STANDING, |_| off(before));
    s.step(Step::TestLift);
    s.run(12.0, STANDING, |_| off(before));
    s.step(Step::Raise);
    s.run(8.0, CRANKING, |_| off(before));
    assert_eq!(s.told, [], "quiet at first");
    s
}

/// Tilts off by so many degrees.
fn off(wrong: &[(usize, Channel, f64)]) -> Truth {
    Truth { wrong: wrong.iter().map(|w| (w.0, w.1, w.2.to_radians())).collect(), ..Truth::level(2) }
}

#[test]
fn the_way_of_a_leaning_mast_is_told_as_seen_on_the_floor() {
    use Channel::{MastAcross, MastAlong};
    for (tower, channel, deg, towards) in [
        (0, MastAlong, 0.45, Towards::Tower(1)),
        (0, MastAlong, -0.45, Towards::Outwards),
        (1, MastAlong, 0.45, Towards::Outwards),
        (1, MastAlong, -0.45, Towards::Tower(0)),
        (0, MastAcross, 0.45, Towards::Upstage),
        (1, MastAcross, -0.45, Towards::Downstage),
    ] {
        let mut s = raised(&MASTS, 3, &[]);
        let begin = s.now_s;
        s.run(12.0, CRANKING, |_| off(&[(tower, channel, deg)]));
        let told = s.first(Kind::Lean).unwrap_or_else(|| panic!("{tower} {channel} {deg}: not told"));
        assert_eq!((told.condition.tower, told.severity), (Some(tower), Severity::Warn));
        assert!((2.0..9.0).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
        assert_eq!(told.condition.towards, Some(towards), "{tower} {channel} {deg}");
        assert_eq!(s.beside(&[Kind::Lean]), [], "{tower} {channel} {deg}");
    }
}

#[test]
fn a_mast_leans_by_its_change_since_the_lift_began_and_by_both_of_its_axes() {
    use Channel::{MastAcross, MastAlong};
    // Not quite plumb from the start, under the limit of the set-up (0.5 degrees): nothing new.
    let before = [(0, MastAlong, 0.4), (1, MastAcross, -0.4)];
    let mut s = raised(&MASTS, 5, &before);
    s.run(40.0, CRANKING, |_| off(&before));
    assert_eq!(s.told, [], "what it showed before the lift is its plumb");
    // 0.24 along and 0.24 across are 0.34 together; alone neither is told.
    s.run(20.0, CRANKING, |_| off(&[(0, MastAlong, 0.64), (1, MastAcross, -0.4)]));
    assert_eq!(s.told, [], "one axis is under its limit");
    s.run(20.0, CRANKING, |_| off(&[(0, MastAlong, 0.64), (0, MastAcross, 0.24), (1, MastAcross, -0.4)]));
    let told = s.first(Kind::Lean).expect("told");
    assert_eq!((told.condition.tower, told.severity), (Some(0), Severity::Warn));
    assert!(told.condition.amount.is_some_and(|a| (a.value.abs() - 0.34).abs() < 0.06), "{:?}", told.condition.amount);
    // Past 0.6 it stops.
    s.run(12.0, CRANKING, |_| off(&[(0, MastAlong, 1.15), (0, MastAcross, 0.24), (1, MastAcross, -0.4)]));
    assert_eq!(s.first_at(Kind::Lean, Severity::Stop).and_then(|t| t.condition.tower), Some(0));
}

/// The watch began with the truss up: its first 8 s under load are the reference of the change.
#[test]
fn a_reference_is_taken_on_the_spot_where_the_truss_is_up_already() {
    use Channel::MastAlong;
    let stood = [(0, MastAlong, 0.25)];
    let mut s = Series::new(HARBOUR, &kit(&TWO, &MASTS), 7);
    s.step(Step::Raise);
    s.run(20.0, CRANKING, |_| off(&stood));
    assert_eq!(s.told, []);
    let begin = s.now_s;
    s.run(12.0, CRANKING, |_| off(&[(0, MastAlong, 0.25 + 0.4)]));
    let told = s.first(Kind::Lean).expect("told");
    assert_eq!(told.condition.tower, Some(0));
    assert!((1.0..9.0).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
    assert!(told.condition.amount.is_some_and(|a| a.value > 0.28 && a.value < 0.7), "{:?}", told.condition.amount);
}

/// A mast that stood out of plumb already when the watch began is held against the limits of the set-up (0.5 and 1 degree).
#[test]
fn a_mast_out_of_plumb_when_the_watch_begins_is_told_by_its_zero() {
    let mut s = Series::new(HARBOUR, &kit(&TWO, &MASTS), 8);
    s.step(Step::Raise);
    s.run(30.0, CRANKING, |_| off(&[(1, Channel::MastAcross, 0.7)]));
    let told = s.first(Kind::Lean).expect("told");
    assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Warn));
    assert!(told.condition.amount.is_some_and(|a| (a.value - 0.7).abs() < 0.1), "{:?}", told.condition.amount);
}

#[test]
fn a_truss_that_turns_is_told_once_with_its_way() {
    for (sign, towards) in [(1.0, Towards::Downstage), (-1.0, Towards::Upstage)] {
        let mut s = raised(&ROLL, 11, &[]);
        let both = |deg: f64| off(&[(0, Channel::TrussAcross, deg), (1, Channel::TrussAcross, deg)]);
        s.run(20.0, CRANKING, |t| both(sign * (0.1 * t).min(1.4)));
        let rolls: Vec<Told> = s.told.iter().filter(|t| t.condition.kind == Kind::Roll).copied().collect();
        assert_eq!(rolls.len(), 1, "one piece, one roll: {rolls:?}");
        assert_eq!((rolls[0].severity, rolls[0].condition.piece), (Severity::Warn, Some(0)));
        assert_eq!(rolls[0].condition.towards, Some(towards));
        assert_eq!(s.beside(&[Kind::Roll]), [], "{sign}");
    }
}

#[test]
fn a_lone_box_that_turns_was_knocked_and_is_no_roll() {
    for seed in 1..=5 {
        let mut s = raised(&ROLL, seed, &[]);
        let begin = s.now_s;
        s.run(15.0, CRANKING, |t| off(&[(1, Channel::TrussAcross, if t > 1.0 { 1.6 } else { 0.0 })]));
        let told = s.first(Kind::Knocked).expect("told");
        assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Note), "seed {seed}");
        assert!(told.at_s - begin < 5.0, "seed {seed}: {}", told.at_s - begin);
        assert_eq!(s.beside(&[Kind::Knocked]), [], "seed {seed}");
        // What is left still guards: a true roll is told by the other box.
        s.run(15.0, CRANKING, |t| {
            let deg = (0.2 * t).min(1.5);
            off(&[(0, Channel::TrussAcross, deg), (1, Channel::TrussAcross, 1.6 + deg)])
        });
        assert!(s.first(Kind::Roll).is_some(), "seed {seed}");
    }
}

/// 3 degrees is the limit; hands need their reaction time. A slow roll is told as a warn first, long before.
#[test]
fn a_fast_roll_stops_before_its_limit_and_a_slow_one_at_it() {
    let both = |deg: f64| off(&[(0, Channel::TrussAcross, deg), (1, Channel::TrussAcross, deg)]);
    let mut s = raised(&ROLL, 2, &[]);
    let begin = s.now_s;
    // 0.5 degrees a second: 3 degrees after 6 s, and a second for hands before that.
    s.run(8.0, CRANKING, |t| both((0.5 * t).min(4.0)));
    let stop = s.first_at(Kind::Roll, Severity::Stop).expect("stop");
    assert!(stop.at_s - begin < 5.0, "before it has turned by 3 degrees: {}", stop.at_s - begin);
    let mut s = raised(&ROLL, 2, &[]);
    let begin = s.now_s;
    s.run(30.0, CRANKING, |t| both((0.1 * t).min(2.2)));
    assert!(s.first_at(Kind::Roll, Severity::Warn).is_some_and(|t| (10.0..14.0).contains(&(t.at_s - begin))), "{:?}", s.told);
    s.run(20.0, CRANKING, |_| both(2.2));
    assert_eq!(s.first_at(Kind::Roll, Severity::Stop), None, "slow, and under its limit");
}

/// Nothing known is no lean: masts that are not heard give no number.
#[test]
fn masts_that_are_silent_are_unknown_and_never_plumb() {
    let mut s = raised(&MASTS, 4, &[]);
    s.run(8.0, CRANKING, |_| Truth { mute: vec![0, 1], ..Truth::level(2) });
    let e = s.est.estimate();
    assert!(e.towers.iter().all(|t| t.offset_mm.is_none()));
    assert_eq!(s.first(Kind::Lean), None);
    let leans: Vec<_> = s.found().iter().filter(|c| c.kind == Kind::Lean).collect();
    assert_eq!(leans.len(), 2);
    assert!(leans.iter().all(|c| c.stands == crate::condition::Stands::Unknown && c.amount.is_none()), "{leans:?}");
}

#[test]
fn a_mast_that_is_zeroed_as_the_lift_begins_does_not_lean_by_what_it_showed_before() {
    use Channel::{MastAcross, MastAlong};
    let taped = [(0, MastAcross, 0.4), (1, MastAlong, -0.4)];
    let mut s = Series::new(HARBOUR, &kit(&TWO, &MASTS), 7);
    s.run(10.0, STANDING, |_| off(&taped));
    s.zero(&[MastAlong, MastAcross]);
    // The word of the zero and that of the step come in one breath.
    s.step(Step::TestLift);
    s.run(12.0, STANDING, |_| Truth::level(2));
    s.step(Step::Raise);
    s.run(8.0, CRANKING, |_| Truth::level(2));
    assert_eq!(s.told, [], "zeroed");
    let begin = s.now_s;
    s.run(12.0, CRANKING, |_| off(&[(0, MastAcross, 0.45)]));
    assert!(s.first(Kind::Lean).is_some_and(|t| (2.0..9.0).contains(&(t.at_s - begin))), "{:?}", s.told);
}
