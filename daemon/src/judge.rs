//! What the run loop needs of a watch: so that its own rules can be tested with a watch that fails.

use crate::sinks::Told;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::Step;
use raisewatch_watch::watch::{Output, Watch};

/// A watch, seen from the loop.
pub trait Judge: Send {
    /// Steps it; what it says.
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told>;
    /// When it wants to be stepped next, whatever comes.
    fn deadline(&self) -> Option<Mono>;
    /// What the pages draw, as JSON.
    fn view(&self) -> serde_json::Value;
    /// The step of the lift.
    fn lift_step(&self) -> Step;
}

impl Judge for Watch {
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told> {
        Watch::step(self, now, input).iter().cloned().map(told).collect()
    }
    fn deadline(&self) -> Option<Mono> {
        Watch::deadline(self)
    }
    fn view(&self) -> serde_json::Value {
        serde_json::to_value(Watch::view(self)).unwrap_or_default()
    }
    fn lift_step(&self) -> Step {
        Watch::lift_step(self)
    }
}

fn told(output: Output) -> Told {
    match output {
        Output::Finding(finding) => Told::Finding(finding),
        Output::Call(call) => Told::Call(call),
        Output::HandOver(state) => Told::HandOver(state),
        Output::Reply { t_ms, to, text, refused } => Told::Reply { t_ms, to: Some(to), text, refused },
    }
}

/// A watch for the tests of the loop and of the pages: what it does is told to it by notes.
#[cfg(test)]
pub mod scripted {
    use super::*;
    use raisewatch_protocol::said::{Said, SaidValue};
    use raisewatch_protocol::told::Call;
    use raisewatch_protocol::words::{CallState, Kind, Utterance, Word};

    /// Notes what it was given.
    pub struct Scripted {
        /// Each step's time and input.
        pub given: std::sync::Arc<std::sync::Mutex<Vec<(Mono, Input)>>>,
        /// The next deadline; each tick moves it on by `period`.
        pub deadline: Option<Mono>,
        /// In microseconds.
        pub period: u64,
        /// The step it was last given.
        pub step: Step,
        /// When it was last stepped.
        pub t_ms: Mono,
    }

    impl Default for Scripted {
        fn default() -> Self {
            Scripted { given: Default::default(), deadline: None, period: 1, step: Step::Rig, t_ms: Mono(0) }
        }
    }

    impl Judge for Scripted {
        fn step(&mut self, now: Mono, input: &Input) -> Vec<Told> {
            self.given.lock().unwrap().push((now, input.clone()));
            self.t_ms = now;
            match input {
                Input::Tick => self.deadline = self.deadline.map(|deadline| Mono(deadline.0 + self.period)),
                Input::Step(set) => self.step = set.step,
                Input::Said(Said { said: Utterance::Stop, by, .. }) => return vec![Told::Call(stop(now, by.as_deref()))],
                Input::Said(Said { said: Utterance::Zero, .. }) => {
                    let text = "Zero refused: 3 readings, expected 10.".to_owned();
                    return vec![Told::Reply { t_ms: now, to: None, text, refused: true }];
                }
                Input::Said(Said { value: Some(SaidValue::Text(text)), .. }) if text == "fail" => panic!("asked to fail"),
                _ => {}
            }
            vec![]
        }
        fn deadline(&self) -> Option<Mono> {
            self.deadline
        }
        fn view(&self) -> serde_json::Value {
            serde_json::json!({ "t_ms": self.t_ms, "step": self.step,
                "towers": [{ "id": "A", "age_ms": 40 }, { "id": "B", "age_ms": null }] })
        }
        fn lift_step(&self) -> Step {
            self.step
        }
    }

    /// A call of stop to the spotter.
    pub fn stop(t_ms: Mono, by: Option<&str>) -> Call {
        Call {
            t_ms,
            id: "call-1".into(),
            call: Word::Stop,
            to: "spotter".into(),
            tower: None,
            then: vec![],
            turns: None,
            reason: Some(Kind::StopSaid),
            finding: None,
            state: CallState::Said,
            text: format!("Stop, said by {}.", by.unwrap_or("?")),
            level_through: vec![],
        }
    }
}
