//! Whether a tower stands: the push that tips it, and what a mast out of plumb does.

use crate::model::Model;
use serde::Serialize;

/// A tower's stand at one height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stability {
    /// Height of the head, m.
    pub height_m: f64,
    /// Horizontal force at the head that tips it, N: (share + own weight) × footprint / height; `None` where the plan does
    /// not state footprint and weight.
    pub tip_n: Option<f64>,
    /// What it should stand: 1.5 times 5 % of what stands on its feet, N. Common practice, no source.
    pub expected_n: f64,
    /// How far the head stands off its foot for one degree out of plumb, m.
    pub lean_m_per_deg: f64,
    /// Moment on the foot for one degree out of plumb, N m.
    pub lean_nm_per_deg: f64,
}

/// Expected push as a share of the vertical. Common practice, no source (nominal 3 to 5 %).
const PUSH: f64 = 0.05;
/// Reserve over the expected push.
const PUSH_RESERVE: f64 = 1.5;

impl Model {
    /// How tower `tower` stands with this share at this height.
    pub fn stability(&self, tower: usize, share_n: f64, height_m: f64) -> Stability {
        let t = &self.plan.towers[tower];
        let own = t.weight.map(|w| w.0 + t.adapter.0);
        let down = share_n.max(0.0) + own.unwrap_or(0.0);
        let offset = height_m * 1.0_f64.to_radians().sin();
        Stability {
            height_m,
            tip_n: t.footprint.zip(own).map(|(b, own)| (share_n.max(0.0) + own) * b.0 / height_m),
            expected_n: PUSH_RESERVE * PUSH * down,
            lean_m_per_deg: offset,
            lean_nm_per_deg: share_n.max(0.0) * offset,
        }
    }
}
