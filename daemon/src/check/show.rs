//! Numbers in the units that the crew chose, and in the other system where paper needs both.

use raisewatch_protocol::plan::ShownUnits;
use raisewatch_protocol::units::{Force, POUND_KG, STANDARD_GRAVITY};

const FOOT_M: f64 = 0.3048;
const INCH_M: f64 = 0.0254;

/// Prints quantities in one choice of units.
#[derive(Clone, Copy, Debug)]
pub struct Show(pub ShownUnits);

/// A number with so many decimals and a real minus sign; no "−0".
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().any(|b| b.is_ascii_digit() && b != b'0') => format!("−{rest}"),
        Some(rest) => rest.to_owned(),
        None => text,
    }
}

impl Show {
    /// The unit of weights.
    pub fn weight_unit(self) -> &'static str {
        if self.0.pounds { "lb" } else { "kg" }
    }

    /// The unit of places and heights.
    pub fn length_unit(self) -> &'static str {
        if self.0.feet { "ft" } else { "m" }
    }

    /// A weight without its unit: kg to a tenth, lb to one.
    pub fn bare_weight(self, n: f64) -> String {
        if self.0.pounds { number(Force(n).lb(), 0) } else { number(Force(n).kg(), 1) }
    }

    /// A weight: `96.9 kg`.
    pub fn weight(self, n: f64) -> String {
        format!("{} {}", self.bare_weight(n), self.weight_unit())
    }

    /// A weight in the other system, and in newtons: `214 lb, 950 N`.
    pub fn weight_else(self, n: f64) -> String {
        let other = if self.0.pounds { format!("{} kg", number(Force(n).kg(), 1)) } else { format!("{} lb", number(Force(n).lb(), 0)) };
        format!("{other}, {} N", number(n, 0))
    }

    /// A weight in both systems: `96.9 kg (214 lb, 950 N)`.
    pub fn weight_both(self, n: f64) -> String {
        format!("{} ({})", self.weight(n), self.weight_else(n))
    }

    /// A place or height without its unit.
    pub fn bare_length(self, m: f64) -> String {
        if self.0.feet { number(m / FOOT_M, 1) } else { number(m, 2) }
    }

    /// A place or height: `5.00 m`.
    pub fn length(self, m: f64) -> String {
        format!("{} {}", self.bare_length(m), self.length_unit())
    }

    /// A place or height in both systems: `5.00 m (16.4 ft)`.
    pub fn length_both(self, m: f64) -> String {
        let other = Show(ShownUnits { pounds: self.0.pounds, feet: !self.0.feet });
        format!("{} ({})", self.length(m), other.length(m))
    }

    /// A small height: `50 mm`, `2.0 in`.
    pub fn offset(self, m: f64) -> String {
        if self.0.feet { format!("{} in", number(m / INCH_M, 1)) } else { format!("{} mm", number(m * 1000.0, 0)) }
    }

    /// A small height in both systems.
    pub fn offset_both(self, m: f64) -> String {
        let other = Show(ShownUnits { pounds: self.0.pounds, feet: !self.0.feet });
        format!("{} ({})", self.offset(m), other.offset(m))
    }

    /// A bending moment, in kN m and, where the crew counts in pounds, in lbf ft beside it.
    pub fn moment(self, nm: f64) -> String {
        let metric = format!("{} kN m", number(nm / 1000.0, 2));
        let lbf_ft = number(nm / (POUND_KG * STANDARD_GRAVITY * FOOT_M), 0);
        if self.0.pounds { format!("{lbf_ft} lbf ft ({metric})") } else { metric }
    }
}

/// A share of one as percent. What is past the whole never prints as 100 %: 100.2 % is 101 %.
pub fn percent(share: f64) -> String {
    let p = share * 100.0;
    let rounded = if p > 100.0 { p.round().max(101.0) } else { p.round() };
    format!("{} %", number(rounded, 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_systems_and_no_negative_zero() {
        let metric = Show(ShownUnits::default());
        let pounds = Show(ShownUnits { pounds: true, feet: true });
        assert_eq!(metric.weight_both(950.3), "96.9 kg (214 lb, 950 N)");
        assert_eq!(pounds.weight_both(2224.11), "500 lb (226.8 kg, 2224 N)");
        assert_eq!(metric.length_both(5.0), "5.00 m (16.4 ft)");
        assert_eq!(pounds.offset_both(0.0508), "2.0 in (51 mm)");
        assert_eq!((number(-0.004, 2), number(-5.3, 1)), ("0.00".to_owned(), "−5.3".to_owned()));
        assert_eq!((percent(1.002), percent(0.999), percent(0.484)), ("101 %".to_owned(), "100 %".to_owned(), "48 %".to_owned()));
    }
}
