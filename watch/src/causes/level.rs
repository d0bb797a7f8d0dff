//! `uneven` and `twist`: heads that stand off the level line.

use super::by_cells::{ByCells, further};
use super::instruments::NOISY_RAD;
use super::naming::{END_TURNS, HEARD_S, Naming, stands_alone};
use super::over::Over;
use super::scope::{Held, Scope, against, gravity, limit_of};
use crate::condition::{Condition, Known, Stands, Unit};
use crate::estimate::level::{Layout, over_chord};
use crate::estimate::watched::over;
use crate::learn::ahead::Trend;
use crate::limits::Pair;
use crate::scene::Motion;
use raisewatch_protocol::words::{Channel, Kind, Severity, Step};

/// Never past this, whatever the step: 2 degrees. Source: docs/trade.md section 4.
const NEVER_EXCEED_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;
/// Heads that part so fast go opposite ways: 0.4 degrees a second for 0.7 s, past 0.25 degrees (docs/trade.md section 4).
const PARTING_RAD_S: f64 = 0.4 * std::f64::consts::PI / 180.0;
const PARTED_RAD: f64 = 0.25 * std::f64::consts::PI / 180.0;
const PARTING_S: f64 = 0.7;
/// A warn looks so far ahead as the filter lags behind a ramp, s.
const AHEAD_S: f64 = 0.6;
/// From the begin of the off-delay (1.5 s) to hands that crank again (docs/trade.md section 2: 0.7 to 1.5 s after the word), s.
const CLOSING_S: f64 = 2.7;
/// Of the crew's reaction so much is looked ahead at a rate that is beyond doubt: all of it would tell a limit that noise alone
/// keeps from being reached.
const EARLY: f64 = 0.4;
/// And at most so many turns of way: a head that will be held within them is not yet told.
const HALF_TURN: f64 = 0.5;
/// Slower than this the filter has no lag worth looking ahead, mm/s.
const AHEAD_FROM_MM_S: f64 = 2.0;
/// Beyond so many standard deviations it is sure, [practice].
const SURE: f64 = 2.0;

/// For so long a section change may stand off the line below the stop, s (docs/trade.md section 4).
const SECTION_S: f64 = 10.0;
/// And so may three heads and more that come off their pins: ropes stretch, the more the heavier the tower, before a head lifts. So long
/// after the step was set, s: slack wound in and a pin pulled, by hand at each tower. No source.
const OFF_PINS_S: f64 = 30.0;

/// Of the rake so much is twist where one corner alone went ahead (all of it; nothing of it where two neighbours did).
const ONE_CORNER: f64 = 0.5;

/// Memory of the level causes.
#[derive(Clone, Debug, Default)]
pub struct LevelCauses {
    naming: Naming,
    parting: Held,
    section: Held,
    trend: Trend,
    by_cells: ByCells,
    over: Over,
    /// Tells at the limit, without looking ahead by the crew's reaction.
    plain: bool,
}

/// One way of being off, the gravest of which is told.
#[derive(Clone, Copy)]
pub(super) struct Off {
    pub kind: Kind,
    pub tower: Option<usize>,
    pub amount: Known,
    pub stands: Stands,
    pub limit: f64,
    pub beyond: bool,
    pub sure: bool,
    /// The whole leans: its highest and its lowest head are what they are, whichever one is supposed to be odd.
    pub as_one: bool,
    /// How far the heads stand out of line whichever it is: what is told where it cannot be named.
    pub out: Option<Known>,
}

impl Off {
    /// One head off, which may turn out to be another.
    fn by_one(kind: Kind, odd: usize, amount: Known, stands: Stands, limit: f64) -> Self {
        Off { kind, tower: Some(odd), amount, stands, limit, beyond: false, sure: false, as_one: false, out: None }
    }
}

