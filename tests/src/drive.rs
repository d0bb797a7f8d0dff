//! One lift under one watcher, faster than life: lines to inputs to what is told, calls back to the crew, truth beside it.

use crate::scenario::Scenario;
use crate::watcher::{Told, Watcher};
use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::Intake;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::trace::TraceLine;
use raisewatch_simulator::{Lift, Truth};

/// What came of one lift.
#[derive(Clone, Debug)]
pub struct Run {
    /// The truth every 20 ms (every second where the script is of hours).
    pub truth: Vec<Truth>,
    /// What was told, in order.
    pub told: Vec<Told>,
    /// Lines, where they were asked for.
    pub lines: Vec<TraceLine>,
    /// How long the lift took, in its own time.
    pub lasted: Mono,
}

/// What a call costs on its way to an ear is in the crew's reaction; here it is heard within one of these.
const PIECE: Span = Span::ms(20);

/// Plays `scenario` with this seed under `watcher`. `keep` keeps the lines.
///
/// Errors: a script that does not fit.
pub fn drive(scenario: &Scenario, seed: u64, watcher: &mut dyn Watcher, keep: bool) -> anyhow::Result<Run> {
    let mut lift = Lift::new(&scenario.plan, &scenario.kit, &scenario.script, seed)?;
    let mut intake = Intake::new(&scenario.kit);
    let long = scenario.script.end.is_some_and(|end| end.0 > 1200.0);
    let mut run = Run { truth: vec![lift.truth()], told: Vec::new(), lines: Vec::new(), lasted: Mono(0) };
    let mut piece = 0_u64;
    while !lift.over() {
        let to = lift.now() + PIECE;
        for line in lift.advance(to) {
            ticks(watcher, line.t_ms, &mut lift, &mut run.told);
            for input in intake.take(&line).inputs {
                let told = watcher.step(line.t_ms, &input);
                hear(told, &mut lift, &mut run.told);
            }
            if keep {
                run.lines.push(line);
            }
        }
        ticks(watcher, to, &mut lift, &mut run.told);
        piece += 1;
        if !long || piece.is_multiple_of(50) {
            run.truth.push(lift.truth());
        }
    }
    run.lasted = lift.now();
    Ok(run)
}

/// Calls the watcher at every deadline that it names before `to`; at the same time inputs go first.
fn ticks(watcher: &mut dyn Watcher, to: Mono, lift: &mut Lift, all: &mut Vec<Told>) {
    while let Some(deadline) = watcher.deadline().filter(|deadline| *deadline < to) {
        let told = watcher.step(deadline, &Input::Tick);
        hear(told, lift, all);
        assert!(watcher.deadline().is_none_or(|next| next > deadline), "the watcher names the same deadline {deadline:?} again");
    }
}

fn hear(told: Vec<Told>, lift: &mut Lift, all: &mut Vec<Told>) {
    for one in told {
        if let Told::Call(call) = &one {
            lift.hear(call);
        }
        all.push(one);
    }
}
