//! `raisewatch check` as a crew chief runs it: exit status, the worked shows' numbers, reasons and cures, paper, mistakes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests fail loudly

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root(name: &str) -> PathBuf {
    let base = Path::new(env!("CARGO_MANIFEST_DIR"));
    let example = base.join("../docs/examples").join(name);
    if example.exists() { example } else { base.join("tests/shows").join(name) }
}

fn check(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_raisewatch")).arg("check").args(args).output().expect("the program runs")
}

fn plan(name: &str, args: &[&str]) -> (i32, String) {
    let path = root(name);
    let mut all = vec![path.to_str().unwrap()];
    all.extend(args);
    let out = check(&all);
    (out.status.code().unwrap(), String::from_utf8(out.stdout).unwrap())
}

fn json(name: &str, args: &[&str]) -> (i32, Value) {
    let (code, text) = plan(name, &[&["--json"], args].concat());
    (code, serde_json::from_str(&text).unwrap())
}

/// Shares in kilograms at the first station whose `what` and `on` fit.
fn shares_kg(sheet: &Value, what: &str, on: &str) -> Vec<f64> {
    let fits = |s: &&Value| s["what"] == what && s["on"] == on;
    let station = sheet["stations"].as_array().unwrap().iter().find(fits).unwrap_or_else(|| panic!("no {what} on {on}"));
    station["towers"].as_array().unwrap().iter().map(|t| t["share"]["n"].as_f64().unwrap() / 9.80665).collect()
}

/// Within half of the last printed digit (0.05 kg) or 0.5 % of the whole weight, whichever is larger.
fn near(found: &[f64], expected: &[f64], whole_kg: f64) {
    let most = (0.005 * whole_kg).max(0.05);
    assert_eq!(found.len(), expected.len());
    for (f, e) in found.iter().zip(expected) {
        assert!((f - e).abs() <= most, "{found:?} is not {expected:?} within {most} kg");
    }
}

#[test]
fn show_1_may_be_lifted() {
    let (code, sheet) = json("harbour-lane.toml", &[]);
    assert_eq!((code, &sheet["may_be_lifted"]), (0, &Value::Bool(true)));
    near(&shares_kg(&sheet, "working", "rope"), &[96.9, 100.1], 197.0);
    near(&shares_kg(&sheet, "trim", "rope"), &[96.1, 109.8], 205.9);
    assert_eq!(sheet["what_if"], Value::Null);
}

#[test]
fn show_2_is_refused_for_the_tower_over_its_rating() {
    let (code, sheet) = json("kestrel-gala.toml", &[]);
    assert_eq!((code, &sheet["may_be_lifted"]), (1, &Value::Bool(false)));
    near(&shares_kg(&sheet, "working", "rope"), &[191.3, 218.7], 410.0);
    let fault = &sheet["verdict"]["faults"][0];
    assert_eq!((fault["kind"].as_str(), fault["tower"].as_u64()), (Some("over"), Some(1)));
    let (code, text) = plan("kestrel-gala.toml", &[]);
    assert_eq!(code, 1);
    assert!(text.contains("It must not be lifted as planned") && text.contains("Cure: take "), "{text}");
}

#[test]
fn show_3_first_drawing_is_refused_and_the_revised_one_is_not() {
    let (code, sheet) = json("tanners-yard-first.toml", &[]);
    assert_eq!(code, 1);
    near(&shares_kg(&sheet, "trim", "level"), &[95.0, 290.0, 75.0], 460.0);
    let (code, sheet) = json("tanners-yard.toml", &[]);
    assert_eq!(code, 0);
    near(&shares_kg(&sheet, "trim", "level"), &[53.1, 163.8, 43.1], 260.0);
    near(&shares_kg(&sheet, "trim", "rope"), &[73.1, 123.7, 63.1], 260.0);
}

#[test]
fn show_5_is_show_1_with_the_weight_that_was_found() {
    let (code, sheet) = json("harbour-lane.toml", &["--what-if", "+28.8 kg at 5.47 m"]);
    assert_eq!(code, 0);
    near(&shares_kg(&sheet, "working", "rope"), &[96.9, 100.1], 197.0);
    near(&shares_kg(&sheet["what_if"]["sheet"], "working", "rope"), &[104.2, 121.6], 225.8);
}

