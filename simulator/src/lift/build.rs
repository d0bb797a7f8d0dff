//! How a lift is set up: where instruments sit and faults touch, how towers stand, who cranks, what the nodes are.

use super::LiftError;
use crate::crew::Operator;
use crate::instrument::Instrument;
use crate::node::Node;
use crate::script::{Script, ScriptError};
use crate::stream::Stream;
use crate::tower::{Make, Tower};
use crate::truss::{Influence, Place, Truss};
use raisewatch_protocol::kit::{Kit, Transport};
use raisewatch_protocol::plan::Plan;
use raisewatch_protocol::units::STANDARD_GRAVITY;
use raisewatch_protocol::words::Channel;

/// 2031-05-14 13:56 UTC, from which nodes count their own time where the script names no wall clock.
const EPOCH_S: f64 = 1_936_533_360.0;

/// Watched places of the tilt instruments.
pub(super) fn boxes(plan: &Plan, kit: &Kit, places: &mut Vec<Place>) -> Vec<Vec<Option<usize>>> {
    let mut watch = |node: &raisewatch_protocol::kit::Node, fitted: &raisewatch_protocol::kit::Fitted| {
        if !matches!(fitted.channel, Channel::TrussAlong | Channel::TrussAcross) {
            return None;
        }
        let tower = plan.towers.iter().find(|t| t.id == node.tower)?;
        let piece = fitted.piece.as_ref().and_then(|id| plan.pieces.iter().position(|p| p.id == *id)).unwrap_or(tower.piece);
        let at_m = fitted.at.map_or(tower.at.0, |at| at.0);
        places.push(Place { piece, at_m });
        Some(places.len() - 1)
    };
    kit.nodes.iter().map(|node| node.channels.iter().map(|fitted| watch(node, fitted)).collect()).collect()
}

/// Where a tower stands in plan, m, and which way its piece runs.
pub(super) fn stands(plan: &Plan, tower: &raisewatch_protocol::plan::Tower) -> ([f64; 2], [f64; 2]) {
    let piece = &plan.pieces[tower.piece];
    let [from, to] = [piece.from, piece.to].map(|end| [end[0].0, end[1].0]);
    let length = piece.length().0;
    let way = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    ([from[0] + way[0] * tower.at.0, from[1] + way[1] * tower.at.0], way)
}

pub(super) fn watch_middles(plan: &Plan, places: &mut Vec<Place>) -> Vec<usize> {
    plan.pieces
        .iter()
        .enumerate()
        .map(|(piece, p)| {
            places.push(Place { piece, at_m: p.length().0 / 2.0 });
            places.len() - 1
        })
        .collect()
}

/// Watched places that the faults touch, per fault.
pub(super) fn touched(plan: &Plan, script: &Script, places: &mut Vec<Place>) -> Result<Vec<Vec<usize>>, ScriptError> {
    let mut touched = vec![Vec::new(); script.fault.len()];
    for (fault, piece, at_m) in script.touched() {
        let index = match piece {
            None => 0,
            Some(id) => plan.pieces.iter().position(|p| p.id == *id).ok_or_else(|| ScriptError::Unknown {
                script: script.title.clone(),
                what: format!("fault {}", fault + 1),
                sort: "piece",
                name: id.clone(),
                known: plan.pieces.iter().map(|p| p.id.as_str()).collect::<Vec<_>>().join(", "),
            })?,
        };
        let length = plan.pieces[index].length().0;
        if !(0.0..=length).contains(&at_m) {
            return Err(ScriptError::Senseless {
                script: script.title.clone(),
                what: format!("fault {}", fault + 1),
                expected: format!("a place between 0 and {length} m"),
                found: format!("{at_m} m"),
            });
        }
        touched[fault].push(places.len());
        places.push(Place { piece: index, at_m });
    }
    Ok(touched)
}

/// Heights of the heads about their middle, m, when the lift begins level: on two towers the heads stand alike, as a spirit
/// level on the truss makes it; on three and more the cranks do, and each head hangs lower by the stretch of its rope (the
/// planned one), as counted turns make it.
pub(super) fn level_heads_m(plan: &Plan, truss: &Truss, height_m: f64) -> Vec<f64> {
    let n = plan.towers.len();
    if n < 3 {
        return vec![0.0; n];
    }
    let soft = |j: usize| 1.0 / plan.towers[j].rope_stiffness.0;
    // z = -R / k with R = R0 + K z.
    let matrix = nalgebra::DMatrix::from_fn(n, n, |j, k| soft(j) * truss.head[k].share[j] + f64::from(u8::from(j == k)));
    let tails = |j: usize| truss.tail.iter().map(|t| t.share[j] * height_m).sum::<f64>();
    let pressed = nalgebra::DVector::from_fn(n, |j, _| -soft(j) * (truss.load.share[j] + tails(j)));
    let Some(z) = matrix.lu().solve(&pressed) else { return vec![0.0; n] };
    let middle = z.mean();
    z.iter().map(|z| z - middle).collect()
}

