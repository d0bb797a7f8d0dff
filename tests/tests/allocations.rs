//! A step of the watch that has nothing new to tell takes no memory: what it needs was taken at the start. The one thing that
//! takes some is to solve the statics anew, where the heads have come so much higher that the tails weigh more.

#![allow(clippy::unwrap_used)] // a test, its helpers too

use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_simulator::Lift;
use raisewatch_tests::scenario::Scenario;
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::Watch;
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
