//! docs/messages.md has a row for every finding and every call: what it means, what to do, what it may be mistaken for, what it cannot
//! see.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_protocol::words::{Kind, Word};
use std::path::Path;

/// Rows of all tables under headings that begin with `under`: their cells, without the first and the last bar.
fn rows<'a>(page: &'a str, under: &str) -> Vec<Vec<&'a str>> {
    let mut inside = false;
    let mut all = Vec::new();
    for line in page.lines() {
        if let Some(heading) = line.strip_prefix("## ") {
            inside = heading.starts_with(under);
        }
        if inside && line.starts_with("| `") {
            all.push(line.trim_matches('|').split('|').map(str::trim).collect());
        }
    }
    all
}

fn page() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/messages.md")).unwrap()
}

/// Rows whose first cell names `word`, each with so many cells and none empty.
fn told(rows: &[Vec<&str>], word: &str, cells: usize) -> usize {
    let named = format!("`{word}`");
    let own: Vec<_> = rows.iter().filter(|row| row[0].split_whitespace().any(|w| w == named)).collect();
    for row in &own {
        assert_eq!(row.len(), cells, "{word}: {row:?}");
        assert!(row.iter().all(|cell| !cell.is_empty()), "{word}: a cell is empty in {row:?}");
    }
    own.len()
}

#[test]
fn every_finding_has_its_row() {
    let page = page();
    let rows = rows(&page, "Findings");
    for kind in Kind::ALL {
        assert_eq!(told(&rows, kind.word(), 5), 1, "rows of {kind}");
    }
    // And no row is of a kind that is not there.
    for row in &rows {
        for word in row[0].split_whitespace() {
            assert!(Kind::from_word(word.trim_matches('`')).is_some(), "docs/messages.md tells of {word}");
        }
    }
}

#[test]
fn every_call_has_its_row() {
    let page = page();
    let rows = rows(&page, "Calls");
    for word in Word::ALL {
        assert!(told(&rows, word.word(), 6) >= 1, "no row of {word}");
    }
}
