//! A scenario: what is lifted, what happens, what must be said, to whom, by when, and what must not. Data in tests/scenarios.

use anyhow::Context;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::words::{Kind, Severity, Step, Word};
use raisewatch_simulator::Script;
use raisewatch_simulator::quantity::{Metres, Radians, Seconds};
use serde::Deserialize;
use std::path::Path;

/// A scenario as written.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Written {
    title: String,
    plan: String,
    kit: String,
    seeds: Option<u64>,
    script: Script,
    #[serde(default)]
    must: Vec<Must>,
    #[serde(default)]
    must_not: MustNot,
    #[serde(default)]
    may: Vec<Pattern>,
}

/// A scenario, ready to play.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// Its number, the name of its file.
    pub id: String,
    /// What it is.
    pub title: String,
    /// Plan.
    pub plan: Plan,
    /// Kit.
    pub kit: Kit,
    /// Seeds to play where not asked otherwise; fewer for those of hours.
    pub seeds: Option<u64>,
    /// Script.
    pub script: Script,
    /// What must be said.
    pub must: Vec<Must>,
    /// What must not.
    pub must_not: MustNot,
    /// Words that are no false ones.
    pub may: Vec<Pattern>,
}

/// What must be said or found.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Must {
    /// A call with one of these words, to the spotter: an order, or `none` and `level` too.
    #[serde(default)]
    pub word: Vec<Word>,
    /// A finding (or the call's reason) of one of these kinds.
    #[serde(default)]
    pub kind: Vec<Kind>,
    /// The finding's severity.
    pub severity: Option<Severity>,
    /// At or about one of these towers; any where empty.
    #[serde(default)]
    pub tower: Vec<String>,
    /// Part of the words in which it is told.
    pub text: Option<String>,
    /// Another tower's part of the order.
    pub then: Option<Word>,
    /// Where the finding must be, m along the piece, within `position-within`.
    pub position: Option<Metres>,
    /// How near.
    #[serde(default)]
    pub position_within: Metres,
    /// From this moment of the truth.
    pub from: Onset,
    /// Not later than so long after it.
    pub within: Seconds,
    /// Not earlier than so long before it.
    #[serde(default)]
    pub early: Seconds,
}

/// A moment of the truth.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Onset {
    /// A fault begins (from 1, in the script's order).
    Fault(usize),
    /// Time since the start.
    At(Seconds),
    /// This step is set.
    Step(Step),
    /// The largest height difference between two heads passes this.
    Rake(Metres),
    /// A tower's crank stands this far above the line of its neighbours (in line), or the plane of the others (ring; of many, the
    /// one that fits them best); negative: below.
    Line(String, Metres),
    /// A mast has leaned by this much since the start.
    Lean(String, Radians),
    /// This tower carries over its rating, mean of a second.
    OverRating(String),
    /// The rope of this tower has fallen slack.
    RopeSlack(String),
    /// The load of this tower's head has fallen below this, N.
    Under(String, f64),
}

/// What must not be said or found.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct MustNot {
    /// Nothing is spoken to the crew at all.
    pub spoken: bool,
    /// Words never spoken to the crew; `level` and `none`: never to the spotter.
    pub words: Vec<Word>,
    /// Kinds never found (at any severity).
    pub kinds: Vec<Kind>,
    /// Kinds never spoken of to the crew.
    pub spoken_kinds: Vec<Kind>,
    /// Towers never held.
    pub holds: Vec<String>,
    /// More findings raised than this (of any kind, notes too).
    pub more_findings_than: Option<usize>,
    /// The true rake never passes this.
    pub rake: Option<Metres>,
}

/// Words that may be spoken beside what must.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Pattern {
    /// Any of these; any where empty.
    pub word: Vec<Word>,
    /// About any of these; any where empty.
    pub kind: Vec<Kind>,
    /// Naming any of these towers; any where empty.
    pub tower: Vec<String>,
}

impl Pattern {
    /// Whether a call fits.
    pub fn fits(&self, word: Word, kind: Option<Kind>, tower: Option<&str>) -> bool {
        (self.word.is_empty() || self.word.contains(&word))
            && (self.kind.is_empty() || kind.is_some_and(|k| self.kind.contains(&k)))
            && (self.tower.is_empty() || tower.is_some_and(|t| self.tower.iter().any(|own| own == t)))
    }
}

impl Scenario {
    /// Reads the scenario in `path`; plan and kit are named relative to it.
    ///
    /// Errors: what cannot be read, with its file and place.
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).with_context(|| name.clone())?;
        let written: Written = toml::from_str(&text).map_err(|e| anyhow::anyhow!("{name}: {e}"))?;
        let beside = |file: &str| -> anyhow::Result<(String, String)> {
            let path = path.parent().unwrap_or(Path::new(".")).join(file);
            let text = std::fs::read_to_string(&path).with_context(|| format!("{name}: {}", path.display()))?;
            Ok((text, path.display().to_string()))
        };
        let (plan, plan_file) = beside(&written.plan)?;
        let (kit, kit_file) = beside(&written.kit)?;
        Ok(Scenario {
            id: path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default(),
            title: written.title,
            plan: Plan::read(&plan, &plan_file).map_err(|e| anyhow::anyhow!("{plan_file}: {e:?}"))?,
            kit: Kit::read(&kit, &kit_file).map_err(|e| anyhow::anyhow!("{kit_file}: {e:?}"))?,
            seeds: written.seeds,
            script: written.script,
            must: written.must,
            must_not: written.must_not,
            may: written.may,
        })
    }

    /// All scenarios in a directory, by number.
    pub fn all(dir: &Path) -> anyhow::Result<Vec<Self>> {
        let entries = std::fs::read_dir(dir).with_context(|| dir.display().to_string())?;
        let mut paths: Vec<_> = entries.filter_map(|e| e.ok().map(|e| e.path())).collect();
        paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
        paths.sort();
        paths.iter().map(|p| Scenario::read(p)).collect()
    }
}
