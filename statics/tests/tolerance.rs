//! Limits: the printed examples of docs/forms.md, and what a plan may and may not change.

#![allow(clippy::unwrap_used)] // a test that cannot be set up must fail

mod common;
use common::*;
use raisewatch_protocol::plan::{Limits, LoadLimit, Override, Plan, RakeLimit, Row, Tolerance, ToleranceRows};
use raisewatch_protocol::units::{Angle, Force, Length};
use raisewatch_protocol::words::Step;
use raisewatch_statics::Model;
use raisewatch_statics::lift::Shape;
use raisewatch_statics::tolerance::{Origin, StepLimits, limits};

fn of(plan: &Plan) -> StepLimits {
    limits(plan, &Model::new(plan).unwrap())
}

#[track_caller]
fn mm(what: &str, found_m: f64, printed_mm: f64, half_digit: f64) {
    assert!((found_m * 1000.0 - printed_mm).abs() <= half_digit, "{what}: printed {printed_mm} mm, found {}", found_m * 1000.0);
}

#[test]
fn from_statics_gives_50_and_100_mm_on_6_m() {
    let l = of(&harbour_lane());
    let rake = l.step(Step::Raise).rake.clone().unwrap();
    mm("warn", rake.warn, 50.0, 0.05);
    mm("stop", rake.stop.unwrap(), 100.0, 0.05);
    assert_eq!((l.shape, l.halved_pace, l.counted_turn, l.refused.clone()), (Shape::Two, false, None, None));
    assert_eq!(rake.origin, Origin::Statics);
    mm("never", rake.never_exceed.unwrap(), 209.4, 0.1);
    mm("reaction", l.reaction_m, 105.0, 0.01);
}

#[test]
fn from_statics_gives_37_5_and_52_mm_at_half_pace_on_3_m() {
    let mut p = kestrel();
    p.pieces[0].to = [Length(3.0), Length(0.0)];
    p.towers[1].at = Length(3.0);
    p.loads = vec![point("all", 0, 1.5, kg(150.0))];
    let l = of(&p);
    let rake = l.step(Step::Lower).rake.clone().unwrap();
    mm("warn", rake.warn, 37.5, 0.01);
    mm("stop", rake.stop.unwrap(), 52.0, 0.5);
    assert!(l.halved_pace && l.counted_turn.is_none() && l.refused.is_none(), "{l:?}");
    assert!((l.pace_m_s - 0.0125).abs() < 1e-12 && (l.pace_down_m_s - 0.0175).abs() < 1e-12);
}

#[test]
fn where_half_pace_leaves_nothing_turns_are_counted_and_then_the_plan_is_refused() {
    // 1.6 m apart: X = 2 deg = 55.8 mm, at half pace 3.3 mm are left: less than two quarter turns.
    let mut p = kestrel();
    p.pieces[0].to = [Length(1.6), Length(0.0)];
    p.towers[1].at = Length(1.6);
    p.loads = vec![point("all", 0, 0.8, kg(100.0))];
    let l = of(&p);
    assert!(l.refused.as_ref().unwrap().contains("quarter turn"), "{l:?}");
    // A finer winch: stop 3.3 mm, half of it 1.67: a quarter of 6 mm is 1.5.
    for t in &mut p.towers {
        t.per_turn = Length(0.006);
    }
    let l = of(&p);
    assert_eq!((l.counted_turn, l.refused), (Some(0.25), None));
    // A slow crew has nothing left at all.
    p.reaction = raisewatch_protocol::units::Duration(20.0);
    assert!(of(&p).refused.is_some());
}

#[test]
fn a_tower_that_is_full_once_its_cradle_rocks_leaves_nothing() {
    let mut p = kestrel();
    p.allowance = 1.0;
    let l = of(&p);
    assert!(l.governs.contains("tower B reaches its rating") && l.governs.contains("on edge"), "{}", l.governs);
    assert_eq!(l.derived_m, Some(0.0));
    assert!(l.refused.is_some());
}

#[test]
fn three_in_line_are_counted() {
    // Example 3b: to 500 / 1.1 lb at +23.4 mm on the ropes; docs/trade.md 4: 40 and 80 % of it, at most 10 and 20 mm.
    let l = of(&tanners(24.0, 20.0));
    assert_eq!(l.shape, Shape::Line);
    mm("derived", l.derived_m.unwrap(), 23.4, 0.06);
    let line = l.step(Step::Raise).line.clone().unwrap();
    mm("warn", line.warn, 9.36, 0.03);
    mm("stop", line.stop.unwrap(), 18.7, 0.05);
    assert_eq!(l.counted_turn, Some(0.25));
    assert!(l.governs.contains("tower B 23 mm high brings tower B to its rating"), "{}", l.governs);
}

#[test]
fn a_ring_is_judged_by_twist() {
    let l = of(&moorgate(false));
    assert_eq!(l.shape, Shape::Ring);
    let twist = l.step(Step::Raise).twist.clone().unwrap();
    // Stop 50 mm; counted turn: half of it, one turn of 25 mm; warn: that and 2 mm.
    mm("stop", twist.stop.unwrap(), 50.0, 0.01);
    mm("warn", twist.warn, 27.0, 0.01);
    assert_eq!(l.counted_turn, Some(1.0));
    assert!(l.step(Step::Raise).line.is_none());
}

