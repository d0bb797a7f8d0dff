//! Who is told which word, and when again: one call a recipient, made of the one order of the moment.

pub mod order;
mod words;

pub use order::{Beside, Order, Unclaimed};
pub use words::in_words;

use crate::estimate::Estimate;
use crate::life::Track;
use crate::life::audience::audience;
use crate::phrases::Phrases;
use crate::scene::Scene;
use crate::setup::Setup;
use raisewatch_protocol::told::Call;
use raisewatch_protocol::words::{Audience, CallState, Kind, LifeState, Word};
use raisewatch_protocol::{Mono, Span};
use std::collections::VecDeque;

/// A call stands at least so long before a milder one takes its place.
const STANDS: Span = Span::ms(1_500);
/// A stop is said again so often…
const STOP_AGAIN: Span = Span::ms(2_000);
/// …for so long, and after that…
const STOP_OFTEN: Span = Span::ms(10_000);
/// …so often.
const STOP_LATER: Span = Span::ms(30_000);
/// A hold is said again so often; heard, so often.
const HOLD_AGAIN: Span = Span::ms(5_000);
const HOLD_HEARD: Span = Span::ms(15_000);
/// A tower is known to come down where it moved by a quarter turn within this span.
const MOVED_IN: Span = Span::ms(3_000);
/// Above this share of its rating a tower is not told to move.
const RATING_FREE: f64 = 0.80;

/// All that the order of a moment is made of.
pub struct Moment<'a> {
    /// Now.
    pub now: Mono,
    /// The findings.
    pub tracks: &'a [Track],
    /// What people set.
    pub scene: &'a Scene,
    /// How it stands.
    pub estimate: &'a Estimate,
    /// Plan and kit.
    pub setup: &'a Setup,
    /// Why nothing may be claimed, if so.
    pub unclaimed: Option<Unclaimed>,
    /// Rise of each head for one turn, mm.
    pub per_turn_mm: &'a [f64],
    /// Towers known to have come down by a quarter turn within the last 3 s.
    pub came_down: &'a [bool],
    /// At most so many turns at once, where the lift is cranked on a count.
    pub counted_turn: Option<f64>,
}

impl Moment<'_> {
    fn audience(&self, track: &Track) -> Audience {
        audience(track.kind, track.severity, self.scene)
    }

    /// Head of a tower above the mean of all, mm: only differences are used.
    fn head_mm(&self, tower: usize) -> Option<f64> {
        self.estimate.towers[tower].offset_mm.map(|k| k.value)
    }

    /// Whether this tower may be told to go up or down.
    fn may(&self, tower: usize, word: Word) -> bool {
        use Kind::*;
        let bad = |t: &&Track| {
            t.is_open()
                && matches!(t.kind, Stuck | Slack | Caught | Resting | Silent | NeverHeard | Light | Overload)
                && t.state != LifeState::Returned
                && t.tower.is_none_or(|at| at == tower)
        };
        if self.tracks.iter().any(|t| bad(&t)) {
            return false;
        }
        let plan = &self.setup.plan.towers[tower];
        let now = &self.estimate.towers[tower];
        let height = now.height_m.map(|h| h.value);
        let rated_n = plan.rated_at(raisewatch_protocol::units::Length(height.unwrap_or(plan.full.0))).0;
        let share_n = now.measured_n.or(now.expected_n).map_or(now.planned_n, |s| s.value);
        if share_n + plan.adapter.0 >= RATING_FREE * rated_n {
            return false;
        }
        let turn_m = plan.per_turn.0;
        let room = match word {
            Word::Up => height.is_none_or(|h| plan.full.0 - h > turn_m),
            _ => height.is_none_or(|h| h - plan.collapsed.0 > turn_m),
        };
        room && (word == Word::Up || self.came_down[tower])
    }
}

/// One recipient's call.
#[derive(Clone, Debug)]
struct Standing {
    to: String,
    /// Tower, index in the plan; `None` for spotter and lead.
    tower: Option<usize>,
    call: Option<Call>,
}

/// An order that stands, and when it is said again.
#[derive(Clone, Debug)]
struct Spoken {
    order: Order,
    said: Mono,
    /// When it was last said, the first time or again.
    last: Mono,
    again: Option<Mono>,
    heard: bool,
}

impl Spoken {
    fn new() -> Self {
        Spoken { order: Order::None(Unclaimed::NotZeroed), said: Mono(0), last: Mono(0), again: None, heard: false }
    }
}

