//! Looking ahead speaks earlier, never more often: the same readings to a watch that looks ahead and to one that does not.
//!
//! Nobody obeys: a word that is obeyed makes another lift of it, and then what is counted is no longer the same.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::TraceLine;
use raisewatch_protocol::words::{CallState, Kind, Word};
use raisewatch_tests::drive::drive;
use raisewatch_tests::scenario::Scenario;
use raisewatch_tests::vary::vary;
use raisewatch_tests::watcher::{Nobody, Told, Watcher, Watching};
use std::path::Path;

/// How many words the spotter heard, and when the first about the level came, s.
fn words(scenario: &Scenario, lines: &[TraceLine], ahead: bool) -> (usize, Option<f64>) {
    let make = if ahead { Watching::new } else { Watching::plain };
    let mut watcher = make(&scenario.plan, &scenario.kit).unwrap();
    let mut intake = Intake::new(&scenario.kit);
    let mut spoken: Vec<Call> = Vec::new();
    let mut hear = |told: Vec<Told>| {
        spoken.extend(told.into_iter().filter_map(|one| match one {
            Told::Call(call) if call.to == "spotter" && call.state == CallState::Said => Some(call),
            _ => None,
        }));
    };
    for line in lines {
        while let Some(due) = watcher.deadline().filter(|due| *due < line.t_ms) {
            hear(watcher.step(due, &Input::Tick));
        }
        for input in intake.take(line).inputs {
            hear(watcher.step(line.t_ms, &input));
        }
    }
    spoken.retain(|call| !matches!(call.call, Word::Level | Word::None));
    (spoken.len(), spoken.iter().find(|c| c.reason == Some(Kind::Uneven)).map(|c| c.t_ms.s()))
}

#[test]
fn it_speaks_earlier_and_never_more_often() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let (mut all, mut sooner_s, mut both) = ([0; 2], 0.0, 0);
    // Those in which two heads part slowly, suddenly, while lowering, and those that are to stay quiet; every other seed is another
    // lift after the same pattern.
    for (id, seeds) in [("01", 8), ("02", 4), ("03", 4), ("17", 6), ("20", 6), ("34", 2), ("36", 2)] {
        let listed = Scenario::read(&folder.join(format!("{id}.toml"))).unwrap();
        let mut own = [0; 2];
        for seed in 1..=seeds {
            let scenario = if seed % 2 == 0 { vary(&listed, seed).unwrap() } else { listed.clone() };
            let lines = drive(&scenario, seed, &mut Nobody, true).unwrap().lines;
            let (with, first) = words(&scenario, &lines, true);
            let (without, plain) = words(&scenario, &lines, false);
            own = [own[0] + with, own[1] + without];
            if let Some((first, plain)) = first.zip(plain) {
                assert!(first <= plain, "scenario {id}, seed {seed}: first told at {first} s, without look-ahead at {plain} s");
                sooner_s += plain - first;
                both += 1;
            }
        }
        println!("{id}: {} words with look-ahead, {} without", own[0], own[1]);
        assert!(own[0] <= own[1], "scenario {id}: {} words with look-ahead, {} without", own[0], own[1]);
        all = [all[0] + own[0], all[1] + own[1]];
    }
    println!("{} and {}; sooner by {:.3} s in the mean of {both}", all[0], all[1], sooner_s / f64::from(both));
    assert!(all[1] > 0 && both > 0, "the level was told at all");
    assert!(sooner_s > 0.0, "it speaks earlier");
}
