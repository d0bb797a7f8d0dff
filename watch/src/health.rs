//! What each channel is good for at this moment: heard or silent, zeroed or not, trusted or not.

use crate::condition::{Condition, Known, Stands, Unit};
use crate::instruments::{Instruments, SILENT_LONG, SILENT_MOVING, SLOWEST_S, awaited, is_guard};
use crate::scene::Scene;
use crate::setup::Setup;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};
use raisewatch_protocol::{Mono, Span};

/// One channel's health. Index as in [`crate::setup::Setup::channels`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Health {
    /// Arrival of its newest judged reading.
    pub heard: Option<Mono>,
    /// False while it is silent, never heard, out of range or late: the estimator then takes nothing from it and lets the
    /// uncertainty grow.
    pub live: bool,
    /// Whether it has a zero that counts.
    pub zeroed: bool,
    /// Whether one turn at the test lift moved it the right way (or the kit says so).
    pub proved: bool,
    /// False once it is known to be backwards, swapped, knocked, frozen or the like: then it guards nothing.
    pub trusted: bool,
    /// True where its node speaks less than three times a second, or what it sends is new more seldom than that: no level is claimed from it while the lift moves.
    pub too_slow: bool,
}

impl Health {
    /// Whether the estimator may use its value.
    pub fn usable(&self) -> bool {
        self.live && self.zeroed && self.trusted
    }
}

/// The conditions of the instruments that need no estimate: silence, impossible readings, batteries, clocks, what is not fitted.
pub fn conditions(setup: &Setup, instruments: &Instruments, scene: &Scene, started: Mono, now: Mono, found: &mut Vec<Condition>) {
    for tower in 0..setup.plan.towers.len() {
        found.push(silent(setup, instruments, scene, tower, now));
        found.push(never_heard(setup, instruments, scene, tower, started, now));
        if scene.step != Step::Rig && scene.step != Step::Strike {
            let lacking = not_fitted(setup, tower).is_some();
            found.push(noted(Kind::NotFitted, tower, None, if lacking { Stands::At(Severity::Note) } else { Stands::Clear }));
        }
    }
    for (channel, seat) in setup.channels.iter().enumerate() {
        found.push(out_of_range(setup, instruments, scene, channel));
        if seat.channel == Channel::Battery {
            found.push(battery(setup, instruments, channel));
        }
    }
    for (node, state) in instruments.nodes.iter().enumerate() {
        let Some((when, by_s)) = state.jump else { continue };
        let stands = if now.since(when) < JUMP_TOLD { Stands::At(Severity::Note) } else { Stands::Clear };
        let amount = Some(Known { value: by_s, sigma: 0.0 });
        found.push(Condition { amount, unit: Unit::S, ..noted(Kind::Skew, setup.node_tower[node], None, stands) });
    }
}

/// A jump counts as standing so long.
const JUMP_TOLD: Span = Span::ms(1_000);

fn noted(kind: Kind, tower: usize, channel: Option<usize>, stands: Stands) -> Condition {
    Condition { tower: Some(tower), channel, stands, ..Condition::of(kind) }
}

/// Silence of the guarding channels of a tower that were heard before; or a node that is heard too seldom to guard.
fn silent(setup: &Setup, instruments: &Instruments, scene: &Scene, tower: usize, now: Mono) -> Condition {
    let mut worst: Option<(Stands, f64, f64)> = None;
    for (channel, heard) in instruments.guards(setup, tower) {
        let Some(heard) = heard else { continue };
        let age = now.since(awaited(scene, heard));
        let mut standing = silence(scene, age, instruments.silent_after(setup, scene, channel));
        // A stop that is set still before its node speaks again has not gone: only a reading ends a silence.
        if standing.0 == Stands::Clear && age >= torn_after(setup, scene, channel) {
            standing.0 = Stands::Within;
        }
        let age_s = now.since(heard).s();
        if worst.is_none_or(|w| rank(standing.0) > rank(w.0) || (standing.0 == w.0 && age_s > w.1)) {
            worst = Some((standing.0, age_s, standing.1));
        }
    }
    let slow = too_slow(setup, instruments, scene, tower);
    let (stands, amount_s, limit_s) = match (worst, slow) {
        (Some((Stands::Clear | Stands::Within, ..)), Some(every_s)) => (Stands::At(Severity::Warn), every_s, SLOWEST_S),
        (Some(worst), _) => worst,
        (None, _) => return noted(Kind::Silent, tower, None, Stands::Unknown),
    };
    Condition {
        amount: Some(Known { value: amount_s, sigma: 0.0 }),
        unit: Unit::S,
        limit: Some(limit_s),
        never_gated: stands == Stands::At(Severity::Stop),
        ..noted(Kind::Silent, tower, None, stands)
    }
}

