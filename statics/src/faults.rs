//! Why a plan must not be lifted, on what conditions it may, and what is worth knowing beside.
//!
//! Words are plain; weights in the plan's units. The printer adds nothing to them.

use crate::lift::Shape;
use crate::model::Model;
use crate::sheet::Sheet;
use raisewatch_protocol::units::{Force, Length};
use serde::Serialize;

/// Whether it may be lifted.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Verdict {
    /// Each reason why not; none: nothing was found against it. The lead decides.
    pub faults: Vec<Fault>,
    /// What it must be lifted with or without: pace, counted turns, no tower slack.
    pub conditions: Vec<String>,
    /// What the sheet does not know or assumed.
    pub notes: Vec<String>,
}

impl Verdict {
    /// True where nothing was found against it.
    pub fn may_be_lifted(&self) -> bool {
        self.faults.is_empty()
    }
}

/// One reason why not.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fault {
    /// What kind.
    pub kind: FaultKind,
    /// The tower concerned.
    pub tower: Option<usize>,
    /// The piece concerned.
    pub piece: Option<usize>,
    /// In plain words.
    pub text: String,
    /// What is lacking or too much, N (or 1 = the whole for a truss).
    pub amount: f64,
    /// What would cure it, in plain words; each tried on the plan.
    pub cures: Vec<String>,
}

/// Kinds of reasons.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// Share with the allowance over the rating.
    Over,
    /// Over the rating if the weights are off by their band.
    MayBeOver,
    /// Over once a cradle bears on its edge.
    OverOnEdge,
    /// A tower would have to pull.
    Uplift,
    /// Too light to come down by itself.
    Light,
    /// The truss past its maker's table.
    Truss,
    /// A span that the maker's table does not reach.
    TableShort,
    /// No tolerance left.
    NoTolerance,
    /// Trim higher than a tower reaches.
    TooHigh,
}

/// Twice the least load, to within half a percent: what no scale in the field shows is no reason.
pub(crate) const TWICE: f64 = 1.99;

/// Finds faults, conditions and notes of a sheet whose figures are there.
pub(crate) fn judge(model: &Model, sheet: &mut Sheet) {
    let mut v = Verdict::default();
    let words = Words { pounds: model.plan().units.pounds, feet: model.plan().units.feet };
    for i in 0..sheet.towers.len() {
        tower(model, sheet, i, &words, &mut v);
    }
    spans(model, sheet, &words, &mut v);
    if let Some(why) = &sheet.limits.refused {
        // On edge it is already told by its own reason.
        if !v.faults.iter().any(|f| matches!(f.kind, FaultKind::Over | FaultKind::OverOnEdge | FaultKind::Uplift | FaultKind::Light)) {
            v.faults.push(Fault { kind: FaultKind::NoTolerance, tower: None, piece: None, text: why.clone(), amount: 0.0, cures: vec![] });
        }
    }
    conditions(sheet, &words, &mut v);
    notes(model, sheet, &words, &mut v);
    sheet.verdict = v;
}

