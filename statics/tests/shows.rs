//! The eight worked shows: computed twice there, by two programs written apart. Here the general solver gives them, none as
//! a special case. Tolerance: 0.5 % of the whole weight or half the last printed digit, whichever is larger.

#![allow(clippy::unwrap_used)] // a test that cannot be set up must fail

mod common;
use common::*;
use raisewatch_protocol::units::Length;
use raisewatch_statics::{Bearing, Linear, Model};

fn stand(plan: &raisewatch_protocol::plan::Plan, bearing: Bearing, height_m: f64) -> Linear {
    let model = Model::new(plan).unwrap();
    model.standing(&model.on(bearing, Length(height_m)))
}

#[track_caller]
fn shares_kg(what: &str, found_n: &[f64], printed_kg: &[f64]) {
    let whole: f64 = printed_kg.iter().sum();
    assert_eq!(found_n.len(), printed_kg.len());
    for (f, p) in found_n.iter().zip(printed_kg) {
        near(what, f / G, *p, 0.05, whole);
    }
}

#[track_caller]
fn shares_lb(what: &str, found_n: &[f64], printed_lb: &[f64]) {
    let whole: f64 = printed_lb.iter().sum();
    for (f, p) in found_n.iter().zip(printed_lb) {
        near(what, f / lb(1.0).0, *p, 0.5, whole);
    }
}

#[test]
fn example_1_harbour_lane() {
    for (height, total, shares) in [(1.2, 1932.0, [950.0, 982.0]), (5.0, 2019.0, [943.0, 1077.0])] {
        let l = stand(&harbour_lane(), Bearing::Rope, height);
        // The shares of the example are printed to the newton; the solver has no reason to be worse.
        near("total", l.total_n, total, 1.0, 0.0);
        for (f, p) in l.level_shares_n.iter().zip(shares) {
            near("share", *f, p, 0.6, 0.0);
        }
    }
}

#[test]
fn example_2_kestrel() {
    let l = stand(&kestrel(), Bearing::Rigid, 1.2);
    shares_kg("level", &l.level_shares_n, &[191.3, 218.7]);
    for (deg, gain_kg) in [(1.0_f64, 0.54), (2.0, 1.07), (5.0, 2.69)] {
        let rise = 6.0 * deg.to_radians().tan();
        let shift = (l.shares(&[0.0, rise])[1] - l.level_shares_n[1]) / G;
        assert!((shift - gain_kg).abs() <= 0.006, "{deg} deg: printed {gain_kg} kg, found {shift}");
    }
}

#[test]
fn example_3a_trap() {
    let l = stand(&tanners(42.0, 40.0), Bearing::Rigid, 1.2);
    shares_kg("rigid", &l.level_shares_n, &[95.0, 290.0, 75.0]);
}

#[test]
fn example_3b_rigid() {
    let l = stand(&tanners(24.0, 20.0), Bearing::Rigid, 1.2);
    shares_kg("rigid", &l.level_shares_n, &[53.1, 163.8, 43.1]);
    let lb_per_mm = l.share_per_offset[1][1] / lb(1.0).0 / 1000.0;
    assert!((lb_per_mm - 16.2).abs() < 0.05, "{lb_per_mm}");
    shares_lb("mid +5", &l.shares(&[0.0, 0.005, 0.0]), &[77.0, 442.0, 55.0]);
    shares_lb("mid +10", &l.shares(&[0.0, 0.010, 0.0]), &[36.0, 523.0, 14.0]);
    shares_lb("end +20", &l.shares(&[0.020, 0.0, 0.0]), &[198.0, 199.0, 176.0]);
    let reach = (lb(500.0).0 - l.level_shares_n[1]) / l.share_per_offset[1][1] * 1000.0;
    assert!((reach - 8.6).abs() < 0.05, "{reach}");
    let reach = (lb(500.0 / 1.1).0 - l.level_shares_n[1]) / l.share_per_offset[1][1] * 1000.0;
    assert!((reach - 5.8).abs() < 0.05, "{reach}");
}

