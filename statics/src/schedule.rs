//! The load schedule: what hangs where, where its weight comes from, and how far the sums may be off.

use crate::linear::Linear;
use crate::model::Model;
use raisewatch_protocol::plan::{Hung, Source};
use raisewatch_protocol::units::Length;
use serde::Serialize;

/// A value with its band (one standard deviation).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Banded {
    /// The value, N.
    pub n: f64,
    /// Its standard deviation, N.
    pub sigma_n: f64,
}

/// One line of the schedule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ScheduleLine {
    /// Its name.
    pub name: String,
    /// `weighed`, `maker`, `label`, `guess` or `band`.
    pub source: &'static str,
    /// One standard deviation as a share of the weight.
    pub band: f64,
    /// Items in it.
    pub count: usize,
    /// Whether it is a tail and grows with height.
    pub tail: bool,
    /// Its weight at working height, N.
    pub working_n: f64,
    /// Its weight at trim, N.
    pub trim_n: f64,
    /// Its centre in plan coordinates, m; `None` where it weighs nothing.
    pub centre_m: Option<[f64; 2]>,
    /// What it puts on each tower at trim on the ropes, N.
    pub shares_n: Vec<f64>,
}

/// A weight whose band moves a share more than any other's does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubt {
    /// Line of the schedule.
    pub line: usize,
    /// Its name.
    pub name: String,
    /// Where its weight comes from.
    pub source: &'static str,
    /// The tower whose share it moves most.
    pub tower: usize,
    /// By how much, one standard deviation, N.
    pub moves_n: f64,
    /// By how much 10 kg more of it move that tower, N.
    pub per_10_kg_n: f64,
}

/// The word for a source.
pub fn source_word(source: Source) -> &'static str {
    match source {
        Source::Weighed => "weighed",
        Source::Maker => "maker",
        Source::Label => "label",
        Source::Guess => "guess",
        Source::Band(_) => "band",
    }
}

impl Model {
    /// The load schedule with what each line puts on each tower, at trim on the ropes (`linear`).
    pub(crate) fn schedule(&self, linear: &Linear) -> Vec<ScheduleLine> {
        let (working, trim) = (self.plan.working_height.0, self.plan.trim_height.0);
        let shares = linear.line_shares_n();
        (self.lines().iter().enumerate())
            .map(|(i, line)| {
                let mine = || self.items.iter().filter(move |item| item.line == i);
                let lumps = mine().flat_map(|item| item.lumps(Length(trim)).into_iter().map(|(x, n)| (self.place(item.piece, x), n)));
                let (mut n, mut moment) = (0.0, [0.0; 2]);
                for (at, weight) in lumps {
                    n += weight;
                    moment = [moment[0] + weight * at[0], moment[1] + weight * at[1]];
                }
                ScheduleLine {
                    name: line.name.clone(),
                    source: source_word(line.source),
                    band: line.source.band(),
                    count: line.count,
                    tail: line.tail,
                    working_n: mine().map(|item| item.weight_n(working)).sum(),
                    trim_n: mine().map(|item| item.weight_n(trim)).sum(),
                    centre_m: (n != 0.0).then(|| moment.map(|m| m / n)),
                    shares_n: shares[i].clone(),
                }
            })
            .collect()
    }

    /// Centre of all that hangs, plan coordinates, m; `None` where nothing weighs.
    pub fn centre_m(&self, height: Length) -> Option<[f64; 2]> {
        let (mut n, mut moment) = (0.0, [0.0; 2]);
        for item in &self.items {
            // Weight and moment of a linear spread load, exactly.
            let (weight, x) = match item.hung {
                Hung::Point { at, .. } => (item.weight_n(height.0), at.0),
                Hung::Spread { from, to, first, last } => {
                    let sum = first.0 + last.0;
                    let along = if sum == 0.0 { 0.5 } else { (first.0 + 2.0 * last.0) / (3.0 * sum) };
                    (item.weight_n(height.0), from.0 + (to.0 - from.0) * along)
                }
            };
            let at = self.place(item.piece, x);
            let p = &self.plan.pieces[item.piece];
            let len = p.length().0;
            let left = [-(p.to[1].0 - p.from[1].0) / len, (p.to[0].0 - p.from[0].0) / len];
            n += weight;
            for i in 0..2 {
                moment[i] += weight * (at[i] + left[i] * item.across_m);
            }
        }
        (n != 0.0).then(|| moment.map(|m| m / n))
    }

    /// Each tower's share with its band as the lift stands: one line's items are off together, lines apart from each other.
    pub fn banded_shares(&self, linear: &Linear) -> Vec<Banded> {
        let by_line = linear.line_shares_n();
        (0..self.plan.towers.len())
            .map(|j| {
                let square = self.lines().iter().zip(&by_line).map(|(l, s)| (l.source.band() * s[j]).powi(2));
                Banded { n: linear.level_shares_n[j], sigma_n: square.sum::<f64>().sqrt() }
            })
            .collect()
    }

    /// The whole weight with its band.
    pub fn banded_total(&self, height: Length) -> Banded {
        let of = |line: usize| self.items.iter().filter(move |i| i.line == line).map(move |i| i.weight_n(height.0)).sum::<f64>();
        let square = self.lines().iter().enumerate().map(|(i, l)| (l.source.band() * of(i)).powi(2));
        Banded { n: self.total(height).0, sigma_n: square.sum::<f64>().sqrt() }
    }
}

/// Which weights matter most to any tower, most first.
pub(crate) fn doubts(schedule: &[ScheduleLine]) -> Vec<Doubt> {
    let mut all: Vec<Doubt> = (schedule.iter().enumerate())
        .filter_map(|(line, l)| {
            let (tower, share) = l.shares_n.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
            (l.trim_n > 0.0).then(|| Doubt {
                line,
                name: l.name.clone(),
                source: l.source,
                tower,
                moves_n: (l.band * share).abs(),
                per_10_kg_n: share / l.trim_n * raisewatch_protocol::units::Force::from_kg(10.0).0,
            })
        })
        .collect();
    all.sort_by(|a, b| b.moves_n.total_cmp(&a.moves_n));
    all
}
