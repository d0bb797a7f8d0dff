//! Whatever watches: the real watch, or the plain yardstick beside it.

use raisewatch_protocol::input::Input;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_watch::phrases::Phrases;
use raisewatch_watch::watch::{Output, Watch};

/// What a watcher tells.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// A finding.
    Finding(Finding),
    /// A call.
    Call(Call),
}

/// Something that takes inputs and tells.
pub trait Watcher {
    /// Takes one input.
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told>;
    /// When it wants to be called at the latest.
    fn deadline(&self) -> Option<Mono>;
}

/// The real watch.
#[derive(Debug)]
pub struct Watching(Watch);

impl Watching {
    /// For this plan and kit, with the usual phrases.
    ///
    /// Errors: what the watch has against plan or kit.
    pub fn new(plan: &Plan, kit: &Kit) -> anyhow::Result<Self> {
        Ok(Watching(Watch::new(plan, kit, Phrases::default())?))
    }

    /// The same, which tells a level at its limit and not ahead of it.
    ///
    /// Errors: what the watch has against plan or kit.
    pub fn plain(plan: &Plan, kit: &Kit) -> anyhow::Result<Self> {
        let mut watch = Watch::new(plan, kit, Phrases::default())?;
        watch.look_ahead(false);
        Ok(Watching(watch))
    }
}

impl Watcher for Watching {
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told> {
        let outputs = self.0.step(now, input).iter();
        let told = |output: &Output| match output {
            Output::Finding(finding) => Some(Told::Finding(finding.clone())),
            Output::Call(call) => Some(Told::Call(call.clone())),
            Output::HandOver(_) | Output::Reply { .. } => None,
        };
        outputs.filter_map(told).collect()
    }

    fn deadline(&self) -> Option<Mono> {
        self.0.deadline()
    }
}

/// Nobody watches: what happens when nothing is said.
#[derive(Debug)]
pub struct Nobody;

impl Watcher for Nobody {
    fn step(&mut self, _now: Mono, _input: &Input) -> Vec<Told> {
        Vec::new()
    }
    fn deadline(&self) -> Option<Mono> {
        None
    }
}
