//! What the statics says of this lift as it stands now, laid out as the estimator needs it.
//!
//! Two towers carry what equilibrium gives them, so their offsets are heights of the heads ([`Bearing::Rigid`]); with three and
//! more the shares hang on the stiffness of ropes or pins, and the offset is that of the crank or the pin, as the crew sets it.

use super::level::Layout;
use crate::setup::{Setup, WatchError};
use raisewatch_protocol::units::Length;
use raisewatch_protocol::words::Channel;
use raisewatch_statics::tolerance;
use raisewatch_statics::{Bearing, Linear, Model, Standing};

/// Tails are weighed anew when the height has changed by so much: 0.1 m of the heaviest usual tail is under 5 N.
const HEIGHT_STEP_M: f64 = 0.1;

/// Statics of the lift at one height and bearing.
#[derive(Clone, Debug)]
pub struct Sums {
    model: Model,
    standing: Standing,
    linear: Linear,
    /// Places of the heads in plan, m.
    pub at: Vec<[f64; 2]>,
    /// How they stand to each other.
    pub layout: Layout,
    /// Per channel: slope at the box with all offsets zero, rad, and by each tower's offset, rad per m; empty where it is no tilt
    /// of the truss along.
    pub slopes: Vec<(f64, Vec<f64>)>,
    /// The same for the roll about the piece.
    pub rolls: Vec<(f64, Vec<f64>)>,
    /// Combinations of shares that no weight, only offsets (and stiffness) can change: rows over towers, orthonormal.
    pub self_held: Vec<Vec<f64>>,
    /// What level heads are beside level cranks (or pins), on these bearings: which of the two a crew has levelled, a zero cannot tell.
    pub levelled: Levelled,
    /// Weight of all tails for a metre of height, N/m.
    pub tail_n_per_m: f64,
    /// What a metre of each tower's offset does to every share, N/m, as measured on this lift; for these bearings alone.
    measured: Option<Vec<Vec<f64>>>,
}

impl Sums {
    /// Statics at the working height, on ropes.
    ///
    /// Errors: [`WatchError::Statics`] where the plan cannot be stood up.
    pub fn new(setup: &Setup) -> Result<Self, WatchError> {
        let model = Model::new(&setup.plan).map_err(|e| WatchError::Statics(e.to_string()))?;
        let n = setup.plan.towers.len();
        let at: Vec<[f64; 2]> = (0..n).map(|j| place(setup, setup.plan.towers[j].piece, setup.plan.towers[j].at.0)).collect();
        let layout = layout_of(&at);
        let bearing = if layout == Layout::Pair { Bearing::Rigid } else { Bearing::Rope };
        let standing = Standing { line_height: setup.plan.working_height, bearing: vec![bearing; n] };
        let linear = model.standing(&standing);
        let high = setup.plan.working_height.0;
        let tail_n_per_m = model.total(Length(high + 1.0)).0 - model.total(Length(high)).0;
        let self_held = self_held(&at);
        let mut sums = Sums {
            model,
            standing,
            linear,
            at,
            layout,
            slopes: Vec::new(),
            rolls: Vec::new(),
            self_held,
            levelled: Levelled::default(),
            tail_n_per_m,
            measured: None,
        };
        sums.lay_rows(setup);
        sums.levelled = sums.levelled(setup);
        Ok(sums)
    }

    /// Brings the sums to this height and these bearings (true: on pins). Gives what changed where a bearing did.
    pub fn stand(&mut self, setup: &Setup, height_m: f64, on_pins: impl Fn(usize) -> bool) -> Option<Rebeared> {
        let (mut changed, mut lifted) = (false, false);
        if self.layout != Layout::Pair {
            for (j, b) in self.standing.bearing.iter_mut().enumerate() {
                let now = if on_pins(j) { Bearing::Pins } else { Bearing::Rope };
                changed |= *b != now;
                lifted |= *b == Bearing::Pins && now == Bearing::Rope;
                *b = now;
            }
        }
        if changed {
            // Pins and ropes give differently: what was measured on the one says nothing of the other.
            self.measured = None;
        }
        let far = (height_m - self.standing.line_height.0).abs() > HEIGHT_STEP_M;
        if far {
            self.standing.line_height = Length((height_m / HEIGHT_STEP_M).round() * HEIGHT_STEP_M);
        }
        if changed || far && self.tail_n_per_m > 0.0 {
            self.linear = self.model.standing(&self.standing);
            self.lay_rows(setup);
        }
        if !changed {
            return None;
        }
        let now = self.levelled(setup);
        let before = std::mem::replace(&mut self.levelled, now);
        let pins = self.standing.bearing.iter().all(|b| *b == Bearing::Pins);
        Some(Rebeared { before, lifted, pins })
    }

