//! A TOML table that knows its place in the file, what it was asked for, and where to report mistakes.

use super::mistake::{Kind, Mistake, Mistakes};
use super::{nearest, shorten};
use crate::quantity::{self, Measure};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value with its place.
pub(super) type Value<'i> = Spanned<DeValue<'i>>;

/// One file being read: its text and the mistakes so far.
pub(super) struct Reader<'i> {
    file: &'i str,
    text: &'i str,
    mistakes: RefCell<Vec<Mistake>>,
    /// Lines that are no TOML: what else is found there is not told.
    broken: BTreeSet<usize>,
    /// Keys of the whole file, for one that slid into a table.
    top_keys: &'static [&'static str],
}

impl<'i> Reader<'i> {
    /// Parses the text; what is no TOML is already reported.
    pub(super) fn new(text: &'i str, file: &'i str, top_keys: &'static [&'static str]) -> (Self, Spanned<DeTable<'i>>) {
        let (table, errors) = DeTable::parse_recoverable(text);
        let mut reader = Reader { file, text, mistakes: RefCell::default(), broken: BTreeSet::new(), top_keys };
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            let (line, _) = reader.line_column(span.start);
            if reader.broken.insert(line) {
                let (kind, found, expected) = reader.syntax(line, error.message());
                reader.tell(kind, span, format!("line {line}"), found, expected);
            }
        }
        (reader, table)
    }

    /// Words for what the TOML parser did not take.
    fn syntax(&self, line: usize, message: &str) -> (Kind, String, String) {
        let text = self.text.lines().nth(line - 1).unwrap_or_default();
        if message.contains("duplicate key") {
            let key = text.split('=').next().unwrap_or_default().trim();
            return (Kind::DuplicateKey, format!("`{key}` a second time"), "each key once".into());
        }
        if let Some((key, value)) = text.split_once('=') {
            let value = value.split('#').next().unwrap_or_default().trim();
            let opens = value.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.'));
            if opens && value.contains(char::is_alphabetic) && !value.contains(['"', '\'']) {
                let right = format!("`{} = \"{value}\"`", key.trim());
                return (Kind::Unquoted, format!("`{value}` without quotes"), right);
            }
        }
        (Kind::Syntax, format!("`{}`, which is not TOML: {message}", shorten(text.trim())), "`key = value`, `[table]` or `[[list]]`".into())
    }

    /// Line and column of a byte, both from 1.
    fn line_column(&self, offset: usize) -> (usize, usize) {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }

    /// Reports a mistake.
    pub(super) fn tell(&self, kind: Kind, span: Range<usize>, place: String, found: impl Into<String>, expected: impl Into<String>) {
        let (line, column) = self.line_column(span.start);
        let length = self.text.get(span.clone()).map_or(0, |t| t.lines().next().unwrap_or_default().len());
        let (found, expected) = (found.into(), expected.into());
        self.mistakes.borrow_mut().push(Mistake { kind, line, column, offset: span.start, length, place, found, expected });
    }

    /// What was read, or all mistakes.
    pub(super) fn end<T>(self, value: Option<T>) -> Result<T, Mistakes> {
        let mut list = self.mistakes.into_inner();
        if !self.broken.is_empty() {
            let ours = |m: &Mistake| matches!(m.kind, Kind::Syntax | Kind::Unquoted | Kind::DuplicateKey);
            list.retain(|m| ours(m) || (!m.kind.is_absence() && !self.broken.contains(&m.line)));
        }
        // A key that slid into a table is told once, as that.
        let slid: Vec<String> = list.iter().filter(|m| m.kind == Kind::MisplacedKey).map(|m| m.found.clone()).collect();
        list.retain(|m| m.kind != Kind::MissingKey || !slid.contains(&format!("the key `{}`", m.place)));
        match value {
            Some(value) if list.is_empty() => Ok(value),
            _ => Err(Mistakes::new(self.file, self.text, list)),
        }
    }
}

