//! Whom a finding concerns: the right-hand column of docs/forms.md's table of kinds.

use crate::scene::Scene;
use raisewatch_protocol::words::{Audience, Kind, Severity, Step};

/// Whom a finding of `kind` at `severity` concerns in this scene.
pub fn audience(kind: Kind, severity: Severity, scene: &Scene) -> Audience {
    use Kind::*;
    let crew_if = |yes: bool| if yes { Audience::Crew } else { Audience::Lead };
    let moving = scene.guarded_as_moving();
    match kind {
        StopSaid | Uneven | Twist | Portal | Caught | Resting | Slack | Dropped | Stuck | Slipping | Top => Audience::Crew,
        Lean | Roll | Joint | Sinking => crew_if(severity == Severity::Stop || scene.step != Step::Stand),
        Overload | Light => crew_if(severity == Severity::Stop),
        OffPlan => crew_if(moving),
        ExtraWeight | MissingWeight => crew_if(moving || severity == Severity::Stop),
        Silent | NeverHeard | Frozen | Knocked | Noisy | OutOfRange | ZeroGone | Swapped | Backwards | WrongUnit | WrongPlan => {
            crew_if(severity == Severity::Stop)
        }
        NotLanded | Crossed | Bypassed | Battery | Skew | NotFitted => Audience::Lead,
    }
}
