//! The run loop: one task owns the watch, gives it what arrives, keeps its deadlines, tells all sinks.
//!
//! Nothing here waits for a sink or a page. If the watch fails (a panic: our own error), the loop says so on all sinks,
//! judges nothing more and does not begin again by itself; what arrives is still recorded.

use crate::clock::Clock;
use crate::drive::Driver;
use crate::inlet::{Answer, Arrived};
use crate::judge::Judge;
use crate::sinks::Told;
use crate::sinks::hub::Hub;
use crate::web::server::stopped;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::Step;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::MissedTickBehavior;

/// Pulses of the monitor: five a second (docs/forms.md, "Out").
const PULSE: Duration = Duration::from_millis(200);
/// Views for the pages: ten a second.
const FRAME: Duration = Duration::from_millis(100);
/// Lines taken in one go before timers get their turn: a flood of packets must not stop the pulse.
const IN_ONE_GO: usize = 512;

/// One view for the pages.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Frame {
    /// When it was made.
    pub t_ms: Mono,
    /// The watch's view with ages carried forward to `t_ms`; null once the watch has failed.
    pub view: serde_json::Value,
}

/// How the loop ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// As asked; so many lines did not reach a sink.
    Clean {
        /// Lines lost.
        lost: u64,
    },
    /// The watch had failed before.
    Failed,
}

/// The loop, ready to run.
pub struct Loop<J> {
    /// What is driven.
    pub driver: Driver<J>,
    /// All sinks.
    pub hub: Hub,
    /// What arrives.
    pub outlet: mpsc::Receiver<Arrived>,
    /// The clock that stamps.
    pub clock: Clock,
    /// Where views go, newest only.
    pub frames: watch::Sender<Arc<Frame>>,
}

impl<J: Judge> Loop<J> {
    /// Runs until `stop` becomes true or all sources are gone.
    pub async fn run(self, mut stop: watch::Receiver<bool>) -> Ended {
        let Loop { driver, hub, mut outlet, clock, frames } = self;
        let mut inner = Inner { driver, hub, clock, frames, failed: None };
        let (mut pulse, mut frame) = (every(PULSE), every(FRAME));
        loop {
            let deadline = inner.deadline();
            tokio::select! {
                arrived = outlet.recv() => match arrived {
                    Some(arrived) => inner.take_some(arrived, &mut outlet),
                    None => break,
                },
                () = inner.clock.wait_until(deadline.unwrap_or_default()), if deadline.is_some() => {
                    // What has arrived by now goes first.
                    if let Ok(arrived) = outlet.try_recv() {
                        inner.take_some(arrived, &mut outlet);
                    }
                    inner.keep_deadlines();
                }
                _ = pulse.tick() => inner.pulse(),
                _ = frame.tick() => inner.frame(),
                () = stopped(&mut stop) => break,
            }
        }
        // What the last line brought is told before the end.
        inner.keep_deadlines();
        match inner.failed {
            Some(_) => Ended::Failed,
            None => Ended::Clean { lost: inner.hub.lost() },
        }
    }
}

fn every(period: Duration) -> tokio::time::Interval {
    let mut interval = tokio::time::interval(period);
    interval.set_missed_tick_behavior(MissedTickBehavior::Skip);
    interval
}

struct Inner<J> {
    driver: Driver<J>,
    hub: Hub,
    clock: Clock,
    frames: watch::Sender<Arc<Frame>>,
    /// Why the watch failed, and the step it was in.
    failed: Option<(String, Step)>,
}

impl<J: Judge> Inner<J> {
    fn deadline(&self) -> Option<Mono> {
        if self.failed.is_some() { None } else { self.driver.deadline() }
    }

    fn take_some(&mut self, first: Arrived, outlet: &mut mpsc::Receiver<Arrived>) {
        self.take(first);
        for _ in 1..IN_ONE_GO {
            match outlet.try_recv() {
                Ok(arrived) => self.take(arrived),
                Err(_) => return,
            }
        }
    }

    fn take(&mut self, arrived: Arrived) {
        match arrived {
            Arrived::Line { line, answer } if self.failed.is_some() => {
                self.hub.tell(Told::Taken(line));
                Replies::default().answer(answer, true);
            }
            Arrived::Line { line, answer } => {
                let mut replies = Replies::default();
                self.guarded(&mut replies, |driver, tell| driver.take(line, tell));
                replies.answer(answer, self.failed.is_some());
            }
            Arrived::Refused { t_ms, refusal } => {
                tracing::debug!(node = %refusal.node, text = %refusal.text, "refused");
                self.guarded(&mut Replies::default(), |driver, tell| driver.refuse(t_ms, refusal, tell));
            }
        }
    }

    fn keep_deadlines(&mut self) {
        // A deadline at this very microsecond is due as well.
        let until = self.clock.now() + raisewatch_protocol::mono::Span(1);
        self.guarded(&mut Replies::default(), |driver, tell| driver.catch_up(until, tell));
    }

