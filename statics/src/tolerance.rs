//! How level it must stay: limits by step, from the statics, from what the plan types and from the trade's defaults.
//!
//! Rule and numbers: docs/forms.md, "from-statics"; docs/method.md, "Tolerance". Time (delays, suppressing a warn while a
//! section changes) is the watch's.

use crate::defaults;
use crate::lift::{Shape, stations};
use crate::model::{Bearing, Model};
use crate::rake::NEVER_EXCEED_RAD;
use raisewatch_protocol::plan::{LoadLimit, Plan, RakeLimit, Row, Tolerance, ToleranceRows};
use raisewatch_protocol::words::Step;
use serde::Serialize;

/// Where a limit comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// Worked out from this plan.
    Statics,
    /// The trade's row.
    Default,
    /// Typed in the plan.
    Typed,
    /// Changed by a named person.
    Override {
        /// Who.
        by: String,
        /// Why.
        reason: String,
    },
}

/// A pair of limits, in the unit of its row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Warn from here.
    pub warn: f64,
    /// Stop from here; `None`: it never stops.
    pub stop: Option<f64>,
    /// Clears below this share of the limit.
    pub clear: f64,
    /// What no person may set a limit past; `None` where the trade names none.
    pub never_exceed: Option<f64>,
    /// Where it comes from.
    pub origin: Origin,
    /// What governs, in words.
    pub reason: String,
}

/// Limits of one step; `None`: not judged.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct StepRows {
    /// Largest height difference between two heads, m.
    pub rake: Option<Limit>,
    /// Line: an inner head (crank) out of the chord of the ends, m.
    pub line: Option<Limit>,
    /// Ring: one corner above the plane of the others, m.
    pub twist: Option<Limit>,
    /// Mast plumb, rad.
    pub lean: Option<Limit>,
    /// Rotation about the truss, rad.
    pub roll: Option<Limit>,
    /// Measured less expected share, N.
    pub share: Option<Limit>,
    /// Total less planned, N.
    pub total: Option<Limit>,
}

/// Limits of a whole lift.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepLimits {
    /// How the towers stand.
    pub shape: Shape,
    /// Distance of the farthest towers, m.
    pub span_m: f64,
    /// Rake (two towers) or out-of-line height (more) at which the first thing gives, m.
    pub derived_m: Option<f64>,
    /// What gives there.
    pub governs: String,
    /// What the heads still travel from the word to still hands, m, at the pace that holds.
    pub reaction_m: f64,
    /// Pace that holds, m/s: the plan's, or half of it.
    pub pace_m_s: f64,
    /// Pace down that holds, m/s.
    pub pace_down_m_s: f64,
    /// True where the pace had to be halved: a condition of the lift.
    pub halved_pace: bool,
    /// Crank by so many turns on a count (quarters); `None`: by pace.
    pub counted_turn: Option<f64>,
    /// Why no tolerance is left.
    pub refused: Option<String>,
    /// Three and more: heights out of line at which something gives, nearest first.
    #[serde(skip)]
    pub reaches: Vec<crate::rake::Reach>,
    /// What was not taken as typed, and why.
    pub remarks: Vec<String>,
    steps: Vec<(Step, StepRows)>,
}

impl StepLimits {
    /// Limits of a step.
    pub fn step(&self, step: Step) -> &StepRows {
        static NONE: StepRows = StepRows { rake: None, line: None, twist: None, lean: None, roll: None, share: None, total: None };
        self.steps.iter().find(|(s, _)| *s == step).map_or(&NONE, |(_, rows)| rows)
    }
}