#[test]
fn rig_judges_lean_alone_and_other_steps_their_rows() {
    let l = of(&harbour_lane());
    let rig = l.step(Step::Rig);
    assert!(rig.rake.is_none() && rig.total.is_none() && rig.share.is_none() && rig.roll.is_none());
    assert!((rig.lean.clone().unwrap().stop.unwrap() - 1.0_f64.to_radians()).abs() < 1e-12);
    let raise = l.step(Step::Raise);
    assert!((raise.lean.clone().unwrap().stop.unwrap() - 0.6_f64.to_radians()).abs() < 1e-12);
    assert!((raise.total.clone().unwrap().warn - kg(10.0).0).abs() < 1.0);
    let share = raise.share.clone().unwrap();
    assert!((share.warn - lb(22.0).0).abs() < 0.1 && (share.stop.unwrap() - 193.2).abs() < 0.3, "{share:?}");
    let stand = l.step(Step::Stand).total.clone().unwrap();
    assert!((stand.warn - lb(10.0).0).abs() < 1e-9 && (stand.stop.unwrap() - lb(40.0).0).abs() < 1e-9);
    let test = l.step(Step::TestLift).total.clone().unwrap();
    assert!((test.warn - 96.6).abs() < 0.1 && (test.stop.unwrap() - 193.2).abs() < 0.2);
}

fn typed(all: ToleranceRows, steps: Vec<(Step, ToleranceRows)>) -> Plan {
    Plan { tolerance: Tolerance::Typed { all, steps }, ..harbour_lane() }
}

fn limits_of<Q>(warn: Q, stop: Q) -> Row<Q> {
    Row::Typed(Limits { warn, stop: Some(stop), clear: 0.5 })
}

#[test]
fn a_plan_types_rows_for_all_steps_and_for_one() {
    let all = ToleranceRows {
        rake: limits_of(RakeLimit::Height(Length(0.04)), RakeLimit::Slope(Angle::from_deg(0.8))),
        total: limits_of(LoadLimit::Share(0.04), LoadLimit::Force(Force(150.0))),
        roll: Row::Off,
        ..ToleranceRows::default()
    };
    let lower =
        ToleranceRows { rake: limits_of(RakeLimit::Height(Length(0.03)), RakeLimit::Height(Length(0.06))), ..ToleranceRows::default() };
    let l = of(&typed(all, vec![(Step::Lower, lower)]));
    let raise = l.step(Step::Raise);
    let rake = raise.rake.clone().unwrap();
    mm("warn", rake.warn, 40.0, 1e-9);
    mm("stop", rake.stop.unwrap(), 83.8, 0.05);
    assert_eq!((rake.clear, rake.origin), (0.5, Origin::Typed));
    assert!((raise.total.clone().unwrap().warn - 0.04 * 1932.0).abs() < 0.5);
    assert!(raise.roll.is_none());
    // A key left out is the trade's row.
    assert_eq!(raise.lean.clone().unwrap().origin, Origin::Default);
    let lower = l.step(Step::Lower);
    mm("lower", lower.rake.clone().unwrap().stop.unwrap(), 60.0, 1e-9);
    assert!((lower.total.clone().unwrap().stop.unwrap() - 150.0).abs() < 1e-9, "the other rows of a step are those for all");
    assert!(l.step(Step::Rig).rake.is_none());
}

#[test]
fn nothing_typed_or_overridden_passes_two_degrees() {
    let all = ToleranceRows {
        rake: limits_of(RakeLimit::Height(Length(0.1)), RakeLimit::Slope(Angle::from_deg(3.0))),
        ..ToleranceRows::default()
    };
    let l = of(&typed(all, vec![]));
    mm("cut", l.step(Step::Raise).rake.clone().unwrap().stop.unwrap(), 209.4, 0.1);
    assert!(l.remarks.iter().any(|r| r.contains("2°")), "{:?}", l.remarks);

    let mut p = harbour_lane();
    let change =
        |limit: &str, value: &str| Override { limit: limit.into(), value: value.into(), by: "Mara".into(), reason: "long span".into() };
    p.overrides = vec![change("raise.rake.stop", "120 mm"), change("lower.rake.stop", "4 deg"), change("raise.total.warn", "30 lb")];
    let l = of(&p);
    let rake = l.step(Step::Raise).rake.clone().unwrap();
    mm("override", rake.stop.unwrap(), 120.0, 1e-9);
    assert_eq!(rake.origin, Origin::Override { by: "Mara".into(), reason: "long span".into() });
    mm("cut", l.step(Step::Lower).rake.clone().unwrap().stop.unwrap(), 209.4, 0.1);
    assert!((l.step(Step::Raise).total.clone().unwrap().warn - lb(30.0).0).abs() < 1e-9);
    assert_eq!(l.remarks.len(), 1, "{:?}", l.remarks);

    for (limit, value, word) in [
        ("raise.rake", "120 mm", "step.row.warn"),
        ("climb.rake.stop", "120 mm", "climb"),
        ("raise.slope.stop", "120 mm", "slope"),
        ("raise.rake.halt", "120 mm", "halt"),
        ("raise.rake.stop", "120", "120"),
        ("raise.rake.stop", "120 kg", "120 kg"),
        ("raise.line.stop", "20 mm", "not judged"),
    ] {
        p.overrides = vec![change(limit, value)];
        let l = of(&p);
        assert!(l.remarks.len() == 1 && l.remarks[0].contains(word), "{limit} {value}: {:?}", l.remarks);
        mm("unchanged", l.step(Step::Raise).rake.clone().unwrap().stop.unwrap(), 100.0, 0.05);
    }
}

#[test]
fn example_8_reserve_does_not_govern() {
    let p = harbour_lane();
    let model = Model::new(&p).unwrap();
    let two = model.two_towers(Length(5.0)).unwrap();
    assert_eq!(two.full_on_edge_rad, [None, None], "beyond 45 deg");
    assert!((two.portal_rad.to_degrees() - 2.3).abs() < 0.05);
    assert!(two.slide_rad.to_degrees() > 3.0 && two.slide_rad.to_degrees() < 5.0);
}
