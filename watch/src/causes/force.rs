//! Forces that come while it moves: `caught`, `resting`; and rope against head: `stuck`, `top`, `slack`, `not-landed`.
//!
//! Offsets cannot change the total nor the moments of the shares, whatever the stiffness: what does is outside the truss. So
//! tilt moving while loads stay is cranking, and loads moving while the total changes is something caught, resting or added.

use super::ropes::at_section_end;
use super::scope::{Held, Scope, known};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::loads::{acting, over};
use crate::estimate::shares::on_piece;
use crate::limits::Pair;
use raisewatch_protocol::words::{Kind, Severity, Step};

/// A force past the stop limit counts after so long, s: two or three samples of a 10 Hz cell.
const HARD_S: f64 = 0.03;
/// A force past the warn limit counts after so long, s. It is a mean over a whole turn of the crank already.
const SOFT_S: f64 = 0.15;
/// Of the pull that tells a stuck section so much must be a rise of the rope, over what is planned or over a moment ago.
const ROSE: f64 = 0.6;
/// Standard deviation of a second's mean of one share while cranking, against its base: ripple that is left over, as a part of
/// the share (3 % at the rate of the crank, of which a second leaves a quarter).
const RIPPLE: f64 = 0.008;
/// A section that hung and lets go falls within its rope's slack and rings for so long, s.
const LETS_GO_S: f64 = 3.0;
/// A place further off the truss than this, and than its own uncertainty, is no place of one force, m.
const OFF_PIECE_M: f64 = 0.5;

/// What came of looking at the forces.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Forces {
    /// Something is caught or rests: what follows from it is not told by itself.
    pub held: bool,
    /// A force is growing that may become one: the base must not follow it.
    pub suspected: bool,
}

/// Memory of the force causes.
#[derive(Clone, Debug, Default)]
pub struct ForceCauses {
    hard: Held,
    soft: Held,
    stands: bool,
    ropes: Vec<RopeMemory>,
    step: Option<Step>,
    /// How each share changed: room that is used again.
    changes: Vec<f64>,
}

#[derive(Clone, Copy, Debug, Default)]
struct RopeMemory {
    took: bool,
    slack_hard: Held,
    slack_soft: Held,
    stuck: Held,
    slack_stands: bool,
    stuck_stands: bool,
    /// It stands where a section ends: not stuck, at its top.
    at_end: bool,
    /// Since when it is slack or stuck, and when it was last, s.
    hung: Option<(f64, f64)>,
}

impl ForceCauses {
    /// For so many towers.
    pub fn new(towers: usize) -> Self {
        ForceCauses { ropes: vec![RopeMemory::default(); towers], changes: Vec::with_capacity(towers), ..ForceCauses::default() }
    }

    /// Adds forces that hold or carry the truss.
    pub fn judge(&mut self, scope: &Scope, found: &mut Vec<Condition>) -> Forces {
        let (kind, sign) = match (scope.up(), scope.down()) {
            (true, _) => (Kind::Caught, 1.0),
            (_, true) => (Kind::Resting, -1.0),
            _ => {
                self.stands = false;
                (self.hard, self.soft) = (Held::default(), Held::default());
                return Forces::default();
            }
        };
        let Some(pair) = scope.rows().total_n else { return Forces::default() };
        let Some((fast, one)) = self.excess(scope) else {
            found.push(Condition::of(kind));
            return Forces::default();
        };
        let (fast, one) = (sign * fast, sign * one);
        // Lowered all the way: the truss comes to stand where it was rigged.
        let home = kind == Kind::Resting && near_home(scope);
        let stop = pair.stop.unwrap_or(3.0 * pair.warn);
        let hard = self.hard.see(!home && fast >= stop && one > 0.3 * pair.warn, scope.now_s()) >= HARD_S;
        // Still there, not one heave of a crank that the second remembers.
        let soft = self.soft.see(!home && one >= pair.warn && fast >= 0.7 * pair.warn, scope.now_s()) >= SOFT_S;
        if hard || soft {
            self.stands = true;
        } else if one < pair.clear * pair.warn {
            self.stands = false;
        }
        found.push(self.told(scope, kind, &pair, one));
        Forces { held: self.stands, suspected: one.abs() > 0.5 * pair.warn || fast.abs() > 0.7 * pair.warn }
    }

