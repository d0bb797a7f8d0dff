//! What rake and heads out of line do to the shares, honestly: hanging weights, cradles that bear on one edge, portal pull,
//! mast eccentricity for two towers; bending and twist for three and more.

use crate::lift::{Shape, most_share, stations};
use crate::linear::Linear;
use crate::model::{Bearing, Model};
use raisewatch_protocol::units::Length;
use serde::Serialize;

/// Play of a mast and cradle along the truss that the shortening of a raked truss may take up, m. Common practice, no source.
pub const PORTAL_PLAY_M: f64 = 0.005;
/// Friction between truss and cradle, a third of which may be used against sliding. Common practice, no source.
pub const CRADLE_FRICTION: f64 = 0.2;
/// Rake that no plan and nobody may exceed, rad (2°): anything seen from 15 m is a stop. Common practice, no source.
pub const NEVER_EXCEED_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;

/// What rake does to two towers at one height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TwoTowers {
    /// Distance of the towers, m.
    pub span_m: f64,
    /// Height of the heads, m.
    pub height_m: f64,
    /// Weight times the depth it hangs rigidly below the line, N m.
    pub hanging_nm: f64,
    /// What the higher tower gains per radian of rake by what hangs, N (and the lower one loses).
    pub hanging_n_per_rad: f64,
    /// What each tower gains, as the higher, once flat cradles bear on their lower edges, N.
    pub edge_n: [f64; 2],
    /// Rake at which each tower, as the higher, reaches the most it takes with the allowance, by hanging weights alone, rad;
    /// `None` beyond 45°.
    pub full_rad: [Option<f64>; 2],
    /// The same with cradles on edge; zero: at once.
    pub full_on_edge_rad: [Option<f64>; 2],
    /// Rake at which each tower, as the lower, is down to twice the least that brings it down, rad; `None` beyond 45°.
    pub light_rad: [Option<f64>; 2],
    /// Rake whose shortening takes up the play, rad.
    pub portal_rad: f64,
    /// Rake at which a third of the friction holds the truss in its cradles, rad.
    pub slide_rad: f64,
    /// Moment on each mast from a cradle bearing on its edge at full rated load, N m.
    pub mast_moment_nm: [f64; 2],
}

impl Model {
    /// What rake does, for two towers, at this height. `None` for more.
    pub fn two_towers(&self, height: Length) -> Option<TwoTowers> {
        if self.plan.towers.len() != 2 {
            return None;
        }
        let linear = self.standing(&self.on(Bearing::Rigid, height));
        let (span_m, w) = (self.span_m(), linear.total_n);
        let r = [linear.level_shares_n[0], linear.level_shares_n[1]];
        let per_rad = linear.share_per_offset[1][1] * span_m;
        let cradle = [0, 1].map(|i| self.plan.towers[i].cradle.0);
        // Both bear on their downhill edges: moments about them (docs/trade.md 3.3 for equal widths: W w / 2L).
        let edge_n = [0, 1].map(|j| {
            let low = 1 - j;
            let arm = r[j] / w.max(f64::MIN_POSITIVE) * span_m;
            w * (arm + cradle[low] / 2.0) / (span_m + (cradle[low] - cradle[j]) / 2.0) - r[j]
        });
        let reach = |room: f64| -> Option<f64> {
            if room <= 0.0 {
                return Some(0.0);
            }
            let rad = (room / per_rad).atan();
            (per_rad > 0.0 && rad < std::f64::consts::FRAC_PI_4).then_some(rad)
        };
        let most = [0, 1].map(|i| most_share(&self.plan, &self.plan.towers[i], height).0);
        let light = |i: usize| {
            let least = self.plan.towers[i].least.0;
            // Twice the least covers what the cradle does; the least itself must stand with it counted.
            let plain = reach(r[i] - crate::faults::TWICE * least);
            let edge = reach(r[i] - edge_n[1 - i] - least);
            match (plain, edge) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            }
        };
        Some(TwoTowers {
            span_m,
            height_m: height.0,
            hanging_nm: self.items.iter().map(|i| i.weight_n(height.0) * i.hang_m).sum(),
            hanging_n_per_rad: per_rad,
            edge_n,
            full_rad: [0, 1].map(|i| reach(most[i] - r[i])),
            full_on_edge_rad: [0, 1].map(|i| reach(most[i] - r[i] - edge_n[i])),
            light_rad: [0, 1].map(light),
            portal_rad: (1.0 - (PORTAL_PLAY_M / span_m).min(1.0)).acos(),
            slide_rad: (CRADLE_FRICTION / 3.0).atan(),
            mast_moment_nm: [0, 1].map(|i| self.plan.towers[i].rated_at(height).0 * cradle[i] / 2.0),
        })
    }
}

