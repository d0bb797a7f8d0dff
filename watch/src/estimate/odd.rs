//! Which head is the odd one: for each the supposition that all others stand level, held against the heads as they are known.
//!
//! Under the supposition "it is j" the others stand at one height, up to what crews leave between them, and j anywhere. How badly
//! the estimate fits each supposition is a sum of squares in standard deviations (generalised least squares with the covariance
//! of the estimate, so a combination that cells know to a millimetre counts for more than a rake that boxes know to a
//! centimetre). Twice the logarithm of the likelihood ratio of two suppositions is the difference of their sums; a name is told
//! when the next one is that much worse. Source: any text on generalised least squares; the ratio is [practice].

use super::level::Offsets;

/// A rake that is left quite free, mm² per m².
const FREE_MM2_PER_M2: f64 = 1e5;

/// What a crew leaves between heads that it cranks alike, one standard deviation, mm: a counted quarter turn is 6 mm.
pub const LEFT_MM: f64 = 3.0;
/// A small slip is likelier than a large one: its chance falls with the square of its size, whatever the unit. In line, where an
/// inner head that stands out by so much and an end that is off by twice as much bend the truss alike, this is what speaks for
/// the inner one until the rake of the whole is known. Only past what a crew leaves anyway does it count, mm.
const SLIP_MM: f64 = LEFT_MM;
/// The next supposition must be less likely by so much (twice the logarithm) before a name is told: a corner of a ring by what the
/// boxes say...
pub const NAMED: f64 = 2.5;
/// ...an inner head in line that came to stand off within one turn, of which an end would have had to go by as many as nobody goes:
/// what the boxes say may take away of its smaller slip, but not turn it round...
pub const NAMED_SUDDEN: f64 = 1.0;
/// ...one that came to stand off slowly by e^2: over some turns an end may as well have gone twice as far...
pub const NAMED_SLOW: f64 = 4.0;
/// ...and of three by e^4: there the rake alone parts the middle from the ends, and it must say so itself, beside what speaks for a
/// smaller slip...
pub const NAMED_SLOW_OF_THREE: f64 = 8.0;
/// ...an end in line, which boxes alone tell, by e^3, twenty to one...
pub const NAMED_END: f64 = 6.0;
/// ...and a name that was beyond that doubt is so while it is this much short of it.
pub const KEPT: f64 = 1.0;
/// A name in line that was told is one no more where another is likelier by so much.
pub const DOUBTED: f64 = 2.0;

/// The sums of squares, by head, and room to work them out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Suppositions {
    /// By head: sum of squares in standard deviations if it is the odd one. Differences alone mean anything between heads.
    pub misfit: Vec<f64>,
    weight: Vec<f64>,
    pull: Vec<f64>,
}

impl Suppositions {
    /// Works them out for `n` heads, three and more, all known. Nothing is allocated once it was called.
    pub fn weigh(&mut self, n: usize, heads: &impl Offsets) {
        self.misfit.clear();
        self.weight.clear();
        // Where the rake of the whole is weighed over the last turns it does not count a second time.
        let whole = heads.whole().filter(|w| w.misfit(0).is_some());
        let free = |j: usize, k: usize| whole.map_or(0.0, |w| FREE_MM2_PER_M2 * w.along_m[j] * w.along_m[k]);
        self.weight.extend((0..n * n).map(|i| {
            let (j, k) = (i / n, i % n);
            heads.wide_mm2(j, k) + free(j, k) + if j == k { LEFT_MM * LEFT_MM } else { 0.0 }
        }));
        invert(&mut self.weight, n);
        let w = &self.weight;
        let row = |j: usize| w[j * n..(j + 1) * n].iter().sum::<f64>();
        let all: f64 = (0..n).map(row).sum();
        let offset = |j: usize| heads.offset_mm(j).unwrap_or(0.0);
        // The common height taken out: N = W - W 1 1' W / 1' W 1.
        let common = (0..n).map(|j| row(j) * offset(j)).sum::<f64>() / all;
        self.pull.clear();
        self.pull.extend((0..n).map(|j| (0..n).map(|k| w[j * n + k] * (offset(k) - common)).sum::<f64>()));
        let fit: f64 = (0..n).map(|j| self.pull[j] * (offset(j) - common)).sum();
        self.misfit.extend((0..n).map(|j| {
            let own = w[j * n + j] - row(j).powi(2) / all;
            // Best place of j over the others, and with it the sum of squares and the size of the slip.
            let slip = self.pull[j] / own.max(1e-12);
            fit - self.pull[j] * slip + 2.0 * (slip / SLIP_MM).powi(2).max(1.0).ln()
        }));
        if let Some(whole) = whole {
            self.misfit.iter_mut().enumerate().for_each(|(j, m)| *m += whole.misfit(j).unwrap_or(0.0));
        }
    }

