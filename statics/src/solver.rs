//! The stiffness of a standing lift, factored once, and the motion under any cause.

use crate::element::{At, Part};
use crate::ldl::Ldl;
use crate::linear::dot;
use crate::model::{Bearing, Model, Standing, StaticsError, Stretch};
use raisewatch_protocol::units::Length;

/// Motion of the whole truss under one cause: its unknowns and what hangs on each stretch.
#[derive(Clone, Debug)]
pub(crate) struct Field {
    pub u: Vec<f64>,
    /// By stretch.
    pub parts: Vec<Vec<Part>>,
}

/// The factored stiffness with the supports as they bear.
#[derive(Clone, Debug)]
pub(crate) struct Solver {
    ldl: Ldl,
    /// By unknown: its place among the free ones; `None` where given.
    free: Vec<Option<usize>>,
    /// Stiffness of each tower, N/m; `None` where rigid.
    pub spring: Vec<Option<f64>>,
    /// Whole stiffness without supports, n × n.
    full: Vec<f64>,
}

impl Solver {
    pub fn new(model: &Model, standing: &Standing) -> Result<Self, StaticsError> {
        let n = model.unknowns;
        let spring: Vec<Option<f64>> = (standing.bearing.iter().zip(&model.plan.towers))
            .map(|(bearing, tower)| match bearing {
                Bearing::Rope => Some(tower.rope_stiffness.0),
                Bearing::Pins => Some(tower.pin_stiffness.0),
                Bearing::Rigid => None,
            })
            .collect();
        let full = model.stiffness();
        let mut given = vec![false; n];
        for &i in &model.held {
            given[i] = true;
        }
        for (w, k) in model.tower_w.iter().zip(&spring) {
            given[*w] |= k.is_none();
        }
        let mut count = 0;
        let free: Vec<Option<usize>> = given
            .iter()
            .map(|g| {
                (!g).then(|| {
                    count += 1;
                    count - 1
                })
            })
            .collect();
        let mut a = vec![0.0; count * count];
        for i in 0..n {
            for j in 0..n {
                if let (Some(p), Some(q)) = (free[i], free[j]) {
                    a[p * count + q] = full[i * n + j];
                }
            }
        }
        for (w, k) in model.tower_w.iter().zip(&spring) {
            if let (Some(p), Some(k)) = (free[*w], k) {
                a[p * count + p] += k;
            }
        }
        let solver = Solver { ldl: Ldl::new(a, count), free, spring, full };
        solver.refuse_falls(model)?;
        Ok(solver)
    }

    /// A loose unknown is harmless where nothing moves up or down with it.
    fn refuse_falls(&self, model: &Model) -> Result<(), StaticsError> {
        for loose in &self.ldl.loose {
            let moved = |i: usize| self.free[i].map_or(0.0, |p| loose.mode[p].abs());
            let most = (0..model.unknowns).filter(|&i| model.is_height[i]).max_by(|&a, &b| moved(a).total_cmp(&moved(b)));
            let largest = loose.mode.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            if let Some(i) = most.filter(|&i| moved(i) > 1e-6 * largest) {
                return Err(model.falls(i));
            }
        }
        Ok(())
    }

    /// Motion under what hangs, every offset zero.
    pub fn loaded(&self, model: &Model, parts: Vec<Vec<Part>>) -> Field {
        let mut u = self.solve(&model.end_loads(&parts));
        self.settle(&mut u);
        Field { u, parts }
    }

    /// Motion under tower `k` going up by one metre.
    pub fn lifted(&self, model: &Model, k: usize) -> Field {
        let n = model.unknowns;
        let w = model.tower_w[k];
        let mut load = vec![0.0; n];
        if let Some(stiffness) = self.spring[k] {
            load[w] = stiffness;
        } else {
            for (i, l) in load.iter_mut().enumerate() {
                *l = -self.full[i * n + w];
            }
        }
        let mut u = self.solve(&load);
        self.settle(&mut u);
        if self.spring[k].is_none() {
            u[w] = 1.0;
        }
        Field { u, parts: vec![Vec::new(); model.stretches.len()] }
    }

