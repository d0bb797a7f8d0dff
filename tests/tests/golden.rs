//! Kept traces and what the watch told about them, word for word. A change of `*.out` is a change of what a crew hears:
//! `UPDATE_GOLDEN=1 cargo test -p raisewatch-tests --test golden` rewrites them, and the commit says why.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::trace::TraceLine;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::{Output, Watch};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// What lies beside a trace: what happened in it, and under which plan and kit.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Note {
    note: String,
    plan: PathBuf,
    kit: PathBuf,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("traces")
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Findings and calls on this trace, one a line. Every deadline before a line comes first, as live.
fn told(trace: &Path) -> String {
    let note: Note = toml::from_str(&read(&trace.with_extension("toml"))).unwrap();
    assert!(note.note.len() > 20, "{}: the note says what happens", trace.display());
    let plan = Plan::read(&read(&folder().join(&note.plan)), "plan").unwrap();
    let kit = Kit::read(&read(&folder().join(&note.kit)), "kit").unwrap();
    let mut watch = Watch::new(&plan, &kit, Phrases::default()).unwrap();
    let mut intake = Intake::new(&kit);
    let mut out = String::new();
    let mut tell = |watch: &mut Watch, at: Mono, input: &Input| {
        for output in watch.step(at, input) {
            let line = match output {
                Output::Finding(finding) => serde_json::to_string(finding).unwrap(),
                Output::Call(call) => serde_json::to_string(call).unwrap(),
                Output::HandOver(_) | Output::Reply { .. } => continue,
            };
            out += &line;
            out.push('\n');
        }
    };
    let mut last = Mono(0);
    for line in read(trace).lines() {
        let line = TraceLine::parse(line).unwrap();
        last = line.t_ms;
        while let Some(due) = watch.deadline().filter(|d| *d < line.t_ms) {
            tell(&mut watch, due, &Input::Tick);
        }
        for input in intake.take(&line).inputs {
            tell(&mut watch, line.t_ms, &input);
        }
    }
    // What the last line brought.
    tell(&mut watch, last, &Input::Tick);
    out
}

#[test]
fn what_is_told_of_the_kept_traces_stays_as_it_was() {
    let mut traces: Vec<PathBuf> = std::fs::read_dir(folder()).unwrap().map(|e| e.unwrap().path()).collect();
    traces.retain(|p| p.extension().is_some_and(|e| e == "jsonl"));
    traces.sort();
    assert!(!traces.is_empty());
    for trace in traces {
        let (kept, now) = (trace.with_extension("out"), told(&trace));
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            std::fs::write(&kept, &now).unwrap();
            continue;
        }
        let was = read(&kept);
        let differs = was.lines().zip(now.lines()).position(|(a, b)| a != b).unwrap_or(was.lines().count().min(now.lines().count()));
        assert!(
            was == now,
            "{} line {}:\n was {}\n now {}",
            kept.display(),
            differs + 1,
            was.lines().nth(differs).unwrap_or("(nothing more)"),
            now.lines().nth(differs).unwrap_or("(nothing more)")
        );
    }
}
