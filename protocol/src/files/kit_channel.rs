//! Reads the channels of a node: place, sign, range, calibration, zero, proof, register.

use super::mistake::Kind;
use super::table::{Tab, Value, choices, joined, plain_number, quantity_of, shown};
use super::{nearest, shorten};
use crate::kit::{Calibration, Fitted, KeptZero, Register, Transport, WireUnit};
use crate::plan::Plan;
use crate::quantity::Measure;
use crate::units::{Angle, Duration, Force, Length, Voltage};
use crate::words::Channel;
use jiff::Timestamp;

/// What a channel measures.
#[derive(Clone, Copy, PartialEq)]
enum Measured {
    Angle,
    Force,
    Length,
    Voltage,
}

fn measured(channel: Channel) -> Measured {
    match channel {
        Channel::MastAlong | Channel::MastAcross | Channel::TrussAlong | Channel::TrussAcross => Measured::Angle,
        Channel::HeadLoad | Channel::RopeLoad => Measured::Force,
        Channel::Height => Measured::Length,
        Channel::Battery => Measured::Voltage,
    }
}

/// A value in the channel's unit, in SI.
fn value_of(tab: &Tab<'_, '_>, key: &str, what: Measured, value: &Value<'_>) -> Option<f64> {
    fn si<Q: Measure>(tab: &Tab<'_, '_>, key: &str, value: &Value<'_>) -> Option<f64> {
        quantity_of::<Q>(tab, key, value).map(Q::si)
    }
    match what {
        Measured::Angle => si::<Angle>(tab, key, value),
        Measured::Force => si::<Force>(tab, key, value),
        Measured::Length => si::<Length>(tab, key, value),
        Measured::Voltage => si::<Voltage>(tab, key, value),
    }
}

fn example(what: Measured) -> &'static str {
    match what {
        Measured::Angle => "0.5 deg",
        Measured::Force => "200 N",
        Measured::Length => "1.2 m",
        Measured::Voltage => "3.6 V",
    }
}

/// The channels of a node, in the order of the forms; `None` where one could not be read.
pub(super) fn read_channels(node: &Tab<'_, '_>, over: Option<&Transport>, plan: Option<&Plan>) -> Option<Vec<Fitted>> {
    if !node.has("channel") {
        node.missing("channel", "at least one table, as [node.channel.truss-along]");
        return None;
    }
    let all = node.inner("channel")?;
    let words = || Channel::ALL.iter().map(|c| c.word());
    for (name, span, _) in all.entries() {
        if Channel::from_word(name).is_none() {
            let right = nearest(name, words()).map_or_else(|| format!("one of {}", joined(words())), |near| format!("perhaps `{near}`"));
            node.reader.tell(Kind::UnknownWord, span, all.place.clone(), format!("the channel `{}`", shorten(name)), right);
        }
    }
    let read: Vec<_> = Channel::ALL.iter().filter_map(|c| all.inner(c.word()).map(|tab| read_channel(&tab, *c, over, plan))).collect();
    if read.is_empty() && all.entries().is_empty() {
        all.wrong_whole(Kind::Empty, "no channel", "at least one table, as [node.channel.truss-along]");
    }
    (read.len() == all.entries().len()).then_some(())?;
    read.into_iter().collect()
}

fn read_channel(tab: &Tab<'_, '_>, channel: Channel, over: Option<&Transport>, plan: Option<&Plan>) -> Option<Fitted> {
    let what = measured(channel);
    let (piece, at) = place(tab, channel, plan);
    let unit = unit(tab, what);
    let sign = sign(tab);
    let range = range(tab, what);
    let calibration = calibration(tab, what)?;
    let calibrated = when_by(tab, "when", "by");
    let zero = tab.inner("zero").and_then(|zero| kept_zero(&zero, what));
    let proved = tab.inner("proved").and_then(|proved| {
        let both = when_by(&proved, "when", "by");
        if !proved.has("when") {
            proved.missing("when", TIME);
        }
        proved.done();
        both
    });
    let rope_ratio = if channel == Channel::RopeLoad { tab.number("rope-ratio", 0.1..=20.0) } else { None };
    let register = register(tab, what, over);
    let battery_limits = if channel == Channel::Battery { battery(tab) } else { None };
    tab.done();
    Some(Fitted {
        channel,
        piece,
        at,
        unit,
        sign,
        range,
        calibration,
        calibrated,
        zero,
        proved,
        rope_ratio: rope_ratio.unwrap_or(1.0),
        register,
        battery_limits,
    })
}

