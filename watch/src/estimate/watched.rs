//! What is kept of every channel beside the filter: its slow mean, and how often it repeats itself.

use super::window::{Mean, Stretch, Trace};
use crate::spike::Spikes;
use raisewatch_protocol::words::Channel;

/// Stretches of the trace of a channel.
pub mod over {
    /// The last 5 s.
    pub const FIVE: usize = 0;
    /// The last 2 s: more than one swing of the slowest sway but one (0.45 Hz).
    pub const TWO: usize = 1;
}
const STRETCHES: [Stretch; 2] = [Stretch::last(5.0), Stretch::last(2.0)];

/// Length of one of the means through which a straight line goes, s: half a swing of what sways or is cranked.
pub const MEAN_S: f64 = 0.5;

/// Means of a channel over the last half seconds, newest first; `None` where nothing was heard in one.
pub fn half_seconds<const N: usize>(watched: &Watched, now_s: f64) -> [Option<f64>; N] {
    let mut sums = [(0.0, 0.0); N];
    for (t_s, value) in watched.newest(usize::MAX) {
        let slot = ((now_s - t_s).max(0.0) / MEAN_S) as usize;
        let Some(sum) = sums.get_mut(slot) else { break };
        *sum = (sum.0 + value, sum.1 + 1.0);
    }
    sums.map(|(sum, count)| (count > 0.0).then(|| sum / count))
}

/// The straight line through means over half seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straight {
    /// In their middle, in their unit.
    pub mean: f64,
    /// A second.
    pub rate: f64,
    /// Standard error of the rate, by what is left beside the line.
    pub error: f64,
}

/// Least squares through means over half seconds, newest first.
pub fn straight(points: &[f64]) -> Straight {
    let n = points.len() as f64;
    let mean = points.iter().sum::<f64>() / n;
    // Newest first: what rises falls along the points.
    let along = |i: usize| ((n - 1.0) / 2.0 - i as f64) * MEAN_S;
    let squares: f64 = (0..points.len()).map(|i| along(i) * along(i)).sum();
    let rate = points.iter().enumerate().map(|(i, p)| along(i) * p).sum::<f64>() / squares;
    let left: f64 = points.iter().enumerate().map(|(i, p)| (p - mean - rate * along(i)).powi(2)).sum();
    Straight { mean, rate, error: (left / (n - 2.0) / squares).sqrt() }
}

/// One channel.
#[derive(Clone, Debug)]
pub struct Watched {
    slow: Trace,
    spikes: Spikes,
    last: f64,
    /// Newest value that is no spike.
    real: Option<f64>,
    seen: u32,
    /// Chance that a reading repeats the one before, learnt while it lives.
    repeats: f64,
    run: u32,
    run_since_s: f64,
    newest_s: f64,
}

impl Watched {
    /// A channel that is stated to speak so often.
    pub fn new(rate_hz: f64, channel: Channel) -> Self {
        let room = (10.0 * rate_hz).clamp(32.0, 2000.0) as usize;
        let (slow, spikes) = (Trace::new(room, &STRETCHES), Spikes::new(harmless(channel)));
        Watched { slow, spikes, last: f64::NAN, real: None, seen: 0, repeats: 0.5, run: 0, run_since_s: 0.0, newest_s: 0.0 }
    }

    /// Takes a value.
    pub fn heard(&mut self, t_s: f64, value: f64) {
        let same = value == self.last;
        self.newest_s = t_s;
        self.last = value;
        self.seen = self.seen.saturating_add(1);
        if same {
            self.run += 1;
        } else {
            (self.run, self.run_since_s) = (0, t_s);
        }
        // A long run is not what is usual: it must not teach itself to be.
        if self.run < 12 {
            self.repeats += 0.02 * (f64::from(u8::from(same)) - self.repeats);
        }
        for (t_s, value) in self.spikes.take(t_s, value).into_iter().flatten() {
            self.slow.push(t_s, value);
            self.real = Some(value);
        }
    }

    /// How many single wild readings were kept out of its means.
    pub fn spikes(&self) -> u32 {
        self.spikes.count()
    }

    /// Lets time pass.
    pub fn advance(&mut self, now_s: f64) {
        self.slow.advance(now_s);
    }

    /// It was zeroed: values before it mean something else.
    pub fn renew(&mut self) {
        self.slow.clear();
        self.spikes.renew();
        self.real = None;
        self.last = f64::NAN;
        self.run = 0;
    }

