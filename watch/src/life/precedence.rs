//! One cause, one finding: which conditions are consequences of which, so that a flood never buries the first cause.
//!
//! A consequence that would come while its cause is open waits under it; it comes when the cause is over and it still stands.
//! What is never gated (past never-exceed, over the rating, silence while moving) waits under nothing.

use raisewatch_protocol::words::Kind;

/// Where a consequence must be to count as one.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Reach {
    /// At the tower of the cause, or of the whole.
    Here,
    /// Anywhere: what holds or drops the truss moves every tower's share.
    Anywhere,
}

/// Whether a condition of `consequence` at `at` is explained by an open finding of `cause` at `cause_at`.
pub fn explained(cause: Kind, cause_at: Option<usize>, consequence: Kind, at: Option<usize>) -> bool {
    match reach(cause, consequence) {
        None => false,
        Some(Reach::Anywhere) => true,
        Some(Reach::Here) => at.is_none() || cause_at.is_none() || at == cause_at,
    }
}

fn reach(cause: Kind, consequence: Kind) -> Option<Reach> {
    use Kind::*;
    use Reach::*;
    match (cause, consequence) {
        // Something holds or carries the truss: shares, total and level go with it.
        (Caught, OffPlan | ExtraWeight | MissingWeight | Uneven | Twist | Roll | Lean | Portal | Light) => Some(Anywhere),
        (Resting, OffPlan | ExtraWeight | MissingWeight | Uneven | Twist | Roll | Lean | Light | Slack | Stuck) => Some(Anywhere),
        // A section that hangs while the rope runs out.
        (Slack, OffPlan | ExtraWeight | MissingWeight | Uneven | Twist | Light | NotLanded | Stuck | Resting) => Some(Anywhere),
        (Stuck, OffPlan | ExtraWeight | MissingWeight | Uneven | Twist | Slack) => Some(Anywhere),
        (Dropped | Slipping, OffPlan | ExtraWeight | MissingWeight | Uneven | Twist | Slack | Light | Lean | Roll) => Some(Anywhere),
        (Dropped, Slipping) | (Top, Stuck | Uneven | OffPlan) => Some(Here),
        // A weight that is known explains what is off the plan.
        (ExtraWeight, OffPlan) => Some(Anywhere),
        (MissingWeight, OffPlan) => Some(Anywhere),
        (WrongUnit | WrongPlan, OffPlan | ExtraWeight | MissingWeight | Light | Bypassed) => Some(Anywhere),
        (Bypassed, OffPlan | MissingWeight | Light) => Some(Anywhere),
        // Out of line or plane moves the shares of three and more towers.
        (Uneven | Twist, OffPlan | Light | Portal) => Some(Anywhere),
        (Twist, Uneven) => Some(Anywhere),
        (Portal | Sinking, Lean) => Some(Here),
        // An instrument that is wrong explains what only it shows.
        (Knocked | Frozen | OutOfRange | ZeroGone | Noisy, Lean | Roll | OffPlan | Light | Joint) => Some(Here),
        (Knocked, ZeroGone) | (OutOfRange, Noisy | Frozen) => Some(Here),
        (Swapped | Backwards, Uneven | Twist | OffPlan) => Some(Anywhere),
        (Swapped, Backwards) => Some(Here),
        // What is not heard cannot be judged.
        (Silent | NeverHeard, Frozen | Noisy | Battery) => Some(Here),
        (NeverHeard, Silent) => Some(Here),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_kinds_hide_each_other_and_none_hides_itself() {
        for a in Kind::ALL {
            assert!(!explained(*a, Some(0), *a, Some(0)), "{a}");
            for b in Kind::ALL {
                let both = explained(*a, Some(0), *b, Some(0)) && explained(*b, Some(0), *a, Some(0));
                // A stuck section lowering goes slack, and a slack rope shows as a stuck section: whichever came first is on top.
                let either_may_be_first = [(Kind::Slack, Kind::Stuck), (Kind::Slack, Kind::Resting)];
                if both && !either_may_be_first.contains(&(*a, *b)) && !either_may_be_first.contains(&(*b, *a)) {
                    panic!("{a} and {b} hide each other");
                }
            }
        }
    }

    #[test]
    fn nothing_hides_what_people_or_silence_or_the_rating_say() {
        for cause in Kind::ALL {
            for kind in [Kind::StopSaid, Kind::Overload, Kind::Dropped, Kind::Caught] {
                assert!(!explained(*cause, Some(0), kind, Some(0)), "{cause} hides {kind}");
            }
        }
    }
}
