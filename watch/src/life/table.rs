//! The life of a finding, as one table: docs/forms.md, "Life of a finding" (after ISA-18.2).
//!
//! One `match` on (state, input), every pair written out; the compiler refuses a pair that is missing. It knows no kinds, no time
//! and no words: those are in [`crate::life`].

use raisewatch_protocol::words::LifeState;

/// What can happen to a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// The condition comes, after its on-delay.
    Comes,
    /// It stands and is a stop now, after the stop's on-delay, where it was none before.
    BecomesStop,
    /// It stands and got worse: a higher severity below stop, or by a quarter turn or a tenth.
    Worse,
    /// It is gone, after its off-delay, past its clear level.
    Goes,
    /// Nothing is known of it.
    NothingKnown,
    /// The lead has seen it.
    Seen,
    /// The lead releases the stop.
    Release,
    /// Somebody puts it aside until a moment.
    Shelve,
    /// Somebody takes it back, the time of shelving runs out, the step changes, or a returned warn's 60 s run out.
    Unshelve,
}

impl Heard {
    /// All of them, for tests of every pair.
    pub const ALL: [Heard; 9] = [
        Heard::Comes,
        Heard::BecomesStop,
        Heard::Worse,
        Heard::Goes,
        Heard::NothingKnown,
        Heard::Seen,
        Heard::Release,
        Heard::Shelve,
        Heard::Unshelve,
    ];
}

/// What the table needs to know of the finding beside its state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Marks {
    /// It was a stop at some time in this life.
    pub ever_stop: bool,
    /// The lead has seen it while it stood or was latched.
    pub seen: bool,
    /// Its condition stands at this moment.
    pub stands: bool,
}

/// What becomes of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Nothing.
    Stays,
    /// A new state is told.
    To(LifeState),
    /// The state stays, the new amount is told (`"change":true`).
    Change,
    /// The state stays, that it was seen is told.
    SeenNow,
    /// The shelving has a new end.
    NewEnd,
    /// What was said does not apply; the text tells why.
    Refused(Refusal),
}

/// Why a word was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// There is no such finding any more.
    NothingOpen,
    /// It has to be seen first.
    SeenFirst,
    /// It is no stop.
    NoStop,
    /// A stop is not shelved.
    NotAStop,
    /// The lead is curing it already.
    Mending,
    /// It is gone: nothing to put aside.
    Gone,
}

/// What becomes of a finding in `state` when `heard` happens.
pub fn turn(state: LifeState, heard: Heard, marks: Marks) -> Turn {
    use Heard::*;
    use LifeState::*;
    use Turn::*;
    match (state, heard) {
        (Cleared, Comes | BecomesStop | Worse) => To(Raised),
        (Cleared, Goes | NothingKnown | Seen | Unshelve) => Stays,
        (Cleared, Release | Shelve) => Refused(Refusal::NothingOpen),

        (Raised, Comes) => Stays,
        (Raised, BecomesStop) => To(Raised),
        (Raised, Worse) => Change,
        (Raised, Goes) => To(if marks.ever_stop { Latched } else { Returned }),
        (Raised, NothingKnown | Unshelve) => Stays,
        (Raised, Seen) => To(Acknowledged),
        (Raised, Release) => Refused(Refusal::SeenFirst),
        (Raised, Shelve) => shelved(marks),

        (Acknowledged, Comes) => Stays,
        (Acknowledged, BecomesStop | Worse) => To(Raised),
        (Acknowledged, Goes) => To(if marks.ever_stop { Latched } else { Cleared }),
        (Acknowledged, NothingKnown | Seen | Unshelve) => Stays,
        (Acknowledged, Release) => {
            if marks.ever_stop {
                To(Mending)
            } else {
                Refused(Refusal::NoStop)
            }
        }
        (Acknowledged, Shelve) => shelved(marks),

        (Mending, Comes) => Stays,
        (Mending, BecomesStop | Worse) => To(Raised),
        (Mending, Goes) => To(Cleared),
        (Mending, NothingKnown | Unshelve) => Stays,
        (Mending, Seen | Release | Shelve) => Refused(Refusal::Mending),

        (Returned, Comes | BecomesStop | Worse) => To(Raised),
        (Returned, Goes | NothingKnown) => Stays,
        (Returned, Seen | Unshelve) => To(Cleared),
        (Returned, Release) => Refused(Refusal::NoStop),
        (Returned, Shelve) => Refused(Refusal::Gone),

        (Latched, Comes | BecomesStop | Worse) => To(Raised),
        (Latched, Goes | NothingKnown | Unshelve) => Stays,
        (Latched, Seen) => {
            if marks.seen {
                Stays
            } else {
                SeenNow
            }
        }
        (Latched, Release) => {
            if marks.seen {
                To(Cleared)
            } else {
                Refused(Refusal::SeenFirst)
            }
        }
        (Latched, Shelve) => Refused(Refusal::NotAStop),

        (Shelved, BecomesStop) => To(Raised),
        (Shelved, Comes | Worse | Goes | NothingKnown | Seen | Release) => Stays,
        (Shelved, Shelve) => NewEnd,
        (Shelved, Unshelve) => To(if marks.stands { Raised } else { Cleared }),
    }
}

