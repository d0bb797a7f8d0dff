//! The rake of the whole over the last turns, beside what each head alone would make of it.
//!
//! In line the cells tell to a millimetre how far the heads bend the truss, and of three they tell no more: the middle that is off by
//! so much and an end that is off by twice as much bend it alike. What parts the two is the rake of the whole: an end that goes ahead
//! takes the truss with it, an inner head does not. At any moment boxes tell the rake poorly (sway, handles), over some turns
//! well. So for each head: were it alone off by what the cells say, what would the boxes have shown over the last seconds, and how
//! far is that from what they did show? The mean of two seconds is one sample; how much samples scatter is learnt while it runs,
//! apart for hands that turn and hands that rest. A rake that was there before (zeros, what crews leave between the ends) is common to
//! all samples and is allowed for. Sums of squares in standard deviations, as in [`super::odd`]; source: any text on generalised
//! least squares.

use super::level::Layout;
use super::odd::LEFT_MM;
use std::collections::VecDeque;

/// A sample is the mean over so long, s: a turn of a crank and the slowest sway.
const SAMPLE_S: f64 = 2.0;
/// So many of them are kept: some counted turns with their pauses.
const KEPT: usize = 12;
/// Fewer tell nothing.
const LEAST: usize = 3;
/// Where nothing was heard for so long the samples before say nothing of now, s.
const GAP_S: f64 = 6.0;
/// Scatter of a sample before it was measured, rad: hands that rest, and hands that turn (docs/trade.md section 8, N1: 0.4 degrees peak
/// at the crank and 0.3 of sway, of which the mean of two seconds leaves a third).
const RESTS_RAD: f64 = 0.05 * std::f64::consts::PI / 180.0;
const TURNS_RAD: f64 = 0.15 * std::f64::consts::PI / 180.0;
/// What was supposed of the scatter counts as so many samples, and what was seen as so many at most.
const SUPPOSED: f64 = 4.0;
const SEEN: f64 = 20.0;
/// Samples so far apart are compared: neighbours, and those of two turns (a hand that rests on its handle leans its box through a pause).
const APART: [usize; 2] = [1, 3];

/// How much samples scatter.
#[derive(Clone, Copy, Debug)]
struct Scatter {
    /// rad², by how far apart, and how many were seen.
    seen: [(f64, f64); APART.len()],
    supposed: f64,
}

impl Scatter {
    fn new(rad: f64) -> Self {
        Scatter { seen: [(0.0, 0.0); APART.len()], supposed: rad * rad }
    }

    fn learn(&mut self, which: usize, change: f64) {
        let (mean, count) = &mut self.seen[which];
        *count = (*count + 1.0).min(SEEN);
        *mean += (0.5 * change * change - *mean) / *count;
    }

    /// Variance of a sample, rad²: neighbours that hang together scatter less than they are off.
    fn variance(&self) -> f64 {
        let of = |&(mean, count): &(f64, f64)| (SUPPOSED * self.supposed + count * mean) / (SUPPOSED + count);
        self.seen.iter().map(of).fold(0.0, f64::max)
    }
}

/// One sample.
#[derive(Clone, Debug)]
struct Sample {
    turned: bool,
    /// By head: how far the boxes were from what it alone would make of the rake, rad.
    off: Vec<f64>,
}

/// The rake of the whole over the last turns.
#[derive(Clone, Debug)]
pub struct Whole {
    /// Heads along the line from their mean, m.
    pub along_m: Vec<f64>,
    /// By head, by head: offset of the first for a metre of bend of the second.
    bends: Vec<f64>,
    /// Variance of what is common to all samples, rad².
    common: f64,
    begun_s: f64,
    count: f64,
    turned: bool,
    sums: Vec<f64>,
    now: Vec<f64>,
    samples: VecDeque<Sample>,
    // Room of samples that were forgotten.
    spare: Vec<Vec<f64>>,
    scatter: [Scatter; 2],
}