impl LevelCauses {
    /// Adds what stands off the level line. `covered`: a graver cause stands that explains it.
    pub fn judge(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        let line = &scope.est.estimate().level;
        let Some((rake, (high, low))) = line.rake_mm.zip(line.extremes) else {
            self.parting.see(false, scope.now_s());
            self.trend.forget();
            return self.bent(scope, covered, found);
        };
        self.follow(scope, rake);
        let mut worst: Option<Off> = None;
        self.rake(scope, rake, high, low, &mut worst);
        // Boxes alone: what of the line cannot be named waits, the rake of the whole needs no name.
        let raked = worst.filter(|off| off.tower.is_none());
        match scope.est.sums().layout {
            Layout::Pair => {}
            Layout::Line => self.line(scope, &mut worst),
            Layout::Ring => self.twist(scope, &mut worst),
        }
        let Some(mut off) = worst else { return };
        self.naming.name(scope, &mut off);
        if let Some(raked) = raked.filter(|r| gravity(r.stands) > gravity(off.stands)) {
            off = raked;
        }
        self.tell(scope, covered, off, found);
    }

    /// Shares alone are heard: the rake of the whole is not known, how the truss is bent or twisted is.
    fn bent(&mut self, scope: &Scope, covered: bool, found: &mut Vec<Condition>) {
        if let Some(out) = self.by_cells.out_mm(scope) {
            let least_mm = if scope.towers() == 3 { 0.5 * END_TURNS * counted_mm(scope) } else { 0.0 };
            self.naming.see_out(scope.now_s(), out, least_mm);
        }
        match self.by_cells.judge(scope, self.naming.sudden()) {
            Some(off) => self.tell(scope, covered, off, found),
            None => found.push(Condition::of(Kind::Uneven)),
        }
    }

    fn tell(&mut self, scope: &Scope, covered: bool, mut off: Off, found: &mut Vec<Condition>) {
        self.naming.keep(scope, &off);
        self.gate(scope, &mut off);
        // Nothing is gated above never-exceed, nor put under another cause.
        if covered && !off.beyond && matches!(off.stands, Stands::At(_)) {
            off.stands = Stands::Within;
        }
        found.push(Condition {
            tower: off.tower,
            piece: off.tower.map(|t| scope.setup.plan.towers[t].piece),
            amount: Some(off.amount),
            unit: Unit::Mm,
            limit: Some(off.limit),
            stands: off.stands,
            never_gated: off.beyond,
            sure: off.sure,
            ..Condition::of(off.kind)
        });
    }

    /// The head in line or ring that was told, while it stands off.
    pub fn told(&self) -> Option<usize> {
        self.naming.told()
    }

    /// Whether a warn looks ahead by the crew's reaction (it does from the start).
    pub fn look_ahead(&mut self, on: bool) {
        self.plain = !on;
    }

    /// Whether most of what an inner head stands out of the chord by came within a turn.
    pub fn sudden(&self) -> bool {
        self.naming.sudden()
    }

    /// How what stands off the line grows.
    pub fn trend(&self) -> &Trend {
        &self.trend
    }

    /// Keeps the trend of what this lift is held to: the rake of two heads, one head out of line, one corner off the plane.
    fn follow(&mut self, scope: &Scope, rake: Known) {
        let rows = scope.rows();
        let line = &scope.est.estimate().level;
        let odd = line.odd.and_then(|j| line.above_mm[j].map(|a| (j, Known { value: a.value.abs(), sigma: a.sigma })));
        let pair = match scope.est.sums().layout {
            Layout::Pair => rows.rake_mm,
            Layout::Line => rows.line_mm,
            Layout::Ring => rows.twist_mm,
        };
        let size = if scope.est.sums().layout == Layout::Pair { line.odd.map(|j| (j, rake)) } else { odd };
        match (size, pair) {
            (Some((j, size)), Some(pair)) if scope.scene.guarded_as_moving() => {
                self.trend.see(scope.now_s(), j, size, (pair.warn, pair.stop))
            }
            _ => self.trend.forget(),
        }
    }

