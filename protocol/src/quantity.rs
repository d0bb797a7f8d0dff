//! Quantities as people write them: `"500 lb"`, `"1 1/8 in"`, `"6 ft 6 in"`, `"1.7 MN m2"`, `"0.62 kg/m"`.
//!
//! A text is one or more numbers, each with its unit; the unit is a product of known symbols with small powers, so what
//! a unit measures is worked out, not listed. Where a force is meant and a mass is written, it is weighed with standard
//! gravity. Nothing is guessed: no number, no unit, an unknown unit and a wrong measure each have their own answer.

use crate::files::{Kind, shorten};
use crate::units::*;

mod symbols;
use symbols::{AMBIGUOUS, SYMBOLS};

/// Powers of mass, length, time, angle, voltage that a unit is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dims(pub [i8; 5]);

impl Dims {
    const NONE: Dims = Dims([0; 5]);
    const LENGTH: Dims = Dims([0, 1, 0, 0, 0]);
    const TIME: Dims = Dims([0, 0, 1, 0, 0]);
    const ANGLE: Dims = Dims([0, 0, 0, 1, 0]);
    const VOLTAGE: Dims = Dims([0, 0, 0, 0, 1]);
    const FORCE: Dims = Dims([1, 1, -2, 0, 0]);
    const FORCE_PER_LENGTH: Dims = Dims([1, 0, -2, 0, 0]);
    const RIGIDITY: Dims = Dims([1, 3, -2, 0, 0]);
    const SPEED: Dims = Dims([0, 1, -1, 0, 0]);
    const PER_TIME: Dims = Dims([0, 0, -1, 0, 0]);

    fn times(self, other: Dims, power: i8) -> Option<Dims> {
        let mut out = self;
        for (mine, theirs) in out.0.iter_mut().zip(other.0) {
            *mine = mine.checked_add(theirs.checked_mul(power)?)?;
        }
        Some(out)
    }

    /// What these powers measure, for a message.
    fn name(self) -> &'static str {
        match self.0 {
            [0, 0, 0, 0, 0] => "a share",
            [1, 0, 0, 0, 0] => "a mass",
            [1, 1, -2, 0, 0] => "a force",
            [0, 1, 0, 0, 0] => "a length",
            [0, 0, 1, 0, 0] => "a time",
            [0, 0, 0, 1, 0] => "an angle",
            [0, 0, 0, 0, 1] => "a voltage",
            [1, -1, 0, 0, 0] => "a mass per length",
            [1, 0, -2, 0, 0] => "a force per length",
            [1, 3, -2, 0, 0] => "a stiffness in bending or torsion",
            [0, 1, -1, 0, 0] => "a speed",
            [0, 0, -1, 0, 0] => "a rate",
            [0, 2, 0, 0, 0] => "an area",
            [1, 2, -2, 0, 0] => "a moment",
            [1, -1, -2, 0, 0] => "a pressure",
            _ => "something else",
        }
    }
}

/// A number with its unit resolved: value in SI (kg, m, s, rad, V), and what it measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// Value in SI base units; radian for angles.
    pub si: f64,
    /// What it measures.
    pub dims: Dims,
}

/// Why a text is not the quantity that is meant.
#[derive(Clone, Debug, PartialEq)]
pub struct QuantityFault {
    /// Which kind of mistake.
    pub kind: Kind,
    /// What was found.
    pub found: String,
    /// What would be right, without the example.
    pub expected: String,
}

/// A rate in hertz.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Frequency(pub f64);
/// A plain share: `"5 %"` is 0.05.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Share(pub f64);

/// A type of `units.rs` that can be read from text.
pub trait Measure: Copy {
    /// What it measures, for a message: `a length`.
    const WHAT: &'static str;
    /// A right way to write it.
    const EXAMPLE: &'static str;
    /// The powers it is made of.
    const DIMS: Dims;
    /// Beyond this (SI) it is a slip of the pen, not a lift.
    const LARGEST: f64;
    /// Whether a mass (or a mass per length) is weighed with standard gravity.
    const WEIGHED: bool = false;
    /// From SI.
    fn from_si(si: f64) -> Self;
    /// To SI.
    fn si(self) -> f64;
}

