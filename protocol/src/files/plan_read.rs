//! Reads a plan file: the keys of the whole file and the truss pieces. Keys and defaults: docs/plan-file.md.

use super::mistake::{Kind, Mistakes};
use super::plan_checks::{self, reach};
use super::table::{Reader, Tab, choices, shown};
use super::{plan_hung, plan_tolerance, plan_tower, shorten};
use crate::plan::{Piece, Plan, ShownUnits, Source, TableRow};
use crate::quantity::Share;
use crate::units::{Duration, Force, Length, LineLoad, Rigidity, Speed};

/// Keys that stand above every table.
const TOP_KEYS: &[&str] = &[
    "title",
    "site",
    "revision",
    "planner",
    "units",
    "working-height",
    "trim-height",
    "pace",
    "pace-down",
    "reaction",
    "allowance",
    "upstage",
    "people-under-at-rest",
    "phrases",
    "tolerance",
];

/// A shorter piece is a slip of the pen.
const SHORTEST_M: f64 = 0.05;

impl Plan {
    /// Reads a plan; `file` is its name for messages.
    ///
    /// # Errors
    /// All mistakes at once.
    pub fn read(text: &str, file: &str) -> Result<Plan, Mistakes> {
        let (reader, table) = Reader::new(text, file, TOP_KEYS);
        let plan = read_plan(&Tab::new(&reader, table.get_ref(), 0..0, String::new()));
        reader.end(plan)
    }
}

fn read_plan(top: &Tab<'_, '_>) -> Option<Plan> {
    let title = top.need_text("title", "\"Harbour Lane AGM\"");
    let site = top.need_text("site", "\"harbour-lane\"");
    if let Some(site) = site {
        check_name(top, "site", site);
    }
    let revision = top.whole("revision", 1..=1_000_000);
    let planner = top.text("planner");
    let units = shown_units(top);
    let working_height = top.above_zero("working-height", top.need::<Length>("working-height"), false);
    let trim_height = top.above_zero("trim-height", top.need_as::<Length>("trim-height", "5.0 m"), false);
    if let (Some(working), Some(trim)) = (working_height, trim_height)
        && trim.0 < working.0
    {
        top.wrong("trim-height", Kind::HeightsDisagree, metres(trim), format!("at least the working height, {}", metres(working)));
    }
    let pace = top.above_zero("pace", top.need::<Speed>("pace"), false);
    let pace_down = top.above_zero("pace-down", top.quantity::<Speed>("pace-down"), false);
    let reaction = top.above_zero("reaction", top.quantity::<Duration>("reaction"), true);
    let allowance = top.number("allowance", 1.0..=2.0);
    let upstage = top.one_of("upstage", &["y", "-y"]);
    let people = top.flag("people-under-at-rest");
    let phrases = top.text("phrases");

    let pieces = read_pieces(top);
    let places = Pieces::new(&pieces);
    let towers = plan_tower::read_towers(top, &places, working_height, trim_height);
    let loads = plan_hung::read_loads(top, &places);
    let cables = plan_hung::read_cables(top, &places);
    if !top.has("load") && !top.has("cable") {
        top.wrong_whole(Kind::NothingHangs, "no [[load]] and no [[cable]]", "at least one of what hangs on the truss");
    }
    plan_checks::pieces_meet(top, &pieces);
    plan_checks::towers_apart(top, &pieces, &towers);
    let reach = reach(&pieces, &towers);
    let tolerance = plan_tolerance::read_tolerance(top, reach);
    let overrides = plan_tolerance::read_overrides(top, reach);
    top.done();

    let pace = pace?;
    Some(Plan {
        title: title?.to_owned(),
        site: site?.to_owned(),
        revision: revision.map_or(1, |r| r as u32),
        planner: planner.map(str::to_owned),
        units,
        working_height: working_height?,
        trim_height: trim_height?,
        pace,
        pace_down: pace_down.unwrap_or(pace * 1.4),
        reaction: reaction.unwrap_or(Duration(3.0)),
        allowance: allowance.unwrap_or(1.10),
        upstage_is_y: upstage != Some("-y"),
        people_under_at_rest: people.unwrap_or(false),
        phrases: phrases.map(str::to_owned),
        pieces: pieces.into_iter().map(|p| p.piece).collect::<Option<_>>()?,
        towers: towers.into_iter().map(|t| t.tower).collect::<Option<_>>()?,
        loads: loads?,
        cables: cables?,
        tolerance: tolerance?,
        overrides: overrides?,
    })
}

