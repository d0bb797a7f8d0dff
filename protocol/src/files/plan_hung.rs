//! Reads what hangs: loads and cables. Lists, counts, runs and spare coils are resolved here into single items.

use super::mistake::Kind;
use super::plan_read::{Pieces, metres, source};
use super::table::{Tab, Value, quantity_of, shown};
use crate::plan::{Cable, Hung, Lies, Load};
use crate::quantity::{self, Measure};
use crate::units::{Force, Length, LineLoad};

/// A weight as typed.
enum Weight {
    Whole(Force),
    PerLength(LineLoad),
    /// From one value to another along the stretch.
    Varying(LineLoad, LineLoad),
}

const WEIGHT: &str = "a weight, as \"10.4 kg\", or a weight per length, as \"8.5 kg/m\"";

/// Every load, resolved; `None` where one could not be read.
pub(super) fn read_loads(top: &Tab<'_, '_>, pieces: &Pieces) -> Option<Vec<Load>> {
    let read: Vec<_> = top.tables("load", "name").iter().map(|tab| read_load(tab, pieces)).collect();
    read.into_iter().collect::<Option<Vec<_>>>().map(|lists| lists.into_iter().flatten().collect())
}

fn read_load(tab: &Tab<'_, '_>, pieces: &Pieces) -> Option<Vec<Load>> {
    let name = tab.need_text("name", "\"wash\"");
    let piece = pieces.resolve(tab);
    let weight = weight(tab, true);
    let source = source(tab);
    let hang = tab.quantity::<Length>("hang");
    let across = tab.quantity::<Length>("across");
    let hung = places(tab, pieces, piece, weight);
    tab.done();
    let (name, piece) = (name?.to_owned(), piece?);
    let zero = Length(0.0);
    let one = |hung| Load { name: name.clone(), piece, hung, source, hang: hang.unwrap_or(zero), across: across.unwrap_or(zero) };
    Some(hung?.into_iter().map(one).collect())
}

/// The weight of a load or cable; `varying` allows two values for a stretch.
fn weight(tab: &Tab<'_, '_>, varying: bool) -> Option<Weight> {
    let Some(value) = tab.get("weight") else {
        tab.missing("weight", WEIGHT);
        return None;
    };
    if varying && let Some(list) = value.get_ref().as_array() {
        let both: Option<Vec<LineLoad>> = list.iter().map(|v| quantity_of(tab, "weight", v)).collect();
        if let [first, last] = both?[..] {
            let fits = first.0 >= 0.0 && last.0 >= 0.0 && first.0 + last.0 > 0.0;
            if !fits {
                tab.wrong("weight", Kind::OutOfBounds, "a list with no weight in it", "two weights per length, not below zero, one above");
            }
            return fits.then_some(Weight::Varying(first, last));
        }
        tab.wrong("weight", Kind::WrongType, format!("a list of {}", list.len()), "two weights per length: at `from` and at `to`");
        return None;
    }
    let found = one_weight(tab, value)?;
    let si = match found {
        Weight::Whole(force) => force.si(),
        Weight::PerLength(line) | Weight::Varying(line, _) => line.si(),
    };
    if si <= 0.0 {
        tab.wrong("weight", Kind::OutOfBounds, shown(value.get_ref()), "a weight above zero");
        return None;
    }
    Some(found)
}

fn one_weight(tab: &Tab<'_, '_>, value: &Value<'_>) -> Option<Weight> {
    if let Some(text) = value.get_ref().as_str() {
        if let Ok(force) = quantity::read::<Force>(text) {
            return Some(Weight::Whole(force));
        }
        match quantity::read::<LineLoad>(text) {
            Ok(line) => return Some(Weight::PerLength(line)),
            Err(fault) if fault.kind == Kind::WrongDimension => {
                tab.reader.tell(fault.kind, value.span(), tab.named("weight"), fault.found, WEIGHT);
                return None;
            }
            Err(_) => {}
        }
    }
    quantity_of::<Force>(tab, "weight", value).map(Weight::Whole)
}