    fn rake(&mut self, scope: &Scope, rake: Known, high: usize, low: usize, worst: &mut Option<Off>) {
        let apart_mm = scope.apart_m(high, low) * 1000.0;
        let down = motion(scope) == Motion::Down;
        // Raising, the high head waits; lowering, the low one.
        let (tower, sign) = if down { (low, -1.0) } else { (high, 1.0) };
        // Between two that stand alike the level line knows which is which.
        let line = &scope.est.estimate().level;
        let as_one = leans_as_one(scope, rake);
        let odd = line.odd.filter(|_| scope.towers() == 2 || line.certain && stands_alone(scope) && !as_one);
        // With three and more the head that left the others may be the low one while raising: it is not the one to wait.
        let sign = match odd.filter(|_| scope.towers() > 2).and_then(|j| line.above_mm[j]) {
            Some(above) => above.value.signum(),
            None => sign,
        };
        let tower = odd.unwrap_or(tower);
        let beyond = rake.value > apart_mm * NEVER_EXCEED_RAD.sin();
        let parting = self.parts(scope, rake, high, low, apart_mm);
        // On a drift beyond doubt the line through the last seconds says better than the moment where the heads stand.
        let drifts = self.trend.fitted_mm().filter(|_| scope.towers() == 2).unwrap_or(0.0);
        let looked = rake.value.max(drifts) + self.ahead(scope, high, low);
        let excess = scope.rows().rake_mm.map(|pair| Known { value: looked - pair.warn, sigma: rake.sigma });
        let sure = self.over.see(excess.filter(|_| scope.towers() == 2 && scope.scene.motion != Motion::Still), scope.now_s());
        let (stands, limit) = match scope.rows().rake_mm {
            _ if beyond => (Stands::At(Severity::Stop), apart_mm * NEVER_EXCEED_RAD.sin()),
            Some(pair) if parting => (Stands::At(Severity::Stop), pair.warn),
            Some(pair) => {
                // A warn looks ahead by the lag of the filter behind a head that has just stopped; a stop does not.
                let warned = against(looked, &Pair { stop: None, ..pair });
                let stands = if gravity(against(rake.value, &pair)) > gravity(warned) { against(rake.value, &pair) } else { warned };
                let stands = doubted(scope, rake, stands, &pair);
                // Heads that close fast will be level before hands that wait have begun again: it is over as they come to the clear level.
                let closes = self.closing(scope, high, low) * CLOSING_S;
                let stands = if stands == Stands::Within && closes > 0.0 && rake.value - closes < pair.clear * pair.warn {
                    Stands::Clear
                } else {
                    stands
                };
                (stands, limit_of(stands, &pair))
            }
            None => return,
        };
        // What is only looked ahead to waits: a head that is held in time is not told.
        let past = scope.rows().rake_mm.is_some_and(|pair| rake.value >= pair.warn);
        let sure = sure && past && stands == Stands::At(Severity::Warn);
        let amount = Known { value: sign * rake.value, sigma: rake.sigma };
        // Boxes alone may never tell which of three and more it is: a truss that rakes is held whole.
        let named = scope.towers() == 2 || odd.is_some() || as_one || scope.est.felt(HEARD_S);
        take_worse(
            worst,
            Off { kind: Kind::Uneven, tower: named.then_some(tower), amount, stands, limit, beyond, sure, as_one, out: None },
        );
    }

    /// How much further apart two heads will be in a moment at their rate now, mm: two towers that move, and only where the rate is
    /// beyond doubt.
    fn ahead(&self, scope: &Scope, high: usize, low: usize) -> f64 {
        let rate = parting_mm_s(scope, high, low);
        if scope.towers() > 2 || scope.scene.motion == Motion::Still || rate < AHEAD_FROM_MM_S {
            return 0.0;
        }
        let lag_mm = rate * AHEAD_S;
        // A drift beyond doubt, that the crew's own reaction carries past the limit, is told before it: earlier, never more often.
        let reaction_s = scope.setup.plan.reaction.0;
        let most_mm = HALF_TURN * scope.setup.plan.towers[high].per_turn.mm();
        if self.plain {
            return lag_mm;
        }
        lag_mm.max(self.trend.at_least_mm(EARLY * reaction_s).min(most_mm))
    }

    /// How fast two heads close, mm/s; nothing where they stand or part.
    fn closing(&self, scope: &Scope, high: usize, low: usize) -> f64 {
        let rate = -parting_mm_s(scope, high, low);
        if scope.towers() == 2 && rate > AHEAD_FROM_MM_S { rate } else { 0.0 }
    }

