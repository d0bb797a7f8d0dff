//! The closed sets of words on which all parts meet: steps, channels, kinds, severities, states.
//!
//! Their spelling is that of docs/forms.md; each set knows all its members, so a message can list them.

use serde::{Deserialize, Serialize};

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $text)] $variant),+ }

        impl $name {
            /// Every member, in the order of the forms.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];
            /// The word as files, wire and pages spell it.
            pub const fn word(self) -> &'static str {
                match self { $($name::$variant => $text),+ }
            }
            /// The member spelled `word`.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($text => Some($name::$variant),)+ _ => None }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.pad(self.word()) }
        }
    };
}

words! {
    /// Where the lift is.
    Step {
        /// Working height, people under it.
        Rig = "rig",
        /// A hand's breadth off, held still.
        TestLift = "test-lift",
        /// Going up.
        Raise = "raise",
        /// One mast section ends, is pinned, the next begins.
        Section = "section",
        /// On to the pins.
        Land = "land",
        /// Standing at trim.
        Stand = "stand",
        /// Announced work while up.
        Change = "change",
        /// Coming down.
        Lower = "lower",
        /// Taking apart.
        Strike = "strike",
    }
}

words! {
    /// One measured quantity of a node.
    Channel {
        /// Mast tilt along the truss, rad, head towards +x positive.
        MastAlong = "mast-along",
        /// Mast tilt across the truss, rad, head towards +y positive.
        MastAcross = "mast-across",
        /// Truss tilt along, rad, `to` end up positive.
        TrussAlong = "truss-along",
        /// Truss tilt across, rad, `y` side up positive.
        TrussAcross = "truss-across",
        /// Load at the head, N, pressed down positive.
        HeadLoad = "head-load",
        /// Tension in the lifting rope, N.
        RopeLoad = "rope-load",
        /// Head above the floor, m.
        Height = "height",
        /// Battery, V.
        Battery = "battery",
    }
}

words! {
    /// How grave a finding is.
    Severity {
        /// For the list.
        Note = "note",
        /// To act on.
        Warn = "warn",
        /// All movement ceases.
        Stop = "stop",
    }
}

words! {
    /// Where a finding is in its life (after ISA-18.2; the table is in docs/forms.md).
    LifeState {
        /// Stands, not yet seen by the lead.
        Raised = "raised",
        /// Stands, seen.
        Acknowledged = "acknowledged",
        /// A stop that stands and that the lead is curing.
        Mending = "mending",
        /// A warn that is gone, unseen.
        Returned = "returned",
        /// A stop that is gone, until released.
        Latched = "latched",
        /// Put aside for a time.
        Shelved = "shelved",
        /// Over.
        Cleared = "cleared",
    }
}

words! {
    /// Whom a finding concerns.
    Audience {
        /// Everybody, the lead included.
        Crew = "crew",
        /// The lead alone.
        Lead = "lead",
    }
}