pub(super) fn standing(plan: &Plan, script: &Script, truss: &Truss, height_m: f64, hung: f64, seed: u64) -> Vec<Tower> {
    let level = level_heads_m(plan, truss, height_m);
    let zs: Vec<f64> = level.iter().enumerate().map(|(j, z)| height_m + z + script.start.offsets.get(j).map_or(0.0, |o| o.0)).collect();
    let real = &script.real;
    let share = |j: usize, hung: f64| {
        let tails: f64 = truss.tail.iter().map(|t| t.share[j] * height_m).sum();
        let moved: f64 = truss.head.iter().zip(&zs).map(|(h, z)| h.share[j] * z).sum();
        (truss.load.share[j] + tails) * hung + moved
    };
    plan.towers
        .iter()
        .enumerate()
        .map(|(j, tower)| {
            let mut stream = Stream::new(seed, &format!("tower {j}"));
            let mut near = |value: f64, spread: f64| value * (1.0 + stream.normal(spread).clamp(-0.5, 0.5));
            let make = Make {
                rope_n_per_m: near(tower.rope_stiffness.0, real.rope_spread),
                pin_n_per_m: near(tower.pin_stiffness.0, real.rope_spread),
                head_n: real.head.0,
                truss_kg: (share(j, 1.0) / STANDARD_GRAVITY).max(5.0),
                damping: real.damping,
                rise_m: near(tower.per_turn.0, real.rise_spread),
                layer: real.layer,
            };
            let mut made = Tower::standing(make, zs[j], share(j, hung), script.start.pinned, real.slack.0);
            if !script.start.pinned {
                // Cranks count from the level line, whatever the heads hang below it.
                made.stretch_m += level[j];
            }
            made
        })
        .collect()
}

pub(super) fn operators(plan: &Plan, script: &Script, towers: &[Tower], seed: u64) -> Vec<Operator> {
    plan.towers
        .iter()
        .zip(towers)
        .enumerate()
        .map(|(j, (tower, made))| {
            let (habits, late_s) = script.habits(&tower.id);
            let pace = [plan.pace.0 / made.make.rise_m, plan.pace_down.0 / made.make.rise_m];
            Operator::new(habits, late_s, pace, Stream::new(seed, &format!("operator {j}")))
        })
        .collect()
}

/// What a node's instruments are mounted on.
pub(super) struct Mounts<'a> {
    pub truss: &'a Truss,
    pub boxes: &'a [Vec<Option<usize>>],
    pub towers: &'a [Tower],
    pub leans: &'a [[f64; 2]],
}

pub(super) fn nodes(plan: &Plan, kit: &Kit, script: &Script, mounts: &Mounts, seed: u64) -> Result<Vec<Node>, LiftError> {
    let &Mounts { truss, boxes, towers, leans } = mounts;
    let epoch_s = script.wall.map_or(EPOCH_S, |wall| wall.as_second() as f64);
    let mut made = Vec::new();
    for (node, places) in kit.nodes.iter().zip(boxes) {
        let tower = plan.towers.iter().position(|t| t.id == node.tower).ok_or_else(|| LiftError::NoTower {
            node: node.id.clone(),
            tower: node.tower.clone(),
            known: plan.towers.iter().map(|t| t.id.as_str()).collect::<Vec<_>>().join(", "),
        })?;
        let instruments = node.channels.iter().zip(places).map(|(fitted, place)| {
            let name = node.map.iter().find(|(_, c)| *c == fitted.channel).map_or(fitted.channel.word(), |(name, _)| name);
            let at_zero = match (fitted.channel, place) {
                (Channel::TrussAlong, Some(p)) => planned_slope(plan, truss, *p, true),
                (Channel::TrussAcross, Some(p)) => planned_slope(plan, truss, *p, false),
                (Channel::MastAlong, _) => leans[tower][0],
                (Channel::MastAcross, _) => leans[tower][1],
                (Channel::RopeLoad, _) => towers[tower].make.head_n / fitted.rope_ratio,
                _ => 0.0,
            };
            let stream = Stream::new(seed, &format!("{} {}", node.id, fitted.channel));
            Instrument::new(fitted, name.to_owned(), &script.noise, at_zero, stream)
        });
        let instruments = instruments.collect();
        let port = port_of(&node.over);
        let shared = kit.nodes.iter().filter(|n| port.is_some() && port_of(&n.over) == port).count();
        made.push(Node::new(node, tower, instruments, &script.noise, shared, epoch_s, seed));
    }
    Ok(made)
}

fn port_of(over: &Transport) -> Option<&str> {
    match over {
        Transport::Mqtt => None,
        Transport::Xdr { port, .. } | Transport::Modbus { port, .. } => Some(port),
    }
}

/// Slope of the level, loaded truss at working height, where its boxes were zeroed, rad.
fn planned_slope(plan: &Plan, truss: &Truss, place: usize, along: bool) -> f64 {
    let row = |influence: &Influence| if along { influence.along[place] } else { influence.across[place] };
    let tails: f64 = truss.tail.iter().map(|tail| row(tail) * plan.working_height.0).sum();
    let heads = level_heads_m(plan, truss, plan.working_height.0);
    row(&truss.load) + tails + truss.head.iter().zip(heads).map(|(head, z)| row(head) * z).sum::<f64>()
}
