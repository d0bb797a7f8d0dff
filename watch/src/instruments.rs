//! All channels of the kit at work: calibration, zero, last readings, clocks; and what each is good for.
//!
//! "Blind is never level": a reading that is late, outside its range or missing never becomes a value, and what was last heard
//! keeps its age.

use crate::calibrate::{Calibrated, calibrated};
use crate::health::Health;
use crate::node_clock::{NodeClock, Verdict};
use crate::renewal::Renewal;
use crate::scene::Scene;
use crate::setup::Setup;
use raisewatch_protocol::reading::{NoValue, Packet};
use raisewatch_protocol::trace::Presence;
use raisewatch_protocol::words::Channel;
use raisewatch_protocol::{Mono, Span};
use std::collections::VecDeque;

/// Readings are kept so long: the 3 s of a zero, and the 2 s before a turn with what comes after.
pub const KEPT: Span = Span::ms(4_000);
/// And at most so many of them: 4 s at 200 Hz. Bounds memory where a node floods.
const KEPT_MOST: usize = 800;
/// While moving, silence is told after this.
pub const SILENT_MOVING: Span = Span::ms(1_000);
/// While still, not before this.
pub const SILENT_STILL: Span = Span::ms(30_000);
/// While still, this is a warn.
pub const SILENT_LONG: Span = Span::ms(300_000);
/// So many readings in a row past its range overload a cell; fewer are a spike.
const OVERLOADED: u8 = 3;
/// A node that speaks less often cannot guard a moving lift.
pub const SLOWEST_S: f64 = 1.0 / 3.0;

/// A zero in force.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Zero {
    /// What the channel read, in its unit, before any zero.
    pub value: f64,
    /// What the plan gives there, in the channel's unit (the planned slope at a tilt box), added back.
    pub planned: f64,
}

/// A reading that cannot be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Impossible {
    /// Since when the channel has given nothing else.
    pub since: Mono,
    /// What it read, in its unit, where it gave a number.
    pub value: Option<f64>,
}

/// One channel at work.
#[derive(Clone, Debug, Default)]
pub struct Gauge {
    /// Newest readings before zero, oldest first.
    pub kept: VecDeque<(Mono, f64)>,
    /// Its zero.
    pub zero: Option<Zero>,
    /// Whether that zero was said in this lift.
    pub zero_said: bool,
    /// Newest reading that became a value.
    pub valued: Option<Mono>,
    /// Newest reading at all, impossible ones included.
    pub heard: Option<Mono>,
    /// The newest impossible value, while no possible one has come since.
    pub impossible: Option<Impossible>,
    /// Running mean of the time between its readings while moving, s.
    pub interval_s: Option<f64>,
    /// Newest value after zero.
    pub value: Option<f64>,
    /// A cell was pressed past its range since its zero, more than a spike: the zero is in doubt.
    pub overloaded: bool,
    /// So many readings past its range in a row.
    pub over: u8,
    /// How often it has something new to say.
    pub renewal: Renewal,
}

/// One node at work.
#[derive(Clone, Debug, Default)]
pub struct NodeState {
    clock: NodeClock,
    /// Newest jump of its clock, s, and when.
    pub jump: Option<(Mono, f64)>,
    /// What it last said of its presence.
    pub presence: Option<Presence>,
    /// Packets that were recorded and not judged.
    pub not_judged: u64,
}

/// All channels and nodes.
#[derive(Clone, Debug)]
pub struct Instruments {
    /// By channel, as [`Setup::channels`].
    pub gauges: Vec<Gauge>,
    /// By node, as the kit has them.
    pub nodes: Vec<NodeState>,
    /// By channel.
    pub health: Vec<Health>,
}

impl Instruments {
    /// Nothing heard yet. No allocation is needed later on at the stated rates.
    pub fn new(setup: &Setup) -> Self {
        let gauge = |s: &crate::setup::Seat| Gauge {
            kept: VecDeque::with_capacity(((KEPT.s() / s.period_s).ceil() as usize + 8).clamp(16, KEPT_MOST)),
            ..Gauge::default()
        };
        let blank = Health { heard: None, live: false, zeroed: false, proved: false, trusted: true, too_slow: false };
        Instruments {
            gauges: setup.channels.iter().map(gauge).collect(),
            nodes: vec![NodeState::default(); setup.kit.nodes.len()],
            health: vec![blank; setup.channels.len()],
        }
    }

