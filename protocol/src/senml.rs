//! SenML packs (RFC 8428, JSON): base fields, resolution (section 4.6), sums, and all that must be refused.
//!
//! Only the RFC is here. Which names and units a node of ours may use is [`crate::intake`]'s.

use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use serde_json::{Map, Value};
use std::borrow::Cow;

/// The version of a pack that states none, and the highest that may be used (section 4.4).
pub const VERSION: u64 = 10;
/// Times below this are relative to the moment of receiving, from it on absolute, s (section 4.5.3).
pub const RELATIVE_BELOW_S: f64 = 268_435_456.0;

/// Why a pack is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("SenML record {record}, `{label}`: expected {expected}, found {found}")]
pub struct SenmlFault {
    /// Which record, from 1; 0 for the pack itself.
    pub record: usize,
    /// The label it is about.
    pub label: String,
    /// What would be right.
    pub expected: &'static str,
    /// What was there.
    pub found: String,
}

/// What a record carries.
#[derive(Clone, Debug, PartialEq)]
pub enum Datum<'a> {
    /// A number, base value added.
    Number(f64),
    /// A text.
    Text(&'a str),
    /// A truth value.
    Truth(bool),
    /// Bytes, base64 without padding, as sent.
    Bytes(&'a str),
}

/// One record with the base fields applied. Borrows from the pack.
#[derive(Clone, Debug, PartialEq)]
pub struct Record<'a> {
    /// Base name and name.
    pub name: Cow<'a, str>,
    /// Its own unit, else the base unit.
    pub unit: Option<&'a str>,
    /// Base time plus time as stated, s; see [`Record::at`]. None where the pack states neither.
    pub time_s: Option<f64>,
    /// Its value.
    pub value: Option<Datum<'a>>,
    /// False where `value` is the base value alone, the record's own `v` left out (section 4.5.4 takes it as zero).
    pub value_stated: bool,
    /// Its sum, base sum added.
    pub sum: Option<f64>,
    /// Within how many seconds the next one comes.
    pub update_s: Option<f64>,
    /// The pack's version.
    pub version: u64,
    /// Labels that the RFC does not know, as sent.
    pub others: Vec<(&'a str, &'a Value)>,
}

impl Record<'_> {
    /// When it was measured, s since 1970, if the pack was received at `now_s`.
    pub fn at(&self, now_s: f64) -> f64 {
        match self.time_s {
            None => now_s,
            Some(t) if t < RELATIVE_BELOW_S => now_s + t,
            Some(t) => t,
        }
    }

    /// The resolved record as JSON (section 4.6), for a pack received at `now_s`.
    pub fn resolved(&self, now_s: f64) -> Value {
        let mut out = Map::new();
        out.insert("n".into(), Value::from(self.name.as_ref()));
        if let Some(unit) = self.unit {
            out.insert("u".into(), Value::from(unit));
        }
        out.insert("t".into(), Value::from(self.at(now_s)));
        if self.version != VERSION {
            out.insert("bver".into(), Value::from(self.version));
        }
        match &self.value {
            None => None,
            Some(Datum::Number(v)) => out.insert("v".into(), Value::from(*v)),
            Some(Datum::Text(v)) => out.insert("vs".into(), Value::from(*v)),
            Some(Datum::Truth(v)) => out.insert("vb".into(), Value::from(*v)),
            Some(Datum::Bytes(v)) => out.insert("vd".into(), Value::from(*v)),
        };
        for (label, number) in [("s", self.sum), ("ut", self.update_s)] {
            if let Some(number) = number {
                out.insert(label.into(), Value::from(number));
            }
        }
        for &(label, value) in &self.others {
            out.insert(label.into(), value.clone());
        }
        Value::Object(out)
    }
}

