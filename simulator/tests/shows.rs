//! The truth against the worked shows. Source of every figure: the worked examples of this trade's sums in docs/method.md
//! ("Harbour Lane", "Kestrel Gala", "Tanners' Yard", "Moorgate Reveal"), worked out twice by programs written apart.

#![allow(clippy::unwrap_used, reason = "a test that cannot set up its lift has failed")]

use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::STANDARD_GRAVITY;
use raisewatch_simulator::truss::{Place, Truss};
use raisewatch_simulator::{Lift, Script, Truth};

const LB: f64 = STANDARD_GRAVITY * 0.453_592_37;

fn plan(text: &str) -> Plan {
    Plan::read(text, "plan.toml").unwrap()
}

fn harbour_lane() -> Plan {
    plan(include_str!("../../docs/examples/harbour-lane.toml"))
}

fn tanners_yard() -> Plan {
    plan(include_str!("../../docs/examples/tanners-yard.toml"))
}

/// A kit with one load cell at each tower.
fn cells(plan: &Plan) -> Kit {
    let nodes = plan
        .towers
        .iter()
        .map(|t| format!("[[node]]\nid = \"n{0}\"\ntower = \"{0}\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n[node.channel.head-load]\n", t.id));
    Kit::read(&format!("broker = \"mqtt://127.0.0.1\"\n{}", nodes.collect::<String>()), "kit.toml").unwrap()
}

fn played(plan: &Plan, script: &str, seconds: f64) -> Truth {
    let script = Script::read(script, "script.toml").unwrap();
    let mut lift = Lift::new(plan, &cells(plan), &script, 1).unwrap();
    lift.advance(Mono::from_ms(seconds * 1000.0).unwrap());
    lift.truth()
}

/// Within 0.5 % of the whole weight or half the last printed digit, whichever is larger.
fn near(what: &str, found: f64, expected: f64, whole: f64, half_digit: f64) {
    let allowed = (0.005 * whole).max(half_digit);
    assert!((found - expected).abs() <= allowed, "{what}: {found:.2}, expected {expected} within {allowed:.2}");
}

const CALM: &str = "noise = \"none\"\n[real]\nrise-spread = 0.0\nrope-spread = 0.0\n";

#[test]
fn harbour_lane_stands_as_worked_out() {
    let plan = harbour_lane();
    for (height, a, b) in [("1.2 m", 950.0, 982.0), ("5.0 m", 943.0, 1077.0)] {
        let truth = played(&plan, &format!("{CALM}[start]\nheight = \"{height}\"\n"), 2.0);
        near(height, truth.heads[0].share_n, a, a + b, 0.5);
        near(height, truth.heads[1].share_n, b, a + b, 0.5);
        let sum: f64 = truth.heads.iter().map(|h| h.share_n).sum();
        assert!((sum - truth.weight_n).abs() < 0.5, "what the heads carry is what hangs: {sum} {}", truth.weight_n);
    }
}

/// "Hanging shift at 1/2/5 deg: 0.54/1.07/2.69 kg; rocked cradle: +12.3 kg", W 410 kg, a 3.2 of 6 m, h 0.45 m, w 0.36 m.
#[test]
fn kestrel_gala_shifts_with_rake_and_cradle() {
    let text = |cradle: &str| {
        let tower = |id: &str, at: &str| {
            format!("[[tower]]\nid = \"{id}\"\nat = \"{at}\"\nrated = \"500 lb\"\nleast = \"15 lb\"\nper-turn = \"25 mm\"\n{cradle}\n")
        };
        format!(
            "title = \"Kestrel Gala\"\nsite = \"k\"\nworking-height = \"1.2 m\"\ntrim-height = \"4 m\"\npace = \"25 mm/s\"\n\
             [[piece]]\nid = \"p\"\nfrom = [\"0 m\", \"0 m\"]\nto = [\"6 m\", \"0 m\"]\nweight = \"0.001 kg/m\"\n{}{}\
             [[load]]\nname = \"all\"\nweight = \"410 kg\"\nat = \"3.2 m\"\nhang = \"0.45 m\"\n",
            tower("A", "0 m"),
            tower("B", "6 m")
        )
    };
    let share_b = |cradle: &str, deg: f64| {
        let rise = 6000.0 * f64::to_radians(deg).tan();
        let script = format!("{CALM}[start]\noffsets = [\"0 mm\", \"{rise} mm\"]\n");
        played(&plan(&text(cradle)), &script, 6.0).heads[1].share_n / STANDARD_GRAVITY
    };
    let level = share_b("", 0.0);
    near("level", level, 218.7, 410.0, 0.05);
    for (deg, shift) in [(1.0, 0.54), (2.0, 1.07), (5.0, 2.69)] {
        assert!((share_b("", deg) - level - shift).abs() < 0.03, "{deg}: {}", share_b("", deg) - level);
    }
    let rocked = share_b("cradle = \"0.36 m\"", 1.0) - share_b("", 1.0);
    assert!((rocked - 12.3).abs() < 0.4, "{rocked}");
}

#[test]
fn tanners_yard_carries_on_rigid_heads_as_worked_out() {
    let truss = Truss::solve(&tanners_yard(), &[], 1.0).unwrap();
    let share = |mid_mm: f64, a_mm: f64| -> Vec<f64> {
        let (mid, a) = (mid_mm / 1000.0, a_mm / 1000.0);
        (0..3).map(|j| truss.load.share[j] + truss.head[1].share[j] * mid + truss.head[0].share[j] * a).collect()
    };
    let cases = [
        (0.0, 0.0, [117.0, 361.0, 95.0]),
        (5.0, 0.0, [77.0, 442.0, 55.0]),
        (10.0, 0.0, [36.0, 523.0, 14.0]),
        (0.0, 20.0, [198.0, 199.0, 176.0]),
    ];
    for (mid, a, expected) in cases {
        for (found, expected) in share(mid, a).iter().zip(expected) {
            near(&format!("mid {mid} mm, A {a} mm"), found / LB, expected, 573.0, 0.5);
        }
    }
}

