//! The file that a crew translates: every key is in it, with its built-in words.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use raisewatch_watch::phrases::{Phrases, all};
use std::fmt::Write as _;

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/examples/phrases.toml");

/// UPDATE_GOLDEN=1 writes it anew.
#[test]
fn the_example_file_is_complete_and_says_what_is_built_in() {
    let mut text = String::from(
        "# Every phrase of a lift with its built-in words: copy it, translate it, name it in the plan as `phrases`.\n\
         # What is left out stays as it is here. {braces} are filled in; leave them as they are spelled.\n",
    );
    for (key, words) in all() {
        let quoted = if key.contains('.') { format!("{key:?}") } else { key.to_owned() };
        writeln!(text, "{quoted} = {words:?}").unwrap();
    }
    text.push_str("\n# Names that the crew has for the towers, by their ids in the plan:\n# [towers]\n# A = \"Alder\"\n");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(FILE, &text).unwrap();
    }
    let kept = std::fs::read_to_string(FILE).unwrap();
    assert!(kept == text, "docs/examples/phrases.toml is not what is built in; UPDATE_GOLDEN=1 writes it anew");
    assert_eq!(Phrases::read(&kept, "phrases.toml").unwrap(), Phrases::default());
}
