//! Other lifts after the pattern of a scenario: another span, weight, stiffness, winch, pace, unrest and node rate for every seed.
//!
//! What must be said keeps its meaning: places move with the span, and a height that stands for a limit of the plan becomes the
//! same share of the limit that the other plan has. Times to speak are granted half as much again, since a slower winch moves
//! a force and a height more slowly; names and false words are judged as sharply as in the scenario itself.

use crate::scenario::{Must, Onset, Scenario};
use anyhow::Context;
use raisewatch_protocol::plan::{Cable, Hung, Lies, Load, Plan};
use raisewatch_protocol::units::{Force, Length, LineLoad, Rigidity, Speed, Stiffness};
use raisewatch_protocol::words::{Step, Word};
use raisewatch_simulator::fault::What;
use raisewatch_simulator::stream::Stream;
use raisewatch_statics::Model;
use raisewatch_statics::lift::Shape;
use raisewatch_statics::tolerance::{self, Limit};

/// How much more time there is for a word than in the scenario.
const GRANTED: f64 = 1.5;

/// The scenario's own pattern with the numbers that belong to `seed`. Ranges: docs/trade.md sections 0 and 3 where it gives
/// them (15 to 40 mm a turn, 60 to 150 N/mm on the rope), else up to a third either way, common practice, no source.
///
/// Errors: a plan that cannot stand with these numbers.
pub fn vary(scenario: &Scenario, seed: u64) -> anyhow::Result<Scenario> {
    let mut draw = Stream::new(seed, "vary");
    let mut other = scenario.clone();
    let span = draw.between(0.6, 1.35);
    let weight = draw.between(0.75, 1.3);
    stretch(&mut other.plan, span);
    weigh(&mut other.plan, weight);
    let stiffer = draw.between(0.7, 1.4);
    for piece in &mut other.plan.pieces {
        piece.bending = piece.bending.map(|Rigidity(ei)| Rigidity(ei * stiffer));
        piece.torsion = piece.torsion.map(|Rigidity(gj)| Rigidity(gj * stiffer));
    }
    let (turn, rope, pace) = (draw.between(0.7, 1.4), draw.between(0.65, 1.45), draw.between(0.75, 1.2));
    for tower in &mut other.plan.towers {
        tower.per_turn = Length(tower.per_turn.0 * turn);
        tower.rope_stiffness = Stiffness(tower.rope_stiffness.0 * rope);
        tower.pin_stiffness = Stiffness(tower.pin_stiffness.0 * rope);
    }
    other.plan.pace = Speed(other.plan.pace.0 * pace);
    other.plan.pace_down = Speed(other.plan.pace_down.0 * pace);
    // The scripts name cadences in turns a second: the pace of the hands stays what it was drawn to be.
    let cadence = |c: Option<f64>| c.map(|c| c * pace / turn);
    let crew = &mut other.script.crew;
    (crew.cadence, crew.cadence_down) = (cadence(crew.cadence), cadence(crew.cadence_down));
    for operator in &mut other.script.operator {
        (operator.cadence, operator.cadence_down) = (cadence(operator.cadence), cadence(operator.cadence_down));
    }
    rustle(&mut other, &mut draw);
    for node in &mut other.kit.nodes {
        for fitted in &mut node.channels {
            fitted.at = fitted.at.map(|Length(at)| Length(at * span));
        }
    }
    for fault in &mut other.script.fault {
        shift(&mut fault.what, span);
    }
    for must in &mut other.must {
        follow(must, &scenario.plan, &other.plan, scenario.script.start.step, span)?;
    }
    Ok(other)
}

/// Noise, sway and node rates.
fn rustle(scenario: &mut Scenario, draw: &mut Stream) {
    let noise = &mut scenario.script.noise;
    for field in [
        &mut noise.tilt_white,
        &mut noise.tilt_bias,
        &mut noise.crank_tilt,
        &mut noise.sway_tilt,
        &mut noise.load_white,
        &mut noise.load_bias,
        &mut noise.load_span,
        &mut noise.crank_load,
        &mut noise.loss,
    ] {
        *field *= draw.between(0.3, 1.2);
    }
    noise.sway_hz = draw.between(0.45, 1.4);
    let rate = [0.5, 1.0, 2.0][draw.between(0.0, 3.0) as usize % 3];
    for node in &mut scenario.kit.nodes {
        if node.rate_hz >= 10.0 {
            node.rate_hz *= rate;
        }
    }
}

