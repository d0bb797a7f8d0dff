//! Without a plan nothing is judged: what comes is recorded, pages say so, and a person's STOP still reaches everybody.
//!
//! There is no level, no share, no finding of the program's own, and the call is `none`: "No plan. Recording only."

use crate::judge::Judge;
use crate::sinks::Told;
use raisewatch_protocol::input::Input;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::said::Said;
use raisewatch_protocol::told::{Call, Finding};
use raisewatch_protocol::words::{Audience, CallState, Kind, LifeState, Severity, Step, Utterance, Word};
use raisewatch_watch::phrases::Phrases;
use serde_json::{Value, json};

/// A stop is said every 2 s for 10 s, then every 30 s (docs/forms.md, "Life of a finding").
const SOON: Span = Span::ms(2_000);
const SOON_FOR: Span = Span::ms(10_000);
const LATER: Span = Span::ms(30_000);
/// A channel that was not heard for so long, or for three of its periods, is silent.
const SILENT: Span = Span::ms(1_000);

/// Takes part in a lift that has no plan.
pub struct NoPlan {
    kit: Kit,
    phrases: Phrases,
    now: Mono,
    step: Step,
    /// When each channel of each node was heard last.
    heard: Vec<Vec<Option<Mono>>>,
    stop: Option<Stopped>,
    stops: u32,
    calls: u32,
    standing: Vec<Call>,
}

/// A person said stop.
struct Stopped {
    finding: Finding,
    next: Mono,
}

impl NoPlan {
    /// For the nodes of this kit.
    pub fn new(kit: &Kit, phrases: Phrases) -> Self {
        let heard = kit.nodes.iter().map(|node| vec![None; node.channels.len()]).collect();
        let mut made =
            NoPlan { kit: kit.clone(), phrases, now: Mono(0), step: Step::Rig, heard, stop: None, stops: 0, calls: 0, standing: vec![] };
        made.call(CallState::Said);
        made
    }

    /// Everybody who is called: spotter, lead, and the towers that the kit names.
    fn everybody(&self) -> Vec<String> {
        let mut all = vec!["spotter".to_owned(), "lead".to_owned()];
        all.extend(towers(&self.kit));
        all
    }

    /// Makes the call of the moment, for everybody.
    fn call(&mut self, state: CallState) -> Vec<Told> {
        let (word, reason, finding, text) = match &self.stop {
            Some(stop) => (Word::Stop, Some(Kind::StopSaid), Some(stop.finding.id.clone()), self.stop_words()),
            None => (Word::None, None, None, self.phrases.of("page-no-plan").to_owned()),
        };
        if state == CallState::Said {
            self.calls += 1;
        }
        let id = format!("call-{}", self.calls);
        let made = |to| Call {
            t_ms: self.now,
            id: id.clone(),
            call: word,
            to,
            tower: None,
            then: vec![],
            turns: None,
            reason,
            finding: finding.clone(),
            state,
            text: text.clone(),
            level_through: vec![],
        };
        self.standing = self.everybody().into_iter().map(made).collect();
        self.standing.iter().cloned().map(Told::Call).collect()
    }

    fn stop_words(&self) -> String {
        self.phrases.render("stop", &[("reason", self.phrases.of("reason-stop-said"))])
    }

    fn said(&mut self, said: &Said) -> Vec<Told> {
        match said.said {
            Utterance::Stop => self.stopped(said.by.as_deref()),
            Utterance::Release => self.released(),
            _ => vec![],
        }
    }

    fn stopped(&mut self, by: Option<&str>) -> Vec<Told> {
        let who = by.unwrap_or(self.phrases.of("somebody"));
        let text = self.phrases.render("stop-said", &[("what", who)]);
        if self.stop.is_none() {
            self.stops += 1;
        }
        let finding = Finding {
            t_ms: self.now,
            id: format!("stop-said-all-{}", self.stops),
            kind: Kind::StopSaid,
            severity: Severity::Stop,
            tower: None,
            piece: None,
            position_m: None,
            amount: None,
            unit: None,
            sigma: None,
            limit: None,
            since_ms: self.stop.as_ref().map_or(self.now, |stop| stop.finding.since_ms),
            // It needs no `seen`: it was a person who said it.
            state: LifeState::Latched,
            to: Audience::Crew,
            text,
            change: false,
        };
        self.stop = Some(Stopped { finding: finding.clone(), next: self.now + SOON });
        let mut told = vec![Told::Finding(finding)];
        told.extend(self.call(CallState::Said));
        told
    }