/// Where a load hangs: at places, in equal spacing, or spread.
fn places(tab: &Tab<'_, '_>, pieces: &Pieces, piece: Option<usize>, weight: Option<Weight>) -> Option<Vec<Hung>> {
    let count = tab.whole("count", 2..=1000);
    let spacing = tab.above_zero("spacing", tab.quantity::<Length>("spacing"), false);
    let stretch = tab.has("from") || tab.has("to") || tab.has("count") || tab.has("spacing");
    if tab.has("at") {
        if stretch {
            tab.wrong("at", Kind::Contradiction, "`at` beside `from`, `to`, `count` or `spacing`", "places by `at`, or a stretch");
        }
        return at_places(tab, pieces, piece, weight?);
    }
    if !stretch {
        tab.wrong("at", Kind::NoPlace, "no place", "`at`, or `from` and `to`");
        return None;
    }
    let from = need_on(tab, pieces, piece, "from");
    if tab.has("spacing") {
        return spaced(tab, pieces, piece, weight, from, count, spacing);
    }
    let to = need_on(tab, pieces, piece, "to");
    let (from, to) = rising(tab, from?, to?)?;
    match weight? {
        Weight::Whole(weight) if count.is_some() => {
            let count = count.unwrap_or(2);
            let step = (to.0 - from.0) / (count - 1) as f64;
            Some((0..count).map(|i| Hung::Point { at: Length(from.0 + step * i as f64), weight }).collect())
        }
        Weight::Whole(_) => {
            if !tab.has("count") {
                let right = "`count` for so many items of that weight, or a weight per length, as \"2 kg/m\"";
                tab.wrong("count", Kind::MissingKey, "a whole weight from `from` to `to` without `count`", right);
            }
            None
        }
        Weight::PerLength(w) => no_count(tab).then(|| vec![Hung::Spread { from, to, first: w, last: w }]),
        Weight::Varying(first, last) => no_count(tab).then(|| vec![Hung::Spread { from, to, first, last }]),
    }
}

fn no_count(tab: &Tab<'_, '_>) -> bool {
    if tab.has("count") {
        tab.wrong("count", Kind::Contradiction, "`count` beside a weight per length", "the weight of one item, as \"10.4 kg\"");
    }
    !tab.has("count")
}

fn spaced(
    tab: &Tab<'_, '_>,
    pieces: &Pieces,
    piece: Option<usize>,
    weight: Option<Weight>,
    from: Option<Length>,
    count: Option<i64>,
    spacing: Option<Length>,
) -> Option<Vec<Hung>> {
    if tab.has("to") {
        tab.wrong("spacing", Kind::Contradiction, "`spacing` beside `to`", "`from`, `count` and `spacing`, or `from`, `to` and `count`");
        return None;
    }
    if !tab.has("count") {
        tab.missing("count", "how many items, as 6");
    }
    let Weight::Whole(weight) = weight? else {
        tab.wrong("weight", Kind::WrongDimension, "a weight per length beside `spacing`", "the weight of one item, as \"10.4 kg\"");
        return None;
    };
    let (from, count, spacing) = (from?, count?, spacing?);
    let last = Length(from.0 + spacing.0 * (count - 1) as f64);
    pieces.on(tab, "spacing", piece, last)?;
    Some((0..count).map(|i| Hung::Point { at: Length(from.0 + spacing.0 * i as f64), weight }).collect())
}

fn at_places(tab: &Tab<'_, '_>, pieces: &Pieces, piece: Option<usize>, weight: Weight) -> Option<Vec<Hung>> {
    let Weight::Whole(weight) = weight else {
        let right = "a weight, as \"10.4 kg\", or `from` and `to` for a weight per length";
        tab.wrong("weight", Kind::WrongDimension, "a weight per length at one place", right);
        return None;
    };
    let ats = if tab.get("at")?.get_ref().is_array() { tab.quantities::<Length>("at")? } else { vec![tab.quantity::<Length>("at")?] };
    let on: Vec<_> = ats.into_iter().map(|at| pieces.on(tab, "at", piece, at)).collect();
    on.into_iter().map(|at| at.map(|at| Hung::Point { at, weight })).collect()
}

fn need_on(tab: &Tab<'_, '_>, pieces: &Pieces, piece: Option<usize>, key: &'static str) -> Option<Length> {
    tab.need::<Length>(key).and_then(|at| pieces.on(tab, key, piece, at))
}

fn rising(tab: &Tab<'_, '_>, from: Length, to: Length) -> Option<(Length, Length)> {
    if from.0 < to.0 {
        return Some((from, to));
    }
    tab.wrong("to", Kind::NotRising, format!("{}, not beyond `from` at {}", metres(to), metres(from)), "a place beyond `from`");
    None
}

