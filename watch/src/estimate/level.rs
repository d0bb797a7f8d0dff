//! The level line: the line (or plane) from which all offsets are told, laid through the heads that are not held.
//!
//! Two towers: through the lowest head while raising, the highest while lowering, and while still as in the last moving step.
//! In line: through the ends, unless an end is the odd one. Ring: the plane through the three others. It changes only past
//! [`CHANGES_MM`], so that the name of the head to hold does not flutter between two that stand alike. Source: docs/forms.md.

use super::odd::{DOUBTED, KEPT, NAMED, NAMED_END, NAMED_SLOW, NAMED_SLOW_OF_THREE, NAMED_SUDDEN, Suppositions};
use super::whole::Whole;
use crate::condition::Known;
use crate::scene::Motion;

/// The line moves to another head only when that one is past it by so much. Source: docs/forms.md.
pub const CHANGES_MM: f64 = 5.0;

/// How the heads stand to each other in plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// Two towers.
    Pair,
    /// Three and more in one line.
    Line,
    /// Not in one line.
    Ring,
}

/// The line, and where every head stands from it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LevelLine {
    /// Towers through whose heads it passes, in plan order.
    pub through: Vec<usize>,
    /// Per tower, how far its head stands above the line, mm; `None` where it cannot be known.
    pub above_mm: Vec<Option<Known>>,
    /// The head that is furthest from it.
    pub odd: Option<usize>,
    /// Whether that is told beyond doubt from the next that it could be ([`super::odd`]). Two towers: always.
    pub certain: bool,
    /// The head that the crew was told: it is the odd one until another is beyond doubt.
    pub told: Option<usize>,
    /// Whether most of what stands off came within a turn.
    pub sudden: bool,
    suppositions: Suppositions,
    /// Height of the highest head above the lowest, mm, each from the horizontal.
    pub rake_mm: Option<Known>,
    /// The highest and the lowest head.
    pub extremes: Option<(usize, usize)>,
}

/// Covariances of offsets, read only: `cov(j, k)` in mm².
pub trait Offsets {
    /// Offset of head `j`, mm, `None` where unknown.
    fn offset_mm(&self, j: usize) -> Option<f64>;
    /// Covariance of the offsets of heads `j` and `k`, mm².
    fn cov_mm2(&self, j: usize, k: usize) -> f64;
    /// The same as the filter has it, before it is made narrower by what is seen: what a name is weighed with.
    fn wide_mm2(&self, j: usize, k: usize) -> f64 {
        self.cov_mm2(j, k)
    }
    /// The rake of the whole over the last turns, in line, while cells tell how the truss is bent.
    fn whole(&self) -> Option<&Whole> {
        None
    }
}

/// Lays the line anew, keeping to the one before as far as the rules say. `at` are the heads' places in plan, m.
pub fn lay(line: &mut LevelLine, layout: Layout, at: &[[f64; 2]], motion: Motion, heads: &impl Offsets) {
    let n = at.len();
    line.above_mm.resize(n, None);
    measure_rake(line, n, heads);
    let known = (0..n).all(|j| heads.offset_mm(j).is_some());
    match layout {
        Layout::Pair => pair(line, motion, heads),
        Layout::Line | Layout::Ring if known => odd_head(line, layout, at, heads),
        Layout::Line | Layout::Ring => {}
    }
    for j in 0..n {
        line.above_mm[j] = known.then(|| above(&line.through, layout, at, heads, j));
    }
    if !known {
        (line.odd, line.certain) = (None, false);
    }
}

fn measure_rake(line: &mut LevelLine, n: usize, heads: &impl Offsets) {
    let mut high: Option<(usize, f64)> = None;
    let mut low: Option<(usize, f64)> = None;
    for j in 0..n {
        let Some(o) = heads.offset_mm(j) else {
            (line.rake_mm, line.extremes) = (None, None);
            return;
        };
        if high.is_none_or(|(_, h)| o > h) {
            high = Some((j, o));
        }
        if low.is_none_or(|(_, l)| o < l) {
            low = Some((j, o));
        }
    }
    (line.rake_mm, line.extremes) = match (high, low) {
        (Some((h, top)), Some((l, bottom))) => {
            let variance = heads.cov_mm2(h, h) + heads.cov_mm2(l, l) - 2.0 * heads.cov_mm2(h, l);
            (Some(Known { value: top - bottom, sigma: variance.max(0.0).sqrt() }), Some((h, l)))
        }
        _ => (None, None),
    };
}

