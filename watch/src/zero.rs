//! Zeroes: said in `rig`, or carried by the kit. Rule: docs/forms.md, "Not zeroed".
//!
//! Without a zero a channel gives no level and no share. A zero that would be taken from too few or too unsteady readings is
//! refused and told; the one before stays.

use crate::instruments::{Gauge, Instruments, Zero};
use crate::setup::Setup;
use jiff::Timestamp;
use raisewatch_protocol::words::Channel;
use raisewatch_protocol::{Mono, Span};

/// A zero is the mean of so much before the word.
const OVER: Span = Span::ms(3_000);
/// From at least so many readings.
const LEAST: usize = 10;
/// Tilts may spread by this, rad (0.1°).
const TILT_SPREAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// Loads may spread by this, N.
const LOAD_SPREAD: f64 = 5.0;
/// A proof that the kit carries holds so long. Not stated by the forms: a day's rigging; an older one is proved anew.
const PROOF_HOLDS_S: f64 = 86_400.0;

/// Two clocks may differ by so much.
const AHEAD_S: f64 = 300.0;

/// Why a zero was refused.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ZeroRefusal {
    /// Too few readings in the last 3 s.
    Few(usize),
    /// They spread too far: by how much, and how much is allowed, in the channel's unit.
    Spread(f64, f64),
}

/// What the channel reads now, to become its zero.
///
/// The spread is the larger of the mean departure from the mean and of the move from the first to the second half: white noise
/// of a good instrument passes, a truss that is still being levelled does not.
pub fn measured(gauge: &Gauge, channel: Channel, now: Mono) -> Result<f64, ZeroRefusal> {
    let window = || gauge.kept.iter().filter(|k| now.since(k.0) <= OVER).map(|k| k.1);
    let count = window().count();
    if count < LEAST {
        return Err(ZeroRefusal::Few(count));
    }
    let mean = window().sum::<f64>() / count as f64;
    let departure = window().map(|v| (v - mean).abs()).sum::<f64>() / count as f64;
    let half = count / 2;
    let first = window().take(half).sum::<f64>() / half as f64;
    let second = window().skip(count - half).sum::<f64>() / half as f64;
    let spread = departure.max((second - first).abs());
    let allowed = match channel {
        Channel::HeadLoad | Channel::RopeLoad => LOAD_SPREAD,
        Channel::MastAlong | Channel::MastAcross | Channel::TrussAlong | Channel::TrussAcross => TILT_SPREAD,
        Channel::Height | Channel::Battery => f64::INFINITY,
    };
    if spread > allowed { Err(ZeroRefusal::Spread(spread, allowed)) } else { Ok(mean) }
}

/// Sets the zeroes and proofs that the kit carries and that still hold. `wall`: the time of day now, if known; without it their
/// age is not judged. `planned`: the slope that the plan gives at a tilt box, rad.
pub fn kept(setup: &Setup, instruments: &mut Instruments, wall: Option<Timestamp>, planned: impl Fn(usize) -> f64) {
    let age_s = |when: Timestamp| wall.map_or(0.0, |w| w.duration_since(when).as_secs_f64());
    for (at, seat) in setup.channels.iter().enumerate() {
        // What people said today stands before what the kit carries.
        if !instruments.gauges[at].zero_said
            && let Some(zero) = &seat.fitted.zero
            && let (Some(when), Some(valid)) = (zero.when, zero.valid)
        {
            // A zero of tomorrow is of a wrong clock, and so of an unknown age.
            let holds = (-AHEAD_S..=valid.0).contains(&age_s(when));
            let slope = if seat.channel == Channel::TrussAlong { planned(at) } else { 0.0 };
            instruments.gauges[at].zero = holds.then_some(Zero { value: zero.value, planned: slope });
        }
        if let Some((when, _)) = &seat.fitted.proved {
            instruments.health[at].proved = (-AHEAD_S..=PROOF_HOLDS_S).contains(&age_s(*when));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gauge(values: impl Iterator<Item = f64>, step_ms: u64) -> (Gauge, Mono) {
        let kept: std::collections::VecDeque<_> = values.enumerate().map(|(i, v)| (Mono(i as u64 * step_ms * 1000), v)).collect();
        let now = kept.back().map_or(Mono(0), |k: &(Mono, f64)| k.0);
        (Gauge { kept, ..Gauge::default() }, now)
    }

    #[test]
    fn a_zero_is_the_mean_of_the_last_three_seconds() {
        // One second of something else before the three that count.
        let (g, now) = gauge((0..41).map(|i| if i < 10 { 50.0 } else { 7.0 + (i % 2) as f64 }), 100);
        let zero = measured(&g, Channel::HeadLoad, now).unwrap();
        assert!((zero - 7.5).abs() < 0.05, "{zero}");
    }

    #[test]
    fn too_few_too_rough_or_still_moving_is_refused() {
        let (few, now) = gauge((0..9).map(|_| 1.0), 100);
        assert_eq!(measured(&few, Channel::HeadLoad, now), Err(ZeroRefusal::Few(9)));
        let (slow, now) = gauge((0..20).map(|_| 1.0), 1000);
        assert_eq!(measured(&slow, Channel::HeadLoad, now), Err(ZeroRefusal::Few(4)));
        let (old, now) = gauge((0..30).map(|_| 1.0), 100);
        assert_eq!(measured(&old, Channel::HeadLoad, now + Span::ms(10_000)), Err(ZeroRefusal::Few(0)));
        let (rough, now) = gauge((0..30).map(|i| if i % 2 == 0 { 0.0 } else { 12.0 }), 100);
        assert!(matches!(measured(&rough, Channel::RopeLoad, now), Err(ZeroRefusal::Spread(by, 5.0)) if (by - 6.0).abs() < 0.1));
        let (ramp, now) = gauge((0..60).map(|i| 0.005 * i as f64 / 60.0), 50);
        assert!(matches!(measured(&ramp, Channel::TrussAlong, now), Err(ZeroRefusal::Spread(..))));
        let (step, now) = gauge((0..30).map(|i| if i < 20 { 0.0 } else { 9.0 }), 100);
        assert!(matches!(measured(&step, Channel::HeadLoad, now), Err(ZeroRefusal::Spread(..))));
    }

    #[test]
    fn the_noise_of_a_good_instrument_passes() {
        // A tilt of 0.05° rms at 20 Hz, a load of 0.5 kg rms at 10 Hz (two-valued: ± one rms).
        let (tilt, now) = gauge((0..60).map(|i| if i % 2 == 0 { 0.05_f64 } else { -0.05 }.to_radians()), 50);
        assert!(measured(&tilt, Channel::TrussAlong, now).is_ok());
        let (load, now) = gauge((0..30).map(|i| if i % 2 == 0 { 4.9 } else { -4.9 }), 100);
        assert!(measured(&load, Channel::HeadLoad, now).is_ok());
    }
}