    fn released(&mut self) -> Vec<Told> {
        let Some(stop) = self.stop.take() else {
            let text = self.phrases.render("nothing-open", &[("what", self.phrases.of("everywhere"))]);
            return vec![Told::Reply { t_ms: self.now, to: None, text, refused: true }];
        };
        let over = self.standing.iter().map(|call| Call { t_ms: self.now, state: CallState::Over, ..call.clone() });
        let mut told: Vec<Told> = over.map(Told::Call).collect();
        told.insert(0, Told::Finding(Finding { t_ms: self.now, state: LifeState::Cleared, ..stop.finding }));
        told.extend(self.call(CallState::Said));
        told
    }

    fn repeated(&mut self) -> Vec<Told> {
        let now = self.now;
        let Some(stop) = self.stop.as_mut().filter(|stop| stop.next <= now) else { return vec![] };
        stop.next = now + if now.since(stop.finding.since_ms) < SOON_FOR { SOON } else { LATER };
        self.call(CallState::Repeated)
    }

    fn health(&self) -> Vec<Value> {
        let nodes = self.kit.nodes.iter().zip(&self.heard);
        let channel = |node: &raisewatch_protocol::kit::Node, channel, heard: Option<Mono>| {
            let period = Span::from_s(3.0 / node.still_rate_hz.max(0.001)).0.max(SILENT.0);
            let age = heard.map(|at| self.now.since(at));
            let state = match age {
                None => "never-heard",
                Some(age) if age.0 >= period => "silent",
                Some(_) => "heard",
            };
            json!({ "node": node.id, "tower": node.tower, "channel": channel, "state": state,
                "age_ms": age.map(|age| age.s() * 1000.0), "value": null, "unit": "" })
        };
        nodes.flat_map(|(node, heard)| node.channels.iter().zip(heard).map(|(fitted, at)| channel(node, fitted.channel, *at))).collect()
    }
}

/// The towers that a kit names, each once, in its order.
pub fn towers(kit: &Kit) -> Vec<String> {
    let mut all: Vec<String> = vec![];
    for node in &kit.nodes {
        if !all.contains(&node.tower) {
            all.push(node.tower.clone());
        }
    }
    all
}

impl Judge for NoPlan {
    fn step(&mut self, now: Mono, input: &Input) -> Vec<Told> {
        self.now = now;
        match input {
            Input::Packet(packet) => {
                for reading in packet.readings.iter().filter(|reading| reading.value.is_ok()) {
                    let fitted = &self.kit.nodes[packet.node].channels;
                    if let Some(at) = fitted.iter().position(|fitted| fitted.channel == reading.channel) {
                        self.heard[packet.node][at] = Some(now);
                    }
                }
                vec![]
            }
            Input::Step(set) => {
                self.step = set.step;
                vec![]
            }
            Input::Said(said) => self.said(said),
            Input::Tick => self.repeated(),
            Input::Presence { .. } | Input::Link { .. } | Input::Wall(_) => vec![],
        }
    }

    fn deadline(&self) -> Option<Mono> {
        self.stop.as_ref().map(|stop| stop.next)
    }

    fn view(&self) -> Value {
        let calls: serde_json::Map<String, Value> =
            self.standing.iter().filter_map(|call| Some((call.to.clone(), serde_json::to_value(call).ok()?))).collect();
        let findings: Vec<&Finding> = self.stop.iter().map(|stop| &stop.finding).collect();
        json!({
            "t_ms": self.now, "title": null, "revision": null, "units": ["kg", "m"], "pieces": [], "step": self.step,
            "moving": "still", "moving_unsaid": false, "zeroed": false, "proved": false, "not_claimed": null, "height_m": null,
            "towers": [], "limits": null, "level_through": [], "calls": calls, "findings": findings, "caught": null,
            "health": self.health(), "said": [],
        })
    }

