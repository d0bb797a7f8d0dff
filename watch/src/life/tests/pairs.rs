//! The table of the life of a finding (docs/forms.md), played through a [`Ledger`]: every state, reached by real conditions and words,
//! then every input; for a warn and for a stop.

use super::*;

/// How a life came to where it is, in the words of the table's first column.
const LIVES: [&str; 12] = [
    "never raised",
    "cleared warn",
    "cleared stop",
    "raised warn",
    "raised stop",
    "acknowledged warn",
    "acknowledged stop",
    "mending stop",
    "returned warn",
    "latched stop",
    "shelved warn, standing",
    "shelved warn, gone",
];

/// What is done to it.
const INPUTS: [&str; 10] = ["comes", "becomes stop", "worse", "goes", "nothing known", "seen", "release", "shelve", "unshelve", "expiry"];

/// `-`: nothing is told and nothing refused.
const WANT: [[&str; 10]; 12] = [
    ["raised", "raised", "raised", "-", "-", "-", "none", "none", "-", "-"],
    ["raised", "raised", "raised", "-", "-", "-", "refused", "refused", "-", "-"],
    ["raised", "raised", "raised", "-", "-", "-", "refused", "refused", "-", "-"],
    ["-", "raised", "change", "returned", "-", "acknowledged", "refused", "shelved", "-", "-"],
    ["-", "-", "change", "latched", "-", "acknowledged", "refused", "refused", "-", "-"],
    ["-", "raised", "raised", "cleared", "-", "-", "refused", "shelved", "-", "-"],
    ["-", "-", "raised", "latched", "-", "-", "mending", "refused", "-", "-"],
    ["-", "-", "raised", "cleared", "-", "refused", "refused", "refused", "-", "-"],
    ["raised", "raised", "raised", "-", "-", "cleared", "refused", "refused", "-", "cleared"],
    ["raised", "raised", "raised", "-", "-", "latched", "refused", "refused", "-", "-"],
    ["-", "raised", "-", "-", "-", "-", "-", "-", "raised", "raised"],
    ["-", "raised", "-", "-", "-", "-", "-", "-", "cleared", "cleared"],
];

const ID: &str = "uneven-B-1";

/// A ledger in which a life has come so far.
struct Life {
    ledger: Ledger,
    scene: Scene,
    now_ms: u64,
    stop: bool,
    /// The condition that holds now.
    holds: Vec<Condition>,
}

impl Life {
    fn new(name: &str) -> Self {
        let mut life = Life { ledger: ledger(), scene: raising(), now_ms: 0, stop: name.contains("stop"), holds: Vec::new() };
        if name == "never raised" {
            return life;
        }
        life.let_be(life.over(0.0), 1000);
        let gone = vec![uneven(3.0, Stands::Clear)];
        match name.split([' ', ',']).next().unwrap() {
            "raised" => {}
            "acknowledged" => life.seen(),
            "mending" => {
                life.seen();
                assert_eq!(life.ledger.release(at_ms(life.now_ms), Some(ID)).refused, None);
            }
            "shelved" => {
                assert_eq!(life.ledger.shelve(at_ms(life.now_ms), &life.scene, ID, None).refused, None);
                if name.ends_with("gone") {
                    life.let_be(gone, 2000);
                }
            }
            "cleared" => {
                life.let_be(gone, 2000);
                life.seen();
                if life.stop {
                    assert_eq!(life.ledger.release(at_ms(life.now_ms), Some(ID)).refused, None);
                }
            }
            _ => {
                life.let_be(gone, 2000);
            }
        }
        life.drained();
        let state = life.ledger.tracks()[0].state;
        assert!(name.starts_with(state.word()), "{name} came to {state}");
        life
    }

    fn over(&self, more_mm: f64) -> Vec<Condition> {
        let (mm, severity) = if self.stop { (104.0, Severity::Stop) } else { (53.0, Severity::Warn) };
        vec![uneven(mm + more_mm, Stands::At(severity))]
    }

    /// These conditions hold for so long; what is told of it.
    fn let_be(&mut self, holds: Vec<Condition>, ms: u64) -> Vec<String> {
        self.holds = holds;
        let end = self.now_ms + ms;
        let lines = play(&mut self.ledger, &self.scene, &[(self.now_ms, &self.holds)], end);
        self.now_ms = end;
        lines.iter().map(|l| if l.4 { "change".to_owned() } else { l.2.to_string() }).collect()
    }

    fn seen(&mut self) {
        assert_eq!(self.ledger.seen(at_ms(self.now_ms), Some(ID)).refused, None);
    }

    fn drained(&mut self) -> Vec<String> {
        let mut told = Vec::new();
        self.ledger.take_told(&mut told);
        told.iter().map(|t| if t.change { "change".to_owned() } else { t.state.to_string() }).collect()
    }

    /// What becomes of it.
    fn give(&mut self, input: &str) -> String {
        let now = at_ms(self.now_ms);
        let answer = match input {
            "seen" => self.ledger.seen(now, Some(ID)),
            "release" => self.ledger.release(now, Some(ID)),
            "shelve" => self.ledger.shelve(now, &self.scene, ID, None),
            "unshelve" => self.ledger.unshelve(now, Some(ID)),
            _ => return self.pass(input),
        };
        let told = self.drained();
        match (answer.found, answer.refused) {
            (false, _) if matches!(input, "release" | "shelve") => "none".to_owned(),
            (_, Some(_)) => {
                assert_eq!(told, [""; 0], "a refused word changes nothing");
                "refused".to_owned()
            }
            _ => or_dash(&told),
        }
    }

