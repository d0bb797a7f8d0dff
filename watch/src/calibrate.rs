//! From the wire's value to the channel's: unit, points or scale, sign, zero. Nothing else ever changes a value.

use raisewatch_protocol::Mono;
use raisewatch_protocol::kit::{Calibration, Fitted};
use raisewatch_protocol::reading::Value;

/// One reading in the signs and units of docs/forms.md, calibrated, with its zero taken off where it has one.
///
/// `truss-along` and `truss-across` are slopes of the truss at the box against the horizon, rad: the planned slope for what hung
/// at the zero is in them, so sag is in the value and the statics takes it out. `head-load` and `rope-load` read the share, N
/// (a rope cell's tension times its ratio), without the adapter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibrated {
    /// The channel, index in [`crate::setup::Setup::channels`].
    pub channel: usize,
    /// Arrival of its packet.
    pub at: Mono,
    /// Value; rad, N, m or V.
    pub value: f64,
    /// False where the channel has no zero: then only changes of the value mean anything, never the value. (Mast tilts without a
    /// zero too; a height or a battery needs none and is always `true`.)
    pub zeroed: bool,
}

/// What a channel reads before its zero: unit, then scale or points, then sign. Nothing where the wire gave a bare number and the
/// kit has no calibration for it.
///
/// Unit of the result: rad, N, m or V.
pub fn calibrated(fitted: &Fitted, value: Value) -> Option<f64> {
    let (number, bare) = match value {
        Value::Angle(v) => (v.0, false),
        Value::Force(v) => (v.0, false),
        Value::Length(v) => (v.0, false),
        Value::Voltage(v) => (v.0, false),
        Value::Raw(v) => (v, true),
    };
    let in_unit = match &fitted.calibration {
        Calibration::None => (!bare).then_some(number)?,
        Calibration::Scale(per_unit) => number * per_unit,
        Calibration::Points(points) => between(points, number)?,
    };
    let signed = in_unit * fitted.sign;
    signed.is_finite().then_some(signed)
}

/// Straight lines between the points (channel value, wire value); the outer ones go on. Nothing with fewer than two points.
fn between(points: &[(f64, f64)], wire: f64) -> Option<f64> {
    let inner = points.len().checked_sub(2)?;
    let at = points[1..].iter().position(|p| wire <= p.1).unwrap_or(inner).min(inner);
    let [(v0, w0), (v1, w1)] = [points[at], points[at + 1]];
    Some(v0 + (wire - w0) * (v1 - v0) / (w1 - w0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_protocol::units::{Angle, Force};
    use raisewatch_protocol::words::Channel;

    fn fitted(calibration: Calibration, sign: f64) -> Fitted {
        Fitted {
            channel: Channel::HeadLoad,
            piece: None,
            at: None,
            unit: None,
            sign,
            range: None,
            calibration,
            calibrated: None,
            zero: None,
            proved: None,
            rope_ratio: 1.0,
            register: None,
            battery_limits: None,
        }
    }

    #[test]
    fn values_go_through_unit_points_and_sign_in_that_order() {
        let points = Calibration::Points(vec![(0.0, 0.0), (200.0, 41_200.0), (300.0, 51_200.0)]);
        let cases = [
            (Calibration::None, 1.0, Value::Force(Force(951.0)), Some(951.0)),
            (Calibration::None, -1.0, Value::Angle(Angle(0.0021)), Some(-0.0021)),
            (Calibration::None, 1.0, Value::Raw(5.0), None),
            (Calibration::Scale(0.5), -1.0, Value::Raw(8.0), Some(-4.0)),
            (points.clone(), 1.0, Value::Raw(20_600.0), Some(100.0)),
            (points.clone(), 1.0, Value::Raw(46_200.0), Some(250.0)),
            (points.clone(), 1.0, Value::Raw(-4120.0), Some(-20.0)),
            (points.clone(), 1.0, Value::Raw(61_200.0), Some(400.0)),
            (points, 1.0, Value::Raw(f64::NAN), None),
            (Calibration::Points(vec![(0.0, 0.0)]), 1.0, Value::Raw(1.0), None),
            (Calibration::Scale(f64::INFINITY), 1.0, Value::Raw(1.0), None),
        ];
        for (calibration, sign, value, want) in cases {
            let found = calibrated(&fitted(calibration.clone(), sign), value);
            assert!(
                match (found, want) {
                    (Some(f), Some(w)) => (f - w).abs() < 1e-9,
                    (None, None) => true,
                    _ => false,
                },
                "{calibration:?} {sign} {value:?}: {found:?}, expected {want:?}"
            );
        }
    }
}
