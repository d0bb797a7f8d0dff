//! The watch feeding what is learnt, once a step, and what the view shows of it.

use super::Watch;
use crate::condition::{Known, Unit};
use crate::estimate::loads::over;
use crate::learn::ahead::AheadView;
use crate::learn::hanging::OfferView;
use crate::learn::next_turns::{Head, NextTurn, NextTurnsView};
use crate::learn::stiffness::{Beside, BesideOf, LearntTower, LearntView};
use crate::scene::{Motion, Pins};
use crate::text::{phrases_place, quantity};
use raisewatch_protocol::Mono;
use raisewatch_protocol::words::{Step, Word};

/// A limit further ahead than its own uncertainty allows to say is not told.
const VAGUE: f64 = 0.5;

impl Watch {
    /// Once after every judgement.
    pub(super) fn learn(&mut self, now: Mono) {
        self.learn_stiffness(now);
        self.look_at_turns(now);
        self.look_at_hanging(now);
    }

    fn learn_stiffness(&mut self, now: Mono) {
        let learn = &mut self.learn;
        if learn.stiffness.look(&self.setup, &self.instruments, &self.scene, now) {
            for tower in 0..self.setup.plan.towers.len() {
                self.calls.set_per_turn_mm(tower, learn.stiffness.per_turn_mm(tower));
            }
            learn.stiffness_used = false;
        }
        let on_ropes = self.scene.towers.iter().all(|t| t.pins == Pins::None);
        if !on_ropes {
            // The estimate has taken the plan's stiffness of pins.
            learn.stiffness_used = false;
        } else if !learn.stiffness_used
            && let Some(rows) = learn.stiffness.rows()
        {
            learn.stiffness_used = self.estimator.set_share_per_offset(Some(&rows));
        }
    }

    /// Advice stands only where the crew's call is calm, every head is known and none may not move.
    fn look_at_turns(&mut self, now: Mono) {
        let may = self.scene.step == Step::Raise
            && self.scene.motion == Motion::Up
            && self.unclaimed().is_none()
            && self.calls.standing().all(|(_, call)| call.call == Word::Level)
            && (0..self.setup.plan.towers.len()).all(|t| !self.age(t).1)
            && self.calls.all_may(now, self.ledger.tracks(), &self.scene, self.estimator.estimate(), &self.setup, Word::Up);
        let Some(counted) = self.limits.counted_turn.filter(|_| may) else { return self.learn.next.withhold() };
        let heads = &mut self.learn.heads;
        let estimate = self.estimator.estimate();
        // Boxes tell how the whole rakes too poorly for a quarter of a turn while handles turn; how it is bent or twisted is known to a
        // millimetre: that is taken out, and without gauges the rake is left to its own limit.
        let gauged = estimate.towers.iter().all(|t| t.speed_mm_s.is_some());
        let above = |j: usize| if gauged { estimate.towers[j].offset_mm } else { estimate.level.above_mm[j] };
        heads.clear();
        for j in 0..estimate.towers.len() {
            let Some(above) = above(j) else { return self.learn.next.withhold() };
            heads.push(Head { offset_mm: above.value, sigma_mm: above.sigma, per_turn_mm: self.learn.stiffness.per_turn_mm(j) });
        }
        self.learn.next.look(heads, counted, now.s());
    }

    fn look_at_hanging(&mut self, now: Mono) {
        if self.scene.step != Step::Rig {
            return self.learn.hanging.pause();
        }
        let shares = self.estimator.shares();
        let means = |k: usize| shares.iter().map(move |s| s.measured_n[k]);
        let step = self.learn.hanging.look(now.s(), means(over::ONE), means(over::TEN), &self.estimator.sums().at);
        let Some(step) = step else { return };
        let phrases = &self.phrases;
        let text = |offer: &OfferView| {
            let amount = quantity(offer.force_n.abs(), Unit::N, phrases);
            let place = offer.position_m.map(|m| phrases_place(m, phrases)).unwrap_or_default();
            let named = offer.items.iter().map(|i| format!("{}{}", i.name, phrases_place(i.at_m, phrases)));
            let what = named.collect::<Vec<_>>().join(phrases.of("hung-or"));
            let key = match (offer.force_n < 0.0, offer.items.is_empty()) {
                (false, true) => "hung-unplanned",
                (false, false) => "hung",
                (true, true) => "taken-unplanned",
                (true, false) => "taken",
            };
            phrases.render(key, &[("amount", &amount), ("place", &place), ("what", &what)])
        };
        let text = self.learn.hanging.offer(&self.setup, now, &step, text).text.clone();
        self.reply(now, "lead", text, false);
    }

