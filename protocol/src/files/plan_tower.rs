//! Reads the towers of a plan.

use super::mistake::Kind;
use super::plan_read::{Pieces, check_name, metres};
use super::shorten;
use super::table::{Tab, shown};
use crate::plan::{RatedTo, Tower};
use crate::units::{Force, Length, Stiffness};
use std::ops::Range;

/// A tower as far as it could be read.
pub(super) struct TowerRead {
    pub(super) id: Option<String>,
    pub(super) piece: Option<usize>,
    pub(super) at: Option<Length>,
    pub(super) span: Range<usize>,
    pub(super) tower: Option<Tower>,
}

/// Reads every `[[tower]]`; at least two must be there.
pub(super) fn read_towers(top: &Tab<'_, '_>, pieces: &Pieces, working: Option<Length>, trim: Option<Length>) -> Vec<TowerRead> {
    let mut out: Vec<TowerRead> = vec![];
    let mut names: Vec<String> = vec![];
    let tabs = top.tables("tower", "id");
    if tabs.len() < 2 && top.get("tower").is_none_or(|v| v.get_ref().is_array()) {
        let found = if tabs.is_empty() { "no [[tower]]".to_owned() } else { "one [[tower]]".to_owned() };
        top.wrong_whole(Kind::TooFewTowers, found, "at least two towers");
    }
    for tab in tabs {
        let read = read_tower(&tab, pieces, working, trim);
        if let Some(id) = &read.id
            && out.iter().any(|other| other.id.as_ref() == Some(id))
        {
            tab.wrong("id", Kind::DuplicateId, format!("`{id}` a second time"), "an id of its own for every tower");
        }
        let spoken = tab.text("name").or(read.id.as_deref()).map(str::to_lowercase);
        if let Some(spoken) = spoken {
            // Two towers of one id are told by their ids.
            if tab.has("name") && names.contains(&spoken) {
                let found = format!("`{}`, which another tower is called", shorten(tab.text("name").unwrap_or_default()));
                tab.wrong("name", Kind::DuplicateId, found, "a spoken name of its own for every tower");
            }
            names.push(spoken);
        }
        out.push(read);
    }
    out
}

fn read_tower(tab: &Tab<'_, '_>, pieces: &Pieces, working: Option<Length>, trim: Option<Length>) -> TowerRead {
    let id = tab.need_text("id", "\"A\"").map(str::to_owned);
    if let Some(id) = &id {
        check_name(tab, "id", id);
        if matches!(id.as_str(), "spotter" | "lead" | "all") {
            tab.wrong("id", Kind::ReservedName, format!("`{id}`, which the topics and findings need"), "another id");
        }
    }
    let name = tab.text("name").map(str::to_owned).or(id.clone());
    let piece = pieces.resolve(tab);
    let at = tab.need_as::<Length>("at", "1 m").and_then(|at| pieces.on(tab, "at", piece, at));
    let rated = rated(tab, trim);
    let least = tab.above_zero("least", tab.need_as::<Force>("least", "15 lb"), true);
    least_below_rating(tab, least, rated.as_deref());
    let adapter = tab.above_zero("adapter", tab.quantity::<Force>("adapter"), true);
    let (collapsed, full) = heights(tab, working, trim);
    let pins = pins(tab, collapsed, full);
    let cradle = tab.above_zero("cradle", tab.quantity::<Length>("cradle"), true);
    let footprint = tab.above_zero("footprint", tab.quantity::<Length>("footprint"), false);
    let weight = tab.above_zero("weight", tab.quantity::<Force>("weight"), true);
    let per_turn = tab.above_zero("per-turn", tab.need_as::<Length>("per-turn", "25 mm"), false).filter(|rise| {
        let fits = rise.0 <= 0.5;
        if !fits {
            tab.wrong("per-turn", Kind::OutOfBounds, metres(*rise), "the rise of the head for one turn, at most 0.5 m, as \"25 mm\"");
        }
        fits
    });
    let rope_stiffness = tab.above_zero("rope-stiffness", tab.quantity::<Stiffness>("rope-stiffness"), false);
    let pin_stiffness = tab.above_zero("pin-stiffness", tab.quantity::<Stiffness>("pin-stiffness"), false);
    tab.done();
    let whole = || {
        Some(Tower {
            id: id.clone()?,
            name: name?,
            piece: piece?,
            at: at?,
            rated: rated?,
            least: least?,
            adapter: adapter.unwrap_or(Force(0.0)),
            collapsed: collapsed?,
            full: full?,
            pins,
            cradle: cradle.unwrap_or(Length(0.0)),
            footprint,
            weight,
            per_turn: per_turn?,
            rope_stiffness: rope_stiffness.unwrap_or(Stiffness(100e3)),
            pin_stiffness: pin_stiffness.unwrap_or(Stiffness(400e3)),
        })
    };
    let tower = whole();
    TowerRead { id, piece, at, span: tab.span(), tower }
}

