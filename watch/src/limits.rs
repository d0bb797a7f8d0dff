//! The limits that hold in each step, in the units in which findings are told. Made once from the plan.

use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::words::Step;
use raisewatch_statics::Model;
use raisewatch_statics::tolerance::{self, Limit};

/// Warn and stop of one quantity; `None` where there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Warn from here.
    pub warn: f64,
    /// Stop from here.
    pub stop: Option<f64>,
    /// Clears below this share of the limit.
    pub clear: f64,
    /// Past this nothing is gated, shelved or put under another finding; `None` where the trade names none.
    pub never_exceed: Option<f64>,
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
    /// Crank by at most so many turns on a count; `None`: by pace.
    pub counted_turn: Option<f64>,
}

impl Limits {
    /// The limits of a plan, as the statics lays them: typed rows, else from the statics, else the trade's.
    pub fn new(plan: &Plan, model: &Model) -> Self {
        let laid = tolerance::limits(plan, model);
        let mut steps = [StepLimits::default(); Step::ALL.len()];
        for step in Step::ALL {
            let rows = laid.step(*step);
            steps[*step as usize] = StepLimits {
                rake_mm: pair(&rows.rake, 1000.0),
                line_mm: pair(&rows.line, 1000.0),
                twist_mm: pair(&rows.twist, 1000.0),
                lean_deg: pair(&rows.lean, 1.0_f64.to_degrees()),
                roll_deg: pair(&rows.roll, 1.0_f64.to_degrees()),
                share_n: pair(&rows.share, 1.0),
                total_n: pair(&rows.total, 1.0),
            };
        }
        Limits { steps, counted_turn: laid.counted_turn }
    }

    /// The limits of one step.
    pub fn at(&self, step: Step) -> &StepLimits {
        &self.steps[step as usize]
    }
}

/// A row of the statics in the unit in which findings are told.
fn pair(row: &Option<Limit>, unit: f64) -> Option<Pair> {
    row.as_ref().map(|l| Pair {
        warn: l.warn * unit,
        stop: l.stop.map(|s| s * unit),
        clear: l.clear,
        never_exceed: l.never_exceed.map(|n| n * unit),
    })
}
