//! Two causes at once, thirty-four times: one order at a time, the graver cause on top, the other kept or held under it, and never two
//! orders that contradict each other. Each pair of tests/pairs/pairs.toml is played by the simulator through the real watch, with a
//! crew that does not obey, so that both causes come to their full size.
//!
//! The thirty-four: uneven and drop-out, caught and frozen tilt, caught and drop-out, caught and one who stops, caught and knocked tilt,
//! uneven and knocked tilt, uneven and frozen tilt, slipping and drop-out, slipping and caught, stuck and drop-out, stuck and caught, end of
//! section and uneven, roll and uneven, joint and uneven, joint and frozen mast, portal and caught, sinking foot and uneven, sinking foot
//! and drop-out, overload and uneven, a person's stop and caught, and uneven, and drop-out, crossed rope and uneven, battery and caught,
//! clock and uneven, bypassed cell and caught, resting and drop-out, resting and uneven, slack and uneven, slack and drop-out, slipping
//! while lowering and frozen tilt, added weight and drop-out, leaning mast and added weight, wrong unit and drop-out.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::words::{CallState, Kind, LifeState, Word};
use raisewatch_simulator::Script;
use raisewatch_tests::drive::{self, Run};
use raisewatch_tests::scenario::{MustNot, Scenario};
use raisewatch_tests::watcher::{Told, Watching};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// All pairs, and how each kind of lift begins.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pairs {
    base: BTreeMap<String, toml::Table>,
    pair: Vec<Pair>,
}

/// One pair.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Pair {
    name: String,
    base: String,
    kit: String,
    fault: [toml::Table; 2],
    /// Why the order stands that the spotter has in the end; none where nothing is ordered.
    top: Vec<Kind>,
    /// Each of these was told as a finding: one kind of each list.
    told: Vec<Vec<Kind>>,
    /// None of these was: it is a consequence, or the other cause misread.
    #[serde(default)]
    never: Vec<Kind>,
}

fn folder() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn pairs() -> Pairs {
    toml::from_str(&std::fs::read_to_string(folder().join("pairs/pairs.toml")).unwrap()).unwrap()
}

fn scenario(pairs: &Pairs, pair: &Pair) -> Scenario {
    let mut script = pairs.base.get(&pair.base).unwrap_or_else(|| panic!("{}: no base {}", pair.name, pair.base)).clone();
    script.insert("fault".to_owned(), pair.fault.iter().cloned().map(toml::Value::Table).collect::<Vec<_>>().into());
    let script: Script = script.try_into().unwrap_or_else(|e| panic!("{}: {e}", pair.name));
    let read = |path: &str| std::fs::read_to_string(folder().join(path)).unwrap();
    let plan = raisewatch_protocol::plan::Plan::read(&read("../docs/examples/harbour-lane.toml"), "plan").unwrap();
    let kit = raisewatch_protocol::kit::Kit::read(&read(&format!("scenarios/kits/{}.toml", pair.kit)), "kit").unwrap();
    let (must, must_not, may) = (Vec::new(), MustNot::default(), Vec::new());
    Scenario { id: pair.name.clone(), title: pair.name.clone(), plan, kit, seeds: None, script, must, must_not, may }
}

fn calls(run: &Run) -> impl Iterator<Item = &Call> {
    run.told.iter().filter_map(|t| if let Told::Call(c) = t { Some(c) } else { None })
}

fn findings(run: &Run) -> impl Iterator<Item = &Finding> {
    run.told.iter().filter_map(|t| if let Told::Finding(f) = t { Some(f) } else { None })
}

fn is_order(word: Word) -> bool {
    !matches!(word, Word::None | Word::Level)
}

/// What each recipient has been told last.
type Standing = BTreeMap<String, Call>;

/// Follows all calls: at most one order a recipient, none that contradicts another. Gives what stands in the end.
fn follow(run: &Run, wrong: &mut Vec<String>) -> Standing {
    let mut standing = Standing::new();
    let all: Vec<&Call> = calls(run).collect();
    for (at, call) in all.iter().enumerate() {
        let before = standing.get(&call.to).filter(|c| is_order(c.call));
        match call.state {
            CallState::Said => {
                if let Some(before) = before {
                    wrong.push(format!("{:.2} s: {} is told {} while {} stands", call.t_ms.s(), call.to, call.call, before.call));
                }
                standing.insert(call.to.clone(), (*call).clone());
            }
            CallState::Repeated if before.is_none_or(|b| b.id != call.id) => {
                wrong.push(format!("{:.2} s: {} is told {} again, which does not stand", call.t_ms.s(), call.to, call.call));
            }
            CallState::Repeated => {}
            CallState::Over => {
                standing.remove(&call.to);
            }
        }
        // What is told at one moment belongs together.
        if all.get(at + 1).is_none_or(|next| next.t_ms != call.t_ms) {
            agree(&standing, call.t_ms.s(), wrong);
        }
    }
    standing
}

