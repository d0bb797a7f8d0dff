//! Looking ahead speaks earlier, never more often: the same lifts with a crew that obeys, once with look-ahead and once without.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use raisewatch_protocol::words::{CallState, Kind, Word};
use raisewatch_tests::drive::drive;
use raisewatch_tests::scenario::Scenario;
use raisewatch_tests::watcher::{Told, Watching};
use std::path::Path;

/// How many words the spotter heard, and when the first about the level came, s.
fn words(scenario: &Scenario, seed: u64, ahead: bool) -> (usize, Option<f64>) {
    let make = if ahead { Watching::new } else { Watching::plain };
    let mut watcher = make(&scenario.plan, &scenario.kit).unwrap();
    let run = drive(scenario, seed, &mut watcher, false).unwrap();
    let spoken = run.told.iter().filter_map(|told| match told {
        Told::Call(call) => Some(call),
        Told::Finding(_) => None,
    });
    let spoken: Vec<_> =
        spoken.filter(|c| c.to == "spotter" && c.state == CallState::Said && !matches!(c.call, Word::Level | Word::None)).collect();
    (spoken.len(), spoken.iter().find(|c| c.reason == Some(Kind::Uneven)).map(|c| c.t_ms.s()))
}

#[test]
fn it_speaks_earlier_and_never_more_often() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let (mut all, mut sooner_s, mut both) = ([0; 2], 0.0, 0);
    // Those in which two heads part, slowly, suddenly, while lowering, and those that are to stay quiet.
    for id in ["01", "02", "02b", "03", "17", "20", "34", "36"] {
        let scenario = Scenario::read(&folder.join(format!("{id}.toml"))).unwrap();
        let mut own = [0; 2];
        for seed in 1..=4 {
            let (with, first) = words(&scenario, seed, true);
            let (without, plain) = words(&scenario, seed, false);
            own[0] += with;
            own[1] += without;
            if let Some((first, plain)) = first.zip(plain) {
                sooner_s += plain - first;
                both += 1;
            }
        }
        println!("{id}: {} words with look-ahead, {} without", own[0], own[1]);
        all = [all[0] + own[0], all[1] + own[1]];
    }
    println!("{} and {}; sooner by {:.2} s in the mean of {both}", all[0], all[1], sooner_s / f64::from(both));
    assert!(all[1] > 0 && both > 0, "the level was told at all");
    assert!(all[0] <= all[1], "{} words with look-ahead, {} without", all[0], all[1]);
    assert!(sooner_s > 0.0, "it speaks earlier");
}
