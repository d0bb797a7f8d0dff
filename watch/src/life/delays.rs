//! How long a condition must stand before it is told, and be gone before it is over: one table, by kind, severity and motion.
//!
//! Source of the figures: docs/method.md, "Thresholds" (trade practice, no published source), except where a row says another.

use crate::scene::{Motion, Scene};
use raisewatch_protocol::Span;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// On- and off-delay of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delay {
    /// Stands so long before it is raised.
    pub on: Span,
    /// Is gone so long before it is over.
    pub off: Span,
}

const fn s(on_ms: u64, off_ms: u64) -> Delay {
    Delay { on: Span::ms(on_ms), off: Span::ms(off_ms) }
}

/// The delays of `kind` at `severity` in this scene; `in_line` where the plan has three towers or more.
pub fn delays(kind: Kind, severity: Severity, scene: &Scene, in_line: bool) -> Delay {
    use Kind::*;
    let moving = scene.motion != Motion::Still || scene.moving_unsaid;
    let stop = severity == Severity::Stop;
    match kind {
        Uneven if moving && in_line => s(500, 2_000),
        Uneven if moving => s(600, 1_500),
        Uneven => s(10_000, 60_000),
        Twist if moving => s(700, 2_000),
        Twist => s(10_000, 60_000),
        Lean if moving => s(2_000, 3_000),
        Lean if scene.step == Step::Stand => s(30_000, 60_000),
        Lean => s(2_000, 10_000),
        Roll => s(if stop { 500 } else { 1_000 }, 3_000),
        Joint => s(2_500, 3_000),
        // Two seconds after both masts have changed (docs/trade.md section 2, row 63): the ripple of a crank must not have brought it.
        Portal => s(500, 3_000),
        Sinking => s(5_000, 60_000),
        // These carry their own confirmation: it is part of the signature.
        Caught | Resting => s(0, 2_000),
        Slack => s(0, 1_000),
        // The amount is a 1 s mean already: a stop needs no second wait.
        Overload => s(if stop { 0 } else { 1_000 }, 3_000),
        // Already judged over their own span by the cause.
        Dropped | Slipping | Top => s(0, 5_000),
        Stuck => s(0, 2_000),
        OffPlan if moving => s(if stop { 300 } else { 700 }, 2_000),
        OffPlan if scene.step == Step::TestLift => s(0, 5_000),
        OffPlan => s(10_000, 60_000),
        ExtraWeight | MissingWeight if moving => s(if stop { 300 } else { 700 }, 2_000),
        // The cause waits longer than a hand rests on a truss.
        ExtraWeight | MissingWeight if scene.step == Step::TestLift => s(0, 5_000),
        ExtraWeight | MissingWeight => s(10_000, 60_000),
        Light => s(2_000, 5_000),
        // The 15 s after `stand` are the cause's own.
        NotLanded => s(0, 2_000),
        // Three slips are its confirmation.
        Crossed => s(0, 10_000),
        Bypassed => s(5_000, 10_000),
        // The span of silence is the delay; a return must last, or a node that drops every other packet would chatter.
        Silent | NeverHeard => s(0, 500),
        OutOfRange => s(500, 2_000),
        Frozen | Knocked | Noisy | ZeroGone => s(0, 5_000),
        Swapped | Backwards | WrongUnit | WrongPlan => s(0, 1_000),
        Battery => s(5_000, 60_000),
        Skew => s(0, 60_000),
        NotFitted | StopSaid => s(0, 0),
    }
}