    /// The likeliest odd head.
    pub fn likeliest(&self) -> Option<usize> {
        (0..self.misfit.len()).min_by(|&a, &b| self.misfit[a].total_cmp(&self.misfit[b]))
    }

    /// How much worse than `j` the best of the others is; negative where another fits better.
    pub fn ahead(&self, j: usize) -> f64 {
        let others = (0..self.misfit.len()).filter(|&k| k != j).map(|k| self.misfit[k]);
        others.fold(f64::INFINITY, f64::min) - self.misfit.get(j).copied().unwrap_or(f64::INFINITY)
    }
}

/// Inverts a symmetric positive definite matrix in place (Gauss-Jordan without exchange, which such a matrix allows).
fn invert(a: &mut [f64], n: usize) {
    for p in 0..n {
        let pivot = a[p * n + p].max(1e-12);
        a[p * n + p] = 1.0;
        for k in 0..n {
            a[p * n + k] /= pivot;
        }
        for j in (0..n).filter(|&j| j != p) {
            let f = a[j * n + p];
            a[j * n + p] = 0.0;
            for k in 0..n {
                a[j * n + k] -= f * a[p * n + k];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heads in line of which the cells know how far the middle stands out (to `line_mm`), and the boxes the rake (to `rake_mm`).
    struct Three([f64; 3], f64, f64);
    impl Offsets for Three {
        fn offset_mm(&self, j: usize) -> Option<f64> {
            Some(self.0[j])
        }
        fn cov_mm2(&self, j: usize, k: usize) -> f64 {
            let (bent, raked) = ([-1.0 / 3.0, 2.0 / 3.0, -1.0 / 3.0], [-0.5, 0.0, 0.5]);
            self.1 * self.1 * bent[j] * bent[k] + self.2 * self.2 * raked[j] * raked[k]
        }
    }

    fn named(heads: [f64; 3], rake_mm: f64) -> Option<usize> {
        let mut s = Suppositions::default();
        s.weigh(3, &Three(heads, 0.5, rake_mm));
        s.likeliest().filter(|&j| s.ahead(j) >= NAMED)
    }

    #[test]
    fn an_inverse_times_its_matrix_is_one() {
        let a = [4.0, 1.0, -0.5, 1.0, 3.0, 0.2, -0.5, 0.2, 2.0];
        let mut b = a;
        invert(&mut b, 3);
        for j in 0..3 {
            for k in 0..3 {
                let sum: f64 = (0..3).map(|i| a[j * 3 + i] * b[i * 3 + k]).sum();
                assert!((sum - f64::from(u8::from(j == k))).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn the_odd_head_is_named_once_the_rake_is_known_well_enough() {
        for (heads, rake_mm, name) in [
            ([0.0, 12.5, 0.0], 4.0, Some(1)),
            // The same as a line, but the rake says that an end is off.
            ([-25.0, 0.0, 0.0], 4.0, Some(0)),
            ([0.0, 0.0, -25.0], 4.0, Some(2)),
            ([0.0, 12.5, 0.0], 15.0, Some(1)),
            ([-25.0, 0.0, 0.0], 15.0, None),
            // Between two suppositions: no name.
            ([-11.0, 7.0, 0.0], 4.0, None),
            ([0.0, 1.0, 0.0], 4.0, None),
        ] {
            assert_eq!(named(heads, rake_mm), name, "{heads:?} {rake_mm}");
        }
    }

    #[test]
    fn sums_are_those_of_the_others_about_their_mean() {
        struct Free;
        impl Offsets for Free {
            fn offset_mm(&self, j: usize) -> Option<f64> {
                Some([0.0, 6.0, 40.0, 0.0][j])
            }
            fn cov_mm2(&self, j: usize, k: usize) -> f64 {
                if j == k { 27.0 } else { 0.0 }
            }
        }
        let mut s = Suppositions::default();
        s.weigh(4, &Free);
        // Without C: 0, 6, 0 about 2 is 24 over 27 + 9, and a slip of 38 mm.
        assert!((s.misfit[2] - 24.0 / 36.0 - 2.0 * (38.0_f64 / 3.0).powi(2).ln()).abs() < 1e-9, "{:?}", s.misfit);
        assert_eq!(s.likeliest(), Some(2));
    }
}
