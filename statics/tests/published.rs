//! Published values: beams, settlements, elastic supports, lift-off, rake, frames, rigid bodies. Each case of
//! tests/checks/{beams,unilateral,rake,frames}.toml names its source; a failure prints it.

#![allow(clippy::unwrap_used, clippy::panic)] // a test that cannot be set up must fail

mod common;
use common::*;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::{Force, Length, Stiffness};
use raisewatch_statics::{Bearing, Linear, Model, Standing};
use toml::{Table, Value};

fn read(name: &str) -> Table {
    let path = format!("{}/../tests/checks/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}")).parse().unwrap()
}

fn cases<'a>(file: &'a Table, of: &str) -> Vec<&'a Table> {
    file[of].as_array().unwrap().iter().map(|c| c.as_table().unwrap()).collect()
}

fn num(v: &Value) -> f64 {
    v.as_float().or(v.as_integer().map(|i| i as f64)).unwrap()
}

fn get(t: &Table, key: &str) -> f64 {
    num(&t[key])
}

fn list(t: &Table, key: &str) -> Vec<f64> {
    t.get(key).map_or_else(Vec::new, |v| v.as_array().unwrap().iter().map(num).collect())
}

fn tables<'a>(t: &'a Table, key: &str) -> Vec<&'a Table> {
    t.get(key).map_or_else(Vec::new, |v| v.as_array().unwrap().iter().map(|c| c.as_table().unwrap()).collect())
}

/// Found against printed, relative to the largest printed of its kind.
#[track_caller]
fn same(case: &Table, what: &str, found: &[f64], printed: &[f64], scale: f64, tolerance: f64) {
    let (id, source, how) = (case["id"].as_str().unwrap(), case.get("source"), case.get("how"));
    assert_eq!(found.len(), printed.len(), "{id}: {what}");
    for (i, (f, p)) in found.iter().zip(printed).enumerate() {
        assert!((f - p).abs() <= tolerance * scale.max(1e-12), "{id}: {what}[{i}]: {source:?} ({how:?}) gives {p}, found {f}");
    }
}

fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |m, v| m.max(v.abs()))
}

/// A beam of the file as a plan, with its supports' heights.
fn beam(case: &Table) -> (Plan, Standing, Vec<f64>) {
    let supports = tables(case, "supports");
    let ends = supports.iter().map(|s| get(s, "x")).chain(tables(case, "point_loads").into_iter().map(|p| get(p, "x")));
    let ends = ends.chain(tables(case, "udl").into_iter().map(|u| get(u, "x2"))).chain(list(case, "at_x"));
    let mut p = plan();
    p.pieces = vec![piece("beam", [0.0, 0.0], [ends.fold(0.0, f64::max), 0.0], 0.0, get(case, "EI"), 0.2e6)];
    let mut bearing = Vec::new();
    for (i, s) in supports.iter().enumerate() {
        let mut t = tower(&format!("T{i}"), 0, get(s, "x"));
        bearing.push(match s.get("k") {
            Some(k) => {
                t.rope_stiffness = Stiffness(num(k));
                Bearing::Rope
            }
            None => Bearing::Rigid,
        });
        p.towers.push(t);
    }
    p.loads = tables(case, "point_loads").iter().map(|l| point("point", 0, get(l, "x"), Force(get(l, "P")))).collect();
    p.loads.extend(tables(case, "udl").iter().map(|u| spread("spread", 0, get(u, "x1"), get(u, "x2"), get(u, "w"))));
    let heights = supports.iter().map(|s| get(s, "height")).collect();
    (p, Standing { line_height: Length(1.0), bearing }, heights)
}

fn stand(plan: &Plan, standing: &Standing) -> Linear {
    Model::new(plan).unwrap().standing(standing)
}