/// Reads a pack and applies its base fields; the records come in the order of their times (section 4.6), those of one
/// time in the order of the pack. `now_s` is when it was received, s since 1970: it orders relative beside absolute times.
///
/// Errors: [`SenmlFault`]; the whole pack is refused, as the RFC has it.
pub fn read(pack: &Value, now_s: f64) -> Result<Vec<Record<'_>>, SenmlFault> {
    let Value::Array(entries) = pack else {
        return Err(fault(0, "pack", "an array of records (section 5)", &shown(pack)));
    };
    let mut bases = Bases::default();
    let mut records = Vec::with_capacity(entries.len());
    for (index, entry) in entries.iter().enumerate() {
        records.extend(bases.record(index + 1, entry)?);
    }
    if !records.is_sorted_by(|a, b| a.at(now_s) <= b.at(now_s)) {
        records.sort_by(|a, b| a.at(now_s).total_cmp(&b.at(now_s)));
    }
    Ok(records)
}

/// The base fields in force (section 4.1): each stands until a later record changes it.
#[derive(Default)]
struct Bases<'a> {
    name: &'a str,
    unit: Option<&'a str>,
    time_s: Option<f64>,
    value: Option<f64>,
    sum: Option<f64>,
    version: Option<u64>,
}

/// The fields of one entry, before the bases are applied.
#[derive(Default)]
struct Fields<'a> {
    name: Option<&'a str>,
    unit: Option<&'a str>,
    time_s: Option<f64>,
    number: Option<f64>,
    other_value: Option<Datum<'a>>,
    values: usize,
    sum: Option<f64>,
    update_s: Option<f64>,
    others: Vec<(&'a str, &'a Value)>,
}

impl Fields<'_> {
    fn only_bases(&self) -> bool {
        self.values == 0
            && self.others.is_empty()
            && (self.name, self.unit) == (None, None)
            && (self.time_s, self.sum, self.update_s) == (None, None, None)
    }
}