/// 1 or -1; 1 if not stated.
fn sign(tab: &Tab<'_, '_>) -> f64 {
    let Some(value) = tab.get("sign") else { return 1.0 };
    match plain_number(value.get_ref()) {
        Some(sign) if sign.abs() == 1.0 => return sign,
        Some(other) => tab.wrong("sign", Kind::OutOfBounds, format!("{other}"), "1 or -1"),
        None => tab.wrong("sign", Kind::WrongType, shown(value.get_ref()), "1 or -1, without quotes"),
    }
    1.0
}

/// Piece and place of a tilt of the truss. Where one is not stated, it is the tower's.
fn place(tab: &Tab<'_, '_>, channel: Channel, plan: Option<&Plan>) -> (Option<String>, Option<Length>) {
    if !matches!(channel, Channel::TrussAlong | Channel::TrussAcross) {
        return (None, None);
    }
    let id = tab.text("piece");
    let at = tab.quantity::<Length>("at");
    let Some(plan) = plan else { return (id.map(str::to_owned), at) };
    let named = id.and_then(|id| plan.pieces.iter().find(|p| p.id == id));
    if let (Some(id), None) = (id, named) {
        let right = choices(id, plan.pieces.iter().map(|p| p.id.as_str()).collect::<Vec<_>>());
        tab.wrong("piece", Kind::UnknownPiece, format!("`{}`, which is no piece of the plan", shorten(id)), right);
    }
    let piece = named.or(if id.is_none() && plan.pieces.len() == 1 { plan.pieces.first() } else { None });
    if let (Some(at), Some(piece)) = (at, piece)
        && !(-0.001..=piece.length().0 + 0.001).contains(&at.0)
    {
        tab.wrong(
            "at",
            Kind::OffPiece,
            format!("{} m, off the piece", at.0),
            format!("a place from 0 m to {} m on `{}`", piece.length().0, piece.id),
        );
    }
    (id.map(str::to_owned), at)
}

fn unit(tab: &Tab<'_, '_>, what: Measured) -> Option<WireUnit> {
    const ALL: [(&str, WireUnit, Measured); 8] = [
        ("rad", WireUnit::Rad, Measured::Angle),
        ("deg", WireUnit::Deg, Measured::Angle),
        ("N", WireUnit::N, Measured::Force),
        ("kg", WireUnit::Kg, Measured::Force),
        ("m", WireUnit::M, Measured::Length),
        ("mm", WireUnit::Mm, Measured::Length),
        ("V", WireUnit::V, Measured::Voltage),
        ("mV", WireUnit::Mv, Measured::Voltage),
    ];
    let text = tab.text("unit")?;
    let right = || joined(ALL.iter().filter(|u| u.2 == what).map(|u| u.0));
    let Some((_, unit, of)) = ALL.iter().find(|u| u.0 == text) else {
        tab.wrong("unit", Kind::UnknownUnit, format!("`{}`", shorten(text)), format!("one of {}", right()));
        return None;
    };
    if *of != what {
        tab.wrong("unit", Kind::WrongDimension, format!("`{text}` for this channel"), format!("one of {}", right()));
        return None;
    }
    Some(*unit)
}

fn range(tab: &Tab<'_, '_>, what: Measured) -> Option<[f64; 2]> {
    let expected = format!("the least and the most that is possible, as [\"-{0}\", \"{0}\"]", example(what));
    let list = tab.list("range", &expected)?;
    let both: Option<Vec<f64>> = list.iter().map(|v| value_of(tab, "range", what, v)).collect();
    match both?[..] {
        [low, high] if low < high => Some([low, high]),
        [..] if list.len() == 2 => {
            tab.wrong("range", Kind::NotRising, "a range that does not rise", expected);
            None
        }
        _ => {
            tab.wrong("range", Kind::WrongType, format!("a list of {}", list.len()), expected);
            None
        }
    }
}

/// The calibration; the outer `None` where it is wrong.
fn calibration(tab: &Tab<'_, '_>, what: Measured) -> Option<Calibration> {
    if tab.has("points") && tab.has("scale") {
        tab.wrong("scale", Kind::Contradiction, "`scale` beside `points`", "one of the two");
        return None;
    }
    if let Some(value) = tab.get("scale") {
        let scale = value_of(tab, "scale", what, value)?;
        if scale == 0.0 {
            tab.wrong("scale", Kind::OutOfBounds, shown(value.get_ref()), "what one of the wire's counts is worth, not zero");
            return None;
        }
        return Some(Calibration::Scale(scale));
    }
    if !tab.has("points") {
        return Some(Calibration::None);
    }
    let expected = format!(
        "points of value and wire reading, as [[\"0 {0}\", 0], [\"{1}\", 41200]]",
        example(what).split(' ').nth(1).unwrap_or_default(),
        example(what)
    );
    let mut points = vec![];
    for value in tab.list("points", &expected)? {
        let pair: Vec<_> = value.get_ref().as_array().map(|a| a.iter().collect()).unwrap_or_default();
        let [at, reads] = pair[..] else {
            tab.reader.tell(Kind::WrongType, value.span(), tab.named("points"), shown(value.get_ref()), expected);
            return None;
        };
        let at = value_of(tab, "points", what, at)?;
        let Some(reads) = plain_number(reads.get_ref()) else {
            tab.reader.tell(
                Kind::WrongType,
                reads.span(),
                tab.named("points"),
                shown(reads.get_ref()),
                "the plain number that the wire gave",
            );
            return None;
        };
        points.push((at, reads));
    }
    if points.len() < 2 {
        tab.wrong("points", Kind::Empty, "one point", "at least two points");
        return None;
    }
    if points.windows(2).any(|p| p[0].0 >= p[1].0 || p[0].1 >= p[1].1) {
        tab.wrong(
            "points",
            Kind::NotRising,
            "points that do not rise",
            "values and wire readings that both rise; `sign` turns an instrument round",
        );
        return None;
    }
    Some(Calibration::Points(points))
}

