//! The script of a lift: how the crew works, what it does, what goes wrong. TOML; keys in docs/simulator.md.

use crate::fault::{Fault, What, take_out};
use crate::instrument::Noise;
use crate::quantity::{Metres, Newtons, Seconds};
use raisewatch_protocol::said::SaidValue;
use raisewatch_protocol::words::{Channel, Step, Utterance};
use serde::Deserialize;

/// A whole script.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Script {
    /// What it is about.
    #[serde(default)]
    pub title: String,
    /// Instruments' noise and the world's unrest.
    #[serde(default)]
    pub noise: Noise,
    /// How things stand at the start.
    #[serde(default)]
    pub start: Start,
    /// The lift is over at this time; without it, a few seconds after the last act.
    pub end: Option<Seconds>,
    /// The wall clock at the start, told as the first line.
    pub wall: Option<jiff::Timestamp>,
    /// Habits of all operators.
    #[serde(default)]
    pub crew: Habits,
    /// Habits of one operator where they differ.
    #[serde(default)]
    pub operator: Vec<Operator>,
    /// The lead's ways.
    #[serde(default)]
    pub lead: LeadWays,
    /// How the real thing differs from the plan.
    #[serde(default)]
    pub real: Real,
    /// What the lead has done, one after the other.
    #[serde(default)]
    pub act: Vec<Act>,
    /// What goes wrong.
    #[serde(default)]
    pub fault: Vec<Fault>,
}

/// How things stand at the start.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Start {
    /// The step, said at once.
    pub step: Step,
    /// Height of the heads; the working height if left out.
    pub height: Option<Metres>,
    /// Whether the heads stand on pins at that height.
    pub pinned: bool,
    /// Whether nothing hangs yet (bare adapters).
    pub bare: bool,
    /// Heads out of level at the start, in the towers' order. Level is: heads alike on two towers, cranks alike on more.
    pub offsets: Vec<Metres>,
}

impl Default for Start {
    fn default() -> Self {
        Start { step: Step::Rig, height: None, pinned: false, bare: false, offsets: Vec::new() }
    }
}

/// Habits of an operator. Where a key is left out, common practice, no source.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Habits {
    /// Turns a second while raising; the plan's pace if left out.
    pub cadence: Option<f64>,
    /// Turns a second while lowering; the plan's pace if left out.
    pub cadence_down: Option<f64>,
    /// One turn differs from the next by this share (one standard deviation).
    pub jitter: f64,
    /// One operator differs from the next by this share (one standard deviation), all the time.
    pub spread: f64,
    /// From the word to the hands.
    pub reaction: Seconds,
    /// Least and most pause of an operator at the end of a section.
    pub section: [Seconds; 2],
    /// How much of an offset the spotter's eye takes out again, as a share of the cadence per turn of offset.
    pub eye: f64,
    /// Whether calls are obeyed.
    pub obeys: bool,
    /// Whether an obeying operator does so `up` and `down` too, or only `hold` and `stop`.
    pub corrects: bool,
}

impl Default for Habits {
    fn default() -> Self {
        Habits {
            cadence: None,
            cadence_down: None,
            jitter: 0.05,
            spread: 0.0,
            reaction: Seconds(1.2),
            section: [Seconds(2.0), Seconds(4.0)],
            eye: 0.0,
            obeys: true,
            corrects: true,
        }
    }
}

/// Habits of one operator.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Operator {
    /// Tower id.
    pub tower: String,
    /// Turns a second while raising.
    pub cadence: Option<f64>,
    /// Turns a second while lowering.
    pub cadence_down: Option<f64>,
    /// From the word to the hands.
    pub reaction: Option<Seconds>,
    /// Whether calls are obeyed.
    pub obeys: Option<bool>,
    /// Begins cranking so much later than told.
    #[serde(default)]
    pub late: Seconds,
}

