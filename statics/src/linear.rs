//! What the towers carry and how the truss lies, linear in the towers' offsets, from one factorization.

use crate::contact::Stood;
use crate::element::{At, Part};
use crate::model::{Bearing, Model, Standing, StaticsError};
use crate::solver::{Field, Solver};

/// A tower's stiffness below this share of the largest is rounding: the others alone cannot hold the truss.
pub(crate) const NO_STIFFNESS: f64 = 1e-6;

/// A quantity linear in the towers' offsets.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its value with every offset zero.
    pub level: f64,
    /// What one metre of each tower's offset adds.
    pub per_offset: Vec<f64>,
}

impl Row {
    /// Its value at these offsets, m.
    pub fn at(&self, offsets_m: &[f64]) -> f64 {
        self.level + dot(&self.per_offset, offsets_m)
    }
}

/// A slope or a rotation, linear in the towers' offsets.
#[derive(Clone, Debug, PartialEq)]
pub struct SlopeRow {
    /// With every offset zero, rad.
    pub level_rad: f64,
    /// By each tower's offset, rad per m.
    pub per_offset: Vec<f64>,
}

impl SlopeRow {
    /// The slope at these offsets (m), rad.
    pub fn at(&self, offsets_m: &[f64]) -> f64 {
        self.level_rad + dot(&self.per_offset, offsets_m)
    }
}

/// How a lift stands, linear in its towers' offsets: with [`Bearing::Rope`] or [`Bearing::Pins`] those of the cranks (heads
/// settle beneath them by share over stiffness), with [`Bearing::Rigid`] those of the heads themselves. Metres, + high,
/// from the level line. [`Linear::cranks_for_heads`] goes from the second to the first.
///
/// Shares here may come out negative: that tower would have to pull. [`Linear::stood`] solves with towers that only push.
#[derive(Clone, Debug)]
pub struct Linear {
    pub(crate) model: Model,
    /// How it stands.
    pub standing: Standing,
    /// The whole weight, tails included, N.
    pub total_n: f64,
    /// Share of each tower with every offset zero, N.
    pub level_shares_n: Vec<f64>,
    /// `[j][k]`: what one metre of tower `k`'s offset adds to the share of tower `j`, N per m. Bending and torsion, and the
    /// hanging weights that swing towards the higher side (all of it where two towers carry).
    pub share_per_offset: Vec<Vec<f64>>,
    /// The same without the hanging weights: symmetric, and what contact is solved with.
    pub stiffness_per_offset: Vec<Vec<f64>>,
    /// Height of each head with every offset zero, m: how far it settles; zero where rigid.
    pub level_heads_m: Vec<f64>,
    /// `[j][k]`: what one metre of tower `k`'s offset adds to the height of head `j`.
    pub head_per_offset: Vec<Vec<f64>>,
    solver: Solver,
    pub(crate) level: Field,
    pub(crate) unit: Vec<Field>,
}

impl Linear {
    pub(crate) fn new(model: &Model, standing: &Standing) -> Result<Self, StaticsError> {
        let solver = Solver::new(model, standing)?;
        let n = model.tower_w.len();
        let parts = model.parts(standing.line_height, |_| true);
        let level = solver.loaded(model, parts);
        let unit: Vec<Field> = (0..n).map(|k| solver.lifted(model, k)).collect();
        let stiffness: Vec<Vec<f64>> =
            (0..n).map(|j| (0..n).map(|k| solver.share(model, &unit[k].u, j, if j == k { 1.0 } else { 0.0 }, 0.0)).collect()).collect();
        let loads = solver.tower_loads(model, &level.parts);
        let shares = (0..n).map(|j| solver.share(model, &level.u, j, 0.0, loads[j])).collect();
        let head = |f: &Field, j: usize| f.u[model.tower_w[j]];
        let mut linear = Linear {
            model: model.clone(),
            standing: standing.clone(),
            total_n: model.total(standing.line_height).0,
            level_shares_n: shares,
            share_per_offset: stiffness.clone(),
            stiffness_per_offset: stiffness,
            level_heads_m: (0..n).map(|j| head(&level, j)).collect(),
            head_per_offset: (0..n).map(|j| (0..n).map(|k| head(&unit[k], j)).collect()).collect(),
            solver,
            level,
            unit,
        };
        linear.add_hanging();
        Ok(linear)
    }

