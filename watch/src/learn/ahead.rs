//! Look-ahead: at this rate the limit comes in so many seconds.
//!
//! The rate is the straight line through what the heads stood off over the last seconds, with the standard error of its slope; a
//! rate that is not beyond doubt tells nothing. Source of the sums: ordinary least squares; samples of one turn of the crank hang
//! together, so that one sample a second counts.

use crate::condition::Known;
use serde::Serialize;
use std::collections::VecDeque;

/// The line is laid through so long, s: at the wander of a crew (docs/trade.md section 8, scenario 17) shorter ones tell no slow drift.
const OVER_S: f64 = 6.0;
/// And not before it is so long, s: two turns of a crank.
const LEAST_S: f64 = 2.0;
/// One sample in so long, s.
const EVERY_S: f64 = 0.2;
/// So long samples hang together, s: one turn of the crank (docs/trade.md section 0: 0.8 to 1.2 turns a second).
const TOGETHER_S: f64 = 1.0;
/// What the filter leaves of the ripple, at the least, mm (measured on fault-free raises).
const RIPPLE_MM: f64 = 1.0;
/// A rate is beyond doubt past so many standard errors.
const BEYOND: f64 = 3.0;
/// Further ahead than this nothing is told, s.
const FAR_S: f64 = 60.0;

/// When limits are reached, for the pages; null while no rate is beyond doubt.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AheadView {
    /// Tower that stands off: id.
    pub tower: String,
    /// Off the line, mm, and how fast it grows, mm/s.
    pub size_mm: f64,
    /// mm/s.
    pub rate_mm_s: f64,
    /// One standard error.
    pub rate_sigma_mm_s: f64,
    /// Until the warn limit, s; null where it is past, or further than a minute.
    pub warn_s: Option<f64>,
    /// One standard deviation, s.
    pub warn_sigma_s: Option<f64>,
    /// Until the stop limit, s.
    pub stop_s: Option<f64>,
    /// One standard deviation, s.
    pub stop_sigma_s: Option<f64>,
    /// In words.
    pub text: String,
}

/// A straight line through the last seconds: how it grows, and where it stands at the newest sample, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    rate: Known,
    newest_mm: f64,
}

/// What stands off, and how it grows.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    seen: VecDeque<(f64, f64)>,
    tower: Option<usize>,
    /// The straight line through what was seen.
    line: Option<Line>,
    /// Off the line now, mm.
    pub size: Option<Known>,
    /// Warn and stop limit, mm.
    pub limits: (f64, Option<f64>),
}

impl Default for Trend {
    fn default() -> Self {
        Trend { seen: VecDeque::with_capacity((OVER_S / EVERY_S) as usize + 2), tower: None, line: None, size: None, limits: (0.0, None) }
    }
}

impl Trend {
    /// Nothing moves, or nothing is known.
    pub fn forget(&mut self) {
        self.seen.clear();
        (self.tower, self.line, self.size) = (None, None, None);
    }

    /// How far `tower` stands off now, mm, not negative; against these limits.
    pub fn see(&mut self, now_s: f64, tower: usize, size: Known, limits: (f64, Option<f64>)) {
        if self.tower != Some(tower) {
            self.forget();
            self.tower = Some(tower);
        }
        (self.size, self.limits) = (Some(size), limits);
        if self.seen.back().is_some_and(|s| now_s - s.0 < EVERY_S) {
            return;
        }
        while self.seen.front().is_some_and(|s| now_s - s.0 > OVER_S) || self.seen.len() > (OVER_S / EVERY_S) as usize {
            self.seen.pop_front();
        }
        self.seen.push_back((now_s, size.value));
        self.line = self.lay();
    }

    /// The tower that stands off.
    pub fn tower(&self) -> Option<usize> {
        self.tower
    }

    /// How fast it grows, mm/s, with its standard error; `None` before it was seen for two seconds.
    pub fn rate(&self) -> Option<Known> {
        self.line.map(|line| line.rate)
    }