fn shown_units(top: &Tab<'_, '_>) -> ShownUnits {
    let mut units = ShownUnits::default();
    let expected = "a list of one weight and one length unit, as [\"kg\", \"m\"] or [\"lb\", \"ft\"]";
    let (mut weights, mut lengths) = (0, 0);
    for value in top.list("units", expected).unwrap_or_default() {
        match value.get_ref().as_str() {
            Some("kg") => weights += 1,
            Some("lb") => (weights, units.pounds) = (weights + 1, true),
            Some("m") => lengths += 1,
            Some("ft") => (lengths, units.feet) = (lengths + 1, true),
            Some(other) => {
                let right = choices(other, ["kg", "lb", "m", "ft"]);
                top.reader.tell(Kind::UnknownWord, value.span(), top.named("units"), format!("`{}`", shorten(other)), right);
            }
            None => top.reader.tell(Kind::WrongType, value.span(), top.named("units"), shown(value.get_ref()), expected),
        }
    }
    if weights > 1 || lengths > 1 {
        top.wrong("units", Kind::Contradiction, "two units of one measure", expected);
    }
    units
}

/// A piece as far as it could be read.
pub(super) struct PieceRead {
    pub(super) id: Option<String>,
    pub(super) ends: Option<[[Length; 2]; 2]>,
    pub(super) span: std::ops::Range<usize>,
    piece: Option<Piece>,
}

fn read_pieces(top: &Tab<'_, '_>) -> Vec<PieceRead> {
    if !top.has("piece") {
        top.missing("piece", "at least one [[piece]] of truss");
    }
    let mut out: Vec<PieceRead> = vec![];
    for tab in top.tables("piece", "id") {
        let read = read_piece(&tab);
        if let Some(id) = &read.id
            && out.iter().any(|other| other.id.as_ref() == Some(id))
        {
            tab.wrong("id", Kind::DuplicateId, format!("`{id}` a second time"), "an id of its own for every piece");
        }
        out.push(read);
    }
    out
}

fn read_piece(tab: &Tab<'_, '_>) -> PieceRead {
    let id = tab.need_text("id", "\"front\"").map(str::to_owned);
    if let Some(id) = &id {
        check_name(tab, "id", id);
    }
    let (from, to) = (corner(tab, "from"), corner(tab, "to"));
    let ends = from.zip(to).map(|(from, to)| [from, to]);
    if let Some([from, to]) = ends
        && (to[0].0 - from[0].0).hypot(to[1].0 - from[1].0) < SHORTEST_M
    {
        tab.wrong("to", Kind::NoLength, "a piece shorter than 50 mm", "a `to` end away from the `from` end");
    }
    let weight = tab.above_zero("weight", tab.need::<LineLoad>("weight"), false);
    let source = source(tab);
    let bending = tab.above_zero("bending", tab.quantity::<Rigidity>("bending"), false);
    let torsion = tab.above_zero("torsion", tab.quantity::<Rigidity>("torsion"), false);
    let hinged = hinged(tab);
    let depth = tab.above_zero("depth", tab.quantity::<Length>("depth"), false);
    let width = tab.above_zero("width", tab.quantity::<Length>("width"), false);
    let table = span_table(tab);
    tab.done();
    let piece = ends.zip(weight).zip(id.clone()).map(|((ends, weight), id)| Piece {
        id,
        from: ends[0],
        to: ends[1],
        weight,
        source,
        bending,
        torsion,
        hinged_from: hinged[0],
        hinged_to: hinged[1],
        depth: depth.unwrap_or(Length(0.29)),
        width: width.unwrap_or(Length(0.29)),
        table,
    });
    PieceRead { id, ends, span: tab.span(), piece }
}

fn corner(tab: &Tab<'_, '_>, key: &'static str) -> Option<[Length; 2]> {
    let expected = "plan coordinates, as [\"0 m\", \"0 m\"]";
    if !tab.has(key) {
        tab.missing(key, expected);
    }
    let both = tab.quantities::<Length>(key)?;
    if let [x, y] = both[..] {
        return Some([x, y]);
    }
    tab.wrong(key, Kind::WrongType, format!("a list of {}", both.len()), expected);
    None
}

/// `weighed`, `label`, `maker`, `guess` or a `band`; a guess if not stated.
pub(super) fn source(tab: &Tab<'_, '_>) -> Source {
    let word = tab.one_of("source", &["weighed", "label", "maker", "guess"]);
    let band = tab.above_zero("band", tab.quantity::<Share>("band"), true);
    if word.is_some() && band.is_some() {
        tab.wrong("band", Kind::Contradiction, "`source` and `band`", "one of the two");
    }
    match (band, word) {
        (Some(band), _) => Source::Band(band.0),
        (None, Some("weighed")) => Source::Weighed,
        (None, Some("label")) => Source::Label,
        (None, Some("maker")) => Source::Maker,
        (None, _) => Source::Guess,
    }
}