    /// Takes a packet apart: calibrated readings into `readings` (cleared by the caller). Late packets give none.
    pub fn take(&mut self, setup: &Setup, scene: &Scene, now: Mono, packet: &Packet, readings: &mut Vec<Calibrated>) {
        let Some(node) = self.nodes.get_mut(packet.node) else { return };
        let node_time_s = packet.readings.iter().filter_map(|r| r.node_time_s).max_by(f64::total_cmp);
        let period_s = setup.channels.iter().find(|s| s.node == packet.node).map_or(1.0, |s| s.period_s);
        match node.clock.judge(now, node_time_s, packet.seq, period_s) {
            Verdict::RecordOnly => {
                node.not_judged += 1;
                return;
            }
            Verdict::JudgeAfterJump(by_s) => node.jump = Some((now, by_s)),
            Verdict::Judge => {}
        }
        for reading in &packet.readings {
            let Some(at) = setup.channel_of(packet.node, reading.channel) else { continue };
            let fitted = &setup.channels[at].fitted;
            let value = match reading.value {
                Ok(value) => calibrated(fitted, value),
                Err(NoValue::OutOfRange) => {
                    self.impossible(now, at, None, f64::INFINITY);
                    continue;
                }
                Err(NoValue::Off | NoValue::Garbled) => None,
            };
            let Some(value) = value else { continue };
            if fitted.range.is_some_and(|[low, high]| value < low || value > high) {
                let cell = matches!(reading.channel, Channel::HeadLoad | Channel::RopeLoad);
                let high = fitted.range.filter(|_| cell).map_or(f64::INFINITY, |r| r[1]);
                self.impossible(now, at, Some(value), high);
                continue;
            }
            // A gap that is told as silence says no more of a node's pace than the longest that is none.
            let longest = self.silent_after(setup, scene, at);
            let zero = self.keep(scene, now, at, value, longest);
            let zeroed = zero.is_some() || !needs_zero(reading.channel);
            let zero = zero.unwrap_or_default();
            // A rope cell's tension is told as what it lifts.
            let value = (value - zero.value + zero.planned) * setup.channels[at].lifts();
            self.gauges[at].value = Some(value);
            readings.push(Calibrated { channel: at, at: now, value, zeroed });
        }
    }

    /// Notes an impossible reading; `high` is the upper end of a load cell's range.
    fn impossible(&mut self, now: Mono, at: usize, value: Option<f64>, high: f64) {
        let gauge = &mut self.gauges[at];
        gauge.heard = Some(now);
        gauge.over = if value.is_some_and(|v| v > high) { gauge.over.saturating_add(1) } else { 0 };
        gauge.overloaded |= gauge.over >= OVERLOADED;
        gauge.impossible = Some(Impossible { since: gauge.impossible.map_or(now, |i| i.since), value });
    }

    /// Keeps a possible value; the channel's zero, where it has one.
    fn keep(&mut self, scene: &Scene, now: Mono, at: usize, value: f64, longest: Span) -> Option<Zero> {
        let gauge = &mut self.gauges[at];
        while gauge.kept.front().is_some_and(|k| now.since(k.0) > KEPT) || gauge.kept.len() >= KEPT_MOST {
            gauge.kept.pop_front();
        }
        gauge.kept.push_back((now, value));
        gauge.renewal.heard(now.s(), value);
        if let (true, Some(before)) = (scene.guarded_as_moving(), gauge.valued) {
            let step_s = now.since(before.max(scene.motion_since)).min(longest).s();
            gauge.interval_s = Some(gauge.interval_s.map_or(step_s, |mean| mean + 0.15 * (step_s - mean)));
        }
        gauge.valued = Some(now);
        gauge.heard = Some(now);
        gauge.impossible = None;
        gauge.over = 0;
        gauge.zero
    }

    /// How long a channel may be silent before that is told: moving 1 s (a mast's tilt or a height that comes more seldom by its
    /// nature, three of its own periods); still 30 s or three periods, whichever is longer.
    pub fn silent_after(&self, setup: &Setup, scene: &Scene, channel: usize) -> Span {
        let seat = &setup.channels[channel];
        if !scene.guarded_as_moving() {
            return SILENT_STILL.max(Span::from_s(3.0 * seat.still_period_s));
        }
        match seat.channel {
            Channel::TrussAlong | Channel::HeadLoad | Channel::RopeLoad => SILENT_MOVING,
            Channel::MastAlong | Channel::MastAcross | Channel::TrussAcross | Channel::Height | Channel::Battery => {
                SILENT_MOVING.max(Span::from_s(3.0 * self.gauges[channel].interval_s.unwrap_or(0.0)))
            }
        }
    }

