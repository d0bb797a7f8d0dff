//! The one order of the moment: from the open findings, what the crew is told, and what may be said beside a hold.
//!
//! At most one order at a time, never contradictory. A stop has a reason, no amount and no direction. `up` and `down` are said only
//! beside a `hold`, under the rule of docs/forms.md, "When the program may say up or down".

use super::Moment;
use crate::condition::Stands;
use crate::life::Track;
use crate::scene::Motion;
use raisewatch_protocol::words::{Audience, Kind, LifeState, Severity, Word};

/// What a tower does beside a hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// Tower, index in the plan.
    pub tower: usize,
    /// `up` or `down`.
    pub word: Word,
    /// Turns in quarters, at most 2.
    pub turns: f64,
}

/// Why nothing is claimed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unclaimed {
    /// A channel on which level or share rests has no zero.
    NotZeroed,
    /// A tower has not been proved by a turn.
    NotProved,
    /// Nothing is heard from this tower.
    NoData(usize),
    /// This tower is heard too seldom to guard a moving lift.
    TooSlow(usize),
    /// The instruments fitted and heard do not tell the level.
    Unknown,
    /// A stop stands and the lead is curing it.
    LeadDirects,
    /// A stop that is told to the lead alone.
    WaitForLead,
}

/// What is told now.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// Nothing may be claimed.
    None(Unclaimed),
    /// Level.
    Level,
    /// Slow down.
    Easy {
        /// Why.
        kind: Kind,
        /// Where.
        tower: Option<usize>,
        /// The finding, index of its track.
        track: usize,
    },
    /// One tower waits (or, without a tower, all those that are not named beside it).
    Hold {
        /// Who waits.
        tower: Option<usize>,
        /// What others do meanwhile.
        then: Vec<Beside>,
        /// Why.
        kind: Kind,
        /// The finding, index of its track.
        track: usize,
    },
    /// All movement ceases.
    Stop {
        /// Why.
        kind: Kind,
        /// Where.
        tower: Option<usize>,
        /// The finding, index of its track.
        track: usize,
    },
}

impl Order {
    /// The word of the order.
    pub fn word(&self) -> Word {
        match self {
            Order::None(_) => Word::None,
            Order::Level => Word::Level,
            Order::Easy { .. } => Word::Easy,
            Order::Hold { .. } => Word::Hold,
            Order::Stop { .. } => Word::Stop,
        }
    }

    /// The finding behind it.
    pub fn track(&self) -> Option<usize> {
        match self {
            Order::None(_) | Order::Level => None,
            Order::Easy { track, .. } | Order::Hold { track, .. } | Order::Stop { track, .. } => Some(*track),
        }
    }

    /// The room of what goes on beside it.
    pub fn into_room(self) -> Vec<Beside> {
        match self {
            Order::Hold { then, .. } => then,
            _ => Vec::new(),
        }
    }

    /// Whether it says the same, turns aside: those are renewed when the order is repeated.
    pub fn same_but_turns(&self, other: &Order) -> bool {
        match (self, other) {
            (Order::Hold { tower: a, then: x, track: t, .. }, Order::Hold { tower: b, then: y, track: u, .. }) => {
                a == b && t == u && x.len() == y.len() && x.iter().zip(y).all(|(p, q)| p.tower == q.tower && p.word == q.word)
            }
            _ => self == other,
        }
    }
}

/// The order for the crew at this moment. `standing`: what was told before, so that a stop keeps its first reason. `room`: of an order
/// that is no longer needed, for what goes on beside a hold, so that one which stands takes no memory at every step.
pub fn for_crew(moment: &Moment, standing: &Order, room: Vec<Beside>) -> Order {
    if let Some(stop) = stop(moment, standing, Audience::Crew) {
        return stop;
    }
    if moment.tracks.iter().any(|t| t.state == LifeState::Mending) {
        return Order::None(Unclaimed::LeadDirects);
    }
    if moment.tracks.iter().any(is_stop) {
        return Order::None(Unclaimed::WaitForLead);
    }
    let warned = warned(moment, standing);
    if let Some((at, Word::Easy)) = warned {
        return Order::Easy { kind: moment.tracks[at].kind, tower: moment.tracks[at].tower, track: at };
    }
    match (warned, moment.unclaimed) {
        (Some((at, _)), None) => hold(moment, at, room),
        // How the whole stands is not known, what is told of it is: it holds, and nobody is directed.
        (Some((at, _)), Some(Unclaimed::Unknown)) if matches!(moment.tracks[at].now.stands, Stands::At(_)) => hold_alone(moment, at),
        (_, Some(why)) => Order::None(why),
        (None, None) => Order::Level,
    }
}

/// A stop that is told to the lead alone; `None` where the lead's order is the crew's.
pub fn for_lead(moment: &Moment, standing: &Order, crew: &Order) -> Option<Order> {
    match crew {
        Order::Stop { .. } => None,
        _ => stop(moment, standing, Audience::Lead),
    }
}

/// A stop that calls: it stands or is latched, and the lead is not curing it.
fn is_stop(track: &Track) -> bool {
    track.ever_stop && matches!(track.state, LifeState::Raised | LifeState::Acknowledged | LifeState::Latched)
}

fn stop(moment: &Moment, standing: &Order, to: Audience) -> Option<Order> {
    let calls = |t: &Track| is_stop(t) && (to == Audience::Lead || moment.audience(t) == Audience::Crew);
    let first = moment.tracks.iter().enumerate().filter(|(_, t)| calls(t)).min_by_key(|(_, t)| (gravity(t.kind), t.began))?.0;
    let at = match standing {
        // The first reason is kept while it is open, unless a graver cause has come.
        Order::Stop { track, .. }
            if calls(&moment.tracks[*track]) && gravity(moment.tracks[*track].kind) <= gravity(moment.tracks[first].kind) =>
        {
            *track
        }
        _ => first,
    };
    Some(Order::Stop { kind: moment.tracks[at].kind, tower: moment.tracks[at].tower, track: at })
}

