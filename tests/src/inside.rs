//! How often what was told held the truth, and how wide it was.

use raisewatch_watch::condition::Known;

/// Counts what was told beside the truth.
#[derive(Debug, Default)]
pub struct Count {
    /// How often the stated 95 % interval held the truth.
    pub inside: usize,
    /// How often anything was told.
    pub told: usize,
    /// How often nothing was told.
    pub untold: usize,
    /// Sum of the stated variances, in the square of the quantity's unit.
    pub variance: f64,
    /// Sum of the squared errors.
    pub squares: f64,
}

impl Count {
    /// Holds what was told against the truth.
    pub fn see(&mut self, told: Option<Known>, truth: f64) {
        let Some(k) = told else {
            self.untold += 1;
            return;
        };
        self.told += 1;
        self.inside += usize::from((k.value - truth).abs() <= 1.96 * k.sigma);
        self.variance += k.sigma * k.sigma;
        self.squares += (k.value - truth).powi(2);
    }

    /// Part of what was told whose interval held the truth.
    pub fn part(&self) -> f64 {
        self.inside as f64 / self.told.max(1) as f64
    }

    /// Root mean square of the error.
    pub fn rms(&self) -> f64 {
        (self.squares / self.told.max(1) as f64).sqrt()
    }

    /// Root mean square of what was stated as one standard deviation.
    pub fn sigma(&self) -> f64 {
        (self.variance / self.told.max(1) as f64).sqrt()
    }
}

/// Offset of head `j` from the mean of all, mm: of heads on two towers, of cranks on more, as the estimate tells them.
pub fn true_offset_mm(truth: &raisewatch_simulator::Truth, j: usize) -> f64 {
    let n = truth.heads.len();
    let at = |j: usize| 1000.0 * if n == 2 { truth.heads[j].height_m } else { truth.heads[j].crank_m };
    at(j) - (0..n).map(at).sum::<f64>() / n as f64
}
