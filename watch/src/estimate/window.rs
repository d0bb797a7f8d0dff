//! The last seconds of one channel, and its means over stretches of them, kept up to date without looking back each time.

/// A stretch of the past: samples whose age lies between `near_s` and `far_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Age of the newest sample in it, s.
    pub near_s: f64,
    /// Age of the oldest sample in it, s.
    pub far_s: f64,
}

impl Stretch {
    /// The last `far_s` seconds.
    pub const fn last(far_s: f64) -> Self {
        Stretch { near_s: 0.0, far_s }
    }
}

#[derive(Clone, Debug)]
struct Moving {
    stretch: Stretch,
    /// Serial number of the first sample in it, and of the first one after it.
    first: u64,
    end: u64,
    sum: f64,
    squares: f64,
}

/// Mean, spread and count over a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    /// Mean.
    pub value: f64,
    /// Standard deviation of the samples.
    pub spread: f64,
    /// How many samples.
    pub count: usize,
}

/// Ring of the last samples with running sums. Nothing is allocated after [`Trace::new`].
#[derive(Clone, Debug)]
pub struct Trace {
    ring: Vec<(f64, f64)>,
    /// Serial number of the next sample, and of the one that stands first in the ring.
    next: u64,
    lap: u64,
    moving: Vec<Moving>,
    /// Sums are taken of differences from this, so that small spreads on large values keep their digits.
    base: f64,
}

impl Trace {
    /// Room for `room` samples; the stretches are named by their index from here on.
    pub fn new(room: usize, stretches: &[Stretch]) -> Self {
        let moving = stretches.iter().map(|&stretch| Moving { stretch, first: 0, end: 0, sum: 0.0, squares: 0.0 }).collect();
        Trace { ring: vec![(0.0, 0.0); room.max(4)], next: 0, lap: 0, moving, base: 0.0 }
    }

    /// Forgets all samples.
    pub fn clear(&mut self) {
        let next = self.next;
        for m in &mut self.moving {
            (m.first, m.end, m.sum, m.squares) = (next, next, 0.0, 0.0);
        }
        self.base = 0.0;
    }

    fn sample(&self, serial: u64) -> (f64, f64) {
        // Older ones stand behind those of this lap.
        let at = if serial >= self.lap { serial - self.lap } else { serial + self.ring.len() as u64 - self.lap };
        self.ring[at as usize]
    }

    /// Takes a sample. Samples come in order of time.
    pub fn push(&mut self, t_s: f64, value: f64) {
        let room = self.ring.len() as u64;
        let oldest_kept = (self.next + 1).saturating_sub(room);
        if self.moving.iter().all(|m| m.first == m.end) {
            self.base = value;
        }
        for k in 0..self.moving.len() {
            while self.moving[k].first < oldest_kept && self.moving[k].first < self.moving[k].end {
                self.drop_first(k);
            }
            let m = &mut self.moving[k];
            m.first = m.first.max(oldest_kept);
            m.end = m.end.max(m.first);
        }
        if self.next - self.lap == room {
            self.lap = self.next;
        }
        self.ring[(self.next - self.lap) as usize] = (t_s, value);
        self.next += 1;
        self.advance(t_s);
    }

    fn drop_first(&mut self, k: usize) {
        let v = self.sample(self.moving[k].first).1 - self.base;
        let m = &mut self.moving[k];
        m.sum -= v;
        m.squares -= v * v;
        m.first += 1;
        if m.first == m.end {
            // Empty: rounding starts anew.
            (m.sum, m.squares) = (0.0, 0.0);
        }
    }

