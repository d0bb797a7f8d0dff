//! A node's own time and packet numbers beside the arrival: what came late, what came twice, whose clock jumped.
//!
//! Only the arrival decides when something was heard; the node's time is used to tell a packet that waited somewhere from one that
//! is fresh. Rule: docs/forms.md, "Time": more than 1 s late is recorded, not judged; lateness is judged against the node's clock
//! offset learnt over its last 10 s; a jump is `skew` and starts the learning anew.

use raisewatch_protocol::{Mono, Span};
use std::collections::VecDeque;

/// Later than this is not judged, s.
const LATE_S: f64 = 1.0;
/// The offset is learnt over this span.
const LEARNT_OVER: Span = Span::ms(10_000);
/// A new offset must hold this long, with packets arriving all the while, to be a jump and no backlog being delivered. (A backlog
/// arrives at once and its lateness shrinks with every packet.)
const JUMP_HOLDS: Span = Span::ms(500);
/// How far the offset may wander while it is held to be a jump, s.
const JUMP_WANDERS_S: f64 = 0.25;

/// What is to be done with a packet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Verdict {
    /// Fresh.
    Judge,
    /// Late or twice: for the record only.
    RecordOnly,
    /// Fresh, and the node's clock has jumped by so many seconds (+ back).
    JudgeAfterJump(f64),
}

/// One node's clock and counter.
#[derive(Clone, Debug, Default)]
pub struct NodeClock {
    /// Least offsets (arrival less node time, s) of the last 10 s, rising from the front: the front is the least.
    least: VecDeque<(Mono, f64)>,
    last_arrival: Option<Mono>,
    jump: Option<Jump>,
    last_seq: Option<u64>,
    restart: Option<(u64, Mono)>,
}

#[derive(Clone, Copy, Debug)]
struct Jump {
    since: Mono,
    offset_s: f64,
    /// Arrivals were away so long before it began: a delay of that length explains it without any jump.
    gap_s: f64,
}

impl NodeClock {
    /// Judges a packet that arrived `now`. `period_s`: seconds between two packet numbers.
    pub fn judge(&mut self, now: Mono, node_time_s: Option<f64>, seq: Option<u64>, period_s: f64) -> Verdict {
        let by_time = node_time_s.map(|t| self.by_time(now, now.s() - t));
        let by_number = seq.is_none_or(|n| self.by_number(now, n, period_s, matches!(by_time, Some(v) if v != Verdict::RecordOnly)));
        let verdict = match by_time {
            _ if !by_number => Verdict::RecordOnly,
            Some(verdict) => verdict,
            None => Verdict::Judge,
        };
        if verdict != Verdict::RecordOnly {
            self.last_arrival = Some(now);
        }
        verdict
    }

    fn by_time(&mut self, now: Mono, offset_s: f64) -> Verdict {
        let Some(learnt_s) = self.least.front().map(|l| l.1) else {
            self.learn(now, offset_s);
            return Verdict::Judge;
        };
        let late_s = offset_s - learnt_s;
        if late_s < -LATE_S {
            self.least.clear();
            self.learn(now, offset_s);
            self.jump = None;
            return Verdict::JudgeAfterJump(late_s);
        }
        if late_s <= LATE_S {
            self.learn(now, offset_s);
            self.jump = None;
            return Verdict::Judge;
        }
        self.maybe_jump(now, offset_s, late_s)
    }

    fn maybe_jump(&mut self, now: Mono, offset_s: f64, late_s: f64) -> Verdict {
        let gap_s = self.last_arrival.map_or(0.0, |l| now.since(l).s());
        let jump = match self.jump {
            Some(jump) if (jump.offset_s - offset_s).abs() <= JUMP_WANDERS_S => jump,
            // A backlog being delivered keeps the gap with which it began.
            Some(jump) => Jump { since: now, offset_s, gap_s: jump.gap_s },
            None => Jump { since: now, offset_s, gap_s },
        };
        self.jump = Some(jump);
        let explained_by_delay = late_s <= jump.gap_s + JUMP_WANDERS_S;
        let holds = if explained_by_delay { LEARNT_OVER } else { JUMP_HOLDS };
        if now.since(jump.since) < holds {
            return Verdict::RecordOnly;
        }
        self.least.clear();
        self.learn(now, offset_s);
        self.jump = None;
        Verdict::JudgeAfterJump(late_s)
    }

    fn learn(&mut self, now: Mono, offset_s: f64) {
        while self.least.back().is_some_and(|b| b.1 >= offset_s) {
            self.least.pop_back();
        }
        self.least.push_back((now, offset_s));
        // The newest stays whatever its age: after a long silence it is all there is to hold a stale packet against.
        while self.least.len() > 1 && self.least.front().is_some_and(|f| now.since(f.0) > LEARNT_OVER) {
            self.least.pop_front();
        }
    }