macro_rules! measure {
    ($($name:ident $what:literal $example:literal $dims:ident $largest:literal $weighed:literal;)+) => {$(
        impl Measure for $name {
            const WHAT: &'static str = $what;
            const EXAMPLE: &'static str = $example;
            const DIMS: Dims = Dims::$dims;
            const LARGEST: f64 = $largest;
            const WEIGHED: bool = $weighed;
            fn from_si(si: f64) -> Self { $name(si) }
            fn si(self) -> f64 { self.0 }
        }
    )+};
}

measure! {
    Force "a weight or force" "500 lb" FORCE 1e7 true;
    Length "a length" "1.2 m" LENGTH 1e3 false;
    Angle "an angle" "0.5 deg" ANGLE 6.4 false;
    LineLoad "a weight per length" "8.5 kg/m" FORCE_PER_LENGTH 1e6 true;
    Speed "a speed" "25 mm/s" SPEED 10.0 false;
    Stiffness "a stiffness" "100 N/mm" FORCE_PER_LENGTH 1e12 true;
    Rigidity "a bending or torsional stiffness" "1.7 MN m2" RIGIDITY 1e12 true;
    Voltage "a voltage" "3.6 V" VOLTAGE 1e3 false;
    Duration "a time" "3 s" TIME 1e8 false;
    Frequency "a rate" "20 Hz" PER_TIME 1e4 false;
    Share "a share" "5 %" NONE 10.0 false;
}

/// Reads a quantity of the given measure.
///
/// # Errors
/// Says what was found and what would be right.
pub fn read<Q: Measure>(text: &str) -> Result<Q, QuantityFault> {
    let q = parse(text).map_err(|fault| fault.with_example::<Q>())?;
    let si = if q.dims == Q::DIMS {
        q.si
    } else if Q::WEIGHED && q.dims.times(Dims([0, 1, -2, 0, 0]), 1) == Some(Q::DIMS) {
        q.si * STANDARD_GRAVITY
    } else {
        let found = format!("`{}`, {}", shorten(text.trim()), q.dims.name());
        return Err(QuantityFault { kind: Kind::WrongDimension, found, expected: String::new() }.with_example::<Q>());
    };
    if si.abs() > Q::LARGEST {
        return Err(QuantityFault {
            kind: Kind::TooLarge,
            found: format!("`{}`, more than any lift has", shorten(text.trim())),
            expected: String::new(),
        }
        .with_example::<Q>());
    }
    Ok(Q::from_si(si))
}

impl QuantityFault {
    fn new(kind: Kind, found: impl Into<String>, expected: impl Into<String>) -> Self {
        QuantityFault { kind, found: found.into(), expected: expected.into() }
    }
    fn with_example<Q: Measure>(mut self) -> Self {
        let plain = format!("{}, as \"{}\"", Q::WHAT, Q::EXAMPLE);
        self.expected = if self.expected.is_empty() { plain } else { format!("{}: {plain}", self.expected) };
        self
    }
}

