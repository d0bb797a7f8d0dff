//! Unit factors against published ones: tests/checks/units.toml, each with its source there.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail loudly

use raisewatch_protocol::quantity::parse;

/// How the published names are written in plan files.
const WRITTEN: &[(&str, &str)] = &[
    ("pound (avoirdupois)", "lb"),
    ("foot (international)", "ft"),
    ("inch", "in"),
    ("pound-force", "lbf"),
    ("kilogram-force", "kgf"),
    ("kip", "kip"),
    ("short ton", "short ton"),
    ("tonne", "t"),
    ("tonne-force", "tf"),
    ("pound-force foot", "lbf ft"),
    ("pound-force per foot", "lbf/ft"),
    ("slug", "slug"),
];

fn in_si(text: &str) -> f64 {
    parse(text).unwrap_or_else(|f| panic!("{text}: {f:?}")).si
}

#[test]
fn factors_are_the_published_ones() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/checks/units.toml");
    let published: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
    let mut checked = 0;
    for row in published["unit"].as_array().unwrap() {
        let (name, factor) = (row["unit"].as_str().unwrap(), row["factor"].as_str().unwrap());
        let factor: f64 = factor.parse().unwrap();
        let found = match WRITTEN.iter().find(|(published, _)| *published == name) {
            Some((_, written)) => in_si(&format!("1 {written}")),
            None if name == "standard gravity" => raisewatch_protocol::units::STANDARD_GRAVITY,
            None => panic!("{name} is not written in any way that is known here"),
        };
        // Products of exact factors: off by a few roundings of the last place at most.
        assert!((found / factor - 1.0).abs() < 4.0 * f64::EPSILON, "{name}: {found} is not {factor} ({})", row["source"]);
        checked += 1;
    }
    assert_eq!(checked, 13);
}

#[test]
fn conversions_are_the_published_ones() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/checks/units.toml");
    let published: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
    let ours = |what: &str| match what {
        "1000 kg as weight in N at standard gravity" => in_si("1000 kg") * raisewatch_protocol::units::STANDARD_GRAVITY,
        "2500 lbf in N" => in_si("2500 lbf"),
        "12 kN in kgf" => in_si("12 kN") / in_si("1 kgf"),
        "12 kN in lbf" => in_si("12 kN") / in_si("1 lbf"),
        "6 ft 6 in in m" => in_si("6 ft 6 in"),
        other => panic!("{other} is not checked here"),
    };
    for row in published["conversion"].as_array().unwrap() {
        let (what, value) = (row["what"].as_str().unwrap(), row["value"].as_float().unwrap());
        assert!((ours(what) / value - 1.0).abs() < 4.0 * f64::EPSILON, "{what}: {} is not {value} ({})", ours(what), row["source"]);
    }
}