fn tower(model: &Model, sheet: &Sheet, i: usize, words: &Words, v: &mut Verdict) {
    let (plan, t) = (model.plan(), &sheet.towers[i]);
    let mut push = |kind, text, amount| v.faults.push(Fault { kind, tower: Some(i), piece: Some(t.piece), text, amount, cures: vec![] });
    let reach = plan.towers[i].full.0;
    if plan.trim_height.0 > reach + 1e-3 {
        let text = format!("tower {} reaches {}; trim is {}", t.id, words.length(reach), words.length(plan.trim_height.0));
        push(FaultKind::TooHigh, text, plan.trim_height.0 - reach);
    }
    let worst = &sheet.stations[t.worst];
    let at = &worst.towers[i];
    let light = &sheet.stations[t.lightest];
    let least_share = light.towers[i].share.n;
    let place = |s: &crate::sheet::StationSheet| {
        let on = match s.station.on {
            "rope" => "on the ropes",
            "pins" => "on the pins",
            _ => "with the heads levelled",
        };
        format!("at {} {on}", words.length(s.station.height_m))
    };
    if at.use_allowance > 1.0 {
        let over = plan.allowance * at.share.n + plan.towers[i].adapter.0 - at.rated_n;
        let text = format!(
            "tower {} carries {} {}, {:.0} % of its {} with the allowance of {:.2}: {} over",
            t.id,
            words.weight(at.share.n),
            place(worst),
            at.use_allowance * 100.0,
            words.weight(at.rated_n),
            plan.allowance,
            words.weight(over)
        );
        push(FaultKind::Over, text, over);
    } else if at.use_band > 1.0 {
        let over = plan.allowance * (at.share.n + at.share.sigma_n) + plan.towers[i].adapter.0 - at.rated_n;
        let text = format!(
            "tower {} carries {} ± {} {}: with the allowance it may be {} over its {}",
            t.id,
            words.weight(at.share.n),
            words.weight(at.share.sigma_n),
            place(worst),
            words.weight(over),
            words.weight(at.rated_n)
        );
        push(FaultKind::MayBeOver, text, over);
    } else if let Some(over) = on_edge(model, sheet, i) {
        let text = format!(
            "tower {} is {} over its rating with the allowance once the truss rocks on to the edge of its cradle",
            t.id,
            words.weight(over)
        );
        push(FaultKind::OverOnEdge, text, over);
    }
    if least_share < 0.0 {
        let text =
            format!("tower {} would have to pull {} {}: the truss lifts off it and tips", t.id, words.weight(-least_share), place(light));
        push(FaultKind::Uplift, text, 2.0 * t.least_n - least_share);
    } else if least_share < TWICE * t.least_n {
        let text = format!(
            "tower {} carries {} {}, less than twice the {} below which it does not come down by itself",
            t.id,
            words.weight(least_share),
            place(light),
            words.weight(t.least_n)
        );
        push(FaultKind::Light, text, 2.0 * t.least_n - least_share);
    }
}

/// How far a tower is over with its cradle on edge, at the worse of working height and trim, N.
fn on_edge(model: &Model, sheet: &Sheet, i: usize) -> Option<f64> {
    let plan = model.plan();
    let two = sheet.rake.as_ref()?;
    let over = two.iter().filter(|t| t.edge_n[i] > 0.0).map(|two| {
        let height = Length(two.height_m);
        let share = model.standing(&model.on(crate::Bearing::Rigid, height)).level_shares_n[i];
        plan.allowance * (share + two.edge_n[i]) + plan.towers[i].adapter.0 - plan.towers[i].rated_at(height).0
    });
    over.fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.max(v)))).filter(|v| *v > 0.0)
}

fn spans(model: &Model, sheet: &Sheet, words: &Words, v: &mut Verdict) {
    for s in &sheet.spans {
        let id = &model.plan().pieces[s.piece].id;
        let place = format!("truss {id} from {} to {}", words.length(s.from_m), words.length(s.to_m));
        let mut push = |kind, text, amount| v.faults.push(Fault { kind, tower: None, piece: Some(s.piece), text, amount, cures: vec![] });
        match (&s.allowed, s.unchecked) {
            (Some(a), _) if a.moment_use > 1.0 || a.shear_use > 1.0 => {
                let (what, used) = if a.moment_use >= a.shear_use { ("moment", a.moment_use) } else { ("shear", a.shear_use) };
                push(
                    FaultKind::Truss,
                    format!("{place}: {what} is {:.0} % of what the maker's table allows at {}", used * 100.0, words.length(a.row_m)),
                    used - 1.0,
                );
            }
            (None, Some(why)) if why.starts_with("longer") => push(FaultKind::TableShort, format!("{place} is {why}"), 0.0),
            _ => {}
        }
    }
}