/// Reads one or more numbers with units; they add up (`"6 ft 6 in"`).
///
/// # Errors
/// Where there is no number, no unit, an unknown or ambiguous unit, units that do not add, or no finite value.
pub fn parse(text: &str) -> Result<Quantity, QuantityFault> {
    let trimmed = text.trim();
    let shown = shorten(trimmed);
    if trimmed.is_empty() {
        return Err(QuantityFault::new(Kind::Empty, "an empty text", ""));
    }
    let mut rest = trimmed;
    let mut total: Option<(Quantity, f64, f64)> = None; // sum, sign, size of the last unit
    while !rest.is_empty() {
        let (number, after) = number(rest).ok_or_else(|| no_number(trimmed))?;
        let (unit_text, next) = split_unit(after);
        if unit_text.trim().is_empty() {
            return Err(QuantityFault::new(Kind::NoUnit, format!("`{shown}` without a unit"), "a number and its unit"));
        }
        let (size, dims) = unit(unit_text.trim())?;
        total = Some(match total {
            None => (Quantity { si: number * size, dims }, if rest.starts_with(['-', '−']) { -1.0 } else { 1.0 }, size),
            Some((sum, sign, last)) => {
                if sum.dims != dims || number < 0.0 || rest.starts_with(['+', '-', '−']) || size >= last {
                    let found = format!("`{shown}`, whose parts do not add up");
                    return Err(QuantityFault::new(Kind::NotAdding, found, "the larger unit first, then the smaller of the same measure"));
                }
                (Quantity { si: sum.si + sign * number * size, dims }, sign, size)
            }
        });
        rest = next.trim_start();
    }
    match total {
        Some((q, ..)) if q.si.is_finite() => Ok(q),
        Some(_) => Err(QuantityFault::new(Kind::NotFinite, format!("`{shown}`, which is no finite number"), "a number and its unit")),
        None => Err(no_number(trimmed)),
    }
}

fn no_number(text: &str) -> QuantityFault {
    if text.chars().zip(text.chars().skip(1)).any(|(a, b)| a.is_ascii_digit() && b == ',') {
        return QuantityFault::new(
            Kind::Comma,
            format!("`{}` with a comma", shorten(text)),
            "a point for decimals, nothing between thousands",
        );
    }
    QuantityFault::new(Kind::NoNumber, format!("`{}`, which is no number with a unit", shorten(text)), "a number and its unit")
}

/// A signed number at the start: decimal, fraction or mixed (`1 1/8`), and what follows. `None` where there is none.
fn number(text: &str) -> Option<(f64, &str)> {
    let (sign, text) = match text.chars().next()? {
        c @ ('-' | '−') => (-1.0, text[c.len_utf8()..].trim_start()),
        '+' => (1.0, text[1..].trim_start()),
        _ => (1.0, text),
    };
    if let Some((value, rest)) = fraction(text) {
        return Some((sign * value, rest));
    }
    let (value, rest) = decimal(text)?;
    if rest.starts_with(',') {
        return None;
    }
    let whole = !text[..text.len() - rest.len()].contains(['.', 'e', 'E']);
    let mixed = whole && (rest.starts_with(char::is_whitespace) || rest.starts_with(['½', '¼', '¾', '⅛', '⅜', '⅝', '⅞']));
    if mixed && let Some((part, after)) = fraction(rest.trim_start()) {
        return Some((sign * (value + part), after));
    }
    Some((sign * value, rest))
}

fn decimal(text: &str) -> Option<(f64, &str)> {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let mut end = digits(0);
    let mut count = end;
    if bytes.get(end) == Some(&b'.') {
        let after = digits(end + 1);
        count += after;
        end += 1 + after;
    }
    if count == 0 {
        return None;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = bytes.get(end + 1 + sign..).map_or(0, |_| digits(end + 1 + sign));
        if exponent > 0 {
            end += 1 + sign + exponent;
        }
    }
    Some((text[..end].parse().ok()?, &text[end..]))
}

/// `1/8` or `⅛`, not followed by another digit or point.
fn fraction(text: &str) -> Option<(f64, &str)> {
    const GLYPHS: [(char, f64); 7] = [('½', 0.5), ('¼', 0.25), ('¾', 0.75), ('⅛', 0.125), ('⅜', 0.375), ('⅝', 0.625), ('⅞', 0.875)];
    let first = text.chars().next()?;
    if let Some((glyph, value)) = GLYPHS.iter().find(|(g, _)| *g == first) {
        return Some((*value, &text[glyph.len_utf8()..]));
    }
    let (over, under) = text.split_once('/')?;
    let over: u32 = over.parse().ok().filter(|_| over.bytes().all(|b| b.is_ascii_digit()))?;
    let end = under.bytes().take_while(u8::is_ascii_digit).count();
    let value: u32 = under[..end].parse().ok().filter(|v| *v > 0)?;
    Some((f64::from(over) / f64::from(value), &under[end..]))
}

