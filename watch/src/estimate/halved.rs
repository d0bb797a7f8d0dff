//! Sums over a covariance of which one half is kept: row by row, `n` by `n`, what stands on and over the diagonal. What stands under it is
//! never read nor written.

use super::kalman::Term;

/// Rounding must not make a variance negative.
const LEAST: f64 = 1e-18;

/// Where a block stands: its first state and its last, and how it moves.
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    /// First state.
    pub first: usize,
    /// Last state: the first where it has one.
    pub last: usize,
    /// How it moves: its kind's number.
    pub kind: usize,
}

/// Where the covariance of states `i` and `j` is kept.
pub fn upper(n: usize, i: usize, j: usize) -> usize {
    if i <= j { i * n + j } else { j * n + i }
}

/// Adds a term, and keeps them in the order of states, in which most of them come.
pub fn put(terms: &mut Vec<Term>, i: usize, k: f64) {
    match terms.last_mut() {
        Some(last) if last.0 == i => last.1 += k,
        Some(last) if last.0 > i => match terms.binary_search_by_key(&i, |t| t.0) {
            Ok(at) => terms[at].1 += k,
            Err(at) => terms.insert(at, (i, k)),
        },
        _ => terms.push((i, k)),
    }
}

/// A covariance along the terms of a reading: `C h`. Right of the diagonal row by row; what the rows miss on its left stands in the
/// column above it, and is taken from the rows there, as it lies in memory.
#[inline(never)]
pub fn along(c: &[f64], n: usize, h: &[Term], out: &mut [f64]) {
    out.fill(0.0);
    for &(i, k) in h {
        for (o, c) in out[i..].iter_mut().zip(&c[i * n + i..(i + 1) * n]) {
            *o += k * c;
        }
    }
    let mut right = h;
    for (j, (o, row)) in out.iter_mut().zip(c.chunks_exact(n)).enumerate() {
        while right.first().is_some_and(|t| t.0 <= j) {
            right = &right[1..];
        }
        *o += right.iter().map(|&(i, k)| k * row[i]).sum::<f64>();
    }
}

/// Takes a reading of this gain out of both covariances: `P - g v g'`, and `T - g b' - b g'`. By far the most of what a packet costs, and
/// a function of its own so that the compiler sees that none of these lie in each other.
#[inline(never)]
pub fn narrow(p: &mut [f64], told: &mut [f64], gain: &[f64], rest: &[f64], variance: f64) {
    let n = gain.len();
    for (i, (p, told)) in p.chunks_exact_mut(n).zip(told.chunks_exact_mut(n)).enumerate() {
        let (g, v, b) = (gain[i], variance * gain[i], rest[i]);
        for (((p, t), gain), rest) in p[i..].iter_mut().zip(&mut told[i..]).zip(&gain[i..]).zip(&rest[i..]) {
            *p -= v * gain;
            *t -= b * gain + g * rest;
        }
        p[i] = p[i].max(LEAST);
        told[i] = told[i].max(LEAST);
    }
}

/// `D C E'` for the entries of two blocks, the first before the second or the same.
pub fn between(c: &mut [f64], n: usize, (a, d): (&Placed, [f64; 4]), (b, e): (&Placed, [f64; 4])) {
    let (wide, high) = (b.last > b.first, a.last > a.first);
    let at = |i: usize, j: usize, there: bool| if there { c[upper(n, i, j)] } else { 0.0 };
    let [q, r] = [at(a.first, b.first, true), at(a.first, b.last, wide)];
    let [s, t] = [at(a.last, b.first, high), at(a.last, b.last, wide && high)];
    let [q, r, s, t] = [d[0] * q + d[1] * s, d[0] * r + d[1] * t, d[2] * q + d[3] * s, d[2] * r + d[3] * t];
    c[a.first * n + b.first] = q * e[0] + r * e[1];
    if wide {
        c[a.first * n + b.last] = q * e[2] + r * e[3];
    }
    if high && a.first != b.first {
        c[a.last * n + b.first] = s * e[0] + t * e[1];
    }
    if wide && high {
        c[a.last * n + b.last] = s * e[2] + t * e[3];
    }
}
