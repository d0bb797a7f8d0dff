//! Reads how level it must stay: `tolerance`, its tables per step, and what a named person changed.

use super::mistake::Kind;
use super::shorten;
use super::table::{Tab, Value, choices, joined, shown};
use crate::plan::{Limits, LoadLimit, Override, RakeLimit, Row, Tolerance, ToleranceRows};
use crate::quantity::{self, Share};
use crate::units::{Angle, Force, Length};
use crate::words::Step;

/// Rake that is never exceeded (docs/trade.md section 4: common practice, no source).
pub const NEVER_EXCEED_RAKE_DEG: f64 = 2.0;

const ROWS: [&str; 7] = ["rake", "line", "twist", "lean", "roll", "share", "total"];

/// A kind of limit that a row may hold.
trait Limit: Copy {
    const WHAT: &'static str;
    fn from_text(text: &str) -> Result<Self, quantity::QuantityFault>;
    /// Size in its own measure, and which of its measures it is.
    fn size(self) -> (f64, u8);
    /// Its size over what is never exceeded, where there is such a thing. `reach` is the distance of the heads farthest apart, m.
    fn of_never_exceed(self, _reach: Option<Length>) -> Option<f64> {
        None
    }
}

impl Limit for RakeLimit {
    const WHAT: &'static str = "a height or a slope, as \"50 mm\" or \"0.5 deg\"";
    fn from_text(text: &str) -> Result<Self, quantity::QuantityFault> {
        quantity::read::<Angle>(text).map(RakeLimit::Slope).or_else(|_| quantity::read::<Length>(text).map(RakeLimit::Height))
    }
    fn size(self) -> (f64, u8) {
        match self {
            RakeLimit::Height(h) => (h.0, 0),
            RakeLimit::Slope(a) => (a.0, 1),
        }
    }
    fn of_never_exceed(self, reach: Option<Length>) -> Option<f64> {
        let most = Angle::from_deg(NEVER_EXCEED_RAKE_DEG);
        match self {
            RakeLimit::Height(h) => reach.map(|reach| h.0 / (reach.0 * most.0.sin())),
            RakeLimit::Slope(a) => Some(a.0 / most.0),
        }
    }
}

impl Limit for LoadLimit {
    const WHAT: &'static str = "a weight or a share of the whole, as \"10 kg\" or \"5 %\"";
    fn from_text(text: &str) -> Result<Self, quantity::QuantityFault> {
        quantity::read::<Share>(text).map(|s| LoadLimit::Share(s.0)).or_else(|_| quantity::read::<Force>(text).map(LoadLimit::Force))
    }
    fn size(self) -> (f64, u8) {
        match self {
            LoadLimit::Force(f) => (f.0, 0),
            LoadLimit::Share(s) => (s, 1),
        }
    }
}

impl Limit for Length {
    const WHAT: &'static str = "a height, as \"10 mm\"";
    fn from_text(text: &str) -> Result<Self, quantity::QuantityFault> {
        quantity::read(text)
    }
    fn size(self) -> (f64, u8) {
        (self.0, 0)
    }
}

impl Limit for Angle {
    const WHAT: &'static str = "an angle, as \"0.3 deg\"";
    fn from_text(text: &str) -> Result<Self, quantity::QuantityFault> {
        quantity::read(text)
    }
    fn size(self) -> (f64, u8) {
        (self.0, 0)
    }
}

/// `"from-statics"`, tables, or docs/trade.md section 4's rows where nothing is stated.
pub(super) fn read_tolerance(top: &Tab<'_, '_>, reach: Option<Length>) -> Option<Tolerance> {
    let expected = "\"from-statics\" or a table [tolerance]";
    let Some(value) = top.get("tolerance") else {
        return Some(Tolerance::Typed { all: ToleranceRows::default(), steps: vec![] });
    };
    if let Some(text) = value.get_ref().as_str() {
        if text == "from-statics" {
            return Some(Tolerance::FromStatics);
        }
        top.wrong("tolerance", Kind::UnknownWord, format!("`{}`", shorten(text)), expected);
        return None;
    }
    if !value.get_ref().is_table() {
        top.wrong("tolerance", Kind::WrongType, shown(value.get_ref()), expected);
        return None;
    }
    let tab = top.inner("tolerance")?;
    let all = rows(&tab, reach);
    let mut steps = vec![];
    for step in Step::ALL {
        if let Some(inner) = tab.inner(step.word()) {
            steps.push((*step, rows(&inner, reach)));
            inner.done();
        }
    }
    tab.done();
    Some(Tolerance::Typed { all, steps })
}

fn rows(tab: &Tab<'_, '_>, reach: Option<Length>) -> ToleranceRows {
    ToleranceRows {
        rake: row(tab, "rake", reach),
        line: row(tab, "line", reach),
        twist: row(tab, "twist", reach),
        lean: row(tab, "lean", reach),
        roll: row(tab, "roll", reach),
        share: row(tab, "share", reach),
        total: row(tab, "total", reach),
    }
}

