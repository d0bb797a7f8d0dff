//! LDLᵀ of a small dense symmetric matrix that tells which unknowns nothing holds.
//!
//! A library's Cholesky stops at the first vanishing pivot; here its null vector is what matters: a piece that only
//! spins in its cradle is harmless and held, a truss that can fall is refused.

/// A vanishing pivot: relative to the row's own diagonal. Rounding leaves about 1e-14; a stretch of 3 mm of a strong truss
/// on soft ropes 1e-11, everything usual 1e-6: there is room on both sides.
const NULL_PIVOT: f64 = 1e-12;

/// An unknown that nothing holds, with the motion it allows.
#[derive(Clone, Debug)]
pub(crate) struct Loose {
    /// The motion, by unknown; 1 at the one whose pivot vanished.
    pub mode: Vec<f64>,
}

/// The factors. Unknowns that nothing holds are fixed at zero.
#[derive(Clone, Debug)]
pub(crate) struct Ldl {
    n: usize,
    /// Unit lower triangle, row-major.
    l: Vec<f64>,
    /// Inverse pivots; zero where fixed.
    inverse: Vec<f64>,
    /// What was found loose.
    pub loose: Vec<Loose>,
}

impl Ldl {
    /// Factors the symmetric `a` (n × n, row-major; only the lower triangle is read).
    pub fn new(mut a: Vec<f64>, n: usize) -> Self {
        debug_assert_eq!(a.len(), n * n);
        let mut inverse = vec![0.0; n];
        let mut loose = Vec::new();
        let mut scaled = vec![0.0; n];
        for i in 0..n {
            let (above, below) = a.split_at_mut(i * n);
            let row = &mut below[..n];
            for j in 0..i {
                let other = &above[j * n..j * n + j];
                let sum: f64 = scaled[..j].iter().zip(other).map(|(s, l)| s * l).sum();
                scaled[j] = row[j] - sum;
                // `scaled` holds L·D of this row; D goes out once the row is done.
                row[j] = scaled[j] * inverse[j];
                if inverse[j] == 0.0 {
                    scaled[j] = 0.0;
                }
            }
            let diagonal = row[i];
            let pivot = diagonal - scaled[..i].iter().zip(&row[..i]).map(|(s, l)| s * l).sum::<f64>();
            if diagonal > 0.0 && pivot > NULL_PIVOT * diagonal {
                inverse[i] = 1.0 / pivot;
            } else {
                let mode = null_mode(above, row, n, i);
                loose.push(Loose { mode });
            }
        }
        Ldl { n, l: a, inverse, loose }
    }

    /// Solves in place; what is fixed comes out zero.
    pub fn solve(&self, b: &mut [f64]) {
        debug_assert_eq!(b.len(), self.n);
        for i in 0..self.n {
            let row = &self.l[i * self.n..i * self.n + i];
            b[i] -= row.iter().zip(b.iter()).map(|(l, x)| l * x).sum::<f64>();
        }
        for (x, inverse) in b.iter_mut().zip(&self.inverse) {
            *x *= inverse;
        }
        for i in (0..self.n).rev() {
            let x = b[i];
            if x != 0.0 {
                let row = &self.l[i * self.n..i * self.n + i];
                for (y, l) in b.iter_mut().zip(row) {
                    *y -= l * x;
                }
            }
        }
        for (x, inverse) in b.iter_mut().zip(&self.inverse) {
            if *inverse == 0.0 {
                *x = 0.0;
            }
        }
    }
}

/// The motion that unknown `i` allows: `L11ᵀ z = -l_i`, `z_i = 1`.
fn null_mode(above: &[f64], row: &[f64], n: usize, i: usize) -> Vec<f64> {
    let mut z = vec![0.0; n];
    z[i] = 1.0;
    for j in 0..i {
        z[j] = -row[j];
    }
    for k in (0..i).rev() {
        let x = z[k];
        for j in 0..k {
            z[j] -= above[k * n + j] * x;
        }
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_and_names_what_is_loose() {
        // Two bodies joined by a spring, the second also to the ground.
        let held = Ldl::new(vec![2.0, 0.0, -2.0, 5.0], 2);
        let mut b = vec![1.0, 0.0];
        held.solve(&mut b);
        assert!((b[0] - 5.0 / 6.0).abs() < 1e-15 && (b[1] - 1.0 / 3.0).abs() < 1e-15, "{b:?}");
        assert!(held.loose.is_empty());

        let free = Ldl::new(vec![2.0, 0.0, 0.0, -2.0, 2.0, 0.0, 0.0, 0.0, 3.0], 3);
        assert_eq!(free.loose.len(), 1);
        assert_eq!(free.loose[0].mode, vec![1.0, 1.0, 0.0]);
        let mut b = vec![1.0, 7.0, 3.0];
        free.solve(&mut b);
        assert_eq!(b, vec![0.5, 0.0, 1.0]);
    }
}