fn hinged(tab: &Tab<'_, '_>) -> [bool; 2] {
    let mut out = [false; 2];
    let expected = "a list of ends, as [\"to\"]";
    for value in tab.list("hinged", expected).unwrap_or_default() {
        match value.get_ref().as_str() {
            Some("from") => out[0] = true,
            Some("to") => out[1] = true,
            Some(other) => {
                let found = format!("`{}`", shorten(other));
                tab.reader.tell(Kind::UnknownWord, value.span(), tab.named("hinged"), found, choices(other, ["from", "to"]));
            }
            None => tab.reader.tell(Kind::WrongType, value.span(), tab.named("hinged"), shown(value.get_ref()), expected),
        }
    }
    out
}

fn span_table(tab: &Tab<'_, '_>) -> Vec<TableRow> {
    let mut rows: Vec<TableRow> = vec![];
    for row in tab.tables("table", "span") {
        let span = row.above_zero("span", row.need::<Length>("span"), false);
        let spread = row.above_zero("spread", row.quantity::<LineLoad>("spread"), false);
        let centre = row.above_zero("centre", row.quantity::<Force>("centre"), false);
        if !row.has("spread") && !row.has("centre") {
            row.missing("spread", "`spread`, `centre` or both");
        }
        row.done();
        let Some(span) = span else { continue };
        if rows.last().is_some_and(|last| last.span.0 >= span.0) {
            row.wrong("span", Kind::NotRising, metres(span), "a span longer than the row before");
        }
        rows.push(TableRow { span, spread, centre });
    }
    rows
}

/// Reports a text that cannot be an id, a site or part of a topic.
pub(super) fn check_name(tab: &Tab<'_, '_>, key: &str, name: &str) {
    let fits = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
    if name.chars().count() > 64 || !name.chars().all(fits) {
        let found = format!("`{}`", shorten(name));
        tab.wrong(key, Kind::BadName, found, "at most 64 letters, digits, `-`, `_` and `.`, no blanks");
    }
}

/// A length in metres, for a message.
pub(super) fn metres(length: Length) -> String {
    let rounded = (length.0 * 1000.0).round() / 1000.0;
    format!("{} m", if rounded == 0.0 { 0.0 } else { rounded })
}

/// The pieces by id and length, for what stands or hangs on them.
pub(super) struct Pieces(Vec<(Option<String>, Option<Length>)>);

impl Pieces {
    fn new(read: &[PieceRead]) -> Self {
        let length = |[a, b]: [[Length; 2]; 2]| Length((b[0].0 - a[0].0).hypot(b[1].0 - a[1].0));
        Pieces(read.iter().map(|p| (p.id.clone(), p.ends.map(length).filter(|l| l.0 >= SHORTEST_M))).collect())
    }

    /// The piece that a table names; the only one where there is one.
    pub(super) fn resolve(&self, tab: &Tab<'_, '_>) -> Option<usize> {
        let ids = || self.0.iter().filter_map(|(id, _)| id.as_deref()).collect::<std::collections::BTreeSet<_>>();
        if !tab.has("piece") {
            if self.0.len() > 1 {
                tab.wrong(
                    "piece",
                    Kind::PieceNotNamed,
                    "nothing",
                    format!("one of {}: the plan has several pieces", super::table::joined(ids())),
                );
            }
            return (self.0.len() == 1).then_some(0);
        }
        let id = tab.text("piece")?;
        let hit = self.0.iter().position(|(other, _)| other.as_deref() == Some(id));
        if hit.is_none() {
            tab.wrong("piece", Kind::UnknownPiece, format!("`{}`, which is no piece", shorten(id)), choices(id, ids()));
        }
        hit
    }

    /// Length of a piece, where it could be read.
    pub(super) fn length(&self, piece: usize) -> Option<Length> {
        self.0.get(piece)?.1
    }

    /// Reports a place off its piece (1 mm of rounding is forgiven) and gives it back within the piece.
    pub(super) fn on(&self, tab: &Tab<'_, '_>, key: &str, piece: Option<usize>, at: Length) -> Option<Length> {
        let Some(length) = piece.and_then(|p| self.length(p)) else { return Some(at) };
        if (-0.001..=length.0 + 0.001).contains(&at.0) {
            return Some(Length(at.0.clamp(0.0, length.0)));
        }
        let id = piece.and_then(|p| self.0[p].0.clone()).unwrap_or_default();
        tab.wrong(
            key,
            Kind::OffPiece,
            format!("{}, off the piece", metres(at)),
            format!("a place from 0 m to {} on `{id}`", metres(length)),
        );
        None
    }
}
