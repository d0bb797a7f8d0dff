//! What really stands at a moment, for scoring and for tests. Nothing of it goes over the wire.

use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::Step;

/// One tower's truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Head {
    /// Tower id.
    pub tower: String,
    /// Head above the floor, m.
    pub height_m: f64,
    /// Where its crank has brought it, m: the rise of the rope since the start added to the height at the start. The rope's
    /// stretch under a changed share is not in it.
    pub crank_m: f64,
    /// Its speed, m/s, up positive.
    pub speed_m_s: f64,
    /// Force between head and truss, N, without any instrument's error.
    pub share_n: f64,
    /// What the rope lifts, the head's own weight taken off (so that it compares with the share), N.
    pub rope_n: f64,
    /// Whether a pin carries.
    pub on_pin: bool,
    /// Whether the operator's hands are moving.
    pub cranking: bool,
    /// Lean of the mast towards +x and +y, rad.
    pub lean_rad: [f64; 2],
}

/// The whole lift's truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// When.
    pub t: Mono,
    /// The step last set.
    pub step: Step,
    /// Per tower, in plan order.
    pub heads: Vec<Head>,
    /// Weight that hangs, N: truss, loads, tails, what was added.
    pub weight_n: f64,
    /// Upward force from outside (a snag counts negative), N.
    pub outside_n: f64,
    /// Whether every act of the script is done.
    pub done: bool,
    /// Faults that have begun: index in the script, when.
    pub begun: Vec<(usize, Mono)>,
}

impl Truth {
    /// The head of this tower.
    pub fn head(&self, tower: &str) -> Option<&Head> {
        self.heads.iter().find(|h| h.tower == tower)
    }
    /// Largest height difference between two heads, m.
    pub fn rake_m(&self) -> f64 {
        let heights = || self.heads.iter().map(|h| h.height_m);
        heights().fold(f64::NEG_INFINITY, f64::max) - heights().fold(f64::INFINITY, f64::min)
    }
    /// How far a tower's head stands above the middle of the others, m.
    pub fn above_others_m(&self, tower: &str) -> Option<f64> {
        let own = self.head(tower)?.height_m;
        let others: Vec<_> = self.heads.iter().filter(|h| h.tower != tower).map(|h| h.height_m).collect();
        (!others.is_empty()).then(|| own - others.iter().sum::<f64>() / others.len() as f64)
    }
}
