//! How the heads bend a truss on three towers and more, as its cells show it: what boxes show beside that is no head.
//!
//! Cells tell what is self-held in the shares, which no weight changes; of a truss of known stiffness that tells its shape, however
//! soft the towers are: its slopes are those of the offsets that would hold it so, the least that do.

use super::scope::Scope;
use crate::estimate::loads::over;
use crate::estimate::sums::Sums;
use crate::setup::Setup;
use raisewatch_protocol::words::Channel;

/// A box nearer than this to a corner turns as the corner does, m.
const CORNER_M: f64 = 0.3;
/// Ends of pieces within this join, m (docs/forms.md, "Plan").
const JOIN_M: f64 = 0.010;
/// Pieces whose directions have no more than this in common stand square to each other.
const SQUARE: f64 = 0.05;

/// Where a slope of a piece is read: a box along it, or at its corner a box across the piece that joins it there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Channel.
    pub channel: usize,
    /// Along the piece, m from its `from` end.
    pub at_m: f64,
    /// It reads across its own piece: with this sign that is the slope of the piece it joins.
    pub across: Option<f64>,
}

impl Station {
    /// Sign of its reading as a slope of the piece.
    pub fn sign(&self) -> f64 {
        self.across.unwrap_or(1.0)
    }

    /// Slope with the truss as planned, rad, and for a metre of each tower's offset.
    pub fn row<'a>(&self, sums: &'a Sums) -> &'a (f64, Vec<f64>) {
        if self.across.is_some() { &sums.rolls[self.channel] } else { &sums.slopes[self.channel] }
    }
}

/// All places at which the slope of `piece` is read, in order.
pub fn stations(setup: &Setup, piece: usize) -> Vec<Station> {
    let seats = &setup.channels;
    let own = |c: &usize| seats[*c].channel == Channel::TrussAlong && seats[*c].piece == piece;
    let mut found: Vec<_> =
        (0..seats.len()).filter(own).map(|channel| Station { channel, at_m: seats[channel].at_m, across: None }).collect();
    for channel in (0..seats.len()).filter(|&c| seats[c].channel == Channel::TrussAcross && seats[c].piece != piece) {
        let Some((at_m, sign)) = corner(setup, piece, seats[channel].piece, seats[channel].at_m) else { continue };
        if found.iter().all(|s| (s.at_m - at_m).abs() > CORNER_M) {
            found.push(Station { channel, at_m, across: Some(sign) });
        }
    }
    found.sort_by(|a, b| a.at_m.total_cmp(&b.at_m));
    found.dedup_by(|a, b| (a.at_m - b.at_m).abs() < 0.1);
    found
}

/// Where `piece` ends at the corner at which a box sits on `other`, which stands square to it and joins it stiffly; and the sign of
/// the box's roll as a slope of `piece`.
fn corner(setup: &Setup, piece: usize, other: usize, box_m: f64) -> Option<(f64, f64)> {
    let [p, q] = [piece, other].map(|i| &setup.plan.pieces[i]);
    let way = |p: &raisewatch_protocol::plan::Piece| {
        let length = p.length().0.max(1e-9);
        [(p.to[0].0 - p.from[0].0) / length, (p.to[1].0 - p.from[1].0) / length]
    };
    let ([pc, ps], [qc, qs]) = (way(p), way(q));
    if (pc * qc + ps * qs).abs() > SQUARE {
        return None;
    }
    let ends = |p: &raisewatch_protocol::plan::Piece| [(p.from, 0.0, p.hinged_from), (p.to, p.length().0, p.hinged_to)];
    let near = ends(q).into_iter().find(|e| (e.1 - box_m).abs() <= CORNER_M && !e.2)?;
    let meets = |a: &[raisewatch_protocol::units::Length; 2], b: &[raisewatch_protocol::units::Length; 2]| {
        (a[0].0 - b[0].0).hypot(a[1].0 - b[1].0) <= JOIN_M
    };
    let own = ends(p).into_iter().find(|e| !e.2 && meets(&e.0, &near.0))?;
    // Left of someone looking along a piece is its y side.
    Some((own.1, -pc * qs + ps * qc))
}

