//! The view made of the watch's state, on demand: a step costs nothing for it.

use super::Watch;
use crate::calls::Unclaimed;
use crate::condition::Known;
use crate::health::told_in;
use crate::scene::Pins;
use crate::view::{CaughtView, HealthView, LimitsView, PieceView, TowerView, View};
use raisewatch_protocol::trace::Presence;
use raisewatch_protocol::units::Length;

impl Watch {
    /// What the pages draw.
    pub fn view(&self) -> View {
        let plan = &self.setup.plan;
        let estimate = self.estimator.estimate();
        let id = |t: &usize| plan.towers[*t].id.clone();
        View {
            t_ms: self.shown,
            title: plan.title.clone(),
            revision: plan.revision,
            units: [if plan.units.pounds { "lb" } else { "kg" }, if plan.units.feet { "ft" } else { "m" }],
            pieces: plan
                .pieces
                .iter()
                .map(|p| PieceView { id: p.id.clone(), length_m: p.length().0, from_m: p.from.map(|l| l.0), to_m: p.to.map(|l| l.0) })
                .collect(),
            step: self.scene.step,
            moving: self.scene.motion.word(),
            moving_unsaid: self.scene.moving_unsaid,
            zeroed: self.instruments.all_zeroed(&self.setup),
            proved: self.proof.all(&self.setup, &self.instruments),
            not_claimed: self.unclaimed().map(|why| self.in_words(why)),
            height_m: estimate.height_m.filter(|h| h.sigma < HEIGHT_KNOWN_M).map(|h| h.value),
            towers: (0..plan.towers.len()).map(|t| self.tower_view(t)).collect(),
            limits: self.limits_view(),
            level_through: estimate.level.through.iter().map(id).collect(),
            calls: self.calls.standing().map(|(to, call)| (to.to_owned(), call.clone())).collect(),
            findings: self.open_lines(),
            caught: estimate.extra.map(|e| CaughtView {
                piece: plan.pieces[e.piece].id.clone(),
                position_m: (e.position_m.sigma <= 0.5).then_some(e.position_m.value),
                sigma_m: e.position_m.sigma,
                force_n: e.force_n.value,
            }),
            health: self.health_view(),
            said: self.said.clone(),
            next_turns: self.next_turns_view(),
            ahead_s: self.ahead_view(),
            learnt: self.learnt_view(),
            hung: self.learn.hanging.offers.clone(),
            hand_over: self.handed_over(),
        }
    }

    fn open_lines(&self) -> Vec<raisewatch_protocol::told::Finding> {
        let tracks = self.ledger.tracks();
        let open = tracks.iter().enumerate().filter(|(_, t)| t.is_open());
        open.map(|(at, t)| self.line(at, t.state, false, self.shown)).collect()
    }

    pub(super) fn tower_view(&self, t: usize) -> TowerView {
        let tower = &self.setup.plan.towers[t];
        let estimate = self.estimator.estimate();
        let now = &estimate.towers[t];
        let above = estimate.level.above_mm.get(t).copied().flatten();
        let zeroed = self.instruments.all_zeroed(&self.setup);
        let value = |k: Option<Known>| k.map(|k| k.value);
        let (age_ms, torn) = self.age(t);
        // Torn, the drawing shows no number; not zeroed, none is claimed.
        let shown = |k: Option<Known>| if torn || !zeroed { None } else { k };
        TowerView {
            id: tower.id.clone(),
            name: tower.name.clone(),
            piece: self.setup.plan.pieces[tower.piece].id.clone(),
            x_m: tower.at.0,
            rated_n: tower.rated_at(now.height_m.map_or(tower.full, |h| Length(h.value))).0,
            adapter_n: tower.adapter.0,
            per_turn_mm: tower.per_turn.mm(),
            offset_mm: value(shown(above)),
            offset_sigma_mm: shown(above).map(|k| k.sigma),
            measured_n: value(shown(now.measured_n)),
            expected_n: value(shown(now.expected_n)),
            planned_n: now.planned_n,
            share_sigma_n: shown(now.measured_n).map(|k| k.sigma),
            height_m: value(now.height_m.filter(|h| h.sigma < HEIGHT_KNOWN_M)),
            blind: torn,
            age_ms,
            pins: match self.scene.towers[t].pins {
                Pins::None => "none",
                Pins::Said => "said",
                Pins::Measured => "measured",
            },
            proved: self.proof.tower(&self.setup, &self.instruments, t),
        }
    }

