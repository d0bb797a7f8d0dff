//! Hands every line to every sink without ever waiting for one.

use super::Told;
use std::sync::Arc;
use tokio::sync::mpsc;

/// All sinks that are attached.
#[derive(Default)]
pub struct Hub {
    sinks: Vec<Attached>,
}

struct Attached {
    name: &'static str,
    queue: mpsc::Sender<Arc<Told>>,
    lost: u64,
    gone: bool,
}

impl Hub {
    /// Attaches a sink; `room` is how many lines may wait for it.
    pub fn attach(&mut self, name: &'static str, room: usize) -> mpsc::Receiver<Arc<Told>> {
        let (queue, outlet) = mpsc::channel(room);
        self.sinks.push(Attached { name, queue, lost: 0, gone: false });
        outlet
    }

    /// Tells every sink. A full queue loses the line for that sink alone; each loss is counted, the first of a row logged.
    pub fn tell(&mut self, told: Told) {
        let told = Arc::new(told);
        for sink in &mut self.sinks {
            match sink.queue.try_send(told.clone()) {
                Ok(()) => {}
                Err(mpsc::error::TrySendError::Full(_)) => {
                    sink.lost += 1;
                    if sink.lost.is_power_of_two() {
                        tracing::warn!(sink = sink.name, lost = sink.lost, "falls behind: lines lost");
                    }
                }
                Err(mpsc::error::TrySendError::Closed(_)) if !sink.gone => {
                    sink.gone = true;
                    tracing::error!(sink = sink.name, "ended; nothing goes there any more");
                }
                Err(mpsc::error::TrySendError::Closed(_)) => {}
            }
        }
    }

    /// Lines lost so far, all sinks together.
    pub fn lost(&self) -> u64 {
        self.sinks.iter().map(|sink| sink.lost).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_protocol::mono::Mono;
    use raisewatch_protocol::words::Step;

    fn pulse(ms: u64) -> Told {
        Told::Pulse { t_ms: Mono(ms * 1000), watching: true, step: Step::Rig }
    }

    #[test]
    fn a_sink_that_stops_reading_loses_its_own_lines_only() {
        let mut hub = Hub::default();
        let mut slow = hub.attach("slow", 2);
        let mut quick = hub.attach("quick", 10);
        for ms in 0..5 {
            hub.tell(pulse(ms));
        }
        assert_eq!(hub.lost(), 3);
        let count = |queue: &mut mpsc::Receiver<Arc<Told>>| std::iter::from_fn(|| queue.try_recv().ok()).count();
        assert_eq!((count(&mut slow), count(&mut quick)), (2, 5));
    }

    #[test]
    fn a_sink_that_ended_is_no_loss() {
        let mut hub = Hub::default();
        drop(hub.attach("gone", 1));
        hub.tell(pulse(0));
        hub.tell(pulse(1));
        assert_eq!(hub.lost(), 0);
    }
}