    /// Sum of what came on top of the base, over 0.3 s and over a second, of all cells that are heard; at least one. On three towers and
    /// more offsets move load from head to head: with a fitted cell unheard the sum of the others is no force.
    fn excess(&self, scope: &Scope) -> Option<(f64, f64)> {
        let mut heard = 0;
        let (mut fast, mut one) = (0.0, 0.0);
        for (j, share) in scope.est.shares().iter().enumerate() {
            if let (Some(f), Some(o)) = (share.excess_n[over::FAST], share.excess_n[over::ONE]) {
                fast += f;
                one += o;
                heard += 1;
            } else if scope.towers() > 2 && fitted(scope, j) {
                return None;
            }
        }
        (heard > 0).then_some((fast, one))
    }

    fn told(&mut self, scope: &Scope, kind: Kind, pair: &Pair, one: f64) -> Condition {
        let stands = match (self.stands, one < pair.clear * pair.warn) {
            (true, _) => Stands::At(Severity::Stop),
            (false, true) => Stands::Clear,
            (false, false) => Stands::Within,
        };
        let mut told = Condition { unit: Unit::N, limit: Some(pair.warn), stands, amount: known(one, 0.0), ..Condition::of(kind) };
        if !self.stands {
            return told;
        }
        // What grows slowly is placed by whole seconds, free of ripple; a blow cannot wait for them.
        let hard = scope.est.total_excess_n()[over::FAST].is_some_and(|f| f.abs() > pair.stop.unwrap_or(3.0 * pair.warn));
        let stretch = if hard { over::FAST } else { over::ONE };
        let changes = || scope.est.shares().iter().map(|s| s.excess_n[stretch]);
        // The tower whose share changed most is the one it is near to.
        told.tower = changes().enumerate().filter_map(|(j, c)| c.map(|c| (j, c.abs()))).max_by(|a, b| a.1.total_cmp(&b.1)).map(|(j, _)| j);
        told.piece = told.tower.map(|j| scope.setup.plan.towers[j].piece);
        let sigma = cranking_sigma(scope);
        told.amount = known(one, sigma * (scope.towers() as f64).sqrt());
        self.changes.clear();
        self.changes.extend(changes().map_while(|c| c));
        if self.changes.len() == scope.towers()
            && let Some(force) = acting(&self.changes, sigma, &scope.est.sums().at)
            && let Some((piece, x_m, off_m)) = on_piece(scope.setup, force.place_m)
            && off_m < OFF_PIECE_M + 2.0 * force.place_sigma_m
        {
            told.piece = Some(piece);
            told.position = Some(Known { value: x_m, sigma: force.place_sigma_m });
        }
        told
    }

    /// Adds what rope cells tell: a section that sticks, a slack rope, a rope that still carries after landing.
    /// `past`: towers whose head cell load is known to go past.
    pub fn ropes(&mut self, scope: &Scope, resting: bool, past: impl Fn(usize) -> bool, found: &mut Vec<Condition>) -> bool {
        if self.step != Some(scope.scene.step) {
            self.step = Some(scope.scene.step);
            self.ropes.iter_mut().for_each(|r| *r = RopeMemory::default());
        }
        let mut held = false;
        for j in 0..scope.towers() {
            let Some(c) = scope.est.loads().rope[j] else { continue };
            let live = scope.health[c].usable();
            let rope = scope.est.loads().cell(c).filter(|_| live);
            let (Some(fast), Some(newest)) = (rope.and_then(|r| r.mean(over::FAST)).map(|m| m.value), rope.and_then(|r| r.newest())) else {
                found.extend(self.unknown(scope, j));
                continue;
            };
            let share = self.carried(scope, j);
            held |= self.slack(scope, j, fast, newest, share, resting, found);
            held |= self.stuck(scope, j, fast, share, past(j), found);
            let memory = &mut self.ropes[j];
            if memory.slack_stands || memory.stuck_stands {
                memory.hung = Some((memory.hung.map_or(scope.now_s(), |h| h.0), scope.now_s()));
            }
            self.not_landed(scope, j, c, share, found);
        }
        held
    }