impl Whole {
    /// For heads at these places, with boxes whose zeros are good to `zero` together, rad; `None` where they are not three and more in line.
    pub fn new(layout: Layout, at: &[[f64; 2]], zero: f64) -> Option<Self> {
        let n = at.len();
        if layout != Layout::Line || n < 3 {
            return None;
        }
        let (dx, dy) = (at[n - 1][0] - at[0][0], at[n - 1][1] - at[0][1]);
        let length = dx.hypot(dy);
        let mut along_m: Vec<f64> = at.iter().map(|p| ((p[0] - at[0][0]) * dx + (p[1] - at[0][1]) * dy) / length).collect();
        let mean = along_m.iter().sum::<f64>() / n as f64;
        along_m.iter_mut().for_each(|x| *x -= mean);
        let spread: f64 = along_m.iter().map(|x| x * x).sum();
        // What is left of a head that alone is up when the line that fits all best is taken out.
        let bend = |j: usize, k: usize| f64::from(u8::from(j == k)) - 1.0 / n as f64 - along_m[j] * along_m[k] / spread;
        let bends = (0..n * n).map(|i| bend(i % n, i / n) / bend(i / n, i / n)).collect();
        let common = zero * zero + (LEFT_MM * 1e-3).powi(2) / spread;
        Some(Whole {
            along_m,
            bends,
            common,
            begun_s: f64::NEG_INFINITY,
            count: 0.0,
            turned: false,
            sums: vec![0.0; n],
            now: vec![0.0; n],
            samples: VecDeque::with_capacity(KEPT + 1),
            spare: (0..=KEPT).map(|_| Vec::with_capacity(n)).collect(),
            scatter: [Scatter::new(RESTS_RAD), Scatter::new(TURNS_RAD)],
        })
    }

    /// The samples before say nothing of now: a zero, other bearings, a fall.
    pub fn forget(&mut self) {
        self.spare.extend(self.samples.drain(..).map(|sample| sample.off));
        self.begun_s = f64::NEG_INFINITY;
    }

    /// What each head alone would make of the rake, from the offsets as they are known now, m: kept for [`Whole::see`].
    pub fn suppose(&mut self, offset_m: impl Fn(usize) -> f64) {
        let n = self.along_m.len();
        let spread: f64 = self.along_m.iter().map(|x| x * x).sum();
        let rake = (0..n).map(|k| self.along_m[k] * offset_m(k)).sum::<f64>() / spread;
        for j in 0..n {
            let size: f64 = (0..n).map(|k| self.bends[j * n + k] * offset_m(k)).sum();
            self.now[j] = rake - size * self.along_m[j] / spread;
        }
    }

    /// Takes a reading that was used: `beside`, by how much it shows more than the filter foresaw, rad. `turned`: hands turn.
    pub fn see(&mut self, t_s: f64, beside: f64, turned: bool) {
        let since = t_s - self.begun_s;
        if since > SAMPLE_S + GAP_S {
            self.spare.extend(self.samples.drain(..).map(|sample| sample.off));
        }
        if since > SAMPLE_S {
            if since <= SAMPLE_S + GAP_S && self.count > 2.0 {
                self.keep();
            }
            (self.begun_s, self.count, self.turned) = (t_s, 0.0, false);
            self.sums.fill(0.0);
        }
        self.count += 1.0;
        self.turned |= turned;
        self.sums.iter_mut().zip(&self.now).for_each(|(sum, now)| *sum += beside + now);
    }

    fn keep(&mut self) {
        if self.samples.len() >= KEPT {
            self.spare.extend(self.samples.pop_back().map(|sample| sample.off));
        }
        let mut off = self.spare.pop().unwrap_or_default();
        off.clear();
        off.extend(self.sums.iter().map(|s| s / self.count));
        self.samples.push_front(Sample { turned: self.turned, off });
        let Some(best) = self.likeliest() else { return };
        for (which, apart) in APART.into_iter().enumerate() {
            let Some(then) = self.samples.get(apart) else { continue };
            if then.turned == self.turned {
                let change = self.samples[0].off[best] - then.off[best];
                self.scatter[usize::from(self.turned)].learn(which, change);
            }
        }
    }

    fn likeliest(&self) -> Option<usize> {
        (0..self.along_m.len()).min_by(|&a, &b| self.sum_of_squares(a).total_cmp(&self.sum_of_squares(b)))
    }

    /// Sum of squares in standard deviations if head `j` alone is off; `None` where too little was heard.
    pub fn misfit(&self, j: usize) -> Option<f64> {
        (self.samples.len() >= LEAST).then(|| self.sum_of_squares(j))
    }