    /// Whether the packet number lets it be judged.
    fn by_number(&mut self, now: Mono, seq: u64, period_s: f64, time_is_fresh: bool) -> bool {
        let Some(last) = self.last_seq else {
            self.last_seq = Some(seq);
            return true;
        };
        if seq > last {
            self.last_seq = Some(seq);
            self.restart = None;
            return true;
        }
        if seq == last {
            return false;
        }
        if (last - seq) as f64 * period_s <= LATE_S {
            return true;
        }
        // Far behind: a packet that waited, or a node that began to count anew. Its own time tells; else it must go on counting.
        let began = match self.restart {
            Some((before, began)) if seq > before => began,
            _ => now,
        };
        self.restart = Some((seq, began));
        if time_is_fresh || now.since(began) >= JUMP_HOLDS {
            self.last_seq = Some(seq);
            self.restart = None;
            return true;
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Verdict::*;

    /// Packets (arrival ms, node time s, number) of a node at 10 Hz, and what becomes of each.
    fn check(name: &str, packets: &[(u64, Option<f64>, Option<u64>, Verdict)]) {
        let mut clock = NodeClock::default();
        for (i, (ms, time, seq, want)) in packets.iter().enumerate() {
            assert_eq!(clock.judge(Mono(ms * 1000), *time, *seq, 0.1), *want, "{name}, packet {i}");
        }
    }

    fn steady(from_ms: u64, to_ms: u64, ahead_s: f64) -> Vec<(u64, Option<f64>, Option<u64>, Verdict)> {
        (from_ms / 100..to_ms / 100).map(|k| (k * 100, Some(k as f64 * 0.1 + ahead_s), None, Judge)).collect()
    }

    #[test]
    fn fresh_late_and_twice() {
        check("steady", &steady(0, 2000, 1e9));
        check(
            "numbers",
            &[
                (0, None, Some(5), Judge),
                (100, None, Some(6), Judge),
                (101, None, Some(6), RecordOnly),
                (200, None, Some(30), Judge),
                (210, None, Some(25), Judge),      // half a second late
                (220, None, Some(10), RecordOnly), // two seconds late
                (300, None, Some(31), Judge),
            ],
        );
        let mut late = steady(0, 1000, 50.0);
        late.push((1000, Some(49.5), None, RecordOnly)); // 1.5 s old
        late.push((1010, Some(50.2), None, Judge)); // 0.8 s old
        check("one late packet", &late);
    }

    #[test]
    fn a_backlog_is_recorded_until_it_is_fresh_again() {
        let mut packets = steady(0, 1000, 0.0);
        // Three seconds away, then all at once.
        for k in 10..40_u64 {
            let age = 4.0 - k as f64 * 0.1;
            packets.push((4000, Some(k as f64 * 0.1), None, if age > 1.0 + 1e-9 { RecordOnly } else { Judge }));
        }
        check("backlog", &packets);
    }

    #[test]
    fn a_link_that_stays_slow_is_late_and_no_jump() {
        let mut packets = steady(0, 1000, 0.0);
        for k in 10..60_u64 {
            packets.push((k * 100 + 2000, Some(k as f64 * 0.1), None, RecordOnly));
        }
        check("slow link", &packets);
    }

    #[test]
    fn a_jump_either_way_is_told_once_and_then_judged() {
        let mut back = steady(0, 1000, 5000.0);
        // Six seconds of silence, then the clock an hour back (docs: a node that lost its time while away).
        for k in 0..20_u64 {
            let want = match k {
                0..=4 => RecordOnly,
                5 => JudgeAfterJump(3600.0),
                _ => Judge,
            };
            back.push((7000 + k * 100, Some(5007.0 + k as f64 * 0.1 - 3600.0), None, want));
        }
        let mut clock = NodeClock::default();
        for (ms, time, seq, want) in back {
            match (clock.judge(Mono(ms * 1000), time, seq, 0.1), want) {
                (JudgeAfterJump(found), JudgeAfterJump(by)) => assert!((found - by).abs() < 0.01),
                (found, want) => assert_eq!(found, want, "at {ms} ms"),
            }
        }
        let mut clock = NodeClock::default();
        assert_eq!(clock.judge(Mono(0), Some(10.0), None, 0.1), Judge);
        assert!(matches!(clock.judge(Mono(100_000), Some(70.1), None, 0.1), JudgeAfterJump(by) if (by + 60.0).abs() < 0.01));
        assert_eq!(clock.judge(Mono(200_000), Some(70.2), None, 0.1), Judge);
    }

    #[test]
    fn a_counter_that_begins_anew_is_believed_with_fresh_time_or_after_half_a_second() {
        check("with time", &[(0, Some(1.0), Some(900), Judge), (100, Some(1.1), Some(0), Judge), (200, Some(1.2), Some(1), Judge)]);
        let mut packets = vec![(0, None, Some(900), Judge)];
        for k in 0..8_u64 {
            packets.push((100 + k * 100, None, Some(k), if k < 5 { RecordOnly } else { Judge }));
        }
        check("without", &packets);
    }
}