/// How far one head may stand out of the line or plane of the others before something gives, at one height and bearing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reach {
    /// The head that stands out.
    pub head: usize,
    /// Out of line, m: up (positive) or down.
    pub m: f64,
    /// The tower that gives; of a truss the head itself.
    pub tower: usize,
    /// `rating` (with the allowance), `least` (twice) or `truss` (its maker's table).
    pub gives: &'static str,
    /// Height of the heads there, m.
    pub height_m: f64,
}

impl Model {
    /// For each tower its rating and its least load, and for the truss its table: the nearest height of one head out of line,
    /// up or down, at which it gives, over the whole lift on the ropes; nearest first. Offsets are of the cranks. Empty for
    /// two towers: there heights shift nothing.
    pub fn reaches(&self) -> Vec<Reach> {
        let mut all: Vec<Reach> = Vec::new();
        if self.shape() == Shape::Two {
            return all;
        }
        let mut take = |r: Reach| {
            // A kilometre is rounding, not a height.
            if r.m.abs() > 1e3 {
                return;
            }
            match all.iter_mut().find(|a| a.gives == r.gives && (a.tower == r.tower || r.gives == "truss")) {
                Some(a) if a.m.abs() > r.m.abs() => *a = r,
                Some(_) => {}
                None => all.push(r),
            }
        };
        for station in stations(&self.plan).iter().filter(|s| s.bearing == Bearing::Rope) {
            let linear = self.standing(&self.on(Bearing::Rope, Length(station.height_m)));
            for head in self.odd_heads() {
                self.tower_reaches(&linear, head, station.height_m, &mut take);
                if station.what == "trim" {
                    self.truss_reach(&linear, head, station.height_m, &mut take);
                }
            }
        }
        all.sort_by(|a, b| a.m.abs().total_cmp(&b.m.abs()));
        all
    }

    fn tower_reaches(&self, linear: &Linear, head: usize, height_m: f64, take: &mut dyn FnMut(Reach)) {
        for (tower, t) in self.plan.towers.iter().enumerate() {
            let (per_m, share) = (linear.share_per_offset[tower][head], linear.level_shares_n[tower]);
            let most = most_share(&self.plan, t, Length(height_m)).0;
            // Towards its rating on the side on which it gains, towards its least on the other.
            let full = (most - share).max(0.0) / per_m;
            let light = -(share - 2.0 * t.least.0).max(0.0) / per_m;
            take(Reach { head, m: full, tower, gives: "rating", height_m });
            take(Reach { head, m: light, tower, gives: "least", height_m });
        }
    }

    /// Where the moment, linear in the head's offset, first passes what the table allows.
    fn truss_reach(&self, linear: &Linear, head: usize, height_m: f64, take: &mut dyn FnMut(Reach)) {
        if self.plan.pieces.iter().all(|p| p.table.is_empty()) {
            return;
        }
        let level = vec![0.0; self.plan.towers.len()];
        for span in self.spans(linear, &level) {
            let Some(allowed) = span.allowed else { continue };
            for i in 0..=STEPS {
                let x = span.from_m + (span.to_m - span.from_m) * f64::from(i) / f64::from(STEPS);
                let row = linear.moment_at(span.piece, x);
                let per_m = row.per_offset[head];
                for limit in [allowed.moment_nm, -allowed.moment_nm] {
                    // Only the side on which the moment grows towards this limit.
                    let m = (limit - row.level) / per_m;
                    if m.is_finite() && row.level.abs() < allowed.moment_nm {
                        take(Reach { head, m, tower: head, gives: "truss", height_m });
                    }
                }
            }
        }
    }
}

/// Places along a span at which the truss is looked at; its moment is largest at a tower, which is one of them.
const STEPS: i32 = 24;