    fn lay(&self) -> Option<Line> {
        let (first, last) = (self.seen.front()?, self.seen.back()?);
        let span = last.0 - first.0;
        let n = self.seen.len() as f64;
        if span < LEAST_S - 1e-9 || n < 5.0 {
            return None;
        }
        let (mt, mv) = self.seen.iter().fold((0.0, 0.0), |(t, v), s| (t + s.0 / n, v + s.1 / n));
        let (stt, stv) = self.seen.iter().fold((0.0, 0.0), |(tt, tv), s| (tt + (s.0 - mt).powi(2), tv + (s.0 - mt) * (s.1 - mv)));
        let slope = stv / stt;
        let left: f64 = self.seen.iter().map(|s| (s.1 - mv - slope * (s.0 - mt)).powi(2)).sum();
        let rough = (left / (n - 2.0)).sqrt().max(RIPPLE_MM);
        // Standard error of a slope over n samples, of which one in `TOGETHER_S` counts.
        let counts = (span / TOGETHER_S).max(2.0);
        let rate = Known { value: slope, sigma: rough / (stt / n * counts).sqrt() };
        Some(Line { rate, newest_mm: mv + slope * (last.0 - mt) })
    }

    /// The rate where it is beyond doubt and away from the line.
    pub fn growing(&self) -> Option<Known> {
        self.rate().filter(|r| r.value > BEYOND * r.sigma)
    }

    /// Where the straight line through the last seconds stands now, mm, of what grows beyond doubt: ripple is averaged out of it.
    pub fn fitted_mm(&self) -> Option<f64> {
        self.growing()?;
        self.line.map(|line| line.newest_mm)
    }

    /// How much further off it will be in `ahead_s`, mm, at the least rate that two standard errors allow.
    pub fn at_least_mm(&self, ahead_s: f64) -> f64 {
        self.growing().map_or(0.0, |r| (r.value - 2.0 * r.sigma) * ahead_s)
    }

    /// Until `limit_mm` is reached, s.
    pub fn until(&self, limit_mm: f64) -> Option<Known> {
        let (size, rate) = (self.size?, self.growing()?);
        let way = limit_mm - size.value;
        let in_s = way / rate.value;
        (way > 0.0 && in_s <= FAR_S).then(|| Known { value: in_s, sigma: (size.sigma / rate.value).hypot(in_s * rate.sigma / rate.value) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn off(value: f64) -> Known {
        Known { value, sigma: 2.0 }
    }

    /// 0.036 degrees a second on 6 m: docs/trade.md section 8, scenario 1.
    #[test]
    fn a_steady_drift_reaches_its_limit_when_it_says() {
        let mut trend = Trend::default();
        let mut told = None;
        for i in 0..200 {
            let t = i as f64 * 0.05;
            // With the ripple of a crank.
            trend.see(t, 1, off(3.77 * t + 1.5 * (t * 6.9).sin()), (52.0, Some(100.0)));
            if t > 6.0 && told.is_none() {
                told = Some((t, trend.until(52.0).unwrap(), trend.until(100.0).unwrap()));
            }
        }
        let (t, warn, stop) = told.unwrap();
        for (limit, in_s) in [(52.0, warn), (100.0, stop)] {
            let truth = limit / 3.77 - t;
            assert!((in_s.value - truth).abs() < 2.0 * in_s.sigma.max(0.5), "{limit}: {in_s:?}, in truth {truth}");
            assert!(in_s.sigma < 0.4 * truth, "{in_s:?}");
        }
    }

    #[test]
    fn what_only_swings_tells_nothing() {
        let mut trend = Trend::default();
        for i in 0..400 {
            let t = i as f64 * 0.05;
            // Cranking: 0.9 Hz and a slow wander of the crew.
            trend.see(t, 0, off(10.0 + 3.0 * (t * 5.7).sin() + 1.5 * (t * 1.3).sin()), (50.0, None));
            assert!(trend.until(50.0).is_none() || trend.growing().is_some_and(|r| r.value < 3.0), "{t}: {:?}", trend.rate());
        }
        trend.see(20.0, 1, off(10.0), (50.0, None));
        assert_eq!(trend.rate(), None, "another tower begins anew");
    }

    #[test]
    fn past_its_limit_or_far_away_there_is_nothing_ahead() {
        let mut trend = Trend::default();
        for i in 0..100 {
            trend.see(i as f64 * 0.05, 1, off(60.0 + 5.0 * i as f64 * 0.05), (50.0, Some(100.0)));
        }
        assert_eq!(trend.until(50.0), None);
        assert!(trend.until(100.0).is_some());
        assert_eq!(trend.until(1000.0), None);
        trend.forget();
        assert_eq!((trend.until(100.0), trend.at_least_mm(2.0)), (None, 0.0));
    }
}