    /// Mean of the last 5 s; of the newest value where it speaks slower.
    pub fn mean(&self) -> Option<Mean> {
        self.slow.mean(0).or(self.real.map(|value| Mean { value, spread: 0.0, count: 1 }))
    }

    /// Mean over one of [`over`]'s stretches; `None` where nothing was heard in it.
    pub fn mean_over(&self, stretch: usize) -> Option<Mean> {
        self.slow.mean(stretch)
    }

    /// Its newest readings, newest first: time, s, and value.
    pub fn newest(&self, n: usize) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.slow.newest(n)
    }

    /// Over how long its slow mean reaches back, s.
    pub fn heard_s(&self) -> f64 {
        self.slow.begin_s(0).map_or(0.0, |t| self.newest_s - t)
    }

    /// For how long it has given one and the same value, s.
    pub fn same_for_s(&self) -> f64 {
        self.newest_s - self.run_since_s
    }

    /// Logarithm (base 10) of the chance that a living channel of this kind repeats itself so often.
    pub fn log_chance(&self) -> f64 {
        // Fewer than thirty readings teach nothing.
        if self.seen < 30 { 0.0 } else { f64::from(self.run) * self.repeats.clamp(0.02, 1.0).log10() }
    }
}

/// One reading so far off does no harm to any mean, in the channel's unit: a tenth of a degree, 20 N, a centimetre.
fn harmless(channel: Channel) -> f64 {
    match channel {
        Channel::TrussAlong | Channel::TrussAcross | Channel::MastAlong | Channel::MastAcross => 0.1_f64.to_radians(),
        Channel::HeadLoad | Channel::RopeLoad => 20.0,
        Channel::Height => 0.01,
        Channel::Battery => f64::INFINITY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_goes_through_half_seconds() {
        let mut w = Watched::new(20.0, Channel::MastAlong);
        for i in 0..200 {
            w.heard(i as f64 * 0.05, 0.5 + 0.01 * i as f64 * 0.05);
        }
        // Between two samples, so that no rounding of times moves one into the next half second.
        let points: [Option<f64>; 10] = half_seconds(&w, 9.975);
        let points = points.map(|p| p.expect("heard"));
        let line = straight(&points);
        assert!((line.rate - 0.01).abs() < 1e-9 && line.error < 1e-9, "{line:?}");
        // The middle of the last 5 s.
        assert!((line.mean - (0.5 + 0.01 * 7.475)).abs() < 1e-9, "{line:?}");
        let silent: [Option<f64>; 4] = half_seconds(&w, 11.2);
        assert_eq!(silent.map(|p| p.is_some()), [false, false, true, true]);
    }

    #[test]
    fn a_noisy_channel_that_stops_is_unlikely_to_live() {
        let mut w = Watched::new(20.0, Channel::HeadLoad);
        for i in 0..200 {
            w.heard(i as f64 * 0.05, (i * 7919 % 101) as f64);
        }
        assert!(w.log_chance() > -1.0);
        for i in 200..250 {
            w.heard(i as f64 * 0.05, 5.0);
        }
        assert!(w.same_for_s() > 2.0 && w.log_chance() < -20.0, "{}", w.log_chance());
    }

    #[test]
    fn one_wild_reading_moves_no_mean_and_is_counted() {
        let mut w = Watched::new(5.0, Channel::MastAlong);
        for i in 0..60 {
            w.heard(i as f64 * 0.2, if i == 50 { 0.3 } else { 1e-5 * (i % 3) as f64 });
        }
        assert!(w.mean().is_some_and(|m| m.value < 1e-4) && w.spikes() == 1, "{:?}", w.mean());
        // The newest of all, and nothing after it yet: the one before it still stands.
        w.heard(100.0, -0.3);
        w.advance(100.0);
        assert!(w.mean().is_some_and(|m| m.value.abs() < 1e-4), "{:?}", w.mean());
    }

    #[test]
    fn a_coarse_quiet_channel_may_repeat_itself() {
        let mut w = Watched::new(20.0, Channel::HeadLoad);
        for i in 0..2000 {
            w.heard(i as f64 * 0.05, f64::from(u8::from(i % 60 == 0)));
        }
        assert!(w.log_chance() > -6.0, "{}", w.log_chance());
    }
}
