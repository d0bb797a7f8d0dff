//! Any text as a plan and as a kit: read or told, never a panic; a mistake lies inside the text. A plan that is read can be
//! weighed, or is refused in words: no share is ever a number that is none.
#![no_main]

use libfuzzer_sys::fuzz_target;
use raisewatch_protocol::files::Mistakes;
use raisewatch_protocol::kit::Kit;
use raisewatch_protocol::plan::Plan;
use raisewatch_statics::{Bearing, Model};

fn told(mistakes: &Mistakes, text: &str) {
    assert!(!mistakes.list.is_empty(), "no plan and no mistake");
    for mistake in &mistakes.list {
        assert!(mistake.offset <= text.len() && mistake.line >= 1 && mistake.column >= 1, "{mistake:?}");
    }
    let _ = mistakes.render(true);
}

fn weigh(plan: &Plan) {
    // Large plans are right but slow; the fuzzer would look for nothing else.
    if plan.loads.len() + plan.cables.len() + plan.pieces.len() > 60 {
        return;
    }
    let Ok(model) = Model::new(plan) else { return };
    for bearing in [Bearing::Rope, Bearing::Pins, Bearing::Rigid] {
        let linear = model.standing(&model.on(bearing, plan.trim_height));
        assert!(linear.level_shares_n.iter().all(|n| n.is_finite()), "a share that is no number");
    }
    let _ = raisewatch_statics::tolerance::limits(plan, &model);
}

fuzz_target!(|text: &str| {
    match Plan::read(text, "plan.toml") {
        Ok(plan) => {
            for tower in &plan.towers {
                assert!(tower.piece < plan.pieces.len(), "a tower on no piece");
                assert!(tower.rated_at(plan.trim_height).0 > 0.0, "a tower without a rating");
            }
            weigh(&plan);
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
