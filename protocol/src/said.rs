//! What people say to the watch, and the step they set.

use crate::words::{Channel, Step, Utterance};
use serde::{Deserialize, Serialize};

/// One thing said, with what it applies to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Said {
    /// The word.
    pub said: Utterance,
    /// The tower it concerns, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tower: Option<String>,
    /// The channel it concerns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel: Option<Channel>,
    /// A number (turns up, metres, newtons, seconds of shelving) or, for `note`, a text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<SaidValue>,
    /// The finding it concerns, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<String>,
    /// Who said it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// The value of something said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum SaidValue {
    /// A number: turns, m, N or s, as the word needs.
    Number(f64),
    /// A text; a quantity with its unit ("12 kg") where a number is meant.
    Text(String),
}

/// A step set by a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepSet {
    /// The step.
    pub step: Step,
    /// Who set it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}
