//! `raisewatch replay` on traces written by hand: what comes out is what docs/forms.md says.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_tests::hand::{Hand, Seen};
use raisewatch_tests::program::{built, repository};
use serde_json::Value;
use std::process::Command;

/// Shares of the example plan at working height (worked example 1 of docs/method.md), N.
const PLANNED: [f64; 2] = [950.0, 982.0];

/// Runs the real program on the trace; gives the lines that it wrote and their bytes.
fn replay(name: &str, trace: &str) -> (Vec<Value>, String) {
    let dir = tempfile::tempdir().unwrap();
    let (input, out) = (dir.path().join(format!("{name}.jsonl")), dir.path().join("out.jsonl"));
    std::fs::write(&input, trace).unwrap();
    let ran = Command::new(built("raisewatch").unwrap())
        .arg("replay")
        .arg(&input)
        .arg("--plan")
        .arg(repository("docs/examples/harbour-lane.toml"))
        .arg("--kit")
        .arg(repository("docs/examples/harbour-lane.kit.toml"))
        .arg("--findings")
        .arg(&out)
        .output()
        .unwrap();
    assert!(ran.status.success(), "{name}: {}\n{}", ran.status, String::from_utf8_lossy(&ran.stderr));
    let bytes = std::fs::read_to_string(&out).unwrap();
    (bytes.lines().map(|line| serde_json::from_str(line).unwrap()).collect(), bytes)
}

fn is(line: &Value, key: &str, value: &str) -> bool {
    line[key].as_str() == Some(value)
}

fn findings<'a>(lines: &'a [Value], kind: &str) -> Vec<&'a Value> {
    lines.iter().filter(|l| is(l, "kind", kind)).collect()
}

fn calls<'a>(lines: &'a [Value], word: &str, to: &str) -> Vec<&'a Value> {
    lines.iter().filter(|l| is(l, "call", word) && is(l, "to", to)).collect()
}

fn at(line: &Value) -> f64 {
    line["t_ms"].as_f64().unwrap() / 1000.0
}