    fn pass(&mut self, input: &str) -> String {
        let told = match input {
            "comes" => self.let_be(self.over(0.0), 1200),
            "becomes stop" => {
                let mm = if self.stop { 104.0 } else { 53.0 };
                self.let_be(vec![uneven(mm, Stands::At(Severity::Stop))], 1200)
            }
            "worse" => self.let_be(self.over(7.0), 1200),
            "goes" => self.let_be(vec![uneven(2.0, Stands::Clear)], 2000),
            "nothing known" => self.let_be(Vec::new(), 20_000),
            "expiry" => self.let_be(self.holds.clone(), 61_000),
            other => panic!("{other}"),
        };
        or_dash(&told)
    }
}

fn or_dash(told: &[String]) -> String {
    if told.is_empty() { "-".to_owned() } else { told.join(" ") }
}

#[test]
fn every_state_and_every_input_through_the_ledger() {
    for (life, want) in LIVES.iter().zip(WANT) {
        for (input, want) in INPUTS.iter().zip(want) {
            assert_eq!(Life::new(life).give(input), want, "{life}, then {input}");
        }
    }
    for state in LifeState::ALL {
        assert!(LIVES.iter().any(|l| l.starts_with(state.word())), "{state} is not played");
    }
}

/// Column `seen`, then `release`, of `latched`; and a stop that was seen while it stood latches as seen.
#[test]
fn a_latched_stop_is_over_once_it_was_seen_before_or_after_it_went() {
    let mut life = Life::new("latched stop");
    assert_eq!(life.give("seen"), "latched");
    assert_eq!(life.give("seen"), "-");
    assert_eq!(life.give("release"), "cleared");
    let mut life = Life::new("acknowledged stop");
    assert_eq!(life.give("goes"), "latched");
    assert_eq!(life.give("release"), "cleared", "seen while it stood");
    // What came again has to be seen again.
    let mut life = Life::new("acknowledged stop");
    assert_eq!(life.give("goes"), "latched");
    assert_eq!(life.give("comes"), "raised");
    assert_eq!(life.give("goes"), "latched");
    assert_eq!(life.give("release"), "refused");
}

#[test]
fn a_person_who_has_released_their_stop_cannot_release_it_again() {
    let mut l = ledger();
    let said = Condition { stands: Stands::At(Severity::Stop), ..Condition::of(Kind::StopSaid) };
    play(&mut l, &raising(), &[(0, &[said])], 100);
    assert_eq!(l.release(at_ms(100), Some("stop-said-all-1")).refused, None);
    let mut told = Vec::new();
    l.take_told(&mut told);
    assert_eq!(told.len(), 1);
    assert_eq!(l.release(at_ms(200), Some("stop-said-all-1")).refused.map(|r| r.0), Some(Refusal::NothingOpen));
    told.clear();
    l.take_told(&mut told);
    assert_eq!(told, [], "over is told once");
}

/// A tenth more is worse, in what is no height; less than a tenth is not; and silence that grows is no news.
#[test]
fn worse_is_a_quarter_turn_of_height_or_a_tenth_of_all_else() {
    for (unit, first, not_yet, worse) in
        [(Unit::Mm, 53.0, 59.0, 59.3), (Unit::Deg, 2.0, 2.15, 2.2), (Unit::N, 300.0, 329.0, 330.0), (Unit::Mm, -53.0, -59.0, -59.3)]
    {
        let of = |value: f64| Condition { unit, ..uneven(value, Stands::At(Severity::Warn)) };
        let mut l = ledger();
        let (a, b, c) = ([of(first)], [of(not_yet)], [of(worse)]);
        let lines = play(&mut l, &raising(), &[(0, &a), (1000, &b), (2000, &c)], 3000);
        assert_eq!(lines.iter().map(|l| (l.0, l.4)).collect::<Vec<_>>(), [(600, false), (2000, true)], "{first} {unit:?}");
    }
    let silent = |s: f64| Condition { unit: Unit::S, ..uneven(s, Stands::At(Severity::Warn)) };
    let mut l = ledger();
    let (a, b) = ([silent(1.0)], [silent(60.0)]);
    assert_eq!(play(&mut l, &raising(), &[(0, &a), (2000, &b)], 9000).len(), 1);
}

/// ISA-18.2's transitions, as far as the table follows them (tests/checks/alarms.toml, `[[transition]]`): every one is in the table.
#[test]
fn every_published_transition_is_in_the_table() {
    use table::{Heard, Marks, Turn, turn};
    let table: toml::Table = ALARMS.parse().unwrap();
    let transitions = table["transition"].as_array().unwrap();
    assert_eq!(transitions.len(), 9);
    let state = |name: &str| match name {
        "NORM" => LifeState::Cleared,
        "UNACK" | "any" => LifeState::Raised,
        "ACKED" => LifeState::Acknowledged,
        "RTNUN" => LifeState::Returned,
        "LTCHU" | "LTCHA" => LifeState::Latched,
        "SHLVD" => LifeState::Shelved,
        other => panic!("{other} is not in the table"),
    };
    for t in transitions {
        let word = |key: &str| t[key].as_str().unwrap();
        let heard = match word("event") {
            "condition true" => Heard::Comes,
            "condition false" => Heard::Goes,
            "acknowledge" => Heard::Seen,
            "shelve" => Heard::Shelve,
            "time runs out or un-shelve, condition true" => Heard::Unshelve,
            other => panic!("{other} is no input of the table"),
        };
        let latched = word("from_") == "LTCHU";
        let marks = Marks { ever_stop: latched, seen: false, stands: word("event").ends_with("condition true") };
        let want = if latched { Turn::SeenNow } else { Turn::To(state(word("to"))) };
        assert_eq!(turn(state(word("from_")), heard, marks), want, "{t}");
    }
}
