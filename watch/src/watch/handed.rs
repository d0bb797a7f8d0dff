//! The hand-over made of the watch's state, and what becomes of the word `hand-over`.

use super::{Output, Watch};
use crate::condition::Unit;
use crate::estimate::loads::over;
use crate::health::told_in;
use crate::instruments::needs_zero;
use crate::learn::hand_over::{ExpectedHanded, HandOver, Handed, LimitHanded, SaidBy, ShelvedHanded, TowerHanded, ZeroHanded};
use crate::scene::Pins;
use crate::text::quantity;
use raisewatch_protocol::Mono;
use raisewatch_protocol::said::{Said, SaidValue};
use raisewatch_protocol::words::{LifeState, Step};

/// A rope carries nothing below a tenth of the share or 20 lb, the larger (docs/trade.md section 4, not on its pin).
const ROPE_FREE: f64 = 0.1;
const ROPE_FREE_N: f64 = 89.0;

impl Watch {
    /// The new crew takes over: the state as it is now goes into the recording, and nothing stays put aside.
    pub(super) fn hand_over(&mut self, now: Mono, said: &Said) {
        let read_back = match &said.value {
            Some(SaidValue::Text(text)) => Some(text.clone()),
            Some(SaidValue::Number(_)) | None => None,
        };
        self.learn.memory.handed = Some(Handed { t_ms: now, by: said.by.clone(), read_back });
        let state = self.handed_over();
        let aside = state.shelved.len();
        self.out.push(Output::HandOver(Box::new(state)));
        // A mute must not survive a hand-over (docs/trade.md section 1.12).
        self.ledger.unshelve(now, None);
        let who = said.by.clone().unwrap_or_else(|| self.phrases.of("somebody").to_owned());
        let key = if aside == 0 { "handed-over" } else { "handed-over-aside" };
        let text = self.phrases.render(key, &[("what", &who), ("amount", &aside.to_string())]);
        self.reply(now, "lead", text, false);
    }

    /// All that a new crew must know, now.
    pub fn handed_over(&self) -> HandOver {
        let plan = &self.setup.plan;
        let estimate = self.estimator.estimate();
        let tracks = self.ledger.tracks();
        let line = |aside: bool| {
            let of = move |(at, t): &(usize, &crate::life::Track)| t.is_open() && (tracks[*at].state == LifeState::Shelved) == aside;
            tracks.iter().enumerate().filter(of)
        };
        let findings: Vec<_> = line(false).map(|(at, t)| self.line(at, t.state, false, self.shown)).collect();
        let shelved: Vec<_> = line(true)
            .map(|(at, t)| ShelvedHanded { finding: self.line(at, t.state, false, self.shown), until_ms: t.shelved_until })
            .collect();
        let towers: Vec<_> = (0..plan.towers.len()).map(|t| self.tower_handed(t)).collect();
        let limits = self.learn.memory.limits(self.scene.step);
        HandOver {
            t_ms: self.shown,
            step: self.scene.step,
            since_ms: self.scene.since,
            step_by: self.learn.memory.step_by.clone(),
            height_m: estimate.height_m.filter(|h| h.sigma < super::shown::HEIGHT_KNOWN_M).map(|h| h.value),
            read_back: [self.read_back_pins(&towers), self.read_back_open(&findings, &shelved), self.read_back_limits(&limits)],
            towers,
            zeros: self.zeros_handed(),
            findings,
            shelved,
            limits,
            counted_turn: self.limits.counted_turn,
            expected: self.scene.expect.map(|e| ExpectedHanded {
                change_n: e.change_n,
                tower: e.tower.map(|t| plan.towers[t].id.clone()),
                since_ms: e.at,
            }),
            last_said: self.learn.memory.last.clone(),
            handed: self.learn.memory.handed.clone(),
        }
    }

    fn tower_handed(&self, t: usize) -> TowerHanded {
        let plan = &self.setup.plan.towers[t];
        let scene = &self.scene.towers[t];
        let memory = &self.learn.memory;
        let said = |at: Option<Mono>, by: &[Option<String>]| at.map(|t_ms| SaidBy { t_ms, by: by[t].clone() });
        let hole = Some(scene.sections_up).filter(|n| *n > 0 && *n <= plan.pins.len());
        TowerHanded {
            id: plan.id.clone(),
            name: plan.name.clone(),
            pinned: said(scene.pinned_at.filter(|_| scene.pins != Pins::None), &memory.pinned_by),
            pins_measured: self.rope_free(t),
            hole,
            hole_m: hole.map(|n| plan.pins[n - 1].0),
            slack_set: said(scene.slack_set_at, &memory.slack_by),
            proved: self.proof.tower(&self.setup, &self.instruments, t),
            share_n: self.tower_view(t).measured_n,
        }
    }