/// Limits of a lift: typed rows where the plan types them, else from the statics where the plan says so, else the trade's;
/// then what named persons changed.
pub fn limits(plan: &Plan, model: &Model) -> StepLimits {
    let base = Base::new(plan, model);
    let mut out = base.frame();
    for &step in Step::ALL {
        let mut rows = base.rows(step);
        if let Tolerance::Typed { all, steps } = &plan.tolerance {
            let own = steps.iter().find(|(s, _)| *s == step).map(|(_, rows)| rows);
            base.typed(step, all, own, &mut rows, &mut out.remarks);
        }
        out.steps.push((step, rows));
    }
    crate::overrides::apply(plan, base.total_n, &mut out);
    out
}

impl StepLimits {
    pub(crate) fn steps_mut(&mut self) -> &mut Vec<(Step, StepRows)> {
        &mut self.steps
    }
}

/// What all steps share.
struct Base<'a> {
    plan: &'a Plan,
    shape: Shape,
    span_m: f64,
    per_turn_m: f64,
    total_n: f64,
    rake: Option<Limit>,
    line: Option<Limit>,
    twist: Option<Limit>,
    out: StepLimits,
}

impl<'a> Base<'a> {
    fn new(plan: &'a Plan, model: &Model) -> Self {
        let (shape, span_m) = (model.shape(), model.span_m());
        let per_turn_m = plan.towers.iter().map(|t| t.per_turn.0).fold(0.0, f64::max);
        let out = StepLimits {
            shape,
            span_m,
            derived_m: None,
            governs: String::new(),
            reaction_m: plan.pace.0.max(plan.pace_down.0) * plan.reaction.0,
            pace_m_s: plan.pace.0,
            pace_down_m_s: plan.pace_down.0,
            halved_pace: false,
            counted_turn: None,
            refused: None,
            reaches: model.reaches(),
            remarks: Vec::new(),
            steps: Vec::new(),
        };
        let total_n = model.total(plan.working_height).0;
        let mut base = Base { plan, shape, span_m, per_turn_m, total_n, rake: None, line: None, twist: None, out };
        base.rake = Some(defaults::rake(span_m, per_turn_m));
        match shape {
            Shape::Two => base.two(model),
            Shape::Line => base.more(0.010, 0.020),
            Shape::Ring => {
                let (warn, stop) = pick_up(plan, model);
                base.more(warn.min(0.025), stop.min(0.050));
            }
        }
        base
    }

    fn frame(&self) -> StepLimits {
        self.out.clone()
    }

    fn by_statics(&self) -> bool {
        self.plan.tolerance == Tolerance::FromStatics
    }

    /// Two towers: X less the travel of the reaction; half the pace, then counted turns where nothing is left.
    fn two(&mut self, model: &Model) {
        let (x_rad, governs) = least_rake(self.plan, model);
        let x_m = self.span_m * x_rad.sin();
        self.out.derived_m = Some(x_m);
        self.out.governs.clone_from(&governs);
        if !self.by_statics() {
            return;
        }
        let (half_deg, deg) = (self.span_m * 0.5_f64.to_radians().sin(), self.span_m * 1.0_f64.to_radians().sin());
        let warn = half_deg.min(0.050).max(1.5 * self.per_turn_m);
        let travel = self.plan.pace.0.max(self.plan.pace_down.0) * self.plan.reaction.0;
        let stop_at = |travel: f64| (x_m - travel).min(deg).min(0.100);
        let mut stop = stop_at(travel);
        if warn >= stop {
            self.out.halved_pace = true;
            self.out.pace_m_s /= 2.0;
            self.out.pace_down_m_s /= 2.0;
            self.out.reaction_m = travel / 2.0;
            stop = stop_at(self.out.reaction_m);
        }
        let mut reason = if (stop - stop_at(self.out.reaction_m)).abs() < 1e-12 && stop < deg.min(0.100) {
            format!("{governs}, less {:.0} mm of reaction", self.out.reaction_m * 1000.0)
        } else if deg < 0.100 {
            "1° between the heads".into()
        } else {
            "100 mm between the heads".into()
        };
        let mut limit_warn = warn;
        if warn >= stop {
            limit_warn = self.count(stop);
            reason += "; crank by counted turns";
        }
        self.rake = Some(Limit {
            warn: limit_warn,
            stop: Some(stop.max(0.0)),
            clear: defaults::CLEAR,
            never_exceed: Some(never_m(self.span_m)),
            origin: Origin::Statics,
            reason,
        });
    }

