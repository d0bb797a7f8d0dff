//! Contrast of every colour of the pages, by the formula of WCAG 2.2, in each theme.
//!
//! The formula is first held against published pairs (tests/checks/contrast.toml), then applied to the tokens as they
//! stand in daemon/pages/look.css. Ratios are compared unrounded: 4.499 does not meet 4.5.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs;

/// Smallest contrast of text, SC 1.4.3.
const TEXT: f64 = 4.5;
/// Smallest contrast of text from 24 px (or 18.7 px bold) and of drawn parts, SC 1.4.3 and 1.4.11.
const DRAWN: f64 = 3.0;

#[derive(Deserialize)]
struct Checks {
    pair: Vec<Pair>,
    luminance: Vec<Luminance>,
}

#[derive(Deserialize)]
struct Pair {
    foreground: String,
    background: String,
    ratio: f64,
    #[serde(rename = "text_AA")]
    text_aa: bool,
    #[serde(rename = "non_text_AA")]
    non_text_aa: bool,
    source: String,
}

#[derive(Deserialize)]
struct Luminance {
    colour: String,
    relative_luminance: f64,
    source: String,
}

fn checks() -> Checks {
    let text = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/checks/contrast.toml")).unwrap();
    toml::from_str(&text).unwrap()
}

/// Relative luminance of `#rrggbb`, 0 (black) to 1 (white). Source: WCAG 2.2, glossary.
fn luminance(colour: &str) -> f64 {
    let channel = |at: usize| {
        let c = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    assert!(colour.len() == 7 && colour.starts_with('#'), "a colour reads #rrggbb, found {colour}");
    0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
}

/// Contrast ratio of two colours, 1 to 21. Source: WCAG 2.2, glossary.
fn contrast(one: &str, other: &str) -> f64 {
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn the_formula_gives_the_published_pairs() {
    for pair in checks().pair {
        let ratio = contrast(&pair.foreground, &pair.background);
        let what = format!("{} on {} ({})", pair.foreground, pair.background, pair.source);
        assert!((ratio - pair.ratio).abs() < 1e-9, "{what}: expected {}, found {ratio}", pair.ratio);
        assert_eq!(ratio >= TEXT, pair.text_aa, "{what}: AA for text");
        assert_eq!(ratio >= DRAWN, pair.non_text_aa, "{what}: AA for what is drawn");
    }
}

#[test]
fn the_formula_gives_the_published_luminances() {
    for one in checks().luminance {
        let found = luminance(&one.colour);
        assert!((found - one.relative_luminance).abs() < 1e-12, "{} ({}): {found}", one.colour, one.source);
    }
}

/// The colours of one theme: those of `:root`, then what each further block puts over them.
fn tokens(blocks: &[&str]) -> BTreeMap<String, String> {
    let css = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../daemon/pages/look.css")).unwrap();
    let mut found = BTreeMap::new();
    for block in blocks {
        let start = css.find(&format!("\n{block} {{")).unwrap_or_else(|| panic!("no block {block} in look.css"));
        let body = &css[start..start + css[start..].find('}').unwrap()];
        for part in body.split(['{', ';', '\n']) {
            if let Some((name, value)) = part.trim().strip_prefix("--").and_then(|part| part.split_once(':'))
                && value.trim().starts_with('#')
            {
                found.insert(name.trim().to_owned(), value.trim().to_owned());
            }
        }
    }
    found
}

/// What stands on what, and how much contrast its use needs. `hair` and `ribbon` carry nothing by themselves.
const PAIRS: &[(&str, &str, f64)] = &[
    ("edge", "ground", DRAWN),
    ("edge", "ribbon", DRAWN),
    ("mute", "ground", TEXT),
    ("mute", "ribbon", TEXT),
    ("mute", "raised", TEXT),
    ("text", "ground", TEXT),
    ("text", "ribbon", TEXT),
    ("text", "raised", TEXT),
    ("bright", "ground", TEXT),
    ("bright", "ribbon", TEXT),
    ("bright", "raised", TEXT),
    ("on-answer", "answer", TEXT),
];

fn check(theme: &str, blocks: &[&str], more: &[(&str, &str, f64)]) {
    let colours = tokens(blocks);
    for (front, back, least) in PAIRS.iter().chain(more) {
        let ratio = contrast(&colours[*front], &colours[*back]);
        assert!(ratio >= *least, "{theme}: {front} on {back} has {ratio:.2}, at least {least} is needed");
    }
}

#[test]
fn dark_theme() {
    let more = [("on", "warn", TEXT), ("on", "stop", TEXT), ("warn", "ground", DRAWN), ("train", "ground", TEXT)];
    check("dark", &[":root"], &more);
    check("dark", &[":root"], &[("stop", "ground", TEXT), ("answer", "ground", DRAWN)]);
}

#[test]
fn sun_theme() {
    // Yellow on white is 1.6: whatever is lit there has a black edge, and it is that edge which is seen.
    check("sun", &[":root", ".sun"], &[("on", "warn", TEXT), ("on", "stop", TEXT), ("train", "ground", TEXT)]);
    check("sun", &[":root", ".sun"], &[("stop", "ground", DRAWN), ("on", "answer", TEXT)]);
}

#[test]
fn lit_for_stop_in_both_themes() {
    let more = [("ink", "ground", TEXT), ("answer", "ground", DRAWN), ("hair", "ground", 2.0)];
    check("dark, lit", &[":root", ".lit"], &more);
    check("sun, lit", &[":root", ".sun", ".lit"], &more);
}
