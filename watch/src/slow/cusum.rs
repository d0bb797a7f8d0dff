//! Tabular two-sided cumulative sums: how much a series has lain above and below its target, beyond an allowance.
//!
//! S⁺ = max(0, S⁺ + z − k), S⁻ = max(0, S⁻ − z − k); a signal where a sum *exceeds* h. Source: Page (1954), Biometrika 41,
//! 100-115; NIST/SEMATECH e-Handbook 6.3.2.3. With z in standard deviations, k is half the shift that matters.

/// To which side a series has gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Above its target.
    Above,
    /// Below it.
    Below,
}

/// Two cumulative sums.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cusum {
    k: f64,
    h: f64,
    above: f64,
    below: f64,
}

impl Cusum {
    /// With reference value `k` and decision interval `h`, both in the unit of the deviations that it takes.
    pub fn new(k: f64, h: f64) -> Self {
        Cusum { k, h, above: 0.0, below: 0.0 }
    }

    /// With a head start of `start` on both sides (fast initial response; usually h/2).
    /// Source: Lucas and Crosier (1982), Technometrics 24(3), 199-205.
    pub fn with_head_start(self, start: f64) -> Self {
        Cusum { above: start, below: start, ..self }
    }

    /// Takes the next deviation from the target.
    pub fn take(&mut self, z: f64) -> Option<Side> {
        self.take_allowing(z, 0.0)
    }

    /// Takes the next deviation, of which so much either way is no fault (a drift that is allowed).
    pub fn take_allowing(&mut self, z: f64, allowed: f64) -> Option<Side> {
        self.above = (self.above + z - allowed - self.k).max(0.0);
        self.below = (self.below - z - allowed - self.k).max(0.0);
        self.signal()
    }

    /// The side whose sum exceeds h; the larger where both do.
    pub fn signal(&self) -> Option<Side> {
        let (most, side) = if self.above >= self.below { (self.above, Side::Above) } else { (self.below, Side::Below) };
        (most > self.h).then_some(side)
    }

    /// Both sums, above first.
    pub fn sums(&self) -> [f64; 2] {
        [self.above, self.below]
    }

    /// Lets neither sum stand so far past h that it could not come back within `more`.
    pub fn hold_at_most(&mut self, more: f64) {
        self.above = self.above.min(self.h + more);
        self.below = self.below.min(self.h + more);
    }

    /// Begins anew.
    pub fn clear(&mut self) {
        (self.above, self.below) = (0.0, 0.0);
    }
}
