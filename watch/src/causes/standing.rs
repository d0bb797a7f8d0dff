//! `sinking`, and weights that came or went slowly, while the truss stands: what [`crate::slow`] has found real, against the limits.

use super::lean::towards;
use super::scope::{Held, Scope, gravity, known};
use super::weight::place;
use crate::condition::{Condition, Known, Stands, Towards, Unit};
use crate::estimate::loads::acting;
use crate::slow::stand::{CREEP_RAD, Stand, next_m, settle_limit_m};
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// Slower than this it is a jack that creeps, told at 0.2°; faster a foot that sinks, told at the lean's own limit (0.3°): then the
/// rest takes ten minutes at most. 0.01 degrees a minute: docs/trade.md section 2, rows 21 and 22.
const CREEPS_RAD_S: f64 = 0.01 / 60.0 * std::f64::consts::PI / 180.0;
/// On-delay of `sinking` (docs/method.md, "Thresholds"), by which a lean that grows is looked ahead, s.
const ON_S: f64 = 5.0;
/// On-delays of `lean` and `uneven` while standing: what was told as these is not told again as sinking, s.
const LEAN_TOLD_S: f64 = 30.0;
const UNEVEN_TOLD_S: f64 = 10.0;
/// Past its clear level below this part of the limit.
const CLEAR: f64 = 0.6;

/// Memory of the slow causes.
#[derive(Clone, Debug)]
pub struct StandingCauses {
    stand: Stand,
    /// By tower: whether it is told to sink.
    sinks: Vec<bool>,
    leans: Vec<Held>,
    /// By tower: since when its lean stands past the stop limit.
    stops: Vec<Held>,
    uneven: Held,
}

impl StandingCauses {
    /// Before the truss stands.
    pub fn new(setup: &crate::setup::Setup) -> Self {
        let towers = setup.plan.towers.len();
        StandingCauses {
            stand: Stand::new(setup),
            sinks: vec![false; towers],
            leans: vec![Held::default(); towers],
            stops: vec![Held::default(); towers],
            uneven: Held::default(),
        }
    }

    /// An announced change of weight has come and stands: weights count from here.
    pub fn weighed_anew(&mut self) {
        self.stand.weighed_anew();
    }

    /// Adds what sinks, and what came or went, to what the other causes have found. `covered`: a graver cause explains the weights.
    pub fn judge(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        if !self.stand.look(scope) {
            self.sinks.fill(false);
            return;
        }
        for tower in 0..scope.towers() {
            self.sinking(scope, tower, found);
        }
        let settles = self.stand.settled.is_some_and(|s| self.sinks[s.tower]);
        let warns = |c: &Condition| c.kind == Kind::Uneven && c.stands == Stands::At(Severity::Warn);
        self.uneven.see(found.iter().any(warns), scope.now_s());
        // One cause, one finding: a stop of the level is told beside it, a warn is not.
        found.iter_mut().filter(|c| settles && warns(c) && !c.never_gated).for_each(|c| c.stands = Stands::Within);
        if scope.scene.step == Step::Stand && !covered {
            self.weight(scope, found);
        }
    }

    fn sinking(&mut self, scope: &Scope, tower: usize, found: &mut Vec<Condition>) {
        let of_lean = |c: &&Condition| c.kind == Kind::Lean && c.tower == Some(tower);
        let lean = found.iter().find(of_lean).map(|c| c.stands).filter(|s| matches!(s, Stands::At(_)));
        let leans_s = self.leans[tower].see(lean.is_some(), scope.now_s());
        let stops_s = self.stops[tower].see(lean == Some(Stands::At(Severity::Stop)), scope.now_s());
        let graver = [self.leaning(scope, tower), self.settling(scope, tower)].into_iter().flatten();
        let Some(mut told) = graver.max_by_key(|c| gravity(c.stands)) else {
            found.push(Condition { tower: Some(tower), ..Condition::of(Kind::Sinking) });
            return;
        };
        let was = self.sinks[tower];
        match (told.stands, lean) {
            // It is told already, as a lean.
            (Stands::At(_), Some(_)) if !was && leans_s >= LEAN_TOLD_S => told.stands = Stands::Within,
            // A sinking that hides a lean is as grave as it, once that would be told: a gust is no stop.
            (Stands::At(_), Some(lean)) if gravity(lean) > gravity(told.stands) && stops_s >= LEAN_TOLD_S => told.stands = lean,
            _ => {}
        }
        self.sinks[tower] = matches!(told.stands, Stands::At(_)) || was && told.stands == Stands::Within;
        found.push(told);
    }