fn stretch(plan: &mut Plan, by: f64) {
    let long = |l: &mut Length| l.0 *= by;
    for piece in &mut plan.pieces {
        piece.from.iter_mut().chain(&mut piece.to).for_each(long);
        piece.table.clear();
    }
    plan.towers.iter_mut().for_each(|t| long(&mut t.at));
    for Load { hung, .. } in &mut plan.loads {
        match hung {
            Hung::Point { at, .. } => long(at),
            // Spread over more length, the same weight in all.
            Hung::Spread { from, to, first, last } => {
                [from, to].into_iter().for_each(long);
                [first, last].into_iter().for_each(|w| w.0 /= by);
            }
        }
    }
    for Cable { lies, .. } in &mut plan.cables {
        match lies {
            Lies::Along { from, to, weight } => {
                [from, to].into_iter().for_each(long);
                weight.0 /= by;
            }
            Lies::Coil { at, .. } | Lies::Tail { at, .. } => long(at),
        }
    }
}

fn weigh(plan: &mut Plan, by: f64) {
    let heavy = |w: &mut LineLoad| w.0 *= by;
    plan.pieces.iter_mut().for_each(|p| heavy(&mut p.weight));
    for Load { hung, .. } in &mut plan.loads {
        match hung {
            Hung::Point { weight: Force(w), .. } => *w *= by,
            Hung::Spread { first, last, .. } => [first, last].into_iter().for_each(heavy),
        }
    }
    for Cable { lies, .. } in &mut plan.cables {
        match lies {
            Lies::Coil { weight: Force(w), .. } => *w *= by,
            Lies::Along { weight, .. } | Lies::Tail { weight, .. } => heavy(weight),
        }
    }
}

/// Moves the places that a fault touches.
fn shift(what: &mut What, by: f64) {
    match what {
        What::Snag { at, .. } | What::Case { at, .. } | What::Weight { at, .. } | What::Joint { at, .. } => at.0 *= by,
        What::Hands { at, .. } => at.iter_mut().for_each(|at| at.0 *= by),
        _ => {}
    }
}

/// What must be said, in the terms of the other plan.
fn follow(must: &mut Must, plan: &Plan, other: &Plan, step: Step, span: f64) -> anyhow::Result<()> {
    must.within.0 *= GRANTED;
    must.early.0 *= GRANTED;
    if let Some(place) = &mut must.position {
        place.0 *= span;
        must.position_within.0 *= span.max(1.0);
    }
    let stop = must.word.contains(&Word::Stop);
    let ratio = || -> anyhow::Result<f64> {
        let own = level_limit(plan, step)?;
        let new = level_limit(other, step)?;
        let of = |l: &Limit| if stop { l.stop.unwrap_or(l.warn) } else { l.warn };
        Ok(own.zip(new).map_or(1.0, |(own, new)| of(&new) / of(&own)))
    };
    match &mut must.from {
        Onset::Rake(by) | Onset::Line(_, by) => by.0 *= ratio()?,
        _ => {}
    }
    Ok(())
}

/// The limit that says how even the heads must be in `step`.
fn level_limit(plan: &Plan, step: Step) -> anyhow::Result<Option<Limit>> {
    let limits = tolerance::limits(plan, &Model::new(plan).context("varied plan")?);
    let rows = limits.step(step);
    Ok(match limits.shape {
        Shape::Two => rows.rake.clone(),
        Shape::Line => rows.line.clone(),
        Shape::Ring => rows.twist.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn scenario(id: &str) -> Scenario {
        Scenario::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{id}.toml"))).unwrap()
    }

    #[test]
    fn a_seed_varies_alike_and_seeds_differ() {
        let own = scenario("01");
        let at = |seed| vary(&own, seed).unwrap().plan;
        assert_eq!(at(3), at(3));
        assert_ne!(at(3), at(4));
        assert_ne!(at(3), own.plan);
    }

    #[test]
    fn weight_stays_where_the_span_grows() {
        let mut plan = scenario("01").plan;
        let before = Model::new(&plan).unwrap().total(Length(1.2)).0;
        let truss: f64 = plan.pieces.iter().map(|p| p.weight.0 * p.length().0).sum();
        stretch(&mut plan, 1.25);
        let after = Model::new(&plan).unwrap().total(Length(1.2)).0;
        assert!((after - before - 0.25 * truss).abs() < 1e-6, "{before} {after} {truss}");
    }

    #[test]
    fn a_height_that_stands_for_a_limit_follows_it() {
        let own = scenario("01");
        let other = (1..40).map(|s| vary(&own, s).unwrap()).find(|o| o.plan.towers[1].at.0 < 4.6).unwrap();
        let (Onset::Rake(before), Onset::Rake(after)) = (&own.must[0].from, &other.must[0].from) else { panic!("no rake") };
        let warn = |p| level_limit(p, Step::Raise).unwrap().unwrap().warn;
        assert!(warn(&other.plan) < warn(&own.plan));
        assert!((after.0 / before.0 - warn(&other.plan) / warn(&own.plan)).abs() < 1e-9);
    }
}
