//! Quantities of a script: strings with a unit, read into SI numbers.
//!
//! The units are those a script needs; plan and kit have their own, fuller reader.

use raisewatch_protocol::units::STANDARD_GRAVITY;
use serde::Deserialize;

/// Splits `"1.5 m"` into its number and its unit.
fn split(text: &str) -> Result<(f64, &str), String> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.eE".contains(c))).unwrap_or(text.len());
    let number = text[..end].parse::<f64>().map_err(|_| format!("expected a number with a unit, found \"{text}\""))?;
    Ok((number, text[end..].trim()))
}

/// The SI value of `text`, whose unit must be one of `units`.
fn read(text: &str, what: &str, units: &[(&str, f64)]) -> Result<f64, String> {
    let (number, unit) = split(text)?;
    let factor = units.iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor).ok_or_else(|| {
        let known: Vec<_> = units.iter().map(|(name, _)| *name).collect();
        format!("expected {what} in {}, found \"{text}\"", known.join(", "))
    })?;
    Ok(number * factor)
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $what:literal, $units:expr) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Deserialize)]
        #[serde(try_from = "String")]
        pub struct $name(pub f64);

        impl TryFrom<String> for $name {
            type Error = String;
            fn try_from(text: String) -> Result<Self, String> {
                read(&text, $what, $units).map($name)
            }
        }
    };
}

const KG: f64 = STANDARD_GRAVITY;
const LB: f64 = STANDARD_GRAVITY * raisewatch_protocol::units::POUND_KG;
const DEG: f64 = std::f64::consts::PI / 180.0;

quantity!(/// A time, s.
    Seconds, "a time", &[("s", 1.0), ("ms", 1e-3), ("min", 60.0), ("h", 3600.0)]);
quantity!(/// A length or height, m.
    Metres, "a length", &[("m", 1.0), ("mm", 1e-3), ("cm", 1e-2), ("in", 0.0254), ("ft", 0.3048)]);
quantity!(/// A force, or a mass under standard gravity, N.
    Newtons, "a force or a mass", &[("N", 1.0), ("kN", 1e3), ("kg", KG), ("lb", LB)]);
quantity!(/// An angle, rad.
    Radians, "an angle", &[("deg", DEG), ("rad", 1.0), ("mrad", 1e-3)]);
quantity!(/// A speed, m/s.
    Speed, "a speed", &[("m/s", 1.0), ("mm/s", 1e-3), ("in/s", 0.0254), ("mm/min", 1e-3 / 60.0), ("mm/h", 1e-3 / 3600.0)]);
quantity!(/// An angle per time, rad/s.
    Turning, "an angle per time", &[("deg/s", DEG), ("deg/min", DEG / 60.0), ("deg/h", DEG / 3600.0)]);
quantity!(/// A stiffness, N/m.
    Stiff, "a stiffness", &[("N/mm", 1e3), ("N/m", 1.0), ("kN/m", 1e3)]);
quantity!(/// A voltage, V.
    Volts, "a voltage", &[("V", 1.0), ("mV", 1e-3)]);
quantity!(/// A frequency, Hz.
    Hertz, "a frequency", &[("Hz", 1.0)]);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_into_si() {
        let cases: [(Result<f64, String>, f64); 5] = [
            (Seconds::try_from("1.5 min".to_owned()).map(|q| q.0), 90.0),
            (Metres::try_from("12mm".to_owned()).map(|q| q.0), 0.012),
            (Newtons::try_from("10 kg".to_owned()).map(|q| q.0), 98.0665),
            (Radians::try_from("180 deg".to_owned()).map(|q| q.0), std::f64::consts::PI),
            (Stiff::try_from("8 N/mm".to_owned()).map(|q| q.0), 8000.0),
        ];
        for (found, expected) in cases {
            assert!((found.unwrap() - expected).abs() < 1e-9 * expected, "{expected}");
        }
    }

    #[test]
    fn a_missing_or_wrong_unit_is_told() {
        for bad in ["12", "12 kg", "m", "", "1..2 m", "twelve m"] {
            assert!(Metres::try_from(bad.to_owned()).is_err(), "{bad}");
        }
        assert!(Metres::try_from("12 kg".to_owned()).unwrap_err().contains("expected a length in m, mm"));
    }
}
