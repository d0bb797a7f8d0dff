//! Standard input of a live lift: a person types, or a program writes, steps and words.
//!
//! Either the objects of a trace (docs/forms.md; `t_ms` may be left out and is replaced by the arrival), or short forms:
//! `step raise`, `zero A head-load`, `turn A 1`, `stop`, `seen uneven-B-1`; `by NAME` may end each. An empty line shows the
//! pages' addresses with fresh codes.

use crate::inlet::{Answer, Inlet};
use crate::terminal::Terminal;
use raisewatch_protocol::said::{Said, SaidValue, StepSet};
use raisewatch_protocol::trace::Arrival;
use raisewatch_protocol::words::{Channel, Step, Utterance};
use std::io::BufRead;
use std::sync::Arc;

/// The longest line that is read: a pack of readings, with room.
const LONGEST: u64 = 64 * 1024;

/// What a typed line means.
#[derive(Clone, Debug, PartialEq)]
pub enum Typed {
    /// For the watch.
    Line(Arrival),
    /// Show the pages' addresses.
    Addresses,
}

/// Reads standard input on a thread of its own until it ends or the lift does. Its end is no end of the lift.
pub fn read_standard_input(inlet: Inlet, terminal: Arc<Terminal>) {
    std::thread::spawn(move || {
        let mut input = std::io::stdin().lock();
        loop {
            let mut line = Vec::new();
            let read = std::io::Read::take(&mut input, LONGEST).read_until(b'\n', &mut line);
            if !matches!(read, Ok(1..)) {
                return;
            }
            match read_line(&String::from_utf8_lossy(&line), terminal.towers()) {
                Ok(Typed::Addresses) => terminal.show(),
                Ok(Typed::Line(what)) => match inlet.ask_blocking(what) {
                    // What the watch answers is printed by the sink of standard output.
                    Ok(Answer::Taken(_) | Answer::Refused(_)) => {}
                    Err(_) => return,
                },
                Err(text) => tracing::warn!("standard input, not understood: {text}"),
            }
        }
    });
}

/// Reads one line. Errors: what was expected and what was found, in words.
pub fn read_line(line: &str, towers: &[String]) -> Result<Typed, String> {
    let line = line.trim();
    if line.is_empty() {
        return Ok(Typed::Addresses);
    }
    if line.starts_with('{') {
        return Arrival::parse(line).map(|(_, what)| Typed::Line(what)).map_err(|fault| fault.to_string());
    }
    short(line, towers).map(Typed::Line)
}

fn short(line: &str, towers: &[String]) -> Result<Arrival, String> {
    let mut words: Vec<&str> = line.split_whitespace().collect();
    let by = match words.iter().rposition(|word| *word == "by").filter(|at| *at > 0 && *at + 1 < words.len()) {
        Some(at) => Some(words.split_off(at)[1..].join(" ")),
        None => None,
    };
    let (first, rest) = words.split_first().ok_or("expected a word")?;
    if *first == "step" {
        let step = rest.first().and_then(|word| Step::from_word(word));
        let step = step.ok_or_else(|| format!("step: expected one of {}, found {:?}", listed(Step::ALL), rest.join(" ")))?;
        return Ok(Arrival::Step(StepSet { step, by }));
    }
    let said = Utterance::from_word(first);
    let said = said.ok_or_else(|| format!("expected `step` or one of {}, found {first:?}", listed(Utterance::ALL)))?;
    let mut what = Said { said, tower: None, channel: None, value: None, finding: None, by };
    if said == Utterance::Note {
        what.value = (!rest.is_empty()).then(|| SaidValue::Text(rest.join(" ")));
        return Ok(Arrival::Said(what));
    }
    let mut value: Vec<&str> = Vec::new();
    for word in rest {
        if what.tower.is_none() && towers.iter().any(|tower| tower == word) {
            what.tower = Some((*word).to_owned());
        } else if let (None, Some(channel)) = (what.channel, Channel::from_word(word)) {
            what.channel = Some(channel);
        } else if wants_finding(said) && what.finding.is_none() {
            what.finding = Some((*word).to_owned());
        } else {
            value.push(word);
        }
    }
    if !value.is_empty() {
        let text = value.join(" ");
        what.value = Some(text.parse().map_or(SaidValue::Text(text), SaidValue::Number));
    }
    Ok(Arrival::Said(what))
}

fn wants_finding(said: Utterance) -> bool {
    matches!(said, Utterance::Seen | Utterance::Release | Utterance::Shelve | Utterance::Unshelve)
}

fn listed<T: std::fmt::Display>(all: &[T]) -> String {
    all.iter().map(T::to_string).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn same(short: &str, long: &str) {
        let towers = ["A".to_owned(), "B".to_owned()];
        assert_eq!(read_line(short, &towers), read_line(long, &towers), "{short}");
        assert!(read_line(short, &towers).is_ok(), "{short}");
    }

    #[test]
    fn short_forms_mean_the_objects() {
        same("step raise", r#"{"step":"raise"}"#);
        same("step test-lift by Mara K", r#"{"step":"test-lift","by":"Mara K"}"#);
        same("zero A head-load", r#"{"t_ms":5,"said":"zero","tower":"A","channel":"head-load"}"#);
        same("turn A 1", r#"{"said":"turn","tower":"A","value":1}"#);
        same("turn A", r#"{"said":"turn","tower":"A"}"#);
        same("stop", r#"{"said":"stop"}"#);
        same("seen uneven-B-1 by Ivo", r#"{"said":"seen","finding":"uneven-B-1","by":"Ivo"}"#);
        same("shelve lean-A-1 60", r#"{"said":"shelve","finding":"lean-A-1","value":60}"#);
        same("expect 12 kg", r#"{"said":"expect","value":"12 kg"}"#);
        same("note chair under B moved", r#"{"said":"note","value":"chair under B moved"}"#);
    }

    #[test]
    fn what_is_not_understood_is_told_with_what_would_be() {
        let cases = [("step climb", "test-lift"), ("hello", "heard"), (r#"{"step":"climb"}"#, "climb"), ("{", "found")];
        for (line, hint) in cases {
            let text = read_line(line, &[]).unwrap_err();
            assert!(text.contains(hint), "{line}: {text}");
        }
        assert_eq!(read_line("  ", &[]), Ok(Typed::Addresses));
    }
}
