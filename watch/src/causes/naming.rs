//! Which head is named, on three towers and more: nobody while it may as well be another.

use super::level::Off;
use super::scope::{Held, Scope};
use crate::condition::Stands;
use raisewatch_protocol::words::Severity;
use std::collections::VecDeque;

/// A stop, or an inner head out of the chord, of which it is not told for so long which head it is goes out without a name, s.
pub(super) const UNNAMED_S: f64 = 1.0;

/// What was heard so lately counts as heard now, s.
pub(super) const HEARD_S: f64 = 1.0;
/// The others stand level where they differ by less than this part of what the odd one is off, [practice].
const ALONE: f64 = 0.5;

/// Who stood off by name for so long was told to the crew, s: the on-delay.
const TOLD_S: f64 = 0.5;

/// A counted turn, with its begin and end, and what the filter needs to see it, s; looks at it, s; and most of what stands off.
const TURN_S: f64 = 3.0;
const LOOK_S: f64 = 0.2;
const MOST: f64 = 0.6;
/// Within a counted turn an end of three is not supposed to go on by so many of them: it bends the line by half of what it goes, [practice].
pub(super) const END_TURNS: f64 = 2.8;
/// What came within a turn stands over all that stood out so long ago and longer, s: a head that comes back to where it was is none.
const RISES_S: f64 = 2.4;
/// And stays for so long, s: hands that are called on a count begin within a quarter of a second or so of each other, [practice].
const LASTS_S: f64 = 0.6;

/// Memory of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Naming {
    /// The head that is named, since when, and the one that was so for the on-delay.
    named: (Option<usize>, Held),
    told: Option<usize>,
    /// How far an inner head has stood out of the chord lately: time, s, and mm; and whether most of it came within a turn.
    outs: VecDeque<(f64, f64)>,
    sudden: bool,
    unnamed: Held,
}

impl Naming {
    /// The head that was told, while it stands off.
    pub(super) fn told(&self) -> Option<usize> {
        self.told
    }

    /// Whether most of what an inner head stands out of the chord by came within a turn.
    pub(super) fn sudden(&self) -> bool {
        self.sudden
    }

    /// Keeps how far an inner head stands out, a look every fifth of a second; what comes within a turn is at least `least_mm`.
    pub(super) fn see_out(&mut self, now_s: f64, out_mm: f64, least_mm: f64) {
        while self.outs.front().is_some_and(|o| now_s - o.0 > TURN_S) {
            self.outs.pop_front();
        }
        if self.outs.back().is_none_or(|o| now_s - o.0 >= LOOK_S) {
            self.outs.push_back((now_s, out_mm));
        }
        // Over all that it stood out by before, and for longer than hands that begin one after the other leave a head behind.
        let ago = |o: &(f64, f64)| now_s - o.0;
        let before = self.outs.iter().filter(|o| ago(o) >= RISES_S).map(|o| o.1).reduce(f64::max);
        let lately = self.outs.iter().filter(|o| ago(o) <= LASTS_S).map(|o| o.1).fold(out_mm, f64::min);
        let comes = |out: f64, before: f64, part: f64| out - before >= part * f64::max(MOST * out, least_mm);
        self.sudden = before.is_some_and(|before| comes(out_mm, before, 1.0) && comes(lately, before, MOST));
    }

    /// On three towers and more nobody is named while it may as well be another: a hold of the wrong head makes it worse. A stop
    /// that cannot be named goes out to all.
    pub(super) fn name(&mut self, scope: &Scope, off: &mut Off) {
        // Until it is known whether cranks or heads were levelled, it may be all level.
        let doubted = !(off.as_one || scope.est.estimate().level.certain && stands_alone(scope));
        let nameless = scope.towers() > 2 && (doubted || scope.est.levelling());
        let stops = off.stands == Stands::At(Severity::Stop);
        let moves = scope.scene.guarded_as_moving();
        // Cells tell it, or boxes alone, which may never tell which head it is.
        let told = scope.est.bent() || !scope.est.felt(HEARD_S);
        let warns = off.out.is_some() && moves && told && !scope.est.levelling();
        // A name is waited for as soon as heads are no longer clear of the limit, so that the warn itself need not wait for it again.
        let waits = stops || warns && matches!(off.stands, Stands::Within | Stands::At(_));
        let lasted = self.unnamed.see(nameless && waits, scope.now_s());
        if !nameless {
            return;
        }
        match off.stands {
            Stands::At(severity) if lasted >= UNNAMED_S && (severity == Severity::Stop || warns) || off.beyond => {
                off.tower = None;
                off.amount = off.out.unwrap_or(off.amount);
            }
            // It was not named from the start.
            Stands::At(_) if off.tower.is_none() => {}
            Stands::At(_) => off.stands = Stands::Within,
            _ => {}
        }
    }

    /// Keeps the name of what has stood long enough to be told; it is over when heads are clear of their limits.
    pub(super) fn keep(&mut self, scope: &Scope, off: &Off) {
        let named = off.tower.filter(|_| scope.towers() > 2 && matches!(off.stands, Stands::At(_)));
        let same = named.is_some() && named == self.named.0;
        let since = &mut self.named.1;
        if !same {
            since.see(false, scope.now_s());
        }
        let lasted = since.see(named.is_some(), scope.now_s());
        self.named.0 = named;
        if named.is_some() && lasted >= TOLD_S {
            self.told = named;
        } else if matches!(off.stands, Stands::Clear | Stands::Unknown) || scope.towers() < 3 {
            self.told = None;
        }
    }
}

/// Whether the odd head of three and more is one that left the others. Where no shares are heard, boxes that know the heads poorly
/// may let it seem likeliest that all stand level and the odd one least out of it: of such a one no name is told.
pub(super) fn stands_alone(scope: &Scope) -> bool {
    let estimate = scope.est.estimate();
    let Some(odd) = estimate.level.odd.filter(|_| !scope.est.felt(HEARD_S)) else { return true };
    let others = (0..scope.towers()).filter(|&j| j != odd).filter_map(|j| estimate.towers[j].offset_mm.map(|o| o.value));
    let (low, high) = others.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), o| (l.min(o), h.max(o)));
    estimate.level.above_mm[odd].is_some_and(|above| high - low < ALONE * above.value.abs())
}
