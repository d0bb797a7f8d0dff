//! The shipped examples read without a mistake, weigh what their shows weigh, and their kits fit their plans.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail loudly

use raisewatch_protocol::kit::{Calibration, Kit, Transport, WireUnit};
use raisewatch_protocol::plan::{Hung, Lies, LoadLimit, Plan, RakeLimit, Row, Tolerance};
use raisewatch_protocol::units::{Angle, Length};
use raisewatch_protocol::words::{Channel, Step};
use std::path::PathBuf;

fn text(name: &str) -> String {
    std::fs::read_to_string(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../docs/examples").join(name)).unwrap()
}

fn plan(name: &str) -> Plan {
    Plan::read(&text(name), name).unwrap_or_else(|mistakes| panic!("{}", mistakes.plain()))
}

/// Whole weight in kilograms with the truss at this height.
fn weight_kg(plan: &Plan, height_m: f64) -> f64 {
    let pieces: f64 = plan.pieces.iter().map(|p| p.weight.0 * p.length().0).sum();
    let loads: f64 = plan
        .loads
        .iter()
        .map(|l| match l.hung {
            Hung::Point { weight, .. } => weight.0,
            Hung::Spread { from, to, first, last } => (to.0 - from.0) * (first.0 + last.0) / 2.0,
        })
        .sum();
    let cables: f64 = plan
        .cables
        .iter()
        .map(|c| match c.lies {
            Lies::Along { from, to, weight } => weight.0 * (to.0 - from.0),
            Lies::Coil { weight, .. } => weight.0,
            Lies::Tail { weight, .. } => weight.0 * height_m,
        })
        .sum();
    (pieces + loads + cables) / 9.80665
}

#[test]
fn the_shows_weigh_what_their_sheets_say() {
    // Shows 1, 3b and 4 of the worked examples: 197.0 and 205.9 kg, 260 kg, 468 kg.
    let harbour = plan("harbour-lane.toml");
    assert!((weight_kg(&harbour, 1.2) - 197.008).abs() < 0.001);
    assert!((weight_kg(&harbour, 5.0) - 205.9).abs() < 0.001);
    assert!((weight_kg(&plan("tanners-yard.toml"), 1.2) - 260.0).abs() < 0.001);
    assert!((weight_kg(&plan("moorgate.toml"), 1.2) - 468.0).abs() < 0.001);
}

#[test]
fn defaults_are_those_of_the_plan_file_page() {
    let plan = plan("tanners-yard.toml");
    assert!((plan.pace_down.0 - 0.035).abs() < 1e-12);
    assert_eq!((plan.reaction.0, plan.allowance, plan.upstage_is_y, plan.people_under_at_rest), (3.0, 1.10, true, false));
    let tower = &plan.towers[1];
    assert_eq!((tower.piece, tower.collapsed.0, tower.full.0, tower.cradle.0, tower.adapter.0), (0, 1.2, 4.0, 0.0, 0.0));
    assert_eq!((tower.rope_stiffness.0, tower.pin_stiffness.0), (100e3, 400e3));
    assert_eq!((plan.pieces[0].depth.0, plan.pieces[0].width.0), (0.29, 0.29));
}

#[test]
fn kits_fit_their_plans() {
    let plan = plan("harbour-lane.toml");
    for name in ["harbour-lane.kit.toml", "harbour-lane-serial.kit.toml"] {
        let kit = Kit::read_for(&text(name), name, &plan).unwrap_or_else(|mistakes| panic!("{}", mistakes.plain()));
        assert_eq!(kit.nodes.len(), 2);
        assert!(kit.check_against(&plan).is_empty());
    }
    let serial = Kit::read(&text("harbour-lane-serial.kit.toml"), "k").unwrap();
    assert!(matches!(&serial.nodes[1].over, Transport::Xdr { port, baud: 9600 } if port.ends_with("tower-b")));
    // On another plan the towers are there, the place of one box is not.
    let short =
        text("harbour-lane.toml").replace("\"8 m\"", "\"7.5 m\"").replace("\"7.6 m\"", "\"7.4 m\"").replace("at = \"7 m\"", "at = \"6 m\"");
    let short =
        Plan::read(&short.replace("\"7.5 m\", \"0 m\"", "\"6.5 m\", \"0 m\"").replace("7.5 m", "6.5 m").replace("7.4 m", "6.4 m"), "p")
            .unwrap();
    assert_eq!(serial.check_against(&short), ["node n2, channel truss-along: 7 m is off piece `front`, which is 6.5 m long"]);
}

#[test]
fn every_key_is_read_and_means_what_the_pages_say() {
    let plan = plan("every-key.toml");
    let kit = text("every-key.kit.toml").replace("piece = \"front\"", "piece = \"left\"");
    let kit = Kit::read_for(&kit, "kit", &plan).unwrap_or_else(|mistakes| panic!("{}", mistakes.plain()));

    assert!(plan.units.pounds && plan.units.feet && !plan.upstage_is_y && plan.pieces[0].hinged_to && !plan.pieces[0].hinged_from);
    let [three, four] = [3.0, 4.0].map(|h| plan.towers[0].rated_at(Length(h)).lb().round());
    assert_eq!((three, four), (500.0, 400.0));
    let at = |name: &str| -> Vec<f64> {
        let of = plan.loads.iter().filter(|l| l.name == name);
        of.map(|l| if let Hung::Point { at, .. } = l.hung { (at.0 * 1e6).round() / 1e6 } else { f64::NAN }).collect()
    };
    assert_eq!((at("par"), at("strip"), at("wash")), (vec![0.5, 1.5, 2.5, 3.5], vec![2.0, 2.5, 3.0], vec![0.4, 1.8]));
    assert_eq!(plan.loads[0].across.0, -0.1);
    let kg = |n: f64| (n / 9.80665 * 1e6).round() / 1e6;
    let lies: Vec<_> = plan.cables.iter().map(|c| c.lies).collect();
    assert!(matches!(lies[0], Lies::Along { weight, .. } if kg(weight.0) == 0.75), "three runs of 0.25");
    assert!(matches!(lies[1], Lies::Coil { at, weight } if at.0 == 3.5 && kg(weight.0) == 3.75), "5 m of three runs");
    assert!(matches!(lies[2], Lies::Along { weight, .. } if kg(weight.0) == 1.0), "4 kg on 4 m");
    assert!(matches!(lies[3], Lies::Coil { at, weight } if at.0 == 4.0 && kg(weight.0) == 2.0), "at its `to` end");
    assert!(matches!(lies[4], Lies::Tail { weight, .. } if kg(weight.0) == 2.4), "two runs of 1.2");
    let Tolerance::Typed { all, steps } = &plan.tolerance else { panic!("typed") };
    assert!(
        all.twist == Row::Off && matches!(all.line, Row::Typed(l) if l.warn.0 == 0.010 && l.stop == Some(Length(0.020)) && l.clear == 0.6)
    );
    assert!(matches!(all.total, Row::Typed(l) if l.warn == LoadLimit::Share(0.05)));
    assert!(steps.len() == 1 && steps[0].0 == Step::Stand && steps[0].1.line == Row::Default);
    assert!(matches!(steps[0].1.rake, Row::Typed(l) if l.warn == RakeLimit::Slope(Angle::from_deg(0.5))));
    assert_eq!((plan.overrides[0].limit.as_str(), plan.overrides[0].by.as_str()), ("raise.rake.stop", "Mara"));

    let of = |node: usize, channel: Channel| kit.nodes[node].channels.iter().find(|f| f.channel == channel).unwrap();
    let along = of(0, Channel::TrussAlong);
    assert_eq!(
        (along.unit, along.sign, along.range.map(|r| (r[0].to_degrees().round(), r[1].to_degrees().round()))),
        (Some(WireUnit::Deg), 1.0, Some((-10.0, 10.0)))
    );
    let zero = along.zero.as_ref().unwrap();
    assert!((zero.value.to_degrees() - 0.12).abs() < 1e-12 && zero.valid.unwrap().0 == 43_200.0 && zero.by.as_deref() == Some("Mara"));
    assert_eq!(along.proved.as_ref().unwrap().0.to_string(), "2031-05-14T13:50:00Z");
    assert_eq!(of(0, Channel::HeadLoad).calibration, Calibration::Points(vec![(0.0, 0.0), (200.0, 41200.0)]));
    assert_eq!((of(0, Channel::RopeLoad).rope_ratio, of(0, Channel::Battery).battery_limits), (2.0, Some([3.4, 3.1])));
    assert!(matches!(of(0, Channel::Height).calibration, Calibration::Scale(s) if (s - 0.00025).abs() < 1e-15));
    assert_eq!(kit.nodes[0].map, [("T1".to_owned(), Channel::TrussAlong)]);
    let register = of(1, Channel::HeadLoad).register.as_ref().unwrap();
    assert_eq!((register.function, register.at, register.kind.as_str(), register.high_first, register.step), (4, 0, "i32", true, 0.1));
}
