//! `raisewatch rehearse` whole: simulator, broker, watch, recording; one operator too fast, the right tower called.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_tests::program::Program;
use serde_json::Value;

/// The demo, headless; what it printed, as objects.
fn rehearsed(more: &[&str]) -> (tempfile::TempDir, Program, Vec<Value>) {
    let folder = tempfile::tempdir().unwrap();
    let mut args = vec!["rehearse", "--headless", "--listen", "127.0.0.1:0", "--lines", "json"];
    args.extend(more);
    let mut run = Program::raisewatch(folder.path(), &args).unwrap();
    let ended = run.ended().unwrap();
    assert_eq!(ended.code(), Some(0), "{}", run.said.join("\n"));
    let lines = run.said.iter().filter_map(|line| line.strip_prefix("out {")).map(|line| format!("{{{line}"));
    let objects = lines.map(|line| serde_json::from_str(&line).unwrap()).collect();
    (folder, run, objects)
}

#[test]
fn the_demo_calls_the_tower_that_is_too_fast_and_lands_level() {
    let (folder, run, said) = rehearsed(&["--speed", "8"]);
    let calls: Vec<&Value> = said.iter().filter(|line| line["call"].is_string() && line["to"] == "spotter").collect();
    let holds: Vec<&Value> = calls.iter().copied().filter(|call| call["call"] == "hold").collect();
    assert!(!holds.is_empty(), "{}", run.said.join("\n"));
    for hold in &holds {
        assert_eq!(hold["tower"], "B", "the demo's Birch is the one who gets ahead: {hold}");
    }
    assert!(!said.iter().any(|line| line["severity"] == "stop" || line["call"] == "stop"), "{}", run.said.join("\n"));
    // The crew obeyed: what was raised is cleared, and the last word is calm.
    let last = calls.last().unwrap();
    assert!(last["call"] == "level" || last["state"] == "over", "{last}");
    let path = run.has_said(&["recording ", ".mcap"]).unwrap().rsplit(' ').next().unwrap();
    assert!(std::fs::metadata(folder.path().join(path)).unwrap().len() > 10_000);
    assert!(run.has_said(&["page spotter http://127.0.0.1:"]).is_some());
}

#[test]
fn a_recording_replayed_says_what_the_lift_said_to_the_byte() {
    let (folder, run, said) = rehearsed(&["--speed", "12", "--seed", "4"]);
    let lines: Vec<&str> = run.said.iter().filter_map(|line| line.strip_prefix("out ")).collect();
    assert_eq!(lines.len(), said.len(), "standard output holds findings and calls alone");
    let path = run.has_said(&["recording ", ".mcap"]).unwrap().rsplit(' ').next().unwrap();
    let mut replay = Program::raisewatch(folder.path(), &["replay", path, "--findings", "again.jsonl"]).unwrap();
    assert_eq!(replay.ended().unwrap().code(), Some(0), "{:?}", replay.said);
    let again = std::fs::read_to_string(folder.path().join("again.jsonl")).unwrap();
    assert_eq!(again.lines().collect::<Vec<_>>(), lines);
}

#[test]
fn a_rehearsal_that_is_stopped_ends_cleanly() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Program::raisewatch(folder.path(), &["rehearse", "--listen", "127.0.0.1:0"]).unwrap();
    run.says(&["out page view http://127.0.0.1:"]).unwrap();
    run.signal("INT").unwrap();
    assert_eq!(run.ended().unwrap().code(), Some(0), "{:?}", run.said);
    assert!(run.has_said(&["out ", "call", "Not zeroed."]).is_some() && run.has_said(&["out recording ", ".mcap"]).is_some());
}
