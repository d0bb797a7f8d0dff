//! Slow change while standing, and tilts that rustle, each in a series of its own.

use super::series::*;
use crate::condition::Towards;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

const ALL: [&str; 4] = ["truss-along", "head-load", "mast-along", "mast-across"];

fn standing(plan: &str, towers: &[&str], seed: u64) -> Series {
    let mut s = Series::new(plan, &kit(towers, &ALL), seed);
    let n = towers.len();
    s.run(3.0, STANDING, |_| Truth::level(n));
    s.step(Step::Stand);
    s.run(120.0, STANDING, |_| Truth::level(n));
    assert_eq!(s.told, [], "quiet at first");
    s
}

fn leans(tower: usize, deg: f64) -> Truth {
    Truth { wrong: vec![(tower, Channel::MastAcross, deg.to_radians())], ..Truth::level(2) }
}

/// A number between -1 and 1 that jumps about with time.
fn rustle(t: f64) -> f64 {
    let x = (t * 1234.567).sin() * 43758.547;
    2.0 * (x - x.floor()) - 1.0
}

#[test]
fn a_foot_that_sinks_is_told_at_its_limit_and_by_its_tower() {
    let mut s = standing(HARBOUR, &["A", "B"], 1);
    let begin = s.now_s;
    // 0.05 degrees a minute (docs/trade.md section 8, scenario 10): 0.3 degrees after 6 minutes.
    s.run(480.0, STANDING, |t| leans(1, 0.05 * t / 60.0));
    let told = s.first(Kind::Sinking).expect("told");
    assert!((345.0..372.0).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
    assert_eq!((told.condition.tower, told.severity), (Some(1), Severity::Warn));
    assert!(told.condition.amount.is_some_and(|a| (a.value - 0.3).abs() < 0.02), "{:?}", told.condition.amount);
    assert_eq!(told.condition.towards, Some(Towards::Upstage), "a mast leans");
    // (The series has no precedence: `lean` comes 30 s after its limit.)
    assert_eq!(s.beside(&[Kind::Sinking, Kind::Lean]), []);
}

#[test]
fn a_mast_that_was_pushed_over_is_a_lean_and_a_bump_is_nothing() {
    let mut s = standing(HARBOUR, &["A", "B"], 2);
    s.run(180.0, STANDING, |t| leans(0, if (30.0..33.0).contains(&t) { 0.5 } else { 0.0 }));
    assert_eq!(s.told, [], "a bump returns");
    s.run(180.0, STANDING, |t| leans(0, if t > 30.0 { 0.4 } else { 0.0 }));
    assert_eq!(s.first(Kind::Lean).map(|t| t.condition.tower), Some(Some(0)));
    assert_eq!(s.beside(&[Kind::Lean]), [], "what came at once does not sink");
}

#[test]
fn a_floor_that_gives_under_one_of_two_names_the_lower_one() {
    for (tower, towards) in [(0, 1.0), (1, -1.0)] {
        let mut s = standing(HARBOUR, &["A", "B"], 3);
        s.run(900.0, STANDING, |t| Truth { offset_mm: vec![0.0, towards * (t / 25.0).min(30.0)], ..Truth::level(2) });
        let told = s.first(Kind::Sinking).expect("told");
        assert_eq!((told.condition.tower, told.severity), (Some(tower), Severity::Warn));
        assert_eq!(told.condition.towards, Some(Towards::Down), "its mast is upright");
        assert!(told.condition.amount.is_some_and(|a| (0.19..0.25).contains(&a.value)), "{:?}", told.condition.amount);
        assert_eq!(s.beside(&[Kind::Sinking]), []);
    }
}

#[test]
fn a_floor_that_gives_under_one_of_three_is_seen_by_the_shares() {
    for tower in 0..3 {
        let mut s = standing(TANNERS, &["A", "B", "C"], 4);
        let down = |t: f64| -(t / 60.0).min(8.0);
        s.run(600.0, STANDING, |t| Truth {
            offset_mm: (0..3).map(|j| if j == tower { down(t) } else { 0.0 }).collect(),
            ..Truth::level(3)
        });
        let told = s.first(Kind::Sinking);
        // An end that sinks by a few millimetres rakes 10 m by less than the tilts know: then none is named rather than a wrong one.
        assert!(told.is_none_or(|t| t.condition.tower == Some(tower)), "tower {tower}: {told:?}");
        assert!(tower != 1 || told.is_some(), "the middle is known by the shares alone");
    }
}

#[test]
fn weight_by_drops_is_told_with_its_place_and_a_cell_that_cools_is_not() {
    let mut s = standing(HARBOUR, &["A", "B"], 5);
    s.run(1200.0, STANDING, |t| Truth { extra: vec![(80.0 * t / 1200.0, 3.0)], ..Truth::level(2) });
    let told = s.first(Kind::ExtraWeight).expect("told");
    assert_eq!((told.severity, told.condition.tower), (Severity::Warn, None));
    assert!(told.condition.amount.is_some_and(|a| (44.0..60.0).contains(&a.value)), "{:?}", told.condition.amount);
    assert!(told.condition.position.is_some_and(|p| (p.value - 3.0).abs() < 2.0 * p.sigma), "{:?}", told.condition.position);
    assert_eq!(s.beside(&[Kind::ExtraWeight]), []);
    let mut s = standing(HARBOUR, &["A", "B"], 6);
    // Ten hours' drift in twenty minutes (docs/trade.md section 8, scenario 23: 3 lb and 1 lb, 0.06 and 0.04 degrees).
    let cools = |t: f64| {
        let part = t / 1200.0;
        let off = |tower, n: f64, deg: f64| [(tower, Channel::HeadLoad, -n * part), (tower, Channel::TrussAlong, deg.to_radians() * part)];
        Truth { wrong: [off(0, 13.3, 0.06), off(1, 4.4, -0.04)].concat(), ..Truth::level(2) }
    };
    s.run(1200.0, STANDING, cools);
    assert_eq!(s.told, []);
}

/// docs/trade.md section 2, row 27: somebody hauls on a tail for 1 to 20 s.
#[test]
fn who_hauls_on_a_cable_and_lets_go_has_hung_nothing() {
    for (seed, pulls_s) in [(7, 3.0), (8, 8.0), (9, 9.5)] {
        let mut s = standing(HARBOUR, &["A", "B"], seed);
        s.run(60.0, STANDING, |t| Truth {
            extra: vec![(if (5.0..5.0 + pulls_s).contains(&t) { 300.0 } else { 0.0 }, 5.5)],
            ..Truth::level(2)
        });
        assert_eq!(s.told, [], "{pulls_s} s");
    }
    let mut s = standing(HARBOUR, &["A", "B"], 10);
    let begin = s.now_s;
    s.run(60.0, STANDING, |t| Truth { extra: vec![(if t < 5.0 { 0.0 } else { 300.0 }, 5.5)], ..Truth::level(2) });
    assert!(s.first(Kind::ExtraWeight).is_some_and(|t| (14.0..18.0).contains(&(t.at_s - begin))), "{:?}", s.told);
}

#[test]
fn a_rough_tilt_is_a_note_while_its_twin_guards_and_a_stop_where_none_does() {
    let rough = |t: f64, both: bool| {
        let n = |tower: usize| (tower, Channel::TrussAlong, (2.5 * rustle(t + tower as f64)).to_radians());
        let wrong = if t < 5.0 {
            vec![]
        } else if both {
            vec![n(0), n(1)]
        } else {
            vec![n(0)]
        };
        Truth { wrong, ..Truth::level(2) }
    };
    for (both, severity) in [(false, Severity::Note), (true, Severity::Stop)] {
        let mut s = Series::new(HARBOUR, &kit(&["A", "B"], &ALL[..2]), 7);
        s.run(3.0, STANDING, |_| Truth::level(2));
        s.step(Step::Raise);
        let begin = s.now_s;
        s.run(20.0, CRANKING, |t| rough(t, both));
        let told = s.first(Kind::Noisy).expect("told");
        assert!((8.0..12.0).contains(&(told.at_s - begin)), "{}", told.at_s - begin);
        assert_eq!((told.severity, told.condition.tower), (severity, Some(0)), "both {both}");
        assert!(told.condition.amount.is_some_and(|a| a.value > 0.5), "{:?}", told.condition.amount);
    }
}

#[test]
fn a_crowd_that_dances_in_bursts_is_told_once() {
    let mut s = standing(HARBOUR, &["A", "B"], 8);
    // docs/trade.md section 8, scenario 18: 1 Hz sway of 1.15 degrees in bursts of 40 s.
    let dances = |t: f64| (1.15_f64 * f64::from(u8::from((t / 40.0) as u64 % 2 == 1))).to_radians() * (t * std::f64::consts::TAU).sin();
    let all = |t: f64| (0..2).flat_map(|j| [Channel::TrussAlong, Channel::MastAlong].map(|c| (j, c, dances(t)))).collect();
    s.run(400.0, STANDING, |t| Truth { wrong: all(t), ..Truth::level(2) });
    let told: Vec<_> = s.told.iter().filter(|t| t.condition.kind == Kind::Noisy && t.severity == Severity::Warn).collect();
    assert_eq!(told.len(), 1, "{:?}", s.told);
    assert_eq!(s.beside(&[Kind::Noisy]), []);
}
