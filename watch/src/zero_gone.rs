//! `zero-gone`: a zero that no longer holds. A cell that carries less than nothing, or something where nothing hangs; one that was
//! pressed past its range; a zero of the kit that has run out while the truss is up.
//!
//! Judged while the truss is still: no zero is lost by cranking, and none can be said then. Limits: docs/trade.md section 4, "zero
//! at no load" (5 lb or 0.5 % of full scale), and section 2, rows 41 and 42 (5 to 50 lb).

use crate::causes::scope::Held;
use crate::condition::{Condition, Known, Stands};
use crate::health::{instrument_severity, told_in};
use crate::instruments::Instruments;
use crate::scene::Scene;
use crate::setup::{Seat, Setup};
use jiff::Timestamp;
use raisewatch_protocol::units::{POUND_KG, STANDARD_GRAVITY};
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};
use raisewatch_protocol::{Mono, Span};

/// A zero is off from here, N (5 lb), or from this part of the range, the larger.
const OFF_N: f64 = 5.0 * POUND_KG * STANDARD_GRAVITY;
const OFF_OF_RANGE: f64 = 0.005;
/// Beyond this it is no zero that has shifted, N (50 lb).
const MOST_N: f64 = 50.0 * POUND_KG * STANDARD_GRAVITY;
/// A reading stands so long before it counts, s: below nothing, and in `rig`, where hands and trestles are about.
const BELOW_S: f64 = 10.0;
const BARE_S: f64 = 30.0;
/// Means are taken over so much.
const OVER: Span = Span::ms(3_000);
/// A tower that is planned to carry less may really be lifted by an overhang, N.
const SURE_N: f64 = 100.0;

/// Memory of the zeroes, by channel.
#[derive(Clone, Debug)]
pub struct ZeroGone {
    below: Vec<Held>,
    bare: Vec<Held>,
}

impl ZeroGone {
    /// For so many channels.
    pub fn new(channels: usize) -> Self {
        ZeroGone { below: vec![Held::default(); channels], bare: vec![Held::default(); channels] }
    }

    /// Adds zeroes that no longer hold. `wall`: the time of day now, where known; `planned_n`: share of a tower by the plan.
    pub fn conditions(
        &mut self,
        setup: &Setup,
        instruments: &Instruments,
        scene: &Scene,
        (now, wall): (Mono, Option<Timestamp>),
        planned_n: impl Fn(usize) -> f64,
        found: &mut Vec<Condition>,
    ) {
        for (c, seat) in setup.channels.iter().enumerate() {
            if seat.channel == Channel::Battery || seat.channel == Channel::Height {
                continue;
            }
            let off = self.off(setup, instruments, scene, c, now, &planned_n);
            let gauge = &instruments.gauges[c];
            let aged = aged(seat, gauge.zero_said, scene, wall);
            let mut told = Condition { tower: Some(seat.tower), channel: Some(c), ..Condition::of(Kind::ZeroGone) };
            let gone = off.is_some() || gauge.overloaded || aged;
            told.stands = match gone {
                // Time passes while it moves too, but breaks nothing: what was told stays.
                _ if scene.guarded_as_moving() => Stands::Within,
                true => Stands::At(severity(instruments, setup, scene, c)),
                false => Stands::Clear,
            };
            if let Some(off_n) = off {
                (told.amount, told.unit) = (Some(Known { value: off_n, sigma: 3.0 }), told_in(seat.channel).0);
                told.limit = Some(limit_n(seat).copysign(off_n));
            }
            found.push(told);
        }
    }

    /// By how much a cell reads off what it must read: nothing at least where the truss hangs, nothing where none hangs.
    fn off(
        &mut self,
        setup: &Setup,
        instruments: &Instruments,
        scene: &Scene,
        c: usize,
        now: Mono,
        planned_n: &impl Fn(usize) -> f64,
    ) -> Option<f64> {
        let seat = &setup.channels[c];
        let carries = planned_n(seat.tower) > SURE_N && !scene.guarded_as_moving();
        let limit = limit_n(seat);
        // Neither can be said while the truss is cranked: then the mean of seconds is not asked for.
        let reads = (carries || scene.step == Step::Rig).then(|| read_n(instruments, seat, c, now)).flatten();
        let below = reads.filter(|n| carries && *n < -limit && *n > -MOST_N);
        let bare = reads.filter(|n| {
            let about = |(d, s): (usize, &Seat)| {
                d == c || s.channel != seat.channel || read_n(instruments, s, d, now).is_some_and(|o| o.abs() < limit)
            };
            scene.step == Step::Rig
                && !instruments.gauges[c].zero_said
                && (limit..MOST_N).contains(n)
                && *n < 0.5 * truss_n(setup)
                && setup.channels.iter().enumerate().all(about)
        });
        let below_s = self.below[c].see(below.is_some(), now.s());
        let bare_s = self.bare[c].see(bare.is_some(), now.s());
        below.filter(|_| below_s >= BELOW_S).or(bare.filter(|_| bare_s >= BARE_S))
    }
}

/// Mean of the last seconds of a head cell that is live, trusted and has a zero, N. A rope's zero has the bare head on it: slack,
/// it reads less than nothing.
fn read_n(instruments: &Instruments, seat: &Seat, c: usize, now: Mono) -> Option<f64> {
    let (gauge, health) = (&instruments.gauges[c], &instruments.health[c]);
    let zero = gauge.zero.filter(|_| health.live && health.trusted && seat.channel == Channel::HeadLoad)?;
    let window = || gauge.kept.iter().rev().take_while(|k| now.since(k.0) <= OVER).map(|k| k.1);
    let count = window().count();
    let mean = if count == 0 { gauge.kept.back()?.1 } else { window().sum::<f64>() / count as f64 };
    Some((mean - zero.value) * seat.lifts())
}

fn limit_n(seat: &Seat) -> f64 {
    let range = seat.fitted.range.map_or(0.0, |[low, high]| high.abs().max(low.abs()) * seat.lifts());
    OFF_N.max(OFF_OF_RANGE * range)
}

/// What the bare truss lays on one tower on average, N: less than half of it is no truss in a cradle.
fn truss_n(setup: &Setup) -> f64 {
    setup.plan.pieces.iter().map(|p| p.weight.0 * p.length().0).sum::<f64>() / setup.plan.towers.len() as f64
}

/// Whether a zero that the kit carries has run out since the truss went up.
fn aged(seat: &Seat, said: bool, scene: &Scene, wall: Option<Timestamp>) -> bool {
    let Some((zero, wall)) = seat.fitted.zero.as_ref().zip(wall) else { return false };
    let Some((when, valid)) = zero.when.zip(zero.valid) else { return false };
    !said && !matches!(scene.step, Step::Rig | Step::TestLift) && wall.duration_since(when).as_secs_f64() > valid.0
}

fn severity(instruments: &Instruments, setup: &Setup, scene: &Scene, c: usize) -> Severity {
    instrument_severity(instruments.guarded_by_another(setup, c), scene)
}