    /// Lets time pass to `now_s`.
    pub fn advance(&mut self, now_s: f64) {
        // Half a microsecond forgives the rounding of times.
        const SLACK: f64 = 5e-7;
        for k in 0..self.moving.len() {
            let Stretch { near_s, far_s } = self.moving[k].stretch;
            while self.moving[k].end < self.next && now_s - self.sample(self.moving[k].end).0 >= near_s - SLACK {
                let v = self.sample(self.moving[k].end).1 - self.base;
                let m = &mut self.moving[k];
                m.sum += v;
                m.squares += v * v;
                m.end += 1;
            }
            while self.moving[k].first < self.moving[k].end && now_s - self.sample(self.moving[k].first).0 > far_s + SLACK {
                self.drop_first(k);
            }
        }
    }

    /// Mean over stretch `k`; `None` where no sample lies in it.
    pub fn mean(&self, k: usize) -> Option<Mean> {
        let m = &self.moving[k];
        let count = (m.end - m.first) as usize;
        if count == 0 {
            return None;
        }
        let n = count as f64;
        let mean = m.sum / n;
        let variance = if count > 1 { ((m.squares - n * mean * mean) / (n - 1.0)).max(0.0) } else { 0.0 };
        Some(Mean { value: self.base + mean, spread: variance.sqrt(), count })
    }

    /// Time of the oldest sample in stretch `k`.
    pub fn begin_s(&self, k: usize) -> Option<f64> {
        let m = &self.moving[k];
        (m.first < m.end).then(|| self.sample(m.first).0)
    }

    /// The newest `n` samples, newest first.
    pub fn newest(&self, n: usize) -> impl Iterator<Item = (f64, f64)> + '_ {
        let n = (n as u64).min(self.next).min(self.ring.len() as u64);
        (1..=n).map(move |back| self.sample(self.next - back))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(times: &[f64], stretch: Stretch, now: f64) {
        let mut trace = Trace::new(64, &[stretch]);
        for (i, &t) in times.iter().enumerate() {
            trace.push(t, 1000.0 + (i * i) as f64);
        }
        trace.advance(now);
        let inside: Vec<f64> = times
            .iter()
            .enumerate()
            .filter(|&(_, &t)| now - t >= stretch.near_s - 1e-9 && now - t <= stretch.far_s + 1e-9)
            .map(|(i, _)| 1000.0 + (i * i) as f64)
            .collect();
        match trace.mean(0) {
            None => assert!(inside.is_empty(), "{inside:?}"),
            Some(m) => {
                assert_eq!(m.count, inside.len());
                assert!((m.value - inside.iter().sum::<f64>() / inside.len() as f64).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn means_are_those_of_the_stretch() {
        let even: Vec<f64> = (0..50).map(|i| i as f64 * 0.1).collect();
        let gap: Vec<f64> = (0..50).map(|i| i as f64 * 0.1 + if i > 20 { 7.0 } else { 0.0 }).collect();
        for times in [&even, &gap, &vec![3.0]] {
            for stretch in [Stretch::last(0.3), Stretch::last(1.0), Stretch { near_s: 1.5, far_s: 2.5 }, Stretch::last(100.0)] {
                for late in [0.0, 0.05, 0.9, 5.0, 50.0] {
                    check(times, stretch, times.last().unwrap() + late);
                }
            }
        }
    }

    #[test]
    fn a_full_ring_keeps_the_newest() {
        let mut trace = Trace::new(10, &[Stretch::last(100.0)]);
        for i in 0..1000 {
            trace.push(i as f64 * 0.01, i as f64);
        }
        let m = trace.mean(0).unwrap();
        assert_eq!(m.count, 10);
        assert!((m.value - 994.5).abs() < 1e-9, "{m:?}");
        assert_eq!(trace.newest(2).map(|s| s.1).collect::<Vec<_>>(), [999.0, 998.0]);
    }

    #[test]
    fn forgotten_samples_do_not_come_back() {
        let mut trace = Trace::new(10, &[Stretch::last(100.0)]);
        trace.push(0.0, 5.0);
        trace.clear();
        assert_eq!(trace.mean(0), None);
        trace.push(1.0, 7.0);
        assert_eq!(trace.mean(0).unwrap().value, 7.0);
    }
}
