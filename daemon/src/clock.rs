//! The one place that asks the machine for the time.
//!
//! Arrival is stamped on a clock that runs on while the lid is closed (CLOCK_BOOTTIME): after a sleep the watch sees a
//! gap, not a seamless second. Values are whole microseconds and never fall. Wall-clock time is for people and files.
//! A rehearsal may run faster than life, but no
//! faster than its packets come through: a busy machine slows the rehearsal, and no tower falls silent by it.

use raisewatch_protocol::mono::{Mono, Span};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// The longest single sleep of [`Clock::wait_until`], real time.
///
/// Timers of the runtime stand still while the machine sleeps; waking this often bounds how late a deadline is kept
/// after the lid opens.
const LONGEST_NAP: std::time::Duration = std::time::Duration::from_millis(50);

/// A monotonic clock, shared by all that stamp or wait.
#[derive(Clone, Debug)]
pub struct Clock {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    origin_us: u64,
    speed: f64,
    last_us: AtomicU64,
    /// Only in a rehearsal.
    paced: Option<Mutex<Paced>>,
}

/// A clock that may not run ahead of a limit: what it cannot run is left out, not made up for.
#[derive(Debug)]
struct Paced {
    real_us: u64,
    us: f64,
    limit_us: f64,
}

impl Clock {
    /// The clock of this machine, from the moment it was made.
    pub fn real() -> Self {
        Clock { shared: Arc::new(Shared { origin_us: boot_us(), speed: 1.0, last_us: AtomicU64::new(0), paced: None }) }
    }

    /// A rehearsal's clock: at most `speed` times as fast as life, and never past what was last [allowed](Clock::allow).
    ///
    /// `speed` is checked where it comes in: positive and finite.
    pub fn paced(speed: f64) -> Self {
        assert!(speed.is_finite() && speed > 0.0, "clock speed {speed}: expected a positive number");
        let paced = Some(Mutex::new(Paced { real_us: 0, us: 0.0, limit_us: 0.0 }));
        Clock { shared: Arc::new(Shared { origin_us: boot_us(), speed, last_us: AtomicU64::new(0), paced }) }
    }

    /// How many times as fast as life it runs at most.
    pub fn speed(&self) -> f64 {
        self.shared.speed
    }

    /// Lets a rehearsal's clock run until `limit`; a clock of life runs anyway.
    pub fn allow(&self, limit: Mono) {
        if let Some(paced) = &self.shared.paced {
            let mut paced = paced.lock().unwrap_or_else(PoisonError::into_inner);
            paced.limit_us = paced.limit_us.max(limit.0 as f64);
        }
    }

    /// Now, in whole microseconds since the clock was made; never less than it ever said before.
    pub fn now(&self) -> Mono {
        let real_us = boot_us().saturating_sub(self.shared.origin_us);
        let us = match &self.shared.paced {
            None => real_us,
            Some(paced) => paced.lock().unwrap_or_else(PoisonError::into_inner).run(real_us, self.shared.speed),
        };
        Mono(self.shared.last_us.fetch_max(us, Ordering::AcqRel).max(us))
    }

    /// The real time that `span` of this clock takes.
    pub fn real_time(&self, span: Span) -> std::time::Duration {
        std::time::Duration::from_secs_f64(span.s() / self.shared.speed)
    }

    /// Waits until this clock has reached `moment`.
    pub async fn wait_until(&self, moment: Mono) {
        loop {
            let now = self.now();
            if now >= moment {
                return;
            }
            // A microsecond more than asked, so that rounding does not wake just before the moment.
            let nap = self.real_time(moment.since(now)) + std::time::Duration::from_micros(1);
            tokio::time::sleep(nap.min(LONGEST_NAP)).await;
        }
    }
}

impl Paced {
    fn run(&mut self, real_us: u64, speed: f64) -> u64 {
        let passed_us = real_us.saturating_sub(self.real_us) as f64;
        self.real_us = self.real_us.max(real_us);
        self.us = (self.us + passed_us * speed).min(self.limit_us.max(self.us));
        self.us as u64
    }
}

/// Microseconds since the machine was started, sleep included.
fn boot_us() -> u64 {
    #[cfg(any(target_os = "linux", target_os = "android"))]
    let id = rustix::time::ClockId::Boottime;
    #[cfg(not(any(target_os = "linux", target_os = "android")))]
    let id = rustix::time::ClockId::Monotonic;
    let t = rustix::time::clock_gettime(id);
    t.tv_sec as u64 * 1_000_000 + t.tv_nsec as u64 / 1000
}

/// The wall clock, for people and files. Nothing is ever decided by it.
#[allow(clippy::disallowed_methods)] // the one place where it is allowed
pub fn wall() -> jiff::Timestamp {
    jiff::Timestamp::now()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_never_goes_backwards_across_threads() {
        let clock = Clock::paced(50.0);
        clock.allow(Mono(u64::MAX));
        std::thread::scope(|threads| {
            for _ in 0..4 {
                threads.spawn(|| {
                    let mut last = clock.now();
                    for _ in 0..10_000 {
                        let now = clock.now();
                        assert!(now >= last, "{now:?} after {last:?}");
                        last = now;
                    }
                });
            }
        });
    }

    #[tokio::test]
    async fn waiting_ends_at_or_after_the_moment() {
        let clock = Clock::paced(1000.0);
        clock.allow(Mono(u64::MAX));
        let moment = clock.now() + Span::ms(2_000);
        clock.wait_until(moment).await;
        assert!(clock.now() >= moment);
        clock.wait_until(Mono(0)).await; // the past takes no time
    }

    #[test]
    fn a_paced_clock_stands_at_its_limit_and_does_not_make_up_for_it() {
        let mut paced = Paced { real_us: 0, us: 0.0, limit_us: 1000.0 };
        assert_eq!(paced.run(100, 2.0), 200);
        assert_eq!(paced.run(5_000, 2.0), 1000);
        paced.limit_us = 100_000.0;
        assert_eq!(paced.run(5_100, 2.0), 1200, "what was not allowed is left out");
        assert_eq!(paced.run(5_050, 2.0), 1200, "it never goes backwards");
    }
}