const RATED: &str = "the rated load, as \"500 lb\", or by height, as [{ to = \"3 m\", load = \"500 lb\" }]";

/// One rating, or a table by height whose last row reaches the trim height.
fn rated(tab: &Tab<'_, '_>, trim: Option<Length>) -> Option<Vec<RatedTo>> {
    let Some(value) = tab.get("rated") else {
        tab.missing("rated", RATED);
        return None;
    };
    let value = value.get_ref();
    if !value.is_array() {
        if value.is_table() || value.is_bool() || value.is_datetime() {
            tab.wrong("rated", Kind::WrongType, shown(value), RATED);
            return None;
        }
        let load = tab.above_zero("rated", tab.quantity::<Force>("rated"), false)?;
        return Some(vec![RatedTo { to: Length(f64::INFINITY), load }]);
    }
    let mut rows: Vec<RatedTo> = vec![];
    for row in tab.tables("rated", "to") {
        let to = row.above_zero("to", row.need::<Length>("to"), false);
        let load = row.above_zero("load", row.need::<Force>("load"), false);
        row.done();
        let (to, load) = to.zip(load)?;
        if rows.last().is_some_and(|last| last.to.0 >= to.0) {
            row.wrong("to", Kind::NotRising, metres(to), "a height above the row before");
        }
        rows.push(RatedTo { to, load });
    }
    let Some(last) = rows.last() else {
        tab.wrong("rated", Kind::Empty, "an empty list", RATED);
        return None;
    };
    if let Some(trim) = trim.filter(|trim| last.to.0 < trim.0 - 1e-6) {
        let found = format!("a rating that ends at {}", metres(last.to));
        tab.wrong("rated", Kind::RatingEnds, found, format!("a row that reaches the trim height, {}", metres(trim)));
    }
    Some(rows)
}

fn least_below_rating(tab: &Tab<'_, '_>, least: Option<Force>, rated: Option<&[RatedTo]>) {
    let lowest = rated.and_then(|rows| rows.iter().map(|r| r.load.0).reduce(f64::min));
    if let (Some(least), Some(lowest)) = (least, lowest)
        && least.0 >= lowest
    {
        let found = format!("{:.1} kg, not below the rating", least.kg());
        tab.wrong("least", Kind::LeastOverRated, found, "the least load at which the tower comes down by itself, as \"15 lb\"");
    }
}

/// Collapsed and full height; the working and trim heights of the plan lie between them.
fn heights(tab: &Tab<'_, '_>, working: Option<Length>, trim: Option<Length>) -> (Option<Length>, Option<Length>) {
    let collapsed = tab.above_zero("collapsed", tab.quantity::<Length>("collapsed"), false);
    let full = tab.above_zero("full", tab.quantity::<Length>("full"), false);
    if let (Some(collapsed), Some(working)) = (collapsed, working)
        && collapsed.0 > working.0 + 1e-6
    {
        tab.wrong("collapsed", Kind::HeightsDisagree, metres(collapsed), format!("at most the working height, {}", metres(working)));
    }
    if let (Some(full), Some(trim)) = (full, trim)
        && full.0 < trim.0 - 1e-6
    {
        tab.wrong("full", Kind::HeightsDisagree, metres(full), format!("at least the trim height, {}", metres(trim)));
    }
    let default = |key, typed: Option<Length>, of_plan| if tab.has(key) { typed } else { of_plan };
    (default("collapsed", collapsed, working), default("full", full, trim))
}

fn pins(tab: &Tab<'_, '_>, collapsed: Option<Length>, full: Option<Length>) -> Vec<Length> {
    if !tab.has("pins") {
        return vec![];
    }
    let pins = tab.quantities::<Length>("pins").unwrap_or_default();
    if let Some(pair) = pins.windows(2).find(|pair| pair[0].0 >= pair[1].0) {
        tab.wrong("pins", Kind::NotRising, format!("{} after {}", metres(pair[1]), metres(pair[0])), "heights of the head that rise");
    }
    if let (Some(low), Some(high)) = (collapsed, full)
        && let Some(pin) = pins.iter().find(|pin| pin.0 < low.0 - 1e-6 || pin.0 > high.0 + 1e-6)
    {
        let right = format!("a height from {} (collapsed) to {} (full)", metres(low), metres(high));
        tab.wrong("pins", Kind::HeightsDisagree, metres(*pin), right);
    }
    pins
}
