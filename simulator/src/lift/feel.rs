//! What the instruments feel: slopes, leans, loads, and the unrest that shakes them.

use super::{LOOK, Lift};
use crate::crew::Operator;
use crate::instrument::Wrongness;
use crate::truss::Influence;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::words::{Channel, Step};
use std::f64::consts::TAU;

impl Lift {
    /// Lean of a mast, rad: as set up, by its foot, by a bump, drawn by the truss.
    pub(super) fn lean(&self, j: usize) -> [f64; 2] {
        let at = self.effects.towers.get(j).copied().unwrap_or_default();
        let [x, y] = self.base_lean[j];
        let drawn = if self.truss.in_line { self.portal(j) } else { 0.0 };
        [x + at.lean[0] + drawn, y + at.lean[1] + at.bump]
    }

    /// A raked truss is shorter seen from above: past the play of the cradles it draws the masts together.
    fn portal(&self, j: usize) -> f64 {
        let (piece, at) = self.supports[j];
        let span = |other: usize| self.supports[other].1 - at;
        let far = (0..self.supports.len()).filter(|&o| self.supports[o].0 == piece && o != j);
        let Some(other) = far.max_by(|a, b| span(*a).abs().total_cmp(&span(*b).abs())) else { return 0.0 };
        let slope = self.piece_slope(piece);
        let shortened = (span(other).abs() * (1.0 - slope.cos()) - 0.005).max(0.0) + self.effects.drawn;
        shortened / 2.0 / self.towers[j].z_m.max(0.5) * span(other).signum()
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
        slope + if along { self.kinked(place) } else { self.effects.roll }
    }

    /// Slope by joints that have opened: down before, up after, zero height at the outer towers.
    fn kinked(&self, place: usize) -> f64 {
        let here = self.places_m[place];
        let kinks = self.effects.kinks.iter().filter(|(at, _)| self.places_m[*at].piece == here.piece);
        kinks
            .map(|(at, by)| {
                let towers = self.supports.iter().filter(|(piece, _)| *piece == here.piece).map(|(_, x)| *x);
                let (low, high) = towers.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
                let part = ((self.places_m[*at].at_m - low) / (high - low).max(0.1)).clamp(0.0, 1.0);
                if here.at_m < self.places_m[*at].at_m { -by * (1.0 - part) } else { by * part }
            })
            .sum()
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