/// What the heads make of the shape, by the cells.
#[derive(Clone, Debug, Default)]
pub struct Bend {
    /// Self-held part of the shares over those of the level truss, 5 s mean, by tower, N.
    held_n: Vec<f64>,
    /// The least offsets that hold it so, m.
    offsets_m: Vec<f64>,
    rest: Vec<f64>,
    way: Vec<f64>,
    pressed: Vec<f64>,
    known: bool,
}

impl Bend {
    /// Looks at the shares of now. Two towers bend nothing.
    pub fn look(&mut self, scope: &Scope) {
        let (sums, n) = (scope.est.sums(), scope.towers());
        for room in [&mut self.held_n, &mut self.offsets_m, &mut self.rest, &mut self.way, &mut self.pressed] {
            room.clear();
            room.resize(n, 0.0);
        }
        self.known = sums.self_held.is_empty() || self.find_held(scope);
        if !self.known || sums.self_held.is_empty() {
            return;
        }
        // Conjugate gradients: the stiffness is symmetric and not negative, and as many steps as there are patterns suffice.
        self.rest.copy_from_slice(&self.held_n);
        self.way.copy_from_slice(&self.held_n);
        let mut left = square(&self.rest);
        for _ in 0..2 * sums.self_held.len() {
            if left < 1e-12 {
                break;
            }
            for j in 0..n {
                self.pressed[j] = (0..n).map(|k| sums.stiffness_n_per_m(j, k) * self.way[k]).sum();
            }
            let along: f64 = self.way.iter().zip(&self.pressed).map(|(w, p)| w * p).sum();
            if along <= 0.0 {
                break;
            }
            let step = left / along;
            for j in 0..n {
                self.offsets_m[j] += step * self.way[j];
                self.rest[j] -= step * self.pressed[j];
            }
            let now = square(&self.rest);
            for j in 0..n {
                self.way[j] = self.rest[j] + self.way[j] * now / left;
            }
            left = now;
        }
    }

    fn find_held(&mut self, scope: &Scope) -> bool {
        let sums = scope.est.sums();
        let beside = |j: usize| scope.est.shares()[j].measured_n[over::FIVE].map(|m| m - sums.planned_n(j));
        if (0..scope.towers()).any(|j| beside(j).is_none()) {
            return false;
        }
        for u in &sums.self_held {
            let part: f64 = u.iter().enumerate().map(|(j, f)| f * beside(j).unwrap_or(0.0)).sum();
            self.held_n.iter_mut().zip(u).for_each(|(held, f)| *held += part * f);
        }
        true
    }

    /// Whether it is known: all cells are heard, or no head can bend the truss.
    pub fn known(&self) -> bool {
        self.known
    }

    /// Self-held part of the shares over those of the level truss, by tower, N.
    pub fn held_n(&self) -> &[f64] {
        &self.held_n
    }

    /// What the heads add to a slope, rad.
    pub fn slope(&self, row: &[f64]) -> f64 {
        row.iter().zip(&self.offsets_m).map(|(r, o)| r * o).sum()
    }
}

/// What is self-held in these shares, N.
pub fn held(sums: &Sums, shares_n: &[f64]) -> Vec<f64> {
    let mut held = vec![0.0; shares_n.len()];
    for (u, part) in sums.self_held.iter().zip(parts(sums, shares_n)) {
        held.iter_mut().zip(u).for_each(|(held, f)| *held += part * f);
    }
    held
}

/// The combinations of these shares that no weight changes, N.
pub fn parts<'a>(sums: &'a Sums, shares_n: &'a [f64]) -> impl Iterator<Item = f64> + 'a {
    sums.self_held.iter().map(move |u| u.iter().zip(shares_n).map(|(f, n)| f * n).sum())
}

fn square(of: &[f64]) -> f64 {
    of.iter().map(|v| v * v).sum()
}