fn pair(line: &mut LevelLine, motion: Motion, heads: &impl Offsets) {
    let (Some(a), Some(b)) = (heads.offset_mm(0), heads.offset_mm(1)) else { return };
    // Sign that makes the head to pass through the lower of the two numbers.
    let sign = if motion == Motion::Down { -1.0 } else { 1.0 };
    let now = line.through.first().copied();
    let through = match now {
        Some(0) if sign * (b - a) < -CHANGES_MM => 1,
        Some(1) if sign * (a - b) < -CHANGES_MM => 0,
        Some(j) => j,
        None => usize::from(sign * (b - a) < 0.0),
    };
    if now != Some(through) {
        line.through.clear();
        line.through.push(through);
    }
    (line.odd, line.certain) = (Some(1 - through), true);
}

/// In line and ring: the head of which it is likeliest that all others stand level.
fn odd_head(line: &mut LevelLine, layout: Layout, at: &[[f64; 2]], heads: &impl Offsets) {
    let n = at.len();
    line.suppositions.weigh(n, heads);
    let Some(best) = line.suppositions.likeliest() else { return };
    let sudden = line.sudden;
    // Of three that cells weigh the bend is known, and the rake of the whole is all that parts them.
    let weighed = heads.whole().is_some();
    // An end is named in the place of an inner head only where the boxes leave still less doubt: they are what alone tells it.
    let named = |j: usize| match layout {
        Layout::Line if j == 0 || j == n - 1 => NAMED_END,
        Layout::Line if !sudden && n == 3 && weighed => NAMED_SLOW_OF_THREE,
        Layout::Line if !sudden => NAMED_SLOW,
        Layout::Line if weighed => NAMED_SUDDEN,
        _ => NAMED,
    };
    // A name that was told stays until another is beyond doubt; one that was not told may go to and fro. In line it was told of an inner
    // head before the boxes could say much: where they speak against it nobody is named until they are sure.
    let doubted = |was: usize| layout == Layout::Line && weighed && line.suppositions.ahead(was) < -DOUBTED;
    let kept = line.told.filter(|&was| was == best || line.suppositions.ahead(best) < named(best) && !doubted(was));
    let odd = kept.unwrap_or(best);
    let ahead = line.suppositions.ahead(odd);
    let flutter = if line.certain && line.odd == Some(odd) { KEPT } else { 0.0 };
    line.certain = kept.is_some() || ahead >= named(odd) - flutter;
    line.odd = Some(odd);
    // With all heads alike nobody is named: the line stays as it is.
    let alike = line.rake_mm.is_none_or(|r| r.value < CHANGES_MM);
    if alike && !line.through.is_empty() && layout == Layout::Line {
        return;
    }
    if alike && line.through.len() == 3 {
        return;
    }
    line.through.clear();
    match layout {
        Layout::Pair => {}
        Layout::Line => {
            let named = Some(odd).filter(|_| line.certain);
            let first = if named == Some(0) { 1 } else { 0 };
            let last = if named == Some(n - 1) { n - 2 } else { n - 1 };
            line.through.extend([first, last]);
        }
        Layout::Ring => line.through.extend(three_others(odd, at)),
    }
}

/// The three heads other than `odd` that span the largest triangle, in plan order.
pub fn three_others(odd: usize, at: &[[f64; 2]]) -> [usize; 3] {
    let mut best = ([0, 1, 2], -1.0);
    let others = |after: usize| (after..at.len()).filter(|&k| k != odd);
    for i in others(0) {
        for j in others(i + 1) {
            for k in others(j + 1) {
                let area = ((at[j][0] - at[i][0]) * (at[k][1] - at[i][1]) - (at[k][0] - at[i][0]) * (at[j][1] - at[i][1])).abs();
                if area > best.1 {
                    best = ([i, j, k], area);
                }
            }
        }
    }
    best.0
}

/// Factors by which the heads of `through` give the line's height at head `j`: they add up to one.
pub fn factors(through: &[usize], layout: Layout, at: &[[f64; 2]], j: usize) -> [f64; 3] {
    match (layout, through) {
        (Layout::Line, &[a, b]) => {
            let (dx, dy) = (at[b][0] - at[a][0], at[b][1] - at[a][1]);
            let part = ((at[j][0] - at[a][0]) * dx + (at[j][1] - at[a][1]) * dy) / (dx * dx + dy * dy);
            [1.0 - part, part, 0.0]
        }
        (Layout::Ring, &[a, b, c]) => {
            let cross = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
            let whole = cross(at[a], at[b], at[c]);
            [cross(at[j], at[b], at[c]) / whole, cross(at[a], at[j], at[c]) / whole, cross(at[a], at[b], at[j]) / whole]
        }
        _ => [1.0, 0.0, 0.0],
    }
}

/// Inner head `j` over the chord of the ends: heads and factors, which add up to nothing.
pub fn over_chord(at: &[[f64; 2]], j: usize) -> [(usize, f64); 3] {
    let ends = [0, at.len() - 1];
    let f = factors(&ends, Layout::Line, at, j);
    [(j, 1.0), (ends[0], -f[0]), (ends[1], -f[1])]
}