    /// Age of a tower's oldest guarding channel, ms, and whether the drawing is torn there.
    pub(super) fn age(&self, tower: usize) -> (Option<f64>, bool) {
        let mut oldest: Option<f64> = None;
        let mut torn = false;
        let mut any = false;
        for (channel, _) in self.instruments.guards(&self.setup, tower) {
            any = true;
            let seat = &self.setup.channels[channel];
            let period_s = if self.scene.guarded_as_moving() { seat.period_s } else { seat.still_period_s };
            match self.instruments.gauges[channel].valued {
                None => torn = true,
                Some(valued) => {
                    let age_s = self.shown.since(valued).s();
                    torn |= age_s >= (3.0 * period_s).max(1.0) || self.instruments.gauges[channel].impossible.is_some();
                    oldest = Some(oldest.map_or(age_s, |o| o.max(age_s)));
                }
            }
        }
        (oldest.map(|s| s * 1000.0), torn || !any)
    }

    fn limits_view(&self) -> Option<LimitsView> {
        let rows = self.limits.at(self.scene.step);
        let (pair, kind) = match (rows.twist_mm, rows.line_mm, rows.rake_mm) {
            (Some(twist), ..) => (twist, "twist"),
            (None, Some(line), _) => (line, "line"),
            (None, None, rake) => (rake?, "rake"),
        };
        Some(LimitsView { warn_mm: pair.warn, stop_mm: pair.stop, kind })
    }

    fn health_view(&self) -> Vec<HealthView> {
        let channels = self.setup.channels.iter().enumerate();
        channels
            .map(|(c, seat)| {
                let gauge = &self.instruments.gauges[c];
                let (unit, factor) = told_in(seat.channel);
                HealthView {
                    node: self.setup.kit.nodes[seat.node].id.clone(),
                    tower: self.setup.plan.towers[seat.tower].id.clone(),
                    channel: seat.channel,
                    state: self.channel_state(c),
                    age_ms: gauge.heard.map(|h| self.shown.since(h).s() * 1000.0),
                    value: gauge.value.filter(|_| gauge.impossible.is_none()).map(|v| v * factor),
                    unit: unit.word().unwrap_or(""),
                    spikes: self.estimator.watched(c).spikes(),
                    renews_s: gauge.renewal.every_s(),
                }
            })
            .collect()
    }

    fn channel_state(&self, c: usize) -> &'static str {
        let (gauge, health) = (&self.instruments.gauges[c], &self.instruments.health[c]);
        let seat = &self.setup.channels[c];
        let after = self.instruments.silent_after(&self.setup, &self.scene, c);
        match gauge.heard {
            None => "never-heard",
            Some(h) if self.shown.since(h) >= after => {
                let offline = self.instruments.nodes[seat.node].presence == Some(Presence::Offline);
                if offline { "offline" } else { "silent" }
            }
            Some(_) if gauge.impossible.is_some() => "out-of-range",
            Some(_) if self.proof.distrusts(&self.setup, c) => "backwards",
            Some(_) if !health.trusted => "distrusted",
            Some(_) if !health.zeroed => "not-zeroed",
            Some(_) if health.too_slow => "too-slow",
            Some(_) => "heard",
        }
    }

    fn in_words(&self, why: Unclaimed) -> String {
        let text = crate::calls::in_words(&self.setup, &self.phrases, why);
        text.trim_end_matches('.').to_owned()
    }
}

/// A height is shown as known within this; else a dash.
pub(super) const HEIGHT_KNOWN_M: f64 = 0.05;
