//! Whether the hands of a crew that cranks by counted turns begin now: all of them do on one count.
//!
//! A handle that turns slowly or stops leaves its box where it stands: for the time of a counted turn what would be a swing is an
//! offset of all boxes. What tells of it is the ripple of the boxes together, in what a crank makes of it when it turns: one box
//! alone may turn half round without a ripple, and beats with the sway in longer cranking.

use super::tilt::Tilt;

/// A counted turn with its begin and its end takes so long, s (docs/trade.md section 0: 0.8 to 1.2 turns a second, the last of it slower);
/// what goes on for longer is cranking that is steady.
const TURN_S: f64 = 2.5;
/// At rest: below this part of what cranks make, for so long, s…
const REST: f64 = 0.2;
const REST_S: f64 = 0.7;
/// …and they begin where any box shows more than this.
const BEGINS: f64 = 0.35;
/// Where the shares say that a head has started or stopped, hands have, unless they have just been seen to, s.
const JUST_S: f64 = 1.0;
/// Between turns that follow each other while the sway still rings the ripple dips below this part, and rises past that.
const DIPS: f64 = 0.3;
const RISES: f64 = 0.75;

/// The hands of the crew.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hands {
    /// For how long the ripple has been that of hands at rest, s.
    rested_s: f64,
    rest: bool,
    dipped: bool,
    /// For how long they have cranked, s.
    cranked_s: f64,
    /// Whether boxes alone tell of them while heads are cranked.
    unfelt: bool,
    /// Whether they begin now.
    pub begin: bool,
}

impl Default for Hands {
    fn default() -> Self {
        Hands { rested_s: 0.0, rest: true, dipped: true, cranked_s: f64::INFINITY, unfelt: false, begin: false }
    }
}

impl Hands {
    /// Lets `dt_s` pass, by what the boxes ripple now. `starts`: the shares say that a head has started. `unfelt`: heads are
    /// cranked and no shares are heard that would say so.
    pub fn see<'a>(&mut self, boxes: impl Iterator<Item = &'a Tilt>, starts: bool, unfelt: bool, dt_s: f64) {
        self.unfelt = unfelt;
        let (now, usual, most) = boxes.fold((0.0, 0.0, 0.0_f64), |(now, usual, most), b| {
            (now + b.moment(), usual + b.usual(), most.max(b.moment() / b.usual().max(1e-12)))
        });
        let part = now / f64::max(usual, 1e-12);
        self.rested_s = if part < REST { self.rested_s + dt_s } else { 0.0 };
        self.rest |= self.rested_s >= REST_S;
        self.dipped |= part < DIPS;
        // What they did before the first reading nobody knows.
        let first = self.cranked_s.is_infinite();
        self.begin = first || self.rest && most > BEGINS || self.dipped && part > RISES || starts && self.cranked_s > JUST_S;
        if self.begin {
            (self.rest, self.dipped, self.cranked_s) = (false, false, 0.0);
        } else {
            self.cranked_s += dt_s;
        }
    }

    /// Whether they rest.
    pub fn rests(&self) -> bool {
        self.rest
    }

    /// Whether what they turn may be a counted turn.
    pub fn turn(&self) -> bool {
        self.cranked_s < TURN_S
    }

    /// Whether boxes alone tell of them while heads are cranked.
    pub fn unfelt(&self) -> bool {
        self.unfelt
    }

    /// Whether handles may stand anywhere: after they were seen to begin, and, where boxes alone tell of them, at any time: a slow
    /// part of a turn leans a box by a ripple's height without rippling it, and no share says that hands have begun.
    pub fn may_turn(&self) -> bool {
        self.unfelt || self.turn()
    }
}