    /// Runs one step of the driver; a panic in it becomes a visible "not watching", once and for good.
    fn guarded(&mut self, replies: &mut Replies, act: impl FnOnce(&mut Driver<J>, &mut dyn FnMut(Told))) {
        if self.failed.is_some() {
            return;
        }
        let (driver, hub) = (&mut self.driver, &mut self.hub);
        let mut tell = |told: Told| {
            replies.note(&told);
            hub.tell(told);
        };
        // Nothing of the driver is used again after a panic, so its broken state cannot be seen.
        let step_before = driver.judge().lift_step();
        if let Err(panic) = catch_unwind(AssertUnwindSafe(|| act(driver, &mut tell))) {
            self.fail(words_of(panic.as_ref()), step_before);
        }
    }

    fn fail(&mut self, why: String, step: Step) {
        tracing::error!(%why, "the watch failed: NOT WATCHING. Stop the lift; restart the program by hand");
        let t_ms = self.clock.now();
        self.failed = Some((why.clone(), step));
        self.hub.tell(Told::NotWatching { t_ms, why });
        self.pulse();
        self.frame();
    }

    fn pulse(&mut self) {
        let (watching, step) = match &self.failed {
            None => (true, self.driver.judge().lift_step()),
            Some((_, step)) => (false, *step),
        };
        self.hub.tell(Told::Pulse { t_ms: self.clock.now(), watching, step });
    }

    fn frame(&mut self) {
        let t_ms = self.clock.now();
        let view = match &self.failed {
            Some(_) => serde_json::Value::Null,
            None => carried_forward(self.driver.judge().view(), t_ms, self.driver.intake().counts()),
        };
        self.frames.send_replace(Arc::new(Frame { t_ms, view }));
    }
}

/// What the watch answered to one line, for the person who waits for it.
#[derive(Default)]
struct Replies {
    texts: Vec<String>,
    refused: bool,
}

impl Replies {
    fn note(&mut self, told: &Told) {
        if let Told::Reply { text, refused, .. } = told {
            self.texts.push(text.clone());
            self.refused |= refused;
        }
    }

    fn answer(self, to: Option<oneshot::Sender<Answer>>, failed: bool) {
        let Some(to) = to else { return };
        let answer = match (failed, self.refused) {
            (true, _) => Answer::Refused(vec!["not watching: the watch has failed".into()]),
            (false, true) => Answer::Refused(self.texts),
            (false, false) => Answer::Taken(self.texts),
        };
        // Whoever asked may have gone.
        let _ = to.send(answer);
    }
}

/// The view as it stands at `t_ms`: between two steps of the watch nothing changes but ages.
fn carried_forward(mut view: serde_json::Value, t_ms: Mono, refused: &impl serde::Serialize) -> serde_json::Value {
    let made_ms = view["t_ms"].as_f64().unwrap_or(t_ms.ms());
    let older_ms = (t_ms.ms() - made_ms).max(0.0);
    for list in ["towers", "health"] {
        for part in view.get_mut(list).and_then(serde_json::Value::as_array_mut).into_iter().flatten() {
            if let Some(age_ms) = part.get("age_ms").and_then(serde_json::Value::as_f64) {
                part["age_ms"] = (age_ms + older_ms).round().into();
            }
        }
    }
    view["t_ms"] = serde_json::to_value(t_ms).unwrap_or_default();
    view["refused"] = serde_json::to_value(refused).unwrap_or_default();
    view
}

