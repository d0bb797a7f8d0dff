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
        tell(Told::Refused { t_ms, refusal });
    }
}
