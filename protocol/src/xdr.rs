//! NMEA 0183 XDR: sentences out of a stream of bytes, and transducer readings out of a sentence. Needs no std.
//!
//! A null field is "the transducer has nothing to say", never zero.

/// The longest sentence, `$` and CR LF included. Source: NMEA 0183, in tests/checks/nmea.toml.
pub const MAX_SENTENCE: usize = 82;

/// Why a sentence is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum XdrFault<'a> {
    /// The stated sum is not that of the characters.
    #[error("checksum {stated:02X}, expected {worked_out:02X}")]
    WrongSum {
        /// As sent.
        stated: u8,
        /// As it should be.
        worked_out: u8,
    },
    /// Longer than the standard allows.
    #[error("{found} characters, expected at most {MAX_SENTENCE} with CR LF")]
    TooLong {
        /// Its length with CR LF.
        found: usize,
    },
    /// It does not begin with `$`.
    #[error("expected `$` at the start")]
    NoStart,
    /// It does not end in `*` and two hexadecimal digits.
    #[error("expected `*` and two hexadecimal digits at the end")]
    NoSum,
    /// A character outside printable ASCII, or a second `$` or `*`.
    #[error("byte {at}: expected a printable character that is neither `$` nor `*`")]
    BadCharacter {
        /// Where, from 0.
        at: usize,
    },
    /// Another sentence than XDR.
    #[error("sentence {tag}, expected two letters and XDR")]
    NotXdr {
        /// Its tag.
        tag: &'a str,
    },
}

/// A checked XDR sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sentence<'a> {
    /// The talker, two letters.
    pub talker: &'a str,
    fields: &'a str,
}

/// One transducer's group of four fields, as sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quad<'a> {
    /// Type letter.
    pub kind: &'a str,
    /// Number, or empty.
    pub value: &'a str,
    /// Unit letter, or empty.
    pub unit: &'a str,
    /// Name.
    pub name: &'a str,
}

/// Why a group of four is not a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QuadFault<'a> {
    /// Fields are missing or one too many stands before: the groups have shifted.
    #[error("`{kind},{value},{unit},{name}` is no group of type letter, number, unit letter and name", kind = .0.kind, value = .0.value, unit = .0.unit, name = .0.name)]
    Shifted(Quad<'a>),
    /// The value is not a number.
    #[error("`{name}`: value `{value}`, expected a number", name = .0.name, value = .0.value)]
    NotANumber(Quad<'a>),
}

impl<'a> Sentence<'a> {
    /// Checks a sentence (with or without its CR LF).
    ///
    /// Errors: [`XdrFault`].
    pub fn parse(text: &'a str) -> Result<Self, XdrFault<'a>> {
        let text = text.strip_suffix('\n').unwrap_or(text);
        let text = text.strip_suffix('\r').unwrap_or(text);
        let body = text.strip_prefix('$').ok_or(XdrFault::NoStart)?;
        if text.len() + 2 > MAX_SENTENCE {
            return Err(XdrFault::TooLong { found: text.len() + 2 });
        }
        let (body, sum) = body.split_once('*').ok_or(XdrFault::NoSum)?;
        let hex = sum.len() == 2 && sum.bytes().all(|b| b.is_ascii_hexdigit());
        let stated = u8::from_str_radix(sum, 16).ok().filter(|_| hex).ok_or(XdrFault::NoSum)?;
        if let Some(at) = body.bytes().position(|b| !(b' '..=b'~').contains(&b) || b == b'$') {
            return Err(XdrFault::BadCharacter { at: at + 1 });
        }
        let worked_out = checksum(body);
        if stated != worked_out {
            return Err(XdrFault::WrongSum { stated, worked_out });
        }
        let (tag, fields) = body.split_once(',').unwrap_or((body, ""));
        match tag.strip_suffix("XDR") {
            Some(talker) if talker.len() == 2 => Ok(Sentence { talker, fields }),
            _ => Err(XdrFault::NotXdr { tag }),
        }
    }

    /// Its complete groups of four, as sent.
    pub fn quads(&self) -> impl Iterator<Item = Quad<'a>> + use<'a> {
        let mut fields = self.fields.split(',');
        core::iter::from_fn(move || Some(Quad { kind: fields.next()?, value: fields.next()?, unit: fields.next()?, name: fields.next()? }))
    }

    /// How many fields are left over after the last complete group.
    pub fn stray(&self) -> usize {
        if self.fields.is_empty() { 0 } else { self.fields.split(',').count() % 4 }
    }

    /// Its readings: name, type and unit letters, and the number or nothing. Ends at the first group that shows that
    /// the fields have shifted: what stands after it cannot be told from chance.
    pub fn readings(&self) -> impl Iterator<Item = Result<(Quad<'a>, Option<f64>), QuadFault<'a>>> + use<'a> {
        let mut shifted = false;
        self.quads().map_while(move |quad| {
            if shifted {
                return None;
            }
            let reading = quad.reading();
            shifted = matches!(reading, Err(QuadFault::Shifted(_)));
            Some(reading.map(|value| (quad, value)))
        })
    }
}

impl<'a> Quad<'a> {
    fn reading(self) -> Result<Option<f64>, QuadFault<'a>> {
        let letter = |text: &str| text.len() == 1 && text.bytes().all(|b| b.is_ascii_uppercase());
        if !letter(self.kind) || !(self.unit.is_empty() || letter(self.unit)) || self.name.is_empty() {
            return Err(QuadFault::Shifted(self));
        }
        match self.value {
            "" => Ok(None),
            value => number(value).map(Some).ok_or(QuadFault::NotANumber(self)),
        }
    }
}

/// A number as NMEA 0183 writes it: sign, digits, one point. (`parse` alone would take `inf`, `nan` and `1e5`.)
fn number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') && digits.bytes().any(|b| b.is_ascii_digit());
    text.parse::<f64>().ok().filter(|n| plain && n.is_finite())
}

