//! Hands every line to every sink without ever waiting for one.

use super::Told;
use raisewatch_protocol::trace::Arrival;
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
    /// Whether it is told what came on the wire and what was refused.
    wire: bool,
    lost: u64,
    gone: bool,
}

impl Hub {
    /// Attaches a sink that is told everything; `room` is how many lines may wait for it.
    pub fn attach(&mut self, name: &'static str, room: usize) -> mpsc::Receiver<Arc<Told>> {
        self.attach_as(name, room, true)
    }

    /// Attaches a sink that is told what people and the watch say, and nothing of the wire: a flood of packets must not
    /// take the room of a call.
    pub fn attach_spoken(&mut self, name: &'static str, room: usize) -> mpsc::Receiver<Arc<Told>> {
        self.attach_as(name, room, false)
    }

    fn attach_as(&mut self, name: &'static str, room: usize, wire: bool) -> mpsc::Receiver<Arc<Told>> {
        let (queue, outlet) = mpsc::channel(room);
        self.sinks.push(Attached { name, queue, wire, lost: 0, gone: false });
        outlet
    }

    /// Tells every sink. A full queue loses the line for that sink alone; each loss is counted, the first of a row logged.
    pub fn tell(&mut self, told: Told) {
        let of_the_wire = match &told {
            Told::Taken(line) => !matches!(line.what, Arrival::Said(_) | Arrival::Step(_)),
            Told::Refused { .. } => true,
            _ => false,
        };
        let told = Arc::new(told);
        for sink in self.sinks.iter_mut().filter(|sink| sink.wire || !of_the_wire) {
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
    fn a_flood_on_the_wire_takes_no_room_from_what_is_said() {
        let mut hub = Hub::default();
        let mut pages = hub.attach_spoken("pages", 2);
        let taken = |text: &str| Told::Taken(raisewatch_protocol::trace::TraceLine::parse(text).unwrap());
        for _ in 0..100 {
            hub.tell(taken(r#"{"t_ms":1,"node":"n1","raw":""}"#));
        }
        hub.tell(taken(r#"{"t_ms":2,"said":"stop"}"#));
        hub.tell(pulse(3));
        assert_eq!(hub.lost(), 0);
        assert!(matches!(pages.try_recv().as_deref(), Ok(Told::Taken(_))));
        assert!(matches!(pages.try_recv().as_deref(), Ok(Told::Pulse { .. })));
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