    /// Three and more: 40 % and 80 % of what the statics leave, the trade's row where that is tighter.
    fn more(&mut self, warn_m: f64, stop_m: f64) {
        let Some(first) = self.out.reaches.first().cloned() else {
            // Three towers of a frame: nothing that one head does shifts load.
            return;
        };
        let towers = &self.plan.towers;
        let derived = first.m.abs();
        let end = match first.gives {
            "rating" => format!("tower {} to its rating with the allowance", towers[first.tower].id),
            "least" => format!("tower {} to twice its least load", towers[first.tower].id),
            _ => "the truss to its maker's table".into(),
        };
        self.out.derived_m = Some(derived);
        self.out.governs = format!(
            "tower {} {:.0} mm {} brings {end} at {:.1} m",
            towers[first.head].id,
            derived * 1000.0,
            if first.m > 0.0 { "high" } else { "low" },
            first.height_m
        );
        let stop = stop_m.min(0.8 * derived);
        let mut warn = warn_m.min(0.4 * derived);
        let counted_warn = self.count(stop);
        if self.by_statics() {
            warn = warn.max(counted_warn).min(0.8 * stop);
        } else {
            // The trade's row stands as it is; that nothing is left is the plan's to say only where it asked the statics.
            self.out.refused = None;
        }
        let origin = if self.by_statics() { Origin::Statics } else { Origin::Default };
        let reason = if stop < stop_m { self.out.governs.clone() } else { "common practice".into() };
        let limit = Some(Limit { warn, stop: Some(stop), clear: defaults::CLEAR, never_exceed: Some(derived), origin, reason });
        if self.shape == Shape::Line { self.line = limit } else { self.twist = limit }
    }

    /// Sets the counted turn for a stop limit; returns the warn limit that goes with it.
    fn count(&mut self, stop_m: f64) -> f64 {
        let quarters = (stop_m / 2.0 / self.per_turn_m * 4.0 + 1e-9).floor().min(8.0);
        if quarters < 1.0 {
            self.out.refused = Some(format!(
                "no tolerance is left: {}; a quarter turn ({:.1} mm) is more than half of the {:.0} mm to the stop",
                self.out.governs,
                self.per_turn_m * 250.0,
                stop_m.max(0.0) * 1000.0
            ));
            self.out.counted_turn = Some(0.25);
            return 0.8 * stop_m.max(0.0);
        }
        self.out.counted_turn = Some(quarters / 4.0);
        (quarters / 4.0 * self.per_turn_m + 0.002).min(0.8 * stop_m)
    }

    /// The rows of a step without what the plan types.
    fn rows(&self, step: Step) -> StepRows {
        let lean = Some(defaults::lean(step));
        if matches!(step, Step::Rig | Step::Strike) {
            return StepRows { lean, ..StepRows::default() };
        }
        StepRows {
            rake: self.rake.clone(),
            line: self.line.clone(),
            twist: self.twist.clone(),
            lean,
            roll: Some(defaults::roll()),
            share: (self.shape == Shape::Two).then(|| defaults::share(self.total_n)),
            total: Some(defaults::total(step, self.total_n)),
        }
    }

