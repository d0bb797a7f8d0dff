//! Counted turns: by how much each tower is cranked next, so that the whole comes up evenly.
//!
//! Advice: the lead calls, and no order is made of it. All heads are brought to one height, the highest that the lowest head
//! reaches with one counted turn; whoever stands higher cranks less, or waits. Raising only: lowering, a tower that is high may be
//! a section that sticks, and more turns there would slacken its rope (docs/forms.md, "When the program may say up or down").

use serde::Serialize;

/// Part turns are told in quarters; the advice changes once it is off by this much more than half of one.
const STICKS: f64 = 0.05;
/// And once it would have been another for so long, s: hands that still turn change it from moment to moment.
const SETTLES_S: f64 = 1.5;

/// The next part turns.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextTurnsView {
    /// By tower, in plan order.
    pub towers: Vec<NextTurn>,
    /// In words, for the desk.
    pub text: String,
}

/// The next part turn of one tower.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextTurn {
    /// Tower id.
    pub tower: String,
    /// Turns up, in quarters; 0: wait.
    pub turns: f64,
    /// In words, for its page.
    pub text: String,
}

/// One head, as the sums need it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Head {
    /// Above the mean of all, or above the level line, mm.
    pub offset_mm: f64,
    /// One standard deviation.
    pub sigma_mm: f64,
    /// Rise for one turn, mm.
    pub per_turn_mm: f64,
}

/// Keeps the advice from fluttering between two quarters.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NextTurns {
    turns: Vec<f64>,
    given: bool,
    /// What it would be, and since when, s.
    wanted: Vec<f64>,
    since_s: Option<f64>,
}

impl NextTurns {
    /// For so many towers.
    pub fn new(towers: usize) -> Self {
        NextTurns { turns: vec![0.0; towers], given: false, wanted: vec![0.0; towers], since_s: None }
    }

    /// Turns of each tower; `None` while they are withheld.
    pub fn turns(&self) -> Option<&[f64]> {
        self.given.then_some(&self.turns)
    }

    /// Nothing may be advised now.
    pub fn withhold(&mut self) {
        (self.given, self.since_s) = (false, None);
    }

    /// Works the advice out. `heads`: by tower, all of them; `counted`: the counted turn.
    pub fn look(&mut self, heads: &[Head], counted: f64, now_s: f64) {
        let most = ((counted * 4.0).floor() / 4.0).max(0.25);
        // Half a counted turn of doubt would turn the order of the towers about.
        let known =
            heads.len() == self.turns.len() && heads.iter().all(|h| h.sigma_mm <= 0.5 * most * h.per_turn_mm && h.per_turn_mm > 0.0);
        if !known {
            return self.withhold();
        }
        let reach = heads.iter().map(|h| h.offset_mm + most * h.per_turn_mm).fold(f64::INFINITY, f64::min);
        let fresh = self.since_s.is_none();
        let mut changed = fresh;
        for (wanted, head) in self.wanted.iter_mut().zip(heads) {
            let exact = ((reach - head.offset_mm) / head.per_turn_mm).clamp(0.0, most);
            let quarter = ((exact * 4.0).round() / 4.0).min(most);
            if fresh || (exact - *wanted).abs() > 0.125 + STICKS || *wanted > most {
                changed |= quarter != *wanted;
                *wanted = quarter;
            }
        }
        if changed {
            self.since_s = Some(now_s);
        }
        if self.since_s.is_some_and(|since| now_s - since >= SETTLES_S) {
            self.turns.copy_from_slice(&self.wanted);
            self.given = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heads(offsets: &[f64]) -> Vec<Head> {
        offsets.iter().map(|o| Head { offset_mm: *o, sigma_mm: 2.0, per_turn_mm: 25.0 }).collect()
    }

    #[test]
    fn the_lowest_takes_the_counted_turn_and_the_others_what_brings_them_level() {
        for (offsets, counted, turns) in [
            (vec![0.0, 0.0, 0.0], 0.5, vec![0.5, 0.5, 0.5]),
            // The middle took a whole turn where the ends took half (docs/trade.md section 8, scenario 12).
            (vec![-6.25, 12.5 - 6.25, -6.25], 0.5, vec![0.5, 0.0, 0.5]),
            (vec![-10.0, 0.0, 5.0, 2.5], 1.0, vec![1.0, 0.5, 0.5, 0.5]),
            (vec![-60.0, 20.0, 20.0, 20.0], 1.0, vec![1.0, 0.0, 0.0, 0.0]),
            // A counted turn between two quarters is the lower one.
            (vec![0.0, 0.0, 0.0], 0.9, vec![0.75, 0.75, 0.75]),
            (vec![0.0, 6.25, 0.0], 0.25, vec![0.25, 0.0, 0.25]),
        ] {
            let mut next = NextTurns::new(offsets.len());
            next.look(&heads(&offsets), counted, 0.0);
            next.look(&heads(&offsets), counted, 2.0);
            assert_eq!(next.turns(), Some(turns.as_slice()), "{offsets:?} {counted}");
        }
    }

    #[test]
    fn winches_that_rise_differently_come_to_one_height() {
        let mut next = NextTurns::new(3);
        let mut heads = heads(&[0.0, 0.0, 0.0]);
        heads[1].per_turn_mm = 40.0;
        next.look(&heads, 1.0, 0.0);
        next.look(&heads, 1.0, 2.0);
        // 25 mm: one turn of the slow winches, 0.63 of the fast one.
        assert_eq!(next.turns(), Some([1.0, 0.75, 1.0].as_slice()));
    }

    #[test]
    fn it_does_not_flutter_and_is_withheld_where_heads_are_not_known() {
        let mut next = NextTurns::new(2);
        next.look(&heads(&[0.0, 3.0]), 0.5, 0.0);
        next.look(&heads(&[0.0, 3.0]), 0.5, 2.0);
        let first = next.turns().unwrap().to_vec();
        for (at, wobble) in [3.3, 2.8, 3.4, 3.0].into_iter().enumerate() {
            next.look(&heads(&[0.0, wobble]), 0.5, 4.0 + 2.0 * at as f64);
            assert_eq!(next.turns(), Some(first.as_slice()));
        }
        // What lasts for a second is a hand that turns; what lasts is the head.
        for (at, high, turns) in [(20.0, 12.5, &first[..]), (21.0, 3.0, &first[..]), (23.0, 12.5, &first[..]), (25.0, 12.5, &[0.5, 0.0])] {
            next.look(&heads(&[0.0, high]), 0.5, at);
            assert_eq!(next.turns(), Some(turns), "at {at} s");
        }
        let mut vague = heads(&[0.0, 3.0]);
        vague[1].sigma_mm = 7.0;
        next.look(&vague, 0.5, 26.0);
        assert_eq!(next.turns(), None);
        next.look(&vague[..1], 0.5, 29.0);
        assert_eq!(next.turns(), None);
    }
}
