//! Time as the watch knows it: whole microseconds since any fixed origin.
//!
//! `Mono` has no `now()`: only the daemon asks the machine for the time.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::ops::{Add, Sub};

/// A moment on the monotonic clock of this machine, in whole microseconds from any origin.
///
/// On the wire it is `t_ms`: milliseconds with at most three decimals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mono(pub u64);

/// A length of time, in whole microseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span(pub u64);

impl Mono {
    /// The moment `ms` milliseconds after the origin, cut to whole microseconds; `None` if negative or not finite.
    pub fn from_ms(ms: f64) -> Option<Self> {
        // Adding a thousandth of a microsecond keeps 1234.567 from becoming 1234566 by binary rounding.
        (ms.is_finite() && (0.0..9.0e15).contains(&ms)).then_some(Mono((ms * 1000.0 + 1e-3) as u64))
    }
    /// Milliseconds since the origin.
    pub fn ms(self) -> f64 {
        self.0 as f64 / 1000.0
    }
    /// Seconds since the origin.
    pub fn s(self) -> f64 {
        self.0 as f64 / 1e6
    }
    /// Time from `earlier` until this moment; nothing if `earlier` is later.
    pub fn since(self, earlier: Mono) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }
}

impl Span {
    /// So many milliseconds.
    pub const fn ms(ms: u64) -> Self {
        Span(ms * 1000)
    }
    /// So many seconds, cut to microseconds; negative or not finite becomes zero.
    pub fn from_s(s: f64) -> Self {
        Span(if s.is_finite() && s > 0.0 { (s * 1e6).round() as u64 } else { 0 })
    }
    /// Seconds.
    pub fn s(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl Add<Span> for Mono {
    type Output = Mono;
    fn add(self, span: Span) -> Mono {
        Mono(self.0.saturating_add(span.0))
    }
}

impl Sub<Span> for Mono {
    type Output = Mono;
    fn sub(self, span: Span) -> Mono {
        Mono(self.0.saturating_sub(span.0))
    }
}

impl Serialize for Mono {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        if self.0.is_multiple_of(1000) { s.serialize_u64(self.0 / 1000) } else { s.serialize_f64(self.ms()) }
    }
}

impl<'de> Deserialize<'de> for Mono {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let ms = f64::deserialize(d)?;
        Mono::from_ms(ms).ok_or_else(|| serde::de::Error::custom(format!("t_ms: expected milliseconds, not negative, found {ms}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn milliseconds_keep_their_microseconds() {
        for us in [0, 1, 999, 1000, 1_234_567, 86_400_000_001, 4_000_000_000_000_123] {
            assert_eq!(Mono::from_ms(Mono(us).ms()), Some(Mono(us)), "{us}");
        }
        assert_eq!(Mono::from_ms(1.2349), Some(Mono(1234)));
        for bad in [-1.0, f64::NAN, f64::INFINITY, 1e300] {
            assert_eq!(Mono::from_ms(bad), None);
        }
    }

    #[test]
    fn whole_milliseconds_print_without_a_point() {
        assert_eq!(serde_json::to_string(&[Mono(2_000_000), Mono(2_000_500)]).ok().as_deref(), Some("[2000,2000.5]"));
    }
}