    /// Lays what the plan types over the rows of a step. `[tolerance]` is of the steps in which the truss hangs; `rig` and
    /// `strike`, with people and hands on it, only follow their own table.
    fn typed(&self, step: Step, all: &ToleranceRows, own: Option<&ToleranceRows>, rows: &mut StepRows, remarks: &mut Vec<String>) {
        let for_all = !matches!(step, Step::Rig | Step::Strike);
        let never = never_m(self.span_m);
        let load = |l: &LoadLimit| match l {
            LoadLimit::Force(f) => f.0,
            LoadLimit::Share(s) => s * self.total_n,
        };
        let height = |r: &RakeLimit| match r {
            RakeLimit::Height(h) => h.0,
            RakeLimit::Slope(a) => self.span_m * a.0.sin(),
        };
        macro_rules! lay {
            ($row:ident, $value:expr) => {{
                let stated = own.map(|o| &o.$row).filter(|r| **r != Row::Default).or(for_all.then_some(&all.$row));
                match stated {
                    Some(Row::Off) => rows.$row = None,
                    Some(Row::Typed(l)) => {
                        let kept = rows.$row.as_ref().and_then(|r| r.never_exceed);
                        rows.$row = Some(Limit {
                            warn: $value(&l.warn),
                            stop: l.stop.as_ref().map($value),
                            clear: l.clear,
                            never_exceed: kept,
                            origin: Origin::Typed,
                            reason: "typed in the plan".into(),
                        });
                    }
                    _ => {}
                }
            }};
        }
        lay!(rake, height);
        lay!(line, |l: &raisewatch_protocol::units::Length| l.0);
        lay!(twist, |l: &raisewatch_protocol::units::Length| l.0);
        lay!(lean, |a: &raisewatch_protocol::units::Angle| a.0);
        lay!(roll, |a: &raisewatch_protocol::units::Angle| a.0);
        lay!(share, load);
        lay!(total, load);
        if let Some(rake) = &mut rows.rake {
            rake.never_exceed = Some(never);
            let stop = rake.stop.unwrap_or(f64::INFINITY);
            if rake.origin == Origin::Typed && (stop > never || rake.warn > never) {
                rake.stop = Some(stop.min(never));
                rake.warn = rake.warn.min(never);
                remarks.push(format!("tolerance.{step}.rake: cut to 2° ({:.0} mm), which nothing may exceed", never * 1000.0));
            }
        }
    }
}

fn never_m(span_m: f64) -> f64 {
    span_m * NEVER_EXCEED_RAD.sin()
}

/// X of docs/forms.md: the least rake of reserve, light tower, portal, slide and 2°, over the whole lift.
fn least_rake(plan: &Plan, model: &Model) -> (f64, String) {
    let mut least = (NEVER_EXCEED_RAD, "2°, which nothing may exceed".to_owned());
    let mut take = |rad: Option<f64>, why: &dyn Fn() -> String| {
        if let Some(rad) = rad.filter(|r| *r < least.0) {
            least = (rad, why());
        }
    };
    for station in stations(plan) {
        let Some(two) = model.two_towers(raisewatch_protocol::units::Length(station.height_m)) else { continue };
        for (i, t) in plan.towers.iter().enumerate() {
            let at = format!("at {:.1} m", station.height_m);
            let edge = if two.edge_n[i] > 0.0 { " with its cradle on edge" } else { "" };
            take(two.full_on_edge_rad[i], &|| format!("tower {} reaches its rating with the allowance{edge} {at}", t.id));
            take(two.light_rad[i], &|| format!("tower {} is too light to come down {at}", t.id));
        }
        take(Some(two.portal_rad), &|| "the raked truss draws the masts together".into());
        take(Some(two.slide_rad), &|| "the truss would slide in its cradles".into());
    }
    least
}

/// Twist at which the diagonal pick-up is 10 % and 25 % of the mean share, m.
fn pick_up(plan: &Plan, model: &Model) -> (f64, f64) {
    let linear = model.standing(&model.on(Bearing::Rope, plan.working_height));
    let n = plan.towers.len();
    let mean = linear.total_n / n as f64;
    let most = (0..n).map(|k| (0..n).map(|j| linear.share_per_offset[j][k].abs()).fold(0.0, f64::max)).fold(0.0, f64::max);
    if most > 0.0 { (0.10 * mean / most, 0.25 * mean / most) } else { (f64::INFINITY, f64::INFINITY) }
}
