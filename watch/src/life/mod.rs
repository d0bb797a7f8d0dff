//! What was told and what became of it: the findings of a lift, each with its delays in time, its state and its id.
//!
//! [`Ledger::weigh`] takes the conditions of a moment; the table of states is [`table::turn`], the delays [`delays::delays`].

pub mod audience;
pub mod delays;
pub mod precedence;
pub mod table;
mod track;

pub use track::Track;

use crate::condition::{Condition, Stands};
use crate::scene::Scene;
use raisewatch_protocol::words::{Kind, LifeState, Severity};
use raisewatch_protocol::{Mono, Span};
use table::{Heard, Refusal, Turn};

/// How long a returned warn waits to be seen before it is over by itself.
const RETURNED_FOR: Span = Span::ms(60_000);
/// Longest shelving while moving, and while standing.
const SHELVE_MOVING: Span = Span::ms(60_000);
const SHELVE_STILL: Span = Span::ms(8 * 3_600_000);

/// Something to be told of one finding: which, and whether only its amount is new.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// Index in [`Ledger::tracks`].
    pub track: usize,
    /// The state it is in at this line (a later line of the same moment may tell another).
    pub state: LifeState,
    /// A new amount in the same state.
    pub change: bool,
}

/// The findings of a lift, open and over.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    tracks: Vec<Track>,
    told: Vec<Told>,
    towers: Vec<String>,
    quarter_turn_mm: f64,
}

impl Ledger {
    /// No findings yet. `towers`: their ids in plan order; `quarter_turn_mm`: what counts as worse for a height.
    pub fn new(towers: Vec<String>, quarter_turn_mm: f64) -> Self {
        Ledger { towers, quarter_turn_mm, ..Ledger::default() }
    }

    fn in_line(&self) -> bool {
        self.towers.len() > 2
    }

    /// All tracks, in the order in which they first came up.
    pub fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    /// The open findings, in the order in which their lives began.
    pub fn open(&self) -> impl Iterator<Item = &Track> {
        self.tracks.iter().filter(|t| t.is_open())
    }

    /// What is to be told since the last call; the caller renders it.
    pub fn take_told(&mut self, out: &mut Vec<Told>) {
        out.append(&mut self.told);
    }

    /// Weighs the conditions of this moment. Every track that `conditions` does not name counts as not known.
    pub fn weigh(&mut self, now: Mono, scene: &Scene, conditions: &[Condition]) {
        for track in &mut self.tracks {
            track.given = false;
        }
        for condition in conditions {
            if let Some(at) = self.place(condition) {
                self.tracks[at].take(now, condition);
            }
        }
        for at in 0..self.tracks.len() {
            if !self.tracks[at].given {
                self.tracks[at].nothing_known();
            }
            self.settle(now, scene, at);
        }
    }

    /// The track of a condition; a new one is begun only by a condition that stands.
    fn place(&mut self, condition: &Condition) -> Option<usize> {
        let found = self.tracks.iter().position(|t| t.is_of(condition));
        match (found, condition.stands) {
            (Some(at), _) => Some(at),
            (None, Stands::At(_)) => {
                self.tracks.push(Track::new(condition));
                Some(self.tracks.len() - 1)
            }
            (None, _) => None,
        }
    }

    /// Lets time and the newest condition work on one track.
    fn settle(&mut self, now: Mono, scene: &Scene, at: usize) {
        let in_line = self.in_line();
        let track = &self.tracks[at];
        let due = track.due(now, |severity| track.waits(severity, scene, in_line));
        let again = track.ripe(now, |severity| track.waits(severity, scene, in_line)).is_some();
        let off = delays::delays(track.kind, track.severity, scene, in_line).off;
        self.tracks[at].easing &= !again;
        if let Some(severity) = due {
            if !self.tracks[at].stands && !self.tracks[at].now.never_gated && self.is_explained(at) {
                return self.expire(now, at);
            }
            self.comes(now, at, severity);
        } else if self.tracks[at].gone(now, off) {
            self.tracks[at].stands = false;
            self.hear(now, at, Heard::Goes);
        }
        self.expire(now, at);
    }

    fn is_explained(&self, at: usize) -> bool {
        let it = &self.tracks[at];
        self.tracks.iter().enumerate().any(|(other, cause)| {
            other != at
                && cause.is_open()
                && !matches!(cause.state, LifeState::Returned | LifeState::Shelved)
                && precedence::explained(cause.kind, cause.tower, it.kind, it.tower)
        })
    }

    /// The condition of one track stands at `severity` after its delay.
    fn comes(&mut self, now: Mono, at: usize, severity: Severity) {
        let comes = !self.tracks[at].stands;
        self.tracks[at].stands = true;
        if !self.tracks[at].is_open() {
            self.begin(at, severity);
            let heard = if severity == Severity::Stop { Heard::BecomesStop } else { Heard::Comes };
            self.hear(now, at, heard);
            return;
        }
        let was_stop = self.tracks[at].ever_stop;
        let risen = self.tracks[at].rise(severity);
        if risen && severity == Severity::Stop && !was_stop {
            self.hear(now, at, Heard::BecomesStop);
        } else if comes {
            self.hear(now, at, Heard::Comes);
        } else if risen {
            self.hear_risen(now, at);
        } else if self.tracks[at].is_worse(self.quarter_turn_mm) {
            self.hear(now, at, Heard::Worse);
        }
    }

    /// A higher severity below a stop: worse, and told by a `raised` line where the state stays.
    fn hear_risen(&mut self, now: Mono, at: usize) {
        let told = self.told.len();
        self.hear(now, at, Heard::Worse);
        for line in &mut self.told[told..] {
            line.change = false;
        }
    }