    fn parts(&mut self, scope: &Scope, rake: Known, high: usize, low: usize, apart_mm: f64) -> bool {
        let rate = parting_mm_s(scope, high, low);
        let fast = scope.scene.guarded_as_moving() && rate > apart_mm * PARTING_RAD_S && rake.value > apart_mm * PARTED_RAD;
        self.parting.see(fast, scope.now_s()) >= PARTING_S
    }

    /// In line: an inner head out of the chord of the ends, and what the heights alone do to any share.
    fn line(&mut self, scope: &Scope, worst: &mut Option<Off>) {
        let line = &scope.est.estimate().level;
        let Some(odd) = line.odd else { return };
        let Some(amount) = line.above_mm[odd] else { return };
        let n = scope.towers();
        if let Some(pair) = scope.rows().line_mm {
            let at = &scope.est.sums().at;
            let outs = (1..n - 1).map(|j| scope.est.combined_mm(&over_chord(at, j)));
            let out = outs.fold(Known { value: 0.0, sigma: 0.0 }, further);
            let out = Known { value: out.value.abs(), ..out };
            self.naming.see_out(
                scope.now_s(),
                out.value,
                if n == 3 && scope.est.bent() { 0.5 * END_TURNS * counted_mm(scope) } else { 0.0 },
            );
            let stands = doubted(scope, out, against(out.value, &pair), &pair);
            let off = Off::by_one(Kind::Uneven, odd, amount, stands, limit_of(stands, &pair));
            take_worse(worst, Off { out: Some(out), ..off });
        }
        if let Some(pair) = scope.rows().share_n {
            let stands = against(by_heights(scope), &pair);
            let limit = scope.rows().line_mm.map_or(amount.value.abs(), |p| limit_of(stands, &p));
            take_worse(worst, Off::by_one(Kind::Uneven, odd, amount, stands, limit));
        }
    }

    fn twist(&mut self, scope: &Scope, worst: &mut Option<Off>) {
        let line = &scope.est.estimate().level;
        let Some(odd) = line.odd else { return };
        let (Some(amount), Some(pair)) = (line.above_mm[odd], scope.rows().twist_mm) else { return };
        let size = Known { value: amount.value.abs(), sigma: amount.sigma };
        let stands = doubted(scope, size, against(size.value, &pair), &pair);
        let off = Off::by_one(Kind::Twist, odd, amount, stands, limit_of(stands, &pair));
        // One corner off the plane of the others is a twist, whatever it does to the rake.
        match worst {
            Some(w) if w.kind == Kind::Uneven && !w.beyond && gravity(stands) >= 4 => *worst = Some(off),
            _ => take_worse(worst, off),
        }
    }

    /// Steps in which a warn waits. A stop never does.
    fn gate(&mut self, scope: &Scope, off: &mut Off) {
        let warns = off.stands == Stands::At(Severity::Warn);
        let section = scope.scene.step == Step::Section || comes_off_pins(scope);
        let lasted = self.section.see(warns && section, scope.now_s());
        let waits = match scope.scene.step {
            _ if section => lasted < SECTION_S,
            Step::Land => true,
            // One tower is being cranked on purpose, or was and is not yet cranked back.
            Step::TestLift => scope.scene.turn.is_some() || by_its_turn(scope, off),
            _ => false,
        };
        if warns && waits {
            off.stands = Stands::Within;
        }
    }
}

/// Whether a head stands off by the turn it was cranked on purpose, to within the limit.
fn by_its_turn(scope: &Scope, off: &Off) -> bool {
    scope.scene.turned.is_some_and(|turn| {
        let way_mm = turn.turns * scope.setup.plan.towers[turn.tower].per_turn.mm();
        off.tower == Some(turn.tower) && (off.amount.value - way_mm).abs() < off.limit
    })
}