fn above(through: &[usize], layout: Layout, at: &[[f64; 2]], heads: &impl Offsets, j: usize) -> Known {
    let f = factors(through, layout, at, j);
    let mut value = heads.offset_mm(j).unwrap_or(0.0);
    let mut variance = heads.cov_mm2(j, j);
    for (&t, &k) in through.iter().zip(&f) {
        value -= k * heads.offset_mm(t).unwrap_or(0.0);
        variance -= 2.0 * k * heads.cov_mm2(j, t);
        for (&u, &m) in through.iter().zip(&f) {
            variance += k * m * heads.cov_mm2(t, u);
        }
    }
    Known { value, sigma: variance.max(0.0).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Heads(Vec<f64>);
    impl Offsets for Heads {
        fn offset_mm(&self, j: usize) -> Option<f64> {
            Some(self.0[j])
        }
        fn cov_mm2(&self, j: usize, k: usize) -> f64 {
            f64::from(u8::from(j == k))
        }
    }
    struct Blind;
    impl Offsets for Blind {
        fn offset_mm(&self, _: usize) -> Option<f64> {
            None
        }
        fn cov_mm2(&self, _: usize, _: usize) -> f64 {
            1.0
        }
    }
    fn above_of(line: &LevelLine) -> Vec<f64> {
        line.above_mm.iter().map(|k| (k.unwrap().value * 10.0).round() / 10.0).collect()
    }
    const TWO: [[f64; 2]; 2] = [[0.0, 0.0], [6.0, 0.0]];
    const THREE: [[f64; 2]; 3] = [[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]];
    const RING: [[f64; 2]; 4] = [[0.0, 0.0], [6.0, 0.0], [6.0, 4.0], [0.0, 4.0]];

    #[test]
    fn two_towers_by_direction() {
        for (motion, a, b, through, above) in [
            (Motion::Up, 0.0, 58.0, 0, [0.0, 58.0]),
            (Motion::Up, 58.0, 0.0, 1, [58.0, 0.0]),
            (Motion::Down, 0.0, 58.0, 1, [-58.0, 0.0]),
            (Motion::Down, 58.0, 0.0, 0, [0.0, -58.0]),
        ] {
            let mut line = LevelLine::default();
            lay(&mut line, Layout::Pair, &TWO, motion, &Heads(vec![a, b]));
            assert_eq!((line.through.as_slice(), above_of(&line)), ([through].as_slice(), above.to_vec()), "{motion:?} {a} {b}");
        }
    }

    #[test]
    fn it_changes_only_past_five_millimetres() {
        let mut line = LevelLine::default();
        for (b, through) in [(1.0, 0), (-4.9, 0), (-5.1, 1), (4.9, 1), (5.1, 0)] {
            lay(&mut line, Layout::Pair, &TWO, Motion::Up, &Heads(vec![0.0, b]));
            assert_eq!(line.through, [through], "{b}");
        }
    }

    #[test]
    fn in_line_the_ends_unless_an_end_is_odd() {
        for (heads, through, odd, above) in [
            (vec![0.0, 12.5, 0.0], vec![0, 2], 1, vec![0.0, 12.5, 0.0]),
            (vec![0.0, -12.5, 0.0], vec![0, 2], 1, vec![0.0, -12.5, 0.0]),
            (vec![20.0, 0.0, 0.0], vec![1, 2], 0, vec![20.0, 0.0, 0.0]),
            (vec![0.0, 0.0, -20.0], vec![0, 1], 2, vec![0.0, 0.0, -20.0]),
        ] {
            let mut line = LevelLine::default();
            lay(&mut line, Layout::Line, &THREE, Motion::Up, &Heads(heads.clone()));
            assert_eq!((&line.through, line.odd, above_of(&line)), (&through, Some(odd), above), "{heads:?}");
        }
    }

    #[test]
    fn in_a_ring_the_plane_of_the_three_others() {
        let mut line = LevelLine::default();
        lay(&mut line, Layout::Ring, &RING, Motion::Up, &Heads(vec![0.0, 1.0, -40.0, 0.5]));
        assert_eq!((line.through.as_slice(), line.odd), ([0, 1, 3].as_slice(), Some(2)));
        // The plane through A 0, B 1 and D 0.5 stands at 1.5 over C.
        assert_eq!(above_of(&line), [0.0, 0.0, -41.5, 0.0]);
    }

    #[test]
    fn nothing_known_is_never_zero() {
        let mut line = LevelLine::default();
        lay(&mut line, Layout::Pair, &TWO, Motion::Up, &Blind);
        assert_eq!((line.above_mm.as_slice(), line.rake_mm, line.odd), ([None, None].as_slice(), None, None));
    }
}