impl<'a> Bases<'a> {
    fn record(&mut self, at: usize, entry: &'a Value) -> Result<Option<Record<'a>>, SenmlFault> {
        let Value::Object(entry) = entry else {
            return Err(fault(at, "record", "an object (section 5)", &shown(entry)));
        };
        let mut fields = Fields::default();
        for (label, value) in entry {
            self.field(at, label, value, &mut fields)?;
        }
        // A pack has one version; one that is stated late must be what the records before it had.
        let version = *self.version.get_or_insert(VERSION);
        if fields.only_bases() {
            return Ok(None);
        }
        let sum = plus(at, "s", self.sum, fields.sum)?;
        let value_stated = fields.values > 0;
        let value = match fields.other_value {
            Some(other) if fields.values == 1 => Some(other),
            None if fields.values <= 1 => plus(at, "v", self.value, fields.number)?.map(Datum::Number),
            _ => return Err(fault(at, "v", "exactly one of v vs vb vd (section 4.2)", "more than one")),
        };
        if value.is_none() && sum.is_none() {
            return Err(fault(at, "v", "one of v vs vb vd, or a sum (section 4.2)", "none of them"));
        }
        Ok(Some(Record {
            name: self.full_name(at, fields.name)?,
            unit: fields.unit.or(self.unit),
            time_s: plus(at, "t", self.time_s, fields.time_s)?,
            value,
            value_stated,
            sum,
            update_s: fields.update_s,
            version,
            others: fields.others,
        }))
    }

    fn field(&mut self, at: usize, label: &'a str, value: &'a Value, fields: &mut Fields<'a>) -> Result<(), SenmlFault> {
        match label {
            "bn" => self.name = text(at, label, value)?,
            "bu" => self.unit = Some(text(at, label, value)?),
            "bt" => self.time_s = Some(number(at, label, value)?),
            "bv" => self.value = Some(number(at, label, value)?),
            "bs" => self.sum = Some(number(at, label, value)?),
            "bver" => self.version = Some(self.one_version(at, value)?),
            "n" => fields.name = Some(text(at, label, value)?),
            "u" => fields.unit = Some(text(at, label, value)?),
            "t" => fields.time_s = Some(number(at, label, value)?),
            "s" => fields.sum = Some(number(at, label, value)?),
            "ut" => fields.update_s = Some(number(at, label, value)?),
            "v" | "vs" | "vb" | "vd" => {
                fields.values += 1;
                match label {
                    "v" => fields.number = Some(number(at, label, value)?),
                    "vs" => fields.other_value = Some(Datum::Text(text(at, label, value)?)),
                    "vb" => fields.other_value = Some(Datum::Truth(truth(at, value)?)),
                    _ => fields.other_value = Some(Datum::Bytes(bytes(at, value)?)),
                }
            }
            _ if label.ends_with('_') => {
                return Err(fault(at, label, "no label that must be understood and is not (section 4.4)", &shown(value)));
            }
            _ => fields.others.push((label, value)),
        }
        Ok(())
    }

    fn one_version(&self, at: usize, value: &Value) -> Result<u64, SenmlFault> {
        let version = value.as_u64().filter(|v| (1..=VERSION).contains(v));
        let version = version.ok_or_else(|| fault(at, "bver", "a version from 1 to 10 (section 4.4)", &shown(value)))?;
        match self.version {
            Some(before) if before != version => {
                Err(fault(at, "bver", "the version of the records before (section 4.4)", &format!("{version} after {before}")))
            }
            _ => Ok(version),
        }
    }

    fn full_name(&self, at: usize, name: Option<&'a str>) -> Result<Cow<'a, str>, SenmlFault> {
        let full = match (self.name, name.unwrap_or_default()) {
            ("", name) => Cow::Borrowed(name),
            (base, "") => Cow::Borrowed(base),
            (base, name) => Cow::Owned(format!("{base}{name}")),
        };
        let allowed = |b: u8| b.is_ascii_alphanumeric() || b"-:./_".contains(&b);
        if full.bytes().next().is_some_and(|b| b.is_ascii_alphanumeric()) && full.bytes().all(allowed) {
            return Ok(full);
        }
        let expected = "a name of letters, digits and - : . / _ that begins with a letter or digit (section 4.5.1)";
        Err(fault(at, "n", expected, &format!("\"{}\"", cut(&full))))
    }
}

/// Base and own number, a missing one taken as zero (section 4.5); none where both are missing.
fn plus(at: usize, label: &str, base: Option<f64>, own: Option<f64>) -> Result<Option<f64>, SenmlFault> {
    if base.is_none() && own.is_none() {
        return Ok(None);
    }
    let sum = base.unwrap_or(0.0) + own.unwrap_or(0.0);
    if sum.is_finite() { Ok(Some(sum)) } else { Err(fault(at, label, "a finite number", "an endless one")) }
}

fn text<'a>(at: usize, label: &str, value: &'a Value) -> Result<&'a str, SenmlFault> {
    value.as_str().ok_or_else(|| fault(at, label, "a text (table 2)", &shown(value)))
}

fn number(at: usize, label: &str, value: &Value) -> Result<f64, SenmlFault> {
    let number = value.as_f64().filter(|n| n.is_finite());
    number.ok_or_else(|| fault(at, label, "a number (table 2)", &shown(value)))
}

fn truth(at: usize, value: &Value) -> Result<bool, SenmlFault> {
    value.as_bool().ok_or_else(|| fault(at, "vb", "true or false (table 2)", &shown(value)))
}

fn bytes(at: usize, value: &Value) -> Result<&str, SenmlFault> {
    let text = text(at, "vd", value)?;
    match BASE64_URL_SAFE_NO_PAD.decode(text) {
        Ok(_) => Ok(text),
        Err(_) => Err(fault(at, "vd", "base64 for URLs without padding (section 4.3)", &shown(value))),
    }
}

fn fault(record: usize, label: &str, expected: &'static str, found: &str) -> SenmlFault {
    SenmlFault { record, label: cut(label), expected, found: found.to_owned() }
}

