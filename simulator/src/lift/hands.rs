//! The crew at the winches: what the lead's wishes become, what the operators do and call out.

use super::{LOOK, Lift};
use crate::crew::{Landing, Shout, Task};
use crate::lead::Wish;
use raisewatch_protocol::mono::Mono;
use raisewatch_protocol::said::Said;
use raisewatch_protocol::trace::Arrival;
use raisewatch_protocol::words::Utterance;

impl Lift {
    pub(super) fn grant(&mut self, wish: &Wish) {
        let count = self.towers.len();
        let chosen = |towers: &Option<Vec<String>>, ids: &[String], j: usize| {
            towers.as_ref().is_none_or(|named| named.iter().any(|name| *name == ids[j]))
        };
        for j in 0..count {
            let z = self.towers[j].z_m;
            match wish {
                Wish::Crank { to_m, from_here, towers, sections } if chosen(towers, &self.tower_ids, j) => {
                    let to_m = if *from_here { z + to_m } else { *to_m };
                    let way = (to_m - z).signum();
                    let ends = if *sections && way > 0.0 {
                        self.pins[j].iter().copied().filter(|p| *p > z + 0.05 && *p < to_m - 0.05).collect()
                    } else {
                        Vec::new()
                    };
                    self.operators[j].ask(Task::Crank { to_m: to_m + self.hands.normal(0.001), way }, ends);
                }
                Wish::Turns { towers, turns } if chosen(towers, &self.tower_ids, j) => {
                    self.operators[j].ask(Task::Turns { left: *turns }, Vec::new());
                }
                Wish::Land(stagger) if !self.effects.towers[j].unpinned => {
                    let task = self.landing(j, stagger * j as f64, z);
                    self.operators[j].ask(task, Vec::new());
                }
                Wish::Unpin => self.operators[j].ask(Task::Unpin { at_pin_s: -1.0 }, Vec::new()),
                Wish::Free => self.operators[j].freed(),
                Wish::Hang(over) => self.hang_pace = 1.0 / over.max(LOOK),
                _ => {}
            }
        }
    }

    fn landing(&mut self, j: usize, left_s: f64, z: f64) -> Task {
        let real = &self.script.real;
        let pin = self.pins[j].iter().copied().min_by(|a, b| (a - z).abs().total_cmp(&(b - z).abs())).unwrap_or(z);
        let pin_m = pin + self.hands.normal(real.pin_spread.0);
        let over_m = self.hands.between(real.over_pin[0].0, real.over_pin[1].0);
        Task::Land(Landing::Waits { left_s, pin_m, over_m })
    }

    pub(super) fn run_hands(&mut self, now: Mono, now_s: f64) {
        let line = self.line_m();
        let mut shouts = Vec::new();
        for j in 0..self.towers.len() {
            let at = self.effects.towers[j];
            let (operator, tower) = (&mut self.operators[j], &mut self.towers[j]);
            operator.factor = at.factor.unwrap_or(1.0);
            operator.frozen = at.frozen;
            operator.deaf = at.deaf;
            let before = operator.handle;
            if let Some(shout) = operator.advance(tower, tower.z_m - line, &self.script.real, now_s, LOOK) {
                shouts.push((j, shout));
            }
            let turned = operator.handle - before;
            if operator.cranking() {
                self.moved_s = now_s;
            }
            tower.wind(turned, LOOK);
        }
        for (j, shout) in shouts {
            self.shout(j, shout, now);
        }
    }

    fn shout(&mut self, j: usize, shout: Shout, now: Mono) {
        let said = match shout {
            Shout::Pinned => Utterance::Pinned,
            Shout::SectionUp => Utterance::SectionUp,
            Shout::SlackSet => Utterance::SlackSet,
        };
        // A section's end and a pin are felt: a thump of some per cent, a tap at the masts.
        self.towers[j].speed += self.hands.between(0.02, 0.035) * if shout == Shout::SectionUp { -1.0 } else { 0.0 };
        self.sway[j + 1].kick(self.noise.sway_tilt * 0.5);
        let tower = self.tower_ids[j].clone();
        let by = Some(format!("{tower}'s operator"));
        self.send(now, Arrival::Said(Said { said, tower: Some(tower), channel: None, value: None, finding: None, by }));
    }
}
