//! How often a channel really has something new to say, where that is more seldom than its packets come.
//!
//! A converter that samples once a second behind a node that sends twenty packets repeats each value twenty times. It is not frozen,
//! and it is no quicker than what it samples: it guards as a node of that rate would. A coarse instrument on a quiet truss repeats
//! itself too, but at no even pace and by one and the same step; so only an even pace with steps of different sizes counts.

/// So many renewals in a row, evenly spaced, are no chance: a coarse channel that flickers has three in eight like the one before.
const ROW: usize = 8;
/// Fewer readings of one value are a coarse channel's.
const REPEATED: u32 = 3;
/// Even means: within this part of the mean, or one and a half readings.
const EVEN: f64 = 0.05;
const READINGS: f64 = 1.5;
/// A step is a multiple of another to this part of it (numbers are rounded on the wire).
const COARSE: f64 = 0.05;

/// The newest renewals of one channel.
#[derive(Clone, Copy, Debug, Default)]
pub struct Renewal {
    last: Option<f64>,
    since_s: f64,
    repeated: u32,
    /// Time between renewals, s, and how large each step was; the newest at `count - 1`.
    row: [(f64, f64); ROW],
    count: usize,
    /// Length of a reading in the newest, s.
    reading_s: f64,
    every_s: Option<f64>,
}

impl Renewal {
    /// Takes a reading.
    pub fn heard(&mut self, t_s: f64, value: f64) {
        let Some(last) = self.last else {
            (self.last, self.since_s, self.repeated) = (Some(value), t_s, 1);
            return;
        };
        if value == last {
            self.repeated = self.repeated.saturating_add(1);
            return;
        }
        let lasted_s = t_s - self.since_s;
        if self.repeated < REPEATED {
            self.count = 0;
        } else {
            self.row[self.count % ROW] = (lasted_s, (value - last).abs());
            self.count += 1;
        }
        self.reading_s = lasted_s / f64::from(self.repeated);
        let early = self.repeated < REPEATED || self.every_s.is_some_and(|every| lasted_s < 0.5 * every);
        (self.last, self.since_s, self.repeated) = (Some(value), t_s, 1);
        // It stays so until something new comes sooner: what is held may well be the same twice.
        self.every_s = if early { None } else { self.even().or(self.every_s) };
    }

    fn even(&self) -> Option<f64> {
        if self.count < ROW {
            return None;
        }
        let mean = self.row.iter().map(|r| r.0).sum::<f64>() / ROW as f64;
        let far = (EVEN * mean).max(READINGS * self.reading_s);
        let even = self.row.iter().all(|r| (r.0 - mean).abs() <= far);
        let least = self.row.iter().fold(f64::INFINITY, |least, r| least.min(r.1));
        // Steps that are all whole multiples of the smallest are those of a coarse instrument.
        let whole = |r: &&(f64, f64)| (r.1 / least - (r.1 / least).round()).abs() < COARSE;
        let fine = ROW - self.row.iter().filter(whole).count() >= 2;
        (even && fine).then_some(mean)
    }

    /// Time between two new values, s, where each comes in several readings alike.
    pub fn every_s(&self) -> Option<f64> {
        self.every_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn play(seconds: f64, rate_hz: f64, at: impl Fn(f64, usize) -> f64) -> Option<f64> {
        let mut renewal = Renewal::default();
        for i in 0..(seconds * rate_hz) as usize {
            renewal.heard(i as f64 / rate_hz, at(i as f64 / rate_hz, i));
        }
        renewal.every_s()
    }

    fn unrest(i: usize) -> f64 {
        ((i * 7919 % 1009) as f64).sqrt()
    }

    #[test]
    fn a_value_held_for_a_second_is_told_at_any_rate() {
        for rate in [5.0, 20.0, 100.0] {
            let every = play(20.0, rate, |t, _| unrest(t as usize));
            assert!(every.is_some_and(|s| (s - 1.0).abs() < 0.02), "{rate} Hz: {every:?}");
            assert_eq!(play(8.0, rate, |t, _| unrest(t as usize)), None, "seven renewals are few");
        }
    }

    #[test]
    fn what_is_new_at_every_reading_or_every_other_is_not() {
        assert_eq!(play(60.0, 20.0, |_, i| unrest(i)), None);
        assert_eq!(play(60.0, 20.0, |_, i| unrest(i / 2)), None);
    }

    #[test]
    fn coarse_and_quiet_is_not() {
        // Flickers between two steps, creeps through them evenly, flickers at random.
        assert_eq!(play(60.0, 20.0, |_, i| ((i / 20) % 2) as f64), None);
        assert_eq!(play(60.0, 20.0, |t, _| (t * 0.7).floor()), None);
        assert_eq!(play(600.0, 20.0, |_, i| f64::from(u8::from(unrest(i) > 30.0))), None);
    }

    #[test]
    fn a_held_ramp_is_told_and_a_value_held_twice_does_not_end_it() {
        let ramp = |t: f64| 2.0 * t.floor() + 0.3 * unrest(t as usize) / 32.0;
        assert!(play(20.0, 20.0, |t, _| ramp(t)).is_some());
        assert!(play(23.5, 20.0, |t, _| if t < 20.0 { unrest(t as usize) } else { unrest(t as usize / 2) }).is_some());
    }

    #[test]
    fn it_is_over_with_the_first_value_that_comes_sooner() {
        let held = |t: f64, i: usize| if t < 20.0 { unrest(t as usize) } else { unrest(i) };
        assert!(play(20.0, 20.0, held).is_some());
        assert_eq!(play(20.3, 20.0, held), None);
    }
}