/// The lead's ways.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct LeadWays {
    /// Says `heard` to every order so long after it; never where left out.
    pub heard: Option<Seconds>,
    /// Says `seen`, and `release` once it can be, so long after a stop; never where left out.
    pub release: Option<Seconds>,
}

impl Default for LeadWays {
    fn default() -> Self {
        LeadWays { heard: Some(Seconds(2.0)), release: None }
    }
}

/// How the real thing differs from the plan.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Real {
    /// The truss's stiffness, times the plan's.
    pub stiffness: f64,
    /// Rise per turn differs from the plan's by this share from tower to tower (one standard deviation).
    pub rise_spread: f64,
    /// Rise per turn grows by this share from one layer of rope on the drum to the next.
    pub layer: f64,
    /// Ropes' and pins' stiffness differs from the plan's by this share (one standard deviation).
    pub rope_spread: f64,
    /// Moving mast sections and head, carried by the rope and not seen by the head's cell.
    pub head: Newtons,
    /// Damping of the bounce, share of critical.
    pub damping: f64,
    /// Slope from which a flat cradle bears on its edge, fully at three times that. Source: docs/trade.md's 0.2 to 0.5°.
    pub cradle_play_deg: f64,
    /// Rope left slack when landed.
    pub slack: Metres,
    /// How far the heads are cranked over the pin before it goes in; settles back when landing.
    pub over_pin: [Metres; 2],
    /// Pins' places differ by this much (one standard deviation).
    pub pin_spread: Metres,
}

impl Default for Real {
    fn default() -> Self {
        Real {
            stiffness: 1.0,
            rise_spread: 0.01,
            layer: 0.0,
            rope_spread: 0.05,
            head: Newtons(78.0),
            damping: 0.08,
            cradle_play_deg: 0.2,
            slack: Metres(0.025),
            over_pin: [Metres(0.008), Metres(0.014)],
            pin_spread: Metres(0.001),
        }
    }
}

/// One thing that the lead has done; the next begins when it is done.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(try_from = "toml::Table")]
pub struct Act {
    /// Not before this time since the start of the lift.
    pub at: Option<Seconds>,
    /// So long after the act before is done.
    pub after: Seconds,
    /// What is done.
    pub what: Deed,
}

impl TryFrom<toml::Table> for Act {
    type Error = String;
    fn try_from(mut table: toml::Table) -> Result<Self, String> {
        #[derive(Deserialize)]
        struct When {
            at: Option<Seconds>,
            #[serde(default)]
            after: Seconds,
        }
        let when = take_out(&mut table, &["at", "after"]);
        let deed = table.get("do").map_or("no do".to_owned(), ToString::to_string);
        let told = |e: toml::de::Error| format!("act {deed}: {}", e.message());
        let when: When = when.try_into().map_err(told)?;
        Ok(Act { at: when.at, after: when.after, what: table.try_into().map_err(told)? })
    }
}

/// What can be done.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", rename_all_fields = "kebab-case", deny_unknown_fields)]
pub enum Deed {
    /// The lead sets the step.
    Step {
        /// To this.
        step: Step,
    },
    /// Somebody says something.
    Say {
        /// The word.
        said: Utterance,
        /// Tower it concerns.
        tower: Option<String>,
        /// Channel it concerns.
        channel: Option<Channel>,
        /// Its value.
        value: Option<SaidValueText>,
        /// By whom; the lead if left out.
        by: Option<String>,
    },
    /// The lead says `zero` of every instrument of this sort that the kit carries.
    Zero {
        /// Which.
        what: Zeroed,
    },
    /// The truss and all that hangs comes on to the heads, over this time.
    Hang {
        /// Over this time.
        over: Seconds,
    },
    /// One tower is cranked by so many turns, and the lead says so as the hands start.
    Turn {
        /// Which.
        tower: String,
        /// Turns up; 1 if left out.
        turns: Option<f64>,
    },
    /// Each of these towers is cranked by so many turns, all at once; nobody says so.
    Turns {
        /// Turns up, by tower.
        turns: std::collections::BTreeMap<String, f64>,
    },
    /// All (or these) crank to a height.
    Crank {
        /// To this height of the head.
        to: Option<Metres>,
        /// By so much, up positive.
        by: Option<Metres>,
        /// Only these towers.
        towers: Option<Vec<String>>,
        /// Whether the operators pause at each pin on the way to change sections.
        #[serde(default)]
        sections: bool,
        /// In steps of so many turns together, with a pause between (counted turns).
        counted: Option<f64>,
    },
    /// All come on to the pins at the nearest pin height above, one tower so long after the other.
    Land {
        /// From one tower to the next.
        #[serde(default)]
        stagger: Seconds,
    },
    /// All take the load on the rope and draw the pins.
    Unpin,
    /// Nothing, for this long.
    Wait {
        /// This long.
        #[serde(rename = "for")]
        lasts: Seconds,
    },
}

