//! Weigh as you hang: each step in weight while rigging is offered as the item of the plan that fits it by weight and place.
//!
//! An offer and no more: nothing of the plan, the estimate or the findings changes by it. A hand or a person leaning is no item:
//! only what stays ten seconds is (docs/trade.md section 8, scenario 19: 1 to 8 s). On trestles the cells carry nothing, and
//! nothing is offered. Source: docs/trade.md sections 1.5 and 3.2 (position by moments).

use crate::estimate::loads::{Acting, acting};
use crate::estimate::sums::place;
use crate::setup::Setup;
use raisewatch_protocol::Mono;
use raisewatch_protocol::plan::{Hung, Lies};
use serde::Serialize;

/// What was hung stays at least so long, s; a mean over ten more seconds is then free of what was before.
pub const STAYS_S: f64 = 10.0;
/// Looked at so often, s.
const EVERY_S: f64 = 0.5;
/// A change of the total below this is no step, N: a clamp or a bond weighs half a kilogram to a kilogram.
const LEAST_N: f64 = 20.0;
/// Least standard deviation of a change of one cell's ten-second mean, N.
const CELL_N: f64 = 2.0;
/// How well a clamp is set to the plan's place, m (common practice, no source).
const SET_M: f64 = 0.15;
/// Squared standard deviations (two unknowns) within which an item fits: 99.7 %.
const FITS: f64 = 11.8;
/// So much worse a fit, in squared standard deviations, is no alternative: one in twenty as likely.
const WORSE: f64 = 6.0;
/// The cells carry the truss from this part of its weight.
const CARRIED: f64 = 0.7;
/// Offers kept.
const KEPT: usize = 100;

/// One thing of the plan that can be hung.
#[derive(Clone, Debug, PartialEq)]
struct Item {
    name: String,
    weight_n: f64,
    /// Its weight's band, as a share.
    band: f64,
    piece: usize,
    x_m: f64,
    at: [f64; 2],
}

/// A step in weight and what it may be.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfferView {
    /// When it had stayed.
    pub t_ms: Mono,
    /// Weight, N; negative: taken off.
    pub force_n: f64,
    /// One standard deviation.
    pub force_sigma_n: f64,
    /// Piece id; null where it lies on none.
    pub piece: Option<String>,
    /// Metres from the piece's `from` end; null where it is not known to half a metre.
    pub position_m: Option<f64>,
    /// One standard deviation.
    pub position_sigma_m: f64,
    /// The items that fit, best first: one is an offer, several are alternatives, none means that nothing planned fits.
    pub items: Vec<OfferedItem>,
    /// In words.
    pub text: String,
}

/// An item of the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfferedItem {
    /// Its name in the plan.
    pub name: String,
    /// Piece id.
    pub piece: String,
    /// Its place on the piece, m.
    pub at_m: f64,
    /// Its planned weight, N.
    pub weight_n: f64,
}

/// A step that has stayed.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Force and place.
    pub force: Acting,
    /// Items that fit, best first: indices into the list.
    items: Vec<usize>,
}

/// What hangs, by the steps seen.
#[derive(Clone, Debug)]
pub struct Hanging {
    items: Vec<Item>,
    /// Taken for hung, by an offer without alternative.
    hung: Vec<bool>,
    truss_n: f64,
    base_n: Vec<f64>,
    based: bool,
    now_n: Vec<f64>,
    held_n: Vec<f64>,
    held_since_s: Option<f64>,
    due_s: f64,
    /// Offers made, oldest first.
    pub offers: Vec<OfferView>,
}

impl Hanging {
    /// Nothing hung yet.
    pub fn new(setup: &Setup) -> Self {
        let items = items(setup);
        let towers = setup.plan.towers.len();
        let truss_n = setup.plan.pieces.iter().map(|p| p.weight.0 * p.length().0).sum();
        Hanging {
            hung: vec![false; items.len()],
            items,
            truss_n,
            base_n: vec![0.0; towers],
            based: false,
            now_n: vec![0.0; towers],
            held_n: vec![0.0; towers],
            held_since_s: None,
            due_s: 0.0,
            offers: Vec::new(),
        }
    }

    /// The truss is not being rigged: what is learnt of its steps starts anew when it is again.
    pub fn pause(&mut self) {
        self.based = false;
        self.held_since_s = None;
    }

    /// Looks at the shares: `short_n` over the last second, `long_n` over the last ten. Gives a step that has stayed.
    pub fn look(
        &mut self,
        now_s: f64,
        short_n: impl Iterator<Item = Option<f64>>,
        long_n: impl Iterator<Item = Option<f64>>,
        at: &[[f64; 2]],
    ) -> Option<Step> {
        if now_s < self.due_s {
            return None;
        }
        self.due_s = now_s + EVERY_S;
        if !fill(&mut self.now_n, short_n) {
            self.pause();
            return None;
        }
        let tolerance = (LEAST_N / 2.0).max(0.01 * self.now_n.iter().sum::<f64>().abs());
        let moved = self.now_n.iter().zip(&self.held_n).any(|(n, h)| (n - h).abs() > tolerance);
        if moved || self.held_since_s.is_none() {
            self.held_n.copy_from_slice(&self.now_n);
            self.held_since_s = Some(now_s);
            return None;
        }
        // The ten-second means are free of what was before.
        if now_s - self.held_since_s.unwrap_or(now_s) < STAYS_S + 0.5 || !fill(&mut self.now_n, long_n) {
            return None;
        }
        self.stayed(at)
    }