/// Whether three heads and more are being taken off their pins.
fn comes_off_pins(scope: &Scope) -> bool {
    let scene = scope.scene;
    let stood = matches!(scene.before, Some(Step::Stand | Step::Change)) && matches!(scene.step, Step::Raise | Step::Lower);
    stood && scope.towers() > 2 && scope.now.since(scene.since).s() < OFF_PINS_S
}

/// What a counted turn lifts, mm; of a plan that counts none, a whole turn.
fn counted_mm(scope: &Scope) -> f64 {
    let per_turn = scope.setup.plan.towers.iter().map(|t| t.per_turn.mm()).fold(0.0, f64::max);
    scope.limits.counted_turn.unwrap_or(1.0) * per_turn
}

/// How fast the high head leaves the low one, mm/s; nothing where a rate is not known.
fn parting_mm_s(scope: &Scope, high: usize, low: usize) -> f64 {
    let towers = &scope.est.estimate().towers;
    towers[high].rate_mm_s.zip(towers[low].rate_mm_s).map_or(0.0, |(h, l)| h.value - l.value)
}

/// With three and more the rake is what boxes alone tell, poorly while handles turn: what may as well be clear of the limit below it
/// is not told. (Two towers part by their rake, and the look-ahead weighs its doubt; but not that of boxes that all of a sudden are
/// shaken past use, which takes three seconds to be told as such.)
pub(super) fn doubted(scope: &Scope, size: Known, stands: Stands, pair: &Pair) -> Stands {
    let shaken = if scope.towers() == 2 { shaken_mm(scope) } else { Some(0.0) };
    let Some(shaken) = shaken else { return stands };
    let least = size.value - SURE * size.sigma.hypot(shaken);
    match stands {
        Stands::At(Severity::Stop) if least < pair.warn => doubted(scope, size, Stands::At(Severity::Warn), pair),
        Stands::At(Severity::Warn) if least < pair.clear * pair.warn => Stands::Within,
        _ => stands,
    }
}

/// Two towers of which every box is as rough as one that is told as `noisy`: what that leaves of doubt in the mean of a second, mm.
fn shaken_mm(scope: &Scope) -> Option<f64> {
    let boxes = || {
        let seats = scope.setup.channels.iter().enumerate();
        seats.filter(|(c, s)| s.channel == Channel::TrussAlong && scope.health[*c].usable()).map(|(c, _)| scope.est.watched(c))
    };
    let (mut count, mut variance) = (0.0, 0.0);
    for own in boxes() {
        let mean = own.mean_over(over::TWO).filter(|m| m.spread > NOISY_RAD)?;
        // Half of two seconds' readings.
        count += 1.0;
        variance += mean.spread.powi(2) / (mean.count as f64 / 2.0).max(1.0);
    }
    (count > 0.0).then(|| scope.apart_m(0, 1) * 1e3 * variance.sqrt() / count)
}

/// A ring of which no corner stands out of the plane by half of what its ends part by: two corners and more went ahead together.
/// To level one of them alone would twist it.
fn leans_as_one(scope: &Scope, rake: Known) -> bool {
    let line = &scope.est.estimate().level;
    let twist = line.odd.and_then(|j| line.above_mm[j]);
    scope.est.sums().layout == Layout::Ring && twist.is_some_and(|t| t.value.abs() < ONE_CORNER * rake.value)
}

fn motion(scope: &Scope) -> Motion {
    if scope.scene.motion == Motion::Still { scope.scene.last_moving } else { scope.scene.motion }
}

fn take_worse(worst: &mut Option<Off>, off: Off) {
    if worst.as_ref().is_none_or(|w| gravity(off.stands) > gravity(w.stands)) {
        *worst = Some(off);
    }
}

/// The most that the offsets, the total unchanged, do to any share, N.
fn by_heights(scope: &Scope) -> f64 {
    let towers = &scope.est.estimate().towers;
    let line = &scope.est.estimate().level.above_mm;
    (0..towers.len())
        .map(|j| {
            let change: f64 = line
                .iter()
                .enumerate()
                .map(|(k, above)| scope.est.sums().stiffness_n_per_m(j, k) * above.map_or(0.0, |a| a.value) * 1e-3)
                .sum();
            change.abs()
        })
        .fold(0.0, f64::max)
}
