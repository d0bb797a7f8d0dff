//! Standard output: one line per finding and call, plain for people or as the forms' JSON for programs.

use super::Told;
use crate::clock;
use raisewatch_protocol::told::{Call, Finding};
use std::io::Write;
use std::sync::Arc;
use tokio::sync::mpsc::Receiver;

/// How lines look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Look {
    /// For people: time of day, what, whom, the words.
    #[default]
    Plain,
    /// For programs: the objects of docs/forms.md, "What comes out".
    Json,
}

/// Writes until the queue ends. Runs on a thread of its own: a terminal that is held (Ctrl-S) stops only this.
pub fn run(look: Look, mut queue: Receiver<Arc<Told>>) -> std::thread::JoinHandle<()> {
    std::thread::spawn(move || {
        while let Some(told) = queue.blocking_recv() {
            let Some(line) = (match look {
                Look::Plain => plain(&told).map(|text| format!("{}  {text}", time_of_day())),
                Look::Json => json(&told),
            }) else {
                continue;
            };
            let mut out = std::io::stdout().lock();
            if writeln!(out, "{line}").and_then(|()| out.flush()).is_err() {
                tracing::warn!("standard output is closed; findings and calls are no longer printed");
                return;
            }
        }
    })
}

/// The wall clock as people read it, such as `14:07:41`.
pub fn time_of_day() -> String {
    clock::wall().to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%H:%M:%S").to_string()
}

fn json(told: &Told) -> Option<String> {
    match told {
        Told::Finding(finding) => serde_json::to_string(finding).ok(),
        Told::Call(call) => serde_json::to_string(call).ok(),
        _ => None,
    }
}

fn plain(told: &Told) -> Option<String> {
    match told {
        Told::Finding(finding) => Some(finding_line(finding)),
        Told::Call(call) => Some(call_line(call)),
        Told::Reply { text, refused: true, .. } => Some(format!("refused  {text}")),
        Told::Reply { text, refused: false, .. } => Some(format!("answer   {text}")),
        Told::NotWatching { why, .. } => Some(format!("NOT WATCHING  {why}")),
        Told::Taken(_) | Told::Refused { .. } | Told::HandOver(_) | Told::Pulse { .. } => None,
    }
}

fn finding_line(finding: &Finding) -> String {
    let change = if finding.change { " (changed)" } else { "" };
    format!("finding  {:<4}  {} {}{change}: {}", finding.severity, finding.id, finding.state, finding.text)
}

fn call_line(call: &Call) -> String {
    format!("call     {:<5}  to {} {}: {}", call.call, call.to, call.state, call.text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use raisewatch_protocol::mono::Mono;
    use raisewatch_protocol::words::{CallState, Kind, Word};

    fn hold() -> Call {
        Call {
            t_ms: Mono(1_500_000),
            id: "call-7".into(),
            call: Word::Hold,
            to: "spotter".into(),
            tower: Some("B".into()),
            then: vec![],
            turns: None,
            reason: Some(Kind::Uneven),
            finding: Some("uneven-B-1".into()),
            state: CallState::Said,
            text: "Hold Bravo.".into(),
            level_through: vec!["A".into()],
        }
    }

    #[test]
    fn a_call_is_one_line_either_way() {
        let told = Told::Call(hold());
        assert_eq!(plain(&told).as_deref(), Some("call     hold   to spotter said: Hold Bravo."));
        let line = json(&told).unwrap();
        assert!(line.starts_with(r#"{"t_ms":1500,"id":"call-7","call":"hold","to":"spotter","tower":"B""#), "{line}");
        assert_eq!(serde_json::from_str::<Call>(&line).unwrap(), hold());
    }

    #[test]
    fn a_failed_watch_is_told_to_people() {
        let line = plain(&Told::NotWatching { t_ms: Mono(0), why: "it failed".into() });
        assert_eq!(line.as_deref(), Some("NOT WATCHING  it failed"));
    }
}
