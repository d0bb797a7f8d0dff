//! Counted turns: on a rig that shakes as rigs do, the desk says who cranks how much next, and who has cranked too far cranks less.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_tests::drive::drive;
use raisewatch_tests::scenario::Scenario;
use raisewatch_tests::watcher::Nobody;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::Watch;
use std::path::Path;

/// The turns of each tower that stand on the desk `at_s` seconds into one seed of a scenario.
fn advised(id: &str, seed: u64, at_s: f64) -> Option<Vec<f64>> {
    let scenario = Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap();
    let mut watch = Watch::new(&scenario.plan, &scenario.kit, Phrases::default()).unwrap();
    let mut intake = Intake::new(&scenario.kit);
    for line in drive(&scenario, seed, &mut Nobody, true).unwrap().lines {
        if line.t_ms.s() > at_s {
            break;
        }
        while let Some(due) = watch.deadline().filter(|due| *due < line.t_ms) {
            watch.step(due, &Input::Tick);
        }
        for input in intake.take(&line).inputs {
            watch.step(line.t_ms, &input);
        }
    }
    watch.view().next_turns.map(|next| next.towers.iter().map(|t| t.turns).collect())
}

#[test]
fn who_has_gained_a_quarter_of_a_turn_cranks_less_on_the_next_count() {
    let (mut before, mut less) = (0, 0);
    for seed in 1..=10 {
        // After the first count B is 6 mm above the line of A and C: within its limit, and nothing is said.
        before += u64::from(advised("51", seed, 7.5).is_some());
        let after = advised("51", seed, 11.5);
        assert!(after.as_ref().is_none_or(|t| t[1] <= t[0] && t[1] <= t[2]), "seed {seed}: B is the high one: {after:?}");
        less += u64::from(after.is_some_and(|t| t[1] < t[0] && t[1] < t[2]));
    }
    assert!(before >= 9 && less >= 8, "advised before in {before} of 10, B less after in {less} of 10");
}