fn row<L: Limit>(tab: &Tab<'_, '_>, key: &'static str, reach: Option<Length>) -> Row<L> {
    let expected = format!("{{ warn, stop, clear }} with {}, or \"none\"", L::WHAT);
    let Some(value) = tab.get(key) else { return Row::Default };
    match value.get_ref().as_str() {
        Some("none") => return Row::Off,
        Some(text) => {
            tab.wrong(key, Kind::UnknownWord, format!("`{}`", shorten(text)), expected);
            return Row::Default;
        }
        None if !value.get_ref().is_table() => {
            tab.wrong(key, Kind::WrongType, shown(value.get_ref()), expected);
            return Row::Default;
        }
        None => {}
    }
    let Some(inner) = tab.inner(key) else { return Row::Default };
    if !inner.has("warn") {
        inner.missing("warn", L::WHAT);
    }
    let warn = limit::<L>(&inner, "warn", reach);
    let stop = limit::<L>(&inner, "stop", reach);
    let clear = inner.quantity::<Share>("clear");
    if let Some(clear) = clear
        && !(0.0..1.0).contains(&clear.0)
    {
        inner.wrong("clear", Kind::OutOfBounds, format!("{} %", clear.0 * 100.0), "a share of each limit from 0 % to below 100 %");
    }
    inner.done();
    if let (Some(warn), Some(stop)) = (warn, stop) {
        let (w, s) = (warn.size(), stop.size());
        if w.1 != s.1 {
            inner.wrong("stop", Kind::MixedLimits, "warn and stop in different measures", "both in the same");
        } else if w.0 >= s.0 {
            inner.wrong("warn", Kind::WarnOverStop, "a warn limit not below the stop limit", "a warn limit below the stop limit");
        }
    }
    warn.map_or(Row::Default, |warn| Row::Typed(Limits { warn, stop, clear: clear.map_or(0.60, |c| c.0) }))
}

fn limit<L: Limit>(tab: &Tab<'_, '_>, key: &'static str, reach: Option<Length>) -> Option<L> {
    let value = tab.get(key)?;
    let limit = limit_of::<L>(tab, key, value)?;
    if limit.of_never_exceed(reach).is_some_and(|over| over > 1.0 + 1e-9) {
        let found = format!("{}, past what is never exceeded", shown(value.get_ref()));
        tab.wrong(key, Kind::PastNeverExceed, found, never_exceed(reach));
        return None;
    }
    Some(limit)
}

fn never_exceed(reach: Option<Length>) -> String {
    let mm =
        reach.map_or(String::new(), |r| format!(" ({:.0} mm between the outer heads)", r.mm() * NEVER_EXCEED_RAKE_DEG.to_radians().sin()));
    format!("at most {NEVER_EXCEED_RAKE_DEG} deg{mm}")
}

fn limit_of<L: Limit>(tab: &Tab<'_, '_>, key: &str, value: &Value<'_>) -> Option<L> {
    let Some(text) = value.get_ref().as_str() else {
        tab.wrong(
            key,
            if value.get_ref().is_integer() || value.get_ref().is_float() { Kind::NoUnit } else { Kind::WrongType },
            shown(value.get_ref()),
            L::WHAT,
        );
        return None;
    };
    match L::from_text(text) {
        Ok(limit) if limit.size().0 > 0.0 => Some(limit),
        Ok(_) => {
            tab.wrong(key, Kind::OutOfBounds, shown(value.get_ref()), format!("{}, above zero", L::WHAT));
            None
        }
        Err(fault) => {
            tab.wrong(key, fault.kind, fault.found, L::WHAT);
            None
        }
    }
}

/// Limits changed by a named person.
pub(super) fn read_overrides(top: &Tab<'_, '_>, reach: Option<Length>) -> Option<Vec<Override>> {
    let read: Vec<_> = top.tables("override", "limit").iter().map(|tab| read_override(tab, reach)).collect();
    read.into_iter().collect()
}

fn read_override(tab: &Tab<'_, '_>, reach: Option<Length>) -> Option<Override> {
    let limit_name = tab.need_text("limit", "\"raise.rake.stop\"");
    let value = tab.need_text("value", "\"120 mm\"");
    let by = tab.need_text("by", "\"Mara\"");
    let reason = tab.need_text("reason", "\"long span\"");
    tab.done();
    let row = row_of(tab, limit_name?)?;
    let fits = match row {
        "rake" => limit::<RakeLimit>(tab, "value", reach).is_some(),
        "line" | "twist" => limit::<Length>(tab, "value", reach).is_some(),
        "lean" | "roll" => limit::<Angle>(tab, "value", reach).is_some(),
        _ => limit::<LoadLimit>(tab, "value", reach).is_some(),
    };
    let made = Override { limit: limit_name?.to_owned(), value: value?.to_owned(), by: by?.to_owned(), reason: reason?.to_owned() };
    fits.then_some(made)
}

/// The row of `step.row.warn` or `step.row.stop`.
fn row_of(tab: &Tab<'_, '_>, limit: &str) -> Option<&'static str> {
    let parts: Vec<&str> = limit.split('.').collect();
    let steps = || Step::ALL.iter().map(|s| s.word());
    let wrong = |found: String, expected: String| {
        tab.wrong("limit", Kind::UnknownLimit, found, expected);
        None
    };
    let [step, row, level] = parts[..] else {
        return wrong(format!("`{}`", shorten(limit)), "step, row and `warn` or `stop`, as \"raise.rake.stop\"".into());
    };
    if Step::from_word(step).is_none() {
        return wrong(format!("the step `{}`", shorten(step)), choices(step, steps().collect::<Vec<_>>()));
    }
    if !matches!(level, "warn" | "stop") {
        return wrong(format!("the level `{}`", shorten(level)), joined(["warn", "stop"]));
    }
    match ROWS.iter().find(|r| **r == row) {
        Some(row) => Some(row),
        None => wrong(format!("the row `{}`", shorten(row)), choices(row, ROWS)),
    }
}