const TIME: &str = "a time with its zone, without quotes, as 2031-05-14T13:40:00Z";

/// A moment; one with its zone is needed.
fn time(tab: &Tab<'_, '_>, key: &'static str) -> Option<Timestamp> {
    let value = tab.get(key)?.get_ref();
    let time = value.as_datetime().and_then(|d| d.to_string().parse::<Timestamp>().ok());
    if time.is_none() {
        tab.wrong(key, Kind::WrongType, shown(value), TIME);
    }
    time
}

fn when_by(tab: &Tab<'_, '_>, when: &'static str, by: &'static str) -> Option<(Timestamp, String)> {
    let (time, person) = (time(tab, when), tab.text(by));
    if tab.has(when) && !tab.has(by) {
        tab.missing(by, "who did it, as \"Mara\"");
    }
    if tab.has(by) && !tab.has(when) {
        tab.missing(when, TIME);
    }
    Some((time?, person?.to_owned()))
}

/// A zero carried over; without when and valid it does not count, so that they may be left out.
fn kept_zero(tab: &Tab<'_, '_>, what: Measured) -> Option<KeptZero> {
    let value = match tab.get("value") {
        Some(value) => value_of(tab, "value", what, value),
        None => {
            tab.missing("value", format!("what the channel read at zero, as \"{}\"", example(what)));
            None
        }
    };
    let (when, by) = (time(tab, "when"), tab.text("by").map(str::to_owned));
    let valid = tab.above_zero("valid", tab.quantity::<Duration>("valid"), false);
    tab.done();
    Some(KeptZero { value: value?, when, by, valid })
}

fn register(tab: &Tab<'_, '_>, what: Measured, over: Option<&Transport>) -> Option<Register> {
    let modbus = matches!(over, Some(Transport::Modbus { .. }));
    let expected = "as { function = 4, at = 0, type = \"i32\", words = \"high-first\", step = \"0.1 N\" }";
    if !tab.has("register") {
        if modbus {
            tab.wrong("register", Kind::Register, "no register on a node over `modbus`", expected);
        }
        return None;
    }
    // A node of another transport may keep its register for the day it is wired: it is checked, and not used.
    let inner = tab.inner("register")?;
    let function = inner.whole("function", 3..=4).unwrap_or(4);
    if !inner.has("at") {
        inner.missing("at", "the address of the first register, as 0");
    }
    let at = inner.whole("at", 0..=65_535);
    if !inner.has("type") {
        inner.missing("type", "as \"i32\"");
    }
    let kind = inner.one_of("type", &["u16", "i16", "u32", "i32", "f32"]);
    let words = inner.one_of("words", &["high-first", "low-first"]);
    let step = match inner.get("step") {
        Some(step) => value_of(&inner, "step", what, step),
        None => {
            inner.missing("step", format!("what one count is worth, as \"{}\"", example(what)));
            None
        }
    };
    inner.done();
    Some(Register {
        function: u8::try_from(function).ok()?,
        at: u16::try_from(at?).ok()?,
        kind: kind?.to_owned(),
        high_first: words != Some("low-first"),
        step: step?,
    })
}

/// Voltage that counts as low and as empty.
fn battery(tab: &Tab<'_, '_>) -> Option<[f64; 2]> {
    let low = tab.above_zero("low", tab.quantity::<Voltage>("low"), false);
    let empty = tab.above_zero("empty", tab.quantity::<Voltage>("empty"), false);
    if tab.has("low") != tab.has("empty") {
        tab.missing(if tab.has("low") { "empty" } else { "low" }, "a voltage, as \"3.4 V\"");
    }
    let (low, empty) = (low?, empty?);
    if empty.0 >= low.0 {
        tab.wrong("empty", Kind::NotRising, format!("{} V, not below `low`", empty.0), "a voltage below `low`");
    }
    Some([low.0, empty.0])
}
