//! The trade's limits where a plan states none. All common practice, no source; the reasons are in docs/method.md.

use crate::rake::NEVER_EXCEED_RAD;
use crate::tolerance::{Limit, Origin};
use raisewatch_protocol::units::Force;
use raisewatch_protocol::words::Step;

/// Clears below this share of the limit.
pub(crate) const CLEAR: f64 = 0.60;

fn limit(warn: f64, stop: f64, reason: &str) -> Limit {
    Limit { warn, stop: Some(stop), clear: CLEAR, never_exceed: None, origin: Origin::Default, reason: reason.into() }
}

/// 0.5° or 50 mm, the tighter, but at least one turn and a half; 1° or 100 mm; never past 2°.
pub(crate) fn rake(span_m: f64, per_turn_m: f64) -> Limit {
    let height = |deg: f64| span_m * deg.to_radians().sin();
    let stop = height(1.0).min(0.100);
    let warn = height(0.5).min(0.050).max(1.5 * per_turn_m);
    // On a short truss one turn and a half may be past the stop: then the warn is kept under it.
    let warn = if warn < stop { warn } else { 0.8 * stop };
    Limit { never_exceed: Some(span_m * NEVER_EXCEED_RAD.sin()), ..limit(warn, stop, "common practice") }
}

/// Plumb at set-up 0.5° and 1°; change under load 0.3° and 0.6°, standing 1°.
pub(crate) fn lean(step: Step) -> Limit {
    let (warn, stop) = match step {
        Step::Rig | Step::Strike => (0.5, 1.0),
        Step::Stand | Step::Change => (0.3, 1.0),
        _ => (0.3, 0.6),
    };
    limit(f64::to_radians(warn), f64::to_radians(stop), "a foot that gives way")
}

/// 1° and 3°.
pub(crate) fn roll() -> Limit {
    limit(1.0_f64.to_radians(), 3.0_f64.to_radians(), "a truss loaded to one side rolls over")
}

/// Two towers: 5 % of the whole weight or 22 lb, the larger; 10 %.
pub(crate) fn share(total_n: f64) -> Limit {
    let warn = (0.05 * total_n).max(pounds(22.0));
    limit(warn, (0.10 * total_n).max(1.5 * warn), "something holds, or the weights are not those of the plan")
}

/// While it moves 5 % or 10 kg, 15 % or 25 kg; at the test lift 5 % and 10 %; standing 10 lb and 40 lb.
pub(crate) fn total(step: Step, total_n: f64) -> Limit {
    let larger = |share: f64, kg: f64| (share * total_n).max(Force::from_kg(kg).0);
    match step {
        Step::TestLift => limit(0.05 * total_n, 0.10 * total_n, "the plan's weights are not those that hang"),
        Step::Stand | Step::Change => limit(pounds(10.0), pounds(40.0), "somebody added or took weight"),
        _ => limit(larger(0.05, 10.0), larger(0.15, 25.0), "something holds or carries the truss"),
    }
}

fn pounds(lb: f64) -> f64 {
    Force::from_kg(lb * raisewatch_protocol::units::POUND_KG).0
}