words! {
    /// What is not as it should be.
    Kind {
        /// Rake of the whole, or one head out of line.
        Uneven = "uneven",
        /// One corner of a ring above the plane of the others.
        Twist = "twist",
        /// A mast leans.
        Lean = "lean",
        /// The truss turns about its length.
        Roll = "roll",
        /// A joint of the truss opens.
        Joint = "joint",
        /// A foot gives way slowly.
        Sinking = "sinking",
        /// Masts drawn together or apart by the truss.
        Portal = "portal",
        /// Something holds the truss while rising.
        Caught = "caught",
        /// The truss rests on something while lowering.
        Resting = "resting",
        /// A tower does not carry what it must while lowering.
        Slack = "slack",
        /// Share plus adapter over the rating.
        Overload = "overload",
        /// A head fell.
        Dropped = "dropped",
        /// A section does not move.
        Stuck = "stuck",
        /// Brake or rope gives.
        Slipping = "slipping",
        /// End of a section reached.
        Top = "top",
        /// Total or share off the plan, no cause found.
        OffPlan = "off-plan",
        /// More hangs than planned.
        ExtraWeight = "extra-weight",
        /// Less hangs than planned.
        MissingWeight = "missing-weight",
        /// Too light to come down by itself.
        Light = "light",
        /// The rope still carries after landing.
        NotLanded = "not-landed",
        /// Rope crossed on the drum.
        Crossed = "crossed",
        /// Load goes past the cell.
        Bypassed = "bypassed",
        /// A node or channel that was heard is not heard now.
        Silent = "silent",
        /// A node or channel of the kit that was not yet heard.
        NeverHeard = "never-heard",
        /// A channel repeats one value.
        Frozen = "frozen",
        /// An instrument was moved.
        Knocked = "knocked",
        /// A channel is too noisy to guard.
        Noisy = "noisy",
        /// A channel outside its stated range.
        OutOfRange = "out-of-range",
        /// A zero no longer holds.
        ZeroGone = "zero-gone",
        /// Two towers' instruments are exchanged.
        Swapped = "swapped",
        /// An instrument is mounted the wrong way round.
        Backwards = "backwards",
        /// Readings in another unit than stated.
        WrongUnit = "wrong-unit",
        /// The plan does not fit what is heard.
        WrongPlan = "wrong-plan",
        /// A battery is low.
        Battery = "battery",
        /// A node's clock jumped or drifts.
        Skew = "skew",
        /// A channel the work needs is not fitted.
        NotFitted = "not-fitted",
        /// A person said STOP.
        StopSaid = "stop-said",
    }
}

words! {
    /// The word of a call.
    Word {
        /// Nothing may be claimed (not zeroed, not proved, nothing known).
        None = "none",
        /// Calm: the truss is level.
        Level = "level",
        /// Slow down.
        Easy = "easy",
        /// That tower waits.
        Hold = "hold",
        /// That tower comes up by so many turns.
        Up = "up",
        /// That tower goes down by so many turns.
        Down = "down",
        /// Put the pin in.
        Pin = "pin",
        /// All movement ceases.
        Stop = "stop",
    }
}

words! {
    /// The life of a call.
    CallState {
        /// Said for the first time.
        Said = "said",
        /// Said again.
        Repeated = "repeated",
        /// No longer stands.
        Over = "over",
    }
}

words! {
    /// What a person can say to the watch.
    Utterance {
        /// "I tap this box now."
        Tap = "tap",
        /// This channel reads zero now.
        Zero = "zero",
        /// A known weight hangs now.
        KnownWeight = "known-weight",
        /// One turn is being cranked at this tower.
        Turn = "turn",
        /// The sound check was heard.
        SoundHeard = "sound-heard",
        /// A height measured by hand, m.
        Height = "height",
        /// A section is up.
        SectionUp = "section-up",
        /// The pin is in.
        Pinned = "pinned",
        /// The rope's slack is set.
        SlackSet = "slack-set",
        /// Nobody is under it.
        ClearUnder = "clear-under",
        /// The cable tails are free.
        TailsFree = "tails-free",
        /// A call was heard.
        Heard = "heard",
        /// A finding was seen (the lead's).
        Seen = "seen",
        /// STOP (anybody's).
        Stop = "stop",
        /// The stop is released (the lead's).
        Release = "release",
        /// Put a finding aside.
        Shelve = "shelve",
        /// Take it back.
        Unshelve = "unshelve",
        /// An announced change of weight.
        Expect = "expect",
        /// Another crew takes over.
        HandOver = "hand-over",
        /// A note for the record.
        Note = "note",
    }
}

impl Step {
    /// Whether the trade's order goes from this step to `next` (another order is recorded as unusual, never refused).
    pub fn usual(self, next: Step) -> bool {
        use Step::*;
        matches!(
            (self, next),
            (Rig, TestLift)
                | (TestLift, Raise | Rig)
                | (Raise, Section | Land)
                | (Section, Raise | Lower | Land)
                | (Land, Stand | Raise)
                | (Stand, Change | Lower)
                | (Change, Stand)
                | (Lower, Section | Strike | Rig)
                | (Strike, Rig)
        )
    }
}
