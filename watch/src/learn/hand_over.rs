//! The hand-over: all that a new crew must know, in one object. Part of every view; recorded whole when `hand-over` is said.
//!
//! What nobody said and nothing measured is null: a pin that was not said is not "out", a hole that was not told is not guessed.
//! Source: docs/trade.md section 1.12 (state card, three items read back, no mute survives).

use raisewatch_protocol::Mono;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::said::Said;
use raisewatch_protocol::told::Finding;
use raisewatch_protocol::words::{Channel, Step, Utterance};
use raisewatch_statics::Model;
use raisewatch_statics::tolerance::{self, Limit, Origin, StepRows};
use serde::Serialize;

/// The state that is handed over.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandOver {
    /// Now.
    pub t_ms: Mono,
    /// Step.
    pub step: Step,
    /// Since when it is this step.
    pub since_ms: Mono,
    /// Who set it, where it was set by a named person.
    pub step_by: Option<String>,
    /// Height of the truss, m; null where not known.
    pub height_m: Option<f64>,
    /// Towers in plan order.
    pub towers: Vec<TowerHanded>,
    /// Every channel that needs a zero, with its zero or without.
    pub zeros: Vec<ZeroHanded>,
    /// Open findings that are not put aside.
    pub findings: Vec<Finding>,
    /// Findings that are put aside: they end at the hand-over.
    pub shelved: Vec<ShelvedHanded>,
    /// Limits in force in this step.
    pub limits: Vec<LimitHanded>,
    /// Crank by at most so many turns on a count; null: by pace.
    pub counted_turn: Option<f64>,
    /// A change of weight that was announced and has not come.
    pub expected: Option<ExpectedHanded>,
    /// What was said last, and by whom.
    pub last_said: Option<LastSaid>,
    /// The three items that the incoming lead reads back, in words.
    pub read_back: [String; 3],
    /// The hand-over that was said last.
    pub handed: Option<Handed>,
}

/// A tower, handed over.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TowerHanded {
    /// Id.
    pub id: String,
    /// Spoken name.
    pub name: String,
    /// When and by whom `pinned` was said since the heads last moved by a step; null: not said.
    pub pinned: Option<SaidBy>,
    /// True: the rope's own cell shows that the pins carry. False: it shows that the rope does. Null: no cell tells.
    pub pins_measured: Option<bool>,
    /// Pin hole, counted from the lowest, by the sections said to be up; null: not told.
    pub hole: Option<usize>,
    /// Height of that hole, m.
    pub hole_m: Option<f64>,
    /// When and by whom the rope's slack was said to be set.
    pub slack_set: Option<SaidBy>,
    /// Whether one turn (or the kit) proved it.
    pub proved: bool,
    /// Measured share, N; null where not claimed.
    pub share_n: Option<f64>,
}

/// When and by whom something was said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SaidBy {
    /// When.
    pub t_ms: Mono,
    /// By whom, where they named themselves.
    pub by: Option<String>,
}

/// A zero in force, or its absence.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ZeroHanded {
    /// Node id.
    pub node: String,
    /// Tower id.
    pub tower: String,
    /// Channel.
    pub channel: Channel,
    /// What it read at zero, in `unit`; null: not zeroed.
    pub value: Option<f64>,
    /// `deg` or `N`.
    pub unit: &'static str,
    /// `said` in this lift, `kit`, or null.
    pub from: Option<&'static str>,
    /// When it was said.
    pub said_ms: Option<Mono>,
    /// Wall clock of the zero that the kit carries.
    pub when: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// Wall clock until which the kit's zero holds; a said one holds for the lift.
    pub valid_until: Option<String>,
}

/// A finding that is put aside.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShelvedHanded {
    /// The finding.
    pub finding: Finding,
    /// When its shelving would end by itself.
    pub until_ms: Option<Mono>,
}

/// A limit in force.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitHanded {
    /// `rake`, `line`, `twist`, `lean`, `roll`, `share` or `total`.
    pub limit: &'static str,
    /// Warn, in `unit`.
    pub warn: f64,
    /// Stop; null: none.
    pub stop: Option<f64>,
    /// `mm`, `deg` or `N`.
    pub unit: &'static str,
    /// `statics`, `default`, `typed` or `override`.
    pub origin: &'static str,
    /// Who changed it, where a named person did.
    pub by: Option<String>,
    /// What governs, in words.
    pub reason: String,
}

