//! One support that settles: which tower it is, and by how much, from what all tilts, shares and heights have changed by.
//!
//! Each change is measured with its uncertainty and has a row by the statics: how much of it a metre of each tower's settling
//! makes (`share_per_offset`, slopes of the boxes). For every tower alone the least squares give its settling and how much of what
//! was seen it explains. A support only ever sinks while nobody cranks, which tells the two of a pair apart, and the end of three
//! in line from the middle.

/// How much of what was seen (in squares of standard deviations) one tower's settling must explain.
const EXPLAINED: f64 = 0.75;
/// How much better than any other tower's, in the same measure: two standard deviations, twice over.
const CLEARER: f64 = 8.0;

/// A support that has settled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Tower, index in the plan.
    pub tower: usize,
    /// How far, m; positive is down.
    pub down_m: f64,
    /// One standard deviation, m.
    pub sigma_m: f64,
}

/// Least squares for each tower alone. Its room is used again.
#[derive(Clone, Debug, Default)]
pub struct Settles {
    with: Vec<f64>,
    own: Vec<f64>,
    all: f64,
}

impl Settles {
    /// With room for so many towers.
    pub fn new(towers: usize) -> Self {
        Settles { with: vec![0.0; towers], own: vec![0.0; towers], all: 0.0 }
    }

    /// Begins for `towers` towers.
    pub fn begin(&mut self, towers: usize) {
        for sums in [&mut self.with, &mut self.own] {
            sums.clear();
            sums.resize(towers, 0.0);
        }
        self.all = 0.0;
    }

    /// Adds a change with its standard deviation; `row(k)` is what a metre *up* of tower `k` changes it by.
    pub fn add(&mut self, change: f64, sigma: f64, row: impl Fn(usize) -> f64) {
        let weight = 1.0 / (sigma * sigma);
        self.all += change * change * weight;
        for k in 0..self.own.len() {
            let a = row(k);
            self.with[k] += a * change * weight;
            self.own[k] += a * a * weight;
        }
    }

    /// Offset of tower `k` if it alone moved, m (positive is up), with its standard deviation; nothing where nothing bears on it.
    pub fn alone(&self, k: usize) -> Option<(f64, f64)> {
        (self.own[k] > 1e-12).then(|| (self.with[k] / self.own[k], self.own[k].sqrt().recip()))
    }

    /// The tower that has settled, where one alone explains what was seen and no other does nearly as well.
    pub fn found(&self) -> Option<Settled> {
        let explains = |k: usize| self.with[k] * self.with[k] / self.own[k];
        let sinks = (0..self.own.len()).filter(|&k| self.alone(k).is_some_and(|(up, _)| up < 0.0));
        let best = sinks.clone().max_by(|&a, &b| explains(a).total_cmp(&explains(b)))?;
        let next = sinks.filter(|&k| k != best).map(explains).fold(0.0, f64::max);
        let (up, sigma_m) = self.alone(best)?;
        let clear = explains(best) > EXPLAINED * self.all && explains(best) - next > CLEARER;
        clear.then_some(Settled { tower: best, down_m: -up, sigma_m })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two towers 6 m apart: both boxes turn alike.
    fn pair(slope_deg: f64) -> Option<Settled> {
        let mut s = Settles::default();
        s.begin(2);
        for _ in 0..2 {
            s.add(slope_deg.to_radians(), 0.02_f64.to_radians(), |k| if k == 0 { -1.0 / 6.0 } else { 1.0 / 6.0 });
        }
        s.found()
    }

    #[test]
    fn of_a_pair_the_lower_one_has_sunk() {
        let b = pair(-0.2).unwrap();
        assert!((b.down_m - 6.0 * 0.2_f64.to_radians()).abs() < 1e-9 && b.tower == 1, "{b:?}");
        assert_eq!(pair(0.2).map(|s| s.tower), Some(0));
        // Within noise nobody has.
        assert_eq!(pair(0.02), None);
    }

    /// Three in line, 5 m apart, worked example 3b on ropes: 34.6 N/mm in the middle (docs/trade.md section 3.7).
    fn line(tilts_deg: [f64; 3], shares_n: [f64; 3]) -> Option<Settled> {
        let mut s = Settles::default();
        s.begin(3);
        // The rake of a stiff truss over its ends, and the pattern that no weight makes.
        for t in tilts_deg {
            s.add(t.to_radians(), 0.03_f64.to_radians(), |k| [-0.1, 0.0, 0.1][k]);
        }
        let pattern = [1.0, -2.0, 1.0].map(|p: f64| p / 6.0_f64.sqrt());
        let excess = pattern.iter().zip(shares_n).map(|(p, n)| p * n).sum();
        let per_m = |k: usize| [17_300.0, -34_600.0, 17_300.0][k] * 6.0_f64.sqrt() / 2.0;
        s.add(excess, 10.0, per_m);
        s.found()
    }

    #[test]
    fn of_three_in_line_shares_and_rake_tell_which() {
        // The middle sinks by 5 mm: it loses 173 N, the ends gain half each, nothing rakes.
        let b = line([0.0; 3], [86.5, -173.0, 86.5]).unwrap();
        assert!(b.tower == 1 && (b.down_m - 0.005).abs() < 1e-4, "{b:?}");
        // An end sinks by 10 mm: the same pattern the other way round, and the truss rakes.
        let a = line([0.001_f64.atan().to_degrees(); 3], [-86.5, 173.0, -86.5]).unwrap();
        assert!(a.tower == 0 && (a.down_m - 0.010).abs() < 5e-4, "{a:?}");
        // No rake is known: either end may be it, so none is named.
        assert_eq!(line([0.0; 3], [-86.5, 173.0, -86.5]), None);
        // One cell that drifts is no settling: a millimetre would have moved it by more.
        assert!(line([0.0; 3], [0.0, -12.0, 0.0]).is_none_or(|s| s.down_m < 0.001));
    }

    #[test]
    fn what_one_tower_does_not_explain_names_none() {
        // The boxes turn against each other.
        let mut s = Settles::default();
        s.begin(2);
        for turn in [-0.3_f64, 0.2] {
            s.add(turn.to_radians(), 0.02_f64.to_radians(), |k| if k == 0 { -1.0 / 6.0 } else { 1.0 / 6.0 });
        }
        assert_eq!(s.found(), None);
        // Nothing bears on anything.
        let mut s = Settles::default();
        s.begin(2);
        s.add(0.01, 0.001, |_| 0.0);
        assert_eq!((s.found(), s.alone(0)), (None, None));
    }
}
