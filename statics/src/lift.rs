//! The lift from working height to trim: at which heights it is weighed, and on what the heads rest there.

use crate::model::{Bearing, Model};
use raisewatch_protocol::plan::{Plan, Tower};
use raisewatch_protocol::units::{Force, Length};

/// A height at which the lift is weighed.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Station {
    /// `working`, `pin` or `trim`.
    pub what: &'static str,
    /// Height of the heads, m.
    pub height_m: f64,
    /// `rope`, `pins` once landed, or `level`: heads brought to one height by a level, whatever they settle.
    pub on: &'static str,
    #[serde(skip)]
    pub(crate) bearing: Bearing,
}

impl Station {
    fn new(what: &'static str, height_m: f64, bearing: Bearing) -> Self {
        let on = match bearing {
            Bearing::Rope => "rope",
            Bearing::Pins => "pins",
            Bearing::Rigid => "level",
        };
        Station { what, height_m, on, bearing }
    }
}

/// Working height, each pin's height on the way (any tower's), trim on the ropes, trim on the pins; with three and more
/// towers also trim with the heads levelled, which puts more on the middle.
pub fn stations(plan: &Plan) -> Vec<Station> {
    let (low, high) = (plan.working_height.0, plan.trim_height.0);
    let mut pins: Vec<f64> =
        plan.towers.iter().flat_map(|t| &t.pins).map(|p| p.0).filter(|p| *p > low + 1e-3 && *p < high - 1e-3).collect();
    pins.sort_by(f64::total_cmp);
    pins.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
    let mut all = vec![Station::new("working", low, Bearing::Rope)];
    all.extend(pins.into_iter().map(|p| Station::new("pin", p, Bearing::Rope)));
    all.push(Station::new("trim", high, Bearing::Rope));
    all.push(Station::new("trim", high, Bearing::Pins));
    if plan.towers.len() > 2 {
        all.push(Station::new("trim", high, Bearing::Rigid));
    }
    all
}

/// The largest share that a tower takes at this height with the handling allowance: `allowance × share + adapter <= rated`.
pub fn most_share(plan: &Plan, tower: &Tower, height: Length) -> Force {
    Force((tower.rated_at(height).0 - tower.adapter.0) / plan.allowance)
}

/// How the towers stand in plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Two towers: shares follow from moments alone.
    Two,
    /// Three or more in one line.
    Line,
    /// Anything else: rings, frames.
    Ring,
}

impl Model {
    /// How the towers stand in plan.
    pub fn shape(&self) -> Shape {
        let at = self.tower_places();
        if at.len() <= 2 {
            return Shape::Two;
        }
        let (a, b) = self.farthest();
        let [dx, dy] = [at[b][0] - at[a][0], at[b][1] - at[a][1]];
        let len = dx.hypot(dy);
        let off = |p: &[f64; 2]| ((p[1] - at[a][1]) * dx - (p[0] - at[a][0]) * dy).abs() / len;
        // Out of line by less than the width of a truss is the cradle's play, not a frame.
        if at.iter().all(|p| off(p) < 0.3) { Shape::Line } else { Shape::Ring }
    }

    /// Places of the towers in plan coordinates, m.
    pub fn tower_places(&self) -> Vec<[f64; 2]> {
        self.plan.towers.iter().map(|t| self.place(t.piece, t.at.0)).collect()
    }

    /// A place on a piece in plan coordinates, m.
    pub fn place(&self, piece: usize, x_m: f64) -> [f64; 2] {
        let p = &self.plan.pieces[piece];
        let share = x_m / p.length().0;
        [0, 1].map(|i| p.from[i].0 + (p.to[i].0 - p.from[i].0) * share)
    }

    /// The two towers farthest from each other, in plan order; the same one twice where there is only one.
    pub fn farthest(&self) -> (usize, usize) {
        let at = self.tower_places();
        let mut best = (0, 0, 0.0);
        for i in 0..at.len() {
            for j in i + 1..at.len() {
                let d = (at[i][0] - at[j][0]).hypot(at[i][1] - at[j][1]);
                if d > best.2 + 1e-9 {
                    best = (i, j, d);
                }
            }
        }
        (best.0, best.1)
    }

    /// Distance between the two towers farthest from each other, m.
    pub fn span_m(&self) -> f64 {
        let (a, b) = self.farthest();
        let at = self.tower_places();
        (at[a][0] - at[b][0]).hypot(at[a][1] - at[b][1])
    }

    /// Inner heads of a line, or every head of a ring: those whose offset from the others shifts load.
    pub fn odd_heads(&self) -> Vec<usize> {
        match self.shape() {
            Shape::Two => vec![],
            Shape::Line => {
                let (a, b) = self.farthest();
                (0..self.plan.towers.len()).filter(|i| *i != a && *i != b).collect()
            }
            Shape::Ring => (0..self.plan.towers.len()).collect(),
        }
    }
}
