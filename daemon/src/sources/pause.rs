//! How long to wait before a thing that failed is tried again: short at first, so that a moment's loss stays a moment,
//! then longer, so that a thing that is gone does not keep the machine busy.

use std::time::Duration;

/// The first wait.
const FIRST: Duration = Duration::from_millis(100);
/// The longest: a port or broker that comes back is taken up within it. A success that lasted less is none, so that a
/// thing that comes and goes at once is not tried without pause.
pub const LONGEST: Duration = Duration::from_secs(2);

/// A growing pause. Make a new one after success.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pause {
    next: Duration,
}

impl Default for Pause {
    fn default() -> Self {
        Pause { next: FIRST }
    }
}

impl Pause {
    /// Waits; the next wait is twice as long.
    pub async fn wait(&mut self) {
        let now = self.grown();
        tokio::time::sleep(now).await;
    }

    fn grown(&mut self) -> Duration {
        let now = self.next;
        self.next = (now * 2).min(LONGEST);
        now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_grows_to_a_bound() {
        let mut pause = Pause::default();
        let waits: Vec<u128> = (0..7).map(|_| pause.grown().as_millis()).collect();
        assert_eq!(waits, [100, 200, 400, 800, 1600, 2000, 2000]);
    }
}
