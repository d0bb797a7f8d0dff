//! Anything that can be played over the wires: a simulated lift, or a trace that was recorded.

use crate::lift::Lift;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::told::Call;
use raisewatch_protocol::trace::{Arrival, TraceFault, TraceLine};

/// Something with lines that come due.
pub trait Play {
    /// Lines that arrive until `to`, in order.
    fn advance(&mut self, to: Mono) -> Vec<TraceLine>;
    /// A call is made now.
    fn hear(&mut self, call: &Call);
    /// Whether nothing more comes.
    fn over(&self) -> bool;
    /// Nodes that speak MQTT.
    fn nodes(&self) -> Vec<String>;
}

impl Play for Lift {
    fn advance(&mut self, to: Mono) -> Vec<TraceLine> {
        Lift::advance(self, to)
    }
    fn hear(&mut self, call: &Call) {
        Lift::hear(self, call);
    }
    fn over(&self) -> bool {
        Lift::over(self)
    }
    fn nodes(&self) -> Vec<String> {
        self.mqtt_nodes()
    }
}

/// A recorded trace. Its first line is played at once, whatever its origin; nobody in it hears a call.
#[derive(Clone, Debug)]
pub struct Trace {
    lines: Vec<TraceLine>,
    next: usize,
    origin: Mono,
}

/// Why a recorded trace cannot be played.
#[derive(Debug, thiserror::Error)]
pub enum TraceError {
    /// A line that is none of a trace.
    #[error("{file}, line {line}: {fault}")]
    Line {
        /// File.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong with it.
        fault: TraceFault,
    },
    /// Time falls.
    #[error("{file}, line {line}: t_ms: expected {before} or later, found {found}")]
    Falls {
        /// File.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Time of the line before, ms.
        before: f64,
        /// Time of this line, ms.
        found: f64,
    },
    /// Nothing in it.
    #[error("{file}: expected lines of a trace, found none")]
    Empty {
        /// File.
        file: String,
    },
    /// A table or a sentence that cannot be read.
    #[error("{file}, line {line}: expected {expected}, found \"{found}\"")]
    Log {
        /// File.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What would be right.
        expected: String,
        /// What was found.
        found: String,
    },
}

impl Trace {
    /// Reads a trace, one JSON object a line.
    ///
    /// Errors: [`TraceError`] with file and line.
    pub fn read(text: &str, file: &str) -> Result<Self, TraceError> {
        let mut lines = Vec::new();
        for (number, line) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
            let parsed = TraceLine::parse(line).map_err(|fault| TraceError::Line { file: file.to_owned(), line: number + 1, fault })?;
            lines.push((number + 1, parsed));
        }
        Trace::from_lines(lines, file)
    }

    /// A trace of these lines, each with its number in the file.
    pub fn from_lines(lines: Vec<(usize, TraceLine)>, file: &str) -> Result<Self, TraceError> {
        let origin = lines.first().map(|(_, l)| l.t_ms).ok_or_else(|| TraceError::Empty { file: file.to_owned() })?;
        for pair in lines.windows(2) {
            if pair[1].1.t_ms < pair[0].1.t_ms {
                let (before, found) = (pair[0].1.t_ms.ms(), pair[1].1.t_ms.ms());
                return Err(TraceError::Falls { file: file.to_owned(), line: pair[1].0, before, found });
            }
        }
        Ok(Trace { lines: lines.into_iter().map(|(_, line)| line).collect(), next: 0, origin })
    }

    /// All its lines.
    pub fn lines(&self) -> &[TraceLine] {
        &self.lines
    }
}

impl Play for Trace {
    fn advance(&mut self, to: Mono) -> Vec<TraceLine> {
        let due = |line: &&TraceLine| line.t_ms.since(self.origin).0 <= to.0;
        let count = self.lines[self.next..].iter().take_while(due).count();
        let lines = self.lines[self.next..self.next + count].to_vec();
        self.next += count;
        lines
    }
    fn hear(&mut self, _call: &Call) {}
    fn over(&self) -> bool {
        self.next >= self.lines.len()
    }
    fn nodes(&self) -> Vec<String> {
        let mut nodes: Vec<String> = Vec::new();
        for line in &self.lines {
            if let Arrival::Senml { node, .. } | Arrival::Presence { node, .. } = &line.what
                && !nodes.contains(node)
            {
                nodes.push(node.clone());
            }
        }
        nodes
    }
}