/// Which instruments are zeroed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Zeroed {
    /// Head and rope loads: said with bare adapters.
    Loads,
    /// Tilts: said with the truss level.
    Tilts,
}

/// A value said: a number or a text.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(transparent)]
pub struct SaidValueText(pub SaidValue);

/// Why a script cannot be played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScriptError {
    /// Not TOML, an unknown key, a wrong unit: where and what.
    #[error("{file}: {text}")]
    Unreadable {
        /// The file.
        file: String,
        /// Line, column and what was expected.
        text: String,
    },
    /// Names something that plan or kit do not have.
    #[error("script \"{script}\": {what}: there is no {sort} \"{name}\"; there are {known}")]
    Unknown {
        /// Title of the script.
        script: String,
        /// Which act or fault.
        what: String,
        /// `tower`, `node`, `piece`.
        sort: &'static str,
        /// The name.
        name: String,
        /// What there is.
        known: String,
    },
    /// A value that makes no sense.
    #[error("script \"{script}\": {what}: expected {expected}, found {found}")]
    Senseless {
        /// Title of the script.
        script: String,
        /// Which act or fault.
        what: String,
        /// What would be right.
        expected: String,
        /// What was found.
        found: String,
    },
}

impl Script {
    /// Reads a script.
    ///
    /// Errors: [`ScriptError::Unreadable`] with line and column.
    pub fn read(text: &str, file: &str) -> Result<Self, ScriptError> {
        toml::from_str(text).map_err(|e| ScriptError::Unreadable { file: file.to_owned(), text: e.to_string() })
    }

    /// Habits of the operator at this tower.
    pub fn habits(&self, tower: &str) -> (Habits, f64) {
        let mut habits = self.crew.clone();
        let mut late_s = 0.0;
        if let Some(own) = self.operator.iter().find(|o| o.tower == tower) {
            habits.cadence = own.cadence.or(habits.cadence);
            habits.cadence_down = own.cadence_down.or(habits.cadence_down);
            habits.reaction = own.reaction.unwrap_or(habits.reaction);
            habits.obeys = own.obeys.unwrap_or(habits.obeys);
            late_s = own.late.0;
        }
        (habits, late_s)
    }

    /// Places on the truss that faults touch: index of the fault, piece name, m along it.
    pub fn touched(&self) -> impl Iterator<Item = (usize, Option<&String>, f64)> {
        self.fault.iter().enumerate().flat_map(|(i, fault)| {
            let (piece, places) = match &fault.what {
                What::Snag { piece, at, .. }
                | What::Case { piece, at, .. }
                | What::Weight { piece, at, .. }
                | What::Joint { piece, at, .. } => (piece.as_ref(), vec![at.0]),
                What::Hands { piece, at, .. } => (piece.as_ref(), at.iter().map(|a| a.0).collect()),
                _ => (None, Vec::new()),
            };
            places.into_iter().map(move |at| (i, piece, at))
        })
    }
}