/// How long an average a tower's slowest guarding node takes between readings, where that is too long for a moving lift.
fn too_slow(setup: &Setup, instruments: &Instruments, scene: &Scene, tower: usize) -> Option<f64> {
    if !(scene.guarded_as_moving() || scene.step == Step::TestLift) {
        return None;
    }
    let slow = |&(c, _): &(usize, Option<Mono>)| instruments.health[c].too_slow;
    let every = |(c, _): (usize, Option<Mono>)| {
        let gauge = &instruments.gauges[c];
        gauge.interval_s.unwrap_or(0.0).max(gauge.renewal.every_s().unwrap_or(0.0)).max(setup.channels[c].period_s)
    };
    instruments.guards(setup, tower).filter(slow).map(every).max_by(f64::total_cmp)
}

fn never_heard(setup: &Setup, instruments: &Instruments, scene: &Scene, tower: usize, started: Mono, now: Mono) -> Condition {
    let mut waits = instruments.guards(setup, tower).filter(|(_, heard)| heard.is_none()).map(|(channel, _)| channel).peekable();
    if waits.peek().is_none() {
        return noted(Kind::NeverHeard, tower, None, Stands::Clear);
    }
    let after = waits.map(|c| instruments.silent_after(setup, scene, c)).min().unwrap_or(SILENT_MOVING);
    let (stands, limit_s) = match silence(scene, now.since(awaited(scene, started)), after) {
        (Stands::Clear, limit_s) => (Stands::Within, limit_s),
        other => other,
    };
    Condition {
        amount: Some(Known { value: now.since(started).s(), sigma: 0.0 }),
        unit: Unit::S,
        limit: Some(limit_s),
        never_gated: stands == Stands::At(Severity::Stop),
        ..noted(Kind::NeverHeard, tower, None, stands)
    }
}

/// From this age on a channel is no longer fresh: 1 s or three periods, whichever is longer.
fn torn_after(setup: &Setup, scene: &Scene, channel: usize) -> Span {
    let seat = &setup.channels[channel];
    let period_s = if scene.guarded_as_moving() { seat.period_s } else { seat.still_period_s };
    SILENT_MOVING.max(Span::from_s(3.0 * period_s))
}

/// How silence of this age stands, and its limit, s.
fn silence(scene: &Scene, age: Span, after: Span) -> (Stands, f64) {
    let severity = match age {
        age if age < after => return (Stands::Clear, after.s()),
        _ if scene.guarded_as_moving() => Severity::Stop,
        age if age >= SILENT_LONG.max(after) => Severity::Warn,
        _ => Severity::Note,
    };
    (Stands::At(severity), if severity == Severity::Warn { SILENT_LONG.s() } else { after.s() })
}

fn rank(stands: Stands) -> u8 {
    match stands {
        Stands::Unknown => 0,
        Stands::Clear => 1,
        Stands::Within => 2,
        Stands::At(severity) => 3 + severity as u8,
    }
}

