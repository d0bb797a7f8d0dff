//! 200 random plans with their shares and moments, one JSON object a line, for the comparison with a general-purpose
//! structural library (tests/python/compare.py).

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a tool of the tests

#[path = "../tests/common/mod.rs"]
mod common;
use common::*;
use raisewatch_protocol::plan::{Hung, Plan};
use raisewatch_protocol::units::{Force, Length, LineLoad, Stiffness};
use raisewatch_statics::{Bearing, Model};
use serde_json::json;

/// SplitMix64 (Steele, Lea, Flood 2014): the same plans on every machine.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }
    /// A place, on a grid of 50 mm: the library loses digits on members of a tenth of a millimetre.
    fn place(&mut self, a: f64, b: f64) -> f64 {
        ((self.between(a, b) / 0.05).round() * 0.05).clamp(0.0, b)
    }
    fn count(&mut self, a: usize, b: usize) -> usize {
        a + (self.unit() * (b - a + 1) as f64) as usize
    }
}

fn main() {
    for number in 0..200 {
        let mut dice = Dice(20_310_514 + number);
        let mut plan =
            if number % 4 == 3 { ring(&mut dice) } else { straight(&mut dice, 2 + (number as usize / 4 * 3 + number as usize % 4) % 7) };
        hang(&mut dice, &mut plan);
        println!("{}", solved(&mut dice, &plan));
    }
}

fn straight(dice: &mut Dice, towers: usize) -> Plan {
    let mut p = plan();
    let mut x = dice.place(0.0, 2.0);
    for i in 0..towers {
        let mut t = tower(&format!("T{i}"), 0, x);
        t.rope_stiffness = Stiffness(dice.between(60e3, 150e3));
        p.towers.push(t);
        x += dice.place(2.0, 7.0);
    }
    let len = p.towers[towers - 1].at.0 + dice.place(0.0, 2.0);
    p.pieces = vec![piece("front", [0.0, 0.0], [len, 0.0], dice.between(3.0, 16.0), dice.between(0.4e6, 7e6), dice.between(0.05e6, 0.8e6))];
    p
}

fn ring(dice: &mut Dice) -> Plan {
    let mut p = plan();
    let (a, b) = (dice.place(3.0, 10.0), dice.place(2.5, 8.0));
    let corners = [[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]];
    let (ei, gj, hinged) = (dice.between(0.4e6, 7e6), dice.between(0.05e6, 0.8e6), dice.unit() < 0.3);
    for i in 0..4 {
        let mut side = piece(&format!("side{i}"), corners[i], corners[(i + 1) % 4], 9.0, ei, gj);
        side.hinged_to = hinged;
        p.pieces.push(side);
        let mut t = tower(&format!("T{i}"), i, 0.0);
        t.rope_stiffness = Stiffness(dice.between(60e3, 150e3));
        p.towers.push(t);
    }
    p
}

fn hang(dice: &mut Dice, p: &mut Plan) {
    for _ in 0..dice.count(1, 8) {
        let on = dice.count(0, p.pieces.len() - 1);
        let len = p.pieces[on].length().0;
        let mut l = point("point", on, dice.place(0.0, len), kg(dice.between(5.0, 80.0)));
        if dice.unit() < 0.4 {
            let (from, to) = (dice.place(0.0, 0.45 * len), dice.place(0.6 * len, len));
            l.hung = Hung::Spread {
                from: Length(from),
                to: Length(to),
                first: LineLoad(dice.between(0.0, 300.0)),
                last: LineLoad(dice.between(0.0, 300.0)),
            };
        } else {
            l.across = Length(dice.between(-0.3, 0.3));
        }
        p.loads.push(l);
    }
}

fn solved(dice: &mut Dice, p: &Plan) -> serde_json::Value {
    let rigid = dice.unit() < 0.5;
    let bearing = if rigid { Bearing::Rigid } else { Bearing::Rope };
    let offsets: Vec<f64> = p.towers.iter().map(|_| dice.between(-0.01, 0.01)).collect();
    let model = Model::new(p).unwrap();
    let linear = model.standing(&model.on(bearing, Length(2.0)));
    let probes: Vec<_> = (0..12)
        .map(|_| {
            let on = dice.count(0, p.pieces.len() - 1);
            let x = dice.place(0.05, p.pieces[on].length().0);
            let at = linear.at(on, x, &offsets);
            json!({"piece": on, "x": x, "moment": at.moment_nm, "w": at.w_m})
        })
        .collect();
    json!({
        "pieces": p.pieces.iter().map(|q| json!({
            "from": q.from.map(|v| v.0), "to": q.to.map(|v| v.0), "weight": q.weight.0,
            "ei": q.bending.unwrap().0, "gj": q.torsion.unwrap().0, "hinged_to": q.hinged_to,
        })).collect::<Vec<_>>(),
        "towers": p.towers.iter().zip(&offsets).map(|(t, h)| json!({
            "piece": t.piece, "x": t.at.0, "k": if rigid { None } else { Some(t.rope_stiffness.0) }, "height": h,
        })).collect::<Vec<_>>(),
        "loads": p.loads.iter().map(|l| match l.hung {
            Hung::Point { at, weight: Force(n) } => json!({"piece": l.piece, "x": at.0, "n": n, "across": l.across.0}),
            Hung::Spread { from, to, first, last } => json!({"piece": l.piece, "from": from.0, "to": to.0, "first": first.0, "last": last.0}),
        }).collect::<Vec<_>>(),
        "total": linear.total_n,
        "shares": linear.shares(&offsets),
        "probes": probes,
    })
}