    fn solve(&self, load: &[f64]) -> Vec<f64> {
        let mut b: Vec<f64> = self.free.iter().zip(load).filter_map(|(f, l)| f.map(|_| *l)).collect();
        self.ldl.solve(&mut b);
        self.free.iter().map(|f| f.map_or(0.0, |p| b[p])).collect()
    }

    /// Rounding below any meaning must not look like motion.
    fn settle(&self, u: &mut [f64]) {
        for x in u {
            if x.abs() < 1e-18 {
                *x = 0.0;
            }
        }
    }

    /// What hangs right at each tower's node goes straight into it.
    pub fn tower_loads(&self, model: &Model, parts: &[Vec<Part>]) -> Vec<f64> {
        let load = model.end_loads(parts);
        model.tower_w.iter().map(|&w| load[w]).collect()
    }

    /// Push of tower `j` on the truss: its spring's, or what the truss asks of it less what hangs there.
    pub fn share(&self, model: &Model, u: &[f64], j: usize, offset_m: f64, load_n: f64) -> f64 {
        let (n, w) = (model.unknowns, model.tower_w[j]);
        match self.spring[j] {
            Some(k) => k * (offset_m - u[w]),
            None => dot(&self.full[w * n..(w + 1) * n], u) - load_n,
        }
    }
}

impl Model {
    fn falls(&self, unknown: usize) -> StaticsError {
        let end = |s: &Stretch| {
            if s.map[0][0].0 == unknown {
                Some(s.x0)
            } else if s.map[3][0].0 == unknown {
                Some(s.x0 + s.beam.len)
            } else {
                None
            }
        };
        let (piece, at_m) = self.stretches.iter().find_map(|s| end(s).map(|x| (s.piece, x))).unwrap_or((0, 0.0));
        StaticsError::Falls { piece: self.plan.pieces[piece].id.clone(), at_m }
    }

    fn stiffness(&self) -> Vec<f64> {
        let n = self.unknowns;
        let mut full = vec![0.0; n * n];
        for s in &self.stretches {
            let k = s.beam.stiffness();
            for (row, mi) in k.iter().zip(&s.map) {
                for (value, mj) in row.iter().zip(&s.map) {
                    for (i, a) in mi {
                        for (j, b) in mj {
                            full[i * n + j] += a * b * value;
                        }
                    }
                }
            }
        }
        full
    }

    /// What hangs, of the items asked for, by stretch.
    pub(crate) fn parts(&self, line_height: Length, of: impl Fn(&crate::model::Item) -> bool) -> Vec<Vec<Part>> {
        (0..self.stretches.len())
            .map(|i| {
                let s = &self.stretches[i];
                let last = self.stretches.get(i + 1).is_none_or(|t| t.piece != s.piece);
                self.items.iter().filter(|i| of(i)).filter_map(|item| item.part_on(s, last, line_height.0)).collect()
            })
            .collect()
    }

    fn end_loads(&self, parts: &[Vec<Part>]) -> Vec<f64> {
        let mut load = vec![0.0; self.unknowns];
        for (s, parts) in self.stretches.iter().zip(parts).filter(|(_, p)| !p.is_empty()) {
            let mut ends = [0.0; 6];
            for part in parts {
                s.beam.end_loads(part, &mut ends);
            }
            for (force, mixed) in ends.iter().zip(&s.map) {
                for (i, factor) in mixed {
                    load[*i] += factor * force;
                }
            }
        }
        load
    }

    /// What a field does at a place.
    pub(crate) fn at(&self, field: &Field, piece: usize, x_m: f64) -> At {
        let (stretch, x) = self.find(piece, x_m);
        let s = &self.stretches[stretch];
        let ends = s.map.map(|mixed| mixed.iter().map(|(i, f)| f * field.u[*i]).sum());
        s.beam.at(x, &ends, &field.parts[stretch])
    }
}