    /// Whether the rope's own cell shows that it carries nothing while the truss hangs; `None` where none tells.
    fn rope_free(&self, t: usize) -> Option<bool> {
        let loads = self.estimator.loads();
        let channel = loads.rope[t].filter(|&c| self.instruments.health[c].usable())?;
        if matches!(self.scene.step, Step::Rig | Step::Strike) {
            return None;
        }
        let cell = loads.cell(channel)?;
        let rope = cell.mean(over::FIVE).filter(|_| self.shown.s() - cell.newest_s < 2.0)?;
        let share = self.estimator.estimate().towers[t].planned_n;
        Some(rope.value < (ROPE_FREE * share).max(ROPE_FREE_N))
    }

    fn zeros_handed(&self) -> Vec<ZeroHanded> {
        let seats = self.setup.channels.iter().enumerate().filter(|(_, s)| needs_zero(s.channel));
        seats
            .map(|(c, seat)| {
                let gauge = &self.instruments.gauges[c];
                let (unit, factor) = told_in(seat.channel);
                let said = self.learn.memory.zeros[c].clone().filter(|_| gauge.zero_said);
                let kept = seat.fitted.zero.as_ref().filter(|_| !gauge.zero_said && gauge.zero.is_some());
                let until = kept.and_then(|z| z.when?.checked_add(jiff::SignedDuration::from_secs_f64(z.valid?.0)).ok());
                ZeroHanded {
                    node: self.setup.kit.nodes[seat.node].id.clone(),
                    tower: self.setup.plan.towers[seat.tower].id.clone(),
                    channel: seat.channel,
                    value: gauge.zero.map(|z| (z.value * factor * 1000.0).round() / 1000.0),
                    unit: unit.word().unwrap_or(""),
                    from: gauge.zero.map(|_| if gauge.zero_said { "said" } else { "kit" }),
                    said_ms: said.as_ref().map(|s| s.t_ms),
                    when: kept.and_then(|z| z.when).map(|w| w.to_string()),
                    by: said.and_then(|s| s.by).or_else(|| kept.and_then(|z| z.by.clone())),
                    valid_until: until.map(|w| w.to_string()),
                }
            })
            .collect()
    }

    fn read_back_pins(&self, towers: &[TowerHanded]) -> String {
        let pins = |t: &TowerHanded| {
            let key = match (&t.pinned, t.pins_measured) {
                (_, Some(true)) => "pins-measured",
                (Some(_), Some(false)) => "pins-contradicted",
                (Some(_), None) => "pins-said",
                (None, _) => "pins-open",
            };
            let place = t.hole.zip(t.hole_m).map(|(n, m)| {
                let height = quantity(m, Unit::M, &self.phrases);
                self.phrases.of("pins-hole").replace("{what}", &n.to_string()).replace("{amount}", &height)
            });
            self.phrases.render(key, &[("tower", &t.name), ("place", &place.unwrap_or_default())])
        };
        let each: Vec<String> = towers.iter().map(pins).collect();
        self.phrases.render("read-back-step", &[("step", self.scene.step.word()), ("what", &each.join(" "))])
    }

    fn read_back_open(&self, open: &[raisewatch_protocol::told::Finding], aside: &[ShelvedHanded]) -> String {
        if open.is_empty() && aside.is_empty() {
            return self.phrases.render("read-back-none", &[]);
        }
        let texts = open.iter().chain(aside.iter().map(|s| &s.finding)).map(|f| f.text.as_str());
        let what = texts.collect::<Vec<_>>().join(" ");
        self.phrases.render("read-back-open", &[("amount", &(open.len() + aside.len()).to_string()), ("what", &what)])
    }

    fn read_back_limits(&self, limits: &[LimitHanded]) -> String {
        let unit = |word: &str| match word {
            "mm" => Unit::Mm,
            "N" => Unit::N,
            _ => Unit::Deg,
        };
        // What the heads must keep is read back; the rest stands on the card.
        let heads = limits.iter().filter(|l| l.unit == "mm");
        let told = heads.map(|l| {
            let warn = quantity(l.warn, unit(l.unit), &self.phrases);
            match l.stop {
                Some(stop) => format!("{} {warn}, {}.", self.phrases.of(limit_key(l)), quantity(stop, unit(l.unit), &self.phrases)),
                None => format!("{} {warn}.", self.phrases.of(limit_key(l))),
            }
        });
        let what = told.collect::<Vec<_>>().join(" ");
        self.phrases.render(if what.is_empty() { "read-back-no-limits" } else { "read-back-limits" }, &[("what", &what)])
    }
}

fn limit_key(limit: &LimitHanded) -> &'static str {
    match limit.limit {
        "line" => "limit-line",
        "twist" => "limit-twist",
        _ => "limit-rake",
    }
}