/// The calls of a lift.
#[derive(Clone, Debug)]
pub struct Calls {
    crew: Spoken,
    lead: Spoken,
    recipients: Vec<Standing>,
    count: u64,
    per_turn_mm: Vec<f64>,
    heights: Vec<VecDeque<(Mono, f64)>>,
    came_down: Vec<bool>,
    waits_until: Option<Mono>,
    // Room that is used again at every step.
    room: Vec<Beside>,
}

impl Calls {
    /// Nothing said yet.
    pub fn new(setup: &Setup) -> Self {
        let towers = &setup.plan.towers;
        let own = |to: &str, tower| Standing { to: to.to_owned(), tower, call: None };
        let mut recipients = vec![own("spotter", None), own("lead", None)];
        recipients.extend(towers.iter().enumerate().map(|(i, t)| own(&t.id, Some(i))));
        Calls {
            crew: Spoken::new(),
            lead: Spoken::new(),
            recipients,
            count: 0,
            per_turn_mm: towers.iter().map(|t| t.per_turn.mm()).collect(),
            heights: vec![VecDeque::with_capacity(64); towers.len()],
            came_down: vec![false; towers.len()],
            waits_until: None,
            room: Vec::with_capacity(towers.len()),
        }
    }

    /// The calls that stand, by recipient.
    pub fn standing(&self) -> impl Iterator<Item = (&str, &Call)> {
        self.recipients.iter().filter_map(|r| r.call.as_ref().map(|c| (r.to.as_str(), c)))
    }

    /// Rise of a tower's head for one turn, mm, as it was measured.
    pub fn set_per_turn_mm(&mut self, tower: usize, mm: f64) {
        self.per_turn_mm[tower] = mm;
    }

    /// Whether nothing keeps any tower from being moved that way.
    pub fn all_may(&self, now: Mono, tracks: &[Track], scene: &Scene, estimate: &Estimate, setup: &Setup, word: Word) -> bool {
        let moment = Moment {
            now,
            tracks,
            scene,
            estimate,
            setup,
            unclaimed: None,
            per_turn_mm: &self.per_turn_mm,
            came_down: &self.came_down,
            counted_turn: None,
        };
        (0..setup.plan.towers.len()).all(|t| moment.may(t, word))
    }

    /// Somebody heard the call: a hold is repeated less often.
    pub fn heard(&mut self, now: Mono) {
        for spoken in [&mut self.crew, &mut self.lead] {
            spoken.heard = true;
            if matches!(spoken.order, Order::Hold { .. } | Order::Easy { .. }) {
                spoken.again = Some((spoken.last + HOLD_HEARD).max(now));
            }
        }
    }

    /// Follows the moment; adds the lines to be told to `out`.
    #[allow(clippy::too_many_arguments)]
    pub fn follow(
        &mut self,
        now: Mono,
        tracks: &[Track],
        scene: &Scene,
        estimate: &Estimate,
        setup: &Setup,
        unclaimed: Option<Unclaimed>,
        counted_turn: Option<f64>,
        phrases: &Phrases,
        out: &mut Vec<Call>,
    ) {
        self.watch_heights(now, estimate);
        let moment = Moment {
            now,
            tracks,
            scene,
            estimate,
            setup,
            unclaimed,
            per_turn_mm: &self.per_turn_mm,
            came_down: &self.came_down,
            counted_turn,
        };
        let crew = order::for_crew(&moment, &self.crew.order, std::mem::take(&mut self.room));
        let own = order::for_lead(&moment, &self.lead.order, &crew);
        let lead = own.as_ref().unwrap_or(&crew);
        self.waits_until = None;
        let first = self.recipients.iter().all(|r| r.call.is_none());
        let crew_turn = settle(&mut self.crew, now, &crew, first, &mut self.waits_until);
        let lead_turn = settle(&mut self.lead, now, lead, first, &mut self.waits_until);
        for at in 0..self.recipients.len() {
            let (turn, order) = if at == 1 { (lead_turn, &self.lead.order) } else { (crew_turn, &self.crew.order) };
            let said = match turn {
                Next::Stands => continue,
                Next::New => CallState::Said,
                Next::Again => CallState::Repeated,
            };
            let made = words::call(&moment, phrases, order, &self.recipients[at].to, self.recipients[at].tower);
            tell(&mut self.recipients[at], &mut self.count, now, made, said, out);
        }
        self.room = crew.into_room();
    }