/// The words of a panic.
fn words_of(panic: &(dyn std::any::Any + Send)) -> String {
    let words = panic.downcast_ref::<String>().cloned().or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned()));
    words.unwrap_or_else(|| "an error of the program's own".into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inlet::Inlet;
    use crate::judge::scripted::Scripted;
    use raisewatch_protocol::input::Input;
    use raisewatch_protocol::intake::Intake;
    use raisewatch_protocol::kit::Kit;
    use raisewatch_protocol::mono::Span;
    use raisewatch_protocol::trace::{Arrival, TraceLine};

    fn kit() -> Kit {
        Kit { broker: None, own_broker: false, login_file: None, said: false, nodes: vec![] }
    }

    struct Bench {
        inlet: Inlet,
        told: mpsc::Receiver<Arc<Told>>,
        frames: watch::Receiver<Arc<Frame>>,
        stop: watch::Sender<bool>,
        looping: tokio::task::JoinHandle<Ended>,
    }

    fn start(judge: Scripted) -> Bench {
        let clock = Clock::real();
        let (inlet, outlet) = Inlet::new(clock.clone());
        let (frames, framed) = watch::channel(Arc::new(Frame::default()));
        let (stop, stopping) = watch::channel(false);
        let mut hub = Hub::default();
        let told = hub.attach("test", 1000);
        let driver = Driver::new(judge, Intake::new(&kit()));
        let looping = tokio::spawn(Loop { driver, hub, outlet, clock, frames }.run(stopping));
        Bench { inlet, told, frames: framed, stop, looping }
    }

    impl Bench {
        async fn say(&self, text: &str) -> Answer {
            self.inlet.ask(Arrival::parse(text).unwrap().1).await.unwrap()
        }
        /// The next line told that is no heartbeat.
        async fn next(&mut self) -> Told {
            loop {
                let told = self.told.recv().await.unwrap();
                if !matches!(*told, Told::Pulse { .. }) {
                    return (*told).clone();
                }
            }
        }
        async fn next_pulse(&mut self) -> (bool, Step) {
            loop {
                if let Told::Pulse { watching, step, .. } = *self.told.recv().await.unwrap() {
                    return (watching, step);
                }
            }
        }
    }

    #[tokio::test]
    async fn what_is_given_is_told_before_what_it_causes() {
        let mut bench = start(Scripted::default());
        assert_eq!(bench.say(r#"{"said":"stop","by":"Mara"}"#).await, Answer::Taken(vec![]));
        assert!(matches!(bench.next().await, Told::Taken(TraceLine { what: Arrival::Said(_), .. })));
        assert!(matches!(bench.next().await, Told::Call(call) if call.text == "Stop, said by Mara."));
        bench.stop.send_replace(true);
        assert_eq!(bench.looping.await.unwrap(), Ended::Clean { lost: 0 });
    }

    #[tokio::test]
    async fn what_the_watch_refuses_goes_back_to_who_said_it() {
        let bench = start(Scripted::default());
        let refused = bench.say(r#"{"said":"zero","tower":"A","channel":"head-load"}"#).await;
        assert_eq!(refused, Answer::Refused(vec!["Zero refused: 3 readings, expected 10.".into()]));
    }

    #[tokio::test]
    async fn the_heart_beats_in_calm_and_names_the_step() {
        let mut bench = start(Scripted::default());
        assert_eq!(bench.next_pulse().await, (true, Step::Rig));
        bench.say(r#"{"step":"raise"}"#).await;
        assert_eq!(bench.next_pulse().await, (true, Step::Raise));
        assert_eq!(bench.next_pulse().await, (true, Step::Raise));
    }

    #[tokio::test]
    async fn views_move_on_in_calm_and_ages_with_them_and_unknown_stays_unknown() {
        let mut bench = start(Scripted::default());
        bench.say(r#"{"step":"raise"}"#).await;
        let mut ages = vec![];
        let mut times = vec![];
        while ages.len() < 4 {
            bench.frames.changed().await.unwrap();
            let frame = bench.frames.borrow_and_update().clone();
            if frame.view["step"] == "raise" {
                ages.push(frame.view["towers"][0]["age_ms"].as_f64().unwrap());
                times.push(frame.t_ms);
                assert!(frame.view["towers"][1]["age_ms"].is_null());
            }
        }
        assert!(ages.is_sorted() && ages[3] > ages[0], "{ages:?}");
        assert!(times.is_sorted_by(|a, b| a < b), "{times:?}");
    }

    #[tokio::test]
    async fn a_watch_that_fails_is_told_everywhere_and_never_begins_again() {
        let judge = Scripted { deadline: Some(Mono(u64::MAX / 2)), ..Scripted::default() };
        let given = judge.given.clone();
        let mut bench = start(judge);
        bench.say(r#"{"step":"raise"}"#).await;
        let answer = bench.say(r#"{"said":"note","value":"fail"}"#).await;
        assert!(matches!(answer, Answer::Refused(_)), "{answer:?}");
        while !matches!(bench.next().await, Told::NotWatching { why, .. } if why == "asked to fail") {}
        assert_eq!(bench.next_pulse().await, (false, Step::Raise));
        let before = given.lock().unwrap().len();
        assert!(matches!(bench.say(r#"{"said":"stop"}"#).await, Answer::Refused(_)));
        assert!(matches!(bench.next().await, Told::Taken(_)), "what arrives is still recorded");
        assert_eq!(bench.next_pulse().await, (false, Step::Raise));
        assert_eq!(given.lock().unwrap().len(), before, "nothing is judged any more");
        bench.frames.wait_for(|frame| frame.view.is_null() && frame.t_ms > Mono(0)).await.unwrap();
        bench.stop.send_replace(true);
        assert_eq!(bench.looping.await.unwrap(), Ended::Failed);
    }

    #[tokio::test]
    async fn deadlines_are_kept_in_silence_each_at_its_own_time() {
        let judge = Scripted { deadline: Some(Mono(1000)), period: 1000, ..Scripted::default() };
        let given = judge.given.clone();
        let bench = start(judge);
        bench.inlet.clock().wait_until(Mono(20_000)).await;
        bench.say(r#"{"step":"raise"}"#).await;
        let given = given.lock().unwrap();
        let ticks: Vec<u64> = given.iter().take_while(|(_, input)| *input == Input::Tick).map(|(now, _)| now.0).collect();
        assert!(ticks.len() >= 19, "{ticks:?}");
        assert_eq!(ticks, (1..=ticks.len() as u64).map(|n| n * 1000).collect::<Vec<_>>());
        let (now, _) = given.iter().find(|(_, input)| *input != Input::Tick).unwrap();
        assert!(now.since(Mono(*ticks.last().unwrap())) <= Span(1000), "the deadlines before the step went first");
    }
}
