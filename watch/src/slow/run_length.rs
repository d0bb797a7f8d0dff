//! Average run lengths: after how many values a detector speaks, in control (falsely) and after a shift.
//!
//! The value of the sum is cut into cells, which makes a Markov chain; the run lengths from all cells solve one linear system.
//! Source: Brook and Evans (1972), Biometrika 59(3), 539-549; for the moving average Lucas and Saccucci (1990), Technometrics
//! 32(1), 1-12. Used to *choose* h, and by the tests; never while the watch runs.

use nalgebra::{DMatrix, DVector};

/// Cells of the chain. With 201 the published tables are met to four digits.
const CELLS: usize = 201;

/// Chance that a standard normal value lies below `x`.
pub fn normal_below(x: f64) -> f64 {
    0.5 * libm::erfc(-x / std::f64::consts::SQRT_2)
}

/// Average run length of one cumulative sum, from zero, of values with mean `shift` and standard deviation 1.
///
/// `None` for k or h that make no chain (h not positive, not finite), or a run length beyond what f64 solves.
pub fn cusum_one_sided(k: f64, h: f64, shift: f64) -> Option<f64> {
    cusum_from(k, h, shift, 0.0)
}

/// The same with a head start of `start`.
pub fn cusum_from(k: f64, h: f64, shift: f64, start: f64) -> Option<f64> {
    if !(h > 0.0 && h.is_finite() && k.is_finite() && shift.is_finite()) {
        return None;
    }
    // The first cell is half as wide and holds zero; all cells lie centred on multiples of the width.
    let width = 2.0 * h / (2.0 * CELLS as f64 - 1.0);
    let below = |edge: f64| normal_below(edge + k - shift);
    let stays = DMatrix::from_fn(CELLS, CELLS, |i, j| {
        let step = (j as f64 - i as f64) * width;
        if j == 0 { below(step + width / 2.0) } else { below(step + width / 2.0) - below(step - width / 2.0) }
    });
    let cell = (start / width).round().clamp(0.0, CELLS as f64 - 1.0) as usize;
    run_lengths(stays)?.get(cell).copied().filter(|l| *l >= 1.0)
}

/// Average run length of two sums that run together. Source: 1/L = 1/L⁺ + 1/L⁻, Kemp (1961), J. R. Stat. Soc. B 23, 149-153.
pub fn cusum_two_sided(k: f64, h: f64, shift: f64) -> Option<f64> {
    let (above, below) = (cusum_one_sided(k, h, shift)?, cusum_one_sided(k, h, -shift));
    // Away from the shift the other sum may never speak within what can be solved.
    Some(1.0 / (1.0 / above + below.map_or(0.0, |b| 1.0 / b)))
}

/// The same in closed form, to a few per cent: (exp(2Δb) − 1 − 2Δb) / 2Δ² with Δ = k − shift and b = h + 1.166.
/// Source: Siegmund (1985), *Sequential Analysis*, as in NIST/SEMATECH e-Handbook 6.3.2.3.
pub fn siegmund_one_sided(k: f64, h: f64, shift: f64) -> f64 {
    let (delta, b) = (k - shift, h + 1.166);
    if delta.abs() < 1e-9 { b * b } else { ((2.0 * delta * b).exp() - 2.0 * delta * b - 1.0) / (2.0 * delta * delta) }
}

/// The h at which a two-sided sum that lies `shift` off from its beginning runs on average `length` values before it speaks.
///
/// `shift` is what the target itself may be wrong by. `None` where no h between 0.1 and 40 does it.
pub fn h_for(k: f64, shift: f64, length: f64) -> Option<f64> {
    let (mut low, mut high) = (0.1, 40.0);
    let short = |h: f64| 1.0 / (1.0 / siegmund_one_sided(k, h, shift) + 1.0 / siegmund_one_sided(k, h, -shift)) < length;
    if !short(low) || short(high) {
        return None;
    }
    // Siegmund's form brings it near; the chain says how near.
    while high - low > 1e-6 {
        let h = 0.5 * (low + high);
        if short(h) { low = h } else { high = h }
    }
    let near = high;
    let (mut low, mut high) = (0.8 * near, 1.2 * near);
    while high - low > 1e-3 {
        let h = 0.5 * (low + high);
        if cusum_two_sided(k, h, shift)? < length { low = h } else { high = h }
    }
    Some(high)
}

/// Average run length of a moving average with steady limits `width` of its standard deviations out, from its target, of values
/// with mean `shift` and standard deviation 1.
pub fn ewma_two_sided(lambda: f64, width: f64, shift: f64) -> Option<f64> {
    if !(0.0 < lambda && lambda <= 1.0 && width > 0.0) {
        return None;
    }
    let limit = width * (lambda / (2.0 - lambda)).sqrt();
    let cell = 2.0 * limit / CELLS as f64;
    let centre = |i: usize| -limit + (i as f64 + 0.5) * cell;
    let stays = DMatrix::from_fn(CELLS, CELLS, |i, j| {
        let kept = (1.0 - lambda) * centre(i);
        let edge = |by: f64| (centre(j) + by * cell - kept) / lambda - shift;
        normal_below(edge(0.5)) - normal_below(edge(-0.5))
    });
    run_lengths(stays)?.get(CELLS / 2).copied().filter(|l| *l >= 1.0)
}

/// Run lengths from every cell, by the chances to go from cell to cell and stay within.
fn run_lengths(stays: DMatrix<f64>) -> Option<Vec<f64>> {
    let n = stays.nrows();
    let system = DMatrix::identity(n, n) - stays;
    let solved = system.lu().solve(&DVector::from_element(n, 1.0))?;
    solved.iter().all(|l| l.is_finite()).then(|| solved.iter().copied().collect())
}