    fn begin(&mut self, at: usize, severity: Severity) {
        let (kind, tower) = (self.tracks[at].kind, self.tracks[at].tower);
        let lives: u32 = self.tracks.iter().filter(|t| t.kind == kind && t.tower == tower).map(|t| t.life).sum();
        let place = tower.and_then(|t| self.towers.get(t)).map_or("all", String::as_str);
        let id = format!("{kind}-{place}-{}", lives + 1);
        self.tracks[at].begin(severity, id);
    }

    /// Returned warns and shelvings run out.
    fn expire(&mut self, now: Mono, at: usize) {
        let track = &self.tracks[at];
        if track.expires().is_some_and(|end| end <= now) {
            self.hear(now, at, Heard::Unshelve);
        }
    }

    /// Works the table on one track; tells what changed. Returns why a word was refused.
    fn hear(&mut self, now: Mono, at: usize, heard: Heard) -> Option<Refusal> {
        let track = &mut self.tracks[at];
        match table::turn(track.state, heard, track.marks()) {
            Turn::Stays | Turn::NewEnd => None,
            Turn::Refused(why) => Some(why),
            Turn::To(state) => {
                track.enter(now, state);
                self.told.push(Told { track: at, state, change: false });
                None
            }
            Turn::Change => {
                track.told_amount = track.now.amount.map(|a| a.value);
                self.told.push(Told { track: at, state: self.tracks[at].state, change: true });
                None
            }
            Turn::SeenNow => {
                track.seen = true;
                self.told.push(Told { track: at, state: self.tracks[at].state, change: false });
                None
            }
        }
    }

    /// The lead has seen the finding `id`, or all that can be seen.
    pub fn seen(&mut self, now: Mono, id: Option<&str>) -> Answer {
        self.each(id, |ledger, at| ledger.hear(now, at, Heard::Seen))
    }

    /// The lead releases the stop `id`, or all stops. A person's STOP needs this one word and nothing before it.
    pub fn release(&mut self, now: Mono, id: Option<&str>) -> Answer {
        self.each(id, |ledger, at| {
            if ledger.tracks[at].kind == Kind::StopSaid && ledger.tracks[at].is_open() {
                let track = &mut ledger.tracks[at];
                track.stands = false;
                track.seen = true;
                track.enter(now, LifeState::Cleared);
                ledger.told.push(Told { track: at, state: LifeState::Cleared, change: false });
                return None;
            }
            if id.is_none() && !ledger.tracks[at].ever_stop {
                return None;
            }
            ledger.hear(now, at, Heard::Release)
        })
    }

    /// Puts the finding `id` aside for `span` (cut to the longest that is allowed).
    pub fn shelve(&mut self, now: Mono, scene: &Scene, id: &str, span: Option<Span>) -> Answer {
        let longest = if scene.guarded_as_moving() { SHELVE_MOVING } else { SHELVE_STILL };
        let end = now + span.map_or(longest, |s| s.min(longest));
        self.each(Some(id), |ledger, at| {
            let refused = ledger.hear(now, at, Heard::Shelve);
            if refused.is_none() {
                ledger.tracks[at].shelved_until = Some(end);
            }
            refused
        })
    }

    /// Takes the finding `id` back, or all that are put aside.
    pub fn unshelve(&mut self, now: Mono, id: Option<&str>) -> Answer {
        self.each(id, |ledger, at| {
            if ledger.tracks[at].state == LifeState::Shelved {
                ledger.hear(now, at, Heard::Unshelve);
            }
            None
        })
    }

    /// The step changed: nothing stays put aside.
    pub fn step_changed(&mut self, now: Mono) {
        self.unshelve(now, None);
    }

    fn each(&mut self, id: Option<&str>, mut act: impl FnMut(&mut Self, usize) -> Option<Refusal>) -> Answer {
        let mut answer = Answer { found: false, refused: None };
        for at in 0..self.tracks.len() {
            let named = match id {
                Some(id) => self.tracks[at].id == id,
                None => self.tracks[at].is_open(),
            };
            if named {
                answer.found = true;
                if let Some(why) = act(self, at)
                    && answer.refused.is_none()
                {
                    answer.refused = Some((why, at));
                }
            }
        }
        answer
    }

    /// The next moment at which time alone changes a finding; `None` where none does. Moments up to `now` are over.
    pub fn deadline(&self, now: Mono, scene: &Scene) -> Option<Mono> {
        let mut next: Option<Mono> = None;
        for track in &self.tracks {
            let on = |severity| track.waits(severity, scene, self.in_line());
            let off = delays::delays(track.kind, track.severity, scene, self.in_line()).off;
            track.moments(on, off, |moment| {
                if moment > now && next.is_none_or(|n| moment < n) {
                    next = Some(moment);
                }
            });
        }
        next
    }
}

/// What became of a word about findings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Whether any finding was meant.
    pub found: bool,
    /// Why it was refused, and for which track.
    pub refused: Option<(Refusal, usize)>,
}

impl Track {
    /// When a returned warn or a shelving runs out.
    fn expires(&self) -> Option<Mono> {
        match self.state {
            LifeState::Returned => Some(self.entered + RETURNED_FOR),
            LifeState::Shelved => self.shelved_until,
            LifeState::Raised | LifeState::Acknowledged | LifeState::Mending | LifeState::Latched | LifeState::Cleared => None,
        }
    }
}

#[cfg(test)]
mod tests;