    /// A mast that leans more and more.
    fn leaning(&self, scope: &Scope, tower: usize) -> Option<Condition> {
        let pair = scope.rows().lean_deg?;
        let age_s = self.stand.age_s(scope.now_s());
        let (mut now, mut ahead, mut rate, mut sigma) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
        let (mut any, mut gone, mut leapt, mut way, mut piece) = (false, false, 0.0_f64, [0.0; 2], 0);
        for (c, seat) in scope.setup.channels.iter().enumerate() {
            let drift = &self.stand.channels[c];
            let ours = seat.tower == tower && matches!(seat.channel, Channel::MastAlong | Channel::MastAcross);
            let live = scope.health[c].live && scope.health[c].trusted;
            let Some((change, soon)) = drift.change().zip(drift.change_in(age_s + ON_S)).filter(|_| ours && live) else { continue };
            any = true;
            piece = seat.piece;
            way[usize::from(seat.channel == Channel::MastAcross)] = change;
            gone |= drift.gone().is_some();
            leapt = leapt.hypot(if drift.leapt() { change } else { 0.0 });
            (now, ahead) = (now.hypot(change), ahead.hypot(if drift.gone().is_some() { soon } else { change }));
            (rate, sigma) = (rate.hypot(drift.per_s()), sigma.hypot(drift.sigma()));
        }
        if !any {
            return None;
        }
        let slow = rate < CREEPS_RAD_S;
        let warn = if slow { pair.warn.min(CREEP_RAD.to_degrees()) } else { pair.warn };
        let deg = ahead.to_degrees();
        let stop = pair.stop.filter(|s| deg >= *s);
        let stands = match deg {
            _ if !gone || leapt > 0.6 * now => {
                if now.to_degrees() < CLEAR * warn {
                    Stands::Clear
                } else {
                    Stands::Within
                }
            }
            _ if stop.is_some() => Stands::At(Severity::Stop),
            d if d >= warn => Stands::At(Severity::Warn),
            d if d < CLEAR * warn => Stands::Clear,
            _ => Stands::Within,
        };
        let told = sinking(tower, known(deg, sigma.to_degrees()), stop.unwrap_or(warn), stands);
        Some(Condition { towards: Some(towards(scope, piece, tower, way)), ..told })
    }

    /// A support that goes down with its mast upright.
    fn settling(&self, scope: &Scope, tower: usize) -> Option<Condition> {
        let settled = self.stand.settled.filter(|s| s.tower == tower)?;
        let (apart_m, limit_m) = (next_m(scope, tower), settle_limit_m(scope, tower));
        let deg = |m: f64| (m / apart_m).atan().to_degrees();
        let stop = scope.rows().lean_deg.and_then(|p| p.stop).filter(|s| deg(settled.down_m) >= *s);
        let told = self.uneven.lasted_s(scope.now_s()) >= UNEVEN_TOLD_S && !self.sinks[tower];
        let stands = match settled.down_m {
            _ if told => Stands::Within,
            _ if stop.is_some() => Stands::At(Severity::Stop),
            d if d >= limit_m => Stands::At(Severity::Warn),
            d if d < CLEAR * limit_m => Stands::Clear,
            _ => Stands::Within,
        };
        let amount = Known { value: deg(settled.down_m), sigma: deg(settled.sigma_m) };
        let told = sinking(tower, Some(amount), stop.unwrap_or(deg(limit_m)), stands);
        Some(Condition { towards: Some(Towards::Down), ..told })
    }

    /// Weight that came or went too slowly for the step that [`super::weight`] looks for, since the truss came to rest.
    fn weight(&mut self, scope: &Scope, found: &mut Vec<Condition>) {
        let Some(pair) = scope.rows().total_n else { return };
        let (allowed, sigma, gone) = (self.stand.total.allowed(), self.stand.total.sigma(), self.stand.total.gone());
        let Some(total) = self.stand.total.change() else { return };
        let Some(changes) = self.stand.share_changes() else { return };
        // What a cell may drift by widens the band with the hours.
        let warn = pair.warn + allowed;
        let announced =
            scope.scene.expect.is_some_and(|e| e.change_n.is_none_or(|n| n * total > 0.0 && total.abs() <= 1.3 * n.abs() + warn));
        let stop = pair.stop.filter(|s| total.abs() >= *s);
        let stands = match total.abs() {
            t if gone.is_none() || announced || t < warn => {
                if t < CLEAR * warn {
                    Stands::Clear
                } else {
                    Stands::Within
                }
            }
            _ if stop.is_some() => Stands::At(Severity::Stop),
            _ => Stands::At(Severity::Warn),
        };
        let kind = if total < 0.0 { Kind::MissingWeight } else { Kind::ExtraWeight };
        let other = found.iter().position(|c| c.kind == kind && c.tower.is_none());
        if stands == Stands::Clear || other.is_some_and(|i| gravity(found[i].stands) >= gravity(stands)) {
            return;
        }
        let placed = acting(changes, sigma + 0.5 * allowed, &scope.est.sums().at).and_then(|force| place(scope, &force));
        let told = Condition {
            piece: placed.map(|p| p.0),
            position: placed.map(|p| p.1),
            amount: known(total.abs(), sigma.hypot(allowed)),
            unit: Unit::N,
            limit: Some(stop.unwrap_or(warn)),
            stands,
            ..Condition::of(kind)
        };
        match other {
            Some(i) => found[i] = told,
            None => found.push(told),
        }
    }
}

fn sinking(tower: usize, amount: Option<Known>, limit: f64, stands: Stands) -> Condition {
    Condition { tower: Some(tower), amount, unit: Unit::Deg, limit: Some(limit), stands, ..Condition::of(Kind::Sinking) }
}
