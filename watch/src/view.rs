//! What the pages draw: the lift as the watch sees it now. Absent is null, never 0.

use crate::learn::ahead::AheadView;
use crate::learn::hand_over::HandOver;
use crate::learn::hanging::OfferView;
use crate::learn::next_turns::NextTurnsView;
use crate::learn::stiffness::LearntView;
use raisewatch_protocol::Mono;
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::words::{Channel, Step, Utterance};
use serde::Serialize;
use std::collections::BTreeMap;

/// The whole view.
#[derive(Clone, Debug, Serialize)]
pub struct View {
    /// Now.
    pub t_ms: Mono,
    /// Title of the plan.
    pub title: String,
    /// Revision of the plan.
    pub revision: u32,
    /// Units of the pages: weight and length, as the plan has them.
    pub units: [&'static str; 2],
    /// Pieces in plan order.
    pub pieces: Vec<PieceView>,
    /// Step.
    pub step: Step,
    /// `up`, `down` or `still`.
    pub moving: &'static str,
    /// Heads move in a still step.
    pub moving_unsaid: bool,
    /// Whether every channel that level and share rest on has a zero.
    pub zeroed: bool,
    /// Whether every tower is proved.
    pub proved: bool,
    /// Why no level is claimed, in words; null where it is.
    pub not_claimed: Option<String>,
    /// Height of the truss, m.
    pub height_m: Option<f64>,
    /// Towers in plan order.
    pub towers: Vec<TowerView>,
    /// Limits in force.
    pub limits: Option<LimitsView>,
    /// Towers through whose heads the level line passes.
    pub level_through: Vec<String>,
    /// The call of each recipient.
    pub calls: BTreeMap<String, Call>,
    /// Open findings, as last told, newest amount.
    pub findings: Vec<Finding>,
    /// Something that holds or carries the truss.
    pub caught: Option<CaughtView>,
    /// Health by channel.
    pub health: Vec<HealthView>,
    /// Newest of each thing said at each tower in this step.
    pub said: Vec<SaidView>,
    /// Counted turns: by how much each tower goes next. Advice, no order; null while a head is not known or a call is not calm.
    pub next_turns: Option<NextTurnsView>,
    /// When a limit of the heights is reached at the rate of now; null while no rate is beyond doubt.
    pub ahead_s: Option<AheadView>,
    /// What turns of single towers showed at the test lift; null before the first.
    pub learnt: Option<LearntView>,
    /// Steps in weight while rigging, each with the items of the plan that fit it. Offers: nothing changes by them.
    pub hung: Vec<OfferView>,
    /// What a new crew must know: the state card.
    pub hand_over: HandOver,
}

/// A piece of truss.
#[derive(Clone, Debug, Serialize)]
pub struct PieceView {
    /// Id.
    pub id: String,
    /// Length, m.
    pub length_m: f64,
    /// Begin, in plan.
    pub from_m: [f64; 2],
    /// End, in plan.
    pub to_m: [f64; 2],
}

/// A tower.
#[derive(Clone, Debug, Serialize)]
pub struct TowerView {
    /// Id.
    pub id: String,
    /// Spoken name.
    pub name: String,
    /// Piece id.
    pub piece: String,
    /// Place on the piece, m.
    pub x_m: f64,
    /// Rating at the height now, N.
    pub rated_n: f64,
    /// Adapter, N.
    pub adapter_n: f64,
    /// Rise for one turn, mm.
    pub per_turn_mm: f64,
    /// Head above the level line, mm.
    pub offset_mm: Option<f64>,
    /// One standard deviation.
    pub offset_sigma_mm: Option<f64>,
    /// Share measured, N.
    pub measured_n: Option<f64>,
    /// Share expected at the heights now, N.
    pub expected_n: Option<f64>,
    /// Share planned, N.
    pub planned_n: f64,
    /// One standard deviation of the measured share.
    pub share_sigma_n: Option<f64>,
    /// Head above the floor, m.
    pub height_m: Option<f64>,
    /// True where the drawing is torn: nothing heard for 1 s or three periods, whichever is longer.
    pub blind: bool,
    /// Age of the newest reading, ms.
    pub age_ms: Option<f64>,
    /// `none`, `said` or `measured`.
    pub pins: &'static str,
    /// Whether a turn (or the kit) proved it.
    pub proved: bool,
}

/// Limits of the height.
#[derive(Clone, Debug, Serialize)]
pub struct LimitsView {
    /// Warn, mm.
    pub warn_mm: f64,
    /// Stop, mm.
    pub stop_mm: Option<f64>,
    /// `rake`, `line` or `twist`.
    pub kind: &'static str,
}

/// Something that holds or carries the truss.
#[derive(Clone, Debug, Serialize)]
pub struct CaughtView {
    /// Piece id.
    pub piece: String,
    /// Where, m; null where not known well enough.
    pub position_m: Option<f64>,
    /// One standard deviation, m.
    pub sigma_m: f64,
    /// Force, N, + pressing down.
    pub force_n: f64,
}

/// A channel's health.
#[derive(Clone, Debug, Serialize)]
pub struct HealthView {
    /// Node id.
    pub node: String,
    /// Tower id.
    pub tower: String,
    /// Channel.
    pub channel: Channel,
    /// `heard`, `silent`, `never-heard`, `out-of-range`, `not-zeroed`, `backwards`, `distrusted`, `too-slow`, `offline`.
    pub state: &'static str,
    /// Age of its newest reading, ms.
    pub age_ms: Option<f64>,
    /// Newest value, in `unit`.
    pub value: Option<f64>,
    /// `deg`, `N`, `m`, `V`.
    pub unit: &'static str,
    /// Single wild readings that were kept out of its means, since the lift began.
    pub spikes: u32,
    /// Time between two new values, s, where each comes in several readings alike; null where every reading is new.
    pub renews_s: Option<f64>,
}

/// Something said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SaidView {
    /// When.
    pub t_ms: Mono,
    /// What.
    pub said: Utterance,
    /// At which tower.
    pub tower: Option<String>,
    /// Of which channel.
    pub channel: Option<Channel>,
    /// By whom.
    pub by: Option<String>,
}
