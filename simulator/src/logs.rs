//! Other people's logs as traces: a table with commas, or a file of NMEA sentences.
//!
//! A table opens with names, `t_s` or `t_ms` first, then `node/channel` or, with one node, `channel`; values in the
//! channel's unit (rad, N, m, V), or the unit written behind the name in brackets: `n1/truss-along [deg]`. An empty field
//! is no value. A log of sentences has one a line, with or without a time in seconds before it.

use crate::play::{Trace, TraceError};
use raisewatch_protocol::mono::{Mono, Span};
use raisewatch_protocol::trace::{Arrival, TraceLine};
use serde_json::{Value, json};

struct Column {
    node: String,
    channel: String,
    unit: Option<String>,
}

fn wrong(file: &str, line: usize, expected: &str, found: &str) -> TraceError {
    TraceError::Log { file: file.to_owned(), line, expected: expected.to_owned(), found: found.to_owned() }
}

/// A table of readings as a trace; `node` is the node where the columns name none.
///
/// Errors: [`TraceError::Log`] with file and line.
pub fn table(text: &str, file: &str, node: &str) -> Result<Trace, TraceError> {
    let mut rows = text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty() && !l.starts_with('#'));
    let (_, head) = rows.next().ok_or_else(|| TraceError::Empty { file: file.to_owned() })?;
    let mut names = head.split(',').map(str::trim);
    let to_ms = match names.next() {
        Some("t_ms") => 1.0,
        Some("t_s") => 1000.0,
        other => return Err(wrong(file, 1, "t_ms or t_s as the first column", other.unwrap_or(""))),
    };
    let columns: Vec<Column> = names.map(|name| column(name, node)).collect();
    let mut lines = Vec::new();
    for (number, row) in rows {
        let mut fields = row.split(',').map(str::trim);
        let time = fields.next().unwrap_or("");
        let t_ms = time.parse().ok().and_then(|t: f64| Mono::from_ms(t * to_ms));
        let t_ms = t_ms.ok_or_else(|| wrong(file, number + 1, "a time", time))?;
        let fields: Vec<&str> = fields.collect();
        if fields.len() != columns.len() {
            return Err(wrong(file, number + 1, &format!("{} values", columns.len()), &fields.len().to_string()));
        }
        lines.extend(packs(&columns, &fields, t_ms, file, number + 1)?.into_iter().map(|line| (number + 1, line)));
    }
    Trace::from_lines(lines, file)
}

fn column(name: &str, node: &str) -> Column {
    let (name, unit) = match name.split_once('[') {
        Some((name, unit)) => (name.trim(), Some(unit.trim_end_matches(']').trim().to_owned())),
        None => (name, None),
    };
    let (node, channel) = name.split_once('/').unwrap_or((node, name));
    Column { node: node.to_owned(), channel: channel.to_owned(), unit }
}

fn packs(columns: &[Column], fields: &[&str], t_ms: Mono, file: &str, line: usize) -> Result<Vec<TraceLine>, TraceError> {
    let mut packs: Vec<(String, Vec<Value>)> = Vec::new();
    for (column, field) in columns.iter().zip(fields).filter(|(_, field)| !field.is_empty()) {
        let value: f64 = field.parse().map_err(|_| wrong(file, line, "a number", field))?;
        let mut record = json!({ "n": column.channel, "v": value });
        let usual = raisewatch_protocol::words::Channel::from_word(&column.channel).map(crate::instrument::unit_of);
        if let Some(unit) = column.unit.as_deref().or(usual) {
            record["u"] = json!(unit);
        }
        match packs.iter_mut().find(|(node, _)| *node == column.node) {
            Some((_, records)) => records.push(record),
            None => packs.push((column.node.clone(), vec![record])),
        }
    }
    Ok(packs.into_iter().map(|(node, records)| TraceLine { t_ms, what: Arrival::Senml { node, senml: Value::Array(records) } }).collect())
}

/// A log of NMEA sentences as a trace. Where a line gives no time, sentences follow one another at 10 a second.
///
/// Errors: [`TraceError::Log`] with file and line.
pub fn sentences(text: &str, file: &str, node: &str) -> Result<Trace, TraceError> {
    let mut next = Mono(0);
    let mut lines = Vec::new();
    for (number, line) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty() && !l.starts_with('#')) {
        let at = line.find(['$', '!']).ok_or_else(|| wrong(file, number + 1, "a sentence that begins with $", line))?;
        let time = line[..at].trim().trim_end_matches([',', ';', ':']);
        let t_ms = if time.is_empty() {
            next
        } else {
            time.parse()
                .ok()
                .and_then(|t: f64| Mono::from_ms(t * 1000.0))
                .ok_or_else(|| wrong(file, number + 1, "a time in seconds", time))?
        };
        next = t_ms + Span::ms(100);
        let xdr = line[at..].trim_end().to_owned();
        lines.push((number + 1, TraceLine { t_ms, what: Arrival::Xdr { node: node.to_owned(), xdr } }));
    }
    Trace::from_lines(lines, file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_becomes_a_pack_a_row_and_node() {
        let text = "t_s,n1/head-load,n2/head-load,n2/truss-along [deg]\n0.0,950,982,0.1\n0.5,951,,0.2\n";
        let trace = table(text, "log.csv", "n1").unwrap();
        let printed: Vec<_> = trace.lines().iter().map(|l| serde_json::to_string(l).unwrap()).collect();
        assert_eq!(printed.len(), 4);
        assert!(printed[1].contains(r#""node":"n2""#) && printed[1].contains(r#""u":"deg""#) && printed[1].contains(r#""v":982"#));
        assert!(printed[3].starts_with(r#"{"t_ms":500"#) && !printed[3].contains("head-load"), "{}", printed[3]);
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_line() {
        for (text, line) in [("x,a\n", 1), ("t_s,a\n1,2,3\n", 2), ("t_s,a\nsoon,1\n", 2), ("t_s,a\n1,one\n", 2)] {
            let told = table(text, "log.csv", "n1").unwrap_err().to_string();
            assert!(told.contains(&format!("line {line}:")), "{told}");
        }
        assert!(sentences("hello\n", "log.nmea", "n1").is_err() && sentences("", "log.nmea", "n1").is_err());
        assert!(matches!(table("t_s,a\n2,1\n1,1\n", "log.csv", "n1"), Err(TraceError::Falls { line: 3, .. })));
    }

    #[test]
    fn sentences_keep_their_time_or_follow_one_another() {
        let trace = sentences("$YXXDR,N,1,N,HL*00\n12.5 $YXXDR,N,2,N,HL*00\n$X*00\n", "log", "n1").unwrap();
        assert_eq!(trace.lines().iter().map(|l| l.t_ms.ms()).collect::<Vec<_>>(), [0.0, 12_500.0, 12_600.0]);
    }
}
