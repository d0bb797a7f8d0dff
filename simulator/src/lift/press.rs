//! What presses and pulls: the truss on the heads, the outside on the truss; one step of the mechanics.

use super::{DT, Lift};
use std::f64::consts::TAU;

impl Lift {
    /// Height of a watched place as the heads carry it, m; its own sag left out.
    pub(super) fn place_z(&self, place: usize) -> f64 {
        self.truss.head.iter().zip(&self.towers).map(|(head, tower)| head.z[place] * tower.z_m).sum()
    }

    /// Slope of a piece as the heads give it, rad.
    pub(super) fn piece_slope(&self, piece: usize) -> f64 {
        let place = self.middles[piece];
        self.truss.head.iter().zip(&self.towers).map(|(head, tower)| head.along[place] * tower.z_m).sum()
    }

    /// Moment that presses the `to` side of a piece down, N m: what hangs rigidly swings out, flat cradles bear on an edge.
    fn piece_moment(&self, piece: usize) -> f64 {
        let slope = self.piece_slope(piece);
        let play = self.script.real.cradle_play_deg.to_radians();
        let edge = ((slope.abs() - play) / (2.0 * play.max(1e-6))).clamp(0.0, 1.0).copysign(slope);
        let shifted: f64 = (0..self.towers.len())
            .filter(|&j| self.supports[j].0 == piece)
            .map(|j| self.towers[j].cell_n.max(0.0) * self.cradles_m[j] / 2.0 * edge)
            .sum();
        self.truss.hanging_nm[piece] * self.hung * slope + if self.truss.in_line { shifted } else { 0.0 }
    }

    /// Upward forces from outside at watched places, N; tears what is torn.
    fn outside(&mut self) -> Vec<(usize, f64)> {
        let mut forces: Vec<_> = self.effects.weights.iter().map(|(place, n)| (*place, -n)).collect();
        let mut outside = 0.0;
        let mut torn = Vec::new();
        for spring in &self.effects.springs {
            let z = self.place_z(spring.place);
            let reach = if spring.above { z - spring.at_m } else { spring.at_m - z };
            // The truss itself gives way where it is held.
            let soft = 1.0 / spring.stiff + self.truss.point[spring.place].z[spring.place];
            let force = reach.max(0.0) / soft;
            if force > spring.breaks_n {
                torn.push(spring.fault);
                continue;
            }
            let up = if spring.above { -force } else { force };
            outside += up;
            forces.push((spring.place, up));
        }
        for fault in torn {
            self.faults[fault].tears();
            self.effects.springs.retain(|s| s.fault != fault);
        }
        self.outside_n = outside;
        forces
    }

    /// One step of the mechanics: what the truss presses on each head, then each head moves on.
    pub(super) fn mechanics(&mut self) {
        let forces = self.outside();
        let line_m = self.line_m();
        let moments: Vec<f64> = (0..self.piece_length_m.len()).map(|p| self.piece_moment(p)).collect();
        let zs: Vec<f64> = self.towers.iter().map(|t| t.z_m).collect();
        for j in 0..self.towers.len() {
            let mut share = self.hung * self.truss.load.share[j];
            share += self.truss.tail.iter().map(|tail| self.hung * line_m * tail.share[j]).sum::<f64>();
            share += self.truss.head.iter().zip(&zs).map(|(head, z)| head.share[j] * z).sum::<f64>();
            share += forces.iter().map(|(place, n)| n * self.truss.point[*place].share[j]).sum::<f64>();
            share += self.effects.kinks.iter().map(|(at, by)| by * self.truss.kink[*at].share[j]).sum::<f64>();
            share += moments.iter().zip(&self.truss.moment).map(|(m, moment)| m * moment.share[j]).sum::<f64>();
            let shake = self.shake(j, share);
            let runs_out = self.effects.towers.get(j).map_or(0.0, |t| t.runs_out);
            if runs_out > 0.0 {
                self.towers[j].slip(runs_out * DT);
            }
            self.towers[j].advance(share, shake, DT);
        }
    }

    /// What shakes the truss at this head, N: the crank, the place.
    fn shake(&self, j: usize, share: f64) -> f64 {
        let mut ripple = self.effects.load;
        if self.operators[j].cranking() {
            ripple += self.noise.crank_load * (TAU * self.operators[j].handle).sin();
        }
        share.max(0.0) * ripple
    }
}