    /// Weights that hang `h` rigidly below the line swing by `h` times the slope towards the higher side: a couple `-W h`
    /// times the slope there, whose effect on a share is by reciprocity that slope for a unit offset. Slopes of the level
    /// truss (sag) are left out: they are part of how it was levelled.
    fn add_hanging(&mut self) {
        let n = self.level_shares_n.len();
        let height = self.standing.line_height;
        for item in self.model.items.iter().filter(|i| i.hang_m != 0.0) {
            for (place, weight_n) in item.lumps(height) {
                let at: Vec<At> = (0..n).map(|k| self.model.at(&self.unit[k], item.piece, place)).collect();
                for j in 0..n {
                    for k in 0..n {
                        let swing = at[j].slope_rad * at[k].slope_rad + at[j].roll_rad * at[k].roll_rad;
                        self.share_per_offset[j][k] += weight_n * item.hang_m * swing;
                    }
                }
            }
        }
    }

    fn row(&self, piece: usize, x_m: f64, what: impl Fn(At) -> f64) -> Row {
        let level = what(self.model.at(&self.level, piece, x_m));
        Row { level, per_offset: self.unit.iter().map(|f| what(self.model.at(f, piece, x_m))).collect() }
    }

    /// Slope along a piece at `x_m` from its `from` end (`to` end up positive). Of a place beyond the piece: that of the end.
    pub fn slope_at(&self, piece: usize, x_m: f64) -> SlopeRow {
        let Row { level, per_offset } = self.row(piece, x_m, |a| a.slope_rad);
        SlopeRow { level_rad: level, per_offset }
    }

    /// Rotation about a piece (y side up positive).
    pub fn roll_at(&self, piece: usize, x_m: f64) -> SlopeRow {
        let Row { level, per_offset } = self.row(piece, x_m, |a| a.roll_rad);
        SlopeRow { level_rad: level, per_offset }
    }

    /// Height above the level line, m.
    pub fn height_at(&self, piece: usize, x_m: f64) -> Row {
        self.row(piece, x_m, |a| a.w_m)
    }

    /// Bending moment, N m, sagging positive.
    pub fn moment_at(&self, piece: usize, x_m: f64) -> Row {
        self.row(piece, x_m, |a| a.moment_nm)
    }

    /// Shear dM/dx, N; at a point load that just before it.
    pub fn shear_at(&self, piece: usize, x_m: f64) -> Row {
        self.row(piece, x_m, |a| a.shear_n)
    }

    /// Everything at one place, at these offsets (m), bending and torsion only. For many places: [`Linear::lying`].
    pub fn at(&self, piece: usize, x_m: f64, offsets_m: &[f64]) -> At {
        self.lying(offsets_m).at(piece, x_m)
    }