/// Every cable: what lies on the truss, spare coils and tails as single items; `None` where one could not be read.
pub(super) fn read_cables(top: &Tab<'_, '_>, pieces: &Pieces) -> Option<Vec<Cable>> {
    let read: Vec<_> = top.tables("cable", "name").iter().map(|tab| read_cable(tab, pieces)).collect();
    read.into_iter().collect::<Option<Vec<_>>>().map(|lists| lists.into_iter().flatten().collect())
}

fn read_cable(tab: &Tab<'_, '_>, pieces: &Pieces) -> Option<Vec<Cable>> {
    let name = tab.need_text("name", "\"multicore\"");
    let piece = pieces.resolve(tab);
    let weight = weight(tab, false);
    let source = source(tab);
    let runs = tab.whole("runs", 1..=100).unwrap_or(1) as f64;
    if tab.has("runs") && matches!(weight, Some(Weight::Whole(_))) {
        tab.wrong("runs", Kind::Contradiction, "`runs` beside a whole weight", "a weight per length of one run, as \"0.25 kg/m\"");
    }
    let mut lies = vec![];
    let along = tab.has("from") || tab.has("to");
    let place = along.then(|| (need_on(tab, pieces, piece, "from"), need_on(tab, pieces, piece, "to")));
    let stretch = place.and_then(|(from, to)| rising(tab, from?, to?));
    let per_length = match weight {
        Some(Weight::PerLength(w)) => Some(w * runs),
        _ => None,
    };
    if let Some((from, to)) = stretch {
        match weight {
            Some(Weight::Whole(force)) => lies.push(Lies::Along { from, to, weight: LineLoad(force.0 / (to.0 - from.0)) }),
            _ => lies.extend(per_length.map(|weight| Lies::Along { from, to, weight })),
        }
    }
    lies.extend(spare(tab, pieces, piece, per_length, stretch.map(|(_, to)| to)));
    lies.extend(tail(tab, pieces, piece, weight.as_ref(), per_length));
    if !along && !tab.has("tail-at") && !tab.has("spare-at") {
        tab.wrong("from", Kind::NoPlace, "no place", "`from` and `to` along the truss, or `tail-at` where it hangs to the floor");
    }
    tab.done();
    let (name, piece) = (name?, piece?);
    weight.as_ref()?;
    Some(lies.into_iter().map(|lies| Cable { name: name.to_owned(), piece, source, lies }).collect())
}

/// A spare coil: a length of every run, or a weight.
fn spare(tab: &Tab<'_, '_>, pieces: &Pieces, piece: Option<usize>, per_length: Option<LineLoad>, end: Option<Length>) -> Option<Lies> {
    let at = if tab.has("spare-at") { need_on(tab, pieces, piece, "spare-at") } else { end };
    let value = tab.get("spare");
    let Some(value) = value else {
        if tab.has("spare-at") {
            tab.missing("spare", "the length or weight of the coil, as \"5 m\" or \"4 kg\"");
        }
        return None;
    };
    let text = value.get_ref().as_str();
    if let Some(length) = text.and_then(|t| quantity::read::<Length>(t).ok()) {
        let length = tab.above_zero("spare", Some(length), false)?;
        let Some(w) = per_length else {
            tab.wrong(
                "spare",
                Kind::Contradiction,
                "a length of a cable that has no weight per length",
                "the weight of the coil, as \"4 kg\"",
            );
            return None;
        };
        return Some(Lies::Coil { at: at?, weight: Force(w.0 * length.0) });
    }
    if let Some(fault) = text.and_then(|t| quantity::read::<Force>(t).err()).filter(|f| f.kind == Kind::WrongDimension) {
        tab.wrong("spare", fault.kind, fault.found, "the length or weight of the coil, as \"5 m\" or \"4 kg\"");
        return None;
    }
    let weight = tab.above_zero("spare", tab.quantity::<Force>("spare"), false)?;
    Some(Lies::Coil { at: at?, weight })
}

fn tail(tab: &Tab<'_, '_>, pieces: &Pieces, piece: Option<usize>, weight: Option<&Weight>, per_length: Option<LineLoad>) -> Option<Lies> {
    if !tab.has("tail-at") {
        return None;
    }
    let at = need_on(tab, pieces, piece, "tail-at");
    if matches!(weight, Some(Weight::Whole(_))) {
        tab.wrong(
            "weight",
            Kind::WrongDimension,
            "a whole weight for a tail",
            "a weight per length, as \"2.34 kg/m\": a tail grows with height",
        );
    }
    Some(Lies::Tail { at: at?, weight: per_length? })
}