/// A value in words, for a message.
pub(super) fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(s) if s.is_empty() => "an empty text".into(),
        DeValue::String(s) => format!("the text `{}`", shorten(s)),
        DeValue::Integer(i) => format!("the number {}", shorten(&i.to_string())),
        DeValue::Float(f) => format!("the number {}", shorten(&f.to_string())),
        DeValue::Boolean(b) => format!("`{b}`"),
        DeValue::Datetime(d) => format!("the time {d}"),
        DeValue::Array(_) => "a list".into(),
        DeValue::Table(_) => "a table".into(),
    }
}

/// One table.
pub(super) struct Tab<'r, 'i> {
    /// Where to report.
    pub(super) reader: &'r Reader<'i>,
    table: &'r DeTable<'i>,
    span: Range<usize>,
    /// The thing it describes: `tower B`; empty for the whole file.
    pub(super) place: String,
    asked: RefCell<BTreeSet<&'static str>>,
}

impl<'r, 'i> Tab<'r, 'i> {
    /// The table `table` that describes `place`.
    pub(super) fn new(reader: &'r Reader<'i>, table: &'r DeTable<'i>, span: Range<usize>, place: String) -> Self {
        Tab { reader, table, span, place, asked: RefCell::default() }
    }

    /// The value of a key.
    pub(super) fn get(&self, key: &'static str) -> Option<&'r Value<'i>> {
        self.asked.borrow_mut().insert(key);
        self.table.get(key)
    }

    /// Whether the key is there at all.
    pub(super) fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    /// Where the table stands.
    pub(super) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// `tower B, rated`.
    pub(super) fn named(&self, key: &str) -> String {
        if self.place.is_empty() { key.to_owned() } else { format!("{}, {key}", self.place) }
    }

    /// Reports a mistake at a key's value, or at the table where the key is not there.
    pub(super) fn wrong(&self, key: &str, kind: Kind, found: impl Into<String>, expected: impl Into<String>) {
        let span = self.table.get(key).map_or(self.span.clone(), Spanned::span);
        self.reader.tell(kind, span, self.named(key), found, expected);
    }

    /// Reports a mistake of the table as a whole.
    pub(super) fn wrong_whole(&self, kind: Kind, found: impl Into<String>, expected: impl Into<String>) {
        let place = if self.place.is_empty() { "the file".to_owned() } else { self.place.clone() };
        self.reader.tell(kind, self.span.clone(), place, found, expected);
    }

    /// Reports a missing key.
    pub(super) fn missing(&self, key: &str, expected: impl Into<String>) {
        self.wrong(key, Kind::MissingKey, "nothing", expected);
    }

    fn typed<T>(&self, key: &'static str, expected: &str, take: impl Fn(&'r DeValue<'i>) -> Option<T>) -> Option<T> {
        let value = self.get(key)?;
        let taken = take(value.get_ref());
        if taken.is_none() {
            self.wrong(key, Kind::WrongType, shown(value.get_ref()), expected);
        }
        taken
    }

