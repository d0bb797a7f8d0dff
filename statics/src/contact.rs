//! Towers can only push: which of them still carry, and what then.
//!
//! With shares `r = r0 + S (h + g)`, the lift `g >= 0` of the truss off each support, `r >= 0` and `r·g = 0`: a quadratic
//! programme with the symmetric, positive semidefinite `S` (Signorini's contact), solved by the active-set method of
//! Lawson and Hanson, *Solving Least Squares Problems* (1974), chapter 23.

use crate::ldl::Ldl;
use crate::linear::{Linear, NO_STIFFNESS, dot};

/// How a lift stands with towers that only push.
#[derive(Clone, Debug, PartialEq)]
pub struct Stood {
    /// Share of each tower, N; zero where the truss has lifted off. Empty of meaning where `tips`.
    pub shares_n: Vec<f64>,
    /// How far the truss stands clear of each tower, m; zero where it carries.
    pub clear_m: Vec<f64>,
    /// Offsets at which towers that could pull would do the same: give these to [`Linear::at`] and its rows.
    pub offsets_m: Vec<f64>,
    /// True where those that still carry cannot hold it: it tips.
    pub tips: bool,
}

impl Stood {
    /// Towers that the truss has lifted off.
    pub fn lifted(&self) -> impl Iterator<Item = usize> + '_ {
        self.clear_m.iter().enumerate().filter(|(_, g)| **g > 0.0).map(|(j, _)| j)
    }
}

/// A push below this share of the whole weight is none.
const NOTHING: f64 = 1e-9;

pub(crate) fn stand(linear: &Linear, offsets_m: &[f64]) -> Stood {
    let n = linear.level_shares_n.len();
    let r0 = linear.shares(offsets_m);
    let s = &linear.stiffness_per_offset;
    let least = -NOTHING * linear.total_n.abs().max(1.0);
    let mut up = vec![false; n];
    let mut g = vec![0.0; n];
    let push = |g: &[f64]| -> Vec<f64> { (0..n).map(|j| r0[j] + dot(&s[j], g)).collect() };
    let mut tips = false;
    // Each round lifts one more tower off; the method ends within a few per tower.
    'rounds: for _ in 0..10 * n {
        let r = push(&g);
        let worst = (0..n).filter(|&j| !up[j] && r[j] < least).min_by(|&a, &b| r[a].total_cmp(&r[b]));
        let Some(worst) = worst else { break };
        up[worst] = true;
        loop {
            let Some(full) = lifts(s, &r0, &up) else {
                tips = true;
                break 'rounds;
            };
            let back = (0..n)
                .filter(|&j| up[j] && full[j] <= 0.0)
                .min_by(|&a, &b| (g[a] / (g[a] - full[a])).total_cmp(&(g[b] / (g[b] - full[b]))));
            let Some(back) = back else {
                g = full;
                break;
            };
            let step = g[back] / (g[back] - full[back]);
            for j in 0..n {
                g[j] += step * (full[j] - g[j]);
            }
            (g[back], up[back]) = (0.0, false);
            if !up.contains(&true) {
                break;
            }
        }
    }
    let mut shares_n = push(&g);
    for j in (0..n).filter(|&j| up[j]) {
        shares_n[j] = 0.0;
    }
    let offsets = offsets_m.iter().zip(&g).map(|(h, g)| h + g).collect();
    Stood { shares_n, clear_m: g, offsets_m: offsets, tips }
}

/// The lifts at which the towers in `up` carry nothing; `None` where the others cannot hold the truss.
fn lifts(s: &[Vec<f64>], r0: &[f64], up: &[bool]) -> Option<Vec<f64>> {
    let mine: Vec<usize> = (0..up.len()).filter(|&j| up[j]).collect();
    let m = mine.len();
    let mut a = vec![0.0; m * m];
    // Rounding leaves a tiny stiffness where two towers carry; it holds nothing.
    let scale = s.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
    for (p, &j) in mine.iter().enumerate() {
        for (q, &k) in mine.iter().enumerate() {
            a[p * m + q] = s[j][k];
        }
        if s[j][j] <= NO_STIFFNESS * scale || s[j][j] < 1e-3 {
            return None;
        }
    }
    let ldl = Ldl::new(a, m);
    if !ldl.loose.is_empty() {
        return None;
    }
    let mut b: Vec<f64> = mine.iter().map(|&j| -r0[j]).collect();
    ldl.solve(&mut b);
    let mut g = vec![0.0; up.len()];
    for (j, v) in mine.iter().zip(b) {
        g[*j] = v;
    }
    Some(g)
}
