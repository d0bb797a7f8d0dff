//! What people have set and said about the lift: the step, which way it moves, pins, turns, announced weights.
//!
//! No reading enters here except through [`crate::steps`], which decides when a test lift has come to rest and when heads move
//! in a still step.

use raisewatch_protocol::Mono;
use raisewatch_protocol::words::Step;

/// Which way the heads move, as the step says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Going up.
    Up,
    /// Coming down.
    Down,
    /// Standing.
    Still,
}

impl Motion {
    /// As the view spells it.
    pub fn word(self) -> &'static str {
        match self {
            Motion::Up => "up",
            Motion::Down => "down",
            Motion::Still => "still",
        }
    }
}

/// How a tower's mast sections are held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pins {
    /// On the rope, as far as anybody said.
    None,
    /// A person said `pinned`, and the tower has not been moved by a step since.
    Said,
    /// The rope's own cell shows that the pins carry.
    Measured,
}

/// One turn that is being cranked at one tower while the others stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// Tower, index in the plan.
    pub tower: usize,
    /// Turns up.
    pub turns: f64,
    /// When it was said, as the hands start.
    pub at: Mono,
}

/// What was said of one tower.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TowerScene {
    /// How its sections are held.
    pub pins: Pins,
    /// When the pins were said.
    pub pinned_at: Option<Mono>,
    /// Head above the floor as last said (`height` with a value, or the pin height that `section-up` told), m.
    pub height_said_m: Option<f64>,
    /// When that height was said.
    pub height_said_at: Option<Mono>,
    /// How many sections were said to be up.
    pub sections_up: usize,
    /// When `slack-set` was said.
    pub slack_set_at: Option<Mono>,
}

/// The lift as people have told it, at this moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// The step.
    pub step: Step,
    /// The step before.
    pub before: Option<Step>,
    /// Since when this step.
    pub since: Mono,
    /// Which way the heads move, by the step (a `test-lift` moves until the total stands).
    pub motion: Motion,
    /// Since when this motion.
    pub motion_since: Mono,
    /// The motion of the last moving step; `Up` before any.
    pub last_moving: Motion,
    /// True while heads move in a still step: guarded as moving, and the lead is asked for the step.
    pub moving_unsaid: bool,
    /// The turn being cranked, from its word until it is judged.
    pub turn: Option<Turn>,
    /// The last turn that was judged at this test lift: its head stands so far off until it is cranked back.
    pub turned: Option<Turn>,
    /// By tower, in plan order.
    pub towers: Vec<TowerScene>,
    /// Change of weight announced by `expect` and not yet used up, N (+ more), with when it was said; `None` where nothing is announced.
    pub expect: Option<Expected>,
    /// When the lift's tails were said to be free.
    pub tails_free_at: Option<Mono>,
}

/// An announced change of weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// By how much, N; `None` where no amount was said.
    pub change_n: Option<f64>,
    /// At which tower, where said.
    pub tower: Option<usize>,
    /// When it was said.
    pub at: Mono,
}

impl Scene {
    /// A lift that has just begun, `at`, in `rig`.
    pub fn new(towers: usize, at: Mono) -> Self {
        let tower =
            TowerScene { pins: Pins::None, pinned_at: None, height_said_m: None, height_said_at: None, sections_up: 0, slack_set_at: None };
        Scene {
            step: Step::Rig,
            before: None,
            since: at,
            motion: Motion::Still,
            motion_since: at,
            last_moving: Motion::Up,
            moving_unsaid: false,
            turn: None,
            turned: None,
            towers: vec![tower; towers],
            expect: None,
            tails_free_at: None,
        }
    }
    /// Whether the heads must be guarded as moving.
    pub fn guarded_as_moving(&self) -> bool {
        self.motion != Motion::Still || self.moving_unsaid
    }
}
