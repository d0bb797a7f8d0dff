//! Exponentially weighted moving average of a series, with its exact control limits.
//!
//! z = λ x + (1 − λ) z; limits at start ± L σ √(λ/(2 − λ) (1 − (1 − λ)^(2i))), i the number of values so far: narrow at first,
//! then steady. Source: Roberts (1959), Technometrics 1(3), 239-250; NIST/SEMATECH e-Handbook 6.3.2.4.

use super::cusum::Side;

/// A moving average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    lambda: f64,
    width: f64,
    start: f64,
    sigma: f64,
    z: f64,
    count: u32,
}

impl Ewma {
    /// Weight `lambda` of the newest value (0 < λ ≤ 1), limits `width` standard deviations of the average out ("L"), beginning at
    /// `start`, for values with standard deviation `sigma`.
    pub fn new(lambda: f64, width: f64, start: f64, sigma: f64) -> Self {
        Ewma { lambda, width, start, sigma, z: start, count: 0 }
    }

    /// Takes a value; to which side the average has gone past its limit.
    pub fn take(&mut self, x: f64) -> Option<Side> {
        self.z += self.lambda * (x - self.z);
        self.count = self.count.saturating_add(1);
        let off = self.z - self.start;
        match off.abs() > self.half_width() {
            false => None,
            true if off > 0.0 => Some(Side::Above),
            true => Some(Side::Below),
        }
    }

    /// The average.
    pub fn value(&self) -> f64 {
        self.z
    }

    /// How far the limits lie from the start now: exact for the values taken so far.
    pub fn half_width(&self) -> f64 {
        let grown = 1.0 - (1.0 - self.lambda).powf(2.0 * f64::from(self.count));
        self.steady_half_width() * grown.sqrt()
    }

    /// How far they lie after many values.
    pub fn steady_half_width(&self) -> f64 {
        self.width * self.sigma * (self.lambda / (2.0 - self.lambda)).sqrt()
    }

    /// How far the average lags behind a ramp of `slope` a value, once steady. Source: derived, steady state of the recursion.
    pub fn lag_behind(&self, slope: f64) -> f64 {
        slope * (1.0 - self.lambda) / self.lambda
    }
}

/// The weight that makes an average with time constant `tau_s` of values every `dt_s`.
/// Source: exact discretisation of a first-order low-pass.
pub fn lambda_of(dt_s: f64, tau_s: f64) -> f64 {
    1.0 - (-dt_s / tau_s).exp()
}