fn shelved(marks: Marks) -> Turn {
    if marks.ever_stop { Turn::Refused(Refusal::NotAStop) } else { Turn::To(LifeState::Shelved) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use LifeState::*;

    /// Every pair of docs/forms.md's table, row by row, for a warn and for a stop; columns: comes, becomes a stop, worse, goes,
    /// nothing known, seen, release, shelve, unshelve/expiry.
    #[test]
    fn every_pair_of_the_table() {
        const WARN: Marks = Marks { ever_stop: false, seen: false, stands: true };
        const STOP: Marks = Marks { ever_stop: true, seen: false, stands: true };
        const SEEN: Marks = Marks { ever_stop: true, seen: true, stands: false };
        const GONE: Marks = Marks { ever_stop: false, seen: false, stands: false };
        use Refusal as R;
        use Turn::{Change, NewEnd, Refused, SeenNow, Stays, To};
        let rows: [(LifeState, Marks, [Turn; 9]); 13] = [
            (
                Cleared,
                GONE,
                [To(Raised), To(Raised), To(Raised), Stays, Stays, Stays, Refused(R::NothingOpen), Refused(R::NothingOpen), Stays],
            ),
            (Raised, WARN, [Stays, To(Raised), Change, To(Returned), Stays, To(Acknowledged), Refused(R::SeenFirst), To(Shelved), Stays]),
            (
                Raised,
                STOP,
                [Stays, To(Raised), Change, To(Latched), Stays, To(Acknowledged), Refused(R::SeenFirst), Refused(R::NotAStop), Stays],
            ),
            (Acknowledged, WARN, [Stays, To(Raised), To(Raised), To(Cleared), Stays, Stays, Refused(R::NoStop), To(Shelved), Stays]),
            (Acknowledged, STOP, [Stays, To(Raised), To(Raised), To(Latched), Stays, Stays, To(Mending), Refused(R::NotAStop), Stays]),
            (
                Mending,
                STOP,
                [Stays, To(Raised), To(Raised), To(Cleared), Stays, Refused(R::Mending), Refused(R::Mending), Refused(R::Mending), Stays],
            ),
            (
                Returned,
                GONE,
                [To(Raised), To(Raised), To(Raised), Stays, Stays, To(Cleared), Refused(R::NoStop), Refused(R::Gone), To(Cleared)],
            ),
            (
                Latched,
                Marks { ever_stop: true, seen: false, stands: false },
                [To(Raised), To(Raised), To(Raised), Stays, Stays, SeenNow, Refused(R::SeenFirst), Refused(R::NotAStop), Stays],
            ),
            (Latched, SEEN, [To(Raised), To(Raised), To(Raised), Stays, Stays, Stays, To(Cleared), Refused(R::NotAStop), Stays]),
            (Shelved, WARN, [Stays, To(Raised), Stays, Stays, Stays, Stays, Stays, NewEnd, To(Raised)]),
            (Shelved, GONE, [Stays, To(Raised), Stays, Stays, Stays, Stays, Stays, NewEnd, To(Cleared)]),
            (
                Cleared,
                SEEN,
                [To(Raised), To(Raised), To(Raised), Stays, Stays, Stays, Refused(R::NothingOpen), Refused(R::NothingOpen), Stays],
            ),
            (
                Mending,
                SEEN,
                [Stays, To(Raised), To(Raised), To(Cleared), Stays, Refused(R::Mending), Refused(R::Mending), Refused(R::Mending), Stays],
            ),
        ];
        for (state, marks, expected) in rows {
            for (heard, want) in Heard::ALL.into_iter().zip(expected) {
                assert_eq!(turn(state, heard, marks), want, "{state} when {heard:?} with {marks:?}");
            }
        }
        for state in LifeState::ALL {
            assert!(rows.iter().any(|r| r.0 == *state), "{state} is not in the table");
        }
    }

    #[test]
    fn nothing_known_never_ends_a_finding_and_no_stop_is_ever_shelved() {
        for state in LifeState::ALL {
            for ever_stop in [false, true] {
                for seen in [false, true] {
                    let marks = Marks { ever_stop, seen, stands: false };
                    assert_eq!(turn(*state, Heard::NothingKnown, marks), Turn::Stays);
                    if ever_stop && *state != Shelved {
                        assert_ne!(turn(*state, Heard::Shelve, marks), Turn::To(Shelved));
                    }
                }
            }
        }
    }
}
