//! The one place that asks the machine for the time.
//!
//! Arrival is stamped on a clock that runs on while the lid is closed (CLOCK_BOOTTIME): after a sleep the watch sees a
//! gap, not a seamless second. Values are whole microseconds and never fall. Wall-clock time is for people and files.
//! A rehearsal may run the same clock faster than life.

use raisewatch_protocol::mono::{Mono, Span};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

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
}

impl Clock {
    /// The clock of this machine, from the moment it was made.
    pub fn real() -> Self {
        Self::scaled(1.0)
    }

    /// A clock that runs `speed` times as fast as life (rehearsal).
    ///
    /// `speed` is checked where it comes in: positive and finite.
    pub fn scaled(speed: f64) -> Self {
        assert!(speed.is_finite() && speed > 0.0, "clock speed {speed}: expected a positive number");
        Clock { shared: Arc::new(Shared { origin_us: boot_us(), speed, last_us: AtomicU64::new(0) }) }
    }

    /// How many times as fast as life it runs.
    pub fn speed(&self) -> f64 {
        self.shared.speed
    }

    /// Now, in whole microseconds since the clock was made; never less than it ever said before.
    pub fn now(&self) -> Mono {
        let real_us = boot_us().saturating_sub(self.shared.origin_us);
        let us = if self.shared.speed == 1.0 { real_us } else { (real_us as f64 * self.shared.speed) as u64 };
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
        let clock = Clock::scaled(50.0);
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
        let clock = Clock::scaled(1000.0);
        let moment = clock.now() + Span::ms(2_000);
        clock.wait_until(moment).await;
        assert!(clock.now() >= moment);
        clock.wait_until(Mono(0)).await; // the past takes no time
    }
}