    fn levelled(&self, setup: &Setup) -> Levelled {
        let rigid = self.model.standing(&self.model.on(Bearing::Rigid, self.standing.line_height));
        let along = |c: usize| setup.channels[c].channel == Channel::TrussAlong;
        let slope = |c: usize| rigid.slope_at(setup.channels[c].piece, setup.channels[c].at_m).level_rad;
        Levelled {
            shares_n: rigid.level_shares_n.iter().zip(&self.linear.level_shares_n).map(|(r, l)| r - l).collect(),
            slopes_rad: (0..self.slopes.len()).map(|c| if along(c) { slope(c) - self.slopes[c].0 } else { 0.0 }).collect(),
        }
    }

    fn lay_rows(&mut self, setup: &Setup) {
        self.slopes.clear();
        self.rolls.clear();
        for seat in &setup.channels {
            let tilt = |wanted: Channel| seat.channel == wanted;
            let row = |r: raisewatch_statics::SlopeRow| (r.level_rad, r.per_offset);
            self.slopes.push(if tilt(Channel::TrussAlong) { row(self.linear.slope_at(seat.piece, seat.at_m)) } else { (0.0, Vec::new()) });
            self.rolls.push(if tilt(Channel::TrussAcross) { row(self.linear.roll_at(seat.piece, seat.at_m)) } else { (0.0, Vec::new()) });
        }
    }

    /// Whether the plan is raised by counted turns.
    pub fn counted(&self, setup: &Setup) -> bool {
        tolerance::limits(&setup.plan, &self.model).counted_turn.is_some()
    }

    /// Share of tower `j` with the truss level, N.
    pub fn planned_n(&self, j: usize) -> f64 {
        self.linear.level_shares_n[j]
    }

    /// What a metre of tower `k`'s offset adds to the share of tower `j`, N/m.
    pub fn stiffness_n_per_m(&self, j: usize, k: usize) -> f64 {
        self.measured.as_ref().map_or(self.linear.share_per_offset[j][k], |m| m[j][k])
    }

    /// Takes what was measured of [`Sums::stiffness_n_per_m`], row by tower whose share changes; `None`: the plan's again. It holds
    /// until a bearing changes. Refused (false) where it is not square, not finite, or rows or columns do not add up to nothing:
    /// raising all heads alike changes no share, and no offset changes the total.
    pub fn set_share_per_offset(&mut self, measured: Option<&[Vec<f64>]>) -> bool {
        let n = self.at.len();
        let Some(rows) = measured else {
            self.measured = None;
            return true;
        };
        let square = rows.len() == n && rows.iter().all(|r| r.len() == n && r.iter().all(|v| v.is_finite()));
        let largest = rows.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
        let empty = |j: usize| {
            let (row, column): (f64, f64) = (0..n).fold((0.0, 0.0), |(r, c), k| (r + rows[j][k], c + rows[k][j]));
            row.abs() <= 1e-3 * largest && column.abs() <= 1e-3 * largest
        };
        if !square || !(0..n).all(empty) {
            return false;
        }
        self.measured = Some(rows.to_vec());
        true
    }

    /// The whole planned weight at this height, N.
    pub fn total_n(&self) -> f64 {
        self.linear.total_n
    }

    /// What one newton more at a place does to shares and slopes.
    pub fn effect(&self, piece: usize, x_m: f64) -> raisewatch_statics::PointEffect<'_> {
        self.linear.point(piece, x_m)
    }

    /// Shares that a joint adds which opens at a place by a radian (the slope after it is the greater). By reciprocity that is the
    /// hogging moment there for a metre of each tower's offset (Maxwell and Betti).
    pub fn opened(&self, piece: usize, x_m: f64) -> Vec<f64> {
        let mut opened = self.linear.moment_at(piece, x_m).per_offset;
        opened.iter_mut().for_each(|m| *m = -*m);
        opened
    }

    /// Shares that one newton more at a place adds.
    pub fn point(&self, piece: usize, x_m: f64) -> Vec<f64> {
        self.linear.point(piece, x_m).share_per_n
    }
}

/// The truss with its heads level less the truss with its cranks, or pins, level.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Levelled {
    /// By tower, N.
    pub shares_n: Vec<f64>,
    /// By channel, slope at a box along the truss, rad.
    pub slopes_rad: Vec<f64>,
}

