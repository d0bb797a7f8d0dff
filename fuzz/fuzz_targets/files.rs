//! Any text as a plan and as a kit: read or told, never a panic; a mistake lies inside the text.
#![no_main]

use libfuzzer_sys::fuzz_target;
use raisewatch_protocol::files::Mistakes;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;

fn told(mistakes: &Mistakes, text: &str) {
    assert!(!mistakes.list.is_empty(), "no plan and no mistake");
    for mistake in &mistakes.list {
        assert!(mistake.offset <= text.len() && mistake.line >= 1 && mistake.column >= 1, "{mistake:?}");
    }
    let _ = mistakes.render(true);
}

fuzz_target!(|text: &str| {
    match Plan::read(text, "plan.toml") {
        Ok(plan) => {
            for tower in &plan.towers {
                assert!(tower.piece < plan.pieces.len(), "a tower on no piece");
                assert!(tower.rated_at(plan.trim_height).0 > 0.0, "a tower without a rating");
            }
            if let Err(mistakes) = Kit::read_for(text, "kit.toml", &plan) {
                told(&mistakes, text);
            }
        }
        Err(mistakes) => told(&mistakes, text),
    }
    if let Err(mistakes) = Kit::read(text, "kit.toml") {
        told(&mistakes, text);
    }
});
