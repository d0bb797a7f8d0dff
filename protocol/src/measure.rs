//! From a number on the wire and its unit to a value of the channel's dimension.

use crate::kit::{Calibration, Fitted, WireUnit};
use crate::reading::Value;
use crate::units::{Angle, Force, Length, Voltage};
use crate::words::Channel;

/// Why a number is no value of its channel.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MeasureFault {
    /// None of ours.
    #[error("unit `{0}`, expected one of rad deg N kg m mm V mV")]
    UnknownUnit(String),
    /// One of ours, of another dimension.
    #[error("unit `{found}`, expected {expected}", found = .found.symbol())]
    OtherDimension {
        /// As sent, or as the kit has it.
        found: WireUnit,
        /// Units that fit.
        expected: &'static str,
    },
}

impl WireUnit {
    /// Every unit.
    pub const ALL: [WireUnit; 8] = {
        use WireUnit::*;
        [Rad, Deg, N, Kg, M, Mm, V, Mv]
    };
    /// As SenML and the kit spell it. Source: RFC 8428 section 12.1, RFC 8798, in tests/checks/senml.toml.
    pub const fn symbol(self) -> &'static str {
        match self {
            WireUnit::Rad => "rad",
            WireUnit::Deg => "deg",
            WireUnit::N => "N",
            WireUnit::Kg => "kg",
            WireUnit::M => "m",
            WireUnit::Mm => "mm",
            WireUnit::V => "V",
            WireUnit::Mv => "mV",
        }
    }
    /// The unit spelled so; case matters (`M` and `m` differ elsewhere).
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.symbol() == symbol)
    }

    fn value(self, number: f64) -> Value {
        match self {
            WireUnit::Rad => Value::Angle(Angle(number)),
            WireUnit::Deg => Value::Angle(Angle::from_deg(number)),
            WireUnit::N => Value::Force(Force(number)),
            WireUnit::Kg => Value::Force(Force::from_kg(number)),
            WireUnit::M => Value::Length(Length(number)),
            WireUnit::Mm => Value::Length(Length::from_mm(number)),
            WireUnit::V => Value::Voltage(Voltage(number)),
            WireUnit::Mv => Value::Voltage(Voltage(number / 1000.0)),
        }
    }

    fn fits(self, channel: Channel) -> bool {
        units_of(channel).1.contains(&self)
    }
}

/// The unit in which a channel is told where nothing else is said.
fn own(channel: Channel) -> WireUnit {
    use Channel::*;
    match channel {
        MastAlong | MastAcross | TrussAlong | TrussAcross => WireUnit::Rad,
        HeadLoad | RopeLoad => WireUnit::N,
        Height => WireUnit::M,
        Battery => WireUnit::V,
    }
}

/// The units that a channel may come in: in words, and as a list.
pub fn units_of(channel: Channel) -> (&'static str, &'static [WireUnit]) {
    use Channel::*;
    match channel {
        MastAlong | MastAcross | TrussAlong | TrussAcross => ("rad or deg", &[WireUnit::Rad, WireUnit::Deg]),
        HeadLoad | RopeLoad => ("N or kg", &[WireUnit::N, WireUnit::Kg]),
        Height => ("m or mm", &[WireUnit::M, WireUnit::Mm]),
        Battery => ("V or mV", &[WireUnit::V, WireUnit::Mv]),
    }
}