#[test]
fn beams() {
    let file = read("beams");
    let all = cases(&file, "case");
    assert!(all.len() >= 30, "{}", all.len());
    for case in all {
        let (plan, standing, heights) = beam(case);
        let linear = stand(&plan, &standing);
        let printed = list(case, "reactions");
        let scale: f64 = printed.iter().map(|r| r.abs()).sum();
        // The almost rigid beam (EI 1e12) loses digits in any solver; its note says 1e-5.
        let tolerance = if get(case, "EI") > 1e10 { 1e-7 } else { 1e-9 };
        same(case, "reactions", &linear.shares(&heights), &printed, scale, tolerance);
        let at: Vec<_> = list(case, "at_x").iter().map(|x| linear.at(0, *x, &heights)).collect();
        let pairs: [(&str, Vec<f64>); 3] = [
            ("deflection", at.iter().map(|a| a.w_m).collect()),
            ("slope", at.iter().map(|a| a.slope_rad).collect()),
            ("moment", at.iter().map(|a| a.moment_nm).collect()),
        ];
        for (what, found) in pairs {
            let printed = list(case, what);
            // Printed zeros are measured against a tenth of a millimetre, a tenth of a milliradian.
            let scale = if what == "moment" { largest(&printed).max(scale) } else { largest(&printed).max(1e-4) };
            same(case, what, &found, &printed, scale, tolerance);
        }
        let share = list(case, "share");
        if !share.is_empty() {
            let found: Vec<f64> = linear.shares(&heights).iter().map(|r| r / linear.total_n).collect();
            same(case, "share", &found, &share, 1.0, 1e-7);
        }
        let formula = list(case, "reactions_formula");
        if !formula.is_empty() {
            same(case, "reactions_formula", &linear.shares(&heights), &formula, scale, 1e-5);
        }
    }
}

#[test]
fn towers_that_only_push() {
    let file = read("unilateral");
    let all = cases(&file, "case");
    assert_eq!(all.len(), 5);
    for case in all {
        let (plan, standing, heights) = beam(case);
        let linear = stand(&plan, &standing);
        let stood = linear.stood(&heights);
        let printed = list(case, "reactions");
        let scale: f64 = printed.iter().sum();
        same(case, "if they could pull", &linear.shares(&heights), &list(case, "reactions_if_supports_could_pull"), scale, 1e-9);
        assert!(!stood.tips);
        same(case, "reactions", &stood.shares_n, &printed, scale, 1e-9);
        same(case, "gap", &stood.clear_m, &list(case, "gap"), 0.01, 1e-7);
        let contact: Vec<bool> = stood.clear_m.iter().map(|g| *g <= 1e-12).collect();
        let told: Vec<bool> = case["in_contact"].as_array().unwrap().iter().map(|b| b.as_bool().unwrap()).collect();
        assert_eq!(contact, told, "{}", case["id"]);
    }
}

#[test]
fn rake() {
    let file = read("rake");
    let all = cases(&file, "case");
    assert_eq!(all.len(), 8);
    for case in all {
        let places = list(case, "support_positions");
        let ei = case.get("EI").map_or(4e6, num);
        let mut p = plan();
        p.pieces = vec![piece("beam", [0.0, 0.0], [places[places.len() - 1], 0.0], 0.0, ei, 0.2e6)];
        p.towers = places.iter().enumerate().map(|(i, x)| tower(&format!("T{i}"), 0, *x)).collect();
        for l in tables(case, "loads") {
            let mut load = point("load", 0, get(l, "x"), Force(get(l, "W")));
            // The file's h is above the line; a plan's hang is below it.
            load.hang = Length(-get(l, "h"));
            p.loads.push(load);
        }
        // Positions are along the beam and supports push straight up: the normal reactions are those of the level beam
        // times the cosine, couples W h sin; so the vertical ones are linear in the tangent.
        let tan = get(case, "rake_deg").to_radians().tan();
        let heights: Vec<f64> = places.iter().map(|x| x * tan).collect();
        let model = Model::new(&p).unwrap();
        let found = model.standing(&model.on(Bearing::Rigid, Length(1.0))).shares(&heights);
        let printed = list(case, "reactions");
        same(case, "reactions", &found, &printed, printed.iter().sum(), 1e-9);
    }
}