    /// The next moment at which a call is said again or may give way.
    pub fn deadline(&self, now: Mono) -> Option<Mono> {
        [self.crew.again, self.lead.again, self.waits_until].into_iter().flatten().filter(|m| *m > now).min()
    }

    /// Which towers came down by a quarter turn within the last 3 s, where a height is measured.
    fn watch_heights(&mut self, now: Mono, estimate: &Estimate) {
        for (tower, seen) in self.heights.iter_mut().enumerate() {
            let height = estimate.towers[tower].height_m.filter(|h| h.sigma < 0.01);
            let Some(height) = height else {
                seen.clear();
                self.came_down[tower] = false;
                continue;
            };
            if seen.back().is_none_or(|s| now.since(s.0) >= Span::ms(100)) {
                seen.push_back((now, height.value));
            }
            while seen.len() > 1 && seen.front().is_some_and(|s| now.since(s.0) > MOVED_IN) {
                seen.pop_front();
            }
            let fell_mm = seen.front().map_or(0.0, |s| (s.1 - height.value) * 1000.0);
            self.came_down[tower] = fell_mm >= self.per_turn_mm[tower] / 4.0;
        }
    }
}

/// What becomes of a recipient's call.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Next {
    Stands,
    New,
    Again,
}

/// Lets the order of the moment take its place; a milder one waits until the present one has stood.
fn settle(spoken: &mut Spoken, now: Mono, order: &Order, first: bool, waits_until: &mut Option<Mono>) -> Next {
    if first || !spoken.order.same_but_turns(order) {
        let milder = order.word() != Word::Stop && matches!(spoken.order, Order::Hold { .. } | Order::Easy { .. });
        let withdraws = narrower(&spoken.order, order);
        let blind = matches!(order, Order::None(_));
        let stands_until = spoken.said + STANDS;
        if !first && milder && !withdraws && !blind && now < stands_until {
            *waits_until = Some(waits_until.map_or(stands_until, |w| w.min(stands_until)));
            return Next::Stands;
        }
        *spoken = Spoken { order: order.clone(), said: now, last: now, again: again(order, Span(0), false).map(|s| now + s), heard: false };
        return Next::New;
    }
    if spoken.again.is_some_and(|a| a <= now) {
        spoken.order = order.clone();
        spoken.last = now;
        let next = again(order, now.since(spoken.said), spoken.heard);
        spoken.again = next.map(|s| now + s);
        return Next::Again;
    }
    Next::Stands
}

/// Whether `new` takes back a direction that `old` gives: that must not wait.
fn narrower(old: &Order, new: &Order) -> bool {
    match (old, new) {
        (Order::Hold { then: old, tower: a, .. }, Order::Hold { then: new, tower: b, .. }) => {
            a == b && old.iter().any(|o| !new.iter().any(|n| n.tower == o.tower && n.word == o.word))
        }
        _ => false,
    }
}

/// How long until the order is said again.
fn again(order: &Order, stood: Span, heard: bool) -> Option<Span> {
    match order {
        Order::None(_) | Order::Level => None,
        Order::Stop { .. } => Some(if stood < STOP_OFTEN { STOP_AGAIN } else { STOP_LATER }),
        Order::Hold { .. } | Order::Easy { .. } => Some(if heard { HOLD_HEARD } else { HOLD_AGAIN }),
    }
}

/// Tells one recipient: the old order is over, the new one said; or the same again.
fn tell(recipient: &mut Standing, count: &mut u64, now: Mono, made: words::Made, said: CallState, out: &mut Vec<Call>) {
    if said == CallState::Repeated {
        if let Some(call) = recipient.call.as_mut().filter(|c| is_order(c.call)) {
            made.into_call(call);
            call.t_ms = now;
            call.state = CallState::Repeated;
            out.push(call.clone());
        }
        return;
    }
    if recipient.call.as_ref().is_some_and(|old| made.says_the_same(old)) {
        return;
    }
    if let Some(old) = recipient.call.take().filter(|c| is_order(c.call)) {
        out.push(Call { t_ms: now, state: CallState::Over, ..old });
    }
    *count += 1;
    let mut call = made.blank(now, count.to_string(), recipient.to.clone());
    made.into_call(&mut call);
    out.push(call.clone());
    recipient.call = Some(call);
}

fn is_order(word: Word) -> bool {
    !matches!(word, Word::None | Word::Level)
}