fn shown(value: &Value) -> String {
    cut(&value.to_string())
}

fn cut(text: &str) -> String {
    text.chars().take(60).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now_ordered(text: &str) -> Result<Vec<Value>, String> {
        let pack: Value = serde_json::from_str(text).map_err(|e| e.to_string())?;
        let records = read(&pack, 1.5e9).map_err(|e| e.to_string())?;
        Ok(records.iter().map(|r| r.resolved(1.5e9)).collect())
    }

    /// Every `[[pack]]` and `[[refuse]]` of tests/checks/senml.toml, whose sources are RFC 8428 and its sections.
    #[test]
    fn the_published_packs() {
        let checks: toml::Table = toml::from_str(include_str!("../../tests/checks/senml.toml")).unwrap();
        let of = |key: &str| checks[key].as_array().unwrap().clone();
        for pack in of("pack") {
            let expected: Vec<Value> = serde_json::from_str(pack["resolved"].as_str().unwrap()).unwrap();
            let found = now_ordered(pack["pack"].as_str().unwrap()).unwrap();
            assert_eq!(pack["records"].as_integer(), Some(found.len() as i64), "{}", pack["id"]);
            for (found, expected) in found.iter().zip(&expected) {
                same(found, expected, &pack["id"].to_string());
            }
        }
        for pack in of("refuse") {
            let refused = now_ordered(pack["pack"].as_str().unwrap());
            assert!(refused.is_err(), "{}: {} but taken as {refused:?}", pack["id"], pack["why"]);
        }
    }

    /// Same labels, same texts; numbers to a nanosecond's worth of a Unix time (1 and 1.0 are one number).
    fn same(found: &Value, expected: &Value, id: &str) {
        let (found, expected) = (found.as_object().unwrap(), expected.as_object().unwrap());
        assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>(), "{id}");
        for (label, value) in found {
            match (value.as_f64(), expected[label].as_f64()) {
                (Some(f), Some(e)) => assert!((f - e).abs() <= 1e-12 * e.abs(), "{id} {label}: {f} is not {e}"),
                _ => assert_eq!(value, &expected[label], "{id} {label}"),
            }
        }
    }

    #[test]
    fn a_fault_names_record_and_label() {
        let check = |pack: &str, words: &[&str]| {
            let told = now_ordered(pack).unwrap_err();
            assert!(words.iter().all(|w| told.contains(w)), "{told} lacks one of {words:?}");
        };
        check(r#"[{"n":"a","v":1},{"n":"b","v":"1"}]"#, &["record 2", "`v`", "\"1\""]);
        check(r#"[{"n":"a","v":1},{"n":"b","v":null}]"#, &["record 2", "`v`", "null"]);
        check(r#"[{"n":"a","v":1},{"bver":5,"n":"b","v":1}]"#, &["record 2", "`bver`", "5 after 10"]);
        check(r#"[{"n":"a","bv":1e308,"v":1e308}]"#, &["record 1", "`v`", "finite"]);
        check(r#"[{"n":"a","v":1},7]"#, &["record 2", "object"]);
        check(r#"[{"n":"a","v":1,"vb":true,"s":1}]"#, &["record 1", "exactly one"]);
    }

    /// Section 4.5.4: with a base value in force a left-out value is the base alone; it is marked, for a missing reading
    /// must not become a number.
    #[test]
    fn a_base_value_alone_is_marked() {
        let pack: Value = serde_json::from_str(r#"[{"bv":7,"n":"a"},{"n":"b","v":1},{"n":"c","vs":"x"}]"#).unwrap();
        let records = read(&pack, 0.0).unwrap();
        let seen: Vec<_> = records.iter().map(|r| (r.value.clone(), r.value_stated)).collect();
        assert_eq!(seen, [(Some(Datum::Number(7.0)), false), (Some(Datum::Number(8.0)), true), (Some(Datum::Text("x")), true)]);
    }
}