    /// The truss as it lies at these offsets (m), to be asked at many places.
    pub fn lying(&self, offsets_m: &[f64]) -> Lying<'_> {
        let mut field = self.level.clone();
        for (one, h) in self.unit.iter().zip(offsets_m).filter(|(_, h)| **h != 0.0) {
            for (u, v) in field.u.iter_mut().zip(&one.u) {
                *u += h * v;
            }
        }
        Lying { model: &self.model, field }
    }

    /// Shares at these offsets (m), N; towers that would have to pull come out negative.
    pub fn shares(&self, offsets_m: &[f64]) -> Vec<f64> {
        self.level_shares_n.iter().zip(&self.share_per_offset).map(|(r, row)| r + dot(row, offsets_m)).collect()
    }

    /// Heights of the heads at these offsets, m.
    pub fn heads(&self, offsets_m: &[f64]) -> Vec<f64> {
        self.level_heads_m.iter().zip(&self.head_per_offset).map(|(w, row)| w + dot(row, offsets_m)).collect()
    }

    /// The offsets of cranks or pins that put the heads at these heights (m): head plus share over stiffness. Where heads
    /// are rigid they are the heights themselves.
    pub fn cranks_for_heads(&self, heads_m: &[f64]) -> Vec<f64> {
        let rigid = self.model.standing(&self.model.on(Bearing::Rigid, self.standing.line_height));
        let shares = rigid.shares(heads_m);
        (0..heads_m.len()).map(|j| heads_m[j] + self.solver.spring[j].map_or(0.0, |k| shares[j] / k)).collect()
    }

    /// How it stands at these offsets with towers that can only push.
    pub fn stood(&self, offsets_m: &[f64]) -> Stood {
        crate::contact::stand(self, offsets_m)
    }

    /// What each line of the load schedule puts on each tower with every offset zero: `[line][tower]`, N.
    pub fn line_shares_n(&self) -> Vec<Vec<f64>> {
        (0..self.model.lines().len())
            .map(|line| {
                let field = self.solver.loaded(&self.model, self.model.parts(self.standing.line_height, |i| i.line == line));
                let loads = self.solver.tower_loads(&self.model, &field.parts);
                (0..self.unit.len()).map(|j| self.solver.share(&self.model, &field.u, j, 0.0, loads[j])).collect()
            })
            .collect()
    }

    /// Shares with tower `k` slack, every other offset zero, N: what its neighbours must then hold. Another tower may come out
    /// negative: it would have to pull, and the truss rocks (see [`Linear::stood`]). `None` where the others cannot hold it.
    pub fn slack(&self, k: usize) -> Option<Vec<f64>> {
        let own = self.stiffness_per_offset[k][k];
        let scale = self.stiffness_per_offset.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
        if own <= NO_STIFFNESS * scale || own < 1e-3 {
            return None;
        }
        let down = self.level_shares_n[k] / own;
        Some(
            (0..self.level_shares_n.len())
                .map(|j| if j == k { 0.0 } else { self.level_shares_n[j] - self.stiffness_per_offset[j][k] * down })
                .collect(),
        )
    }

    /// What one newton more at `x_m` of a piece does.
    pub fn point(&self, piece: usize, x_m: f64) -> PointEffect<'_> {
        self.point_across(piece, x_m, 0.0)
    }

    /// What one newton more does that hangs `across_m` to the y side of a piece.
    pub fn point_across(&self, piece: usize, x_m: f64, across_m: f64) -> PointEffect<'_> {
        let (stretch, at) = self.model.find(piece, x_m);
        let mut parts = vec![Vec::new(); self.model.stretches.len()];
        parts[stretch].push(Part::Point { at, n: 1.0, torque: -across_m });
        let field = self.solver.loaded(&self.model, parts);
        let loads = self.solver.tower_loads(&self.model, &field.parts);
        let share_per_n = (0..self.unit.len()).map(|j| self.solver.share(&self.model, &field.u, j, 0.0, loads[j])).collect();
        PointEffect { share_per_n, linear: self, field }
    }
}

/// A truss as it lies at given offsets.
#[derive(Clone, Debug)]
pub struct Lying<'a> {
    model: &'a Model,
    field: Field,
}

impl Lying<'_> {
    /// Everything at one place of a piece.
    pub fn at(&self, piece: usize, x_m: f64) -> At {
        self.model.at(&self.field, piece, x_m)
    }
}

/// What one newton more at a place does; all per newton.
#[derive(Clone, Debug)]
pub struct PointEffect<'a> {
    /// To each tower's share.
    pub share_per_n: Vec<f64>,
    linear: &'a Linear,
    field: Field,
}

impl PointEffect<'_> {
    /// To the slope along a piece at a place, rad per N.
    pub fn slope_rad_per_n(&self, piece: usize, x_m: f64) -> f64 {
        self.linear.model.at(&self.field, piece, x_m).slope_rad
    }

    /// To the rotation about a piece, rad per N.
    pub fn roll_rad_per_n(&self, piece: usize, x_m: f64) -> f64 {
        self.linear.model.at(&self.field, piece, x_m).roll_rad
    }

    /// To the height at a place, m per N.
    pub fn height_m_per_n(&self, piece: usize, x_m: f64) -> f64 {
        self.linear.model.at(&self.field, piece, x_m).w_m
    }

    /// To everything at a place, per N.
    pub fn at(&self, piece: usize, x_m: f64) -> At {
        self.linear.model.at(&self.field, piece, x_m)
    }
}

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