#[test]
fn frames() {
    let file = read("frames");
    let all = cases(&file, "grillage");
    assert!(all.len() >= 6);
    for case in all {
        let nodes: Vec<[f64; 2]> = case["nodes"].as_array().unwrap().iter().map(|n| [num(&n[0]), num(&n[1])]).collect();
        let members = tables(case, "members");
        let mut p = plan();
        for (i, m) in members.iter().enumerate() {
            let (a, b) = (get(m, "i") as usize, get(m, "j") as usize);
            p.pieces.push(piece(&format!("m{i}"), nodes[a], nodes[b], 0.0, get(m, "EI"), get(m, "GJ")));
        }
        // Where a node lies on the pieces: the first that begins or ends there.
        let on = |node: usize| {
            let found = members.iter().enumerate().find_map(|(i, m)| {
                let ends = [get(m, "i") as usize, get(m, "j") as usize];
                ends.iter().position(|e| *e == node).map(|e| (i, e as f64))
            });
            let (i, end) = found.unwrap();
            (i, end * p.pieces[i].length().0)
        };
        let (mut towers, mut bearing, mut heights, mut loads) = (vec![], vec![], vec![], vec![]);
        for s in tables(case, "rigid_supports").iter().chain(&tables(case, "spring_supports")) {
            let (piece, x) = on(get(s, "node") as usize);
            let mut t = tower(&format!("T{}", towers.len()), piece, x);
            bearing.push(s.get("k").map_or(Bearing::Rigid, |_| Bearing::Rope));
            t.rope_stiffness = Stiffness(s.get("k").map_or(1e5, num));
            heights.push(get(s, "height"));
            towers.push(t);
        }
        for l in tables(case, "loads") {
            let (piece, x) = on(get(l, "node") as usize);
            loads.push(point("load", piece, x, Force(get(l, "P"))));
        }
        (p.towers, p.loads) = (towers, loads);
        let linear = stand(&p, &Standing { line_height: Length(1.0), bearing });
        let printed = list(case, "reactions");
        let scale: f64 = printed.iter().map(|r| r.abs()).sum();
        same(case, "reactions", &linear.shares(&heights), &printed, scale, 1e-9);
        same(case, "reactions_pynite", &linear.shares(&heights), &list(case, "reactions_pynite"), scale, 1e-9);
        let formula = list(case, "reactions_formula");
        if !formula.is_empty() {
            same(case, "reactions_formula", &linear.shares(&heights), &formula, scale, 1e-9);
        }
    }
}

/// The rigid bodies of the file, as frames a million times stiffer than their springs.
#[test]
fn rigid_bodies() {
    let file = read("frames");
    let all = cases(&file, "rigid");
    assert_eq!(all.len(), 4);
    for case in all {
        let supports = tables(case, "supports");
        let at: Vec<[f64; 2]> = supports.iter().map(|s| [get(s, "x"), get(s, "y")]).collect();
        let cg = list(case, "cg");
        let n = at.len();
        let mut p = plan();
        for i in 0..n {
            p.pieces.push(piece(&format!("side{i}"), at[i], at[(i + 1) % n], 0.0, 1e13, 1e13));
            let mut t = tower(&format!("T{i}"), i, 0.0);
            t.rope_stiffness = Stiffness(get(supports[i], "k"));
            p.towers.push(t);
        }
        // The load stands on a beam whose ends meet the runs of two sides, or a corner and a side.
        let (a, b) = if n == 4 {
            ([0.0, cg[1]], [at[1][0], cg[1]])
        } else {
            // From the first corner through the load to the side across.
            let [p1, p2] = [at[1], at[2]];
            let (dx, dy) = (p2[0] - p1[0], p2[1] - p1[1]);
            let t = (p1[0] * dy - p1[1] * dx) / (cg[0] * dy - cg[1] * dx);
            (at[0], [cg[0] * t, cg[1] * t])
        };
        p.pieces.push(piece("cross", a, b, 0.0, 1e13, 1e13));
        let x = (cg[0] - a[0]).hypot(cg[1] - a[1]);
        p.loads.push(point("load", n, x, Force(get(case, "W"))));
        let linear = stand(&p, &Standing { line_height: Length(1.0), bearing: vec![Bearing::Rope; n] });
        let heights: Vec<f64> = supports.iter().map(|s| get(s, "height")).collect();
        let found = linear.shares(&heights);
        let printed = list(case, "reactions_formula");
        same(case, "reactions", &found, &printed, printed.iter().sum(), 2e-5);
    }
}