/// Splits after the unit: the next number starts a new part, where a blank, a prime or a quote stands before it.
fn split_unit(text: &str) -> (&str, &str) {
    let mut before = ' ';
    for (i, c) in text.char_indices() {
        let opens = c.is_ascii_digit() || "½¼¾⅛⅜⅝⅞".contains(c) || (matches!(c, '+' | '-' | '−' | '.') && before.is_whitespace());
        if i > 0 && opens && (before.is_whitespace() || matches!(before, '\'' | '"' | '′' | '″')) {
            return text.split_at(i);
        }
        before = c;
    }
    (text, "")
}

/// Size in SI and measure of a unit: symbols with powers, joined by blanks, `·`, `*`, `/` or `per`.
fn unit(text: &str) -> Result<(f64, Dims), QuantityFault> {
    let spelled = text.replace("short ton", "short-ton").replace("long ton", "long-ton").replace("metric ton", "tonne");
    // "kNm2" as data sheets print it is a kilonewton times a square metre.
    let spelled = spelled.replace("Nm", "N m").replace('/', " / ").replace(['·', '*', '⋅'], " ");
    let (mut size, mut dims, mut under, mut last) = (1.0, Dims::NONE, false, "");
    for word in spelled.split_whitespace() {
        last = word;
        if word == "/" || word == "per" {
            if under {
                break;
            }
            under = true;
            continue;
        }
        let (symbol, power) = power(word).ok_or_else(|| unknown(text, word))?;
        let (one, of) = symbol_of(text, symbol)?;
        let power = if under { -power } else { power };
        size *= f64::powi(one, i32::from(power));
        dims = dims.times(of, power).ok_or_else(|| unknown(text, word))?;
        under = false;
    }
    if under { Err(unknown(text, last)) } else { Ok((size, dims)) }
}

fn symbol_of(text: &str, symbol: &str) -> Result<(f64, Dims), QuantityFault> {
    if let Some((_, right)) = AMBIGUOUS.iter().find(|(s, _)| *s == symbol) {
        return Err(QuantityFault::new(Kind::AmbiguousUnit, format!("`{symbol}`, which may mean several units"), *right));
    }
    let hit = SYMBOLS.iter().find(|(names, ..)| names.contains(&symbol));
    hit.map(|(_, size, dims)| (*size, Dims(*dims))).ok_or_else(|| unknown(text, symbol))
}

/// Symbol and power of one factor: `m2`, `m^2`, `m²`, `s-1`.
fn power(word: &str) -> Option<(&str, i8)> {
    let end = word.find(|c: char| c.is_ascii_digit() || "^²³⁻-".contains(c) && !word.contains("-ton")).unwrap_or(word.len());
    let (symbol, tail) = word.split_at(end);
    let power = match tail {
        "" => 1,
        "²" => 2,
        "³" => 3,
        "⁻¹" => -1,
        "⁻²" => -2,
        other => other.trim_start_matches('^').parse().ok().filter(|p: &i8| (-4..=4).contains(p) && *p != 0)?,
    };
    (!symbol.is_empty()).then_some((symbol, power))
}

fn unknown(text: &str, word: &str) -> QuantityFault {
    let names = SYMBOLS.iter().flat_map(|(names, ..)| names.iter().copied());
    let near = crate::files::nearest(word, names).map_or_else(String::new, |near| format!("perhaps `{near}`"));
    let found = if text == word {
        format!("unit `{}`, which is not known", shorten(word))
    } else {
        format!("`{}` in unit `{}`, which is not known", shorten(word), shorten(text))
    };
    QuantityFault::new(Kind::UnknownUnit, found, near)
}

#[cfg(test)]
mod tests;