/// What changed with a bearing.
#[derive(Clone, Debug, PartialEq)]
pub struct Rebeared {
    /// [`Sums::levelled`] as it was.
    pub before: Levelled,
    /// Some tower was taken off its pin.
    pub lifted: bool,
    /// All stand on pins now.
    pub pins: bool,
}

/// A place on a piece in plan coordinates, m.
pub fn place(setup: &Setup, piece: usize, x_m: f64) -> [f64; 2] {
    let p = &setup.plan.pieces[piece];
    let part = x_m / p.length().0.max(1e-9);
    [p.from[0].0 + part * (p.to[0].0 - p.from[0].0), p.from[1].0 + part * (p.to[1].0 - p.from[1].0)]
}

fn layout_of(at: &[[f64; 2]]) -> Layout {
    if at.len() == 2 {
        return Layout::Pair;
    }
    let (a, b) = (at[0], at[at.len() - 1]);
    let length = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-9);
    // In one line to within the width of a truss: 0.3 m.
    let off = |p: &[f64; 2]| ((p[0] - a[0]) * (b[1] - a[1]) - (p[1] - a[1]) * (b[0] - a[0])).abs() / length;
    if at.iter().all(|p| off(p) < 0.3) { Layout::Line } else { Layout::Ring }
}

/// An orthonormal basis of the share patterns that change neither the total nor the moments.
fn self_held(at: &[[f64; 2]]) -> Vec<Vec<f64>> {
    let n = at.len();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let add = |basis: &mut Vec<Vec<f64>>, mut v: Vec<f64>| {
        // Twice, so that rounding of the first pass goes too.
        for _ in 0..2 {
            for b in basis.iter() {
                let dot: f64 = v.iter().zip(b).map(|(p, q)| p * q).sum();
                v.iter_mut().zip(b).for_each(|(p, q)| *p -= dot * q);
            }
        }
        let norm = v.iter().map(|p| p * p).sum::<f64>().sqrt();
        if norm > 1e-6 {
            basis.push(v.iter().map(|p| p / norm).collect());
        }
    };
    let scale = at.iter().flatten().fold(1e-9_f64, |m, c| m.max(c.abs()));
    add(&mut basis, vec![1.0; n]);
    add(&mut basis, at.iter().map(|p| p[0] / scale).collect());
    // A line in one direction adds nothing here; it is dropped by its norm.
    add(&mut basis, at.iter().map(|p| p[1] / scale).collect());
    let held = basis.len();
    for j in 0..n {
        add(&mut basis, (0..n).map(|k| f64::from(u8::from(j == k))).collect());
    }
    basis.split_off(held)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_stiffness_is_taken_where_it_can_be_one() {
        use crate::causes::series::{Series, TANNERS, kit};
        let mut sums = Sums::new(&Series::new(TANNERS, &kit(&["A", "B", "C"], &["head-load"]), 1).setup).unwrap();
        let stiff =
            |s: &Sums, by: f64| -> Vec<Vec<f64>> { (0..3).map(|j| (0..3).map(|k| by * s.stiffness_n_per_m(j, k)).collect()).collect() };
        let (planned, softer) = (stiff(&sums, 1.0), stiff(&sums, 0.8));
        assert!(sums.set_share_per_offset(Some(&softer)));
        assert_eq!(stiff(&sums, 1.0), softer);
        let mut bent = softer.clone();
        bent[0][1] *= 1.1;
        for wrong in [vec![], vec![vec![0.0; 3]; 2], bent, vec![vec![f64::NAN; 3]; 3]] {
            assert!(!sums.set_share_per_offset(Some(&wrong)), "{wrong:?}");
            assert_eq!(stiff(&sums, 1.0), softer);
        }
        assert!(sums.set_share_per_offset(None));
        assert_eq!(stiff(&sums, 1.0), planned);
    }

    #[test]
    fn self_held_patterns_carry_no_weight_and_no_moment() {
        let line = [[1.0, 0.0], [6.0, 0.0], [11.0, 0.0]];
        let ring = [[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [0.0, 4.0]];
        for (at, count) in [(&line[..], 1), (&ring[..], 1), (&line[..2], 0)] {
            let held = self_held(at);
            assert_eq!(held.len(), count);
            for v in held {
                assert!(v.iter().sum::<f64>().abs() < 1e-9);
                for axis in 0..2 {
                    assert!(v.iter().zip(at).map(|(p, a)| p * a[axis]).sum::<f64>().abs() < 1e-9);
                }
            }
        }
        assert_eq!(layout_of(&line), Layout::Line);
        assert_eq!(layout_of(&ring), Layout::Ring);
    }
}