#[test]
fn example_3b_on_ropes_and_pins() {
    let l = stand(&tanners(24.0, 20.0), Bearing::Rope, 1.2);
    shares_lb("ropes", &l.level_shares_n, &[161.0, 273.0, 139.0]);
    let settle = (l.level_heads_m[1] - (l.level_heads_m[0] + l.level_heads_m[2]) / 2.0) * 1000.0;
    assert!((settle + 5.45).abs() < 0.005, "settle {settle}");
    let lb_per_mm = l.share_per_offset[1][1] / lb(1.0).0 / 1000.0;
    assert!((lb_per_mm - 7.78).abs() < 0.005, "{lb_per_mm}");
    let reach = (lb(500.0 / 1.1).0 - l.level_shares_n[1]) / l.share_per_offset[1][1] * 1000.0;
    assert!((reach - 23.4).abs() < 0.06, "{reach}");
    let light = (lb(30.0).0 - l.level_shares_n[2]) / l.share_per_offset[2][1] * 1000.0;
    assert!((light - 28.0).abs() < 0.5, "{light}");
    // Scenario 12: 12.5 mm and 25 mm of crank at the middle.
    shares_lb("+12.5", &l.shares(&[0.0, 0.0125, 0.0]), &[112.0, 370.0, 90.0]);
    shares_lb("+25", &l.shares(&[0.0, 0.025, 0.0]), &[64.0, 467.0, 42.0]);

    let l = stand(&tanners(24.0, 20.0), Bearing::Pins, 1.2);
    shares_lb("pins", &l.level_shares_n, &[135.0, 325.0, 113.0]);
    let lb_per_mm = l.share_per_offset[1][1] / lb(1.0).0 / 1000.0;
    assert!((lb_per_mm - 12.7).abs() < 0.05, "{lb_per_mm}");
    let reach = (lb(500.0 / 1.1).0 - l.level_shares_n[1]) / l.share_per_offset[1][1] * 1000.0;
    assert!((reach - 10.2).abs() < 0.05, "{reach}");
}

#[test]
fn heads_and_cranks_are_two_views_of_one_lift() {
    let l = stand(&tanners(24.0, 20.0), Bearing::Rope, 1.2);
    let rigid = stand(&tanners(24.0, 20.0), Bearing::Rigid, 1.2);
    let cranks = l.cranks_for_heads(&[0.001, -0.004, 0.002]);
    for (a, b) in l.heads(&cranks).iter().zip([0.001, -0.004, 0.002]) {
        assert!((a - b).abs() < 1e-12, "{a} {b}");
    }
    for (a, b) in l.shares(&cranks).iter().zip(rigid.shares(&[0.001, -0.004, 0.002])) {
        assert!((a - b).abs() < 1e-6, "{a} {b}");
    }
}

#[test]
fn example_4_moorgate() {
    // "Rigid" there is a rigid frame on equal springs: stiff sides.
    let mut stiff = moorgate(false);
    for p in &mut stiff.pieces {
        p.bending = Some(raisewatch_protocol::units::Rigidity(1e12));
        p.torsion = Some(raisewatch_protocol::units::Rigidity(1e12));
    }
    let l = stand(&stiff, Bearing::Rope, 1.2);
    shares_kg("rigid", &l.level_shares_n, &[108.8, 122.2, 125.2, 111.8]);
    let twist = [0.0125, -0.0125, 0.0125, -0.0125].map(|t| t);
    let shift = (l.shares(&twist)[0] - l.level_shares_n[0]) / G;
    near("rigid twist", shift, 127.5, 0.05, 0.0);

    let hinged = stand(&moorgate(true), Bearing::Rope, 1.2);
    shares_kg("hinged", &hinged.level_shares_n, &[102.0, 129.0, 118.5, 118.5]);
}

#[test]
fn example_4_twist_of_soft_sides() {
    // Torsion-soft, bending-stiff sides: K = 2 GJ (a + b) / (a² b²) = 6.94 N/mm; on ropes K t / (1 + 4 K / k).
    let mut soft = moorgate(false);
    for p in &mut soft.pieces {
        p.bending = Some(raisewatch_protocol::units::Rigidity(1e10));
    }
    let rigid = stand(&soft, Bearing::Rigid, 1.2);
    near("K", rigid.share_per_offset[0][0] / 1000.0, 6.94, 0.005, 0.0);
    let l = stand(&soft, Bearing::Rope, 1.2);
    let shift = l.shares(&[0.050, 0.0, 0.0, 0.0])[0] - l.level_shares_n[0];
    near("kg", shift / G, 27.7, 0.05, 0.0);
    near("N", shift, 272.0, 0.5, 0.0);
    near("lb", shift / lb(1.0).0, 61.0, 0.5, 0.0);
    // Plan P4: 1.22 lb per mm of twist.
    near("per mm", l.share_per_offset[2][2] / lb(1.0).0 / 1000.0, 1.22, 0.005, 0.0);
    // With the sides' own bending it is softer, by less than 0.5 % of the whole weight.
    let l = stand(&moorgate(false), Bearing::Rope, 1.2);
    near("bending too", (l.shares(&[0.050, 0.0, 0.0, 0.0])[0] - l.level_shares_n[0]) / G, 27.7, 0.05, 468.0);
}