    /// A text that is not empty.
    pub(super) fn text(&self, key: &'static str) -> Option<&'r str> {
        let text = self.typed(key, "a text in quotes", DeValue::as_str)?;
        if text.trim().is_empty() {
            self.wrong(key, Kind::Empty, "an empty text", "a text");
            return None;
        }
        Some(text)
    }

    /// A text that must be there.
    pub(super) fn need_text(&self, key: &'static str, example: &str) -> Option<&'r str> {
        if !self.has(key) {
            self.missing(key, format!("a text, as {example}"));
        }
        self.text(key)
    }

    /// True or false.
    pub(super) fn flag(&self, key: &'static str) -> Option<bool> {
        self.typed(key, "true or false, without quotes", DeValue::as_bool)
    }

    /// A plain number within bounds.
    pub(super) fn number(&self, key: &'static str, bounds: std::ops::RangeInclusive<f64>) -> Option<f64> {
        let expected = format!("a plain number from {} to {}, without quotes", bounds.start(), bounds.end());
        let number = self.typed(key, &expected, plain_number)?;
        if !bounds.contains(&number) {
            self.wrong(key, Kind::OutOfBounds, format!("{number}"), expected);
            return None;
        }
        Some(number)
    }

    /// A whole number within bounds.
    pub(super) fn whole(&self, key: &'static str, bounds: std::ops::RangeInclusive<i64>) -> Option<i64> {
        let expected = format!("a whole number from {} to {}, without quotes", bounds.start(), bounds.end());
        let number = self.typed(key, &expected, |v| v.as_integer().and_then(|i| i64::from_str_radix(i.as_str(), i.radix()).ok()))?;
        if !bounds.contains(&number) {
            self.wrong(key, Kind::OutOfBounds, format!("{number}"), expected);
            return None;
        }
        Some(number)
    }

    /// One of a closed set of words.
    pub(super) fn one_of(&self, key: &'static str, words: &[&'static str]) -> Option<&'static str> {
        let text = self.text(key)?;
        let hit = words.iter().find(|w| **w == text).copied();
        if hit.is_none() {
            self.wrong(key, Kind::UnknownWord, format!("`{}`", shorten(text)), choices(text, words.iter().copied()));
        }
        hit
    }

    /// A quantity.
    pub(super) fn quantity<Q: Measure>(&self, key: &'static str) -> Option<Q> {
        let value = self.get(key)?;
        quantity_of(self, key, value)
    }

    /// A quantity that must be there, with an example of its own.
    pub(super) fn need_as<Q: Measure>(&self, key: &'static str, example: &str) -> Option<Q> {
        if !self.has(key) {
            self.missing(key, format!("{}, as \"{example}\"", Q::WHAT));
        }
        self.quantity(key)
    }

    /// A quantity that must be there.
    pub(super) fn need<Q: Measure>(&self, key: &'static str) -> Option<Q> {
        self.need_as(key, Q::EXAMPLE)
    }

    /// Reports a quantity that is not above zero (or, with `zero`, below it); gives it back only if it is right.
    pub(super) fn above_zero<Q: Measure>(&self, key: &'static str, q: Option<Q>, zero: bool) -> Option<Q> {
        let q = q?;
        if q.si() > 0.0 || (zero && q.si() == 0.0) {
            return Some(q);
        }
        let least = if zero { "not below zero" } else { "above zero" };
        let found = self.get(key).map_or_else(|| "nothing".into(), |v| shown(v.get_ref()));
        self.wrong(key, Kind::OutOfBounds, found, format!("{}, {least}", Q::WHAT));
        None
    }

    /// A list; `None` where it is no list or not there.
    pub(super) fn list(&self, key: &'static str, expected: &str) -> Option<Vec<&'r Value<'i>>> {
        let list: Vec<_> = self.typed(key, expected, DeValue::as_array)?.iter().collect();
        if list.is_empty() {
            self.wrong(key, Kind::Empty, "an empty list", expected);
            return None;
        }
        Some(list)
    }

    /// A list of quantities; `None` unless all are right.
    pub(super) fn quantities<Q: Measure>(&self, key: &'static str) -> Option<Vec<Q>> {
        let list = self.list(key, &format!("a list of quantities, as [\"{}\"]", Q::EXAMPLE))?;
        let read: Vec<_> = list.into_iter().map(|v| quantity_of(self, key, v)).collect();
        read.into_iter().collect()
    }

    /// A table inside.
    pub(super) fn inner(&self, key: &'static str) -> Option<Tab<'r, 'i>> {
        let table = self.typed(key, "a table", DeValue::as_table)?;
        let span = self.get(key)?.span();
        Some(Tab::new(self.reader, table, span, self.named(key)))
    }

