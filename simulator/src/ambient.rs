//! The unrest of the place: sway of the whole portal, draught, bass, a dancing crowd, the day cooling down.
//!
//! A tilt instrument is an accelerometer: a sway of amplitude x at f reads as x (2 pi f)² / g. Here sway is carried as
//! that apparent tilt (rad), which is what reaches the readings.

use crate::stream::Stream;
use raisewatch_protocol::units::STANDARD_GRAVITY;
use std::f64::consts::TAU;

/// One mode of sway: rings up while it is driven, rings down when it is not, wanders in strength and pace.
#[derive(Clone, Debug)]
pub struct Sway {
    hertz: f64,
    phase: f64,
    /// Apparent tilt at the peak, rad.
    peak: f64,
    wander: f64,
    stream: Stream,
}

/// Time in which sway rings up while driven, and down, s. Source: 5 to 8 % damping at 0.9 Hz, common practice, no source.
const RING_UP_S: f64 = 1.5;
const RING_DOWN_S: f64 = 3.0;

impl Sway {
    /// A mode at this frequency, at rest.
    pub fn new(hertz: f64, mut stream: Stream) -> Self {
        let phase = stream.between(0.0, TAU);
        let hertz = hertz * (1.0 + stream.normal(0.04)).clamp(0.8, 1.2);
        Sway { hertz, phase, peak: 0.0, wander: 0.0, stream }
    }
    /// Goes on by `dt_s`, driven towards `target` (rad at the peak).
    pub fn advance(&mut self, target: f64, dt_s: f64) {
        self.wander += -self.wander * dt_s + self.stream.normal((2.0 * dt_s).sqrt());
        let aim = target * (0.75 + 0.15 * self.wander).clamp(0.3, 1.0);
        let time = if aim > self.peak { RING_UP_S } else { RING_DOWN_S };
        self.peak += (aim - self.peak) * (dt_s / time).min(1.0);
        self.phase = (self.phase + TAU * self.hertz * (1.0 + 0.02 * self.wander) * dt_s) % TAU;
    }
    /// A blow: adds to the ringing.
    pub fn kick(&mut self, by: f64) {
        self.peak += by;
    }
    /// Apparent tilt now, rad.
    pub fn tilt(&self) -> f64 {
        self.peak * self.phase.sin()
    }
}

/// Apparent tilt (rad, peak) of a sway of this amplitude and frequency. 5 mm at 1 Hz read as 1.15°. Source: docs/trade.md section 2.
pub fn apparent_tilt(amplitude_m: f64, hertz: f64) -> f64 {
    amplitude_m * (TAU * hertz).powi(2) / STANDARD_GRAVITY
}

/// A sum of sines between two frequencies, each with a phase of its own: bass, feet, machines.
#[derive(Clone, Debug)]
pub struct Rumble {
    parts: Vec<(f64, f64)>,
}

impl Rumble {
    /// Five sines between `low` and `high` Hz.
    pub fn new(low: f64, high: f64, stream: &mut Stream) -> Self {
        Rumble { parts: (0..5).map(|_| (stream.between(low, high), stream.between(0.0, TAU))).collect() }
    }
    /// Between -1 and 1.
    pub fn at(&self, t_s: f64) -> f64 {
        self.parts.iter().map(|(hz, phase)| (TAU * hz * t_s + phase).sin()).sum::<f64>() / self.parts.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_millimetres_at_one_hertz_read_as_more_than_a_degree() {
        assert!((apparent_tilt(0.005, 1.0).to_degrees() - 1.15).abs() < 0.01);
    }

    #[test]
    fn sway_rings_up_and_down() {
        let mut sway = Sway::new(0.9, Stream::new(3, "sway"));
        let mut top = |target: f64, seconds: f64| {
            (0..(seconds / 0.01) as usize).fold(0.0_f64, |top, _| {
                sway.advance(target, 0.01);
                top.max(sway.tilt().abs())
            })
        };
        let driven = top(0.3, 20.0);
        assert!(driven > 0.15 && driven <= 0.3, "{driven}");
        top(0.0, 15.0);
        assert!(top(0.0, 2.0) < 0.01);
    }
}