/// The value of `number` in the unit that the wire names, else the kit's, else the channel's own (docs/forms.md, "Axes and
/// signs"): a tilt that comes in degrees without saying so is then far too large, which the watch tells as `wrong-unit`.
///
/// A unit that fits the channel gives rad, N, m or V. Where the kit calibrates (`scale`, `points`), a bare number, and one
/// in the unit that the kit itself states (the millivolts of a load cell's bridge), stays as it is: [`Value::Raw`].
///
/// Errors: [`MeasureFault`].
pub fn measure(fitted: &Fitted, number: f64, unit: Option<&str>) -> Result<Value, MeasureFault> {
    let calibrated = fitted.calibration != Calibration::None;
    let (expected, _) = units_of(fitted.channel);
    let unit = match unit {
        None | Some("") => fitted.unit,
        Some(symbol) => match WireUnit::from_symbol(symbol) {
            Some(unit) => Some(unit),
            None => return Err(MeasureFault::UnknownUnit(symbol.chars().take(20).collect())),
        },
    };
    match unit {
        None if calibrated => Ok(Value::Raw(number)),
        None => Ok(own(fitted.channel).value(number)),
        Some(unit) if unit.fits(fitted.channel) => Ok(unit.value(number)),
        Some(unit) if calibrated && fitted.unit == Some(unit) => Ok(Value::Raw(number)),
        Some(found) => Err(MeasureFault::OtherDimension { found, expected }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fitted(channel: Channel, unit: Option<WireUnit>, calibration: Calibration) -> Fitted {
        Fitted {
            channel,
            piece: None,
            at: None,
            unit,
            sign: 1.0,
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
    fn units_of_the_wire() {
        use Channel::*;
        let check = |channel, number, unit, expected: Option<Value>| {
            assert_eq!(measure(&fitted(channel, None, Calibration::None), number, Some(unit)).ok(), expected, "{channel} {unit}");
        };
        check(TrussAlong, 0.5, "rad", Some(Value::Angle(Angle(0.5))));
        check(MastAcross, 180.0, "deg", Some(Value::Angle(Angle(std::f64::consts::PI))));
        check(HeadLoad, 951.0, "N", Some(Value::Force(Force(951.0))));
        check(RopeLoad, 100.0, "kg", Some(Value::Force(Force(980.665)))); // standard gravity, tests/checks/units.toml
        check(Height, 1250.0, "mm", Some(Value::Length(Length(1.25))));
        check(Battery, 3700.0, "mV", Some(Value::Voltage(Voltage(3.7))));
        for (channel, wrong) in [(HeadLoad, "m"), (Height, "deg"), (Battery, "N"), (TrussAlong, "mm"), (HeadLoad, "mV")] {
            check(channel, 1.0, wrong, None);
        }
        // In no registry (tests/checks/senml.toml, [[absent]]), or registered and not ours.
        for other in ["kN", "t", "lbf", "mm/m", "kgf", "g", "%", "count", "Rad", "n"] {
            check(HeadLoad, 1.0, other, None);
        }
    }

    #[test]
    fn without_a_unit_the_kits_is_meant_and_without_that_the_channels_own() {
        let deg = fitted(Channel::TrussAlong, Some(WireUnit::Deg), Calibration::None);
        assert_eq!(measure(&deg, 1.0, None), Ok(Value::Angle(Angle::from_deg(1.0))));
        assert_eq!(measure(&deg, 1.0, Some("rad")), Ok(Value::Angle(Angle(1.0))));
        let bare = fitted(Channel::TrussAlong, None, Calibration::None);
        assert_eq!(measure(&bare, 1.0, None), Ok(Value::Angle(Angle(1.0))));
        let load = fitted(Channel::HeadLoad, None, Calibration::None);
        assert_eq!(measure(&load, 951.0, Some("")), Ok(Value::Force(Force(951.0))));
    }

    #[test]
    fn counts_are_raw_where_the_kit_calibrates_them() {
        let points = Calibration::Points(vec![(0.0, 0.0), (200.0, 41_200.0)]);
        let counts = fitted(Channel::HeadLoad, None, points.clone());
        assert_eq!(measure(&counts, 41_200.0, None), Ok(Value::Raw(41_200.0)));
        assert_eq!(measure(&counts, 200.0, Some("N")), Ok(Value::Force(Force(200.0))));
        assert!(matches!(measure(&counts, 2.0, Some("mV")), Err(MeasureFault::OtherDimension { .. })));
        let bridge = fitted(Channel::HeadLoad, Some(WireUnit::Mv), points);
        assert_eq!(measure(&bridge, 2.0, Some("mV")), Ok(Value::Raw(2.0)));
        assert_eq!(measure(&bridge, 2.0, None), Ok(Value::Raw(2.0)));
    }
}