#[test]
fn show_6_lifts_off_and_is_cured_by_moving_a_tower() {
    let (code, sheet) = json("old-malthouse.toml", &[]);
    assert_eq!(code, 1);
    near(&shares_kg(&sheet, "working", "rope"), &[-5.3, 88.3], 83.0);
    let fault = &sheet["verdict"]["faults"][0];
    assert_eq!(fault["kind"], "uplift");
    let cures = fault["cures"].as_array().unwrap();
    assert!(cures.iter().any(|c| c.as_str().unwrap().contains("move tower B to 4.5 m")), "{cures:?}");
}

#[test]
fn a_what_if_that_must_not_be_lifted_fails() {
    let (code, text) = plan("harbour-lane.toml", &["--what-if", "+150 kg at 7 m"]);
    assert_eq!(code, 1);
    assert!(text.contains("Nothing found against it") && text.contains("What if: +150 kg at 7 m") && text.contains("must not be lifted"));
}

#[test]
fn what_cannot_be_read_is_misuse_with_every_mistake() {
    let dir = tempfile::tempdir().unwrap();
    let good = std::fs::read_to_string(root("harbour-lane.toml")).unwrap();
    let bad = dir.path().join("bad.toml");
    std::fs::write(&bad, good.replace("rated = \"500 lb\"", "rated = \"500\"").replace("pace = \"25 mm/s\"", "pase = \"25 mm/s\""))
        .unwrap();
    let out = check(&[bad.to_str().unwrap()]);
    let told = String::from_utf8(out.stderr).unwrap();
    assert_eq!((out.status.code(), out.stdout.len()), (Some(2), 0));
    for part in [
        ":11:1: the file: found the key `pase`; expected perhaps `pace`",
        "tower A, rated: found `500` without a unit",
        "tower B, rated",
        "4 mistakes",
    ] {
        assert!(told.contains(part), "{part} in\n{told}");
    }
    let kit = dir.path().join("kit.toml");
    std::fs::write(&kit, "[[node]]\nid = \"n1\"\ntower = \"C\"\nover = \"mqtt\"\n[node.channel.head-load]\n").unwrap();
    let plan = root("harbour-lane.toml");
    let plan = plan.to_str().unwrap();
    let out = check(&[plan, "--kit", kit.to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8(out.stderr).unwrap().contains("found `C`, which is no tower of the plan; expected one of `A`, `B`"));
    for args in [vec!["/nowhere/plan.toml"], vec![plan, "--what-if", "B up a bit"], vec![plan, "--kit", "/nowhere/kit.toml"], vec![]] {
        let out = check(&args);
        assert_eq!((out.status.code(), out.stdout.len()), (Some(2), 0), "{args:?}");
        assert!(!out.stderr.is_empty());
    }
    let out = check(&[plan, "--html", "/nowhere/sheet.html"]);
    assert_eq!(out.status.code(), Some(2), "not 1, which would mean that it must not be lifted");
}

#[test]
fn paper_is_whole_and_promises_nothing() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["harbour-lane.toml", "tanners-yard.toml", "moorgate.toml", "kestrel-gala.toml"] {
        let out = dir.path().join("sheet.html");
        let (_, text) = plan(name, &["--html", out.to_str().unwrap()]);
        assert!(!text.contains('\x1b'), "colours away from a terminal");
        let page = std::fs::read_to_string(&out).unwrap();
        for part in
            ["<svg", "drawn 1:", "Not a certificate", "Advises only", "competent person decides", " lb", " kg", "If the electronics die"]
        {
            assert!(page.contains(part), "{part} in {name}");
        }
        let words = page.split("</style>").nth(1).unwrap().to_lowercase().replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        for never in ["ready", "all well", "carry on", "is safe", "all clear", "http://", "https://", "<script", "src="] {
            assert!(!words.contains(never), "{never} in {name}");
        }
    }
}
