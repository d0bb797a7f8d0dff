//! A step of the watch that has nothing new to tell takes no memory: what it needs was taken at the start. The one thing that
//! takes some is to solve the statics anew, where the heads have come so much higher that the tails weigh more.

#![allow(clippy::unwrap_used)] // a test, its helpers too

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::words::Word;
use raisewatch_simulator::Lift;
use raisewatch_tests::scenario::Scenario;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::{Output, Watch};
use std::path::Path;

/// Windows of tens of seconds, and what is learnt from them, are full by then.
const WARM_S: f64 = 40.0;

/// The statics are solved anew for every so much of height, m.
const SOLVED_EVERY_M: f64 = 0.2;

/// How many steps there were after the warm-up, and which of those that told nothing took memory: time and how often.
fn steady(plan: &str, kit: &str, step: &str, to_s: f64) -> (usize, Vec<(Mono, u64)>) {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut scenario = Scenario::read(&dir.join(format!("{plan}.toml"))).unwrap();
    scenario.kit = Scenario::read(&dir.join(format!("{kit}.toml"))).unwrap().kit;
    scenario.script = raisewatch_simulator::Script::read(
        &format!(
            "noise = \"n1\"\nwall = \"2031-05-14T14:00:00Z\"\nend = \"{to_s} s\"\nstart = {{ step = \"{step}\", height = \"1.5 m\" }}\n\
             real = {{ rise-spread = 0.0 }}\n\
             crew = {{ jitter = 0.005 }}\n[[act]]\ndo = \"crank\"\nto = \"4.9 m\"\n"
        ),
        "steady",
    )
    .unwrap();
    if step == "stand" {
        scenario.script.act.clear();
    }
    let mut lift = Lift::new(&scenario.plan, &scenario.kit, &scenario.script, 5).unwrap();
    let mut intake = Intake::new(&scenario.kit);
    let mut watch = Watch::new(&scenario.plan, &scenario.kit, Phrases::default()).unwrap();
    let (mut steps, mut took) = (0, Vec::new());
    while !lift.over() {
        for line in lift.advance(lift.now() + Span::ms(20)) {
            for input in intake.take(&line).inputs {
                let mut told = 0;
                let counted = allocation_counter::measure(|| told = watch.step(line.t_ms, &input).len());
                if line.t_ms.s() > WARM_S && told == 0 && matches!(input, Input::Packet(_)) {
                    steps += 1;
                    if counted.count_total > 0 {
                        took.push((line.t_ms, counted.count_total));
                    }
                }
            }
        }
    }
    (steps, took)
}

#[test]
fn a_quiet_step_takes_no_memory() {
    for (plan, kit, step) in
        [("01", "01", "raise"), ("07", "07", "raise"), ("01", "01", "stand"), ("12", "12", "raise"), ("13", "13", "raise")]
    {
        let (steps, took) = steady(plan, kit, step, 100.0);
        assert!(steps > 1000, "{plan} {step}: only {steps} steps");
        let solved =
            if step == "raise" { (took.first().map_or(0.0, |t| 0.025 * (100.0 - t.0.s())) / SOLVED_EVERY_M) as usize + 1 } else { 0 };
        assert!(took.len() <= solved, "{plan} {step}: {} of {steps} steps took memory, first {:?}", took.len(), &took[..took.len().min(5)]);
    }
}

/// A scenario as it is, with a crew that hears nothing: while the order `word` stands for the crew, how many steps told nothing, and which
/// of those took memory. The first seconds of an order are not counted: what it stands on grows into its room then.
fn standing(name: &str, word: Word) -> (usize, Vec<(Mono, u64)>) {
    let scenario = Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{name}.toml"))).unwrap();
    let mut lift = Lift::new(&scenario.plan, &scenario.kit, &scenario.script, 5).unwrap();
    let mut intake = Intake::new(&scenario.kit);
    let mut watch = Watch::new(&scenario.plan, &scenario.kit, Phrases::default()).unwrap();
    let (mut since, mut steps, mut took) = (None, 0, Vec::new());
    while !lift.over() {
        for line in lift.advance(lift.now() + Span::ms(20)) {
            for input in intake.take(&line).inputs {
                let (mut told, mut said) = (0, None);
                let counted = allocation_counter::measure(|| {
                    let outputs = watch.step(line.t_ms, &input);
                    told = outputs.len();
                    said = outputs.iter().rev().find_map(|o| match o {
                        Output::Call(call) if call.to == "spotter" => Some(call.call),
                        _ => None,
                    });
                });
                if let Some(said) = said {
                    since = if said == word { since.or(Some(line.t_ms)) } else { None };
                }
                if told == 0 && since.is_some_and(|since| line.t_ms.since(since).s() > 1.0) && matches!(input, Input::Packet(_)) {
                    steps += 1;
                    if counted.count_total > 0 {
                        took.push((line.t_ms, counted.count_total));
                    }
                }
            }
        }
    }
    (steps, took)
}

/// Two, three and a ring; a hold with what others do meanwhile, stops for heights and for forces, a node that is blind.
#[test]
fn a_standing_order_takes_no_memory_until_it_is_said_again() {
    for (name, word, least) in [
        ("02b", Word::Hold, 30),
        ("02b", Word::Stop, 100),
        ("12", Word::Stop, 100),
        ("13", Word::Hold, 30),
        ("05", Word::Stop, 100),
        ("06", Word::Stop, 100),
        ("09", Word::Stop, 100),
        ("16", Word::Stop, 20),
    ] {
        let (steps, took) = standing(name, word);
        assert!(steps >= least, "{name} {word:?}: only {steps} steps");
        // The statics are solved anew with height, as in a quiet lift.
        assert!(took.len() <= 2, "{name} {word:?}: {} of {steps} steps took memory, first {:?}", took.len(), &took[..took.len().min(5)]);
    }
}