    /// The next part turns; `None` while nothing may be advised.
    pub(super) fn next_turns_view(&self) -> Option<NextTurnsView> {
        let turns = self.learn.next.turns()?;
        let towers = &self.setup.plan.towers;
        let words = |t: f64| if t < 0.25 { self.phrases.of("next-wait").to_owned() } else { self.phrases.turns(t).to_owned() };
        let each = turns.iter().zip(towers).map(|(t, tower)| format!("{} {}", tower.name, words(*t)));
        Some(NextTurnsView {
            text: self.phrases.render("next-turns", &[("what", &each.collect::<Vec<_>>().join(", "))]),
            towers: turns
                .iter()
                .zip(towers)
                .map(|(t, tower)| NextTurn {
                    tower: tower.id.clone(),
                    turns: *t,
                    text: self.phrases.render("next-turn", &[("turns", &words(*t))]),
                })
                .collect(),
        })
    }

    /// When a limit of the heights is reached at the rate of now; `None` while no rate is beyond doubt or nothing is claimed.
    pub(super) fn ahead_view(&self) -> Option<AheadView> {
        let trend = self.causes.trend();
        if self.unclaimed().is_some() || (0..self.setup.plan.towers.len()).any(|t| self.age(t).1) {
            return None;
        }
        let (tower, size, rate) = (trend.tower()?, trend.size?, trend.growing()?);
        let clear = |k: Option<Known>| k.filter(|k| k.sigma <= VAGUE * k.value.max(2.0));
        let (warn, stop) = (clear(trend.until(trend.limits.0)), clear(trend.limits.1.and_then(|s| trend.until(s))));
        let next = warn.or(stop)?;
        let key = if warn.is_some() { "ahead-hold" } else { "ahead-stop" };
        let whole = Known { value: next.value.round(), sigma: next.sigma };
        let tenth = |v: f64| (v * 10.0).round() / 10.0;
        Some(AheadView {
            tower: self.setup.plan.towers[tower].id.clone(),
            size_mm: tenth(size.value),
            rate_mm_s: tenth(rate.value),
            rate_sigma_mm_s: tenth(rate.sigma),
            warn_s: warn.map(|k| tenth(k.value)),
            warn_sigma_s: warn.map(|k| tenth(k.sigma)),
            stop_s: stop.map(|k| tenth(k.value)),
            stop_sigma_s: stop.map(|k| tenth(k.sigma)),
            text: self.phrases.render(key, &[("amount", &format!("{:.0} s", whole.value))]),
        })
    }

    /// What turns of single towers showed; `None` before the first.
    pub(super) fn learnt_view(&self) -> Option<LearntView> {
        let learnt = &self.learn.stiffness;
        let plan = &self.setup.plan;
        let towers: Vec<LearntTower> = (0..plan.towers.len()).filter_map(|k| self.learnt_tower(k)).collect();
        let short = |v: f64| (v * 1000.0).round() / 1000.0;
        (!towers.is_empty()).then(|| LearntView {
            factor: learnt.factor.map(|f| short(f.value)),
            factor_sigma: learnt.factor.map(|f| short(f.sigma)),
            used: self.learn.stiffness_used,
            towers,
        })
    }

    fn learnt_tower(&self, k: usize) -> Option<LearntTower> {
        let stiffness = &self.learn.stiffness;
        let plan = &self.setup.plan;
        let learnt = stiffness.learnt[k].as_ref()?;
        let per_turn = plan.towers[k].per_turn.mm();
        let shares = learnt.share_n_per_mm.iter().enumerate().filter_map(|(j, m)| {
            let beside = Beside::new((*m)?, stiffness.planned_n_per_mm(j, k));
            Some(BesideOf { of: plan.towers[j].id.clone(), beside })
        });
        let slopes = learnt.slope_deg.iter().enumerate().filter_map(|(c, m)| {
            let beside = Beside::new((*m)?, stiffness.planned_slope_deg(c, k)?);
            Some(BesideOf { of: self.setup.kit.nodes[self.setup.channels[c].node].id.clone(), beside })
        });
        let key = if learnt.departs.is_some() { "learnt-departs" } else { "learnt" };
        let rise = learnt.rise_mm.map_or_else(String::new, |r| quantity(r.value, Unit::Mm, &self.phrases));
        let key = if rise.is_empty() && learnt.departs.is_none() { "learnt-no-rise" } else { key };
        let planned = quantity(per_turn, Unit::Mm, &self.phrases);
        let part = learnt.departs.map_or_else(String::new, |d| format!("{d:.1}"));
        let what = if learnt.departs.is_some() { &part } else { &rise };
        Some(LearntTower {
            tower: plan.towers[k].id.clone(),
            t_ms: learnt.at,
            turns: learnt.turns,
            rise: learnt.rise_mm.map(|r| Beside::new(r, per_turn)),
            rise_used: stiffness.per_turn_mm(k) != per_turn,
            shares: shares.collect(),
            slopes: slopes.collect(),
            departs: learnt.departs.map(|d| (d * 100.0).round() / 100.0),
            text: self.phrases.render(key, &[("tower", &plan.towers[k].name), ("amount", what), ("limit", &planned)]),
        })
    }
}
