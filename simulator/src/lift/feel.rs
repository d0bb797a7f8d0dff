//! What the instruments feel: slopes, leans, loads, and the unrest that shakes them.

use super::{LOOK, Lift};
use crate::crew::Operator;
use crate::instrument::Wrongness;
use crate::truss::Influence;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::{Channel, Step};
use std::f64::consts::TAU;

impl Lift {
    /// Lean of a mast along and across its piece, rad: as set up, by its foot, by a bump, drawn by the truss.
    pub(super) fn lean(&self, j: usize) -> [f64; 2] {
        let at = self.effects.towers.get(j).copied().unwrap_or_default();
        let [x, y] = self.base_lean[j];
        let drawn = self.drawn(j);
        [x + at.lean[0] + drawn[0], y + at.lean[1] + at.bump + drawn[1]]
    }

    /// How a clamped truss draws this mast, along and across its piece, rad: all heads towards their middle, each by its distance from
    /// it (masts that give alike, a truss that does not). A raked truss is shorter seen from above, past the play of the cradles.
    fn drawn(&self, j: usize) -> [f64; 2] {
        let (place, way) = self.stands[j];
        let raked = if self.truss.in_line { 1.0 - self.piece_slope(self.supports[j].0).cos() } else { 0.0 };
        let toward = [0, 1].map(|axis| {
            let along = || self.stands.iter().map(|(at, _)| at[axis]);
            let span = along().fold(f64::NEG_INFINITY, f64::max) - along().fold(f64::INFINITY, f64::min);
            let middle = along().sum::<f64>() / self.stands.len() as f64;
            let shortened = (span * raked - 0.005).max(0.0) + self.effects.drawn;
            if span < 0.1 { 0.0 } else { shortened * (middle - place[axis]) / span / self.towers[j].z_m.max(0.5) }
        });
        [toward[0] * way[0] + toward[1] * way[1], toward[1] * way[0] - toward[0] * way[1]]
    }

    pub(super) fn run_instruments(&mut self, now: Mono, now_s: f64) {
        let resting = matches!(self.lead.step, Step::Stand | Step::Change) && now_s - self.moved_s > 30.0;
        let mut nodes = std::mem::take(&mut self.nodes);
        let mut lines = Vec::new();
        for (n, node) in nodes.iter_mut().enumerate() {
            let wrongs: Vec<(Channel, Wrongness)> = (0..node.instruments.len())
                .map(|i| {
                    let channel = node.instruments[i].channel;
                    let mut wrong = Wrongness::default();
                    let mut from = node.tower;
                    for fault in &self.faults {
                        from = fault.spoil(node.tower, channel, now_s, &mut wrong).unwrap_or(from);
                    }
                    let there = self.there(n, i, channel, from, node.instruments[i].rope_ratio());
                    node.instruments[i].feel(there, LOOK);
                    (channel, wrong)
                })
                .collect();
            let wrong = |channel| wrongs.iter().find(|(c, _)| *c == channel).map_or_else(Wrongness::default, |(_, w)| *w);
            node.speak(now, resting, &self.effects.nodes[n], wrong, &mut lines);
        }
        self.nodes = nodes;
        lines.into_iter().for_each(|line| self.queue(line));
    }

    /// What there is for an instrument to feel at a tower, in the channel's unit.
    fn there(&self, node: usize, instrument: usize, channel: Channel, tower: usize, rope_ratio: f64) -> f64 {
        let at = &self.towers[tower];
        match channel {
            Channel::HeadLoad => at.cell_n,
            Channel::RopeLoad => at.rope_n / rope_ratio,
            Channel::Height => at.z_m,
            Channel::Battery => 4.1,
            Channel::MastAlong => self.lean(tower)[0] + self.unrest(tower, true),
            Channel::MastAcross => self.lean(tower)[1] + self.unrest(tower, false),
            Channel::TrussAlong | Channel::TrussAcross => {
                let along = channel == Channel::TrussAlong;
                // A box that reads another tower's truth is that tower's box.
                let place = self.box_of(node, instrument, tower, channel);
                place.map_or(0.0, |place| self.slope(place, along)) + self.unrest(tower, along)
            }
        }
    }

    fn box_of(&self, node: usize, instrument: usize, tower: usize, channel: Channel) -> Option<usize> {
        let own = self.boxes[node][instrument];
        if self.layout[node].0 == tower {
            return own;
        }
        let other = self.layout.iter().position(|(at, channels)| *at == tower && channels.contains(&channel))?;
        let index = self.layout[other].1.iter().position(|c| *c == channel)?;
        self.boxes[other][index].or(own)
    }

    /// Slope of the truss at a watched place, rad, all that acts together.
    fn slope(&self, place: usize, along: bool) -> f64 {
        let row = |influence: &Influence| if along { influence.along[place] } else { influence.across[place] };
        let line = self.line_m();
        let mut slope = self.hung * row(&self.truss.load);
        slope += self.truss.tail.iter().map(|tail| self.hung * line * row(tail)).sum::<f64>();
        slope += self.truss.head.iter().zip(&self.towers).map(|(head, tower)| row(head) * tower.z_m).sum::<f64>();
        slope += self.effects.weights.iter().map(|(at, n)| -n * row(&self.truss.point[*at])).sum::<f64>();
        for spring in &self.effects.springs {
            let share = self.outside_n / self.effects.springs.len() as f64;
            slope += share * row(&self.truss.point[spring.place]);
        }
        slope += self.effects.kinks.iter().map(|(at, by)| by * row(&self.truss.kink[*at])).sum::<f64>();
        slope + if along { 0.0 } else { self.effects.roll }
    }

    /// Apparent tilt by shaking, rad: sway (along: the whole portal together), the crank at this tower, the place.
    fn unrest(&self, tower: usize, along: bool) -> f64 {
        let sway = if along { self.sway[0].tilt() } else { 0.7 * self.sway[tower + 1].tilt() };
        let cranks = self.operators.iter().enumerate().filter(|(_, o): &(usize, &Operator)| o.cranking());
        let crank: f64 = cranks
            .map(|(j, operator)| {
                let strength = if j == tower { 1.0 } else { 0.15 };
                let turn = TAU * operator.handle;
                strength * self.noise.crank_tilt * (0.85 * turn.sin() + 0.15 * (2.0 * turn).sin())
            })
            .sum();
        sway + crank * if along { 1.0 } else { 0.6 } + self.effects.tilt
    }
}
