//! What comes out of the watch: findings and calls, one line per change, exactly as docs/forms.md spells them.

use crate::mono::Mono;
use crate::words::{Audience, CallState, Kind, LifeState, Severity, Word};
use serde::{Deserialize, Serialize};

/// One change of a finding. Numbers are rounded to 0.1 of their unit; angles are in degrees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// When.
    pub t_ms: Mono,
    /// `kind-tower-n`; `all` where there is no tower.
    pub id: String,
    /// What.
    pub kind: Kind,
    /// How grave; never falling within one life.
    pub severity: Severity,
    /// Tower id.
    pub tower: Option<String>,
    /// Piece id.
    pub piece: Option<String>,
    /// Metres from the piece's `from` end; null while its sigma is over 0.5 m.
    pub position_m: Option<f64>,
    /// How much, in `unit`.
    pub amount: Option<f64>,
    /// `mm`, `deg`, `N`, `s`, or the channel's.
    pub unit: Option<String>,
    /// One standard deviation of the amount.
    pub sigma: Option<f64>,
    /// The limit that was passed, in `unit`.
    pub limit: Option<f64>,
    /// Since when the condition holds.
    pub since_ms: Mono,
    /// Where it is in its life.
    pub state: LifeState,
    /// Whom it concerns.
    pub to: Audience,
    /// In words.
    pub text: String,
    /// True on a line that tells a new amount and repeats the state it is in.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub change: bool,
}

/// What another tower does beside a hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Then {
    /// Tower id.
    pub tower: String,
    /// `up` or `down`.
    pub call: Word,
    /// Quarters of a turn, at most 2 turns.
    pub turns: f64,
}

/// One change of a call, for one recipient.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Call {
    /// When.
    pub t_ms: Mono,
    /// Its number in this lift.
    pub id: String,
    /// The word.
    pub call: Word,
    /// `spotter`, `lead` or a tower id.
    pub to: String,
    /// The tower named.
    pub tower: Option<String>,
    /// To the spotter and the lead: what the other towers do.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub then: Vec<Then>,
    /// Turns, in quarters, at most 2 (on a tower's own call).
    pub turns: Option<f64>,
    /// The kind behind it.
    pub reason: Option<Kind>,
    /// The finding behind it.
    pub finding: Option<String>,
    /// Said, repeated or over.
    pub state: CallState,
    /// The words, rendered from the lift's phrase file.
    pub text: String,
    /// Towers through whose heads the level line passes.
    pub level_through: Vec<String>,
}