fn conditions(sheet: &Sheet, words: &Words, v: &mut Verdict) {
    let l = &sheet.limits;
    if l.halved_pace {
        v.conditions.push(format!(
            "crank at half the planned pace: {:.1} mm/s up, {:.1} mm/s down; at full pace the reaction alone eats the tolerance",
            l.pace_m_s * 1000.0,
            l.pace_down_m_s * 1000.0
        ));
    }
    if let Some(turns) = l.counted_turn.filter(|_| l.refused.is_none()) {
        v.conditions.push(format!("crank by counted turns, {} at a time, all towers before the next", turns_in_words(turns)));
    }
    for t in sheet.three_legs.iter().filter(|t| t.use_static > 1.0) {
        v.conditions.push(format!(
            "no tower may go slack: with {} slack {} carries {}, {:.0} % of its rating",
            sheet.towers[t.slack].id,
            sheet.towers[t.worst].id,
            words.weight(t.shares_n[t.worst]),
            t.use_static * 100.0
        ));
    }
    for t in &sheet.towers {
        if let Some(tip) = t.stability.tip_n.filter(|tip| *tip < t.stability.expected_n) {
            v.conditions.push(format!(
                "tower {} tips at a push of {tip:.0} N at {}: less than the {:.0} N it should stand; wider outriggers",
                t.id,
                words.length(t.stability.height_m),
                t.stability.expected_n
            ));
        }
    }
}

fn notes(model: &Model, sheet: &Sheet, words: &Words, v: &mut Verdict) {
    let plan = model.plan();
    if plan.cables.is_empty() {
        v.notes.push("not complete: no cable in the plan".into());
    }
    for p in plan.pieces.iter().filter(|p| p.weight.0 == 0.0) {
        v.notes.push(format!("not complete: truss {} weighs nothing", p.id));
    }
    for p in plan.pieces.iter().filter(|p| p.table.is_empty()) {
        v.notes.push(format!("truss {}: not checked, no maker's table in the plan", p.id));
    }
    if let Some(d) = sheet.doubts.first().filter(|d| d.moves_n > 0.0) {
        v.notes.push(format!(
            "weight that matters most: {} ({}): its band moves {} by {}; {} more of it move that by {}",
            d.name,
            d.source,
            sheet.towers[d.tower].id,
            words.weight(d.moves_n),
            if words.pounds { "10 lb" } else { "10 kg" },
            words.weight(if words.pounds { d.per_10_kg_n * raisewatch_protocol::units::POUND_KG } else { d.per_10_kg_n })
        ));
    }
    // Torsion matters on rings alone.
    for a in sheet.assumed.iter().filter(|a| a.what == "bending" || sheet.shape == Shape::Ring) {
        let matters = match (a.what, sheet.shape) {
            ("bending", Shape::Two) => "slopes and sag depend on it, no share does",
            ("bending", _) => "slopes, sag and what heights do to shares depend on it",
            _ => "what twist does to shares depends on it",
        };
        v.notes.push(format!("{} stiffness of truss {} is not in the plan: {:.2} MN m2 assumed; {matters}", a.what, a.piece, a.n_m2 / 1e6));
    }
    v.notes.extend(sheet.limits.remarks.iter().cloned());
}

/// Turns in quarters, as a crew says them.
pub(crate) fn turns_in_words(turns: f64) -> String {
    let quarters = (turns * 4.0).round() as u32;
    match (quarters / 4, quarters % 4) {
        (0, 1) => "a quarter turn".into(),
        (0, 2) => "half a turn".into(),
        (0, 3) => "three quarters of a turn".into(),
        (1, 0) => "one turn".into(),
        (whole, 0) => format!("{whole} turns"),
        (whole, rest) => format!("{whole} {rest}/4 turns"),
    }
}

/// How weights and lengths are said.
pub(crate) struct Words {
    pub pounds: bool,
    pub feet: bool,
}

impl Words {
    /// A weight.
    pub fn weight(&self, n: f64) -> String {
        if self.pounds { format!("{:.0} lb", Force(n).lb()) } else { format!("{:.1} kg", Force(n).kg()) }
    }

    /// A height or a place.
    pub fn length(&self, m: f64) -> String {
        if self.feet { format!("{:.1} ft", m / 0.3048) } else { format!("{:.1} m", m) }
    }
}
