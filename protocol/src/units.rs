//! Quantities with their unit in the type: what crosses a function border is never a bare number.
//!
//! Parsing of `"500 lb"`, `"1 1/8 in"` and the like is in [`crate::quantity`].

use serde::Serialize;

/// Standard gravity, m/s². Exact. Source: 3rd CGPM (1901), in tests/checks/units.toml.
pub const STANDARD_GRAVITY: f64 = 9.80665;
/// International avoirdupois pound in kilograms. Exact. Source: 1959 agreement, in tests/checks/units.toml.
pub const POUND_KG: f64 = 0.453_592_37;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[doc = concat!("\n\nUnit: ", $unit, ".")]
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl std::ops::Add for $name {
            type Output = $name;
            fn add(self, other: $name) -> $name { $name(self.0 + other.0) }
        }
        impl std::ops::Sub for $name {
            type Output = $name;
            fn sub(self, other: $name) -> $name { $name(self.0 - other.0) }
        }
        impl std::ops::Neg for $name {
            type Output = $name;
            fn neg(self) -> $name { $name(-self.0) }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = $name;
            fn mul(self, k: f64) -> $name { $name(self.0 * k) }
        }
        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = $name>>(all: I) -> $name { $name(all.map(|q| q.0).sum()) }
        }
    };
}

quantity!(/// A force; a weight is mass times standard gravity.
    Force, "newton");
quantity!(/// A length or a height.
    Length, "metre");
quantity!(/// An angle.
    Angle, "radian");
quantity!(/// A force spread along a length.
    LineLoad, "newton per metre");
quantity!(/// A speed.
    Speed, "metre per second");
quantity!(/// A force per length of travel.
    Stiffness, "newton per metre");
quantity!(/// Bending (EI) or torsional (GJ) stiffness of a piece.
    Rigidity, "newton square metre");
quantity!(/// A voltage.
    Voltage, "volt");
quantity!(/// A time, where a plan or kit states one.
    Duration, "second");

impl Force {
    /// The weight of `kg` kilograms under standard gravity.
    pub fn from_kg(kg: f64) -> Self {
        Force(kg * STANDARD_GRAVITY)
    }
    /// The mass, in kilograms, that weighs this much under standard gravity.
    pub fn kg(self) -> f64 {
        self.0 / STANDARD_GRAVITY
    }
    /// The mass, in pounds, that weighs this much under standard gravity.
    pub fn lb(self) -> f64 {
        self.kg() / POUND_KG
    }
}

impl Length {
    /// A length of so many millimetres.
    pub fn from_mm(mm: f64) -> Self {
        Length(mm / 1000.0)
    }
    /// Millimetres.
    pub fn mm(self) -> f64 {
        self.0 * 1000.0
    }
}

impl Angle {
    /// An angle of so many degrees.
    pub fn from_deg(deg: f64) -> Self {
        Angle(deg.to_radians())
    }
    /// Degrees.
    pub fn deg(self) -> f64 {
        self.0.to_degrees()
    }
}
