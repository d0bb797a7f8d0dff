//! How the watch is driven: the one rule of stepping, shared by live, rehearsal and replay.
//!
//! Every deadline that the watch names before an input's time is stepped first, at exactly that time; an input goes
//! before a deadline of the same time; time never falls. So the same lines give the same findings, live or replayed.

use crate::judge::Judge;
use crate::sinks::Told;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::intake::{Intake, Refusal};
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::trace::TraceLine;

/// Drives one watch.
pub struct Driver<J> {
    judge: J,
    intake: Intake,
    /// The earliest time the next step may have.
    earliest: Mono,
}

impl<J: Judge> Driver<J> {
    /// Drives `judge` with what `intake` makes of the lines.
    pub fn new(judge: J, intake: Intake) -> Self {
        Driver { judge, intake, earliest: Mono::default() }
    }

    /// The watch that is driven.
    pub fn judge(&self) -> &J {
        &self.judge
    }

    /// What was refused so far.
    pub fn intake(&self) -> &Intake {
        &self.intake
    }

    /// When the watch wants to be stepped next, whatever comes.
    pub fn deadline(&self) -> Option<Mono> {
        self.judge.deadline()
    }

    /// Steps every deadline before `until`.
    pub fn catch_up(&mut self, until: Mono, tell: &mut dyn FnMut(Told)) {
        while let Some(deadline) = self.judge.deadline().filter(|deadline| *deadline < until) {
            let now = deadline.max(self.earliest);
            for told in self.judge.step(now, &Input::Tick) {
                tell(told);
            }
            // The watch's own error: a deadline that does not move on would hold the program here for ever.
            assert!(self.judge.deadline() != Some(deadline), "the watch names the deadline {deadline:?} again after it");
            self.earliest = now + Span(1);
        }
    }

    /// Gives the watch a line, after the deadlines before it. What it was given, with its time, is told first.
    pub fn take(&mut self, mut line: TraceLine, tell: &mut dyn FnMut(Told)) {
        line.t_ms = line.t_ms.max(self.earliest);
        let now = line.t_ms;
        self.catch_up(now, tell);
        line.t_ms = now.max(self.earliest);
        let now = line.t_ms;
        self.earliest = now;
        let taken = self.intake.take(&line);
        tell(Told::Taken(line));
        for refusal in taken.refused {
            self.log(&refusal);
            tell(Told::Refused { t_ms: now, refusal });
        }
        for input in &taken.inputs {
            for told in self.judge.step(now, input) {
                tell(told);
            }
        }
    }

    /// Counts what was refused before it became a line.
    pub fn refuse(&mut self, t_ms: Mono, refusal: Refusal, tell: &mut dyn FnMut(Told)) {
        self.intake.count(&refusal);
        self.log(&refusal);
        tell(Told::Refused { t_ms, refusal });
    }

    /// Names a refusal in the log: the first of its kind, the tenth, the hundredth, so that a flood stays readable.
    fn log(&self, refusal: &Refusal) {
        let of_node = self.intake.counts().get(&refusal.node);
        let times = of_node.and_then(|reasons| reasons.get(&refusal.reason)).copied().unwrap_or(1);
        if is_power_of_ten(times) {
            tracing::warn!(node = refusal.node, times, "refused: {}", refusal.text);
        }
    }
}

fn is_power_of_ten(n: u64) -> bool {
    n > 0 && 10_u64.pow(n.ilog10()) == n
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::scripted::Scripted;
    use raisewatch_protocol::kit::Kit;
    use raisewatch_protocol::trace::Arrival;

    fn driver(judge: Scripted) -> Driver<Scripted> {
        let kit = Kit { broker: None, own_broker: false, login_file: None, said: false, nodes: vec![] };
        Driver::new(judge, Intake::new(&kit))
    }

    #[test]
    fn a_flood_of_refusals_is_named_at_powers_of_ten() {
        let named: Vec<u64> = (0..=2000).filter(|n| is_power_of_ten(*n)).collect();
        assert_eq!(named, [1, 10, 100, 1000]);
    }

    fn step(us: u64) -> TraceLine {
        TraceLine { t_ms: Mono(us), what: Arrival::parse(r#"{"step":"raise"}"#).unwrap().1 }
    }

    /// The times of all steps, a tick with a minus.
    fn times(lines: &[u64], then_until: u64) -> Vec<i64> {
        let judge = Scripted { deadline: Some(Mono(100)), period: 100, ..Scripted::default() };
        let given = judge.given.clone();
        let mut driver = driver(judge);
        for line in lines {
            driver.take(step(*line), &mut |_| {});
        }
        driver.catch_up(Mono(then_until), &mut |_| {});
        let given = given.lock().unwrap();
        given.iter().map(|(now, input)| if *input == Input::Tick { -(now.0 as i64) } else { now.0 as i64 }).collect()
    }

    #[test]
    fn an_input_goes_before_a_deadline_of_the_same_time() {
        assert_eq!(times(&[100], 101), [100, -100]);
        assert_eq!(times(&[101], 101), [-100, 101]);
        assert_eq!(times(&[99, 350], 351), [99, -100, -200, -300, 350]);
    }

    #[test]
    fn time_never_falls_whatever_order_sources_queue_in() {
        assert_eq!(times(&[50, 40, 60], 60), [50, 50, 60]);
    }

    #[test]
    fn a_late_line_goes_after_the_deadline_that_was_kept_already() {
        let judge = Scripted { deadline: Some(Mono(100)), period: 100, ..Scripted::default() };
        let given = judge.given.clone();
        let mut driver = driver(judge);
        driver.catch_up(Mono(150), &mut |_| {});
        let mut recorded = None;
        driver.take(step(90), &mut |told| {
            if let Told::Taken(line) = told {
                recorded = Some(line.t_ms);
            }
        });
        assert_eq!(recorded, Some(Mono(101)), "recorded as it was given, so that a replay does the same");
        assert_eq!(given.lock().unwrap().last().unwrap().0, Mono(101));
    }

    #[test]
    fn a_recorded_run_replays_to_the_same_steps() {
        let lines = [10, 250, 250, 260, 900];
        assert_eq!(times(&lines, 1000), times(&lines, 1000));
    }
}
