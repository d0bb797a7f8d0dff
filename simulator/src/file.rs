//! A lift written to a file: a trace, one JSON object a line.

use crate::lift::Lift;
use raisewatch_protocol::mono::{Mono, Span};
use std::io::{self, Write};

/// Longest time played at once between two looks at the script's end.
const CHUNK: Span = Span::ms(500);

/// Plays `lift` to its end, or to `until`, and writes every line as it would have arrived. Nobody hears a call.
///
/// Errors: those of the writer. Returns the number of lines.
pub fn write(lift: &mut Lift, until: Option<Mono>, out: &mut dyn Write) -> io::Result<usize> {
    let mut count = 0;
    while !lift.over() && until.is_none_or(|until| lift.now() < until) {
        let to = lift.now() + CHUNK;
        for line in lift.advance(until.map_or(to, |until| to.min(until))) {
            serde_json::to_writer(&mut *out, &line)?;
            out.write_all(b"\n")?;
            count += 1;
        }
    }
    out.flush()?;
    Ok(count)
}

/// Writes a recorded trace as it would have arrived.
///
/// Errors: those of the writer. Returns the number of lines.
pub fn copy(trace: &mut crate::play::Trace, out: &mut dyn Write) -> io::Result<usize> {
    for line in trace.lines() {
        serde_json::to_writer(&mut *out, line)?;
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(trace.lines().len())
}