    fn lift_step(&self) -> Step {
        self.step
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_protocol::intake::Intake;
    use raisewatch_protocol::trace::TraceLine;

    const KIT: &str =
        "[[node]]\nid = \"n1\"\ntower = \"A\"\nover = \"mqtt\"\nrate = \"20 Hz\"\n[node.channel.truss-along]\nunit = \"deg\"\n";

    fn bench() -> (NoPlan, Intake) {
        let kit = Kit::read(KIT, "kit.toml").unwrap();
        (NoPlan::new(&kit, Phrases::default()), Intake::new(&kit))
    }

    fn give(judge: &mut NoPlan, intake: &mut Intake, line: &str) -> Vec<Told> {
        let line = TraceLine::parse(line).unwrap();
        intake.take(&line).inputs.iter().flat_map(|input| judge.step(line.t_ms, input)).collect()
    }

    fn texts(told: &[Told]) -> Vec<String> {
        let text = |told: &Told| match told {
            Told::Call(call) => Some(format!("{} {} {} {}", call.to, call.call, call.state, call.text)),
            Told::Finding(finding) => Some(format!("{} {} {}", finding.id, finding.state, finding.text)),
            Told::Reply { text, .. } => Some(text.clone()),
            _ => None,
        };
        told.iter().filter_map(text).collect()
    }

    #[test]
    fn readings_are_heard_and_nothing_is_claimed_of_them() {
        let (mut judge, mut intake) = bench();
        assert_eq!(judge.view()["health"][0]["state"], "never-heard");
        let told = give(&mut judge, &mut intake, r#"{"t_ms":1000,"node":"n1","senml":[{"n":"truss-along","v":9.5}]}"#);
        assert!(told.is_empty(), "{told:?}");
        let view = judge.view();
        assert_eq!((&view["health"][0]["state"], &view["calls"]["spotter"]["call"]), (&json!("heard"), &json!("none")));
        assert_eq!(view["calls"]["A"]["text"], "No plan. Recording only.");
        assert_eq!((&view["towers"], &view["limits"], &view["findings"]), (&json!([]), &json!(null), &json!([])));
        give(&mut judge, &mut intake, r#"{"t_ms":2500,"step":"raise"}"#);
        assert_eq!(judge.view()["health"][0]["state"], "silent");
        assert_eq!((judge.lift_step(), judge.deadline()), (Step::Raise, None));
    }

    #[test]
    fn a_persons_stop_reaches_everybody_is_said_again_and_stands_until_it_is_released() {
        let (mut judge, mut intake) = bench();
        let told = texts(&give(&mut judge, &mut intake, r#"{"t_ms":1000,"said":"stop","by":"Mara"}"#));
        assert_eq!(told[0], "stop-said-all-1 latched Stop said by Mara.");
        assert_eq!(told[1..].iter().map(|text| text.split(' ').next().unwrap()).collect::<Vec<_>>(), ["spotter", "lead", "A"]);
        assert!(told[1].ends_with("stop said Stop. Somebody said stop."), "{}", told[1]);
        assert_eq!(judge.deadline(), Some(Mono(3_000_000)));
        assert!(texts(&judge.step(Mono(3_000_000), &Input::Tick))[0].contains("repeated"));
        for _ in 0..5 {
            let next = judge.deadline().unwrap();
            judge.step(next, &Input::Tick);
        }
        assert!(judge.deadline().unwrap().since(judge.now) == LATER, "after ten seconds it is said less often");
        let told = texts(&give(&mut judge, &mut intake, r#"{"t_ms":60000,"said":"release","by":"Lead"}"#));
        assert_eq!(
            (told[0].as_str(), told.last().unwrap().as_str()),
            ("stop-said-all-1 cleared Stop said by Mara.", "A none said No plan. Recording only.")
        );
        assert!(told.iter().any(|text| text.contains("over")));
        assert_eq!(judge.deadline(), None);
        let again = give(&mut judge, &mut intake, r#"{"t_ms":61000,"said":"release"}"#);
        assert!(matches!(&again[..], [Told::Reply { refused: true, .. }]));
    }
}