/// The next moment at which silence is told or graver.
pub fn deadline(setup: &Setup, instruments: &Instruments, scene: &Scene, started: Mono, now: Mono) -> Option<Mono> {
    let mut next: Option<Mono> = None;
    let mut at = |moment: Mono| {
        if moment > now && next.is_none_or(|n| moment < n) {
            next = Some(moment);
        }
    };
    for (channel, seat) in setup.channels.iter().enumerate().filter(|(_, s)| is_guard(s.channel)) {
        let from = awaited(scene, instruments.gauges[channel].heard.unwrap_or(started));
        at(from + instruments.silent_after(setup, scene, channel));
        if !scene.guarded_as_moving() {
            at(from + SILENT_LONG.max(Span::from_s(3.0 * seat.still_period_s)));
        }
    }
    for node in &instruments.nodes {
        if let Some((when, _)) = node.jump {
            at(when + JUMP_TOLD);
        }
    }
    next
}

/// Severity of a fault of one instrument: a note while something else guards; else moving a stop, still a warn.
/// Source: docs/forms.md, table of kinds.
pub fn instrument_severity(guarded: bool, scene: &Scene) -> Severity {
    match (guarded, scene.guarded_as_moving()) {
        (true, _) => Severity::Note,
        (false, true) => Severity::Stop,
        (false, false) => Severity::Warn,
    }
}

fn out_of_range(setup: &Setup, instruments: &Instruments, scene: &Scene, channel: usize) -> Condition {
    let seat = &setup.channels[channel];
    let Some(impossible) = instruments.gauges[channel].impossible else {
        return noted(Kind::OutOfRange, seat.tower, Some(channel), Stands::Clear);
    };
    let (unit, factor) = told_in(seat.channel);
    let bound = |v: f64| seat.fitted.range.map(|[low, high]| if v < low { low } else { high } * factor);
    Condition {
        piece: Some(seat.piece),
        amount: impossible.value.map(|v| Known { value: v * factor, sigma: 0.0 }),
        unit,
        limit: impossible.value.and_then(bound),
        ..noted(
            Kind::OutOfRange,
            seat.tower,
            Some(channel),
            Stands::At(instrument_severity(instruments.guarded_by_another(setup, channel), scene)),
        )
    }
}

/// A battery clears 2 % above its limit, or it would flutter with the load of every transmission.
fn battery(setup: &Setup, instruments: &Instruments, channel: usize) -> Condition {
    let seat = &setup.channels[channel];
    let value = instruments.gauges[channel].value;
    let low = seat.fitted.battery_limits.map(|l| l[0]);
    let stands = match (value, low) {
        (Some(v), Some(low)) if v <= low => Stands::At(Severity::Note),
        (Some(v), Some(low)) if v <= low * 1.02 => Stands::Within,
        (Some(_), _) => Stands::Clear,
        (None, _) => Stands::Unknown,
    };
    Condition {
        amount: value.map(|v| Known { value: v, sigma: 0.0 }),
        unit: Unit::V,
        limit: low,
        ..noted(Kind::Battery, seat.tower, Some(channel), stands)
    }
}

/// In which unit a channel's value is told, and its factor.
pub fn told_in(channel: Channel) -> (Unit, f64) {
    match channel {
        Channel::TrussAlong | Channel::TrussAcross | Channel::MastAlong | Channel::MastAcross => (Unit::Deg, 1.0_f64.to_degrees()),
        Channel::HeadLoad | Channel::RopeLoad => (Unit::N, 1.0),
        Channel::Height => (Unit::M, 1.0),
        Channel::Battery => (Unit::V, 1.0),
    }
}

/// What the work needs at a tower and the kit does not list: a tilt along its piece (or a height), a load.
pub fn not_fitted(setup: &Setup, tower: usize) -> Option<Channel> {
    let piece = setup.plan.towers[tower].piece;
    let has = |yes: &dyn Fn(&crate::setup::Seat) -> bool| setup.channels.iter().any(yes);
    let level = has(&|s| (s.channel == Channel::TrussAlong && s.piece == piece) || (s.channel == Channel::Height && s.tower == tower));
    let load = has(&|s| matches!(s.channel, Channel::HeadLoad | Channel::RopeLoad) && s.tower == tower);
    match (level, load) {
        (false, _) => Some(Channel::TrussAlong),
        (true, false) => Some(Channel::HeadLoad),
        (true, true) => None,
    }
}