/// Whether what stands for all recipients is one order.
fn agree(standing: &Standing, at_s: f64, wrong: &mut Vec<String>) {
    let Some(spotter) = standing.get("spotter") else { return };
    let crew = || standing.values().filter(|c| c.to != "lead");
    let stops = crew().filter(|c| c.call == Word::Stop).count();
    if stops != 0 && (stops != crew().count() || crew().any(|c| c.finding != spotter.finding)) {
        wrong.push(format!("{at_s:.2} s: a stop for some and not for all"));
    }
    if stops != 0 && standing.get("lead").is_some_and(|c| c.call != Word::Stop) {
        wrong.push(format!("{at_s:.2} s: the crew is stopped and the lead is told {}", standing["lead"].call));
    }
    let turned = |word: Word| crew().any(|c| c.call == word);
    if turned(Word::Up) && turned(Word::Down) {
        wrong.push(format!("{at_s:.2} s: up and down at once"));
    }
    if (turned(Word::Up) || turned(Word::Down)) && spotter.call != Word::Hold {
        wrong.push(format!("{at_s:.2} s: a direction without a hold"));
    }
    if crew().any(|c| c.call == Word::Stop && (c.turns.is_some() || !c.then.is_empty())) {
        wrong.push(format!("{at_s:.2} s: a stop with a direction"));
    }
}

fn kinds(list: &[Kind]) -> String {
    list.iter().map(|k| k.word()).collect::<Vec<_>>().join(" or ")
}

fn check(pairs: &Pairs, pair: &Pair, seed: u64) -> Vec<String> {
    let scenario = scenario(pairs, pair);
    let mut watching = Watching::new(&scenario.plan, &scenario.kit).unwrap();
    let run = drive::drive(&scenario, seed, &mut watching, false).unwrap();
    let mut wrong = Vec::new();
    let standing = follow(&run, &mut wrong);
    let order = standing.get("spotter").filter(|c| is_order(c.call));
    let reason = order.and_then(|c| c.reason);
    if reason.map_or(!pair.top.is_empty(), |r| !pair.top.contains(&r)) {
        wrong.push(format!("in the end the order is for {}, expected {}", reason.map_or("nothing", Kind::word), kinds(&pair.top)));
    }
    let raised = |k: &Kind| findings(&run).any(|f| f.kind == *k && f.state == LifeState::Raised);
    for any in &pair.told {
        if !any.iter().any(raised) {
            wrong.push(format!("never told: {}", kinds(any)));
        }
    }
    wrong.extend(pair.never.iter().filter(|k| raised(k)).map(|k| format!("told: {k}")));
    if !wrong.is_empty() {
        let told = findings(&run).filter(|f| f.state == LifeState::Raised && !f.change);
        let told = told.map(|f| format!("{:.1} s {} {} {}", f.t_ms.s(), f.kind, f.severity, f.tower.as_deref().unwrap_or("all")));
        wrong.push(format!("findings: {}", told.collect::<Vec<_>>().join(", ")));
    }
    wrong
}

#[test]
fn of_two_causes_the_graver_is_ordered_and_the_other_is_kept() {
    let pairs = pairs();
    assert_eq!(pairs.pair.len(), 34);
    let seeds = [1, 2, 3];
    let failed = std::thread::scope(|scope| {
        let halves: Vec<_> = pairs
            .pair
            .chunks(17)
            .map(|half| scope.spawn(|| half.iter().flat_map(|p| of_pair(&pairs, p, &seeds)).collect::<Vec<_>>()))
            .collect();
        halves.into_iter().flat_map(|h| h.join().unwrap()).collect::<Vec<_>>()
    });
    assert!(failed.is_empty(), "{} runs:\n{}", failed.len(), failed.join("\n"));
}

fn of_pair(pairs: &Pairs, pair: &Pair, seeds: &[u64]) -> Vec<String> {
    let told = |seed: &u64| {
        let wrong = check(pairs, pair, *seed);
        (!wrong.is_empty()).then(|| format!("{} (seed {seed}):\n  {}", pair.name, wrong.join("\n  ")))
    };
    seeds.iter().filter_map(told).collect()
}