/// XOR of all characters between `$` and `*`.
pub fn checksum(body: &str) -> u8 {
    body.bytes().fold(0, |sum, b| sum ^ b)
}

/// What a stream of bytes holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Frame<'a> {
    /// A line that begins with `$`, without its end; not yet checked.
    Sentence(&'a str),
    /// Anything else, at most [`MAX_SENTENCE`] bytes at a time.
    Noise(&'a [u8]),
}

/// Finds sentences in a stream, however it is cut. Keeps at most one sentence's worth of bytes.
#[derive(Clone, Debug)]
pub struct Framer {
    held: [u8; MAX_SENTENCE],
    len: usize,
}

impl Default for Framer {
    fn default() -> Self {
        Framer { held: [0; MAX_SENTENCE], len: 0 }
    }
}

impl Framer {
    /// Takes what came; calls `each` for every frame that is whole now.
    pub fn feed(&mut self, bytes: &[u8], mut each: impl FnMut(Frame<'_>)) {
        for &byte in bytes {
            match byte {
                b'\r' | b'\n' => self.end(&mut each),
                b'$' => {
                    self.noise(&mut each);
                    self.hold(byte);
                }
                _ if self.len == MAX_SENTENCE => {
                    self.noise(&mut each);
                    self.hold(byte);
                }
                _ => self.hold(byte),
            }
        }
    }

    /// The stream has broken off: what is held will not be completed.
    pub fn broken(&mut self, mut each: impl FnMut(Frame<'_>)) {
        self.noise(&mut each);
    }

    fn hold(&mut self, byte: u8) {
        self.held[self.len] = byte;
        self.len += 1;
    }

    fn end(&mut self, each: &mut impl FnMut(Frame<'_>)) {
        let held = &self.held[..self.len];
        match core::str::from_utf8(held) {
            Ok(text) if text.starts_with('$') => {
                each(Frame::Sentence(text));
                self.len = 0;
            }
            _ => self.noise(each),
        }
    }

    fn noise(&mut self, each: &mut impl FnMut(Frame<'_>)) {
        if self.len > 0 {
            each(Frame::Noise(&self.held[..self.len]));
        }
        self.len = 0;
    }
}

#[cfg(test)]
#[path = "xdr_tests.rs"]
mod tests;
