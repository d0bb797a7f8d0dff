//! An end of three in line that goes ahead bends the truss as a middle that lags would: nobody may be sent the wrong way.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use raisewatch_protocol::told::Call;
use raisewatch_protocol::words::{CallState, Kind, Word};
use raisewatch_tests::drive::drive;
use raisewatch_tests::scenario::Scenario;
use raisewatch_tests::watcher::{Told, Watching};
use std::path::Path;

/// What the spotter was told about the level in one seed of a scenario, orders alone.
fn told(id: &str, seed: u64) -> Vec<Call> {
    let scenario = Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap();
    let mut watcher = Watching::new(&scenario.plan, &scenario.kit).unwrap();
    let run = drive(&scenario, seed, &mut watcher, false).unwrap();
    let level = |told: Told| match told {
        Told::Call(call) if call.to == "spotter" && call.state == CallState::Said && call.reason == Some(Kind::Uneven) => Some(call),
        _ => None,
    };
    run.told.into_iter().filter_map(level).collect()
}

/// Whom an order takes for the odd head: the one that is named, or the one that is to move while all others hold.
fn blamed(call: &Call) -> Option<&str> {
    call.tower.as_deref().or_else(|| call.then.first().map(|beside| beside.tower.as_str()))
}

/// Plays `seeds` seeds: no order blames another head than `odd`; gives in how many it was blamed.
fn blamed_rightly(id: &str, odd: &str, seeds: u64) -> u64 {
    let mut named = 0;
    for seed in 1..=seeds {
        let orders = told(id, seed);
        assert!(!orders.is_empty(), "scenario {id}, seed {seed}: nothing told");
        for call in &orders {
            assert!(matches!(call.call, Word::Hold | Word::Stop), "scenario {id}, seed {seed}: {}", call.text);
            assert!(blamed(call).is_none_or(|who| who == odd), "scenario {id}, seed {seed}: {} at {} s", call.text, call.t_ms.s());
        }
        named += u64::from(orders.iter().any(|call| blamed(call) == Some(odd)));
    }
    named
}

#[test]
fn an_end_that_goes_ahead_is_not_taken_for_the_middle() {
    for (id, odd) in [("50a", "A"), ("50c", "C")] {
        let named = blamed_rightly(id, odd, 10);
        assert!(named >= 6, "scenario {id}: {odd} named in {named} of 10");
    }
}

#[test]
fn the_middle_of_three_and_the_end_of_four_are_never_taken_for_others() {
    // Who gains a quarter of a turn on each count may stay unnamed: all hold, and all stop.
    for (id, odd) in [("51", "B"), ("52", "A")] {
        blamed_rightly(id, odd, 6);
    }
}