#[test]
fn example_4_three_legs() {
    // One slack tower: let down far enough that the truss stands clear of it.
    let mut stiff = moorgate(false);
    for p in &mut stiff.pieces {
        p.bending = Some(raisewatch_protocol::units::Rigidity(1e12));
        p.torsion = Some(raisewatch_protocol::units::Rigidity(1e12));
    }
    let l = stand(&stiff, Bearing::Rope, 1.2);
    let d_slack = l.stood(&[0.0, 0.0, 0.0, -0.2]);
    assert_eq!(d_slack.lifted().collect::<Vec<_>>(), [3]);
    shares_kg("D slack", &d_slack.shares_n, &[220.5, 10.5, 237.0, 0.0]);
    shares_kg("D slack", &l.slack(3).unwrap(), &[220.5, 10.5, 237.0, 0.0]);
    let c_slack = l.slack(2).unwrap();
    near("C slack: B", c_slack[1] / G, 247.5, 0.05, 468.0);
    near("C slack: B, lb", c_slack[1] / lb(1.0).0, 546.0, 0.5, 0.0);
    // The example leaves A pulling 16.5 kg then. Towers only push: A lifts off and the frame rocks on to C.
    assert!(c_slack[0] < 0.0);
    let rocked = l.stood(&[0.0, 0.0, -0.2, 0.0]);
    assert_eq!(rocked.lifted().collect::<Vec<_>>(), [0]);
    shares_kg("rocked", &rocked.shares_n, &[0.0, 231.0, 16.5, 220.5]);
}

#[test]
fn example_5_quill_street() {
    // What the test lift tells: weight and place of what the plan lacks, from the plan's own sums.
    let l = stand(&harbour_lane(), Bearing::Rope, 1.2);
    let measured = [104.2 * G, 121.6 * G];
    let extra: f64 = measured.iter().sum::<f64>() - l.total_n;
    near("extra, kg", extra / G, 28.8, 0.05, 0.0);
    // Where one more newton gives B what was found there.
    let want = (measured[1] - l.level_shares_n[1]) / extra;
    let x = (0..=8000).map(|mm| f64::from(mm) / 1000.0).min_by(|a, b| {
        let off = |x: f64| (l.point(0, x).share_per_n[1] - want).abs();
        off(*a).total_cmp(&off(*b))
    });
    near("place", x.unwrap(), 5.47, 0.005, 0.0);
}

#[test]
fn example_6_malthouse() {
    let l = stand(&malthouse(3.5), Bearing::Rope, 1.2);
    shares_kg("uplift", &l.level_shares_n, &[-5.3, 88.3]);
    assert!(l.stood(&[0.0, 0.0]).tips, "two towers, one pulling: it tips");
    let l = stand(&malthouse(4.5), Bearing::Rope, 1.2);
    shares_kg("B to 4.5", &l.level_shares_n, &[16.8, 66.2]);
    let mut weighted = malthouse(3.5);
    weighted.loads.push(point("ballast", 0, 0.5, kg(18.9)));
    let l = stand(&weighted, Bearing::Rope, 1.2);
    near("18.9 kg at A makes twice the least", l.level_shares_n[0] / lb(1.0).0, 30.0, 0.5, 0.0);
}

#[test]
fn example_7_moments() {
    let l = stand(&harbour_lane(), Bearing::Rope, 5.0);
    let at = |x: f64| l.moment_at(0, x).level / G;
    let (x, m) = (0..=800).map(|i| f64::from(i) / 100.0).map(|x| (x, at(x))).max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
    near("largest", m, 100.8, 0.05, 0.0);
    near("where", x, 3.9, 0.05, 0.0);
    near("over B", at(7.0), -17.1, 0.05, 0.0);
}