    fn stayed(&mut self, at: &[[f64; 2]]) -> Option<Step> {
        let before: f64 = self.base_n.iter().sum();
        let after: f64 = self.now_n.iter().sum();
        if !self.based {
            self.based = true;
            self.base_n.copy_from_slice(&self.now_n);
            return None;
        }
        let changes: Vec<f64> = self.now_n.iter().zip(&self.base_n).map(|(n, b)| n - b).collect();
        let total: f64 = changes.iter().sum();
        if total.abs() < LEAST_N {
            // Drift and creep of the cells, no step.
            self.base_n.copy_from_slice(&self.now_n);
            return None;
        }
        self.base_n.copy_from_slice(&self.now_n);
        let carried = CARRIED * self.truss_n;
        if before.min(after) < carried {
            // On or off its trestles: how much of it the cells carry says nothing of what hangs.
            return None;
        }
        // Half a hundredth of each share: the span of the cells.
        let sigma = CELL_N.hypot(0.005 * total.abs());
        let force = acting(&changes, sigma, at)?;
        let items = self.fitting(&force);
        if let [only] = items[..] {
            self.hung[only] = total > 0.0;
        }
        Some(Step { force, items })
    }

    /// Items that fit: of those not yet hung where weight came, of those hung where it went.
    fn fitting(&self, force: &Acting) -> Vec<usize> {
        let came = force.force_n > 0.0;
        let mut fits: Vec<(f64, usize)> = Vec::new();
        for (i, item) in self.items.iter().enumerate() {
            if self.hung[i] == came {
                continue;
            }
            let heavy = (force.force_n.abs() - item.weight_n) / force.force_sigma_n.hypot(item.band * item.weight_n);
            let apart = (force.place_m[0] - item.at[0]).hypot(force.place_m[1] - item.at[1]) / force.place_sigma_m.hypot(SET_M);
            fits.push((heavy * heavy + apart * apart, i));
        }
        fits.retain(|f| f.0 <= FITS);
        fits.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let best = fits.first().map_or(0.0, |f| f.0);
        fits.into_iter().filter(|f| f.0 <= best + WORSE).map(|f| f.1).collect()
    }

    /// Keeps an offer and gives it back.
    pub fn offer(&mut self, setup: &Setup, now: Mono, step: &Step, text: impl FnOnce(&OfferView) -> String) -> &OfferView {
        let pieces = &setup.plan.pieces;
        let on = crate::estimate::shares::on_piece(setup, step.force.place_m).filter(|p| p.2 < 0.3 + 2.0 * step.force.place_sigma_m);
        let items = step.items.iter().map(|i| &self.items[*i]);
        let mut offer = OfferView {
            t_ms: now,
            force_n: tenth(step.force.force_n),
            force_sigma_n: tenth(step.force.force_sigma_n),
            piece: on.map(|p| pieces[p.0].id.clone()),
            position_m: on.filter(|_| step.force.place_sigma_m <= 0.5).map(|p| tenth(p.1)),
            position_sigma_m: tenth(step.force.place_sigma_m),
            items: items
                .map(|i| OfferedItem { name: i.name.clone(), piece: pieces[i.piece].id.clone(), at_m: i.x_m, weight_n: tenth(i.weight_n) })
                .collect(),
            text: String::new(),
        };
        offer.text = text(&offer);
        if self.offers.len() >= KEPT {
            self.offers.remove(0);
        }
        self.offers.push(offer);
        &self.offers[self.offers.len() - 1]
    }
}

fn tenth(v: f64) -> f64 {
    (v * 10.0).round() / 10.0
}

fn fill(room: &mut [f64], numbers: impl Iterator<Item = Option<f64>>) -> bool {
    let mut count = 0;
    for (slot, number) in room.iter_mut().zip(numbers) {
        let Some(number) = number else { return false };
        *slot = number;
        count += 1;
    }
    count == room.len()
}

/// All that the plan hangs, one entry a place.
fn items(setup: &Setup) -> Vec<Item> {
    let mut items = Vec::new();
    let mut add = |name: &str, weight_n: f64, band: f64, piece: usize, x_m: f64| {
        if weight_n > 0.0 {
            items.push(Item { name: name.to_owned(), weight_n, band, piece, x_m, at: place(setup, piece, x_m) });
        }
    };
    for load in &setup.plan.loads {
        match load.hung {
            Hung::Point { at, weight } => add(&load.name, weight.0, load.source.band(), load.piece, at.0),
            Hung::Spread { from, to, first, last } => {
                let (weight, x) = spread(from.0, to.0, first.0, last.0);
                add(&load.name, weight, load.source.band(), load.piece, x);
            }
        }
    }
    for cable in &setup.plan.cables {
        match cable.lies {
            Lies::Along { from, to, weight } => {
                let (weight, x) = spread(from.0, to.0, weight.0, weight.0);
                add(&cable.name, weight, cable.source.band(), cable.piece, x);
            }
            Lies::Coil { at, weight } => add(&cable.name, weight.0, cable.source.band(), cable.piece, at.0),
            // A tail's weight grows with the height and is no step.
            Lies::Tail { .. } => {}
        }
    }
    items
}

/// Weight and centre of a linearly varying spread load.
fn spread(from: f64, to: f64, first: f64, last: f64) -> (f64, f64) {
    let length = to - from;
    let weight = length * (first + last) / 2.0;
    let part = if first + last > 0.0 { (first + 2.0 * last) / (3.0 * (first + last)) } else { 0.5 };
    (weight, from + part * length)
}
