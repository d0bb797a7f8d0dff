//! `raisewatch rehearse` whole: simulator, broker, watch, recording; one operator too fast, the right tower called.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_tests::program::{Program, repository};
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

/// What a recording keeps on a channel.
fn kept(file: &std::path::Path, channel: &str) -> Vec<Value> {
    let bytes = std::fs::read(file).unwrap();
    let all = mcap::MessageStream::new(&bytes).unwrap().map(Result::unwrap);
    all.filter(|message| message.channel.topic == channel).map(|message| serde_json::from_slice(&message.data).unwrap()).collect()
}

/// Rigging: hands on the truss, then two things of the plan go on to it and another lead takes over. The views, which the desk
/// draws and the recording keeps, hold the offers; the plan that is watched stays as it was.
#[test]
fn what_is_hung_is_offered_to_the_desk_and_recorded_and_changes_nothing() {
    const SCRIPT: &str = r#"
wall = "2031-05-14T14:00:00Z"
noise = "n1"
end = "120 s"
start = { step = "rig", height = "1.2 m", bare = true }
real = { rise-spread = 0.0 }
[[act]]
do = "zero"
what = "loads"
at = "5 s"
[[act]]
do = "hang"
over = "5 s"
after = "1 s"
[[act]]
do = "zero"
what = "tilts"
after = "6 s"
[[act]]
do = "say"
said = "hand-over"
by = "lead"
at = "110 s"
[[fault]]
kind = "hands"
at = ["3 m", "7 m"]
force = ["30 lb", "60 lb"]
lasts = ["1 s", "8 s"]
pause = "5 s"
begins = "22 s"
for = "12 s"
[[fault]]
kind = "weight"
at = "2.5 m"
weight = "25.6 kg"
begins = "50 s"
[[fault]]
kind = "weight"
at = "6.2 m"
weight = "10.4 kg"
begins = "80 s"
"#;
    let scripts = tempfile::tempdir().unwrap();
    let script = scripts.path().join("script.toml");
    std::fs::write(&script, SCRIPT).unwrap();
    // The simulated crew says its zeros over the broker inside the program.
    let kit = std::fs::read_to_string(repository("tests/scenarios/kits/p2.toml")).unwrap();
    let broker = kit.lines().map(|line| if line.starts_with("broker") { "own-broker = true\nsaid = true" } else { line });
    let own: Vec<&str> = broker.filter(|line| !line.starts_with("zero") && !line.starts_with("proved")).collect();
    let kit = scripts.path().join("kit.toml");
    std::fs::write(&kit, own.join("\n")).unwrap();
    let plan = repository("docs/examples/harbour-lane.toml");
    let [plan, kit, script] = [plan, kit, script].map(|path| path.display().to_string());
    let (folder, run, said) = rehearsed(&[&plan, "--kit", &kit, "--script", &script, "--speed", "8"]);
    let path = run.has_said(&["recording ", ".mcap"]).unwrap().rsplit(' ').next().unwrap();
    let views = kept(&folder.path().join(path), "view");
    let last = views.last().expect("views are kept");
    let hung = last["hung"].as_array().unwrap();
    let texts: Vec<&str> = hung.iter().filter_map(|offer| offer["text"].as_str()).collect();
    assert_eq!(hung.len(), 2, "{texts:?}");
    for (offer, (name, at_m, weight_n)) in hung.iter().zip([("spot", 2.5, 251.0), ("wash", 6.2, 102.0)]) {
        assert_eq!((&offer["items"][0]["name"], &offer["items"][0]["at_m"]), (&name.into(), &at_m.into()), "{offer}");
        assert!((offer["force_n"].as_f64().unwrap() - weight_n).abs() < 12.0, "{offer}");
    }
    // Nothing changes silently: planned shares are those of the first view, and no finding was made of what was hung.
    let planned = |view: &Value| view["towers"].as_array().unwrap().iter().map(|t| t["planned_n"].clone()).collect::<Vec<_>>();
    assert_eq!(planned(last), planned(&views[0]));
    assert!(!said.iter().any(|line| line["kind"] == "extra-weight"), "{}", run.said.join("\n"));
    // The state card: in every view, and kept whole as it was handed over.
    assert_eq!(last["hand_over"]["step"], "rig");
    let handed = kept(&folder.path().join(path), "hand-over");
    assert_eq!(handed.len(), 1);
    assert_eq!(handed[0]["read_back"].as_array().map(Vec::len), Some(3), "{}", handed[0]);
}
