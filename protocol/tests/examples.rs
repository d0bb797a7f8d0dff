//! The shipped examples read without a mistake, weigh what their shows weigh, and their kits fit their plans.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail loudly

use raisewatch_protocol::kit::{Kit, Transport};
use raisewatch_protocol::plan::{Hung, Lies, Plan};
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
    assert_eq!(serial.check_against(&self::plan("tanners-yard.toml")), Vec::<String>::new());
}