/// The gravest cause is told where several stop: the lower, the graver.
fn gravity(kind: Kind) -> u8 {
    use Kind::*;
    match kind {
        StopSaid => 0,
        Dropped | Slipping => 1,
        Slack => 2,
        Caught | Resting => 3,
        Stuck | Top => 4,
        Overload => 5,
        Portal | Lean | Roll | Joint | Sinking => 6,
        Uneven | Twist => 7,
        Silent | NeverHeard => 8,
        ExtraWeight | MissingWeight | Light => 9,
        OffPlan | NotLanded | Crossed | Bypassed => 10,
        Frozen | Knocked | Noisy | OutOfRange | ZeroGone | Swapped | Backwards | WrongUnit | WrongPlan => 11,
        Battery | Skew | NotFitted => 12,
    }
}

/// The warn that calls the crew, and by which word.
fn warned(moment: &Moment, standing: &Order) -> Option<(usize, Word)> {
    // A hold that has eased does not begin again for a moment over the limit, nor does one that still stands end in it.
    let holding = standing.track();
    let held = |t: &Track| holding.is_some_and(|at| std::ptr::eq(&moment.tracks[at], t)) && matches!(t.now.stands, Stands::At(_));
    let calls = |t: &Track| {
        matches!(t.state, LifeState::Raised | LifeState::Acknowledged)
            && (!t.easing || held(t))
            && t.severity >= Severity::Warn
            && moment.audience(t) == Audience::Crew
    };
    let word = |t: &Track| match t.kind {
        Kind::Uneven | Kind::Twist => Word::Hold,
        _ => Word::Easy,
    };
    if let Some(at) = standing.track().filter(|at| calls(&moment.tracks[*at])) {
        let graver = |t: &Track| calls(t) && gravity(t.kind) < gravity(moment.tracks[at].kind);
        if !moment.tracks.iter().any(graver) {
            return Some((at, word(&moment.tracks[at])));
        }
    }
    let first = moment.tracks.iter().enumerate().filter(|(_, t)| calls(t)).min_by_key(|(_, t)| (gravity(t.kind), t.began));
    first.map(|(at, t)| (at, word(t)))
}

/// Who waits and who is moved meanwhile.
fn hold(moment: &Moment, at: usize, mut then: Vec<Beside>) -> Order {
    then.clear();
    let track = &moment.tracks[at];
    let (kind, named) = (track.kind, track.tower);
    let alone = Order::Hold { tower: named, then: Vec::new(), kind, track: at };
    let (Some(named), Some(amount)) = (named, track.now.amount) else { return alone };
    if !matches!(kind, Kind::Uneven | Kind::Twist) || moment.scene.motion == Motion::Still {
        return alone;
    }
    let up = moment.scene.motion == Motion::Up;
    let word = if up { Word::Up } else { Word::Down };
    // Raising, what is low comes up to what is high; lowering, what is high comes down to what is low.
    let named_waits = (amount.value > 0.0) == up;
    let turns = |tower: usize, mm: f64| quarters(mm.abs(), moment.per_turn_mm[tower], moment.counted_turn);
    if named_waits {
        let mm = |t: usize| match (moment.head_mm(named), moment.head_mm(t)) {
            (Some(held), Some(other)) => held - other,
            _ => 0.0,
        };
        let behind = |t: &usize| *t != named && (if up { mm(*t) > 0.0 } else { mm(*t) < 0.0 }) && moment.may(*t, word);
        let beside = |t: usize| turns(t, mm(t)).map(|turns| Beside { tower: t, word, turns });
        then.extend((0..moment.per_turn_mm.len()).filter(behind).filter_map(beside));
        // Who is not named goes on: where another corner of a ring stands as high, all hold that are not to be moved.
        let as_high = |t: usize| t != named && moment.head_mm(t).is_some() && turns(t, mm(t)).is_none();
        let ring = moment.estimate.level.through.len() == 3;
        let all = ring && kind == Kind::Uneven && !then.is_empty() && (0..moment.per_turn_mm.len()).any(as_high);
        return Order::Hold { tower: Some(named).filter(|_| !all), then, kind, track: at };
    }
    let own = turns(named, amount.value).filter(|_| moment.may(named, word));
    // What lags may not be moved: then the others wait, and nothing goes on beside.
    then.extend(own.map(|turns| Beside { tower: named, word, turns }));
    Order::Hold { tower: None, then, kind, track: at }
}

/// Who waits, where nobody can be directed.
fn hold_alone(moment: &Moment, at: usize) -> Order {
    let track = &moment.tracks[at];
    let up = moment.scene.motion == Motion::Up;
    // A head that lags behind is not the one to wait.
    let waits = track.now.amount.is_none_or(|amount| (amount.value > 0.0) == up);
    Order::Hold { tower: track.tower.filter(|_| waits), then: Vec::new(), kind: track.kind, track: at }
}

/// The nearest quarter turn, at most two and at most the counted turn; nothing below an eighth.
fn quarters(mm: f64, per_turn_mm: f64, counted: Option<f64>) -> Option<f64> {
    let turns = (mm / per_turn_mm * 4.0).round() / 4.0;
    let most = counted.map_or(2.0, |c| (c * 4.0).floor() / 4.0).clamp(0.25, 2.0);
    (turns >= 0.25).then_some(turns.min(most))
}
