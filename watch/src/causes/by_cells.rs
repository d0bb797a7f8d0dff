//! How the truss is bent or twisted where the rake of the whole is not known: cells alone on three towers and more.
//!
//! The self-held patterns of the shares tell an inner head out of the chord of the ends, or a corner off the plane of the others, to
//! millimetres. Which head it is they tell only as far as a small slip is likelier than a large one ([`crate::estimate::odd`]): an
//! inner head that came to stand off within a turn is named; a corner of a ring of four is not, and all hold.

use super::level::{Off, doubted};
use super::naming::UNNAMED_S;
use super::scope::{Held, Scope, against, limit_of};
use crate::condition::{Known, Stands};
use crate::estimate::level::{Layout, factors, over_chord, three_others};
use crate::estimate::odd::{NAMED_SUDDEN, Suppositions};
use raisewatch_protocol::words::Kind;

/// Memory of it.
#[derive(Clone, Debug, Default)]
pub struct ByCells {
    suppositions: Suppositions,
    unnamed: Held,
}

impl ByCells {
    /// How far the furthest head stands off; nothing where no shares tell it. `sudden`: most of it came within a turn.
    pub(super) fn judge(&mut self, scope: &Scope, sudden: bool) -> Option<Off> {
        let layout = scope.est.sums().layout;
        let rows = scope.rows();
        let (kind, pair) = match layout {
            Layout::Pair => return None,
            Layout::Line => (Kind::Uneven, rows.line_mm?),
            Layout::Ring => (Kind::Twist, rows.twist_mm?),
        };
        if !scope.est.bent() || scope.est.levelling() {
            return None;
        }
        let heads = scope.est.as_bent();
        self.suppositions.weigh(scope.towers(), &heads);
        let likeliest = self.suppositions.likeliest()?;
        let amount = match layout {
            Layout::Ring => out_of_plane(scope, likeliest),
            _ => (1..scope.towers() - 1).map(|j| out_of_chord(scope, j)).reduce(further)?,
        };
        let size = Known { value: amount.value.abs(), sigma: amount.sigma };
        let inner = layout == Layout::Line && likeliest > 0 && likeliest + 1 < scope.towers();
        let certain = inner && sudden && self.suppositions.ahead(likeliest) >= NAMED_SUDDEN;
        let mut stands = doubted(scope, size, against(size.value, &pair), &pair);
        let waits = matches!(stands, Stands::At(_) | Stands::Within) && !certain;
        let lasted = self.unnamed.see(waits, scope.now_s());
        let limit = limit_of(stands, &pair);
        if matches!(stands, Stands::At(_)) && !certain && lasted < UNNAMED_S {
            stands = Stands::Within;
        }
        let tower = certain.then_some(likeliest);
        let amount = if certain { out_of_chord(scope, likeliest) } else { amount };
        Some(Off { kind, tower, amount, stands, limit, beyond: false, sure: false, as_one: true, out: None })
    }

    /// How far the furthest inner head stands out of the chord of the ends, mm, not negative; nothing but in line.
    pub(super) fn out_mm(&self, scope: &Scope) -> Option<f64> {
        let inner = 1..scope.towers() - 1;
        (scope.est.sums().layout == Layout::Line && scope.est.bent())
            .then(|| inner.map(|j| out_of_chord(scope, j).value.abs()).fold(0.0, f64::max))
    }
}

/// The one that stands off further, either way.
pub(super) fn further(a: Known, b: Known) -> Known {
    if b.value.abs() > a.value.abs() { b } else { a }
}

/// Inner head `j` over the chord of the ends, mm.
fn out_of_chord(scope: &Scope, j: usize) -> Known {
    scope.est.bend_mm(&over_chord(&scope.est.sums().at, j))
}

/// Corner `j` over the plane of three others, mm.
fn out_of_plane(scope: &Scope, j: usize) -> Known {
    let at = &scope.est.sums().at;
    let others = three_others(j, at);
    let f = factors(&others, Layout::Ring, at, j);
    scope.est.bend_mm(&[(j, 1.0), (others[0], -f[0]), (others[1], -f[1]), (others[2], -f[2])])
}
