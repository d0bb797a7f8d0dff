//! The limits that hold in each step, in the units in which findings are told. Made once from the plan.

use raisewatch_protocol::words::Step;

/// Warn and stop of one quantity; `None` where there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Warn from here.
    pub warn: f64,
    /// Stop from here.
    pub stop: Option<f64>,
    /// Clears below this share of the limit.
    pub clear: f64,
}

/// The rows of one step; `None` where the row is switched off or does not apply to this truss.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StepLimits {
    /// Largest height difference between two heads, mm.
    pub rake_mm: Option<Pair>,
    /// One head out of the line of the others, mm (three and more in line).
    pub line_mm: Option<Pair>,
    /// One corner above the plane of the other three, mm (ring).
    pub twist_mm: Option<Pair>,
    /// Mast plumb change, deg.
    pub lean_deg: Option<Pair>,
    /// Turn of the truss about its length, deg.
    pub roll_deg: Option<Pair>,
    /// Measured less expected share, N.
    pub share_n: Option<Pair>,
    /// Total less planned, N.
    pub total_n: Option<Pair>,
}

/// The limits of all steps.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    steps: [StepLimits; Step::ALL.len()],
}

impl Limits {
    /// The limits of one step.
    pub fn at(&self, step: Step) -> &StepLimits {
        &self.steps[step as usize]
    }
}