/// An announced change of weight.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExpectedHanded {
    /// By how much, N, + more; null: no amount was said.
    pub change_n: Option<f64>,
    /// At which tower, where said.
    pub tower: Option<String>,
    /// When it was said.
    pub since_ms: Mono,
}

/// What was said last.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LastSaid {
    /// When.
    pub t_ms: Mono,
    /// The word said, or the step set.
    pub what: String,
    /// At which tower.
    pub tower: Option<String>,
    /// By whom.
    pub by: Option<String>,
}

/// A hand-over that was said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Handed {
    /// When.
    pub t_ms: Mono,
    /// Who took over.
    pub by: Option<String>,
    /// What was read back, where it was said with it.
    pub read_back: Option<String>,
}

/// What the hand-over keeps that nothing else needs: who said what.
#[derive(Clone, Debug)]
pub struct Memory {
    limits: Vec<(Step, Vec<LimitHanded>)>,
    pub(crate) step_by: Option<String>,
    pub(crate) pinned_by: Vec<Option<String>>,
    pub(crate) slack_by: Vec<Option<String>>,
    /// By channel: when and by whom its zero was said.
    pub(crate) zeros: Vec<Option<SaidBy>>,
    pub(crate) last: Option<LastSaid>,
    pub(crate) handed: Option<Handed>,
}

impl Memory {
    /// Nothing said yet.
    pub fn new(plan: &Plan, model: &Model, channels: usize) -> Self {
        let laid = tolerance::limits(plan, model);
        let towers = plan.towers.len();
        Memory {
            limits: Step::ALL.iter().map(|step| (*step, handed_limits(laid.step(*step)))).collect(),
            step_by: None,
            pinned_by: vec![None; towers],
            slack_by: vec![None; towers],
            zeros: vec![None; channels],
            last: None,
            handed: None,
        }
    }

    /// Limits in force in a step.
    pub fn limits(&self, step: Step) -> Vec<LimitHanded> {
        self.limits.iter().find(|(s, _)| *s == step).map(|(_, rows)| rows.clone()).unwrap_or_default()
    }

    /// A step was set.
    pub fn stepped(&mut self, now: Mono, step: Step, by: Option<&str>) {
        self.step_by = by.map(str::to_owned);
        self.last = Some(LastSaid { t_ms: now, what: step.word().to_owned(), tower: None, by: self.step_by.clone() });
    }

    /// Something was said and taken at `tower` (all, where none is named).
    pub fn heard(&mut self, now: Mono, said: &Said, tower: Option<usize>) {
        let list = match said.said {
            Utterance::Pinned => Some(&mut self.pinned_by),
            Utterance::SlackSet => Some(&mut self.slack_by),
            _ => None,
        };
        for (at, by) in list.into_iter().flatten().enumerate() {
            if tower.is_none_or(|t| t == at) {
                by.clone_from(&said.by);
            }
        }
        self.last = Some(LastSaid { t_ms: now, what: said.said.word().to_owned(), tower: said.tower.clone(), by: said.by.clone() });
    }
}

/// The rows of a step as they are told.
fn handed_limits(rows: &StepRows) -> Vec<LimitHanded> {
    let degrees = 1.0_f64.to_degrees();
    [
        ("rake", &rows.rake, 1000.0, "mm"),
        ("line", &rows.line, 1000.0, "mm"),
        ("twist", &rows.twist, 1000.0, "mm"),
        ("lean", &rows.lean, degrees, "deg"),
        ("roll", &rows.roll, degrees, "deg"),
        ("share", &rows.share, 1.0, "N"),
        ("total", &rows.total, 1.0, "N"),
    ]
    .into_iter()
    .filter_map(|(name, row, factor, unit)| row.as_ref().map(|row| handed_limit(name, row, factor, unit)))
    .collect()
}

fn handed_limit(limit: &'static str, row: &Limit, factor: f64, unit: &'static str) -> LimitHanded {
    let tenth = |v: f64| (v * factor * 10.0).round() / 10.0;
    let (origin, by, why) = match &row.origin {
        Origin::Statics => ("statics", None, None),
        Origin::Default => ("default", None, None),
        Origin::Typed => ("typed", None, None),
        Origin::Override { by, reason } => ("override", Some(by.clone()), Some(reason.clone())),
    };
    LimitHanded {
        limit,
        warn: tenth(row.warn),
        stop: row.stop.map(tenth),
        unit,
        origin,
        by,
        reason: why.unwrap_or_else(|| row.reason.clone()),
    }
}
