//! The house stays as it is laid out: who may import whom, and what the pure crates must not know.
//!
//! The arrows are those of docs/design.md, "Layers"; a new one is a deliberate edit here. The pure crates take time,
//! bytes and numbers as arguments, so that a replay gives the same findings to the byte.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Each crate's folder and those of our crates that it may depend on, tests included.
const ARROWS: &[(&str, &[&str])] = &[
    ("protocol", &[]),
    ("statics", &["protocol"]),
    ("watch", &["protocol", "statics"]),
    ("simulator", &["protocol", "statics"]),
    ("daemon", &["protocol", "statics", "watch", "simulator"]),
    ("tests", &["protocol", "statics", "watch", "simulator", "daemon"]),
];

/// The crates without clock, socket, file, thread or chance.
const PURE: &[&str] = &["protocol", "statics", "watch"];

/// What may not stand in a pure crate, and why.
const BANNED: &[(&str, &str)] = &[
    ("std::time", "time comes in as an argument"),
    ("Instant", "time comes in as an argument"),
    ("SystemTime", "time comes in as an argument"),
    ("Timestamp::now", "time comes in as an argument"),
    ("Zoned::now", "time comes in as an argument"),
    ("std::net", "no sockets"),
    ("std::fs", "no files: texts come in as arguments"),
    ("std::process", "starts nothing"),
    ("std::thread", "no threads"),
    ("std::env", "no surroundings"),
    ("tokio", "no async"),
    ("async fn", "no async"),
    (".await", "no async"),
    ("rand::", "no chance"),
    ("HashMap", "no order by chance: BTreeMap, or a Vec"),
    ("HashSet", "no order by chance: BTreeSet, or a Vec"),
    ("println!", "says nothing by itself"),
    ("eprintln!", "says nothing by itself"),
];

/// Longest source file, tests at its foot not counted. Files live well under 400 lines and are split where two people want
/// to read different halves; past this one nobody reads it whole.
const LONGEST_LINES: usize = 600;

/// The two places that may ask the machine for the time: the program's clock, and the simulator's own program where it
/// plays a lift in real time.
const CLOCKS: &[&str] = &["daemon/src/clock.rs", "simulator/src/wires.rs"];

fn house() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let for_tests = path.file_stem().and_then(|s| s.to_str()).is_some_and(|stem| stem == "tests" || stem.ends_with("_tests"));
        if for_tests {
            continue; // a module of tests beside the code
        } else if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The part of a source that ships: without comments, and without the tests at its foot.
fn shipped(source: &str) -> Vec<(usize, &str)> {
    let ends = source.find("#[cfg(test)]\nmod ").unwrap_or(source.len());
    let code = |line: &'_ str| !line.trim_start().starts_with("//");
    source[..ends].lines().enumerate().map(|(at, line)| (at + 1, line)).filter(|(_, line)| code(line)).collect()
}

/// Names of our crates in any dependency table of a folder's manifest, without the common prefix.
fn ours(folder: &str) -> Vec<String> {
    let manifest: toml::Table = fs::read_to_string(house().join(folder).join("Cargo.toml")).unwrap().parse().unwrap();
    let mut found = Vec::new();
    for table in ["dependencies", "dev-dependencies", "build-dependencies"] {
        let names = manifest.get(table).and_then(|value| value.as_table());
        for name in names.into_iter().flat_map(|table| table.keys()) {
            match name.strip_prefix("raisewatch") {
                Some("") => found.push("daemon".to_owned()),
                Some(rest) => found.push(rest.trim_start_matches('-').to_owned()),
                None => {}
            }
        }
    }
    found
}

#[test]
fn every_crate_is_in_the_picture() {
    let manifest: toml::Table = fs::read_to_string(house().join("Cargo.toml")).unwrap().parse().unwrap();
    let members = manifest["workspace"]["members"].as_array().unwrap();
    let mut members: Vec<&str> = members.iter().map(|member| member.as_str().unwrap()).collect();
    let mut drawn: Vec<&str> = ARROWS.iter().map(|(name, _)| *name).collect();
    members.sort_unstable();
    drawn.sort_unstable();
    assert_eq!(members, drawn, "members of the workspace, and the crates drawn here");
}

#[test]
fn imports_go_down_only() {
    let allowed: BTreeMap<&str, &[&str]> = ARROWS.iter().copied().collect();
    for (folder, below) in &allowed {
        for name in ours(folder) {
            assert!(below.contains(&name.as_str()), "{folder}/Cargo.toml imports {name}; it may import only {below:?}");
        }
    }
}

#[test]
fn pure_crates_know_no_machine() {
    let mut found = Vec::new();
    for folder in PURE {
        for path in sources(&house().join(folder).join("src")) {
            let source = fs::read_to_string(&path).unwrap();
            for (at, line) in shipped(&source) {
                for (banned, why) in BANNED.iter().filter(|(banned, _)| names(line, banned)) {
                    found.push(format!("{}:{at}: {banned} ({why})", path.display()));
                }
            }
        }
    }
    assert!(found.is_empty(), "in the pure crates:\n{}", found.join("\n"));
}

/// Whether `line` holds `word` as a word of its own.
fn names(line: &str, word: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '_';
    let first = word.chars().next().is_some_and(part);
    let last = word.chars().last().is_some_and(part);
    line.match_indices(word).any(|(at, _)| {
        let before = line[..at].chars().last().is_some_and(part);
        let after = line[at + word.len()..].chars().next().is_some_and(part);
        !(first && before || last && after)
    })
}

#[test]
fn a_banned_word_is_found_only_as_a_word() {
    assert!(names("use std::time::Duration;", "std::time"));
    assert!(names("    let at = Instant::now();", "Instant"));
    assert!(!names("struct Instantaneous;", "Instant"));
    assert!(!names("operand::left()", "rand::"));
    assert!(names("let x = rand::rng();", "rand::"));
    assert!(names("io().await", ".await"));
}

#[test]
fn only_the_clocks_ask_for_the_time() {
    for (folder, _) in ARROWS.iter().filter(|(folder, _)| *folder != "tests") {
        for path in sources(&house().join(folder).join("src")) {
            if CLOCKS.iter().any(|clock| path.ends_with(clock)) {
                continue;
            }
            let source = fs::read_to_string(&path).unwrap();
            for (at, line) in shipped(&source) {
                let asks = ["Instant::now", "SystemTime::now", "Timestamp::now", "clock_gettime"];
                let asked = asks.iter().find(|word| names(line, word));
                assert!(asked.is_none(), "{}:{at}: {asked:?}; only {CLOCKS:?} may ask the machine for the time", path.display());
            }
        }
    }
}

#[test]
fn files_stay_readable() {
    for (folder, _) in ARROWS {
        for path in sources(&house().join(folder).join("src")) {
            let source = fs::read_to_string(&path).unwrap();
            let ends = source.find("#[cfg(test)]\nmod ").unwrap_or(source.len());
            let lines = source[..ends].lines().count();
            assert!(lines <= LONGEST_LINES, "{} has {lines} lines; split it by {LONGEST_LINES}", path.display());
        }
    }
}