/// Rigged, proved, in `raise`; gives the time at which raising begins.
fn raising() -> Hand {
    let mut hand = Hand::new(6000.0);
    hand.rigged(PLANNED);
    hand.proved(PLANNED, [1.0, 1.0]);
    hand.say(r#""step":"raise","by":"lead""#);
    hand.run(3.0, |_| Seen::level(PLANNED));
    hand
}

/// B high by so many mm.
fn b_high(mm: f64) -> Seen {
    Seen { heads_mm: [0.0, mm], ..Seen::level(PLANNED) }
}

#[test]
fn a_good_lift_raises_no_word() {
    let mut hand = raising();
    hand.run(30.0, |t| b_high(15.0 * (t / 3.0).sin()));
    let (lines, _) = replay("good", &hand.text);
    let loud: Vec<_> = lines.iter().filter(|l| ["hold", "stop", "up", "down", "easy"].iter().any(|w| is(l, "call", w))).collect();
    assert!(loud.is_empty(), "{loud:#?}");
    let grave: Vec<_> = lines.iter().filter(|l| is(l, "severity", "warn") || is(l, "severity", "stop")).collect();
    assert!(grave.is_empty(), "{grave:#?}");
    assert!(!calls(&lines, "level", "spotter").is_empty(), "zeroed and proved: level is claimed");
}

#[test]
fn until_zero_is_said_no_level_is_claimed() {
    let mut hand = Hand::new(6000.0);
    hand.say(r#""step":"rig","by":"lead""#);
    hand.run(10.0, |_| Seen::level(PLANNED));
    let (lines, _) = replay("unzeroed", &hand.text);
    assert!(calls(&lines, "level", "spotter").is_empty(), "{lines:#?}");
    let none = calls(&lines, "none", "spotter");
    assert!(none.iter().any(|c| c["text"].as_str().is_some_and(|t| t.contains("Not zeroed"))), "{lines:#?}");
}

#[test]
fn until_each_tower_has_turned_no_level_is_claimed() {
    let mut hand = Hand::new(6000.0);
    hand.rigged(PLANNED);
    hand.say(r#""step":"test-lift","by":"lead""#);
    hand.run(10.0, |_| Seen::level(PLANNED));
    let (lines, _) = replay("unproved", &hand.text);
    assert!(calls(&lines, "level", "spotter").is_empty(), "{lines:#?}");
    let none = calls(&lines, "none", "spotter");
    assert!(none.iter().any(|c| c["text"].as_str().is_some_and(|t| t.contains("Not proved"))), "{lines:#?}");
}

#[test]
fn the_high_head_holds_and_the_other_comes_up() {
    let mut hand = raising();
    let begin = hand.t_ms / 1000.0;
    hand.run(15.0, |t| b_high(4.0 * t)); // 50 mm after 12.5 s, 60 mm at the end
    let (lines, _) = replay("uneven", &hand.text);
    let uneven = findings(&lines, "uneven");
    let first = uneven.first().expect("uneven is raised");
    assert!(
        is(first, "tower", "B") && is(first, "severity", "warn") && is(first, "state", "raised") && is(first, "to", "crew"),
        "{first:#}"
    );
    assert_eq!((first["unit"].as_str(), first["id"].as_str()), (Some("mm"), Some("uneven-B-1")));
    let late = at(first) - (begin + 12.5);
    assert!((-0.6..=2.0).contains(&late), "raised {late} s after the true crossing");
    let amount = first["amount"].as_f64().unwrap();
    assert!((45.0..=60.0).contains(&amount), "{amount} mm, + high");
    let hold = calls(&lines, "hold", "spotter");
    let hold = hold.first().expect("hold is said to the spotter");
    assert!(is(hold, "tower", "B") && is(hold, "reason", "uneven") && is(hold, "state", "said"), "{hold:#}");
    assert_eq!(hold["level_through"], serde_json::json!(["A"]), "raising: the line goes through the lowest head");
    let then = &hold["then"][0];
    assert!(is(then, "tower", "A") && is(then, "call", "up") && then["turns"] == 2.0, "{then:#}");
    assert!(!calls(&lines, "hold", "B").is_empty() && !calls(&lines, "up", "A").is_empty(), "each tower gets its own word");
    assert!(findings(&lines, "off-plan").is_empty(), "loads stood still: one cause, one finding");
}

#[test]
fn past_the_stop_limit_it_stops_without_amount_or_direction_and_stays_until_released() {
    let mut hand = raising();
    hand.run(12.0, |t| b_high(10.0 * t)); // 120 mm
    hand.run(5.0, |t| b_high(120.0 - 24.0 * t));
    hand.run(8.0, |_| b_high(0.0));
    let (lines, _) = replay("stop", &hand.text);
    let stops = calls(&lines, "stop", "spotter");
    assert!(stops.iter().any(|c| is(c, "state", "repeated")), "a stop is said again");
    for c in &stops {
        assert!(c["turns"].is_null() && c.get("then").is_none(), "{c:#}");
    }
    let last = *findings(&lines, "uneven").last().unwrap();
    assert!(is(last, "state", "latched"), "a stop that is gone waits for the lead: {last:#}");
    let (release_seen, _) = {
        let id = last["id"].as_str().unwrap().to_owned();
        hand.say(&format!(r#""said":"seen","finding":"{id}","by":"lead""#));
        hand.run(1.0, |_| b_high(0.0));
        hand.say(&format!(r#""said":"release","finding":"{id}","by":"lead""#));
        hand.run(2.0, |_| b_high(0.0));
        replay("released", &hand.text)
    };
    let last = *findings(&release_seen, "uneven").last().unwrap();
    assert!(is(last, "state", "cleared"), "{last:#}");
}

#[test]
fn a_node_that_falls_silent_while_raising_is_a_stop_within_a_second() {
    let mut hand = raising();
    let begin = hand.t_ms / 1000.0;
    hand.run(4.0, |_| Seen { heard: [true, false], ..Seen::level(PLANNED) });
    let (lines, _) = replay("silent", &hand.text);
    let silent = findings(&lines, "silent");
    let first = silent.first().expect("silence is told");
    assert!(is(first, "tower", "B") && is(first, "severity", "stop"), "{first:#}");
    assert!((0.9..=1.1).contains(&(at(first) - begin)), "{} s after its last reading", at(first) - begin);
    for to in ["spotter", "lead", "A", "B"] {
        assert!(!calls(&lines, "stop", to).is_empty(), "stop reaches {to}");
    }
    let after: Vec<_> = calls(&lines, "level", "spotter").into_iter().filter(|c| at(c) > begin + 1.0 && !is(c, "state", "over")).collect();
    assert!(after.is_empty(), "blind is never level: {after:#?}");
}

#[test]
fn the_same_silence_in_rig_is_no_stop() {
    let mut hand = Hand::new(6000.0);
    hand.rigged(PLANNED);
    hand.run(20.0, |_| Seen { heard: [true, false], ..Seen::level(PLANNED) });
    let (lines, _) = replay("rig-silent", &hand.text);
    assert!(findings(&lines, "silent").iter().all(|f| !is(f, "severity", "stop")), "{lines:#?}");
    assert!(calls(&lines, "stop", "spotter").is_empty());
}

#[test]
fn a_tower_over_its_rating_stops_the_lift() {
    let mut hand = raising();
    let begin = hand.t_ms / 1000.0;
    // 500 lb is 2,224 N; the pull grows to 2,400 N on B within a second.
    hand.run(4.0, |t| Seen::level([950.0, 982.0 + 1418.0 * t.min(1.0)]));
    let (lines, _) = replay("overload", &hand.text);
    let over: Vec<_> = findings(&lines, "overload").into_iter().filter(|f| is(f, "severity", "stop")).collect();
    let stopped = calls(&lines, "stop", "spotter");
    assert!(!stopped.is_empty() && at(stopped[0]) - begin < 2.0, "stop within two seconds: {lines:#?}");
    assert!(over.iter().all(|f| is(f, "tower", "B") && is(f, "unit", "N")), "{over:#?}");
}

#[test]
fn a_mast_that_leans_is_told_by_its_tower() {
    let mut hand = raising();
    hand.run(12.0, |t| Seen { lean_deg: [0.0, 0.1 * t.min(7.0)], ..Seen::level(PLANNED) });
    let (lines, _) = replay("lean", &hand.text);
    let lean = findings(&lines, "lean");
    assert!(lean.iter().any(|f| is(f, "tower", "B") && is(f, "severity", "warn")), "0.3 degrees: {lines:#?}");
    assert!(lean.iter().any(|f| is(f, "tower", "B") && is(f, "severity", "stop") && is(f, "unit", "deg")), "0.6 degrees: {lean:#?}");
    assert!(lean.iter().all(|f| !is(f, "tower", "A")));
}

#[test]
fn more_than_planned_is_told_at_the_test_lift() {
    let mut hand = Hand::new(6000.0);
    let heavier = [1022.0, 1192.0]; // worked example 5: 28.8 kg more, 4.47 m from A
    hand.rigged(heavier);
    hand.proved(heavier, [1.0, 1.0]);
    let (lines, _) = replay("heavier", &hand.text);
    let told: Vec<_> = lines.iter().filter(|l| is(l, "kind", "off-plan") || is(l, "kind", "extra-weight")).collect();
    assert!(!told.is_empty(), "{lines:#?}");
    assert!(told.iter().all(|f| is(f, "to", "lead")), "a still test lift: the lead's: {told:#?}");
}

#[test]
fn instruments_mounted_backwards_or_exchanged_are_told_before_any_level() {
    let mut hand = Hand::new(6000.0);
    hand.rigged(PLANNED);
    hand.proved(PLANNED, [-1.0, -1.0]);
    let (lines, _) = replay("backwards", &hand.text);
    let told: Vec<_> = lines.iter().filter(|l| is(l, "kind", "backwards") || is(l, "kind", "swapped")).collect();
    assert!(!told.is_empty(), "{lines:#?}");
    assert!(calls(&lines, "level", "spotter").is_empty(), "no level is claimed");
}

#[test]
fn a_person_says_stop_and_the_lead_alone_releases_it() {
    let mut hand = raising();
    hand.say(r#""said":"stop","by":"Mara""#);
    hand.run(3.0, |_| Seen::level(PLANNED));
    hand.say(r#""said":"release","by":"lead""#);
    hand.run(3.0, |_| Seen::level(PLANNED));
    let (lines, _) = replay("stop-said", &hand.text);
    let said = findings(&lines, "stop-said");
    assert!(is(said[0], "severity", "stop") && said[0]["amount"].is_null(), "{:#}", said[0]);
    assert!(is(said.last().unwrap(), "state", "cleared"), "{said:#?}");
    let stops = calls(&lines, "stop", "A");
    assert!(!stops.is_empty() && is(stops.last().unwrap(), "state", "over"), "{stops:#?}");
}

#[test]
fn packets_may_be_cut_as_they_like_and_the_findings_are_the_same_to_the_byte() {
    let write = |split| {
        let mut hand = Hand::new(6000.0);
        hand.split = split;
        hand.rigged(PLANNED);
        hand.proved(PLANNED, [1.0, 1.0]);
        hand.say(r#""step":"raise","by":"lead""#);
        hand.run(15.0, |t| b_high(5.0 * t));
        hand.text
    };
    let (_, whole) = replay("whole", &write(false));
    let (_, again) = replay("again", &write(false));
    let (_, split) = replay("split", &write(true));
    assert!(!whole.is_empty());
    assert_eq!(whole, again);
    assert_eq!(whole, split);
}

#[test]
fn what_is_not_understood_never_becomes_a_number() {
    let bad = [
        r#""node":"n2","senml":[{"n":"truss-along","u":"furlong","v":1}]"#,
        r#""node":"n2","senml":[{"n":"truss-along","u":"rad","v":"0.1"}]"#,
        r#""node":"n2","senml":[{"bn":"n1/","n":"truss-along","u":"rad","v":0.5}]"#,
        r#""node":"n2","senml":{"tilt":0.5}"#,
        r#""node":"n9","senml":[{"n":"truss-along","u":"rad","v":0.5}]"#,
        r#""node":"n2","xdr":"$YXXDR,A,28.65,D,TA*00""#,
        r#""node":"n2","raw":"//79""#,
    ];
    let mut hand = raising();
    for line in bad.iter().cycle().take(70) {
        hand.say(line);
        hand.run(0.1, |_| Seen::level(PLANNED));
    }
    let (lines, _) = replay("bad", &hand.text);
    assert!(findings(&lines, "uneven").is_empty() && calls(&lines, "stop", "spotter").is_empty(), "{lines:#?}");
}