    /// A list of tables, as `[[key]]` writes it, each named by its `label` key or its number.
    pub(super) fn tables(&self, key: &'static str, label: &str) -> Vec<Tab<'r, 'i>> {
        let Some(list) = self.typed(key, &format!("a list of tables, each opened by [[{key}]]"), DeValue::as_array) else { return vec![] };
        let mut out = vec![];
        for (i, value) in list.iter().enumerate() {
            let Some(table) = value.get_ref().as_table() else {
                self.reader.tell(
                    Kind::WrongType,
                    value.span(),
                    self.named(key),
                    shown(value.get_ref()),
                    format!("a table opened by [[{key}]]"),
                );
                continue;
            };
            let name = table.get(label).and_then(|v| v.get_ref().as_str()).map_or_else(|| (i + 1).to_string(), shorten);
            out.push(Tab::new(self.reader, table, value.span(), self.named_part(key, &name)));
        }
        out
    }

    fn named_part(&self, key: &str, name: &str) -> String {
        if self.place.is_empty() { format!("{key} {name}") } else { format!("{}, {key} {name}", self.place) }
    }

    /// All keys as they stand, for tables whose keys are names (`map`, `channel`).
    pub(super) fn entries(&self) -> Vec<(&'r str, Range<usize>, &'r Value<'i>)> {
        self.table.iter().map(|(k, v)| (k.get_ref().as_ref(), k.span(), v)).collect()
    }

    /// Reports every key that was not asked for.
    pub(super) fn done(&self) {
        let asked = self.asked.borrow();
        for (key, value) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if asked.contains(name) {
                continue;
            }
            let quoted = format!("the key `{}`", shorten(name));
            let near = nearest(name, asked.iter().copied());
            let slid = !self.place.is_empty() && !value.get_ref().is_table() && self.reader.top_keys.contains(&name);
            let (kind, expected) = match near {
                _ if slid => {
                    (Kind::MisplacedKey, format!("`{name}` above the first [[ ]] or [ ] of the file: below one it belongs to that table"))
                }
                Some(near) => (Kind::UnknownKey, format!("perhaps `{near}`")),
                None => (Kind::UnknownKey, format!("one of {}", joined(asked.iter().copied()))),
            };
            self.reader.tell(
                kind,
                key.span(),
                if self.place.is_empty() { "the file".into() } else { self.place.clone() },
                quoted,
                expected,
            );
        }
    }
}

/// `a`, `b` or `c`.
pub(super) fn joined<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    words.into_iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")
}

/// The nearest word, or all of them.
pub(super) fn choices<'a>(text: &str, words: impl IntoIterator<Item = &'a str> + Clone) -> String {
    match nearest(text, words.clone()) {
        Some(near) => format!("perhaps `{near}` (one of {})", joined(words)),
        None => format!("one of {}", joined(words)),
    }
}

/// A quantity from one value, reported against its key.
pub(super) fn quantity_of<Q: Measure>(tab: &Tab<'_, '_>, key: &str, value: &Value<'_>) -> Option<Q> {
    let plain = format!("{}, as \"{}\"", Q::WHAT, Q::EXAMPLE);
    let Some(text) = value.get_ref().as_str() else {
        let number = plain_number(value.get_ref()).is_some();
        let (kind, found) = if number {
            (Kind::NoUnit, format!("{} without a unit", shown(value.get_ref())))
        } else {
            (Kind::WrongType, shown(value.get_ref()))
        };
        tab.reader.tell(kind, value.span(), tab.named(key), found, format!("{plain}, in quotes"));
        return None;
    };
    match quantity::read(text) {
        Ok(q) => Some(q),
        Err(fault) => {
            tab.reader.tell(fault.kind, value.span(), tab.named(key), fault.found, fault.expected);
            None
        }
    }
}

/// A number of either TOML type.
pub(super) fn plain_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(|i| i as f64),
        DeValue::Float(f) => f.as_str().parse().ok().filter(|f: &f64| f.is_finite()),
        _ => None,
    }
}