    /// The tower whose section hangs, or hung until it let go moments ago; the first, where its neighbours went slack after it.
    pub fn hung(&self, scope: &Scope) -> Option<usize> {
        let lately = |r: &RopeMemory| r.hung.filter(|h| scope.now_s() - h.1 < LETS_GO_S);
        let hung = self.ropes.iter().enumerate().filter_map(|(j, r)| lately(r).map(|h| (j, h.0)));
        hung.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(j, _)| j)
    }

    fn unknown(&self, scope: &Scope, j: usize) -> Option<Condition> {
        let kind = if scope.down() {
            Kind::Slack
        } else if scope.up() {
            Kind::Stuck
        } else {
            return None;
        };
        Some(Condition { tower: Some(j), ..Condition::of(kind) })
    }

    /// What the rope must carry: the head's own share where measured, else what is expected.
    fn carried(&self, scope: &Scope, j: usize) -> f64 {
        let head = scope.est.loads().head[j].filter(|&c| scope.health[c].usable());
        let measured = head.and_then(|c| scope.est.loads().cell(c)).and_then(|cell| cell.mean(over::ONE)).map(|m| m.value);
        measured.unwrap_or_else(|| scope.est.sums().planned_n(j)).max(1.0)
    }

    #[allow(clippy::too_many_arguments)]
    fn slack(&mut self, scope: &Scope, j: usize, fast: f64, newest: f64, share: f64, resting: bool, found: &mut Vec<Condition>) -> bool {
        let now_s = scope.now_s();
        let memory = &mut self.ropes[j];
        if scope.scene.step != Step::Lower {
            return false;
        }
        // Until the rope has taken the load off the pins it is slack by right.
        memory.took |= fast > 0.7 * share;
        let judged = memory.took && !resting;
        let hard = memory.slack_hard.see(judged && newest < 0.3 * share && fast < 0.6 * share, now_s) >= 0.1;
        let soft = memory.slack_soft.see(judged && fast < 0.6 * share, now_s) >= 0.3;
        if hard || soft {
            memory.slack_stands = true;
        } else if fast > 0.8 * share {
            memory.slack_stands = false;
        }
        let stands = match memory.slack_stands {
            true => Stands::At(Severity::Stop),
            false if fast > 0.8 * share => Stands::Clear,
            false => Stands::Within,
        };
        let limit = Some(0.6 * share);
        found.push(Condition { tower: Some(j), amount: known(fast, 10.0), unit: Unit::N, limit, stands, ..Condition::of(Kind::Slack) });
        memory.slack_stands
    }

    fn stuck(&mut self, scope: &Scope, j: usize, fast: f64, share: f64, past: bool, found: &mut Vec<Condition>) -> bool {
        let head = scope.est.loads().head[j].is_some_and(|c| scope.health[c].usable());
        if !scope.up() || !head {
            return false;
        }
        let memory = &mut self.ropes[j];
        // The rope pulls and the head does not feel it: 40 % of the share, and more than friction of a heavy mast.
        let limit = (0.4 * share).max(150.0);
        let pull = fast - share;
        // The rope has risen: a head whose cell has fallen beside a steady rope is one that load goes past.
        let before = scope.est.loads().rope[j].and_then(|c| scope.est.loads().cell(c)).and_then(|cell| cell.mean(over::BEFORE));
        let rose = (fast - scope.est.sums().planned_n(j)).max(before.map_or(0.0, |b| fast - b.value));
        // Where load is known to go past the head's cell, only what the two part by since then counts.
        let since = if past { pull_before(scope, j).map_or(0.0, |b| pull - b) } else { pull };
        if memory.stuck.see(since > limit && rose > ROSE * limit, scope.now_s()) >= 0.2 {
            memory.stuck_stands = true;
        } else if pull < 0.5 * limit {
            memory.stuck_stands = false;
        }
        let stands = match memory.stuck_stands {
            true => Stands::At(Severity::Stop),
            false if pull < 0.5 * limit => Stands::Clear,
            false => Stands::Within,
        };
        if !matches!(stands, Stands::At(_)) {
            memory.at_end = at_section_end(scope, j);
        }
        // Told in millimetres that it stands behind, where a gauge tells them; otherwise without an amount.
        let behind = scope.est.estimate().towers[j].height_m.and(scope.est.estimate().level.above_mm[j]);
        let kind = if memory.at_end { Kind::Top } else { Kind::Stuck };
        found.push(Condition { tower: Some(j), amount: behind, unit: Unit::Mm, stands, ..Condition::of(kind) });
        memory.stuck_stands
    }

    fn not_landed(&mut self, scope: &Scope, j: usize, c: usize, share: f64, found: &mut Vec<Condition>) {
        if scope.scene.step != Step::Stand {
            return;
        }
        let Some(rope) = scope.est.loads().cell(c).and_then(|r| r.mean(over::FIVE)) else { return };
        let since = scope.scene.since.s().max(scope.scene.towers[j].pinned_at.map_or(0.0, |at| at.s()));
        // A tenth of the share or 20 lb, the larger: a rope that is set slack carries nothing (docs/trade.md section 4).
        let limit = (0.1 * share).max(89.0);
        let due = scope.now_s() - since >= 15.0 - 1e-6;
        let stands = match rope.value {
            v if v < 0.8 * limit => Stands::Clear,
            v if v >= limit && due => Stands::At(Severity::Warn),
            _ => Stands::Within,
        };
        found.push(Condition {
            tower: Some(j),
            amount: known(rope.value, 10.0),
            unit: Unit::N,
            limit: Some(limit),
            stands,
            ..Condition::of(Kind::NotLanded)
        });
    }

    /// When `not-landed` falls due, s.
    pub fn due_s(&self, scope: &Scope) -> Option<f64> {
        if scope.scene.step != Step::Stand {
            return None;
        }
        let due = scope.scene.towers.iter().map(|t| scope.scene.since.s().max(t.pinned_at.map_or(0.0, |at| at.s())) + 15.0);
        due.filter(|d| *d > scope.now_s()).fold(None, |m: Option<f64>, d| Some(m.map_or(d, |m| m.min(d))))
    }
}

/// Whether a tower has a cell that tells its share.
fn fitted(scope: &Scope, j: usize) -> bool {
    scope.est.loads().head[j].is_some() || scope.est.loads().rope[j].is_some()
}

/// By how much the rope pulled over its head one to three seconds ago, N.
fn pull_before(scope: &Scope, j: usize) -> Option<f64> {
    let before = |c: Option<usize>| scope.est.loads().cell(c?)?.mean(over::BEFORE).map(|m| m.value);
    Some(before(scope.est.loads().rope[j])? - before(scope.est.loads().head[j])?)
}

/// Standard deviation of a change of one share while cranking, N.
pub fn cranking_sigma(scope: &Scope) -> f64 {
    let share = scope.est.sums().total_n() / scope.towers() as f64;
    (RIPPLE * share).hypot(4.0)
}

/// Whether the heads are back at the height where the truss was rigged, as far as a height is measured.
fn near_home(scope: &Scope) -> bool {
    let home = scope.setup.plan.working_height.0;
    let heights = scope.est.estimate().towers.iter().filter_map(|t| t.height_m);
    let lowest = heights.map(|h| h.value).fold(f64::INFINITY, f64::min);
    lowest < home + 0.08
}