    fn sum_of_squares(&self, j: usize) -> f64 {
        let weight = self.scatter.map(|s| 1.0 / s.variance());
        let (mut squares, mut sum, mut weights) = (0.0, 0.0, 0.0);
        for sample in &self.samples {
            let (w, off) = (weight[usize::from(sample.turned)], sample.off[j]);
            squares += w * off * off;
            sum += w * off;
            weights += w;
        }
        squares - sum * sum / (1.0 / self.common + weights)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const THREE: [[f64; 2]; 3] = [[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]];

    /// Plays `seconds` of boxes that sway by `sway_rad` about the rake which the heads have, cells that tell how the heads bend the truss and
    /// a filter that knows nothing of the rake; gives how much worse each supposition is than the best.
    fn weighed(seconds: f64, sway_rad: f64, heads_m: impl Fn(f64) -> [f64; 3]) -> Option<Vec<f64>> {
        let mut whole = Whole::new(Layout::Line, &THREE, 0.0004).unwrap();
        for i in 0..(seconds * 20.0) as usize {
            let t = i as f64 * 0.05;
            let heads = heads_m(t);
            let bend = heads[1] - 0.5 * (heads[0] + heads[2]);
            // The rake that the filter has not: it is in what the boxes show beside.
            let filtered = [-bend / 3.0, 2.0 * bend / 3.0, -bend / 3.0];
            whole.suppose(|j| filtered[j]);
            let sway = sway_rad * (std::f64::consts::TAU * 0.8 * t).sin();
            whole.see(t, (heads[2] - heads[0]) / 10.0 + sway, true);
        }
        let all: Option<Vec<f64>> = (0..3).map(|j| whole.misfit(j)).collect();
        all.map(|all| {
            let best = all.iter().copied().fold(f64::INFINITY, f64::min);
            all.iter().map(|m| m - best).collect()
        })
    }

    /// A head that goes ahead by 4 mm every three seconds.
    fn ahead(who: usize, sign: f64) -> impl Fn(f64) -> [f64; 3] {
        move |t| std::array::from_fn(|j| if j == who { sign * 0.004 * (t / 3.0).floor() } else { 0.0 })
    }

    #[test]
    fn the_head_that_goes_ahead_by_part_turns_is_told_by_the_rake() {
        for (who, sign) in [(0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0), (2, 1.0), (2, -1.0)] {
            let worse = weighed(30.0, 0.002, ahead(who, sign)).unwrap();
            assert_eq!(worse[who], 0.0, "{who} {sign} {worse:?}");
            assert!((0..3).all(|j| j == who || worse[j] > 8.0), "{who} {sign} {worse:?}");
        }
    }

    #[test]
    fn level_heads_and_short_times_tell_nobody() {
        let worse = weighed(30.0, 0.002, |_| [0.0; 3]).unwrap();
        assert!(worse.iter().all(|w| *w < 0.5), "{worse:?}");
        assert_eq!(weighed(4.0, 0.002, ahead(0, 1.0)), None);
    }

    #[test]
    fn a_rake_that_was_there_before_names_nobody() {
        // The middle goes ahead on a truss that was raked by 5 mm, as the zeros of its boxes leave open.
        let worse = weighed(30.0, 0.002, |t| {
            let heads = ahead(1, 1.0)(t);
            [heads[0], heads[1], heads[2] + 0.005]
        })
        .unwrap();
        assert_eq!(worse[1], 0.0, "{worse:?}");
    }

    #[test]
    fn a_gap_and_what_makes_the_past_void_begin_anew() {
        let mut whole = Whole::new(Layout::Line, &THREE, 0.0004).unwrap();
        let play = |whole: &mut Whole, from: f64, to: f64| {
            for i in 0..((to - from) * 20.0) as usize {
                whole.suppose(|_| 0.0);
                whole.see(from + i as f64 * 0.05, 0.001, false);
            }
        };
        play(&mut whole, 0.0, 20.0);
        assert!(whole.misfit(0).is_some());
        play(&mut whole, 40.0, 41.0);
        assert_eq!(whole.misfit(0), None);
        play(&mut whole, 41.0, 60.0);
        assert!(whole.misfit(0).is_some());
        whole.forget();
        assert_eq!(whole.misfit(0), None);
    }

    #[test]
    fn only_three_and_more_in_line_are_told_so() {
        assert!(Whole::new(Layout::Ring, &THREE, 0.0004).is_none());
        assert!(Whole::new(Layout::Pair, &THREE[..2], 0.0004).is_none());
    }
}