    /// Brings every channel's health to `now`.
    pub fn refresh(&mut self, setup: &Setup, scene: &Scene, now: Mono) {
        for at in 0..self.health.len() {
            let after = self.silent_after(setup, scene, at);
            let (gauge, seat, health) = (&self.gauges[at], &setup.channels[at], &mut self.health[at]);
            health.heard = gauge.valued;
            health.live = gauge.impossible.is_none() && gauge.valued.is_some_and(|v| now.since(awaited(scene, v)) < after);
            health.zeroed = gauge.zero.is_some() || !needs_zero(seat.channel);
            let seldom =
                seat.period_s > SLOWEST_S * 1.02 || heard_too_seldom(gauge) || (guards_motion(seat.channel) && renewed_too_seldom(gauge));
            health.too_slow = is_guard(seat.channel) && seldom;
        }
    }

    /// A still lift's slow packets say nothing of the pace while moving.
    pub fn motion_begins(&mut self) {
        for gauge in &mut self.gauges {
            gauge.interval_s = None;
        }
    }

    /// Whether every channel on which level and share rest has a zero.
    pub fn all_zeroed(&self, setup: &Setup) -> bool {
        let rests_on = |c| matches!(c, Channel::TrussAlong | Channel::HeadLoad | Channel::RopeLoad);
        setup.channels.iter().zip(&self.health).all(|(s, h)| !rests_on(s.channel) || h.zeroed)
    }

    /// Whether something else still guards what `channel` guards: another tilt of the same piece guards the level, no other cell
    /// guards a share, and a mast's tilt or a height stands beside the truss's own tilt.
    pub fn guarded_by_another(&self, setup: &Setup, channel: usize) -> bool {
        let seat = &setup.channels[channel];
        let usable = |c: Channel| {
            setup
                .channels
                .iter()
                .enumerate()
                .any(|(i, s)| i != channel && s.channel == c && s.piece == seat.piece && self.health[i].usable())
        };
        match seat.channel {
            Channel::TrussAlong | Channel::TrussAcross => usable(seat.channel),
            Channel::HeadLoad | Channel::RopeLoad => false,
            Channel::MastAlong | Channel::MastAcross | Channel::Height => usable(Channel::TrussAlong),
            Channel::Battery => true,
        }
    }

    /// Where a tower's silence is: the channels that guard it, with the last time each was heard.
    pub fn guards<'a>(&'a self, setup: &'a Setup, tower: usize) -> impl Iterator<Item = (usize, Option<Mono>)> + 'a {
        let of_tower = move |s: &crate::setup::Seat| s.tower == tower && is_guard(s.channel);
        setup.channels.iter().enumerate().filter(move |(_, s)| of_tower(s)).map(|(i, _)| (i, self.gauges[i].heard))
    }
}

impl crate::setup::Seat {
    /// What a newton of tension lifts; 1 but for a rope cell.
    pub fn lifts(&self) -> f64 {
        if self.channel == Channel::RopeLoad { self.fitted.rope_ratio } else { 1.0 }
    }
}

/// Whether a reading of this channel is a sign of life: a battery's is none.
pub fn is_guard(channel: Channel) -> bool {
    channel != Channel::Battery
}

/// Whether a channel's value means nothing without a zero.
pub fn needs_zero(channel: Channel) -> bool {
    !matches!(channel, Channel::Height | Channel::Battery)
}

/// From when silence counts: while moving, not from before the motion began (a node may slow down while still).
pub fn awaited(scene: &Scene, heard: Mono) -> Mono {
    if scene.guarded_as_moving() { heard.max(scene.motion_since) } else { heard }
}

/// Whether level and share rest on it, which a moving lift cannot wait for. A mast's tilt and a height may come more seldom.
fn guards_motion(channel: Channel) -> bool {
    matches!(channel, Channel::TrussAlong | Channel::HeadLoad | Channel::RopeLoad)
}

/// Its packets come quickly, what they carry is new more seldom than three times a second: it tells no more than that.
fn renewed_too_seldom(gauge: &Gauge) -> bool {
    gauge.renewal.every_s().is_some_and(|s| s > SLOWEST_S * 1.15)
}

fn heard_too_seldom(gauge: &Gauge) -> bool {
    gauge.interval_s.is_some_and(|mean| mean > SLOWEST_S * 1.15) && gauge.kept.len() >= 4
}