/// "On 100 N/mm ropes 161 / 273 / 139 lb" with drums set alike, "k_eff 34.6 N/mm": 25 mm more at B takes it by 12.5 mm of
/// crank to 112 / 370 / 90 lb, and 25 mm to 64 / 467 / 42 lb.
#[test]
fn tanners_yard_on_ropes_moves_as_worked_out() {
    let plan = tanners_yard();
    for (over_turns, expected) in [(0.0, [161.0, 273.0, 139.0]), (0.5, [112.0, 370.0, 90.0]), (1.0, [64.0, 467.0, 42.0])] {
        let act = if over_turns > 0.0 { format!("[[act]]\ndo = \"turn\"\ntower = \"B\"\nturns = {over_turns}\n") } else { String::new() };
        let truth = played(&plan, &format!("{CALM}{act}"), 8.0);
        for (head, expected) in truth.heads.iter().zip(expected) {
            near(&format!("{} after {over_turns} turns", head.tower), head.share_n / LB, expected, 573.0, 0.5);
        }
    }
}

/// The diagonal gains K t with K = 2 GJ (a+b)/(a² b²) = 6.94 N/mm where the sides bend little.
#[test]
fn a_ring_twists_as_torsion_says() {
    let mut plan = plan(include_str!("../../docs/examples/moorgate.toml"));
    for piece in &mut plan.pieces {
        piece.bending = Some(raisewatch_protocol::units::Rigidity(1e10));
    }
    let truss = Truss::solve(&plan, &[], 1.0).unwrap();
    let whole: f64 = truss.load.share.iter().sum();
    for (j, sign) in [1.0, -1.0, 1.0, -1.0].into_iter().enumerate() {
        let found = truss.head[2].share[j] * 0.050;
        assert!((found - sign * 347.0).abs() < 0.01 * 347.0, "tower {j}: {found}");
    }
    near("weight", whole / STANDARD_GRAVITY, 468.0, 468.0, 0.5);
}

/// A lamp at 2.5 m of a side that is 4.9998 m long hangs a tenth of a millimetre from its middle: that is one place.
#[test]
fn places_that_nearly_meet_are_one() {
    let plan = plan(include_str!("../../tests/scenarios/plans/six.toml"));
    let truss = Truss::solve(&plan, &[], 1.0).unwrap();
    let whole: f64 = truss.load.share.iter().sum();
    let hung = 6.0 * (5.0 * (9.0 + 2.5) + 9.0 + 2.0 * 11.0) + 25.0;
    near("weight", whole / STANDARD_GRAVITY, hung, hung, 0.5);
    for (j, share) in truss.load.share.iter().enumerate() {
        assert!((0.12..0.22).contains(&(share / whole)), "tower {j} carries about a sixth: {}", share / whole);
    }
}

/// A raised head gives up its energy: what the ropes store and the weights gain is what the crank put in, less the damping,
/// which only takes. Checked as equilibrium: after a raise every head stands where its spring carries its share.
#[test]
fn after_a_raise_every_rope_carries_what_stands_on_it() {
    let plan = harbour_lane();
    let script = format!("{CALM}[[act]]\ndo = \"crank\"\nto = \"2.0 m\"\n");
    let truth = played(&plan, &script, 60.0);
    for head in &truth.heads {
        assert!((head.height_m - 2.0).abs() < 0.006, "{head:?}");
        assert!((head.rope_n - head.share_n).abs() < 0.5 && !head.cranking && head.speed_m_s.abs() < 1e-4, "{head:?}");
    }
}

/// A joint that opens by `kink` at a part `p` of a span: on two towers the slopes become -kink (1 - p) and kink p and nothing presses
/// otherwise; on three (two equal spans L, rigid heads, kink at mid of the first) the middle carries 6 EI / L³ for every metre by which
/// the kink would lift it clear of the line, p times kink times half the whole length, and the ends half less each.
/// Source: continuous beam by the flexibility method, any textbook.
#[test]
fn a_joint_that_opens_parts_the_slopes_and_shifts_the_shares_of_three() {
    let kink = 0.01;
    let places = |at: [f64; 3]| at.map(|at_m| Place { piece: 0, at_m });
    let two = harbour_lane();
    let truss = Truss::solve(&two, &places([1.0, 2.5, 7.0]), 1.0).unwrap();
    let opened = &truss.kink[1];
    for (found, expected) in [(opened.along[0], -0.75), (opened.along[2], 0.25)] {
        assert!((found * kink - expected * kink).abs() < 1e-6, "{found} {expected}");
    }
    assert!(opened.share.iter().all(|n| (n * kink).abs() < 1e-3), "{:?}", opened.share);
    let three = tanners_yard();
    let truss = Truss::solve(&three, &places([0.0, 2.5, 10.0]), 1.0).unwrap();
    let opened = &truss.kink[1];
    let apart_m = three.towers[2].at.0 / 2.0;
    let stiff = 6.0 * three.pieces[0].bending.unwrap().0 / apart_m.powi(3);
    let middle = stiff * 0.25 * apart_m * kink;
    for (j, expected) in [(0, -0.5), (1, 1.0), (2, -0.5)] {
        assert!((opened.share[j] * kink - expected * middle).abs() < 0.01 * middle, "{j}: {} {middle}", opened.share[j] * kink);
    }
    let sum: f64 = opened.share.iter().sum();
    assert!((sum * kink).abs() < 1e-3, "nothing weighs more: {sum}");
}
